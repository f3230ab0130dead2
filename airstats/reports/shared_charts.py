"""What every picture shares: its paper and grid, and colours safe for colour-blind eyes."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

BLUE, ORANGE, GREY, INK = "#0072B2", "#E69F00", "#CCCCCC", "#222222"
WIDTH = 8.4
BAR: dict[str, Any] = {"edgecolor": INK, "linewidth": 0.6}
"""The edge of every bar."""


def paper(height: float) -> tuple[Figure, Axes]:
    """Return a figure of the usual width and its axes, tidied."""
    figure, (axes,) = panels(1, 1, height)
    return figure, axes


def panels(
    count: int,
    across: int,
    row_height: float,
    beside: float = 0.0,
    sharex: bool = False,
    sharey: bool = False,
) -> tuple[Figure, list[Axes]]:
    """Return a figure with so many tidy panels, row by row, and blanks where a row is not full.

    Parameters
    ----------
    count, across : int
        Panels in all, and in a row.
    row_height, beside : float
        Of each row, and what labels and legends of the whole need; inches.
    sharex, sharey : bool
        Whether all panels have one axis.
    """
    down = -(-count // across)
    figure = Figure(figsize=(WIDTH, row_height * down + beside), layout="constrained")
    grid = figure.subplots(down, across, squeeze=False, sharex=sharex, sharey=sharey).ravel()
    for axes in grid[:count]:
        tidy(axes)
    for axes in grid[count:]:
        axes.axis("off")
    return figure, list(grid[:count])


def tidy(axes: Axes) -> None:
    """Put a light grid behind the data, and no box round it."""
    axes.set_axisbelow(True)
    axes.grid(True, color="#E3E3E3", linewidth=0.8)
    axes.spines[["top", "right"]].set_visible(False)
