"""Whether what was foretold came true: shortages, costs, and whole groups of jobs."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import binom, poisson_binom

from airstats.analysis.ewma_chart import ALL_JOBS
from airstats.analysis.regressions import mean_by_cluster
from airstats.backtests.rolling import ORACLE, PERCENTS, RULES, Backtest, cost_column
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

SURE = 1e-9
"""Below this width the chance of a count is a point."""
CHANCE = 0.9
"""What came true stays within what chance allows in so many cases."""
FEWEST = 3
"""A group of fewer jobs than this is not judged by itself."""
INSIDE, OPEN, ABOVE, BELOW = "inside", "left open", "above", "below"
"""Where a counted interval lies: within the foretold one, over an end of it, or beyond it."""
SIZES = ("small jobs", "middling jobs", "large jobs")


def shortages(result: Backtest) -> pd.Series:
    """Return how many orders of a back-test were foretold to run short, and how many did."""
    jobs = result.jobs
    return short_of(jobs["chance_short"], jobs["needed_rolls"] > jobs["airstats_rolls"])


def short_of(chance_short: pd.Series, came_short: pd.Series) -> pd.Series:
    """Set the (n,) foretold chances of running short beside the (n,) outcomes.

    `jobs, foretold` (the sum of the chances), `low, high` (chance stays between them in nine
    cases of ten), `came, verdict`.

    Notes
    -----
    The number short is Poisson-binomial: independent jobs, each with its own chance. Jobs of a
    quarter share their allowances, so chance allows a little more than this.
    """
    chances, came = chance_short.clip(0, 1).to_numpy(), int(came_short.sum())
    # The library's own quantiles stop at 60 jobs; its cumulative chances do not.
    so_far = poisson_binom(chances).cdf(np.arange(len(chances) + 1))
    low, high = (int(n) for n in np.searchsorted(so_far, [(1 - CHANCE) / 2, (1 + CHANCE) / 2]))
    return pd.Series(
        {
            "jobs": len(chances),
            "foretold": float(chances.sum()),
            "low": low,
            "high": high,
            "came": came,
            "verdict": _verdict(came, low, high, "fewer"),
        }
    )


def _verdict(came: float, low: float, high: float, less: str, more: str = "more") -> str:
    return more if came > high else less if came < low else "as foretold"


def interval_checks(result: Backtest, jobs: Takeoff) -> pd.DataFrame:
    """Set each job's counted interval beside the 80 % interval foretold from earlier quarters.

    Parameters
    ----------
    result : Backtest
        That of the jobs.
    jobs : Takeoff
        The finished jobs.

    Returns
    -------
    DataFrame
        One row a job of the back-test, from the least used beyond what was foretold to the most:
        `job_id, quarter, expected_m2, low_m2, high_m2` (80 %), `used_low_m2, used_high_m2` (what
        the count can stand for), `where`: `INSIDE` (surely held), `ABOVE` or `BELOW` (surely
        missed), `OPEN` (the count tells neither).
    """
    ends = jobs.table.set_index("job_id")[["used_low_m2", "used_high_m2"]]
    names = ["job_id", "quarter", "expected_m2", "low_m2", "high_m2"]
    table = result.jobs[names].join(ends, on="job_id")
    low, high = table["used_low_m2"], table["used_high_m2"]
    held = (low >= table["low_m2"]) & (high <= table["high_m2"])
    where = np.select(
        [low >= table["high_m2"], high <= table["low_m2"], held], [ABOVE, BELOW, INSIDE], OPEN
    )
    beyond = (low + high) / 2 - table["expected_m2"]
    table = table.assign(where=where, beyond=beyond)
    return table.sort_values("beyond", ignore_index=True, kind="stable").drop(columns="beyond")


def own_cost(result: Backtest, ratio: float | None = None) -> pd.Series:
    """Return what a job cost with the allowances known then: `mean, low, high` (90 %), money.

    `ratio` is as for `cost_differences`.
    """
    jobs = result.jobs
    cost = jobs[cost_column("airstats", ratio)]
    found = mean_by_cluster(cost.to_numpy(), jobs["quarter"].to_numpy())
    # No cost lies below nothing, which the t interval of a few jobs does not know.
    return found.where(found.index.isin(["mean", "high", "clusters"]), max(found["low"], 0.0))


def cost_differences(result: Backtest, ratio: float | None = None) -> pd.DataFrame:
    """Return what every other way of pricing cost a job more than the allowances known then.

    `rule, mean, low, high` (90 %, money a job); jobs of one quarter count as related. With a
    `ratio` of the back-test, what a roll short costs in rolls left over, at that.
    """
    jobs = result.jobs
    others = [*list(RULES)[1:], *[ORACLE] * (f"{ORACLE}_cost" in jobs)]
    rows = []
    for rule in others:
        more = jobs[cost_column(rule, ratio)] - jobs[cost_column("airstats", ratio)]
        ends = mean_by_cluster(more.to_numpy(), jobs["quarter"].to_numpy())
        rows.append({"rule": rule, **ends[["mean", "low", "high"]]})
    return pd.DataFrame(rows)


def pinball_difference(result: Backtest) -> pd.Series:
    """Return the mean pinball loss of least squares less ours: `mean, low, high`, rolls a job."""
    jobs = result.jobs
    ours, simple = (
        jobs[[f"{rule}pinball_p{percent}" for percent in PERCENTS]].mean(axis=1)
        for rule in ("", "least_squares_")
    )
    return mean_by_cluster((simple - ours).to_numpy(), jobs["quarter"].to_numpy())


def group_departures(watch: pd.DataFrame, jobs: Takeoff) -> pd.DataFrame:
    """Return how far whole groups of jobs departed from what was foretold before their quarter.

    Parameters
    ----------
    watch : DataFrame
        From `ewma_chart.drift_watch`.
    jobs : Takeoff
        The n finished jobs.

    Returns
    -------
    DataFrame
        One row a group (all jobs, thirds by laid sheet, each crew of three jobs or more):
        `jobs_of, jobs, departure_m2` (mean, m² a job), `beyond_low, beyond_high` (90 %), `verdict`.

    Notes
    -----
    The mean of the likely use within its count, less the foretold use; for whole rolls it is drawn
    towards nothing, and so is its interval. t interval, jobs of a quarter related.
    """
    line = watch[watch["line"].eq(ALL_JOBS)]
    known = jobs.table.set_index("job_id").loc[line["job_id"]]
    laid, crew = known["laid_m2"].to_numpy(), known["crew"].to_numpy(dtype=str)
    groups = {"all jobs": np.ones(len(line), dtype=bool)}
    if len(line) >= FEWEST * len(SIZES):
        third = np.searchsorted(np.quantile(laid, [1 / 3, 2 / 3]), laid)
        groups |= {name: third == place for place, name in enumerate(SIZES)}
    groups |= {f"crew {name}": crew == name for name in sorted(set(crew) - {""})}
    rows = [_departure(name, line[own]) for name, own in groups.items() if own.sum() >= FEWEST]
    return pd.DataFrame(rows)


def _departure(name: str, own: pd.DataFrame) -> dict[str, object]:
    found = mean_by_cluster(own["beyond_m2"].to_numpy(), own["quarter"].to_numpy())
    low, high = found["low"], found["high"]
    return {
        "jobs_of": name,
        "jobs": len(own),
        "departure_m2": found["mean"],
        "beyond_low": low,
        "beyond_high": high,
        "verdict": "more" if low > 0 else "less" if high < 0 else "as foretold",
    }


def quantile_calibration(result: Backtest) -> pd.DataFrame:
    """Return whether as many uses lay below each foretold quantile as should.

    One row a quantile: `percent, jobs, below` (share of the uses, an open count spread evenly over
    what it was foretold), `surely, possibly` (the share whose whole counted interval, or any of it,
    lies below), `chance_low, chance_high` (between them a right forecast stays in nine cases of
    ten), `pinball, pinball_simple` (rolls a job; simple: least squares on the middle of each
    count), `verdict`.

    Notes
    -----
    A count of whole rolls leaves the use open, so its probability integral is an interval
    [F(low), F(high)]; spread evenly it gives the non-randomised histogram of Czado, Gneiting &
    Held 2009. Chance: binomial with n jobs, 90 %. It is a little wide for spread counts, and a
    little narrow as jobs of a quarter share their allowances.
    """
    jobs = result.jobs
    start, end = jobs["chance_low"].to_numpy(), jobs["chance_high"].to_numpy()
    return pd.DataFrame([_quantile(percent, start, end, jobs) for percent in PERCENTS])


def _quantile(percent: int, start: Array, end: Array, jobs: pd.DataFrame) -> dict[str, object]:
    share, n = percent / 100, len(jobs)
    low, high = (edge / n for edge in binom.interval(CHANCE, n, share))
    below = float(spread_below(start, end, share).mean())
    return {
        "percent": percent,
        "jobs": n,
        "below": below,
        "surely": float((end <= share).mean()),
        "possibly": float((start < share).mean()),
        "chance_low": float(low),
        "chance_high": float(high),
        "pinball": float(jobs[f"pinball_p{percent}"].mean()),
        "pinball_simple": float(jobs[f"least_squares_pinball_p{percent}"].mean()),
        "verdict": _verdict(below, low, high, "too few", "too many"),
    }


def spread_below(start: Array, end: Array, share: float) -> Array:
    """Return the (n,) part of each interval start..end of chances that lies below `share`.

    Parameters
    ----------
    start, end : (n,) array
        Chances, 0 to 1.
    share : float
        0 to 1.
    """
    width = end - start
    part = np.clip((share - start) / np.maximum(width, SURE), 0, 1)
    return np.where(width > SURE, part, (end <= share).astype(float))
