"""Which single jobs move the allowances, and what would change the conclusion."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from airstats.analysis.case_deletion import pulls
from airstats.analysis.overrun_split import MAIN, split_overrun
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.model.allowances import REACH, Allowances, unchanged
from airstats.model.posterior import (
    allowance_names,
    starting_belief,
    update,
    with_depth_error,
)
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs
from airstats.pricing.newsvendor import price
from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import Takeoff

REFITTED = 5
"""So many of the most influential jobs are left out in truth, to check the quick way."""
REMOVED = 3
"""So many of the most influential jobs are taken out at once, to try the conclusion."""
GROUPS = {"crews": MAIN["crew"]} | {name: MAIN[name] for name in ("reveals", "laps", "waste")}
"""Causes that the conclusion names: those that a price can hold, whole rolls apart."""


def fit_at_once(jobs: Takeoff, prior: Prior | None = None) -> Allowances:
    """Fit all jobs at once, without drift, from a starting belief."""
    last = max(jobs.table["quarter"])
    ids = tuple(jobs.table["job_id"])
    start = with_depth_error(starting_belief(prior), jobs.habits.depth_error_mm)
    belief = update(start, jobs)
    return replace(unchanged(last, prior), belief=belief, job_ids=ids, new_jobs=ids)


def leave_each_out(jobs: Takeoff, fitted: Allowances | None = None) -> pd.DataFrame:
    """Return how each allowance would move if a job had not been there.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs.
    fitted : Allowances, optional
        `fit_at_once` of the same jobs, if it is at hand.

    Returns
    -------
    DataFrame
        n rows, the most influential first: `job_id, quarter, used_rolls`, the move of the
        allowances (in their units), `moves_most`, `move, move_sd` (that move, and as a share of
        the allowance's sd).

    Notes
    -----
    One Newton step from the fitted top without the job, in every candidate, and the candidates
    weighed anew; see `case_deletion.pulls`, of which this is the negative.
    """
    known = fitted or fit_at_once(jobs)
    pull = pulls(jobs, None, known)
    wide = pull.pivot_table(index="job_id", columns="allowance", values="pull", sort=False)
    names = list(allowance_names())
    shift = -wide.loc[jobs.table["job_id"], names].to_numpy()
    in_sd = shift / known.table()["sd"].to_numpy()
    most = np.abs(in_sd).argmax(axis=1)
    row = np.arange(len(jobs))
    named = jobs.table[["job_id", "quarter", "used_rolls"]]
    return (
        named.assign(**dict(zip(names, shift.T, strict=True)))
        .assign(moves_most=np.array(names)[most], move=shift[row, most])
        .assign(move_sd=in_sd[row, most])
        .sort_values("move_sd", key=np.abs, ascending=False, ignore_index=True, kind="stable")
    )


def refit_without(jobs: Takeoff, influence: pd.DataFrame, most: int = REFITTED) -> pd.DataFrame:
    """Return the first rows of `leave_each_out` with `move_refit`: the move by a true refit.

    Parameters
    ----------
    jobs : Takeoff
        The n finished jobs that `influence` is about.
    influence : DataFrame
        From `leave_each_out`.
    most : int
        How many jobs to leave out, each by itself.
    """
    whole = fit_at_once(jobs).table()["mean"]
    rows = influence.head(most if len(jobs) > 1 else 0)
    moves = []
    for job_id, allowance in zip(rows["job_id"], rows["moves_most"], strict=True):
        rest = jobs.where(jobs.table["job_id"].ne(job_id))
        moves.append(fit_at_once(rest).table()["mean"][allowance] - whole[allowance])
    return rows.assign(move_refit=moves)


def try_conclusion(
    jobs: Takeoff,
    to_price: Takeoff,
    influence: pd.DataFrame,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    published: Allowances | None = None,
    with_excluded: Takeoff | None = None,
) -> pd.DataFrame:
    """Return what is concluded under other assumptions, the documented ones first.

    Parameters
    ----------
    jobs, to_price : Takeoff
        Finished jobs, and jobs to order for.
    influence : DataFrame
        From `leave_each_out`.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short.
    published : Allowances, optional
        Those of the chain, quarter by quarter with the drift as learnt.
    with_excluded : Takeoff, optional
        The finished jobs, those set apart with a reason among them.

    Returns
    -------
    DataFrame
        `assumption, order_rolls` (all jobs of `to_price`), `orders_changed` (jobs with another
        order), `cause` (the largest), `cause_rolls, cause_half` (± 90 %), `next_cause,
        next_rolls, next_half`, `close` (whether the two are nearer than 1.64 times their sds
        together, the most that the sd of their difference can be), `waste, waste_half` (± 90 %,
        m² a m² laid).
    """
    rows, usual = [], None
    for name, known, counted in _assumptions(jobs, influence, published, with_excluded):
        orders = price(to_price, known, leftover_cost, short_cost, 0)["order_rolls"].to_numpy()
        usual = orders if usual is None else usual
        causes = _causes(counted, known)
        first, second = causes.iloc[0], causes.iloc[1]
        waste = known.table().T["waste"]
        rows.append(
            {
                "assumption": name,
                "order_rolls": int(orders.sum()),
                "orders_changed": int((orders != usual).sum()),
                "cause": str(causes.index[0]),
                "cause_rolls": float(first["mean"]),
                "cause_half": float(REACH * first["sd"]),
                "next_cause": str(causes.index[1]),
                "next_rolls": float(second["mean"]),
                "next_half": float(REACH * second["sd"]),
                "close": bool(
                    first["mean"] - second["mean"] < REACH * (first["sd"] + second["sd"])
                ),
                "waste": waste["mean"],
                "waste_half": REACH * waste["sd"],
            }
        )
    return pd.DataFrame(rows)


def put_back(records: Records) -> Takeoff | None:
    """Return the finished jobs with those put back that were set apart; None if none was."""
    finished = records.jobs["finished"].astype(bool)
    if records.jobs.loc[finished, "exclude"].eq("").all():
        return None
    return finished_jobs(replace(records, jobs=records.jobs.assign(exclude="")))


def counted_to_the_nearest(jobs: Takeoff, which: pd.Series | None = None) -> Takeoff:
    """Return the jobs as if opened rolls had been rounded to the nearest, not counted whole.

    `which` tells of each job whether it is meant; without it all are.
    """
    opened = jobs.table["counted"].eq("opened")
    half = 0.5 * jobs.table["roll_m2"].where(opened if which is None else opened & which, 0.0)
    ends = {name: jobs.table[name] + half for name in ("used_low_m2", "used_high_m2")}
    return replace(jobs, table=jobs.table.assign(**ends))


def _assumptions(
    jobs: Takeoff,
    influence: pd.DataFrame,
    published: Allowances | None,
    with_excluded: Takeoff | None,
) -> Iterator[tuple[str, Allowances, Takeoff]]:
    """Name, what is then believed, and the jobs whose causes are told."""
    usual = Prior()
    yield "as documented", fit_at_once(jobs), jobs
    if published:
        yield "quarter by quarter, with drift", published, jobs
    if with_excluded:
        yield "jobs set apart put back", fit_at_once(with_excluded), with_excluded
    if len(jobs) > REMOVED:
        gone = jobs.table["job_id"].isin(influence["job_id"].head(REMOVED))
        yield f"without the {REMOVED} most influential jobs", fit_at_once(jobs.where(~gone)), jobs
    wide: dict[str, Any] = {
        name: tuple((mean, 2 * sd) for mean, sd in getattr(usual, name))
        for name in ("reveal_factors", "reuse_shares")
    }
    waste, sd = usual.waste
    others = {
        "starting belief twice as wide": replace(usual, waste=(waste, 2 * sd), **wide),
        "flat factors only": replace(usual, reuse_weight=1e-9),
        "re-use of off-cuts only": replace(usual, reuse_weight=1 - 1e-9),
        "no record grossly wrong": replace(usual, gross_share=0.0),
        "crews all alike": replace(usual, crew_sd_weights=((1e-4, 1.0),)),
    }
    for name, prior in others.items():
        yield name, fit_at_once(jobs, prior), jobs
    if jobs.table["counted"].eq("opened").any():
        nearest = counted_to_the_nearest(jobs)
        yield "rolls counted to the nearest, not opened", fit_at_once(nearest), nearest


def _causes(jobs: Takeoff, known: Allowances) -> pd.DataFrame:
    """Rolls that each group of causes took, `mean, sd`, the largest first."""
    split = split_overrun(jobs, known, causes=GROUPS).set_index("cause")
    return split[["mean", "sd"]].sort_values("mean", ascending=False)
