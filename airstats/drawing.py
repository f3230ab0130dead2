"""Drawings of one opening, and of the break-even between two cuts."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from airstats.drafting import (
    CUT_NAMES,
    INK,
    KINDS,
    dimension,
    fill,
    number,
    rectangle,
    sheet_of_paper,
    words,
)
from airstats.errors import AirstatsError
from airstats.openings import STANDARD_PRACTICE, opening_quantities
from airstats.outlines import OpeningPieces, Outline, Part
from airstats.pieces import opening_pieces
from airstats.practice import Practice


def draw_opening(
    width_mm: float,
    height_mm: float,
    reveal_mm: float,
    sides: int = 4,
    cut_pattern: str = "diagonal",
    practice: Practice = STANDARD_PRACTICE,
) -> Figure:
    """Draw an opening to scale: the cuts in the sheet, and the reveal unfolded beside them.

    Parameters
    ----------
    width_mm, height_mm, reveal_mm, sides, cut_pattern, practice
        As for `opening_pieces`.

    Returns
    -------
    Figure
        Dimensions in mm. Loose pieces have the same number on both sides of the drawing.

    Raises
    ------
    AirstatsError
        As `opening_pieces` does.
    """
    pieces = opening_pieces(width_mm, height_mm, reveal_mm, sides, cut_pattern, practice)
    margin = 0.22 * max(pieces.width_m, pieces.height_m)
    shift = pieces.width_m + pieces.depth_m + 1.6 * margin
    top = pieces.height_m + max(pieces.depth_m, 0.55 * margin)
    extent = (
        -1.2 * margin,
        shift + pieces.width_m + pieces.depth_m + 0.9 * margin,
        -max(pieces.depth_m, margin) - 0.3 * margin,
        top + 0.7 * margin,
    )
    figure, axes = sheet_of_paper(extent)
    _draw_elevation(axes, pieces, margin)
    _draw_reveal(axes, pieces, shift, margin)
    top += 0.35 * margin
    words(axes, pieces.width_m / 2, top, "1  The sheet, laid and cut", weight="bold")
    words(axes, shift + pieces.width_m / 2, top, "2  The reveal, unfolded", weight="bold")
    used = _kinds_used(pieces)
    handles: list[Artist] = [
        Patch(ec=INK, fc=KINDS[k][0], hatch=KINDS[k][1], label=KINDS[k][2]) for k in used
    ]
    handles.append(Line2D([], [], color=INK, lw=2.4, dashes=(4, 1.6), label="Cut"))
    figure.legend(
        handles=handles, loc="lower center", ncols=3, frameon=False, bbox_to_anchor=(0.5, 0.09)
    )
    note = describe_opening(width_mm, height_mm, reveal_mm, sides, cut_pattern, practice)
    figure.text(0.5, 0.02, textwrap.fill(note, 124), ha="center", va="bottom", fontsize=9)
    return figure


def describe_opening(
    width_mm: float,
    height_mm: float,
    reveal_mm: float,
    sides: int = 4,
    cut_pattern: str = "diagonal",
    practice: Practice = STANDARD_PRACTICE,
) -> str:
    """Say in words what `draw_opening` shows; it serves as the text alternative too.

    Parameters
    ----------
    width_mm, height_mm, reveal_mm, sides, cut_pattern, practice
        As for `opening_pieces`.
    """
    row = {
        "width_mm": width_mm,
        "height_mm": height_mm,
        "reveal_mm": reveal_mm,
        "sides": sides,
        "cut_pattern": cut_pattern,
    }
    pieces = opening_pieces(width_mm, height_mm, reveal_mm, sides, cut_pattern, practice)
    level = cut_pattern == "centre" and pieces.flaps[-1].face == "head"
    name = "slit level" if level else CUT_NAMES[cut_pattern]
    one = opening_quantities(pd.DataFrame([row]), practice).iloc[0]
    return (
        f"Opening {width_mm:g} × {height_mm:g} mm, reveal {reveal_mm:g} mm, {sides} sides, "
        f"{name}. Reveal {one['reveal_m2']:.2f} m²: flaps cover "
        f"{one['covered_m2']:.2f} m². Loose pieces, with returns: {one['fillable_m2']:.2f} m² "
        f"from off-cuts, {one['fresh_m2']:.2f} m² fresh sheet. {one['pieces']:.0f} loose pieces, "
        f"{one['joint_m']:.1f} m of joints to tape."
    )


def draw_cut_map(grid: pd.DataFrame) -> Figure:
    """Draw where one cut is cheaper than the other, with the break-even line.

    Parameters
    ----------
    grid
        What `break_even_map` returns.

    Raises
    ------
    AirstatsError
        If the grid does not hold the costs of two different cuts.
    """
    cuts = _two_cuts(grid)
    table = grid.pivot_table("difference", "reveal_mm", "width_over_height")
    area = float((grid["width_mm"] * grid["height_mm"]).iloc[0] / 1e6)
    figure = Figure(figsize=(8, 5.6), layout="constrained")
    axes = figure.add_subplot()
    _fill_map(axes, table, cuts)
    axes.set_xscale("log")
    ticks = [0.4, 0.5, 0.67, 0.8, 1.0, 1.25, 1.5, 2.0, 2.5]
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.set_xlim(grid["width_over_height"].min(), grid["width_over_height"].max())
    axes.set_xlabel("Width ÷ height of the opening")
    axes.set_ylabel("Reveal depth, mm")
    axes.set_title(
        f"Which cut is cheaper for an opening of {area:.2f} m²\n"
        "Thick line: no difference. Thin lines: difference for one opening, in your currency.\n"
        "Steps: where a piece no longer fits an off-cut",
        loc="left",
        fontsize=11,
    )
    return figure


def describe_cut_map(grid: pd.DataFrame) -> str:
    """Say in words what `draw_cut_map` shows; it serves as the text alternative too.

    Parameters
    ----------
    grid
        What `break_even_map` returns.
    """
    first, second = _two_cuts(grid)
    share = float((grid["difference"] < 0).mean())
    low, high = grid["difference"].min(), grid["difference"].max()
    return (
        f"Of {len(grid)} shapes and depths, {CUT_NAMES[first]} is cheaper than "
        f"{CUT_NAMES[second]} in {share:.0%}. The difference runs from {low:.2f} to {high:.2f} "
        "for one opening, in your currency."
    )


def _two_cuts(grid: pd.DataFrame) -> tuple[str, str]:
    cuts = [name.removesuffix("_cost") for name in grid.columns if name.endswith("_cost")]
    if len(cuts) != 2:
        raise AirstatsError(
            "grid: costs of two different cuts are needed. Make it with break_even_map."
        )
    return cuts[0], cuts[1]


def _fill_map(axes: Axes, table: pd.DataFrame, cuts: Sequence[str]) -> None:
    x, y, z = table.columns.to_numpy(), table.index.to_numpy(), table.to_numpy()
    levels = [min(z.min(), 0) - 1, 0, max(z.max(), 0) + 1]
    colours = [KINDS["flap"][0], "#F5D3A6"]
    axes.contourf(x, y, z, levels, colors=colours, hatches=["//", None])
    lines = axes.contour(x, y, np.abs(z), 6, colors=INK, linewidths=0.6)
    axes.clabel(lines, fontsize=8, fmt="%g")
    if z.min() < 0 < z.max():
        axes.contour(x, y, z, [0.0], colors=INK, linewidths=2.8)
    for part, cut in ((z < 0, cuts[0]), (z > 0, cuts[1])):
        if part.any():
            across, up = _middle(x, y, part)
            words(axes, across, up, f"{CUT_NAMES[cut]}\nis cheaper", weight="bold", boxed=True)


def _middle(x: Outline, y: Outline, part: np.ndarray) -> tuple[float, float]:
    """Return the grid point of a part of the map that lies nearest to the part's middle."""
    rows, columns = np.nonzero(part)
    far = ((rows - rows.mean()) / len(y)) ** 2 + ((columns - columns.mean()) / len(x)) ** 2
    nearest = int(np.argmin(far))
    return float(x[columns[nearest]]), float(y[rows[nearest]])


