"""How well an expected use agrees with what was counted: the interval likelihood."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

Array = np.ndarray

AT_A_TIME = 16384
"""More uses at a time than this do not stay in the processor's own memory."""
_MOST_AT_HAND = 30 << 20
"""Bytes; above 32 MB it would have no effect."""
_TINY = 1e-300
_ROOT_TWO_PI = np.sqrt(2 * np.pi)

# Once so large an array was given back, the C library of Linux keeps that much at hand, and no
# longer fetches the memory of every smaller one anew.
np.empty(_MOST_AT_HAND, dtype=np.uint8)


class Agreement(NamedTuple):
    """Log-probability of each count, with its slope and downward curvature in the expected use.

    All of one shape; `slope` in 1/m², `curvature` in 1/m⁴. `wrong` is the probability that the
    count is a gross error.
    """

    log_probability: Array
    slope: Array
    curvature: Array
    wrong: Array


def interval_probability(expected: Array, sd: Array, low: Array, high: Array) -> Array:
    """Return P(low < use <= high) for a normal use.

    Parameters
    ----------
    expected, sd, low, high : arrays
        Mean and sd of the use, and the ends of its interval, m²; shapes that broadcast.

    Notes
    -----
    The probability of the interval is the honest likelihood of a rounded count (grouped or
    interval-censored normal data). In the upper tail both ends are mirrored, so that the
    difference keeps its digits.
    """
    return _between((low - expected) / sd, (high - expected) / sd)


def _between(a: Array, b: Array) -> Array:
    """Probability between two standard scores."""
    mirrored = a > 0
    return ndtr(np.where(mirrored, -a, b)) - ndtr(np.where(mirrored, -b, a))


def agreement(
    expected: Array, sd: Array, low: Array, high: Array, gross_share: Array | float, gross_sd: Array
) -> Agreement:
    """Compare expected uses with counted intervals, allowing for gross errors.

    Parameters
    ----------
    expected, sd : arrays
        Mean and standard deviation of the use, m².
    low, high : arrays
        The interval that the count leaves for the use, m².
    gross_share : float or array
        Share of the records that are grossly wrong (a roll stolen, a slip of the pen).
    gross_sd : array
        Standard deviation of a grossly wrong record about the expected use, m².

    Notes
    -----
    probability = (1 - share) * P(interval | sd) + share * P(interval | gross_sd): a normal
    contaminated by a wide normal (Tukey 1960). Slope and curvature are exact derivatives.
    """
    every = np.broadcast_arrays(expected, sd, low, high, gross_share, gross_sd)
    shape = every[0].shape
    if len(shape) < 2 or np.prod(shape) <= AT_A_TIME:
        return _agreement(*every)
    rows = max(AT_A_TIME // shape[1], 1)
    starts = range(0, shape[0], rows)
    parts = [_agreement(*(each[start : start + rows] for each in every)) for start in starts]
    return Agreement(*map(np.concatenate, zip(*parts, strict=True)))


def _agreement(
    expected: Array, sd: Array, low: Array, high: Array, gross_share: Array, gross_sd: Array
) -> Agreement:
    terms = _interval_terms(expected, np.stack([sd, gross_sd]), low, high)
    total, first, second = ((1 - gross_share) * s + gross_share * g for s, g in terms)
    (_, gross), *_ = terms
    # So far off that both probabilities vanish: the record teaches nothing and is surely wrong.
    lost = total < _TINY
    total = np.where(lost, 1.0, total)
    first, second = np.where(lost, 0.0, first), np.where(lost, 0.0, second)
    slope = first / total
    return Agreement(
        log_probability=np.where(lost, np.log(_TINY), np.log(total)),
        slope=slope,
        curvature=slope**2 - second / total,
        wrong=np.where(
            lost, np.greater(gross_share, 0), np.clip(gross_share * gross / total, 0, 1)
        ),
    )


def _interval_terms(
    expected: Array, sd: Array, low: Array, high: Array
) -> tuple[Array, Array, Array]:
    """Interval probability and its first two derivatives in the expected use."""
    a, b = (low - expected) / sd, (high - expected) / sd
    density_a, density_b = (np.exp(-0.5 * z * z) / _ROOT_TWO_PI for z in (a, b))
    probability = _between(a, b)
    first = (density_a - density_b) / sd
    second = (a * density_a - b * density_b) / sd**2
    return probability, first, second
