"""Geometry of one opening: what a cut covers, what stays bare, what off-cuts can fill.

The sheet is laid straight across the opening, cut, and folded into the reveal; or it stops at the
opening, and every face of the reveal gets a strip of its own. The cuts stand in `cut_patterns`, the
rules for loose pieces in `cutting_rules`. We count material; we do not design the airtight layer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS, unknown_cut
from airstats.geometry.cutting_rules import STANDARD_PRACTICE, CutResult, Floats, Practice, Sizes
from airstats.geometry.outlines import FACES, Frame, OpeningPieces, Part

MM2_IN_M2 = 1e6

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
        If a cut pattern is not known, its entry gives no areas, or a roll is not wider than the
        return.

    Notes
    -----
    Where the sheet crosses the opening covered + offcut + trimmed = width·height, and bound =
    max(0, reveal - width·height); else no sheet is laid there, and bound is the reveal itself.
    Covered and bare area change steadily with depth; fillable and fresh area jump where a piece
    stops fitting, and with strips where a piece more is needed.
    """
    columns = {name: np.empty(len(openings)) for name in COLUMNS}
    for _, rows, part in quantities_by_cut(openings, practice, roll_width_m):
        for name in COLUMNS:
            columns[name][rows] = part[name]
    return pd.DataFrame(columns, index=openings.index)


def quantities_by_cut(
    openings: pd.DataFrame,
    practice: Practice = STANDARD_PRACTICE,
    roll_width_m: float | Floats = 1.5,
) -> Iterator[tuple[str, np.ndarray, dict[str, Floats]]]:
    """Yield each cut, the places of its openings, and their `COLUMNS`.

    Parameters
    ----------
    openings, practice, roll_width_m
        As for `opening_quantities`.
    """
    sizes, nothing = _sizes(openings, practice, roll_width_m), dict.fromkeys(COLUMNS, np.empty(0))
    done = 0
    for cut in CUTS:
        rows = np.flatnonzero((openings["cut_pattern"] == cut).to_numpy(dtype=bool))
        done += len(rows)
        found = _cut_quantities(_rows(sizes, rows), cut, practice) if len(rows) else nothing
        yield cut, rows, found
    if done < len(openings):
        raise AirstatsError(_unknown_cut(openings["cut_pattern"]))


def _cut_quantities(sizes: Sizes, cut: str, practice: Practice) -> dict[str, Floats]:
    """Work out the columns of `opening_quantities` for openings that are all cut one way."""
    result = _checked(CUTS[cut].areas(sizes, practice), cut, sizes)
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


def _checked(result: CutResult, cut: str, sizes: Sizes) -> CutResult:
    """Refuse areas that an entry works out wrong: a number is missing, or below nothing."""
    for name in [field.name for field in fields(CutResult)]:
        value = np.asarray(getattr(result, name, np.nan))
        if value.shape != sizes.width.shape or not (np.isfinite(value) & (value >= 0)).all():
            raise AirstatsError(
                f'the cut "{cut}": its areas give no `{name}` of 0 or more for every opening; mend'
                " its entry."
            )
    return result


def _unknown_cut(cuts: pd.Series) -> str:
    wrong = cuts[~cuts.isin(list(CUTS))]
    return unknown_cut(wrong.iloc[0]).replace(":", f", row {wrong.index[0]}:", 1)


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


@dataclass(frozen=True)
class Opening:
    """One opening and how it is cut.

    Parameters
    ----------
    width_mm, height_mm, reveal_mm
        Clear opening and reveal depth, mm.
    sides
        4, or 3 for a door without a lined threshold.
    cut_pattern
        A name of `CUTS`.
    practice
        How pieces are cut.

    Raises
    ------
    AirstatsError
        If the cut or the number of sides is not known, or a length is not positive.
    """

    width_mm: float
    height_mm: float
    reveal_mm: float
    sides: int = 4
    cut_pattern: str = "diagonal"
    practice: Practice = STANDARD_PRACTICE

    def __post_init__(self) -> None:
        for name in ("width_mm", "height_mm", "reveal_mm"):
            value = getattr(self, name)
            if not 0 < value < np.inf:
                raise AirstatsError(f"{name}: {value} will not do. Give a positive length in mm.")
        if self.sides not in (3, 4):
            raise AirstatsError(
                f"sides: {self.sides} will not do. Give 4, or 3 for an unlined threshold."
            )
        if self.cut_pattern not in CUTS:
            raise AirstatsError(unknown_cut(self.cut_pattern))


def opening_pieces(opening: Opening) -> OpeningPieces | None:
    """Outline the flaps, bare parts, off-cuts and infill pieces of one opening, in metres.

    None where its cut has no outlines.
    """
    lined = FACES if opening.sides == 4 else tuple(face for face in FACES if face != "foot")
    frame = Frame(
        float(opening.width_mm), float(opening.height_mm), float(opening.reveal_mm), lined
    )
    outlines = CUTS[opening.cut_pattern].outlines
    return _in_metres(outlines(frame, opening.practice)) if outlines else None


def _in_metres(pieces: OpeningPieces) -> OpeningPieces:
    def scaled(parts: tuple[Part, ...]) -> tuple[Part, ...]:
        return tuple(Part(part.face, part.outline / 1000) for part in parts)

    return replace(
        pieces,
        width_m=pieces.width_m / 1000,
        height_m=pieces.height_m / 1000,
        depth_m=pieces.depth_m / 1000,
        cut_lines=tuple(line / 1000 for line in pieces.cut_lines),
        flaps=scaled(pieces.flaps),
        faces=scaled(pieces.faces),
        covered=scaled(pieces.covered),
        bare=scaled(pieces.bare),
        offcuts=scaled(pieces.offcuts),
        trimmings=scaled(pieces.trimmings),
        infills=tuple(
            replace(infill, placed=tuple(outline / 1000 for outline in infill.placed))
            for infill in pieces.infills
        ),
    )
