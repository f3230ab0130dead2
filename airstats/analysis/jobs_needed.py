"""How many more jobs would halve what is not known of each allowance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from airstats.base.quarters import quarters_between
from airstats.model.allowances import Allowances
from airstats.model.posterior import (
    FORMS,
    Belief,
    admit_crews,
    allowance_names,
    predictive,
    widen,
)
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

MOST_JOBS = 20_000
"""Beyond this many jobs an interval counts as out of reach."""
MOST_QUARTERS = 80
"""Twenty years: what drift has not let happen by then, it will not."""


def jobs_to_halve(now: Allowances, jobs: Takeoff) -> pd.DataFrame:
    """Return how many more jobs would halve the interval of each allowance.

    Parameters
    ----------
    now : Allowances
        What is known.
    jobs : Takeoff
        The n finished jobs; those to come are taken to be like them, with the same crews.

    Returns
    -------
    DataFrame
        One row an allowance: `allowance, sd` (now), `jobs_still` (more jobs if the allowances
        stood still; inf: not with these crews), `sd_still` (with jobs without end),
        `quarters_drift, jobs_drift` (if they drift as learnt; inf: never), `sd_drift` (where
        they settle), `unit`.

    Notes
    -----
    A job adds information -d² log P(count) / dθ² = curvature · x xᵀ; the jobs to come are taken to
    add the average J of the jobs so far: Cov(m) = (Cov⁻¹ + m J)⁻¹, and with drift a quarter of q
    jobs gives Cov ← ((Cov + drift²)⁻¹ + q J)⁻¹. Variances are averaged over the candidates, whose
    weights and disagreement are taken to shrink in step.
    """
    belief = admit_crews(now.belief, jobs.crews)
    gained = information_a_job(belief, jobs)
    start = _sd(belief)
    still, settled = _jobs_still(belief, gained)
    a_quarter = jobs_a_quarter(jobs)
    path = _drifting(belief, gained * a_quarter)
    reached = path <= start / 2
    quarters = np.where(reached.any(axis=0), reached.argmax(axis=0) + 1.0, np.inf)
    return pd.DataFrame(
        {
            "allowance": list(allowance_names()),
            "sd": start,
            "jobs_still": still,
            "sd_still": settled,
            "quarters_drift": quarters,
            "jobs_drift": np.ceil(quarters * a_quarter),
            "sd_drift": path[-1],
            "unit": now.table()["unit"].to_numpy(),
        }
    )


def jobs_a_quarter(jobs: Takeoff) -> float:
    """Return the mean number of jobs a quarter, from the first quarter with jobs to the last."""
    quarters = jobs.table["quarter"]
    return len(jobs) / (quarters_between(quarters.min(), quarters.max()) + 1)


def information_a_job(belief: Belief, jobs: Takeoff) -> Array:
    """Return the (G, P, P) information that a job adds to each candidate, on average."""
    foretold, gained = predictive(belief, jobs), np.empty_like(belief.covariance)
    curvature = foretold.counts().curvature
    for _, chosen, x, _ in foretold.forms:
        bend = np.maximum(curvature[chosen], 0)
        gained[chosen] = np.einsum("gn,ni,nj->gij", bend, x, x) / len(jobs)
    return gained


def _jobs_still(belief: Belief, gained: Array) -> tuple[Array, Array]:
    """The more jobs that halve each sd, inf where none do, and the sds in the end."""
    wanted = _sd(belief) / 2
    end = _sd(_after(belief, gained * MOST_JOBS))
    low, high = np.zeros_like(wanted), np.full_like(wanted, MOST_JOBS)
    while (high - low).max() > 1:
        middle = np.ceil((low + high) / 2)
        tried = np.array([_sd(_after(belief, gained * m))[k] for k, m in enumerate(middle)])
        enough = tried <= wanted
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return np.where(end <= wanted, high, np.inf), end


def _drifting(belief: Belief, gained: Array) -> Array:
    """The (MOST_QUARTERS, allowances) sds after each quarter to come."""
    path = np.empty((MOST_QUARTERS, belief.shared))
    for quarter in range(MOST_QUARTERS):
        belief = _after(widen(belief, 1), gained)
        path[quarter] = _sd(belief)
    return path


def _after(belief: Belief, gained: Array) -> Belief:
    precision = np.linalg.inv(belief.covariance) + gained
    return replace(belief, covariance=np.linalg.inv(precision))


def _sd(belief: Belief) -> Array:
    """The sds within the candidates: waste over all, the factors over the flat form."""
    variance = np.diagonal(belief.covariance, axis1=1, axis2=2)[:, : belief.shared]
    flat = belief.weight * (belief.form == FORMS.index("factor"))
    over_flat = flat @ variance / flat.sum()
    return np.sqrt(np.array([belief.weight @ variance[:, 0], *over_flat[1:]]))
