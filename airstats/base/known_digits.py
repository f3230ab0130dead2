"""How many digits of a number are known: the one rule by which written tables are rounded."""

from __future__ import annotations

import numpy as np
import pandas as pd

Array = np.ndarray

WIDTH_80 = 2.5631
"""Standard deviations between the ends of an 80 % interval of a normal distribution."""


def by_sd(values: Array, sds: Array) -> Array:
    """Return (n,) values rounded to the second digit of their standard deviations, (n,).

    What is known exactly, with an sd of 0, stays.
    """
    known = np.where(sds > 0, sds, 1.0)
    return _rounded(values, np.where(sds > 0, 1 - np.floor(np.log10(known)), 12))


def of_chances(shares: Array) -> Array:
    """Return (n,) chances to the per cent; nearer to 0 or 1, to the first digit of the rest.

    Chances of less than one in 10,000 are not told from 0.
    """
    rest = np.maximum(np.minimum(shares, 1 - shares), 1e-4)
    return _rounded(shares, np.maximum(-np.floor(np.log10(rest)), 2))


def _rounded(values: Array, places: Array) -> Array:
    pairs = zip(np.asarray(values, dtype=float).tolist(), places.astype(int).tolist(), strict=True)
    return np.array([round(value, place) for value, place in pairs], dtype=float)


def rounded(orders: pd.DataFrame) -> pd.DataFrame:
    """Return a table of orders, or a list to buy, with every number rounded to what is known of it.

    Columns are told apart by their names: chances; amounts, as well known as their 80 % interval,
    `low` to `high`, says, or that of the packs, one pack at least; what is left over, to the
    hundredth of a pack or the metre; money, to the cent.
    """
    unit = "_m2" if "expected_m2" in orders else ""
    mean, done = orders[f"expected{unit}"].to_numpy(), orders.copy()
    if "low_packs" in orders:
        wide = ((orders["high_packs"] - orders["low_packs"]).clip(1) * orders["pack"]).to_numpy()
    else:
        wide = (orders[f"high{unit}"] - orders[f"low{unit}"]).to_numpy()
    sds = wide / WIDTH_80
    for name in map(str, orders):
        values = orders[name].to_numpy()
        if name.startswith("chance"):
            done[name] = of_chances(values)
        elif name.removesuffix(unit) in ("expected", "low", "high", "width_if_measured"):
            done[name] = by_sd(values, sds)
        elif name.endswith("_percent"):
            # A share of the surface is as well known as the sheet that it is reckoned from.
            done[name] = by_sd(values, sds * (100 + values) / mean)
        elif name.endswith("_m"):
            done[name] = orders[name].round(0 if name.startswith("expected") else 1)
        elif name.startswith(("expected_left", "cost")) or name.endswith(("_cost", "_money")):
            done[name] = orders[name].round(2)
    return done
