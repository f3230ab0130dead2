"""Which cut is cheapest for an opening, and at which size, depth or price another one is.

The comparison is fair only if the sheet across the opening counts: some cuts lay it (with its share
of the laps) and cut it up, others save it and need fresh strips instead.
Common to all cuts and therefore left out: tape at the frame, reveal corners, setting up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS, unknown_cut
from airstats.geometry.cutting_rules import Floats, Practice
from airstats.pricing.cut_prices import (
    AMOUNTS,
    STANDARD_TERMS,
    CutCosts,
    CutTerms,
)
from airstats.takeoff.opening_quantities import opening_quantities


def cut_amounts(
    openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS
) -> dict[str, list[Floats]]:
    """Work out what each cut takes, before any price.

    Parameters
    ----------
    openings
        n rows with `width_mm`, `height_mm`, `reveal_mm`, `sides`; if present, `roll_width_m` (1.5)
        and `lap_mm` (100). Any `cut_pattern` is not used.
    terms
        Practice and share of re-use; prices are not used.

    Returns
    -------
    dict
        For each cut an (n, 5) array of `AMOUNTS` for one unit, for each of `terms.ways(cut)`.

    Raises
    ------
    AirstatsError
        If a lap takes the whole roll.

    Notes
    -----
    sheet = width·height·roll/(roll - lap) where the sheet crosses the opening, else 0, plus
    needed - share·fillable. Joints and pieces do not depend on the share.
    """
    roll, lap = _column(openings, "roll_width_m", 1.5), _column(openings, "lap_mm", 100.0)
    if np.any(lap < 0) or np.any(roll * 1000 <= lap):
        raise AirstatsError(
            f"lap_mm: {lap.max():g} mm will not do. Give 0 or more, and less than the roll's width."
        )
    with_laps = roll / (roll - lap / 1000)

    def amounts(cut: str, practice: Practice) -> Floats:
        one_way = opening_quantities(openings.assign(cut_pattern=cut), practice, roll)
        laid = one_way["opening_m2"] * with_laps if CUTS[cut].crosses else 0.0
        sheet = laid + one_way["needed_m2"] - terms.reuse_share * one_way["fillable_m2"]
        sides = openings["sides"].astype(int)
        flaps, strokes = sides.map(CUTS[cut].flaps_of(practice)), sides.map(CUTS[cut].strokes)
        return np.column_stack([sheet, one_way["joint_m"], one_way["pieces"], flaps, strokes])

    return {cut: [amounts(cut, way) for way in terms.ways(cut)] for cut in CUTS}


def _column(openings: pd.DataFrame, name: str, usual: float) -> Floats:
    held = openings[name] if name in openings else pd.Series(usual, openings.index)
    return np.asarray(held, dtype=np.float64)


def cheapest_way(
    amounts: Mapping[str, list[Floats]], costs: CutCosts
) -> dict[str, tuple[Floats, np.ndarray]]:
    """Return for each cut the (n,) cost of its cheapest way, and the (n,) place of that way."""
    prices = costs.prices()
    found = {}
    for cut, ways in amounts.items():
        cost = np.array([way @ prices for way in ways])
        found[cut] = (cost.min(axis=0), cost.argmin(axis=0))
    return found


def cut_costs(openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS) -> pd.DataFrame:
    """Return the cost of each cut for each opening of `cut_amounts`, each in its cheapest way.

    Same index, for one unit: `CUT_AMOUNT` for each of `AMOUNTS`, `CUT_cost`, and the way that is
    cheapest as `CUT_slit` and `CUT_halves`.

    Notes
    -----
    cost = sheet·price + joint·(tape + minutes a metre) + pieces, flaps and strokes at their
    minutes.
    """
    amounts = cut_amounts(openings, terms)
    columns: dict[str, object] = {}
    for cut, (cost, way) in cheapest_way(amounts, terms.costs).items():
        taken = np.array(amounts[cut])[way, np.arange(len(openings))]
        columns |= {f"{cut}_{name}": taken[:, place] for place, name in enumerate(AMOUNTS)}
        ways = terms.ways(cut)
        columns |= {
            f"{cut}_cost": cost,
            f"{cut}_slit": np.array([each.slit for each in ways])[way],
            f"{cut}_halves": np.array([each.halves for each in ways])[way],
        }
    return pd.DataFrame(columns, index=openings.index)


def cheapest_cut(openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS) -> pd.DataFrame:
    """Recommend a cut for each opening, and what it saves against the cut that was used.

    `openings` as for `cut_amounts`, with `cut_pattern` as it was used; `count` is 1 where it is
    missing. Returns the columns of `cut_costs`, then `cut_pattern` as it was, `recommended_cut` (as
    it was where nothing is cheaper) with its `slit` and `halves`, `cost_as_cut`, `cost_recommended`
    and `saving` for one unit, `saving_all` for all units of the row.

    Raises
    ------
    AirstatsError
        If a cut pattern is not known.
    """
    table = cut_costs(openings, terms)
    prices = table[[f"{cut}_cost" for cut in CUTS]].to_numpy()
    rows = np.arange(len(openings))
    used = pd.Index(list(CUTS)).get_indexer(pd.Index(openings["cut_pattern"]))
    if np.any(used < 0):
        raise AirstatsError(unknown_cut(openings["cut_pattern"].iloc[int(np.argmin(used))]))
    best = np.argmin(prices, axis=1)
    best = np.where(prices[rows, used] <= prices[rows, best], used, best)
    saving = prices[rows, used] - prices[rows, best]
    chosen = {
        name: table[[f"{cut}_{name}" for cut in CUTS]].to_numpy()[rows, best]
        for name in ("slit", "halves")
    }
    return table.assign(
        cut_pattern=openings["cut_pattern"],
        recommended_cut=np.array(list(CUTS))[best],
        slit=chosen["slit"],
        halves=chosen["halves"].astype(bool),
        cost_as_cut=prices[rows, used],
        cost_recommended=prices[rows, best],
        saving=saving,
        saving_all=saving * _column(openings, "count", 1.0),
    )


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
        Prices, times and how pieces are cut.
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


def turning_prices(openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS) -> pd.DataFrame:
    """Find at which price or time another cut would draw level with the cheapest.

    `openings` as for `cut_amounts`; `count` is 1 where it is missing. One row another cut and a
    price or time of `CutCosts`: `cheapest_cut`, `other_cut`, `extra_cost` of the other cut over all
    openings, `price` (the name), `now`, and `turns_at`: the value nearest to the present one at
    which both cost the same, the others as they are. NaN where none lies between 0 and ten times
    the present value.

    Notes
    -----
    The cost of a cut is the least of a few straight lines in each price, so their difference is
    searched either side of the present value for a change of sign.
    """
    amounts = cut_amounts(openings, terms)
    count = _column(openings, "count", 1.0)
    totals = pd.Series(_totals(count, amounts, terms.costs)).sort_values()
    best = str(totals.index[0])
    rows = [
        {
            "cheapest_cut": best,
            "other_cut": other,
            "extra_cost": extra,
            "price": field.name,
            "now": getattr(terms.costs, field.name),
            "turns_at": _turn(count, amounts, terms.costs, field.name, best, str(other)),
        }
        for other, extra in (totals - totals.iloc[0]).iloc[1:].items()
        for field in fields(CutCosts)
    ]
    return pd.DataFrame(rows)


def _totals(count: Floats, amounts: dict[str, list[Floats]], costs: CutCosts) -> dict[str, float]:
    """Cost of all units if every one were cut the same way, by cut."""
    ways = cheapest_way(amounts, costs)
    return {cut: float(np.sum(cost * count)) for cut, (cost, _) in ways.items()}


def _turn(
    count: Floats,
    amounts: dict[str, list[Floats]],
    costs: CutCosts,
    name: str,
    best: str,
    other: str,
) -> float:
    def ahead(value: float) -> float:
        totals = _totals(count, amounts, replace(costs, **{name: value}))
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

    Of the map the depth nearest to `reveal_mm` is taken. `reveal_mm, cheapest_cut, from_m2, to_m2`
    in order of size; a band ends half-way (as a ratio) between two sizes of the grid.
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
