"""Which jobs a regression leans on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from airstats.analysis.regressions import Regression, plain_regression

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
