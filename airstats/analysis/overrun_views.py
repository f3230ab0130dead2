"""The overrun seen from every side: one job, the worst jobs, each quarter, each cut."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from airstats.analysis.overrun_split import (
    MAIN,
    NET,
    SHORT_WORDS,
    Causes,
    overrun_packs,
    overrun_table,
    split_overrun,
    usual_crews,
)
from airstats.base.quarters import quarter_number
from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import INTERVAL, Allowances, unchanged
from airstats.model.posterior import allowance_names
from airstats.pricing.newsvendor import predict
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

OVERRUN = "overrun"
"""Name of the whole beside its causes."""
LEAST_JOBS = 3
"""A slope through fewer jobs has no interval."""
MOST_GROUPS, LEAST_IN_GROUP = 5, 8
"""Of jobs alike in their reveals."""
STEP_M2 = 10.0
"""For so many m² of reveal a rise is told."""


@dataclass(frozen=True)
class JobFound:
    """The job that was asked for; without one, `job_id` is empty and `message` says why."""

    job_id: str
    message: str = ""


def find_job(jobs: Takeoff, excluded: pd.DataFrame, wanted: str = "") -> JobFound:
    """Return the job that is meant by `wanted`; empty: the one that ran over most.

    Parameters
    ----------
    jobs : Takeoff
        The finished jobs to choose from.
    excluded : DataFrame
        Finished jobs that are set apart: `job_id, exclude`.
    wanted : str
        An id; capitals and space at the ends make no difference.
    """
    name = str(wanted).strip()
    if not name:
        return JobFound(str(_by_overrun(jobs)["job_id"].iloc[0]))
    ids = {str(job).casefold(): str(job) for job in jobs.table["job_id"]}
    if name.casefold() in ids:
        return JobFound(ids[name.casefold()])
    for row in excluded.itertuples():
        if str(row.job_id).casefold() == name.casefold():
            return JobFound("", f"{row.job_id} is not split: it is excluded ({row.exclude}).")
    near = [ids[match] for match in get_close_matches(name.casefold(), ids, n=4, cutoff=0.5)]
    hint = f"near it are {', '.join(near)}" if near else f"there is, for one, {min(ids.values())}"
    return JobFound("", f'No finished job is called "{name}": {hint}.')


def overrun_a_job(jobs: Takeoff, unit: str = "rolls") -> pd.Series:
    """Return the mean overrun of a job in packs (rolls) or money with its 90 % t interval.

    `mean, low, high`; one job alone has no interval.
    """
    over = overrun_packs(jobs) * (jobs.told("pack_price") if unit == "money" else 1.0)
    return pd.Series(_mean_of(over))


def usual_split(
    jobs: Takeoff,
    allowances: Allowances,
    by: str | None = None,
    causes: Causes = MAIN,
    unit: str = "rolls",
) -> pd.DataFrame:
    """Return `split_overrun` with waste at the rate of the crews that are not above.

    Parameters
    ----------
    jobs, allowances, by, causes, unit
        As for `split_overrun`.
    """
    return split_overrun(jobs, allowances, by, unit, causes, usual_crews(allowances))


def that_count(split: pd.DataFrame) -> pd.DataFrame:
    """Return the causes of a split but those that are surely nothing, as crews that none names.

    Parameters
    ----------
    split : DataFrame
        From `usual_split`, of all jobs or of one.
    """
    return split[split[["mean", "low", "high"]].round(6).any(axis=1)].reset_index(drop=True)


def contributors(
    jobs: Takeoff, allowances: Allowances, unit: str = "rolls"
) -> list[tuple[str, pd.Series]]:
    """Return what surely took rolls, the largest first: causes in words, and crews by their names.

    Each a name and its `mean, low, high` (90 %) in rolls or money.

    Parameters
    ----------
    jobs, allowances, unit
        As for `split_overrun`.
    """
    split = usual_split(jobs, allowances, None, NET, unit).set_index("cause")
    sure = split[split["low"] > 0].drop("crew", errors="ignore")
    found = [(SHORT_WORDS[str(cause)], row) for cause, row in sure.iterrows()]
    if above := crews_above(allowances):
        crews = usual_split(jobs, allowances, "crew", unit=unit).query("cause == 'crew'")
        taken = crews.set_index("group").iterrows()
        found += [(f"crew {crew}", row) for crew, row in taken if crew in above]
    return sorted(found, key=lambda pair: -float(pair[1]["mean"]))


def crews_above(allowances: Allowances) -> list[str]:
    """Return the crews that surely use more than the firm."""
    usual, crews = usual_crews(allowances), allowances.belief.crews
    return [crew for crew in crews if crew not in usual] if usual else []


def worst_jobs(jobs: Takeoff, allowances: Allowances, count: int = 10) -> pd.DataFrame:
    """Return the jobs that ran over most, each with its main cause.

    The columns of `overrun_table`, `cause` (of `NET`: the largest that is surely above nothing) and
    its `mean_rolls, low_rolls, high_rolls` (90 %); missing where no cause is sure.

    Parameters
    ----------
    jobs, allowances
        As for `split_overrun`.
    count : int
        The most rows to return.
    """
    worst = _by_overrun(jobs).query("overrun_rolls > 0").head(count)
    split = usual_split(jobs, allowances, "job_id", NET)
    taken = split[split["low"] > 0]
    main = taken.loc[taken.groupby("group")["mean"].idxmax()].rename(
        columns={"group": "job_id", "mean": "mean_rolls", "low": "low_rolls", "high": "high_rolls"}
    )
    return worst.merge(main.drop(columns="sd"), on="job_id", how="left")


def by_quarter(jobs: Takeoff, allowances: Allowances) -> pd.DataFrame:
    """Return the overrun and its causes of each quarter, in rolls a job.

    One row a quarter and cause, the overrun itself first: `quarter, jobs, cause, mean, low, high`
    (90 %). In a quarter the means of the causes add up to that of the overrun.
    """
    split = usual_split(jobs, allowances, "quarter")
    split = split.rename(columns={"group": "quarter"}).drop(columns="sd")
    whole = {q: jobs.where(jobs.table["quarter"].eq(q)) for q in split["quarter"].unique()}
    split.insert(1, "jobs", split["quarter"].map({q: len(part) for q, part in whole.items()}))
    split[["mean", "low", "high"]] = split[["mean", "low", "high"]].div(split["jobs"], axis=0)
    over = [
        {"quarter": quarter, "jobs": len(part), "cause": OVERRUN, **overrun_a_job(part)}
        for quarter, part in whole.items()
    ]
    table = pd.concat([pd.DataFrame(over), split], ignore_index=True)
    return table.sort_values("quarter", kind="stable", ignore_index=True)


def quarter_trends(jobs: Takeoff, allowances: Allowances) -> pd.DataFrame:
    """Return how the overrun and its causes change from quarter to quarter, in rolls a job.

    `cause, change, low, high`, the overrun first; no row where fewer than two quarters or three
    jobs leave nothing to say.

    Notes
    -----
    Least squares over the jobs with t intervals: 90 % for the overrun; for the causes 90 % for all
    of them together (Bonferroni), so that one of many is not named by chance.
    """
    quarter = jobs.table["quarter"].map(quarter_number).to_numpy(dtype=float)
    if len(set(quarter)) < 2 or len(jobs) < LEAST_JOBS:
        return pd.DataFrame(columns=["cause", "change", "low", "high"])
    split = usual_split(jobs, allowances, "job_id")
    causes = split.pivot_table("mean", "group", "cause").loc[jobs.table["job_id"], list(MAIN)]
    rows = [_slope(OVERRUN, quarter, overrun_table(jobs)["overrun_rolls"], 1 - INTERVAL)]
    rows += [_slope(name, quarter, causes[name], (1 - INTERVAL) / len(MAIN)) for name in MAIN]
    return pd.DataFrame(rows)


def cut_comparison(jobs: Takeoff, allowances: Allowances) -> pd.DataFrame:
    """Return what the reveals of each cut took.

    One row a cut that some job is known to hold: `cut, jobs, reveal_m2` (of these jobs), `factor,
    factor_low, factor_high` (m² of sheet a m² of reveal, 90 %), `start` (the same before any job),
    `learnt` (share of the first variance that the jobs took away), `mean_rolls, low_rolls,
    high_rolls`.
    """
    table = allowances.table()
    first = unchanged(allowances.quarter, allowances.belief.prior).table()
    split = split_overrun(jobs, allowances).set_index("cause")
    rows = []
    for cut in CUTS:
        start = first.loc[f"reveal.{cut}"]
        area = jobs.known(f"reveal_{cut}_m2")
        known, took = table.loc[f"reveal.{cut}"], split.loc[f"reveal.{cut}"]
        row = {"cut": cut, "jobs": int((area > 0).sum()), "reveal_m2": area.sum()}
        row |= {"factor": known["mean"], "factor_low": known["low"], "factor_high": known["high"]}
        row |= {"start": start["mean"], "learnt": max(0.0, 1 - (known["sd"] / start["sd"]) ** 2)}
        row |= {f"{name}_rolls": took[name] for name in ("mean", "low", "high")}
        rows.append(row)
    compared = pd.DataFrame(rows)
    return compared[compared["jobs"] > 0].reset_index(drop=True)


def overrun_by_reveals(jobs: Takeoff, allowances: Allowances) -> pd.DataFrame:
    """Return the overrun of each job with measured openings beside what was foretold of it.

    One row a job: `job_id, reveal_m2`; `overrun_rolls` as counted; `low_rolls, high_rolls`, between
    which the count leaves what was used over the price; `foretold_rolls, foretold_low,
    foretold_high` of that (90 % of such jobs); `line_rolls`, a straight line through the counts
    that are foretold; `missed`: the count lies wholly outside foretold_low to foretold_high.

    Parameters
    ----------
    jobs, allowances
        As for `split_overrun`.

    Notes
    -----
    The line is least squares. The count that is foretold lies above the foretold use by as much as
    the count above its middle: half a roll where an opened roll counts whole.
    """
    jobs = jobs.where(jobs.unmeasured == "")
    if not len(jobs):
        return pd.DataFrame(columns=["job_id", "reveal_m2", "missed"])
    use, pack, priced = predict(jobs, allowances, 0), jobs.pack, jobs.told("estimated")
    over = overrun_packs(jobs)
    low, high = (end / pack - priced for end in jobs.interval.T)
    mean, least, most = (
        m2 / pack - priced
        for m2 in (use.mean(), *map(use.quantile, ((1 - INTERVAL) / 2, (1 + INTERVAL) / 2)))
    )
    area = jobs.by_cut("reveal").sum(axis=1)
    count = mean + over - (low + high) / 2
    line = stats.linregress(area, count) if np.ptp(area) > 0 else None
    along = line.intercept + line.slope * area if line else np.full(len(jobs), count.mean())
    return pd.DataFrame(
        {
            "job_id": jobs.table["job_id"], "reveal_m2": area, "overrun_rolls": over,
            "low_rolls": low, "high_rolls": high,
            "foretold_rolls": mean, "foretold_low": least, "foretold_high": most,
            "line_rolls": along,
            "missed": (high < least) | (low > most),
        }
    )  # fmt: skip


def groups_by_reveals(table: pd.DataFrame) -> pd.DataFrame:
    """Return the mean overrun of up to five groups of jobs alike in their reveals.

    One row a group: `jobs`, `reveal_m2` (mean), and of the counted overrun, rolls, `mean, low,
    high` (90 %, t). No row where there are too few jobs for two groups, or all are alike.

    Parameters
    ----------
    table : DataFrame
        From `overrun_by_reveals`.
    """
    many, area = min(MOST_GROUPS, len(table) // LEAST_IN_GROUP), table["reveal_m2"]
    groups = table.groupby(pd.qcut(area, many, labels=False, duplicates="drop")) if many > 1 else ()
    rows = [
        {"jobs": len(own), "reveal_m2": own["reveal_m2"].mean(), **_mean_of(own["overrun_rolls"])}
        for _, own in groups
    ]
    return pd.DataFrame(rows, columns=["jobs", "reveal_m2", "mean", "low", "high"])


def rise_with_reveals(table: pd.DataFrame) -> pd.Series | None:
    """Return how much more a job runs over for each `STEP_M2` of reveal, rolls.

    `cause, change, low, high` (90 %); None where the jobs are too few or too much alike.

    Parameters
    ----------
    table : DataFrame
        From `overrun_by_reveals`.

    Notes
    -----
    Least squares through the middles of the counts with a t interval; it knows no allowance.
    """
    if len(table) < LEAST_JOBS or np.ptp(table["reveal_m2"]) == 0:
        return None
    middle = (table["low_rolls"] + table["high_rolls"]) / 2
    area = table["reveal_m2"].to_numpy(dtype=float) / STEP_M2
    return pd.Series(_slope(OVERRUN, area, middle, 1 - INTERVAL))


def cuts_apart(allowances: Allowances, cut: str, other: str) -> pd.Series:
    """Return how much more sheet a m² of reveal takes by one cut than by another (90 %).

    Parameters
    ----------
    allowances : Allowances
        Those of the sheet.
    cut, other : str
        Two names of `CUTS`.
    """
    places = [allowance_names().index(f"reveal.{name}") for name in (cut, other)]
    covariance = allowances.covariance()[np.ix_(places, places)]
    sign = np.array([1.0, -1.0])
    mean = float(sign @ allowances.table()["mean"].iloc[places])
    reach = stats.norm.ppf(0.5 + INTERVAL / 2) * float(np.sqrt(sign @ covariance @ sign))
    return pd.Series(_interval(mean, reach))


def _by_overrun(jobs: Takeoff) -> pd.DataFrame:
    """The overrun table from the worst down; of equals, those that were priced amply first."""
    surface, roll = jobs.columns(["surface_m2", "roll_m2"]).T
    table = overrun_table(jobs)
    table = table.assign(ample=table["estimated_rolls"] - surface / roll)
    order = table.sort_values(["overrun_rolls", "ample"], ascending=False)
    return order.drop(columns="ample").reset_index(drop=True)


def _slope(cause: str, quarter: Array, rolls: pd.Series, chance: float) -> dict:
    """The least-squares change a quarter with its t interval."""
    line = stats.linregress(quarter, rolls.to_numpy(dtype=float))
    # Of rolls that never change scipy gives an error that is no number.
    error = line.stderr if np.ptp(rolls) else 0.0
    reach = stats.t.ppf(1 - chance / 2, len(quarter) - 2) * error
    return {"cause": cause} | _interval(line.slope, reach, "change")


def _mean_of(values: Any) -> dict[str, float]:
    """The mean with its t interval; one value alone has none."""
    if len(values) < 2:
        return _interval(values.mean(), np.inf)
    error = values.std(ddof=1) / len(values) ** 0.5
    return _interval(values.mean(), stats.t.ppf(0.5 + INTERVAL / 2, len(values) - 1) * error)


def _interval(mean: float, reach: float, name: str = "mean") -> dict[str, float]:
    return {name: mean, "low": mean - reach, "high": mean + reach}
