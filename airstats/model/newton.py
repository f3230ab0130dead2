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


def climb(start: Array, height: Callable[[Array], Height], near: float) -> tuple[Array, Height]:
    """Climb from (g, P) starts; return the (g, P) tops and what was found there.

    A step that goes down is halved. The climb ends when no step promises a gain of `near` / 2 or
    more in log posterior, or after MOST_STEPS.

    Parameters
    ----------
    start : (g, P) array
        Where the climbs begin.
    height : callable
        Returns what stands at (g, P) points.
    near : float
        Twice the gain, in log posterior, that is no longer worth a step.
    """
    mean, top = start, height(start)
    step = _newton_step(top)
    for _ in range(MOST_STEPS):
        trial = height(mean + step)
        better = trial.value >= top.value - 1e-9
        mean = np.where(better[:, None], mean + step, mean)
        top = Height(*(_chosen(better, new, old) for new, old in zip(trial, top, strict=True)))
        step = np.where(better[:, None], _newton_step(top), step / 2)
        if (step * top.slope).sum(axis=1).max() < near:
            break
    return mean, top


def _newton_step(top: Height) -> Array:
    """The step to the top of the exact parabola, or of the safe one where that leads down."""
    exact, safe = (
        np.linalg.solve(bend, top.slope[..., None])[..., 0] for bend in (top.exact, top.curvature)
    )
    rises = (exact * top.slope).sum(axis=1) > 0
    return np.where(rises[:, None], exact, safe)


def _chosen(better: Array, new: Array, old: Array) -> Array:
    return np.where(better.reshape(-1, *[1] * (new.ndim - 1)), new, old)
