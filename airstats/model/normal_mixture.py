"""Weighted averages of normal distributions: cumulative probability, quantiles, moments."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtr, ndtri

Array = np.ndarray

MOST_STEPS, NEAR = 100, 2.0**-50
"""Of the way to a quantile; a step of less than this share of the numbers about is the last."""
AT_A_TIME = 1024
"""More quantities at a time than this do not stay in the processor's own memory."""


@dataclass(frozen=True)
class Mixture:
    """For n quantities, G normals each: `weight` (G,) adds to 1; `means`, `sds` (G, n)."""

    weight: Array
    means: Array
    sds: Array

    def below(self, at: Array) -> Array:
        """Return P(quantity <= at), shape (n,), for `at` of shape (n,)."""
        ends = np.broadcast_to(at, self.means.shape[1])
        return np.concatenate([part._below(ends[own]) for own, part in self._parts()])

    def _below(self, at: Array) -> Array:
        return self.weight @ ndtr((at - self.means) / self.sds)

    def where(self, chosen: Array | slice) -> Mixture:
        """Return some of the quantities."""
        return replace(self, means=self.means[:, chosen], sds=self.sds[:, chosen])

    def _parts(self) -> Iterator[tuple[slice, Mixture]]:
        for start in range(0, max(self.means.shape[1], 1), AT_A_TIME):
            own = slice(start, start + AT_A_TIME)
            yield own, self.where(own)

    def mean(self) -> Array:
        """Return the (n,) means."""
        return self.weight @ self.means

    def sd(self) -> Array:
        """Return the (n,) standard deviations: within the normals and between them."""
        return self._sd

    @cached_property
    def _sd(self) -> Array:
        between = (self.means - self.mean()) ** 2
        return np.sqrt(self.weight @ (self.sds**2 + between))

    def mean_above_0(self) -> Array:
        """Return the (n,) means of max(quantity, 0)."""
        far = self.means / self.sds
        density = np.exp(-(far**2) / 2) / np.sqrt(2 * np.pi)
        return self.weight @ (self.means * ndtr(far) + self.sds * density)

    def quantile(self, share: float) -> Array:
        """Return the (n,) values below which `share` of each distribution lies.

        By Newton steps; where one would leave the range that is left, or is not half the step
        before it, that range is halved (Press et al. 2007, Numerical Recipes, section 9.4).
        """
        return np.concatenate([part._quantile(share) for _, part in self._parts()])

    def _quantile(self, share: float) -> Array:
        low, high = self._ends()
        near = NEAR * (np.abs(low) + np.abs(high))
        at = np.clip(self.mean() + ndtri(share) * self.sd(), low, high)
        going, step = np.ones(len(at), dtype=bool), high - low
        for _ in range(MOST_STEPS):
            over, density = self._height(at)
            over -= share
            low, high = np.where(over < 0, at, low), np.where(over < 0, high, at)
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                aim = at - over / density
            straight = (aim >= low) & (aim <= high) & (np.abs(aim - at) <= step / 2)
            aim = np.where(straight, aim, (low + high) / 2)
            # One that has arrived stays, so that it does not hang on the others.
            step, at = np.abs(aim - at), np.where(going, aim, at)
            going &= step > near
            if not going.any():
                break
        return at

    def _ends(self) -> tuple[Array, Array]:
        """Return (n,) ends beyond which no quantity lies."""
        return (self.means - 12 * self.sds).min(axis=0), (self.means + 12 * self.sds).max(axis=0)

    def _height(self, at: Array) -> tuple[Array, Array]:
        """Return P(quantity <= at) and the density there, (n,) each."""
        z = (at - self.means) / self.sds
        bell = np.exp(-0.5 * z * z) / self.sds
        return self.weight @ ndtr(z), self.weight @ bell / np.sqrt(2 * np.pi)
