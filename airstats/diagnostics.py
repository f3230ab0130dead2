"""Which jobs a regression leans on, and whether the foretold chances came true."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binom

from airstats.came_true import CHANCE
from airstats.evidence import Regression, plain_regression
from airstats.looking_back import PERCENTS, Backtest

Array = np.ndarray

WIDE = 2.0
"""A studentised residual beyond this, either way, is wide: one job in twenty."""
REMOVED = 3
NONE = pd.DataFrame()
"""No quarter was foretold."""
SURE = 1e-9
"""Below this width the chance of a count is a point."""


@dataclass(frozen=True)
class Influence:
    """The jobs that a regression leans on.

    Attributes
    ----------
    points : the regression's `points` with `why`, empty where a job does not stand out
    cooks_limit, leverage_limit : from where on a job stands out
    terms : number of fitted terms
    """

    points: pd.DataFrame
    cooks_limit: float
    leverage_limit: float
    terms: int

    @property
    def standing_out(self) -> pd.DataFrame:
        """The jobs with a reason, the most influential first."""
        found = self.points[self.points["why"].ne("")]
        return found.sort_values("cooks", ascending=False, ignore_index=True)


def find_influence(fit: Regression) -> Influence:
    """Return which of the n jobs stand out in a plain regression, and why.

    Notes
    -----
    Cook's distance above 4/n, leverage above 2p/n for p terms, externally studentised residual
    beyond 2 (Belsley, Kuh & Welsch 1980, chapter 2; 4/n is common practice). A job stands out
    when its Cook's distance does; the other two say by which way.
    """
    points, terms = fit.points, len(fit.table)
    if points.empty:
        empty = pd.DataFrame(columns=["job_id", "studentised", "leverage", "cooks", "why"])
        return Influence(empty, float("nan"), float("nan"), terms)
    cooks_limit, leverage_limit = 4 / len(points), 2 * terms / len(points)
    far = points["leverage"] > leverage_limit
    wide = points["studentised"].abs() > WIDE
    why = np.select(
        [far & wide, wide, far],
        ["unusual job, far from the line", "far from the line", "unusual job"],
        "leverage and residual together",
    )
    said = np.where(points["cooks"] > cooks_limit, why, "")
    return Influence(points.assign(why=said), cooks_limit, leverage_limit, terms)


def slopes_without(frame: pd.DataFrame, influence: Influence, most: int = REMOVED) -> pd.DataFrame:
    """Return the coefficients with all jobs and without the most influential ones.

    `term, coefficient, se, without, change` (without - with, in standard errors), `unit`; no
    rows where too few jobs would be left. `frame` is that of the fit.
    """
    columns = ["term", "coefficient", "se", "unit"]
    ranked = influence.points.sort_values("cooks", ascending=False)
    gone = ranked["job_id"].head(most)
    whole = plain_regression(frame)
    rest = plain_regression(frame[~frame["job_id"].isin(gone)])
    if rest.table.empty or whole.table.empty:
        return pd.DataFrame(columns=[*columns, "without", "change"])
    without = whole.table["term"].map(rest.table.set_index("term")["coefficient"])
    change = (without - whole.table["coefficient"]) / whole.table["se"]
    return whole.table[columns].assign(without=without, change=change)


def quantile_calibration(result: Backtest) -> pd.DataFrame:
    """Return whether as many uses lay below each foretold quantile as should.

    Returns
    -------
    DataFrame
        One row a quantile: `percent, jobs, below` (share of the uses, an open count spread
        evenly over what it was foretold), `surely, possibly` (the share whose whole counted
        interval, or any of it, lies below), `chance_low, chance_high` (between them a right
        forecast stays in nine cases of ten), `pinball, pinball_simple` (rolls a job; simple:
        least squares on the middle of each count), `verdict`.

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
    verdict = "too many" if below > high else "too few" if below < low else "as foretold"
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
        "verdict": verdict,
    }


def spread_below(start: Array, end: Array, share: float) -> Array:
    """Return the (n,) part of each interval start..end of chances that lies below `share`."""
    width = end - start
    part = np.clip((share - start) / np.maximum(width, SURE), 0, 1)
    return np.where(width > SURE, part, (end <= share).astype(float))
