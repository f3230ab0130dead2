"""Geometry of one opening: what a cut covers, what stays bare, what off-cuts can fill.

The sheet is laid straight across the opening, cut, and folded into the reveal. `diagonal` leaves
four triangular flaps, `centre` two leaves. With `lined` the sheet stops at the opening and every
face of the reveal gets a strip of its own. The rules for the loose pieces stand in `practice`.
We count material; we do not design the airtight layer.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.cuts import CUTS, CUTTERS
from airstats.errors import AirstatsError
from airstats.offcuts import Floats
from airstats.practice import Practice, Sizes

__all__ = [
    "COLUMNS",
    "CUTS",
    "STANDARD_PRACTICE",
    "Practice",
    "cut_quantities",
    "opening_quantities",
]

MM2_IN_M2 = 1e6
STANDARD_PRACTICE = Practice()

COLUMNS = (
    "reveal_m2",
    "opening_m2",
    "covered_m2",
    "covered_jambs_m2",
    "covered_head_m2",
    "covered_foot_m2",
    "bare_m2",
    "needed_m2",
    "fillable_m2",
    "fresh_m2",
    "offcut_m2",
    "trimmed_m2",
    "joint_m",
    "pieces",
    "bound_m2",
    "over_bound_m2",
)


def opening_quantities(
    openings: pd.DataFrame,
    practice: Practice = STANDARD_PRACTICE,
    roll_width_m: float | Floats = 1.5,
) -> pd.DataFrame:
    """Sheet, off-cuts, joints and pieces of each opening, for one unit.

    Parameters
    ----------
    openings
        Columns `width_mm`, `height_mm`, `reveal_mm`, `sides` (3 or 4) and `cut_pattern`, checked.
    practice
        How pieces are cut.
    roll_width_m
        Width of the sheet, m; one number, or one a row.

    Returns
    -------
    DataFrame
        Same index, one row an opening, not multiplied by any count. Areas in m²:
        `reveal_m2`, `opening_m2`; `covered_m2` by folded flaps, of it `covered_jambs_m2`,
        `covered_head_m2`, `covered_foot_m2`; `bare_m2` = reveal - covered; `needed_m2` sheet for
        all loose pieces with returns; `fillable_m2` the part of it that off-cuts supply;
        `fresh_m2` the rest; `offcut_m2` and `trimmed_m2` cut away, large and small; `bound_m2`
        the limit that no cut can beat; `over_bound_m2` fresh above it. `joint_m`: joints to tape
        in m, each edge of a loose piece that is not at the frame (between pieces, to flaps and to
        the laid sheet). `pieces`: loose pieces to handle.

    Raises
    ------
    AirstatsError
        If a cut pattern is not known, or a roll is not wider than the return.

    Notes
    -----
    covered + offcut + trimmed = width·height for `diagonal` and `centre`; for `lined` no sheet is
    laid across the opening. bound = max(0, reveal - width·height), for `lined` the reveal itself.
    Covered and bare area change steadily with depth; fillable and fresh area jump where a piece
    stops fitting, and `centre` and `lined` where a piece more is needed.
    """
    sizes = _sizes(openings, practice, roll_width_m)
    columns = {name: np.empty(len(openings)) for name in COLUMNS}
    done = 0
    for cut in CUTS:
        rows = np.flatnonzero((openings["cut_pattern"] == cut).to_numpy(dtype=bool))
        done += len(rows)
        if len(rows):
            part = cut_quantities(_rows(sizes, rows), cut, practice)
            for name in COLUMNS:
                columns[name][rows] = part[name]
    if done < len(openings):
        raise AirstatsError(_unknown_cut(openings["cut_pattern"]))
    return pd.DataFrame(columns, index=openings.index)


def cut_quantities(sizes: Sizes, cut: str, practice: Practice) -> dict[str, Floats]:
    """Work out the columns of `opening_quantities` for openings that are all cut one way."""
    result = CUTTERS[cut](sizes, practice)
    reveal = (2 * sizes.height + (1 + sizes.foot) * sizes.width) * sizes.depth
    area = sizes.width * sizes.height
    covered = result.jambs + result.head + result.under
    fresh = result.needed - result.fillable
    bound = np.maximum(reveal - result.laid, 0)
    areas = {
        "reveal_m2": reveal,
        "opening_m2": area,
        "covered_m2": covered,
        "covered_jambs_m2": result.jambs,
        "covered_head_m2": result.head,
        "covered_foot_m2": result.under,
        "bare_m2": np.maximum(reveal - covered, 0),
        "needed_m2": result.needed,
        "fillable_m2": result.fillable,
        "fresh_m2": fresh,
        "offcut_m2": result.offcut,
        "trimmed_m2": np.maximum(result.laid - covered - result.offcut, 0),
        "bound_m2": bound,
        "over_bound_m2": np.maximum(fresh - bound, 0),
    }
    in_metres = {name: value / MM2_IN_M2 for name, value in areas.items()}
    return in_metres | {"joint_m": result.joint / 1000, "pieces": result.pieces}


def _unknown_cut(cuts: pd.Series) -> str:
    wrong = cuts[~cuts.isin(CUTS)]
    return (
        f"cut_pattern, row {wrong.index[0]}: '{wrong.iloc[0]}' is not known. "
        f"Use one of {', '.join(CUTS)}."
    )


def _sizes(openings: pd.DataFrame, practice: Practice, roll_width_m: float | Floats) -> Sizes:
    roll = np.broadcast_to(np.asarray(roll_width_m, dtype=float) * 1000, len(openings))
    if np.any(roll <= practice.return_mm):
        raise AirstatsError(
            f"roll_width_m: {roll.min() / 1000:g} m is not wider than the return of "
            f"{practice.return_mm:g} mm. Check the width of the roll."
        )
    width, height, depth = (
        openings[name].to_numpy(dtype=float) for name in ("width_mm", "height_mm", "reveal_mm")
    )
    foot = np.where(openings["sides"].to_numpy(dtype=float) == 3, 0.0, 1.0)
    return Sizes(width, height, depth, foot, roll)


def _rows(sizes: Sizes, rows: np.ndarray) -> Sizes:
    return Sizes(
        sizes.width[rows],
        sizes.height[rows],
        sizes.depth[rows],
        sizes.foot[rows],
        sizes.roll[rows],
    )
