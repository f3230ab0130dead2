"""A watch for drift: whether jobs take more, or less, than was foretold before their quarter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.base.quarters import quarters_between
from airstats.model.allowances import Allowances, unchanged
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import (
    Belief,
    Predictive,
    admit_crews,
    predictive,
    widen,
    with_depth_error,
)
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

WEIGHT, REACH = 0.2, 3.0
"""Weight of the newest job, and the lines' distance in sd (NIST/SEMATECH e-Handbook of
Statistical Methods, section 6.3.2.4; Lucas & Saccucci 1990)."""
CHANCE_EXACT, CHANCE_WHOLE = 560, 200
"""About how many jobs chance needs to cross a line: where the use is known exactly (Lucas &
Saccucci 1990, value from memory), and where whole rolls are counted and a roll is five times the
job's sd (measured by simulation: scores of whole rolls are lumpy)."""
ALL_JOBS = "all jobs"
FARTHEST = 8.0
"""Scores and cuts farther out, in sd, are taken as lying here."""
FINE = 0.2
"""A count finer than this share of the predictive sd is as good as exact."""


@dataclass(frozen=True)
class _Scores:
    """n jobs of one quarter: `table` and the (n, n) covariance of their scores."""

    table: pd.DataFrame
    covariance: Array

    def of_crew(self, crew: str) -> _Scores:
        here = np.flatnonzero(self.table["crew"].eq(crew))
        return _Scores(self.table.iloc[here], self.covariance[np.ix_(here, here)])


def drift_watch(
    jobs: Takeoff,
    chain: Sequence[Allowances],
    previous: Allowances | None = None,
) -> pd.DataFrame:
    """Follow how far jobs depart from what was foretold, for all jobs and for each crew.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs.
    chain : sequence of Allowances
        The allowances after each quarter.
    previous : Allowances, optional
        Those before the first of the chain; without them the starting belief.

    Returns
    -------
    DataFrame
        One row a line and job, in the order in which the jobs were counted: `line` ("all jobs" or
        a crew), `place` (1, 2, …), `quarter, job_id, score` (in sd of the use), `beyond_m2` (likely
        use less foretold use), `ewma, limit` (in sd of the use), `outside`.

    Notes
    -----
    The cumulative predictive probabilities of both ends of a counted interval are put on the
    normal scale as a and b. The score is the mean of a standard normal between them,
    (φ(a) − φ(b)) / (Φ(b) − Φ(a)): the generalised residual of grouped data (Gourieroux, Monfort,
    Renault & Trognon 1987). If the allowances are right its mean is 0, and its variance v (1 for
    an exact use, less for whole rolls) is the sum over all counts of chance × score², so a count
    that tells little weighs little. The prediction is made before the quarter; it holds the share
    of grossly wrong records; those that are named as likely wrong are left out.

    EWMA: z₀ = 0, zₜ = 0.2·scoreₜ + 0.8·zₜ₋₁; limits ± 3 sd(zₜ), exact for each t. Jobs of one
    quarter share the error of the allowances: scores whose uses correlate by ρ have covariance
    ρ·v·v′ (the first term of its Hermite series). For independent exact uses sd(zₜ) is
    √(λ/(2−λ)·(1−(1−λ)²ᵗ)), as in the handbook.
    """
    scores = list(_quarterly_scores(jobs, chain, previous))
    if not scores:
        return _one_line([], ALL_JOBS)
    crews = sorted({crew for part in scores for crew in part.table["crew"]} - {""})
    lines = [_one_line(scores, ALL_JOBS)]
    lines += [_one_line([part.of_crew(crew) for part in scores], crew) for crew in crews]
    return pd.concat(lines, ignore_index=True)


def crossings(watch: pd.DataFrame, quarter: str) -> pd.DataFrame:
    """Return the lines that left their limits: one row a line that did, this quarter's first.

    `line, quarter, job_id` (where it last went out), `direction` (+1 more, −1 less than foretold),
    `now` (whether it was out in the quarter), `beyond_m2` (mean of the line's jobs of that
    quarter, m² a job).
    """
    rows = []
    for name, line in watch.groupby("line", sort=False):
        out = line["outside"].to_numpy()
        if not out.any():
            continue
        first = line[out & ~np.concatenate([[False], out[:-1]])].iloc[-1]
        now = bool((line["outside"] & line["quarter"].eq(quarter)).any())
        there = line[line["quarter"].eq(quarter if now else first["quarter"])]
        rows.append(
            {
                "line": name,
                "quarter": first["quarter"],
                "job_id": first["job_id"],
                "direction": int(np.sign(first["ewma"])),
                "now": now,
                "beyond_m2": float(there["beyond_m2"].mean()),
            }
        )
    names = ["line", "quarter", "job_id", "direction", "now", "beyond_m2"]
    table = pd.DataFrame(rows, columns=names)
    return table.sort_values("now", ascending=False, kind="stable", ignore_index=True)


def ewma(values: Array, weight: float = WEIGHT, start: float = 0.0) -> Array:
    """Return the (n,) exponentially weighted moving averages of (n,) values.

    Parameters
    ----------
    values : (n,) array
        In their order; of any one unit.
    weight : float
        That of the newest value, above 0, at most 1.
    start : float
        The average before the first value, in the unit of the values.
    """
    return pd.Series([start, *values]).ewm(alpha=weight, adjust=False).mean().to_numpy()[1:]


