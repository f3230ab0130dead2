"""What moved, what was learnt, which crew differs, how much the starting belief matters."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from airstats.analysis.overrun_split import split_overrun
from airstats.base.quarters import quarter_number, quarters_between
from airstats.model.allowances import REACH, Allowances, unchanged, unit_of
from airstats.model.posterior import (
    Belief,
    branch_over_drift,
    update,
    widen,
    with_depth_error,
)
from airstats.model.prior import Prior
from airstats.model.quarterly_update import run_through
from airstats.pricing.newsvendor import predict
from airstats.takeoff.sheet_quantities import Takeoff

NOT_ENOUGH = "not enough to tell"
"""The verdict on an allowance that did not move, and of which a quarter tells too little."""
LITTLE = 0.95
"""A quarter that leaves more than this share of the standard deviation tells little."""


def compare_allowances(jobs: Takeoff, before: Allowances | None, now: Allowances) -> pd.DataFrame:
    """Set last quarter's allowances beside this quarter's, with a verdict on each.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs, those that are new in the quarter among them.
    before, now : Allowances
        Before (None: the starting belief) and after the quarter.

    Returns
    -------
    DataFrame
        One row an allowance: `allowance, old, alone, new` (before, widened by the drift since; by
        the new jobs with the starting belief only; after), each with `_sd, _low, _high` (90 %)
        and `_half` (half of that interval); `unit, move, by_chance, learnt, verdict`.

    Notes
    -----
    If the old belief is right, an update moves the mean by a normal amount with variance old sd²
    - new sd². A move that chance exceeds in fewer than one case of ten counts as moved. If it does
    not and the quarter leaves more than 95 % of the sd, there is not enough to tell.
    """
    start = unchanged(now.quarter, now.belief.prior, now.product)
    known = before or start
    old = widen(known.belief, quarters_between(known.quarter, now.quarter))
    new_jobs = jobs.where(jobs.table["job_id"].isin(now.new_jobs))
    first = with_depth_error(start.belief, now.belief.habits.depth_error_mm)
    alone = update(first, new_jobs)
    table = pd.DataFrame({"allowance": now.table().index})
    for name, belief in (("old", old), ("alone", alone), ("new", now.belief)):
        told = replace(now, belief=belief).table()
        table[[name, *(f"{name}_{part}" for part in ("sd", "low", "high"))]] = told[
            ["mean", "sd", "low", "high"]
        ].to_numpy()
        table[f"{name}_half"] = (told["high"] - told["low"]).to_numpy() / 2
    table["unit"] = [unit_of(name) for name in table["allowance"]]
    left = table["new_sd"] / table["old_sd"]
    table["move"] = table["new"] - table["old"]
    table["by_chance"] = REACH * table["old_sd"] * np.sqrt(1 - left.clip(upper=LITTLE) ** 2)
    table["learnt"] = (1 - (table["new_sd"] / start.table()["sd"].to_numpy()) ** 2).clip(lower=0)
    verdict = np.where(left > LITTLE, NOT_ENOUGH, "held")
    return table.assign(
        verdict=np.where(table["move"].abs() > table["by_chance"], "moved", verdict)
    )


def crew_comparison(jobs: Takeoff, allowances: Allowances) -> pd.DataFrame:
    """Return one row a crew: its departure as pooled, and by its own jobs alone.

    `crew, jobs, pooled, pooled_low, pooled_high, raw` as shares of laid sheet; `mean_rolls,
    low_rolls, high_rolls` the rolls that the departure took.
    """
    named = jobs.where(jobs.table["crew"].ne(""))
    pooled = allowances.crew_table()
    renamed = {"mean": "pooled", "low": "pooled_low", "high": "pooled_high"}
    in_rolls = {name: f"{name}_rolls" for name in renamed}
    if not len(named) or pooled.empty:
        return pd.DataFrame(columns=["crew", "jobs", "raw", *renamed.values(), *in_rolls.values()])
    laid = named.table.groupby("crew")["laid_m2"].sum()
    area = split_overrun(named, allowances, by="crew", unit="m2")
    parts = area.pivot_table("mean", "group", "cause", observed=True)
    rolls = split_overrun(named, allowances, by="crew").query("cause == 'crew'").set_index("group")
    table = pooled.rename(columns=renamed).assign(raw=(parts["crew"] + parts["unexplained"]) / laid)
    return (
        table.join(rolls[list(in_rolls)].rename(columns=in_rolls), how="inner")
        .rename_axis("crew")
        .reset_index()
        .sort_values("pooled", ascending=False, ignore_index=True)
    )


def belief_table(now: Allowances) -> pd.DataFrame:
    """Set what was believed before any job beside what is believed now.

    Parameters
    ----------
    now : Allowances
        After a quarter.

    Returns
    -------
    DataFrame
        One row a number of the model: `quantity`, `start, start_low, start_high, mean, low, high`
        (90 %), `learnt` (share of the first variance that the jobs took away), `unit`.
    """
    first = unchanged(now.quarter, now.belief.prior)
    start = replace(first, belief=branch_over_drift(first.belief))
    rows = []
    for kind in ("table", "reuse_table"):
        before, after = getattr(start, kind)(), getattr(now, kind)()
        for name in after.index:
            rows.append(_learnt(name, before.loc[name], after.loc[name], unit_of(name)))
    kinds = {"spread": "spread", "crew_sd": "crews differ, sd", "drift": "drift a quarter, sd"}
    for name, words in kinds.items():
        before, after = (_of_nodes(known.belief, name) for known in (start, now))
        rows.append(_learnt(words, before, after, unit_of("waste")))
    return pd.DataFrame(rows)


def _of_nodes(belief: Belief, name: str) -> dict[str, float]:
    """Mean, sd and 90 % interval of a number that each candidate holds as one value."""
    values, weight = getattr(belief, name), belief.weight
    order = np.argsort(values, kind="stable")
    so_far = np.cumsum(weight[order])
    low, high = (float(values[order][np.searchsorted(so_far, p)]) for p in (0.05, 0.95))
    mean = float(weight @ values)
    sd = float(np.sqrt(weight @ (values - mean) ** 2))
    return {"mean": mean, "sd": sd, "low": low, "high": high}


def _learnt(quantity: str, before: Any, after: Any, unit: str) -> dict[str, Any]:
    start = {"start": before["mean"], "start_low": before["low"], "start_high": before["high"]}
    ends = {name: after[name] for name in ("mean", "low", "high")}
    learnt = max(0.0, 1 - (after["sd"] / before["sd"]) ** 2) if before["sd"] else 0.0
    return {"quantity": quantity, **start, **ends, "learnt": learnt, "unit": unit}


def other_priors() -> dict[str, Prior]:
    """Return the starting beliefs that the sensitivity table tries."""
    usual = Prior()
    wide = tuple((mean, 2 * sd) for mean, sd in usual.reveal_factors)
    return {
        "as documented": usual,
        "waste 12 % (sd 10 %)": replace(usual, waste=(0.12, 0.10)),
        "reveal factors twice as wide": replace(usual, reveal_factors=wide),
        "flat factors only (99 %)": replace(usual, reuse_weight=0.01),
        "one record in a thousand wrong": replace(usual, gross_share=0.001),
    }


def prior_sensitivity(jobs: Takeoff, quarter: str) -> pd.DataFrame:
    """Return the allowances under other starting beliefs: `prior`, the four means, `rolls`.

    All the jobs are fitted at once, without drift. `rolls` is the sheet expected for all the
    jobs, in rolls: what the difference is worth.
    """
    first = min(jobs.table["quarter"], key=quarter_number)
    rows = []
    for name, prior in other_priors().items():
        known = run_through(jobs, [quarter], unchanged(first, prior))
        means = known.table()["mean"].to_dict()
        rolls = float((predict(jobs, known, 0).mean() / jobs.pack).sum())
        rows.append({"prior": name, **means, "rolls": rolls})
    return pd.DataFrame(rows)
