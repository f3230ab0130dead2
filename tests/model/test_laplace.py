"""Mode, covariance and evidence of the calibration against brute force."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm

from airstats.model.posterior import (
    FORMS,
    design,
    predictive,
    starting_belief,
    update,
)
from airstats.model.prior import Prior
from tests.invented import ROLL, flat_prior, made_jobs

PRIOR = Prior()


def brute_force(jobs, prior, spread):
    """Posterior moments of waste and diagonal factor and the log evidence, on a fine grid."""
    (m0, s0), (m1, s1) = prior.waste, prior.reveal_factors[0]
    a, b = np.meshgrid(
        np.linspace(m0 - 7 * s0, m0 + 7 * s0, 141), np.linspace(m1 - 7 * s1, m1 + 7 * s1, 141)
    )
    height = norm.logpdf(a, m0, s0) + norm.logpdf(b, m1, s1)
    for job in jobs.table.itertuples():
        use = job.laid_m2 * (1 + a) + job.reveal_diagonal_m2 * b
        sd = np.hypot(prior.floor, spread * job.laid_m2)
        wide = np.hypot(sd, prior.gross_packs * job.roll_m2)
        sound, gross = (
            ndtr((job.used_high_m2 - use) / s) - ndtr((job.used_low_m2 - use) / s)
            for s in (sd, wide)
        )
        with np.errstate(divide="ignore"):
            height += np.log((1 - prior.gross_share) * sound + prior.gross_share * gross)
    cell = (a[0, 1] - a[0, 0]) * (b[1, 0] - b[0, 0])
    share = np.exp(height)
    evidence = share.sum() * cell
    share /= share.sum()
    means = np.array([(share * a).sum(), (share * b).sum()])
    sds = np.sqrt([(share * (a - means[0]) ** 2).sum(), (share * (b - means[1]) ** 2).sum()])
    return means, sds, np.log(evidence)


def laplace_errors(count, prior, seeds=6):
    """Return errors of means (in sds), sd ratios, and errors of the log evidence ratios."""
    means, sds, ratios = [], [], []
    for seed in range(seeds):
        jobs = made_jobs(count, seed)
        belief = update(starting_belief(prior), jobs)
        factor = belief.pick(belief.form == FORMS.index("factor"))
        assert tuple(factor.spread) == prior.spread_nodes
        exact = [brute_force(jobs, prior, spread) for spread in prior.spread_nodes]
        for row, (mean, sd, _) in enumerate(exact):
            means.append((factor.mean[row, :2] - mean) / sd)
            sds.append(np.sqrt(np.diag(factor.covariance[row]))[:2] / sd)
        told = np.log(factor.weight[1] / factor.weight[0])
        ratios.append(told - (exact[1][2] - exact[0][2]))
    return np.array(means), np.array(sds), np.array(ratios)


@pytest.mark.parametrize("count", [4, 12, 30])
def test_laplace_against_brute_force(count):
    """Waste and diagonal factor under two spreads, with gross errors allowed for.

    The approximation: means lie within 0.1 sd in the usual case and half an sd at worst, sds are
    right to 5 % on average and 30 % at worst. The worst are jobs that may or may not be grossly
    wrong: the posterior then has two tops, and Laplace sees one.
    """
    means, sds, ratios = laplace_errors(count, flat_prior((0.03, 0.09)))
    assert np.abs(means).mean() < 0.1
    assert np.abs(means).max() < 0.5
    assert sds.mean() == pytest.approx(1, abs=0.05)
    assert sds == pytest.approx(np.ones_like(sds), abs=0.3)
    # A factor of 1.6 between two weights at worst: little beside what jobs say about spread.
    assert np.sqrt((ratios**2).mean()) < 0.2
    assert np.abs(ratios).max() < 0.5


@pytest.mark.parametrize(
    ("count", "in_sds", "of_sd"), [(4, 0.3, 0.3), (12, 0.2, 0.1), (30, 0.1, 0.05)]
)
def test_laplace_without_gross_errors(count, in_sds, of_sd):
    """With one top only, Laplace improves with every job; four whole-roll counts are too few."""
    prior = replace(flat_prior((0.03, 0.09)), gross_share=0.0)
    means, sds, ratios = laplace_errors(count, prior)
    assert np.abs(means).max() < in_sds
    assert sds == pytest.approx(np.ones_like(sds), abs=of_sd)
    assert np.abs(ratios).max() < 0.25


def test_the_mode_is_a_top():
    """Small steps off the posterior mode, in every direction, lower the posterior."""
    jobs, prior = made_jobs(15, 5), flat_prior((0.05,))
    belief = update(starting_belief(prior), jobs)
    factor = belief.pick(belief.form == FORMS.index("factor"))
    start = starting_belief(prior).pick(np.array([0]))
    columns, certain = design(jobs, 0, ())
    sd = predictive(start, jobs).job_sd[0]
    wide = np.hypot(sd, prior.gross_packs * ROLL)
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T

    def height(at):
        use = columns @ at + certain
        parts = [norm.cdf(high, use, s) - norm.cdf(low, use, s) for s in (sd, wide)]
        likely = (1 - prior.gross_share) * parts[0] + prior.gross_share * parts[1]
        away = (at - start.mean[0]) / np.sqrt(np.diag(start.covariance[0]))
        return np.log(likely).sum() - 0.5 * away @ away

    top = factor.mean[0]
    for place in range(4):
        for step in (-1e-3, 1e-3):
            moved = top.copy()
            moved[place] += step
            assert height(moved) < height(top)
