"""Weighted averages of normal distributions: cumulative probability, quantiles, moments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

Array = np.ndarray

HALVINGS = 60
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
        return self.weight @ ndtr((at - self.means) / self.sds)

    def mean(self) -> Array:
        """Return the (n,) means."""
        return self.weight @ self.means

    def sd(self) -> Array:
        """Return the (n,) standard deviations: within the normals and between them."""
        between = (self.means - self.mean()) ** 2
        return np.sqrt(self.weight @ (self.sds**2 + between))

    def mean_above_0(self) -> Array:
        """Return the (n,) means of max(quantity, 0)."""
        far = self.means / self.sds
        density = np.exp(-(far**2) / 2) / np.sqrt(2 * np.pi)
        return self.weight @ (self.means * ndtr(far) + self.sds * density)

    def quantile(self, share: float) -> Array:
        """Return the (n,) values below which `share` of each distribution lies."""
        places = range(AT_A_TIME, self.means.shape[1], AT_A_TIME)
        parts = zip(
            *(np.split(part, places, axis=1) for part in (self.means, self.sds)), strict=True
        )
        return np.concatenate([Mixture(self.weight, *part)._quantile(share) for part in parts])

    def _quantile(self, share: float) -> Array:
        low = (self.means - 12 * self.sds).min(axis=0)
        high = (self.means + 12 * self.sds).max(axis=0)
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            above = self.below(middle) >= share
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        return (low + high) / 2
