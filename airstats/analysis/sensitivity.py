"""Which single jobs move the allowances, and what would change the conclusion."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from airstats.analysis.case_deletion import pulls
from airstats.analysis.depth_error import ROUGH_MM
from airstats.analysis.overrun_split import likely_use
from airstats.analysis.overrun_views import contributors
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import Allowances, unchanged
from airstats.model.posterior import (
    allowance_names,
    predictive,
    starting_belief,
    update,
    with_depth_error,
)
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs
from airstats.pricing.newsvendor import priced
from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import Takeoff

REFITTED = 5
"""So many of the most influential jobs are left out in truth, to check the quick way."""
REMOVED = 3
"""So many of the most influential jobs are taken out at once, to try the conclusion."""
WIDER_MM = 20.0
"""So much wider than noted may laps be laid without anybody seeing it: an assumption of ours."""
SHORT_TIMES = {"half": 0.5, "twice": 2.0}
PUBLISHED = "as on the other pages"
AT_ONCE = "all jobs at once (as all below)"
TO_THE_NEAREST = "rolls counted to the nearest"
PUT_BACK = "jobs set apart put back"
NO_CAUSE = "no single cause"


def _wide_belief() -> Prior:
    usual = Prior()
    wide: dict[str, Any] = {
        name: tuple((mean, 2 * sd) for mean, sd in getattr(usual, name))
        for name in ("reveal_factors", "reuse_shares")
    }
    waste, sd = usual.waste
    return replace(usual, waste=(waste, 2 * sd), **wide)


def _beliefs() -> dict[str, Prior]:
    return {
        "starting belief twice as wide": _wide_belief(),
        "no record grossly wrong": Prior(gross_share=0.0),
    }


def _forms() -> dict[str, Prior]:
    return {
        "flat factors only": Prior(reuse_weight=1e-9),
        "re-use of off-cuts only": Prior(reuse_weight=1 - 1e-9),
        "crews all alike": Prior(crew_sd_weights=((1e-4, 1.0),)),
    }


def fit_at_once(
    jobs: Takeoff, prior: Prior | None = None, more_depth_error_mm: float = 0.0
) -> Allowances:
    """Fit all jobs at once, without drift, from a starting belief.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs.
    prior : Prior, optional
        The starting belief; without it the documented one.
    more_depth_error_mm : float
        Measuring error of the depths (sd) beyond what the jobs are reckoned with already.
    """
    last = max(jobs.table["quarter"])
    ids = tuple(jobs.table["job_id"])
    error = jobs.habits.depth_error_mm + more_depth_error_mm
    start = with_depth_error(starting_belief(prior), error)
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


def pull_on_order(
    jobs: Takeoff, to_price: Takeoff, influence: pd.DataFrame, fitted: Allowances | None = None
) -> pd.DataFrame:
    """Return how far each job departs from the fit, and how far it pulls an order.

    Parameters
    ----------
    jobs : Takeoff
        The n finished jobs that `influence` is about.
    to_price : Takeoff
        Jobs to order for.
    influence : DataFrame
        From `leave_each_out`.
    fitted : Allowances, optional
        `fit_at_once` of the same jobs, if it is at hand.

    Returns
    -------
    DataFrame
        n rows, the strongest pull first: `job_id, quarter, expected_m2, departure_sd` (the likely
        use within the count less the expected one, in the job's sd), `pull_rolls` (sheet of all
        jobs of `to_price` together, less the same without the job).

    Notes
    -----
    For whole rolls the departure is drawn towards nothing: only the roll's span is known.
    """
    known = fitted or fit_at_once(jobs)
    told = predictive(known.belief, jobs.reckoned(known.belief.habits))
    likely, weight = likely_use(told), known.belief.weight
    departure = weight @ ((likely.use - likely.expected) / likely.job_sd)
    table = pd.DataFrame(
        {"job_id": jobs.table["job_id"], "quarter": jobs.table["quarter"],
         "expected_m2": weight @ likely.expected, "departure_sd": departure}
    )  # fmt: skip
    names = ["laid_m2", *(f"reveal_{cut}_m2" for cut in CUTS)]
    worth = (to_price.columns(names) / to_price.pack[:, None]).sum(axis=0)
    moved = influence.set_index("job_id")[list(allowance_names())] @ worth
    table = table.assign(pull_rolls=-moved.loc[table["job_id"]].to_numpy())
    return table.sort_values("pull_rolls", key=np.abs, ascending=False, ignore_index=True)


def refit_without(
    jobs: Takeoff,
    influence: pd.DataFrame,
    most: int = REFITTED,
    fitted: Allowances | None = None,
) -> pd.DataFrame:
    """Return the first rows of `leave_each_out` with `move_refit`: the move by a true refit.

    Parameters
    ----------
    jobs : Takeoff
        The n finished jobs that `influence` is about.
    influence : DataFrame
        From `leave_each_out`.
    most : int
        How many jobs to leave out, each by itself.
    fitted : Allowances, optional
        `fit_at_once` of the same jobs, if it is at hand.
    """
    whole = (fitted or fit_at_once(jobs)).table()["mean"]
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
    fitted: Allowances | None = None,
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
    fitted : Allowances, optional
        `fit_at_once` of the same jobs, if it is at hand.

    Returns
    -------
    DataFrame
        `assumption, order_rolls` (all jobs of `to_price`), `orders_changed` (jobs with another
        order than at `AT_ONCE`; there, than as published), `cause` (the first of
        `overrun_views.contributors`, or `NO_CAUSE`), `cause_rolls, cause_half` (± 90 %), `waste,
        waste_half` (± 90 %, m² a m² laid), `of_model` (whether it is the form of the model that
        is tried).
    """
    usual = fitted or fit_at_once(jobs)
    cause_of_usual = _leading(jobs, usual)
    rows, beside = [], None
    for one in _assumptions(jobs, to_price, influence, usual, published, with_excluded):
        asked = (leftover_cost, short_cost * one.short_times, 0)
        orders = priced(one.to_price, one.known, *asked).order_packs
        beside = orders if beside is None else beside
        told: dict[str, Any] = {
            "order_rolls": int(orders.sum()),
            "orders_changed": int((orders != beside).sum()),
        }
        beside = orders if one.name == AT_ONCE else beside
        waste = one.known.table().T["waste"]
        half = (waste["high"] - waste["low"]) / 2
        about = {"waste": waste["mean"], "waste_half": half}
        told |= {"assumption": one.name, "of_model": one.of_model}
        cause = cause_of_usual if one.known is usual else _leading(one.jobs, one.known)
        rows.append(told | cause | about)
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


