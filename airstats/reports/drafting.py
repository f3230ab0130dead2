"""The pen and ruler of the drawings: tones, hatches, words, numbers and dimension lines.

Tones differ enough to be told apart in grey, hatches tell them apart without any colour, and the
colours are safe for colour-blind eyes.
"""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from airstats.geometry.outlines import Outline

INK = "#222222"
# Fill, hatch and words for each kind of surface.
KINDS = {
    "sheet": ("#F1EEE6", None, "Sheet that stays on the wall"),
    "flap": ("#CFE0EC", None, "Flap, folded into the reveal"),
    "spare": ("#FFFFFF", "....", "Cut away and not used here"),
    "open": ("#FFFFFF", None, "Opening"),
    "reused": ("#56B4E9", "////", "Infill from off-cuts"),
    "fresh": ("#C65100", "xxx", "Infill from fresh sheet"),
}


def sheet_of_paper(extent: tuple[float, float, float, float]) -> tuple[Figure, Axes]:
    """Return a figure with room below for legend and note, and axes that keep the scale."""
    left, right, bottom, top = extent
    width = 10.0
    drawing = min(width * (top - bottom) / (right - left), 8.0)
    below = 1.45
    figure = Figure(figsize=(width, drawing + below))
    share = below / (drawing + below)
    axes = figure.add_axes((0.01, share, 0.98, 1 - share))
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_aspect("equal")
    axes.axis("off")
    return figure, axes


def explain(figure: Figure, handles: list[Artist], note: str) -> None:
    """Write legend and note below the drawing."""
    high = float(figure.get_size_inches()[1])
    figure.legend(
        handles=handles, loc="lower center", ncols=4, frameon=False,
        bbox_to_anchor=(0.5, 0.78 / high),
    )  # fmt: skip
    text = textwrap.fill(note, 124)
    figure.text(0.5, 0.08 / high, text, ha="center", va="bottom", fontsize=9)


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Outline:
    """Return the outline of an upright rectangle."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def fill(axes: Axes, outline: Outline, kind: str | None, line: float = 0.9) -> None:
    """Fill an outline in the manner of its kind; without a kind, draw its line only."""
    colour, hatch, _ = KINDS[kind] if kind else ("none", None, "")
    axes.add_patch(Polygon(outline, closed=True, fc=colour, ec=INK, hatch=hatch, lw=line))


def number(axes: Axes, outline: Outline, place: int) -> None:
    """Write the number of a loose piece in the middle of its outline."""
    x, y = outline.mean(axis=0)
    words(axes, float(x), float(y), str(place), weight="bold", boxed=True)


def words(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    weight: str = "normal",
    turn: float = 0,
    boxed: bool = False,
) -> None:
    """Write words centred on a point."""
    box = {"boxstyle": "round,pad=0.2", "fc": "white", "ec": INK, "lw": 0.6} if boxed else None
    axes.text(
        x, y, text, ha="center", va="center", rotation=turn, weight=weight, bbox=box, fontsize=10,
        color=INK,
    )  # fmt: skip


def dimension(
    axes: Axes,
    start: tuple[float, float],
    end: tuple[float, float],
    length: float,
    beside: bool = False,
) -> None:
    """Draw a dimension line with its length in mm on it, or beside it if it is too short."""
    axes.annotate(
        "",
        end,
        start,
        arrowprops={"arrowstyle": "|-|,widthA=0.35,widthB=0.35", "color": INK, "shrinkA": 0,
                    "shrinkB": 0, "lw": 1},
    )  # fmt: skip
    middle = (np.array(start) + end) / 2
    x, y = (end[0], middle[1]) if beside else middle
    axes.text(
        x,
        y,
        f"  {length * 1000:.0f}" if beside else f"{length * 1000:.0f}",
        ha="left" if beside else "center",
        va="center",
        rotation=90 if start[0] == end[0] else 0,
        fontsize=10,
        color=INK,
        bbox=None if beside else {"fc": "white", "ec": "none", "pad": 1.5},
    )
