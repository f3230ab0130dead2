"""Price the sheet and every other material of a takeoff, job by job."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from airstats.base.quarters import quarters_between
from airstats.catalog.materials import MATERIALS, SHEET
from airstats.model.allowances import Allowances
from airstats.model.material_calibration import engine_takeoff, learnt, without_records
from airstats.model.posterior import widen
from airstats.pricing.newsvendor import LEFTOVER_COST, SHORT_COST, price
from airstats.records.reading import Records
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import Takeoff, take_off

_NAMES = {
    "expected_m2": "expected",
    "low_m2": "low",
    "high_m2": "high",
    "rolls_p50": "packs_p50",
    "rolls_p80": "packs_p80",
    "rolls_p95": "packs_p95",
    "order_rolls": "order_packs",
    "chance_short": "chance_short",
    "expected_left_over_rolls": "expected_left_over_packs",
}


class Need(NamedTuple):
    """One material of a takeoff: the jobs as the engine takes them, and what is known of it.

    `pack_price` (n,) is nan where no price is known.
    """

    material: str
    unit: str
    jobs: Takeoff
    known: Allowances
    pack_price: np.ndarray


def price_materials(
    takeoff: Records,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
) -> pd.DataFrame:
    """Price every material of the jobs to come: amounts, packs and the order of least cost.

    Parameters
    ----------
    takeoff : Records
        Jobs to price; its table of materials, if any, may give packs and their prices.
    allowances : Allowances
        What the finished jobs taught; a material without records is priced from its prior.
    leftover_cost, short_cost : float
        Money for each roll of sheet left over and for each roll short; any one currency.
    quarters_ahead : int
        Quarters between the allowances and the jobs.

    Returns
    -------
    DataFrame
        One row a job and material, the sheet first: `job_id, material, unit, pack, expected, low,
        high` (80 % interval, in the unit), `packs_p50, packs_p80, packs_p95, order_packs,
        chance_short, expected_left_over_packs, jobs_counted` (0: priced from the prior). A job
        that needs none of a material, or whose quantity is not told, has no row for it.

    Raises
    ------
    AirstatsError
        If a cost is not a positive number.

    Notes
    -----
    For another material a pack left over and a pack short cost as much less or more as the pack
    is cheaper or dearer than a roll of sheet. Only the ratio of the two decides an order, so that
    every material is ordered for the same chance of running short, whatever its price.
    """
    parts = [
        price(need.jobs, need.known, leftover_cost, short_cost, quarters_ahead)
        .rename(columns=_NAMES)
        .assign(
            material=need.material,
            unit=need.unit,
            pack=need.jobs.table["roll_m2"].to_numpy(),
            jobs_counted=len(need.known.job_ids),
        )
        for need in material_needs(takeoff, allowances)
    ]
    table = pd.concat(parts, ignore_index=True)
    place = pd.Index(takeoff.jobs["job_id"]).get_indexer(table["job_id"])
    order = np.argsort(place, kind="stable")
    columns = ["job_id", "material", "unit", "pack", *_NAMES.values(), "jobs_counted"]
    return table.iloc[order][columns].reset_index(drop=True)


def material_needs(takeoff: Records, allowances: Allowances) -> Iterator[Need]:
    """Yield the sheet, then every other material that some job of the takeoff needs."""
    jobs = take_off(takeoff)
    roll_price = jobs.table.get("roll_price", pd.Series(np.nan, index=jobs.table.index))
    yield Need(SHEET, "m²", jobs, allowances, roll_price.to_numpy(dtype=float))
    quantities = material_quantities(jobs, takeoff.openings)
    for name, material in MATERIALS.items():
        amount = driver_quantity(jobs, quantities, material.driver)
        needed = amount > 0
        if not needed.any():
            continue
        block = allowances.materials.get(name)
        shown = block["shown"] if block else {}
        known = learnt(block) if block else without_records(name, allowances.quarter)
        pack = _told(takeoff, jobs, name, "pack", shown.get("pack") or material.pack)
        cost = _told(takeoff, jobs, name, "pack_price", shown.get("pack_price"))
        engine = engine_takeoff(jobs, amount, pack, amount * np.nan, amount * np.nan)
        jobs_in_need = engine.where(needed)
        yield Need(
            name, material.unit, jobs_in_need, up_to(known, allowances.quarter), cost[needed]
        )


def up_to(known: Allowances, quarter: str) -> Allowances:
    """Return a material's allowances, drifted to the quarter of the sheet if they are older."""
    elapsed = max(quarters_between(known.quarter, quarter), 0)
    return replace(known, belief=widen(known.belief, elapsed))


def _told(
    takeoff: Records, jobs: Takeoff, name: str, column: str, usual: float | None
) -> np.ndarray:
    """What the takeoff's own table of materials says for each job, else what is usual."""
    own = takeoff.materials[takeoff.materials["material"] == name].set_index("job_id")[column]
    told = own.astype(float).reindex(jobs.table["job_id"]).to_numpy()
    return np.where(np.isnan(told), np.nan if usual is None else usual, told)
