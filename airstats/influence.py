"""Which of a quarter's jobs pull each allowance, and how far."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.allowances import UNITS, Allowances
from airstats.calibration import (
    ALLOWANCES,
    FORMS,
    Belief,
    design,
    expected_use,
    job_sd,
    starting_belief,
)
from airstats.chain import measuring_sd_m2
from airstats.likelihood import agreement
from airstats.takeoff import Takeoff

Array = np.ndarray

AT_A_TIME = 256


def pulls(
    jobs: Takeoff, before: Allowances | None, now: Allowances, depth_error_mm: float = 0.0
) -> pd.DataFrame:
    """Return how far each new job pulls each allowance: the new value less that without the job.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs, the new ones among them.
    before, now : Allowances
        The allowances before (None: the starting belief) and after the quarter.
    depth_error_mm : float
        As it was given to the calibration, mm.

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
    rough = measuring_sd_m2(new, depth_error_mm)
    parts = [np.empty((0, len(ALLOWANCES)))]
    for first in range(0, len(new), AT_A_TIME):
        part = np.arange(first, min(first + AT_A_TIME, len(new)))
        parts.append(_values_without(now.belief, new.where(part), rough[part], start.gross_share))
    pull = _values(now.belief.weight[:, None], now.belief.mean[:, None, :], now.belief.form)
    pull = pull - np.concatenate(parts)
    sd = now.table()["sd"].to_numpy()
    table = new.table[["job_id", "crew", "quarter"]]
    columns = [
        table.assign(allowance=name, pull=pull[:, i], pull_sds=pull[:, i] / sd[i], unit=UNITS[name])
        for i, name in enumerate(ALLOWANCES)
    ]
    return pd.concat(columns, ignore_index=True)


def _values_without(belief: Belief, jobs: Takeoff, extra_sd: Array, gross_share: float) -> Array:
    """The (n, 4) allowances without each of n jobs."""
    moves = np.zeros((len(belief.form), len(jobs), belief.mean.shape[1]))
    log_change = np.zeros(moves.shape[:2])
    for form in np.unique(belief.form):
        chosen = belief.form == form
        one = _take_out(belief.pick(chosen), jobs, int(form), extra_sd, gross_share)
        moves[chosen], log_change[chosen] = one
    weight = belief.weight[:, None] * np.exp(log_change - log_change.max(axis=0))
    return _values(weight / weight.sum(axis=0), belief.mean[:, None, :] + moves, belief.form)


def _take_out(
    belief: Belief, jobs: Takeoff, form: int, extra_sd: Array, gross_share: float
) -> tuple[Array, Array]:
    """How the tops (g, n, P) and the log evidence (g, n) change without each job."""
    low, high, roll, laid = jobs.columns(["used_low_m2", "used_high_m2", "roll_m2", "laid_m2"]).T
    sd = job_sd(belief, laid, extra_sd)
    gross_sd = np.hypot(sd, belief.prior.gross_rolls * roll)
    told = agreement(expected_use(belief, jobs), sd, low, high, gross_share, gross_sd)
    columns = design(jobs, form, belief.crews)[0]
    reach = np.einsum("gij,nj->gni", belief.covariance, columns)
    leverage = np.einsum("gni,ni->gn", reach, columns)
    left = 1 - np.maximum(told.curvature, 0) * leverage
    moves = -(told.slope / left)[..., None] * reach
    gain = 0.5 * told.slope**2 * leverage / left
    return moves, gain - told.log_probability - 0.5 * np.log(left)


def _values(weight: Array, mean: Array, form: Array) -> Array:
    """The (n, 4) allowances from weights (G, n) and means (G, n, P), as on the card."""
    flat = form == FORMS.index("factor")
    waste = (weight * mean[..., 0]).sum(axis=0)
    share = weight[flat] / weight[flat].sum(axis=0)
    reveals = (share[..., None] * mean[flat][..., 1 : len(ALLOWANCES)]).sum(axis=0)
    return np.column_stack([np.broadcast_to(waste, len(reveals)), reveals])


def strongest(table: pd.DataFrame, most: int = 10) -> pd.DataFrame:
    """Return the strongest pulls, largest in the allowance's own sd first."""
    order = table["pull_sds"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order].head(most).reset_index(drop=True)
