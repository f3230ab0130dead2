"""Which of a quarter's jobs pull each allowance, and how far."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.model.allowances import Allowances, unit_of
from airstats.model.posterior import (
    FORMS,
    Belief,
    allowance_names,
    predictive,
    starting_belief,
)
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

AT_A_TIME = 256


def pulls(jobs: Takeoff, before: Allowances | None, now: Allowances) -> pd.DataFrame:
    """Return how far each new job pulls each allowance: the new value less that without the job.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs, the new ones among them.
    before, now : Allowances
        The allowances before (None: the starting belief) and after the quarter.

    Returns
    -------
    DataFrame
        One row a new job and allowance: `job_id, crew, quarter, allowance, pull` (in the
        allowance's unit), `pull_sds` (in its own sd), `unit`.

    Notes
    -----
    The job is taken out by one Newton step from the fitted top, with the fitted curvature, and
    the candidates are weighed anew by the Laplace evidence: the deletion formula of least
    squares (Cook & Weisberg 1982, Residuals and Influence in Regression, section 2.2) on the
    parabola at the top (Pregibon 1981).
    """
    new = jobs.where(jobs.table["job_id"].isin(now.new_jobs))
    start = before.belief if before else starting_belief(now.belief.prior)
    parts = [np.empty((0, now.belief.shared))]
    for first in range(0, len(new), AT_A_TIME):
        part = np.arange(first, min(first + AT_A_TIME, len(new)))
        parts.append(_values_without(now.belief, new.where(part), start.gross_share))
    belief, shared = now.belief, now.belief.shared
    pull = _values(belief.weight[:, None], belief.mean[:, None, :shared], belief.form)
    pull = pull - np.concatenate(parts)
    sd = now.table()["sd"].to_numpy()
    table = new.table[["job_id", "crew", "quarter"]]
    columns = [
        table.assign(allowance=name, pull=own, pull_sds=own / own_sd, unit=unit_of(name))
        for name, own, own_sd in zip(allowance_names(), pull.T, sd, strict=True)
    ]
    return pd.concat(columns, ignore_index=True)


def _values_without(belief: Belief, jobs: Takeoff, gross_share: float) -> Array:
    """The (n, allowances) without each of n jobs."""
    foretold = predictive(belief, jobs)
    told = foretold.counts(gross_share)
    reach = np.empty((*told.slope.shape, belief.mean.shape[1]))
    leverage = np.empty_like(told.slope)
    for _, chosen, columns, _ in foretold.forms:
        reach[chosen] = np.einsum("gij,nj->gni", belief.covariance[chosen], columns)
        leverage[chosen] = np.einsum("gni,ni->gn", reach[chosen], columns)
    left = 1 - np.maximum(told.curvature, 0) * leverage
    gain = 0.5 * told.slope**2 * leverage / left
    log_change = gain - told.log_probability - 0.5 * np.log(left)
    weight = belief.weight[:, None] * np.exp(log_change - log_change.max(axis=0))
    top = belief.mean[:, None, :] - (told.slope / left)[..., None] * reach
    return _values(weight / weight.sum(axis=0), top[..., : belief.shared], belief.form)


def _values(weight: Array, mean: Array, form: Array) -> Array:
    """The (n, allowances) from weights (G, n) and means (G, n, allowances), as on the card."""
    flat = form == FORMS.index("factor")
    waste = (weight * mean[..., 0]).sum(axis=0)
    share = weight[flat] / weight[flat].sum(axis=0)
    reveals = (share[..., None] * mean[flat][..., 1:]).sum(axis=0)
    return np.column_stack([np.broadcast_to(waste, len(reveals)), reveals])


def strongest(table: pd.DataFrame, most: int = 10) -> pd.DataFrame:
    """Return the strongest pulls, largest in the allowance's own sd first."""
    order = table["pull_sds"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order].head(most).reset_index(drop=True)
