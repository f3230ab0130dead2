"""The drawing of one opening, to scale: the cuts in the sheet, and the reveal unfolded.

Tones differ enough to be told apart in grey, hatches tell them apart without any colour, and the
colours are safe for colour-blind eyes.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon

from airstats.base.number_text import counted, listed
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.outlines import Infill, OpeningPieces, Outline, Part
from airstats.reports.house_style import ACCENT, FULL, INK, LIGHT, MID
from airstats.takeoff.opening_quantities import Opening, opening_pieces, opening_quantities

NO_DRAWING = "There is no drawing of this cut"
WIDE = 1.7
"""Width over height beyond which the two drawings stand one below the other."""
# Fill, hatch and words for each kind of surface.
KINDS = {
    "sheet": ("#F0F0F0", None, "Sheet that stays on the wall"),
    "flap": (LIGHT, None, "Flap, folded into the reveal"),
    "spare": ("#FFFFFF", "....", "Cut away and not used here"),
    "open": ("#FFFFFF", None, "Opening"),
    "reused": (MID, "////", "Infill from off-cuts"),
    "fresh": (ACCENT, None, "Infill from fresh sheet"),
}


def draw_opening(opening: Opening) -> Figure:
    """Draw an opening to scale: the cuts in the sheet, and the reveal unfolded.

    Dimensions are in mm. Loose pieces have the same number in both drawings. The reveal stands
    beside the sheet, below it where the opening is wide. Where the cut has no outlines, the paper
    says so.
    """
    pieces = opening_pieces(opening)
    if pieces is None:
        return _no_drawing(opening)
    w, h, d = pieces.width_m, pieces.height_m, pieces.depth_m
    margin = 0.22 * max(min(w, 1.8 * h), h)
    above, below = max(d, 0.55 * margin), max(d, margin)
    wide = w > WIDE * h
    beside = 0.0 if wide else w + d + 1.6 * margin
    under = h + above + below + 1.2 * margin if wide else 0.0
    extent = (
        -max(d, 1.2 * margin),
        beside + w + d + 0.9 * margin,
        -under - below - 0.3 * margin,
        h + above + 0.7 * margin,
    )
    figure, axes = sheet_of_paper(extent)
    draw_elevation(axes, pieces, margin)
    _draw_reveal(axes, pieces, np.array([beside, -under]), margin)
    top = h + above + 0.35 * margin
    words(axes, w / 2, top, "1  The sheet, laid and cut", weight="bold")
    words(axes, beside + w / 2, top - under, "2  The reveal, unfolded", weight="bold")
    _explain(figure, legend_key([pieces]), describe_opening(opening))
    return figure


def _no_drawing(opening: Opening) -> Figure:
    figure, axes = sheet_of_paper((0.0, 1.0, 0.0, 1.0))
    words(axes, 0.5, 0.5, f"{NO_DRAWING}:\n{CUTS[opening.cut_pattern].words}")
    _explain(figure, [], describe_opening(opening))
    return figure


def describe_opening(opening: Opening) -> str:
    """Say in words what `draw_opening` shows; it serves as the text alternative too."""
    pieces = opening_pieces(opening)
    way = CUTS[opening.cut_pattern].in_words(pieces.way if pieces else "")
    to_cut = "; ".join(cut_list(pieces)) if pieces else f"not told, {NO_DRAWING.casefold()}"
    row = pd.DataFrame([vars(opening)])
    one = opening_quantities(row, opening.practice).iloc[0]
    size = f"{opening.width_mm:g} × {opening.height_mm:g} mm"
    return (
        f"Opening {size}, reveal {opening.reveal_mm:g} mm, {opening.sides} sides, "
        f"{way}. Reveal {one['reveal_m2']:.2f} m²: flaps cover "
        f"{one['covered_m2']:.2f} m². Loose pieces, with returns: {one['fillable_m2']:.2f} m² "
        f"from off-cuts, {one['fresh_m2']:.2f} m² fresh sheet. "
        f"{counted(int(one['pieces']), 'loose piece')}, {one['joint_m']:.1f} m of joints to tape. "
        f"To cut, with returns: {to_cut}."
    )


def cut_list(pieces: OpeningPieces) -> list[str]:
    """Say the size of each loose piece in mm, pieces alike together."""
    alike: dict[tuple[int, int, bool, bool], list[str]] = {}
    for place, infill in enumerate(pieces.infills, start=1):
        length, deep = (round(side) for side in infill.size_mm)
        two = len(infill.placed) == 2
        corner = infill.triangular
        alike.setdefault((length, deep, corner, two), []).append(str(place))
    return [
        f"{listed(places)}: "
        + ("right-angled, legs " if corner else "")
        + f"{length}\u00a0×\u00a0{deep}\u00a0mm{' in two parts' if two else ''}"
        for (length, deep, corner, two), places in alike.items()
    ]


def draw_elevation(
    axes: Axes, pieces: OpeningPieces, margin: float, dimensions: bool = True
) -> None:
    """Draw the laid sheet with its cut lines, and where loose pieces are cut from off-cuts.

    Parameters
    ----------
    axes : Axes
        In m.
    pieces : OpeningPieces
        The opening, cut.
    margin : float
        Room for dimensions round the opening, m; the sheet takes about half of it.
    dimensions : bool
        Whether they are drawn.
    """
    w, h, edge = pieces.width_m, pieces.height_m, 0.55 * margin
    _fill(axes, _rectangle(-edge, -edge, w + edge, h + edge), "sheet", line=0)
    _fill(axes, _rectangle(0, 0, w, h), "spare" if pieces.flaps else "open")
    for part in pieces.flaps:
        _fill(axes, part.outline, "flap")
    for place, infill in enumerate(pieces.infills, start=1):
        for outline in infill.placed:
            _fill(axes, outline, "reused")
            _number(axes, outline, place)
    for line in pieces.cut_lines:
        axes.plot(*line.T, color=INK, lw=2.4, dashes=(4, 1.6))
    if not pieces.flaps:
        words(axes, w / 2, h / 2, "no sheet laid\nacross the opening" if dimensions else "no sheet")
    if not dimensions:
        return
    _dimension(axes, (0, -edge - 0.3 * margin), (w, -edge - 0.3 * margin), w)
    _dimension(axes, (-edge - 0.3 * margin, 0), (-edge - 0.3 * margin, h), h)


def _draw_reveal(axes: Axes, pieces: OpeningPieces, aside: Outline, margin: float) -> None:
    """Draw the faces of the reveal round the opening, with what covers each part of them."""
    w, h, d = pieces.width_m, pieces.height_m, pieces.depth_m
    x, y = aside
    for part in pieces.covered:
        _fill(axes, part.outline + aside, "flap")
    for place, infill in enumerate(pieces.infills, start=1):
        for bare in infill.bare:
            outline = pieces.bare[bare].outline + aside
            _fill(axes, outline, "fresh" if infill.is_fresh else "reused")
            if len(infill.placed) == 2 and not infill.triangular:
                axes.plot(*_joint(infill, outline).T, color=INK, lw=1.6)
            _number(axes, outline, place)
    for face in pieces.faces:
        _fill(axes, face.outline + aside, None, line=1.6)
        _face_name(axes, face, aside, w, h)
    words(axes, x + w / 2, y + h / 2, "opening")
    if not any(face.face == "foot" for face in pieces.faces):
        words(axes, x + w / 2, y - 0.3 * margin, "threshold, not lined")
    level = y - 0.35 * margin
    _dimension(axes, (x + w, level), (x + w + d, level), d, beside=d < margin)


def _joint(infill: Infill, outline: Outline) -> Outline:
    """Return the line where both parts of a piece meet on its face."""
    low, size = outline.min(axis=0), np.ptp(outline, axis=0)
    along = int(size[1] > size[0])
    parts = [np.sort(np.ptp(part, axis=0)) for part in infill.placed]
    deep = infill.size_mm[1] / 1000
    lengths = [float(np.delete(part, np.argmin(np.abs(part - deep)))[0]) for part in parts]
    narrow = all(np.abs(part - deep).min() > 1e-9 for part in parts)
    axis, share = (1 - along, 0.5) if narrow else (along, lengths[0] / sum(lengths))
    start, end = low.copy(), low + size
    start[axis] = end[axis] = low[axis] + share * size[axis]
    return np.array([start, end])


def _face_name(axes: Axes, face: Part, aside: Outline, width: float, height: float) -> None:
    """Write the name of a face inside the opening, along the edge of the face."""
    inset = 0.07 * min(width, height)
    x, y, turn = {
        "head": (width / 2, height - inset, 0),
        "foot": (width / 2, inset, 0),
        "left jamb": (inset, height / 2, 90),
        "right jamb": (width - inset, height / 2, 90),
    }[face.face]
    name = face.face.removeprefix("left ").removeprefix("right ")
    words(axes, aside[0] + x, aside[1] + y, name, turn=turn)


def legend_key(drawn: Sequence[OpeningPieces], reveal: bool = True) -> list[Artist]:
    """Return what a legend explains: only what is drawn, with or without the reveals."""
    infills = [infill for pieces in drawn for infill in pieces.infills]
    spare = any(pieces.offcuts or pieces.trimmings for pieces in drawn)
    shown = {
        "sheet": True,
        "flap": any(pieces.flaps for pieces in drawn),
        "spare": spare,
        "reused": any(not infill.is_fresh for infill in infills),
        "fresh": reveal and any(infill.is_fresh for infill in infills),
    }
    handles: list[Artist] = [
        Patch(ec=INK, fc=KINDS[kind][0], hatch=KINDS[kind][1], label=KINDS[kind][2])
        for kind, yes in shown.items()
        if yes
    ]
    handles.append(Line2D([], [], color=INK, lw=2.4, dashes=(4, 1.6), label="Cut in the sheet"))
    if spare:
        handles.append(Line2D([], [], color=INK, lw=0.9, label="Trimmed after folding"))
    return handles


def sheet_of_paper(extent: tuple[float, float, float, float]) -> tuple[Figure, Axes]:
    """Return a figure with room below for legend and note, and axes that keep the scale."""
    left, right, bottom, top = extent
    width = FULL
    drawing = min(width * (top - bottom) / (right - left), 7.0)
    below = 1.7
    figure = Figure(figsize=(width, drawing + below))
    share = below / (drawing + below)
    axes = figure.add_axes((0.01, share, 0.98, 1 - share))
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_aspect("equal")
    axes.axis("off")
    return figure, axes


def _explain(figure: Figure, handles: list[Artist], note: str) -> None:
    """Write legend and note below the drawing."""
    high = float(figure.get_size_inches()[1])
    place: dict[str, Any] = {"loc": "lower center", "bbox_to_anchor": (0.5, 1.0 / high)}
    figure.legend(handles=handles, ncols=3, **place)
    text = textwrap.fill(note, 92)
    figure.text(0.5, 0.08 / high, text, ha="center", va="bottom")


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> Outline:
    """Return the outline of an upright rectangle."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _fill(axes: Axes, outline: Outline, kind: str | None, line: float = 0.9) -> None:
    """Fill an outline in the manner of its kind; without a kind, draw its line only."""
    colour, hatch, _ = KINDS[kind] if kind else ("none", None, "")
    axes.add_patch(Polygon(outline, closed=True, fc=colour, ec=INK, hatch=hatch, lw=line))


