"""Least squares for a reader who doubts, with robust errors, and which jobs it leans on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.outliers_influence import OLSInfluence

from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import INTERVAL
from airstats.takeoff.sheet_quantities import Takeoff

SAME_M2 = 1e-6
ALIKE = 1e-9
"""A direction of the terms shorter than this share of the longest is none; nor is a residual left
to a job whose leverage is as near to one."""


@dataclass(frozen=True)
class Regression:
    """A fitted line: `table` one row a term, `points` one row a job; or the reason for none.

    `low, high` of a term hold 90 %.

    `left_out` names the terms that fewer than two jobs hold; `sd_m2` is the residual spread.
    """

    table: pd.DataFrame
    points: pd.DataFrame
    jobs: int
    r_squared: float = float("nan")
    sd_m2: float = float("nan")
    left_out: tuple[str, ...] = ()
    reason: str = ""


def terms() -> dict[str, str]:
    """Return the quantities of a job that a slope belongs to, in m², and the slope's unit."""
    reveals = {f"reveal_{cut}_m2": "m² a m² of reveal" for cut in CUTS}
    return {"laid_m2": "m² a m² laid"} | reveals


def regression_frame(jobs: Takeoff) -> pd.DataFrame:
    """Return one row a job: `job_id`, the terms, `overrun_m2` and `beyond_m2`.

    Both start from the middle of what the count can stand for: the overrun is that less what was
    priced, the other that less the laid sheet, m².
    """
    table = jobs.table
    middle = table[["used_low_m2", "used_high_m2"]].mean(axis=1)
    over = middle - table["estimated_rolls"] * table["roll_m2"]
    return table[["job_id", *terms()]].assign(overrun_m2=over, beyond_m2=middle - table["laid_m2"])


def plain_regression(frame: pd.DataFrame, response: str = "overrun_m2") -> Regression:
    """Fit least squares with HC3 robust errors and t intervals.

    Parameters
    ----------
    frame : DataFrame
        n jobs with the terms (m²) and the response (m²).
    response : str
        Its column.

    Notes
    -----
    y = b₀ + X b; Cov(b) = (XᵀX)⁻¹ Xᵀ diag(eᵢ²/(1-hᵢ)²) X (XᵀX)⁻¹ (MacKinnon & White 1985).
    """
    x, y, left_out = _design(frame, response)
    if reason := _unfit(x, y):
        none = pd.DataFrame()
        return Regression(none, none, len(frame), left_out=left_out, reason=reason)
    fit = OLS(y, x, missing="raise").fit()
    robust = fit.get_robustcov_results("HC3", use_t=True)
    influence = OLSInfluence(fit)
    within, spare = np.asarray(influence.resid_studentized_internal), fit.df_resid
    points = pd.DataFrame(
        {
            "job_id": frame["job_id"].to_numpy(),
            "fitted_m2": fit.fittedvalues.to_numpy(),
            "residual_m2": fit.resid.to_numpy(),
            # The same as if each job had been left out of the fit in turn.
            "studentised": within * np.sqrt((spare - 1) / (spare - within**2)),
            "leverage": np.asarray(influence.hat_matrix_diag),
            "cooks": np.asarray(influence.cooks_distance[0]),
        }
    )
    return Regression(
        _coefficients(robust, x.columns),
        points,
        len(frame),
        float(fit.rsquared),
        float(np.sqrt(fit.scale)),
        left_out,
    )


def _design(frame: pd.DataFrame, response: str) -> tuple[pd.DataFrame, pd.Series, tuple[str, ...]]:
    """Columns with an intercept, without terms that one job holds (no error) or none (no slope)."""
    held = [term for term in terms() if term in frame and (frame[term] > 0).sum() > 1]
    x = frame[held].astype(float)
    x.insert(0, "intercept", 1.0)
    return x, frame[response].astype(float), tuple(term for term in terms() if term not in held)


