"""The climb to the top of a surface, on surfaces whose top is known."""

import numpy as np
import pytest

from airstats.model.newton import MOST_STEPS, Height, climb


def line(value, slope, curvature, exact=None):
    """A surface over one parameter, for g starts, that keeps the points it was asked for."""

    def height(at, of):
        height.asked.append(at[:, 0].tolist())
        bends = [bend(at)[:, :, None] for bend in (curvature, exact or curvature)]
        return Height(value(at)[:, 0], slope(at), *bends)

    height.asked = []
    return height


def test_the_top_of_a_parabola_is_one_step_away():
    """Two of them, with tops and bends of their own; the safe step would fall far short."""
    tops = np.array([[1.0, -0.8], [3.0, 5.0]])
    bend = np.array([[[1.0, 0.9], [0.9, 1.0]], [[1.0, -0.3], [-0.3, 4.0]]])
    asked = []

    def height(at, of):
        asked.append(at)
        away = tops[of] - at
        slope = np.einsum("gij,gj->gi", bend[of], away)
        return Height(-0.5 * (away * slope).sum(axis=1), slope, 100 * bend[of], bend[of])

    mean, found = climb(np.zeros((2, 2)), height, near=1e-9)
    np.testing.assert_allclose(mean, tops, atol=1e-12)
    np.testing.assert_allclose(found.value, 0, atol=1e-12)
    assert found.curvature.shape == found.exact.shape == (2, 2, 2)
    assert len(asked) == 2


def test_steps_beyond_the_top_or_half_way_down_are_halved():
    """Newton's step alone runs away from the top of -log cosh wherever it starts beyond 1.09."""
    height = line(lambda x: -np.log(np.cosh(x)), lambda x: -np.tanh(x), lambda x: np.cosh(x) ** -2)
    mean, found = climb(np.array([[3.0], [-1.5], [0.0]]), height, near=1e-13)
    np.testing.assert_allclose(mean, 0, atol=1e-6)
    np.testing.assert_allclose(found.slope, 0, atol=1e-6)
    # x - 1.5 x², taken to bend by 1: the step to 1 loses 0.5, so half of it is tried.
    height = line(lambda x: x - 1.5 * x**2, lambda x: 1 - 3 * x, np.ones_like)
    mean, _ = climb(np.zeros((1, 1)), height, near=1e-12)
    assert height.asked[:3] == [[0.0], [1.0], [0.5]]
    assert mean[0, 0] == pytest.approx(1 / 3, abs=1e-4)


def test_where_the_surface_bends_upward_the_safe_step_is_taken():
    """-log(1 + x²) bends upward beyond 1; from 3 the exact step leads away from the top at 0."""
    height = line(
        lambda x: -np.log1p(x**2),
        lambda x: -2 * x / (1 + x**2),
        lambda x: 2 / (1 + x**2),
        lambda x: 2 * (1 - x**2) / (1 + x**2) ** 2,
    )
    mean, _ = climb(np.array([[3.0], [-0.5]]), height, near=1e-13)
    np.testing.assert_allclose(mean, 0, atol=1e-6)
    # From 3 the safe step is slope / curvature = -0.6 / 0.2; from -0.5 the exact 0.8 / 0.96.
    assert height.asked[1] == pytest.approx([0.0, 1 / 3])


@pytest.mark.parametrize(("near", "steps"), [(1.0, MOST_STEPS), (1.01, 1)])
def test_an_endless_slope_is_left_where_little_is_promised_or_after_the_most_steps(near, steps):
    """A slope of 1 taken to bend by 1 promises 1/2 a step, for ever."""
    height = line(lambda x: x, np.ones_like, np.ones_like)
    mean, _ = climb(np.zeros((1, 1)), height, near)
    assert mean[0, 0] == steps
    assert len(height.asked) == steps + 1


def test_the_climb_ends_by_no_rounding_but_when_no_start_promises_enough():
    height = line(lambda x: -1e-11 * x, np.ones_like, np.ones_like)
    assert climb(np.zeros((1, 1)), height, 0.5)[0][0, 0] == MOST_STEPS


def test_a_start_that_promises_little_ends_its_climb_while_others_go_on():
    """Slopes whose squares are 0.6 and 0.8, taken to bend by 1, beside what is worth a step."""
    slopes, asked = np.sqrt([[0.6], [0.8]]), []

    def height(at, of):
        asked.append(of.tolist())
        bend = np.ones((len(at), 1, 1))
        return Height((slopes[of] * at)[:, 0], slopes[of].copy(), bend, bend.copy())

    mean, found = climb(np.zeros((2, 1)), height, near=0.7)
    assert asked == [[0, 1], [0, 1], *[[1]] * (MOST_STEPS - 1)]
    assert mean[:, 0] == pytest.approx(slopes[:, 0] * [1, MOST_STEPS])
    assert found.value == pytest.approx(slopes[:, 0] * mean[:, 0])