def _number(axes: Axes, outline: Outline, place: int) -> None:
    """Write the number of a loose piece in the middle of its outline."""
    x, y = map(float, outline.mean(axis=0))
    words(axes, x, y, str(place), weight="bold", boxed=True)


def words(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    weight: str = "normal",
    turn: float = 0,
    boxed: bool = False,
) -> None:
    """Write words centred on a point.

    Parameters
    ----------
    axes : Axes
        To write on.
    x, y : float
        The point, in the units of the axes.
    text, weight : str
        What to write; "normal" or "bold".
    turn : float
        Degrees, against the clock.
    boxed : bool
        Whether a box is drawn round them.
    """
    box = {"boxstyle": "round,pad=0.2", "fc": "white", "ec": INK, "lw": 0.6} if boxed else None
    look: dict[str, Any] = {"ha": "center", "va": "center", "color": INK}
    axes.text(x, y, text, rotation=turn, weight=weight, bbox=box, **look)


def _dimension(
    axes: Axes,
    start: tuple[float, float],
    end: tuple[float, float],
    length: float,
    beside: bool = False,
) -> None:
    """Draw a dimension line with its length in mm on it, or beside it if it is too short."""
    bar: dict[str, Any] = {"arrowstyle": "|-|,widthA=0.35,widthB=0.35", "color": INK, "lw": 1}
    axes.annotate("", end, start, arrowprops=bar | {"shrinkA": 0, "shrinkB": 0})
    x, y = (np.array(start) + end) / 2
    text, turn = f"{length * 1000:.0f}", 90 if start[0] == end[0] else 0
    look: dict[str, Any] = {"va": "center", "rotation": turn, "color": INK}
    if beside:
        axes.text(end[0], y, f"  {text}", ha="left", **look)
    else:
        axes.text(x, y, text, ha="center", bbox={"fc": "white", "ec": "none", "pad": 1.5}, **look)
