"""Newton's ascent to the tops of many log posteriors at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

Array = np.ndarray

MOST_STEPS = 40


class Height(NamedTuple):
    """Log posterior (up to a constant) at a point, with its slope and downward curvature.

    In `curvature` a record that is likely wrong counts as flat, so that it is never negative;
    `exact` has the true second derivatives. Shapes (g,), (g, P), (g, P, P), (g, P, P).
    """

    value: Array
    slope: Array
    curvature: Array
    exact: Array


def climb(
    start: Array, height: Callable[[Array, Array], Height], near: float
) -> tuple[Array, Height]:
    """Climb from (g, P) starts; return the (g, P) tops and what was found there.

    A step that goes down is halved. A climb ends when no step promises a gain of `near` / 2 or
    more in log posterior, or after MOST_STEPS.

    Parameters
    ----------
    start : (g, P) array
        Where the climbs begin.
    height : callable
        Given points and the places of their climbs among the g, returns what stands there.
    near : float
        Twice the gain, in log posterior, that is no longer worth a step.
    """
    mean, going = start.copy(), np.arange(len(start))
    top = height(mean, going)
    step = _newton_step(top)
    for _ in range(MOST_STEPS):
        trial = height(mean[going] + step, going)
        better = trial.value >= top.value[going] - 1e-9
        risen = going[better]
        mean[risen] += step[better]
        for old, new in zip(top, trial, strict=True):
            old[risen] = new[better]
        here = Height(*(part[going] for part in top))
        step = np.where(better[:, None], _newton_step(here), step / 2)
        worth = (step * here.slope).sum(axis=1) >= near
        going, step = going[worth], step[worth]
        if not len(going):
            break
    return mean, top


def _newton_step(top: Height) -> Array:
    """The step to the top of the exact parabola, or of the safe one where that leads down."""
    step = _solved(top.exact, top.slope)
    falls = ~((step * top.slope).sum(axis=1) > 0)
    step[falls] = _solved(top.curvature[falls], top.slope[falls])
    return step


def _solved(bend: Array, slope: Array) -> Array:
    return np.asarray(np.linalg.solve(bend, slope[..., None])[..., 0])