def ewma_sd(covariances: Sequence[Array], weight: float = WEIGHT) -> Array:
    """Return the (n,) sd of the averages of n values; those of one block are correlated."""
    carried, parts = 0.0, [np.empty(0)]
    for covariance in covariances:
        size = len(covariance)
        age = np.arange(size)[:, None] - np.arange(size)[None, :]
        share = np.where(age >= 0, weight * (1 - weight) ** np.maximum(age, 0), 0.0)
        old = (1 - weight) ** (2 * np.arange(1, size + 1)) * carried
        variance = np.einsum("ti,ij,tj->t", share, covariance, share, optimize=True) + old
        carried = float(variance[-1]) if size else carried
        parts.append(np.sqrt(variance))
    return np.concatenate(parts)


def _one_line(scores: Sequence[_Scores], name: str) -> pd.DataFrame:
    columns = ["line", "place", "quarter", "job_id", "score", "beyond_m2"]
    tables = [part.table for part in scores if len(part.table)]
    if not tables:
        return pd.DataFrame(columns=[*columns, "ewma", "limit", "outside"])
    table = pd.concat(tables, ignore_index=True)
    table = table.assign(line=name, place=np.arange(1, len(table) + 1))[columns]
    path = ewma(table["score"].to_numpy())
    limit = REACH * ewma_sd([part.covariance for part in scores])
    return table.assign(ewma=path, limit=limit, outside=np.abs(path) > limit)


def _quarterly_scores(
    jobs: Takeoff,
    chain: Sequence[Allowances],
    previous: Allowances | None,
) -> Iterator[_Scores]:
    if not chain:
        return
    before = previous or unchanged(chain[0].first_quarter, chain[0].belief.prior)
    for now in chain:
        watched = set(now.new_jobs) - set(now.suspects)
        new = jobs.where(jobs.table["job_id"].isin(watched))
        order = new.table.reset_index(drop=True).sort_values(["finished_on", "job_id"]).index
        if len(new):
            belief = widen(before.belief, quarters_between(before.quarter, now.quarter))
            belief = with_depth_error(belief, now.belief.habits.depth_error_mm)
            yield _scores(belief, new.where(order.to_numpy()), now.quarter)
        before = now


def _scores(belief: Belief, jobs: Takeoff, quarter: str) -> _Scores:
    belief = admit_crews(belief, jobs.crews)
    told = predictive(belief, jobs)
    own, covariance = told.job_sd**2, _shared_error(told)
    away = told.mean - belief.weight @ told.mean
    covariance += np.einsum("g,gi,gj->ij", belief.weight, away, away, optimize=True)
    covariance += np.diag(belief.weight @ own)
    sd = np.sqrt(np.diag(covariance))
    use = _with_gross(belief, jobs, told.mean, own + told.from_allowances)
    score, variance = _grouped_scores(use, jobs, sd)
    together = covariance / np.outer(sd, sd) * np.outer(variance, variance)
    np.fill_diagonal(together, variance)
    # A late job is watched in the quarter in which it was counted.
    table = jobs.table[["job_id", "crew"]].assign(quarter=quarter, score=score)
    return _Scores(table.assign(beyond_m2=score * sd), together)


def _shared_error(told: Predictive) -> Array:
    """The (n, n) covariance that the allowances' own uncertainty adds, averaged."""
    belief, covariance = told.belief, np.zeros((len(told.jobs), len(told.jobs)))
    for _, chosen, columns, _ in told.forms:
        mean = np.einsum("g,gij->ij", belief.weight[chosen], belief.covariance[chosen])
        covariance += columns @ mean @ columns.T
    return covariance


def _with_gross(belief: Belief, jobs: Takeoff, means: Array, variance: Array) -> Mixture:
    share, roll = belief.gross_share, jobs.pack
    sd = np.sqrt(variance)
    gross = np.hypot(sd, belief.prior.gross_packs * roll)
    weight = np.concatenate([(1 - share) * belief.weight, share * belief.weight])
    return Mixture(weight, np.vstack([means, means]), np.vstack([sd, gross]))


def _grouped_scores(use: Mixture, jobs: Takeoff, sd: Array) -> tuple[Array, Array]:
    """Mean normal score within each counted interval, and its variance over all intervals."""
    low, high = jobs.interval.T
    step = high - low
    score = _between(use.below(low), use.below(high))[0]
    coarse = step > FINE * sd
    most = int(np.ceil((FARTHEST * sd / step)[coarse].max(initial=0)))
    # Counts lie on a ladder: every rung's chance times its squared score adds to the variance.
    first = np.round((use.mean() - low) / step)
    ladder = [use.below(low + (first + rung) * step) for rung in range(-most, most + 1)]
    rungs = (_between(below, above) for below, above in pairwise(ladder))
    total = sum((rung**2 * chance for rung, chance in rungs), np.zeros(len(sd)))
    return score, np.where(coarse, total, 1.0)


def _between(below_low: Array, below_high: Array) -> tuple[Array, Array]:
    """Mean of a standard normal between two of its quantiles, and the chance to lie there."""
    ends = [np.clip(ndtri(p), -FARTHEST, FARTHEST) for p in (below_low, below_high)]
    height = [np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) for z in ends]
    chance = below_high - below_low
    mean = (height[0] - height[1]) / np.maximum(chance, 1e-300)
    sure = chance > 1e-12
    return np.where(sure, np.clip(mean, *ends), np.mean(ends, axis=0)), chance
