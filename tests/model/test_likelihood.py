"""Interval probabilities and their derivatives against numerical integration and differences."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from airstats.model.likelihood import agreement, interval_probability
from tests.external_checks import agree

ROLL = 75.0


def density(use, expected, sd):
    return np.exp(-0.5 * ((use - expected) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))


def integral(expected, sd, low, high):
    return quad(density, low, high, args=(expected, sd), epsabs=0, epsrel=1e-12)[0]


def log_probability(expected, sd, low, high, share, gross_sd):
    return agreement(np.array(expected), sd, low, high, share, gross_sd).log_probability


CASES = [
    # expected, sd, low, high (m²)
    (300.0, 20.0, 225.0, 300.0),
    (300.0, 20.0, 300.0, 375.0),
    (263.0, 8.0, 225.0, 300.0),
    (310.0, 15.0, 299.6, 300.4),
    (400.0, 20.0, 225.0, 300.0),
    (150.0, 20.0, 225.0, 300.0),
    (0.0, 10.0, 0.0, 18.75),
]


def test_probability_is_the_integral_of_the_density():
    ours = interval_probability(*np.array(CASES).T)
    agree("interval.probability", ours, [integral(*case) for case in CASES])


def test_neighbouring_intervals_add_up_and_an_end_may_be_open():
    ends = np.arange(0, 20) * ROLL
    parts = interval_probability(np.array(400.0), np.array(60.0), ends[:-1], ends[1:])
    whole = interval_probability(np.array(400.0), np.array(60.0), ends[0], ends[-1])
    assert parts.sum() == pytest.approx(float(whole), rel=1e-12)
    half = interval_probability(np.zeros(2), 1.0, np.array([-np.inf, 0.0]), np.array([0.0, np.inf]))
    assert half == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize("away", [6.0, 12.0, 25.0, 36.0])
def test_far_tails_keep_their_digits(away):
    """Both tails, with exp(-a²/2) taken out of the integral so that nothing underflows."""
    rest = quad(lambda t: np.exp(-0.5 * t * (t + 2 * away)), 0, 1, epsabs=0, epsrel=1e-12)[0]
    expected_log = np.log(rest / np.sqrt(2 * np.pi)) - 0.5 * away**2
    above = interval_probability(np.array(0.0), 1.0, np.array(away), np.array(away + 1))
    below = interval_probability(np.array(0.0), 1.0, np.array(-away - 1), np.array(-away))
    assert np.log(above) == pytest.approx(expected_log, abs=1e-8)
    assert np.log(below) == pytest.approx(expected_log, abs=1e-8)


@settings(max_examples=150, deadline=None)
@given(
    st.floats(150, 450),
    st.floats(8, 60),
    st.sampled_from([0.75, 18.75, 75.0]),
    st.sampled_from([0.0, 0.03, 0.2]),
)
def test_slope_and_curvature_are_exact(expected, sd, width, share):
    low, high, gross_sd = 300.0 - width, 300.0, float(np.hypot(sd, 1.5 * ROLL))
    found = agreement(np.array(expected), sd, low, high, share, gross_sd)
    step = 1e-3 * sd
    points = [expected - step, expected, expected + step]
    left, middle, right = log_probability(points, sd, low, high, share, gross_sd)
    assert found.slope == pytest.approx((right - left) / (2 * step), rel=1e-4, abs=1e-6)
    numeric = -(right - 2 * middle + left) / step**2
    assert found.curvature == pytest.approx(numeric, rel=1e-3, abs=2e-6)


def test_curvature_is_never_upward_without_gross_errors_and_shapes_broadcast():
    """The interval probability of a normal is log-concave in its mean."""
    expected = np.linspace(0, 600, 400)
    found = agreement(expected, 20.0, 225.0, 300.0, 0.0, 115.0)
    sound = interval_probability(expected, 20.0, 225.0, 300.0) > 1e-290
    assert (found.curvature[sound] > -1e-9).all()
    found = agreement(np.full((3, 5), 250.0), np.full((3, 1), 20.0), np.full(5, 225.0), 300.0, 0.03,
                      np.full((3, 5), 113.0))  # fmt: skip
    assert {part.shape for part in found} == {(3, 5)}


@pytest.mark.parametrize("case", CASES)
def test_gross_errors_mix_a_wide_normal_in(case):
    expected, sd, low, high = case
    share, gross_sd = 0.04, 115.0
    sound = (1 - share) * integral(expected, sd, low, high)
    gross = share * integral(expected, gross_sd, low, high)
    found = agreement(np.array(expected), sd, low, high, share, gross_sd)
    assert found.log_probability == pytest.approx(np.log(sound + gross), rel=1e-9)
    assert found.wrong == pytest.approx(gross / (sound + gross), rel=1e-9)


def test_a_far_record_is_wrong_and_pulls_less_than_a_near_one():
    expected = np.array([260.0, 260.0 + 3 * ROLL])
    found = agreement(expected, 15.0, 225.0, 300.0, 0.03, 113.0)
    assert found.wrong[0] < 0.03
    assert found.wrong[1] > 0.99
    # Without gross errors the pull grows with distance; with them it falls away.
    near, far = np.array(300.0 + 2.5 * 15), np.array(300.0 + 5 * ROLL)
    plain, robust = (
        [agreement(at, 15.0, 225.0, 300.0, share, 113.0).slope for at in (near, far)]
        for share in (0.0, 0.03)
    )
    assert abs(plain[1]) > 5 * abs(plain[0])
    assert abs(robust[1]) < abs(robust[0]) / 2


@pytest.mark.parametrize(("share", "wrong"), [(0.03, 1), (0.0, 0)])
def test_a_record_beyond_all_reckoning_is_wrong_where_any_can_be_and_teaches_nothing(share, wrong):
    """5000 rolls for 4: beyond what a floating number can hold as a probability."""
    low = np.array([4999 * ROLL])
    lost = agreement(np.array([300.0]), np.array([15.0]), low, low + ROLL, share, np.array([113.0]))
    assert lost.wrong == wrong
    assert lost.slope == lost.curvature == 0
    assert np.isfinite(lost.log_probability)


@pytest.mark.parametrize("away", [37.3, 37.6])
def test_a_record_just_beyond_reckoning_teaches_nothing_either(away):
    """P(z > 37.3) is some 1e-304, below the least probability that is reckoned with, 1e-300."""
    lost = agreement(np.zeros(1), np.ones(1), np.array([away]), np.array([99.0]), 0.0, np.ones(1))
    near = agreement(np.zeros(1), np.ones(1), np.array([36.0]), np.array([99.0]), 0.0, np.ones(1))
    assert lost.slope == lost.curvature == 0
    assert lost.log_probability == pytest.approx([-300 * np.log(10)])
    assert lost.log_probability < near.log_probability
