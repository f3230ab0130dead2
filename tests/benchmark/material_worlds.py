"""Measure the other materials on invented firms whose truth is known: order cost and coverage.

Run `python -m tests.benchmark.material_worlds --seeds 100` from the top of the checkout. The firms
are those of `worlds`; what they take of each material is drawn from the counted quantity, a true
allowance, crews that differ, and luck. The oracle knows all of it but the luck.
"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd

from airstats import calibrate, material_table, price_materials
from airstats.catalog.materials import MATERIALS
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark import runs
from tests.benchmark.worlds import CREWS, World, invent_firm

SIZES = ((24, 2), (48, 4), (96, 8))
"""Jobs and quarters."""


@dataclass(frozen=True)
class MaterialWorld:
    """What is true of one material in a kind of firm; `gross_share` of its records are wrong.

    `allowance` holds mean and sd of the truth over firms, `whole` whether it comes in pieces,
    `drift` how far the truth wanders in a quarter (sd).
    """

    material: str
    allowance: tuple[float, float]
    spread: float
    floor: tuple[float, float]
    whole: bool = False
    crew_sd: float = 0.015
    gross_share: float = 0.02
    drift: float = 0.0


WORLDS = (
    MaterialWorld("joint tape", (0.15, 0.12), 0.10, (3.0, 7.0)),
    MaterialWorld("frame tape", (0.10, 0.08), 0.08, (2.0, 4.0)),
    MaterialWorld("corner pieces", (0.06, 0.04), 0.05, (1.0, 2.0), whole=True),
    MaterialWorld("frame tape", (0.10, 0.08), 0.08, (2.0, 4.0), drift=0.015),
)


def invent_use(rng, world, parts):
    """Draw a firm's truth for one material, and the use in its past and in its next jobs.

    Returned are the allowance of the last quarter of the past and, for each part, mean and sd that
    an oracle knows of each job and what was used, in the unit.
    """
    quarters = sorted({quarter for jobs, _ in parts for quarter in jobs.table["quarter"]})
    steps = rng.normal(0, world.drift, len(quarters)) if world.drift else np.zeros(len(quarters))
    walk = pd.Series(rng.normal(*world.allowance) + steps.cumsum(), index=quarters)
    spread = world.spread * np.exp(rng.normal(0, 0.35))
    floor = rng.uniform(*world.floor)
    crews = dict(zip(CREWS, rng.normal(0, world.crew_sd, len(CREWS)), strict=True))
    uses = []
    for jobs, openings in parts:
        quantities = material_quantities(jobs, openings)
        amount = driver_quantity(jobs, quantities, MATERIALS[world.material].driver)
        allowance = walk[jobs.table["quarter"]].to_numpy()
        mean = amount * (1 + allowance + np.array([crews[c] for c in jobs.crews]))
        sd = np.hypot(floor, spread * amount)
        used = np.maximum(mean + sd * rng.standard_normal(len(jobs)), 1.0)
        uses.append((mean, sd, np.round(used) if world.whole else used))
    return float(walk[max(parts[0][0].table["quarter"])]), uses


def counted(rng, world, jobs, used):
    """Return the rows of materials as a firm keeps them: packs opened, some of them wrong."""
    pack = MATERIALS[world.material].pack
    packs = np.ceil(used / pack)
    wrong = rng.random(len(jobs)) < world.gross_share
    packs = np.where(wrong, np.maximum(packs + rng.integers(3, 9, len(jobs)), 1), packs)
    rows = jobs.table[["job_id"]].assign(material=world.material, estimated=np.nan, used=packs)
    return rows.assign(counted="opened", pack=pack, unit="", pack_price=np.nan)


def one_firm(world, jobs, quarters, seed):
    """Calibrate one material on a firm's past, price its next jobs, compare with the truth."""
    firm = invent_firm(World("plain", jobs=jobs, quarters=quarters), seed)
    rng = np.random.default_rng([seed, 11, WORLDS.index(world)])
    past, ahead = take_off(firm.records), take_off(firm.takeoff)
    parts = [(past, firm.records.openings), (ahead, firm.takeoff.openings)]
    allowance, ((*_, before), (mean, sd, after)) = invent_use(rng, world, parts)
    records = replace(firm.records, materials=counted(rng, world, past, before))
    known = calibrate(records)
    table = price_materials(firm.takeoff, known, runs.LEFTOVER, runs.SHORT)
    orders = table[table["material"] == world.material]
    order, pack = orders["order_packs"].to_numpy(), orders["pack"].to_numpy()
    learnt = material_table(known).loc[world.material]
    return {
        "cost": runs.oracle_cost(order, mean, sd, pack),
        "oracle": runs.oracle_cost(runs.oracle_order(mean, sd, pack), mean, sd, pack),
        "use_80": ((orders["low"] <= after) & (after <= orders["high"])).mean(),
        "allowance_90": float(learnt["low"] <= allowance <= learnt["high"]),
        "short": (order * pack < after).mean(),
        "stated_short": orders["chance_short"].mean(),
    }


def main():
    """Print one row a material and number of jobs, averaged over the seeds."""
    asked, rows = runs.asked(__doc__, 100), {}
    for world in WORLDS:
        for jobs, quarters in SIZES if asked.world in world.material else ():
            run = partial(one_firm, world, jobs, quarters)
            mean = runs.averaged(run, asked.seeds, asked.first)
            rows[world.material, world.drift, jobs] = runs.beside_oracle(mean, "cost")
    runs.show(rows)


if __name__ == "__main__":
    main()
