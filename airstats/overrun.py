"""Used against estimated, split into causes that add up exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.allowances import INTERVAL, Allowances
from airstats.calibration import REVEAL_PARTS, Belief, design, expected_use, job_sd
from airstats.errors import AirstatsError
from airstats.likelihood import agreement
from airstats.takeoff import Takeoff

Array = np.ndarray

CAUSES = (
    "reveal.diagonal",
    "reveal.centre",
    "reveal.lined",
    "laps",
    "waste",
    "crew",
    "count_rounding",
    "unexplained",
    "already_priced",
)
CAUSE_WORDS = {
    "reveal.diagonal": "reveals cut corner to corner",
    "reveal.centre": "reveals cut down the middle",
    "reveal.lined": "reveals lined separately",
    "laps": "laps between courses",
    "waste": "waste at the firm's rate",
    "crew": "the crew's departure from it",
    "count_rounding": "whole rolls counted where part was used",
    "unexplained": "left unexplained",
    "already_priced": "already in the price beyond the bare surface",
}
UNITS = ("rolls", "m2")


@dataclass(frozen=True)
class _Shares:
    """What one candidate says of each cause for k groups: means (k, causes) and variances."""

    mean: Array
    variance: Array


def split_overrun(
    jobs: Takeoff, allowances: Allowances, by: str | None = None, unit: str = "rolls"
) -> pd.DataFrame:
    """Split used minus estimated into causes, for the firm or for each group of jobs.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs.
    allowances : Allowances
        What the jobs taught.
    by : str, optional
        A column whose values make the groups, such as "job_id", "crew" or "quarter"; without it
        all jobs are one group, "all jobs".
    unit : {"rolls", "m2"}

    Returns
    -------
    DataFrame
        One row a group and cause, in the order of `CAUSES`: `group, cause, mean, sd, low, high`
        (90 %) in the unit. In each group the means add up to used minus estimated.

    Notes
    -----
    used - estimated = reveals + laps + waste + crew + (count - likely use) + (likely use -
    expected use) - (estimated - bare surface). Likely use is the mean of the use within its
    counted interval; the last part is what the price held beyond the bare surface, its own
    rounding up included.
    """
    names, membership = _groups(jobs, by)
    shares = _average(allowances.belief, jobs, membership * _per_unit(jobs, unit))
    sd = np.sqrt(shares.variance)
    reach = ndtri(0.5 + INTERVAL / 2) * sd
    return pd.DataFrame(
        {
            "group": np.repeat(names, len(CAUSES)),
            "cause": np.tile(np.array(CAUSES, dtype=object), len(names)),
            "mean": shares.mean.ravel(),
            "sd": sd.ravel(),
            "low": (shares.mean - reach).ravel(),
            "high": (shares.mean + reach).ravel(),
        }
    )


def reveals_total(jobs: Takeoff, allowances: Allowances, unit: str = "rolls") -> pd.Series:
    """Return mean, sd, low and high (90 %) of the sheet that all reveals together took."""
    belief, weights = allowances.belief, _per_unit(jobs, unit)[None, :]
    means, variances = np.empty(len(belief.form)), np.empty(len(belief.form))
    for form in np.unique(belief.form):
        chosen = belief.form == form
        columns, certain = design(jobs, int(form), belief.crews)
        held = np.zeros(columns.shape[1], dtype=bool)
        held[list(REVEAL_PARTS)] = True
        x = weights @ np.where(held, columns, 0)
        fixed = weights @ (certain - columns[:, 0])
        means[chosen] = (belief.mean[chosen] @ x.T + fixed)[:, 0]
        variances[chosen] = np.einsum("ki,gij,kj->g", x, belief.covariance[chosen], x)
    mean = belief.weight @ means
    sd = np.sqrt(belief.weight @ (variances + (means - mean) ** 2))
    reach = ndtri(0.5 + INTERVAL / 2) * sd
    return pd.Series({"mean": mean, "sd": sd, "low": mean - reach, "high": mean + reach})


def overrun_table(jobs: Takeoff) -> pd.DataFrame:
    """Return one row a job: estimated, used, overrun in rolls and m², and its money if priced."""
    table = jobs.table
    rolls = table["used_rolls"] - table["estimated_rolls"]
    price = table.get("roll_price", np.nan)
    names = ["job_id", "quarter", "crew", "estimated_rolls", "used_rolls"]
    return table[names].assign(
        overrun_rolls=rolls, overrun_m2=rolls * table["roll_m2"], overrun_money=rolls * price
    )


def likely_use(belief: Belief, jobs: Takeoff) -> tuple[Array, Array, Array]:
    """Return (G, n) expected use, mean and variance of the use within its counted interval, m²."""
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T
    expected = expected_use(belief, jobs)
    sd = job_sd(belief, jobs.columns(["laid_m2"])[:, 0])
    fit = agreement(expected, sd, low, high, 0.0, sd)
    mean = np.clip(expected + sd**2 * fit.slope, low, high)
    variance = np.clip(sd**2 * (1 - sd**2 * fit.curvature), 0, (high - low) ** 2 / 12)
    return expected, mean, variance


def _per_unit(jobs: Takeoff, unit: str) -> Array:
    """The (n,) numbers that turn m² into the unit."""
    if unit not in UNITS:
        raise AirstatsError(f'unit "{unit}" is not known: use rolls or m2.')
    return 1 / jobs.columns(["roll_m2"])[:, 0] if unit == "rolls" else np.ones(len(jobs))


def _groups(jobs: Takeoff, by: str | None) -> tuple[Array, Array]:
    """Names of the groups and their (k, n) membership."""
    if by is None:
        return np.array(["all jobs"], dtype=object), np.ones((1, len(jobs)))
    codes, names = pd.factorize(jobs.table[by], sort=by != "job_id")
    return np.asarray(names, dtype=object), (codes == np.arange(len(names))[:, None]).astype(float)


def _average(belief: Belief, jobs: Takeoff, weights: Array) -> _Shares:
    """Mean and variance of each cause for k weighted sums of jobs, over all candidates."""
    expected, use, use_variance = likely_use(belief, jobs)
    used, estimated, net, lap = _known(jobs)
    causes = len(CAUSES)
    mean = np.zeros((len(belief.form), len(weights), causes))
    variance = np.zeros_like(mean)
    for form in np.unique(belief.form):
        chosen = np.flatnonzero(belief.form == form)
        columns, certain = design(jobs, int(form), belief.crews)
        for place, fixed, held in _parts(columns, certain, jobs, int(form)):
            x = weights @ np.where(held, columns, 0)
            mean[chosen, :, place] = belief.mean[chosen] @ x.T + weights @ fixed
            variance[chosen, :, place] = np.einsum("ki,gij,kj->gk", x, belief.covariance[chosen], x)
    mean[:, :, CAUSES.index("laps")] = weights @ lap
    mean[:, :, CAUSES.index("already_priced")] = weights @ (net - estimated)
    mean[:, :, CAUSES.index("count_rounding")] = (used - use) @ weights.T
    mean[:, :, CAUSES.index("unexplained")] = (use - expected) @ weights.T
    for cause in ("count_rounding", "unexplained"):
        variance[:, :, CAUSES.index(cause)] = use_variance @ (weights**2).T
    average = np.einsum("g,gkc->kc", belief.weight, mean)
    within = np.einsum("g,gkc->kc", belief.weight, variance)
    between = np.einsum("g,gkc->kc", belief.weight, (mean - average) ** 2)
    return _Shares(average, within + between)


def _known(jobs: Takeoff) -> tuple[Array, Array, Array, Array]:
    used, estimated, roll, net, lap = jobs.columns(
        ["used_rolls", "estimated_rolls", "roll_m2", "net_surface_m2", "lap_m2"]
    ).T
    return used * roll, estimated * roll, net, lap


def _parts(
    columns: Array, certain: Array, jobs: Takeoff, form: int
) -> list[tuple[int, Array, Array]]:
    """Each fitted cause: its place in CAUSES, its certain sheet, the parameters it holds."""
    place = np.arange(columns.shape[1])
    nothing = np.zeros(len(columns))
    parts = [
        (CAUSES.index("waste"), nothing, place == 0),
        (CAUSES.index("crew"), nothing, place > max(REVEAL_PARTS)),
    ]
    for slot, cut in zip(REVEAL_PARTS, ("diagonal", "centre", "lined"), strict=True):
        reuse = form == 1 and cut != "lined"
        fixed = jobs.columns([f"needed_{cut}_m2"])[:, 0] if reuse else nothing
        parts.append((CAUSES.index(f"reveal.{cut}"), fixed, place == slot))
    return parts
