"""Calibrate every other material against its own driver, with the engine of the sheet.

The engine asks of a job what is laid, what was used at least and at most, and what a roll holds.
For another material the counted quantity stands for what is laid, in the material's unit, and a
pack for a roll; there are no reveals. What the engine calls waste is then the material's
allowance: what is used above the counted quantity, as a share of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from airstats.catalog.materials import MATERIALS, Material
from airstats.model.allowances import Allowances, unchanged
from airstats.model.material_file import Blocks
from airstats.model.posterior import Belief
from airstats.model.posterior_file import belief_of, belief_rest, belief_rows
from airstats.model.prior import Prior
from airstats.model.quarterly_update import carried_forward, finished_jobs, run_through
from airstats.records.reading import Records
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import Takeoff, used_interval

SPREADS = tuple(2 ** (step / 2) for step in range(-3, 4))
"""Candidates for the spread, as multiples of its middle: from a third to three times."""
CREW_SD_WEIGHTS = ((0.003, 0.35), (0.02, 0.35), (0.05, 0.30))
"""How much crews differ (sd, a share of what is counted) and how likely each is: assumptions."""
DRIFT_WEIGHTS = ((0.0, 0.5), (0.008, 0.3), (0.025, 0.2))
"""How far an allowance wanders in a quarter (sd) and how likely each is: assumptions."""

_OPENING_QUANTITIES = ("reveal_", "needed_", "fillable_")


def material_prior(material: Material) -> Prior:
    """Return the starting belief for a material; areas stand for amounts in its unit."""
    return Prior(
        waste=material.allowance,
        spread_nodes=tuple(round(material.spread * step, 6) for step in SPREADS),
        spread_centre=material.spread,
        crew_sd_weights=CREW_SD_WEIGHTS,
        drift_weights=DRIFT_WEIGHTS,
        floor_m2=material.floor,
        gross_rolls=material.gross_packs,
    )


def without_records(name: str, quarter: str) -> Allowances:
    """Return what is believed of a material before its first record."""
    start = unchanged(quarter, material_prior(MATERIALS[name]))
    return replace(start, belief=_one_form(start.belief))


def calibrate_materials(
    records: Records, steps: list[str], previous: Allowances | None = None
) -> Blocks:
    """Carry every material that has records, now or before, through the quarters of `steps`.

    Parameters
    ----------
    records : Records
        Checked records; their table of materials may be empty.
    steps : list of str
        The quarters, as for the sheet.
    previous : Allowances, optional
        The allowances of an earlier quarter, with its materials.

    Returns
    -------
    dict
        Material to its block of the allowances file. A job counted once for a material is never
        counted again for it.
    """
    before = previous.materials if previous else {}
    kept = set(records.materials["material"])
    names = [*before, *(name for name in MATERIALS if name in kept and name not in before)]
    if not names:
        return {}
    jobs = finished_jobs(records)
    quantities = material_quantities(jobs, records.openings)
    first = previous.first_quarter if previous else steps[0]
    blocks = {}
    for name in names:
        counted, rows = counted_jobs(jobs, quantities, records.materials, name)
        start = learnt(before[name]) if name in before else without_records(name, first)
        now = run_through(counted, steps, start)
        if now.job_ids:
            blocks[name] = _block(name, now, rows, before.get(name, {}).get("shown", {}))
    return blocks


def materials_carried_forward(blocks: Blocks, quarter: str) -> Blocks:
    """Return every material as it stands in a later quarter of which no job is counted."""
    none = pd.DataFrame(columns=["pack", "pack_price"])
    return {
        name: _block(name, carried_forward(learnt(block), quarter), none, block["shown"])
        for name, block in blocks.items()
    }


def learnt(block: dict[str, Any]) -> Allowances:
    """Return a block of the file as the allowances that the engine works with."""
    chain = block["chain"]
    return Allowances(
        quarter=chain["quarter"],
        first_quarter=chain["first_quarter"],
        belief=belief_of(block["candidates"], tuple(chain["crews"]), chain),
        job_ids=tuple(chain["job_ids"]),
        new_jobs=tuple(chain["new_jobs"]),
        late_jobs=tuple(chain["late_jobs"]),
        crew_jobs=dict(chain["crews"]),
        suspects=dict(chain["suspects"]),
    )


def material_table(allowances: Allowances) -> pd.DataFrame:
    """Return what is known of each material, index the name.

    Columns `mean, sd, low, high, unit, driver, pack, pack_unit, pack_price, jobs_used`; low and
    high hold 90 %.
    """
    shown = {name: block["shown"] for name, block in allowances.materials.items()}
    return pd.DataFrame.from_dict(shown, orient="index")


def material_suspects(allowances: Allowances) -> Iterator[tuple[str, str, float]]:
    """Yield material, job and the probability that its record is grossly wrong."""
    for name, block in allowances.materials.items():
        for job, probability in block["chain"]["suspects"].items():
            yield name, job, probability


def engine_takeoff(
    jobs: Takeoff, amount: np.ndarray, pack: np.ndarray, low: np.ndarray, high: np.ndarray
) -> Takeoff:
    """Return the jobs as the engine takes them for one material.

    Parameters
    ----------
    jobs : Takeoff
        n jobs.
    amount : (n,) array
        What is counted for each job, in the material's unit.
    pack : (n,) array
        Content of a pack.
    low, high : (n,) arrays
        The interval that the count leaves for what was used.
    """
    openings = [str(name) for name in jobs.table if str(name).startswith(_OPENING_QUANTITIES)]
    given = {"laid_m2": amount, "roll_m2": pack, "used_low_m2": low, "used_high_m2": high}
    return Takeoff(jobs.table.assign(**dict.fromkeys(openings, 0.0), **given))


def counted_jobs(
    jobs: Takeoff, quantities: pd.DataFrame, materials: pd.DataFrame, name: str
) -> tuple[Takeoff, pd.DataFrame]:
    """Return the jobs with a count of this material, and their rows in the table of materials.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs.
    quantities : DataFrame
        Their `material_quantities`.
    materials : DataFrame
        The records' table of materials.
    name : str
        The material.

    Returns
    -------
    Takeoff, DataFrame
        The jobs as the engine takes them, and their rows with `pack` filled in.
    """
    own = materials[(materials["material"] == name) & materials["used"].notna()]
    if name not in MATERIALS:
        own = own.iloc[:0]
    rows = own.set_index("job_id").reindex(jobs.table["job_id"])
    usual = MATERIALS[name].pack if name in MATERIALS else 1.0
    pack = rows["pack"].astype(float).fillna(usual).to_numpy()
    amount = _amount(jobs, quantities, name)
    low, high = used_interval(rows["used"].astype(float), rows["counted"])
    told = low.notna().to_numpy() & (amount > 0)
    engine = engine_takeoff(jobs, amount, pack, low.to_numpy() * pack, high.to_numpy() * pack)
    return engine.where(told), rows.assign(pack=pack)[told]


def _amount(jobs: Takeoff, quantities: pd.DataFrame, name: str) -> np.ndarray:
    if name not in MATERIALS:
        return np.full(len(jobs), np.nan)
    return driver_quantity(jobs, quantities, MATERIALS[name].driver)


def _one_form(belief: Belief) -> Belief:
    """Keep one form of the reveals: where there are none, both say the same."""
    kept = belief.pick(belief.form == 0)
    return replace(kept, weight=kept.weight / kept.weight.sum())


def _block(
    name: str, now: Allowances, rows: pd.DataFrame, before: dict[str, Any]
) -> dict[str, Any]:
    table = now.table()[["mean", "sd", "low", "high"]].astype(float)
    material = MATERIALS.get(name)
    price = rows["pack_price"].dropna().astype(float)
    shown = {
        **table.loc["waste"].to_dict(),
        "unit": f"{material.unit} a {material.unit} counted" if material else before["unit"],
        "driver": material.driver if material else before["driver"],
        "pack": float(rows["pack"].iloc[-1]) if len(rows) else before["pack"],
        "pack_unit": material.unit if material else before["pack_unit"],
        "pack_price": float(price.iloc[-1]) if len(price) else before.get("pack_price"),
        "jobs_used": len(now.job_ids),
    }
    chain = {
        "quarter": now.quarter,
        "first_quarter": now.first_quarter,
        "job_ids": list(now.job_ids),
        "new_jobs": list(now.new_jobs),
        "late_jobs": list(now.late_jobs),
        "crews": {crew: now.crew_jobs.get(crew, 0) for crew in now.belief.crews},
        "suspects": now.suspects,
        **belief_rest(now.belief),
    }
    return {"shown": shown, "chain": chain, "candidates": belief_rows(now.belief)}
