"""Why other materials ran over: the sheet's own split, and last value beside new.

What the sheet's split calls held in the price is here what was counted less what was priced, and
what it calls waste is the material's allowance.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.overrun_split import CAUSES, Causes, joined, split_overrun
from airstats.analysis.overrun_views import overrun_a_job
from airstats.model.allowances import Allowances, unchanged
from airstats.model.quarterly_update import Product, learnt_materials
from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import Takeoff

MATERIAL_CAUSES = joined("material", [name for name in CAUSES if name != "reveals"])
"""What a material's overrun is split into; together they hold every part of the sheet's split."""
MATERIAL_NET: Causes = {
    "beyond_price": (*MATERIAL_CAUSES["not_counted"], *MATERIAL_CAUSES["waste"]),
    "whole_packs": MATERIAL_CAUSES["whole_packs"],
    "unexplained": MATERIAL_CAUSES["unexplained"],
}
"""Waste set against what the price held beyond the counted quantity: the two belong together."""
FOLLOWS = 0.05
"""A price follows the counted quantity if chance alone would link the two less often than this."""
ENOUGH_JOBS = 6
"""In fewer jobs no link between price and count can be told."""


def estimated_jobs(jobs: Takeoff) -> Takeoff:
    """Return the jobs whose packs were estimated."""
    return jobs.where(~np.isnan(jobs.told("estimated")))


def overrun_units(jobs: Takeoff) -> tuple[str, ...]:
    """Return what the overrun can be told in: money only where every pack has its price."""
    unpriced = np.isnan(estimated_jobs(jobs).told("pack_price")).any()
    return ("packs",) if unpriced else ("packs", "money")


def material_split(
    material: Product, unit: str = "packs", causes: Causes = MATERIAL_CAUSES
) -> pd.DataFrame:
    """Split used minus estimated into causes, over the jobs with an estimate.

    Parameters
    ----------
    material : Product
        Its jobs with a count, and what they taught.
    unit : {"packs", "money"}
    causes : mapping
        `MATERIAL_CAUSES` or `MATERIAL_NET`.

    Returns
    -------
    DataFrame
        `cause, mean, sd, low, high` (90 %). The means add up to used - estimated.
    """
    split = split_overrun(estimated_jobs(material.jobs), material.known, unit=unit, causes=causes)
    return split.drop(columns="group")


def material_overrun(jobs: Takeoff, unit: str = "packs") -> pd.Series:
    """Return used less estimated over the jobs with an estimate: mean, low, high (90 %).

    Notes
    -----
    The sum is counted; its t interval says what chance makes of as many jobs of the kind.
    """
    estimated = estimated_jobs(jobs)
    return overrun_a_job(estimated, unit) * len(estimated)


def price_follows_count(jobs: Takeoff) -> bool:
    """Say whether the estimates follow what the openings ask for.

    Notes
    -----
    Spearman's rank correlation of estimate and counted quantity, one-sided. Where few jobs or
    counts all alike leave nothing to tell, the estimate is taken to follow, unless it is nothing.
    """
    priced = estimated_jobs(jobs)
    estimated, counted = priced.told("estimated"), priced.amount
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

    Parameters
    ----------
    records : Records
        The finished jobs up to the quarter of `now`.
    before, now : Allowances
        Before (None: the starting beliefs) and after the quarter.
    """
    rows = []
    for one in learnt_materials(records, now):
        old = before.materials.get(one.name) if before else None
        old = old or unchanged(one.known.quarter, product=one.name)
        row = compare_allowances(one.jobs, old, one.known).iloc[[0]]
        unit = one.known.unit
        rows.append(row.assign(allowance=one.name, unit=f"{unit} a {unit} counted"))
    return pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=["allowance"])