def not_told(jobs: Takeoff) -> pd.Series:
    """Return for each job whether its rolls count as opened only since nothing else is said."""
    table = jobs.table
    told = table["count_told"].astype(bool) if "count_told" in table else False
    return table["counted"].eq("opened") & ~pd.Series(told, index=table.index)


def count_in_doubt(jobs: Takeoff) -> pd.Series:
    """Return for each job whether its opened rolls are tried as counted to the nearest.

    Those of which the records do not say how they were counted; all of them where it is said of
    each, for then what is said is tried.
    """
    asked = not_told(jobs)
    return asked if asked.any() else jobs.table["counted"].eq("opened")


def laid_wider(jobs: Takeoff, more_mm: float = WIDER_MM) -> Takeoff:
    """Return the jobs as if their courses had lapped so much more, mm, than was noted."""
    width, lap = jobs.table["roll_width_m"], jobs.table["lap_mm"] / 1000
    laid = jobs.table["laid_m2"] * (width - lap) / (width - lap - more_mm / 1000)
    lapped = laid - jobs.table["net_surface_m2"]
    return replace(jobs, table=jobs.table.assign(laid_m2=laid, lap_m2=lapped))


class _Tried(NamedTuple):
    """What is believed under an assumption, whose causes are told, and what is ordered."""

    name: str
    known: Allowances
    jobs: Takeoff
    to_price: Takeoff
    short_times: float = 1.0
    of_model: bool = False


def _assumptions(
    jobs: Takeoff,
    to_price: Takeoff,
    influence: pd.DataFrame,
    usual: Allowances,
    published: Allowances | None,
    with_excluded: Takeoff | None,
) -> Iterator[_Tried]:
    """Those of the records and costs first, then those of the model."""
    if published:
        yield _Tried(PUBLISHED, published, jobs, to_price)
    yield _Tried(AT_ONCE, usual, jobs, to_price)
    if jobs.table["counted"].eq("opened").any():
        nearest = counted_to_the_nearest(jobs, count_in_doubt(jobs))
        yield _Tried(TO_THE_NEAREST, fit_at_once(nearest), nearest, to_price)
    wider = laid_wider(jobs)
    name = f"laps {WIDER_MM:g} mm wider than noted"
    yield _Tried(name, fit_at_once(wider), wider, laid_wider(to_price))
    if jobs.by_cut("reveal").any():
        rough = fit_at_once(jobs, None, ROUGH_MM)
        error = f"{rough.belief.habits.depth_error_mm:g} mm (sd)"
        yield _Tried(
            f"reveal depths wrong by {error}", rough, jobs.reckoned(rough.belief.habits), to_price
        )
    for words, times in SHORT_TIMES.items():
        yield _Tried(f"a roll short costs {words} as much", usual, jobs, to_price, times)
    for name, prior in _beliefs().items():
        yield _Tried(name, fit_at_once(jobs, prior), jobs, to_price)
    if len(jobs) > REMOVED:
        rest = jobs.where(~jobs.table["job_id"].isin(influence["job_id"].head(REMOVED)))
        name = f"without the {REMOVED} most influential jobs"
        yield _Tried(name, fit_at_once(rest), jobs, to_price)
    if with_excluded:
        known = fit_at_once(with_excluded)
        yield _Tried(PUT_BACK, known, with_excluded, to_price, of_model=True)
    for name, prior in _forms().items():
        yield _Tried(name, fit_at_once(jobs, prior), jobs, to_price, of_model=True)


def _leading(jobs: Takeoff, known: Allowances) -> dict[str, Any]:
    """What surely took most, if anything did."""
    found = contributors(jobs, known)
    if not found:
        return {"cause": NO_CAUSE, "cause_rolls": np.nan, "cause_half": np.nan}
    name, took = found[0]
    half = (took["high"] - took["low"]) / 2
    return {"cause": name, "cause_rolls": took["mean"], "cause_half": half}
