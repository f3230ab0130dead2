"""Which cut is cheapest for an opening: sheet, tape and time of the cuts compared.

The comparison is fair only if the sheet across the opening counts: some cuts lay it (with its share
of the laps) and cut it up, others save it and need fresh strips instead.
Common to all cuts and therefore left out: tape at the frame, reveal corners, setting up.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS, unknown_cut
from airstats.geometry.cutting_rules import Practice
from airstats.geometry.offcuts import Floats
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
    return {
        cut: [_amounts(openings, cut, way, terms, roll, with_laps) for way in terms.ways(cut)]
        for cut in CUTS
    }


def _column(openings: pd.DataFrame, name: str, usual: float) -> Floats:
    held = openings[name] if name in openings else pd.Series(usual, openings.index)
    return np.asarray(held, dtype=np.float64)


def _amounts(
    openings: pd.DataFrame,
    cut: str,
    practice: Practice,
    terms: CutTerms,
    roll: Floats,
    with_laps: Floats,
) -> Floats:
    one_way = opening_quantities(openings.assign(cut_pattern=cut), practice, roll)
    laid = one_way["opening_m2"] * with_laps if CUTS[cut].crosses else 0.0
    sheet = laid + one_way["needed_m2"] - terms.reuse_share * one_way["fillable_m2"]
    sides = openings["sides"].astype(int)
    flaps, strokes = sides.map(CUTS[cut].flaps_of(practice)), sides.map(CUTS[cut].strokes)
    return np.column_stack([sheet, one_way["joint_m"], one_way["pieces"], flaps, strokes])


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
    """Cost of each cut for each opening, for one unit, each cut in its cheapest way.

    Parameters
    ----------
    openings, terms
        As for `cut_amounts`.

    Returns
    -------
    DataFrame
        Same index. For each cut `CUT_AMOUNT` for each of `AMOUNTS`, `CUT_cost`, and the way that
        is cheapest as `CUT_slit` and `CUT_halves`.

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

    Parameters
    ----------
    openings, terms
        As for `cut_amounts`; `cut_pattern` is the cut that was used, `count` is 1 where the
        column is missing.

    Returns
    -------
    DataFrame
        The columns of `cut_costs`, then `cut_pattern` as it was, `recommended_cut` (it stays as
        it was where nothing is cheaper) with its `slit` and `halves`, `cost_as_cut`,
        `cost_recommended` and `saving` for one unit, `saving_all` for all units of the row.

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


def job_savings(openings: pd.DataFrame, terms: CutTerms = STANDARD_TERMS) -> pd.DataFrame:
    """Add up, job by job, what the recommended cuts would save.

    Parameters
    ----------
    openings, terms
        As for `cheapest_cut`, with a column `job_id`.

    Returns
    -------
    DataFrame
        One row a job, in the order of the openings: `job_id`, `openings` (units), `cut_otherwise`
        (units with another recommended cut), `cost_as_cut`, `saving`.
    """
    table = cheapest_cut(openings, terms)
    count = _column(openings, "count", 1.0)
    other = (table["recommended_cut"] != table["cut_pattern"]).to_numpy()
    units = pd.DataFrame(
        {
            "job_id": openings["job_id"],
            "openings": count,
            "cut_otherwise": np.where(other, count, 0.0),
            "cost_as_cut": table["cost_as_cut"] * count,
            "saving": table["saving_all"],
        }
    )
    return units.groupby("job_id", sort=False).sum().reset_index()