def _coefficients(fit: Any, names: pd.Index) -> pd.DataFrame:
    ends = np.asarray(fit.conf_int(1 - INTERVAL))
    columns = {"coefficient": "params", "se": "bse", "t": "tvalues", "p": "pvalues"}
    table = {name: np.asarray(getattr(fit, field)) for name, field in columns.items()}
    units = [terms().get(name, "m²") for name in names]
    return pd.DataFrame(
        {"term": list(names), **table, "low": ends[:, 0], "high": ends[:, 1], "unit": units}
    )


def _unfit(x: pd.DataFrame, y: pd.Series) -> str:
    """Why no line with HC3 errors can be fitted, "" if one can."""
    jobs, columns = x.shape
    if jobs < columns + 2:
        return f"{jobs} {'job is' if jobs == 1 else 'jobs are'} too few for {columns} terms"
    if np.ptp(y) < SAME_M2:
        return "all jobs show the same m²"
    # Columns of equal length, for a job's areas differ by a factor of a hundred.
    turned, sizes, _ = np.linalg.svd(x / np.linalg.norm(x, axis=0), full_matrices=False)
    if sizes[-1] < ALIKE * sizes[0] or (turned**2).sum(axis=1).max() > 1 - ALIKE:
        return f"the jobs are too much alike to tell {columns} terms apart"
    return ""


def mean_by_cluster(values: np.ndarray, cluster: np.ndarray) -> pd.Series:
    """Return the mean of n values with its 90 % interval: `mean, low, high, clusters`.

    Parameters
    ----------
    values : (n,) array
        For instance what one way of pricing cost a job more than another.
    cluster : (n,) array
        Values of one cluster (a quarter) share what was known, so they count as related.

    Notes
    -----
    Cluster-robust (CR1) standard error, t with one degree of freedom fewer than clusters (Cameron
    & Miller 2015); few clusters make it too small. With one cluster the values count as
    independent (HC3).
    """
    codes = pd.factorize(cluster)[0]
    clusters = int(codes.max(initial=-1)) + 1
    if len(values) < 2:
        ends = (float("-inf"), float("inf"))
    else:
        fit = OLS(np.asarray(values, dtype=float), np.ones(len(values))).fit()
        kind: dict[str, Any] = {"cov_type": "HC3"}
        if clusters > 1:
            kind = {"cov_type": "cluster", "groups": codes, "df_correction": True}
        ends = tuple(fit.get_robustcov_results(use_t=True, **kind).conf_int(1 - INTERVAL)[0])
    mean = float(np.mean(values)) if len(values) else float("nan")
    return pd.Series({"mean": mean, "low": ends[0], "high": ends[1], "clusters": clusters})


def material_regression(jobs: Takeoff) -> dict[str, float]:
    """Return a plain regression of another material, to compare with its allowance.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs of one material.

    Returns
    -------
    dict
        `plain`, the slope of the middle of the count on the counted quantity, less one, and
        `plain_low, plain_high`, its 90 % interval by HC3 errors and t (nan for a single job).
    """
    middle, amount = jobs.interval.mean(axis=1), jobs.amount
    if len(jobs) < 2:
        slope, ends = float((middle / amount).mean()), (float("nan"), float("nan"))
    else:
        fitted = OLS(middle, amount).fit().get_robustcov_results("HC3", use_t=True)
        slope, ends = float(fitted.params[0]), fitted.conf_int(0.1)[0]
    return {"plain": slope - 1, "plain_low": ends[0] - 1, "plain_high": ends[1] - 1}


WIDE = 2.0
"""A studentised residual beyond this, either way, is wide: one job in twenty."""
REMOVED = 3


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
    rows where too few jobs would be left.

    Parameters
    ----------
    frame : DataFrame
        The n jobs of the fit, as for `plain_regression`.
    influence : Influence
        That of the same fit.
    most : int
        How many jobs to leave out together.
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
