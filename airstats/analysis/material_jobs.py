"""The finished jobs of one other material, as the sheet's own tables and splits take them.

The counted quantity stands for the surface and for what is laid, a pack for a roll; see
`material_calibration`. So what the sheet's split calls held in the price is here what was counted
less what was priced, and what it calls waste is the material's allowance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.overrun_split import Causes, split_overrun
from airstats.analysis.overrun_views import OVERRUN, overrun_a_job
from airstats.catalog.materials import MATERIALS
from airstats.model.allowances import Allowances
from airstats.model.material_calibration import counted_jobs, learnt, without_records
from airstats.model.quarterly_update import finished_jobs
from airstats.records.reading import Records
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.sheet_quantities import Takeoff

MATERIAL_CAUSES: Causes = {
    "not_counted": ("already_priced", "laps"),
    "waste": ("waste", "crew"),
    "whole_packs": ("count_rounding", "price_rounding"),
    "unexplained": ("unexplained",),
}
"""What a material's overrun is split into; together they hold every part of the sheet's split."""
MATERIAL_NET: Causes = {
    "beyond_price": (*MATERIAL_CAUSES["not_counted"], *MATERIAL_CAUSES["waste"]),
    "whole_packs": MATERIAL_CAUSES["whole_packs"],
    "unexplained": MATERIAL_CAUSES["unexplained"],
}
"""Waste set against what the price held beyond the counted quantity: the two belong together."""
MATERIAL_CAUSE_WORDS = {
    OVERRUN: "used less priced",
    "not_counted": "needed by the openings less priced",
    "waste": "waste at the firm's rate",
    "whole_packs": "whole-pack rounding",
    "unexplained": "unexplained",
}
FOLLOWS = 0.05
"""A price follows the counted quantity if chance alone would link the two less often than this."""
ENOUGH_JOBS = 6
"""In fewer jobs no link between price and count can be told."""


@dataclass(frozen=True)
class MaterialJobs:
    """The finished jobs with a count of one material, and what they taught.

    `jobs` as the engine takes them, with `estimated_rolls` and `used_rolls` in packs, and
    `roll_price` the price of a pack.
    """

    name: str
    jobs: Takeoff
    known: Allowances

    def priced(self) -> Takeoff:
        """Return the jobs whose packs were estimated."""
        return self.jobs.where(self.jobs.table["estimated_rolls"].notna())

    def units(self) -> tuple[str, ...]:
        """Return what the overrun can be told in: money only where every pack has its price."""
        told = self.priced().table["roll_price"].notna().all()
        return ("rolls", "money") if told else ("rolls",)


def material_jobs(records: Records, allowances: Allowances) -> Iterator[MaterialJobs]:
    """Yield every material that the allowances hold, in the order of `MATERIALS`.

    Parameters
    ----------
    records : Records
        The finished jobs up to the quarter of the allowances.
    allowances : Allowances
        With their materials.
    """
    names = [name for name in MATERIALS if name in allowances.materials]
    jobs = finished_jobs(records) if names else None
    if jobs is None:
        return
    quantities = material_quantities(jobs, records.openings)
    for name in names:
        engine, rows = counted_jobs(jobs, quantities, records.materials, name)
        table = engine.table.assign(
            estimated_rolls=rows["estimated"].astype(float).to_numpy(),
            used_rolls=rows["used"].astype(float).to_numpy(),
            net_surface_m2=engine.table["laid_m2"],
            lap_m2=0.0,
            roll_price=rows["pack_price"].astype(float).to_numpy(),
        )
        yield MaterialJobs(name, Takeoff(table), learnt(allowances.materials[name]))


def material_split(
    material: MaterialJobs, unit: str = "rolls", causes: Causes = MATERIAL_CAUSES
) -> pd.DataFrame:
    """Split used minus estimated into causes, over the jobs with an estimate.

    Parameters
    ----------
    unit : {"rolls", "money"}
        A pack stands for a roll.
    causes : mapping
        `MATERIAL_CAUSES` or `MATERIAL_NET`.

    Returns
    -------
    DataFrame
        `cause, mean, sd, low, high` (90 %). The means add up to used - estimated.
    """
    split = split_overrun(material.priced(), material.known, unit=unit, causes=causes)
    return split.drop(columns="group")


def material_overrun(material: MaterialJobs, unit: str = "rolls") -> pd.Series:
    """Return used less estimated over the jobs with an estimate: mean, low, high (90 %).

    Notes
    -----
    The sum is counted; its t interval says what chance makes of as many jobs of the kind.
    """
    return overrun_a_job(material.priced(), unit) * len(material.priced())


def material_table(material: MaterialJobs) -> pd.DataFrame:
    """Return the overrun and its causes in packs and, where it is known, in money.

    Returns
    -------
    DataFrame
        The overrun first: `material, cause, mean_packs, low_packs, high_packs` and
        `mean_money, low_money, high_money` (90 %; missing where not known).
    """
    table = pd.DataFrame({"material": material.name, "cause": [OVERRUN, *MATERIAL_CAUSES]})
    units = material.units()
    for unit, name in (("rolls", "packs"), ("money", "money")):
        columns = [f"{part}_{name}" for part in ("mean", "low", "high")]
        if unit not in units:
            table[columns] = np.nan
            continue
        whole = material_overrun(material, unit).to_frame().T
        parts = pd.concat([whole, material_split(material, unit)[["mean", "low", "high"]]])
        table[columns] = parts.where(np.isfinite(parts)).to_numpy(dtype=float)
    return table


def price_follows_count(material: MaterialJobs) -> bool:
    """Say whether the estimates follow what the openings ask for.

    Notes
    -----
    Spearman's rank correlation of estimate and counted quantity, one-sided. Where few jobs or
    counts all alike leave nothing to tell, the estimate is taken to follow, unless it is nothing.
    """
    estimated, counted = material.priced().columns(["estimated_rolls", "laid_m2"]).T
    if not estimated.any():
        return False
    if len(counted) < ENOUGH_JOBS or np.ptp(counted) == 0:
        return True
    if np.ptp(estimated) == 0:
        return False
    return bool(stats.spearmanr(estimated, counted, alternative="greater").pvalue < FOLLOWS)


def material_comparison(
    records: Records, before: Allowances | None, now: Allowances
) -> pd.DataFrame:
    """Set each material's last value beside its new one: the columns of `compare_allowances`.

    The allowance is a share of the counted quantity.
    """
    rows = []
    for one in material_jobs(records, now):
        block = before.materials.get(one.name) if before else None
        old = learnt(block) if block else without_records(one.name, one.known.quarter)
        row = compare_allowances(one.jobs, old, one.known).iloc[[0]]
        unit = MATERIALS[one.name].unit
        rows.append(row.assign(allowance=one.name, unit=f"{unit} a {unit} counted"))
    return pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=["allowance"])
