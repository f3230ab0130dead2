"""Averages of normals against scipy and against sampling."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from airstats.model.normal_mixture import Mixture
from tests.external_checks import agree

WEIGHT = np.array([0.2, 0.5, 0.3])
MEANS = np.array([[100.0, -5.0], [140.0, 0.0], [260.0, 5.0]])
SDS = np.array([[10.0, 1.0], [25.0, 2.0], [5.0, 3.0]])
MIX = Mixture(WEIGHT, MEANS, SDS)


def weighted_density(at, column):
    return WEIGHT @ norm.pdf(at, MEANS[:, column], SDS[:, column])


@pytest.mark.parametrize("at", [[80.0, -8.0], [150.0, 0.0], [255.0, 9.0]])
def test_share_below_is_the_weighted_average(at):
    expected = WEIGHT @ norm.cdf(at, MEANS, SDS)
    assert MIX.below(np.array(at)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("column", [0, 1])
def test_moments_are_those_of_the_density(column):
    ends = (
        (MEANS[:, column] - 12 * SDS[:, column]).min(),
        (MEANS[:, column] + 12 * SDS[:, column]).max(),
    )
    points = MEANS[:, column]

    def moment(power, about):
        def integrand(at):
            return (at - about) ** power * weighted_density(at, column)

        return quad(integrand, *ends, points=points, limit=200)[0]

    mean = moment(1, 0.0)
    assert MIX.mean()[column] == pytest.approx(mean, abs=1e-6)
    assert MIX.sd()[column] == pytest.approx(np.sqrt(moment(2, mean)), rel=1e-7)


@pytest.mark.parametrize("share", [1e-4, 0.05, 0.5, 0.8, 0.95, 0.9999])
def test_quantile_leaves_the_share_below(share):
    assert MIX.below(MIX.quantile(share)) == pytest.approx([share, share], abs=1e-12)


def test_quantiles_of_normals_far_apart_and_of_every_width():
    rng = np.random.default_rng(1)
    for sds in (np.full((30, 200), 5.0), np.exp(rng.normal(-3, 3, (30, 200)))):
        weight, means = rng.dirichlet(np.ones(30)), rng.uniform(20, 1500, (30, 200))
        mix = Mixture(weight, means, sds)
        for share in (0.1, 0.5, 0.9):
            assert mix.below(mix.quantile(share)) == pytest.approx(share, abs=1e-7)


def test_a_quantile_does_not_hang_on_those_beside_it():
    mix = Mixture(
        np.full(30, 1 / 30), np.linspace([100.0, 20.0], [140.0, 1500.0], 30), np.full((30, 2), 5.0)
    )
    alone = replace(mix, means=mix.means[:, :1], sds=mix.sds[:, :1])
    assert mix.quantile(0.3)[0] == pytest.approx(alone.quantile(0.3)[0], rel=1e-15)


def test_normal_quantiles_of_one_or_of_thousands():
    # Reference: scipy.stats.norm.
    means = np.linspace(-500, 2000, 2500)
    one = Mixture(np.ones(1), means[None, :], np.full((1, 2500), 3.0))
    assert one.quantile(0.9) == pytest.approx(norm.ppf(0.9, means, 3.0), abs=1e-9)
    one = Mixture(np.ones(1), np.array([[50.0, -3.0]]), np.array([[8.0, 0.01]]))
    shares = [0.05, 0.5, 0.8, 0.975]
    expected = [norm.ppf(share, [50.0, -3.0], [8.0, 0.01]) for share in shares]
    agree("normal.quantiles", [one.quantile(share) for share in shares], expected)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.01, 1), st.floats(-500, 500), st.floats(0.01, 100)),
        min_size=1,
        max_size=6,
    )
)
def test_quantiles_rise_with_the_share(parts):
    weight, means, sds = np.array(parts).T
    mix = Mixture(weight / weight.sum(), means[:, None], sds[:, None])
    found = [mix.quantile(share)[0] for share in (0.02, 0.1, 0.5, 0.8, 0.99)]
    assert (np.diff(found) > 0).all()
