"""Measure the other materials on invented firms whose truth is known: order cost and coverage.

Run `python -m tests.benchmark.material_worlds --seeds 100` from the top of the checkout. The firms
are those of `worlds`; what they take of each material is drawn from the counted quantity, a true
allowance, crews that differ, and luck. The oracle knows all of it but the luck.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from scipy.stats import norm

from airstats.allowances import unchanged
from airstats.material_calibration import calibrate_materials, material_table
from airstats.material_pricing import price_materials
from airstats.material_quantities import driver_quantity, material_quantities
from airstats.materials import MATERIALS
from airstats.mixture import Mixture
from airstats.pricing import critical_share, expected_cost
from airstats.takeoff import Takeoff, take_off
from tests.benchmark.worlds import CREWS, World, invent_firm

LEFTOVER, SHORT = 60.0, 240.0
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


@dataclass(frozen=True)
class Use:
    """Of n jobs: what an oracle knows (`mean`, `sd`) and what was `used`, in the unit."""

    mean: np.ndarray
    sd: np.ndarray
    used: np.ndarray


def invent_use(
    rng: np.random.Generator, world: MaterialWorld, parts: list[tuple[Takeoff, pd.DataFrame]]
) -> tuple[float, list[Use]]:
    """Draw a firm's truth for one material, and the use in its past and in its next jobs.

    The allowance returned is that of the last quarter of the past.
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
        uses.append(Use(mean, sd, np.round(used) if world.whole else used))
    return float(walk[max(parts[0][0].table["quarter"])]), uses


def counted(
    rng: np.random.Generator, world: MaterialWorld, jobs: Takeoff, use: Use
) -> pd.DataFrame:
    """Return the rows of materials as a firm keeps them: packs opened, some of them wrong."""
    pack = MATERIALS[world.material].pack
    packs = np.ceil(use.used / pack)
    wrong = rng.random(len(jobs)) < world.gross_share
    packs = np.where(wrong, np.maximum(packs + rng.integers(3, 9, len(jobs)), 1), packs)
    return pd.DataFrame(
        {
            "job_id": jobs.table["job_id"],
            "material": world.material,
            "estimated": np.nan,
            "used": packs,
            "counted": "opened",
            "pack": pack,
            "unit": "",
            "pack_price": np.nan,
        }
    )


def one_firm(world: MaterialWorld, jobs: int, quarters: int, seed: int) -> dict[str, float]:
    """Calibrate one material on a firm's past, price its next jobs, compare with the truth."""
    firm = invent_firm(World("plain", jobs=jobs, quarters=quarters), seed)
    rng = np.random.default_rng([seed, 11, WORLDS.index(world)])
    past, ahead = take_off(firm.records), take_off(firm.takeoff)
    parts = [(past, firm.records.openings), (ahead, firm.takeoff.openings)]
    allowance, (before, after) = invent_use(rng, world, parts)
    records = replace(firm.records, materials=counted(rng, world, past, before))
    steps = sorted(set(records.jobs["quarter"]))
    known = replace(unchanged(steps[-1]), materials=calibrate_materials(records, steps))
    table = price_materials(firm.takeoff, known, LEFTOVER, SHORT)
    orders = table[table["material"] == world.material]
    order = orders["order_packs"].to_numpy()
    pack = orders["pack"].to_numpy()
    use = Mixture(np.ones(1), after.mean[None, :], after.sd[None, :])
    share = critical_share(LEFTOVER, SHORT)
    oracle = np.ceil(norm.ppf(share, after.mean, after.sd) / pack).astype(int)
    learnt = material_table(known).loc[world.material]
    inside = (orders["low"] <= after.used) & (after.used <= orders["high"])
    return {
        "cost": expected_cost(use, pack, order, LEFTOVER, SHORT).mean(),
        "oracle": expected_cost(use, pack, oracle, LEFTOVER, SHORT).mean(),
        "use_80": inside.mean(),
        "allowance_90": float(learnt["low"] <= allowance <= learnt["high"]),
        "short": (order * pack < after.used).mean(),
        "stated_short": orders["chance_short"].mean(),
    }


def measure(seeds: int, first: int = 0, workers: int = 2) -> pd.DataFrame:
    """Return one row a material and number of jobs, averaged over the seeds."""
    rows = {}
    with ProcessPoolExecutor(workers) as pool:
        for world in WORLDS:
            for jobs, quarters in SIZES:
                run = partial(one_firm, world, jobs, quarters)
                mean = pd.DataFrame(pool.map(run, range(first, first + seeds), chunksize=5)).mean()
                ratio = pd.Series({"x oracle": mean["cost"] / mean["oracle"]})
                rows[world.material, world.drift, jobs] = pd.concat(
                    [ratio, mean.drop(["cost", "oracle"])]
                )
    return pd.DataFrame(rows).T


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    with pd.option_context("display.width", 200, "display.max_columns", 20):
        print(measure(asked.seeds, asked.first, asked.workers).round(3))


if __name__ == "__main__":
    main()
