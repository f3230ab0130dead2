"""Where another cut becomes the cheapest: over size and depth, and at which price or time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.offcuts import Floats
from airstats.pricing.cut_choice import cheapest_way, cut_amounts, cut_costs
from airstats.pricing.cut_prices import STANDARD_TERMS, CutCosts, CutTerms

# A price ten times as high as today's is not worth a thought.
FARTHEST = 10.0


def break_even_map(
    terms: CutTerms = STANDARD_TERMS,
    width_over_height: float = 0.9,
    areas_m2: Sequence[float] | Floats | None = None,
    reveals_mm: Sequence[float] | Floats | None = None,
) -> pd.DataFrame:
    """Compare the cost of the cuts over a grid of sizes and reveal depths.

    Parameters
    ----------
    terms
        Prices, practice and share of re-use.
    width_over_height
        Shape of the opening, the same all over the grid.
    areas_m2
        Areas of the opening, m²; by default 81 from 0.3 to 12, evenly spaced as ratios.
    reveals_mm
        Reveal depths, mm; by default every 10 mm from 50 to 600.

    Returns
    -------
    DataFrame
        One row a grid point: `opening_m2`, `reveal_mm`, `width_mm`, `height_mm`, `CUT_cost` of
        each cut, `cheapest_cut`, and `margin`: what it saves against the next best.

    Raises
    ------
    AirstatsError
        If shape or an area is not positive.

    Notes
    -----
    Four lined sides, sheet 1.5 m wide, lap 100 mm.
    """
    area = np.geomspace(0.3, 12.0, 81) if areas_m2 is None else np.asarray(areas_m2, dtype=float)
    depth = np.arange(50.0, 601, 10) if reveals_mm is None else np.asarray(reveals_mm, dtype=float)
    for name, value in (("width_over_height", width_over_height), ("areas_m2", area.min())):
        if not 0 < value < np.inf:
            raise AirstatsError(f"{name}: {value} will not do. Give more than 0.")
    opening, reveal = (grid.ravel() for grid in np.meshgrid(area, depth))
    grid = pd.DataFrame(
        {
            "opening_m2": opening,
            "reveal_mm": reveal,
            "width_mm": 1000 * np.sqrt(opening * width_over_height),
            "height_mm": 1000 * np.sqrt(opening / width_over_height),
        }
    )
    costs = cut_costs(grid.assign(sides=4), terms)[[f"{cut}_cost" for cut in CUTS]]
    ordered = np.sort(costs.to_numpy(), axis=1)
    cheapest = np.array(list(CUTS))[costs.to_numpy().argmin(axis=1)]
    return grid.join(costs).assign(cheapest_cut=cheapest, margin=ordered[:, 1] - ordered[:, 0])


def one_cut_for_all(openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS) -> pd.Series:
    """Cost of all openings if every one were cut the same way, by cut, cheapest first.

    Parameters
    ----------
    openings, terms
        As for `cut_amounts`; `count` is 1 where the column is missing.
    """
    return pd.Series(_totals(openings, cut_amounts(openings, terms), terms.costs)).sort_values()


def turning_prices(openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS) -> pd.DataFrame:
    """Find at which price or time another cut would draw level with the cheapest.

    Parameters
    ----------
    openings, terms
        As for `one_cut_for_all`.

    Returns
    -------
    DataFrame
        One row another cut and a price or time of `CutCosts`: `cheapest_cut`, `other_cut`,
        `extra_cost` of the other cut over all openings, `price` (the name), `now`, and
        `turns_at`: the value nearest to the present one at which both cost the same, the others
        as they are. NaN where none lies between 0 and ten times the present value.

    Notes
    -----
    The cost of a cut is the least of a few straight lines in each price, so their difference is
    searched either side of the present value for a change of sign.
    """
    amounts = cut_amounts(openings, terms)
    totals = pd.Series(_totals(openings, amounts, terms.costs)).sort_values()
    best = str(totals.index[0])
    rows = [
        {
            "cheapest_cut": best,
            "other_cut": other,
            "extra_cost": extra,
            "price": field.name,
            "now": getattr(terms.costs, field.name),
            "turns_at": _turn(openings, amounts, terms.costs, field.name, best, str(other)),
        }
        for other, extra in (totals - totals.iloc[0]).iloc[1:].items()
        for field in fields(CutCosts)
    ]
    return pd.DataFrame(rows)


def _totals(
    openings: pd.DataFrame, amounts: dict[str, list[Floats]], costs: CutCosts
) -> dict[str, float]:
    count = openings["count"].to_numpy(dtype=float) if "count" in openings else 1.0
    ways = cheapest_way(amounts, costs)
    return {cut: float(np.sum(cost * count)) for cut, (cost, _) in ways.items()}


def _turn(
    openings: pd.DataFrame,
    amounts: dict[str, list[Floats]],
    costs: CutCosts,
    name: str,
    best: str,
    other: str,
) -> float:
    def ahead(value: float) -> float:
        totals = _totals(openings, amounts, replace(costs, **{name: value}))
        return totals[other] - totals[best]

    now = float(getattr(costs, name))
    found = [
        float(brentq(ahead, *sorted((now, end))))
        for end in (0.0, FARTHEST * now)
        if ahead(end) <= 0 < ahead(now)
    ]
    return min(found, key=lambda value: abs(value - now), default=float("nan"))


def bands_at(grid: pd.DataFrame, reveal_mm: float) -> pd.DataFrame:
    """Return which cut is cheapest from which size to which, at one depth of a break-even map.

    Parameters
    ----------
    grid
        What `break_even_map` returns; its depth nearest to `reveal_mm` is taken.

    Returns
    -------
    DataFrame
        `reveal_mm`, `cheapest_cut`, `from_m2`, `to_m2`, in order of size. A band ends half-way
        (as a ratio) between two sizes of the grid.
    """
    depths = grid["reveal_mm"].unique()
    depth = depths[np.abs(depths - reveal_mm).argmin()]
    row = grid[grid["reveal_mm"].eq(depth)].sort_values("opening_m2")
    area, cut = row["opening_m2"].to_numpy(), row["cheapest_cut"].to_numpy()
    last = np.flatnonzero(cut[1:] != cut[:-1])
    ends = np.sqrt(area[last] * area[last + 1])
    return pd.DataFrame(
        {
            "reveal_mm": depth,
            "cheapest_cut": cut[np.append(last, len(cut) - 1)],
            "from_m2": np.insert(ends, 0, area[0]),
            "to_m2": np.append(ends, area[-1]),
        }
    )