def _draw_elevation(axes: Axes, pieces: OpeningPieces, margin: float) -> None:
    """Draw the laid sheet with its cut lines, and where loose pieces are cut from off-cuts."""
    w, h, edge = pieces.width_m, pieces.height_m, 0.55 * margin
    fill(axes, rectangle(-edge, -edge, w + edge, h + edge), "sheet", line=0)
    fill(axes, rectangle(0, 0, w, h), "spare" if pieces.flaps else "open")
    for part in pieces.flaps:
        fill(axes, part.outline, "flap")
    for place, infill in enumerate(pieces.infills, start=1):
        for outline in infill.placed:
            fill(axes, outline, "reused")
            number(axes, outline, place)
    for line in pieces.cut_lines:
        axes.plot(*line.T, color=INK, lw=2.4, dashes=(4, 1.6))
    if not pieces.flaps:
        words(axes, w / 2, h / 2, "no sheet laid\nacross the opening")
    dimension(axes, (0, -edge - 0.3 * margin), (w, -edge - 0.3 * margin), w)
    dimension(axes, (-edge - 0.3 * margin, 0), (-edge - 0.3 * margin, h), h)


def _draw_reveal(axes: Axes, pieces: OpeningPieces, shift: float, margin: float) -> None:
    """Draw the faces of the reveal round the opening, with what covers each part of them."""
    w, h, d = pieces.width_m, pieces.height_m, pieces.depth_m
    aside = np.array([shift, 0.0])
    for part in pieces.covered:
        fill(axes, part.outline + aside, "flap")
    for place, infill in enumerate(pieces.infills, start=1):
        for bare in infill.bare:
            outline = pieces.bare[bare].outline + aside
            fill(axes, outline, "fresh" if infill.is_fresh else "reused")
            number(axes, outline, place)
    for face in pieces.faces:
        fill(axes, face.outline + aside, None, line=1.6)
        _face_name(axes, face, shift, w, h)
    words(axes, shift + w / 2, h / 2, "opening")
    lined_foot = any(face.face == "foot" for face in pieces.faces)
    if not lined_foot:
        words(axes, shift + w / 2, -0.3 * margin, "threshold, not lined")
    level = -0.35 * margin
    dimension(axes, (shift + w, level), (shift + w + d, level), d, beside=d < margin)


def _face_name(axes: Axes, face: Part, shift: float, width: float, height: float) -> None:
    """Write the name of a face inside the opening, along the edge of the face."""
    inset = 0.07 * min(width, height)
    x, y, turn = {
        "head": (width / 2, height - inset, 0),
        "foot": (width / 2, inset, 0),
        "left jamb": (inset, height / 2, 90),
        "right jamb": (width - inset, height / 2, 90),
    }[face.face]
    words(axes, shift + x, y, face.face.removeprefix("left ").removeprefix("right "), turn=turn)


def _kinds_used(pieces: OpeningPieces) -> Iterable[str]:
    shown = {
        "sheet": True,
        "flap": bool(pieces.flaps),
        "spare": bool(pieces.offcuts or pieces.trimmings),
        "reused": any(not infill.is_fresh for infill in pieces.infills),
        "fresh": any(infill.is_fresh for infill in pieces.infills),
    }
    return [kind for kind, yes in shown.items() if yes]
