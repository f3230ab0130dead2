"""The house style: sizes on paper, one accent and three greys, type, and marks with their words.

A picture is drawn at the size at which it stands on A4, so that 9 points are 9 points.
"""

from __future__ import annotations

from typing import Any

import matplotlib
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

FULL, HALF = 180 / 25.4, 87 / 25.4
"""Widths of a picture, inches: the text's, or half of it with a gap of 6 mm between two."""
ACCENT = "#9C4412"
"""Brick: what the reader is to look at; nothing else has a colour."""
DARK, MID, LIGHT = "#595959", "#8A8A8A", "#D9D9D9"
"""Words beside the marks; what the accent is compared with; bands and lines behind."""
INK = "#222222"
POINTS = 9.0
"""The size of all type in a picture: the least that is easily read on paper."""
BAR: dict[str, Any] = {"edgecolor": "white", "linewidth": 0.8}
"""The edge of every bar, which is the colour of its hatch too."""
_THIN = {f"{axis}tick.{part}": 0.6 for axis in "xy" for part in ("major.width", "minor.width")}
_TICKS = {f"{axis}tick.{part}": DARK for axis in "xy" for part in ("color", "labelcolor")}
RC: dict[Any, Any] = {
    # The face that the PDF pages are set in, too: it comes with matplotlib, so that one lock file
    # gives the same bytes on every machine.
    "font.family": ["DejaVu Sans"],
    "font.size": POINTS,
    "axes.titlesize": POINTS,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 5.0,
    "axes.labelsize": POINTS,
    "axes.labelcolor": DARK,
    "axes.labelpad": 4.0,
    "figure.labelsize": POINTS,
    "figure.titlesize": POINTS,
    "legend.fontsize": POINTS,
    "legend.frameon": False,
    "text.color": INK,
    # A name such as "$x$" is a name and no formula.
    "text.parse_math": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": MID,
    "axes.linewidth": 0.6,
    "axes.axisbelow": True,
    "axes.prop_cycle": f"cycler(color={[ACCENT, MID, INK]})",
    "grid.color": LIGHT,
    "grid.linewidth": 0.5,
    "xtick.labelsize": POINTS,
    "ytick.labelsize": POINTS,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "lines.linewidth": 1.4,
    "lines.markersize": 5.0,
    "hatch.linewidth": 0.7,
    "figure.constrained_layout.h_pad": 0.03,
    "figure.constrained_layout.w_pad": 0.05,
    **_THIN,
    **_TICKS,
}

_ASIDE = {
    "right": ((4, 0), "left", "center"),
    "left": ((-4, 0), "right", "center"),
    "above": ((0, 3), "center", "bottom"),
    "below": ((0, -3), "center", "top"),
}


def use_house_style() -> None:
    """Draw every picture from now on in the house style."""
    matplotlib.rcParams.update(RC)


def label_mark(axes: Axes, x: Any, y: Any, text: str, side: str = "right", **look: Any) -> None:
    """Write words beside a mark, on white, so that no line runs through them.

    Parameters
    ----------
    axes : Axes
        To write on.
    x, y
        The mark, in the units of the axes.
    text : str
        The words.
    side : str
        Where they stand: right, left, above or below.
    **look
        Of the text: `color`, `weight`.
    """
    aside, across, up = _ASIDE[side]
    axes.annotate(
        text, (x, y), aside, textcoords="offset points", ha=across, va=up, annotation_clip=False,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6}, **look,
    )  # fmt: skip


def label_row(axes: Axes, y: Any, text: str) -> None:
    """Write a figure at the right edge, level with its bar: figures of all bars make a column.

    Parameters
    ----------
    axes, y, text
        As for `label_mark`.
    """
    axes.annotate(
        text, (1, y), (4, 0), axes.get_yaxis_transform(), textcoords="offset points", ha="left",
        va="center", annotation_clip=False,
    )  # fmt: skip


def whiskers(
    axes: Axes,
    middle: ArrayLike,
    places: ArrayLike,
    reach: ArrayLike,
    upright: bool = False,
    colour: str = INK,
) -> None:
    """Draw an interval across each mark; none where it is not known.

    Parameters
    ----------
    axes : Axes
        To draw on.
    middle, places : array_like
        The marks: the value, and the place on the other axis.
    reach : array_like
        Half the interval; or (2, n), how far it reaches below and above.
    upright : bool
        Whether the values are on the upright axis.
    colour : str
        Of the lines.
    """
    look: dict[str, Any] = {"fmt": "none", "ecolor": colour, "elinewidth": 1.0, "capsize": 2.0}
    if upright:
        axes.errorbar(places, middle, yerr=reach, **look)
    else:
        axes.errorbar(middle, places, xerr=reach, **look)


def zero_line(axes: Axes, upright: bool = True) -> None:
    """Draw the line of nothing, from which the marks set out."""
    (axes.axvline if upright else axes.axhline)(0, color=INK, linewidth=0.8)
