"""What every picture shares: its paper, at the width at which it stands, and its panels."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from airstats.reports.house_style import FULL


def paper(height: float, width: float = FULL) -> tuple[Figure, Axes]:
    """Return a figure and its axes, tidied; sizes in inches."""
    figure, (axes,) = panels(1, 1, height, width=width)
    return figure, axes


def panels(
    count: int,
    across: int,
    row_height: float,
    beside: float = 0.0,
    sharex: bool = False,
    sharey: bool = False,
    width: float = FULL,
) -> tuple[Figure, list[Axes]]:
    """Return a figure with so many tidy panels, row by row, and blanks where a row is not full.

    Parameters
    ----------
    count, across : int
        Panels in all, and in a row.
    row_height, beside : float
        Of each row, and what labels of the whole need; inches.
    sharex, sharey : bool
        Whether all panels have one axis.
    width : float
        Of the figure, inches: `FULL` or `HALF`.
    """
    down = -(-count // across)
    figure = Figure(figsize=(width, row_height * down + beside), layout="constrained")
    grid = figure.subplots(down, across, squeeze=False, sharex=sharex, sharey=sharey).ravel()
    for axes in grid[:count]:
        axes.grid(True)
    for axes in grid[count:]:
        axes.axis("off")
    return figure, list(grid[:count])
