"""Which cut is cheapest for an opening: sheet, tape and time of the three cuts compared.

The comparison is fair only if the sheet across the opening counts: `diagonal` and `centre` lay it
(with its share of the laps) and cut it up, `lined` saves it and needs fresh strips instead.
Common to all cuts and therefore left out: tape at the frame, corner pieces, setting up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from airstats.errors import AirstatsError
from airstats.offcuts import Floats
from airstats.openings import CUTS, STANDARD_PRACTICE, opening_quantities
from airstats.practice import Practice

# Flaps to cut free and fold in, for each cut.
FLAPS = {"diagonal": 4, "centre": 2, "lined": 0}


@dataclass(frozen=True)
class CutCosts:
    """What sheet, tape and time cost.

    Every default is an assumption without a source; put in your own prices and times. Money is in
    any one currency, without tax.

    Parameters
    ----------
    sheet_price_m2
        Price of the sheet a m². 1.60 is 120 for a roll of 75 m².
    tape_price_m
        Price of the tape a m. 0.90 is assumed.
    minutes_piece
        To measure, cut and place one loose piece. 4 is assumed.
    minutes_joint_m
        To tape a metre of joint. 1.5 is assumed.
    minutes_flap
        To cut one flap free and fold it in. 1.5 is assumed.
    labour_hour
        Price of an hour. 45 is assumed.

    Raises
    ------
    AirstatsError
        If a value is negative or not a number.
    """

    sheet_price_m2: float = 1.60
    tape_price_m: float = 0.90
    minutes_piece: float = 4.0
    minutes_joint_m: float = 1.5
    minutes_flap: float = 1.5
    labour_hour: float = 45.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0 <= value < np.inf:
                raise AirstatsError(f"{field.name}: {value} will not do. Give 0 or more.")


STANDARD_COSTS = CutCosts()


def cut_costs(
    openings: pd.DataFrame,
    costs: CutCosts = STANDARD_COSTS,
    practice: Practice = STANDARD_PRACTICE,
    reuse_share: float = 1.0,
    roll_width_m: float | Floats = 1.5,
    lap_mm: float = 100.0,
) -> pd.DataFrame:
    """Cost of each cut for each opening, for one unit.

    Parameters
    ----------
    openings
        Columns `width_mm`, `height_mm`, `reveal_mm`, `sides`; any `cut_pattern` is not used.
    costs, practice
        Prices and times; how pieces are cut.
    reuse_share
        Share of the fillable area that really is cut from off-cuts, 0 to 1.
    roll_width_m, lap_mm
        Width of the sheet (m) and overlap of its courses (mm).

    Returns
    -------
    DataFrame
        Same index. For each cut `CUT_sheet_m2`, `CUT_joint_m`, `CUT_minutes` and `CUT_cost`.

    Raises
    ------
    AirstatsError
        If the share is not between 0 and 1, or the lap takes the whole roll.

    Notes
    -----
    sheet = width·height·roll/(roll - lap) for `diagonal` and `centre`, 0 for `lined`, plus
    needed - share·fillable. cost = sheet·price + joint·(tape + minutes a metre) + pieces and flaps
    at their minutes. Joints and pieces do not depend on the share.
    """
    if not 0 <= reuse_share <= 1:
        raise AirstatsError(f"reuse_share: {reuse_share} will not do. Give a share from 0 to 1.")
    if not np.all(np.asarray(roll_width_m) * 1000 > lap_mm) or lap_mm < 0:
        raise AirstatsError(
            f"lap_mm: {lap_mm:g} mm will not do. Give 0 or more, and less than the roll's width."
        )
    columns: dict[str, pd.Series] = {}
    for cut in CUTS:
        one_way = opening_quantities(openings.assign(cut_pattern=cut), practice, roll_width_m)
        with_laps = np.asarray(roll_width_m) / (np.asarray(roll_width_m) - lap_mm / 1000)
        laid = 0.0 if cut == "lined" else one_way["opening_m2"] * with_laps
        sheet = laid + one_way["needed_m2"] - reuse_share * one_way["fillable_m2"]
        minutes = (
            one_way["pieces"] * costs.minutes_piece
            + one_way["joint_m"] * costs.minutes_joint_m
            + FLAPS[cut] * costs.minutes_flap
        )
        columns[f"{cut}_sheet_m2"] = sheet
        columns[f"{cut}_joint_m"] = one_way["joint_m"]
        columns[f"{cut}_minutes"] = minutes
        columns[f"{cut}_cost"] = (
            sheet * costs.sheet_price_m2
            + one_way["joint_m"] * costs.tape_price_m
            + minutes / 60 * costs.labour_hour
        )
    return pd.DataFrame(columns, index=openings.index)


def cheapest_cut(
    openings: pd.DataFrame,
    costs: CutCosts = STANDARD_COSTS,
    practice: Practice = STANDARD_PRACTICE,
    reuse_share: float = 1.0,
    roll_width_m: float | Floats = 1.5,
    lap_mm: float = 100.0,
) -> pd.DataFrame:
    """Recommend a cut for each opening, and what it saves against the cut that was used.

    Parameters
    ----------
    openings
        As for `opening_quantities`; `count` is 1 where the column is missing.
    costs, practice, reuse_share, roll_width_m, lap_mm
        As for `cut_costs`.

    Returns
    -------
    DataFrame
        The columns of `cut_costs`, then `cut_pattern` as it was, `recommended_cut` (it stays as
        it was where nothing is cheaper), `cost_as_cut`, `cost_recommended` and `saving` for one
        unit, `saving_all` for all units of the row.
    """
    table = cut_costs(openings, costs, practice, reuse_share, roll_width_m, lap_mm)
    prices = table[[f"{cut}_cost" for cut in CUTS]].to_numpy()
    rows = np.arange(len(openings))
    used = pd.Index(CUTS).get_indexer(pd.Index(openings["cut_pattern"]))
    if np.any(used < 0):
        wrong = openings["cut_pattern"].iloc[int(np.argmin(used))]
        raise AirstatsError(f"cut_pattern: '{wrong}' is not known. Use one of {', '.join(CUTS)}.")
    best = np.argmin(prices, axis=1)
    best = np.where(prices[rows, used] <= prices[rows, best], used, best)
    count = openings["count"].to_numpy(dtype=float) if "count" in openings else np.ones(len(rows))
    saving = prices[rows, used] - prices[rows, best]
    return table.assign(
        cut_pattern=openings["cut_pattern"],
        recommended_cut=np.array(CUTS)[best],
        cost_as_cut=prices[rows, used],
        cost_recommended=prices[rows, best],
        saving=saving,
        saving_all=saving * count,
    )


def job_savings(
    openings: pd.DataFrame,
    costs: CutCosts = STANDARD_COSTS,
    practice: Practice = STANDARD_PRACTICE,
    reuse_share: float = 1.0,
    roll_width_m: float | Floats = 1.5,
    lap_mm: float = 100.0,
) -> pd.DataFrame:
    """Add up, job by job, what the recommended cuts would save.

    Parameters
    ----------
    openings
        As for `cheapest_cut`, with a column `job_id`.
    costs, practice, reuse_share, roll_width_m, lap_mm
        As for `cut_costs`.

    Returns
    -------
    DataFrame
        One row a job, in the order of the openings: `job_id`, `openings` (units), `cut_otherwise`
        (units with another recommended cut), `cost_as_cut`, `saving`.
    """
    table = cheapest_cut(openings, costs, practice, reuse_share, roll_width_m, lap_mm)
    count = openings["count"].astype(float) if "count" in openings else pd.Series(1.0, table.index)
    units = pd.DataFrame(
        {
            "job_id": openings["job_id"],
            "openings": count,
            "cut_otherwise": count.where(table["recommended_cut"] != table["cut_pattern"], 0.0),
            "cost_as_cut": table["cost_as_cut"] * count,
            "saving": table["saving_all"],
        }
    )
    return units.groupby("job_id", sort=False).sum().reset_index()


def break_even_map(
    cut_a: str = "diagonal",
    cut_b: str = "centre",
    opening_m2: float = 1.82,
    aspects: Sequence[float] | Floats | None = None,
    reveals_mm: Sequence[float] | Floats | None = None,
    costs: CutCosts = STANDARD_COSTS,
    practice: Practice = STANDARD_PRACTICE,
    reuse_share: float = 1.0,
) -> pd.DataFrame:
    """Compare the cost of two cuts over a grid of shapes and reveal depths.

    Parameters
    ----------
    cut_a, cut_b
        The two cuts.
    opening_m2
        Area of the opening, m², the same all over the grid.
    aspects
        Width over height; by default 121 from 0.4 to 2.5, evenly spaced as ratios.
    reveals_mm
        Reveal depths, mm; by default every 5 mm from 50 to 600.
    costs, practice, reuse_share
        As for `cut_costs`. Four lined sides, sheet 1.5 m wide, lap 100 mm.

    Returns
    -------
    DataFrame
        One row a grid point: `width_over_height`, `reveal_mm`, `width_mm`, `height_mm`,
        `CUT_cost` of both cuts, and `difference` = cost of `cut_a` - cost of `cut_b`.

    Raises
    ------
    AirstatsError
        If a cut is not known or the area is not positive.
    """
    for name, cut in (("cut_a", cut_a), ("cut_b", cut_b)):
        if cut not in CUTS:
            raise AirstatsError(f"{name}: '{cut}' is not known. Use one of {', '.join(CUTS)}.")
    if not 0 < opening_m2 < np.inf:
        raise AirstatsError(f"opening_m2: {opening_m2} will not do. Give a positive area in m².")
    ratio = np.geomspace(0.4, 2.5, 121) if aspects is None else np.asarray(aspects, dtype=float)
    depth = np.arange(50.0, 601, 5) if reveals_mm is None else np.asarray(reveals_mm, dtype=float)
    aspect, reveal = (grid.ravel() for grid in np.meshgrid(ratio, depth))
    grid = pd.DataFrame(
        {
            "width_over_height": aspect,
            "reveal_mm": reveal,
            "width_mm": 1000 * np.sqrt(opening_m2 * aspect),
            "height_mm": 1000 * np.sqrt(opening_m2 / aspect),
        }
    )
    table = cut_costs(grid.assign(sides=4), costs, practice, reuse_share)
    names = list(dict.fromkeys((f"{cut_a}_cost", f"{cut_b}_cost")))
    difference = table[f"{cut_a}_cost"] - table[f"{cut_b}_cost"]
    return grid.join(table[names]).assign(difference=difference)
