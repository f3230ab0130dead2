"""What every picture shares: its paper and grid, and colours safe for colour-blind eyes."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

BLUE, ORANGE, GREY, INK = "#0072B2", "#E69F00", "#CCCCCC", "#222222"
WIDTH = 8.4
MOST_JOBS = 12


def paper(height: float) -> tuple[Figure, Axes]:
    """Return a figure of the usual width and its axes, tidied."""
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    axes = figure.add_subplot()
    tidy(axes)
    return figure, axes


def tidy(axes: Axes) -> None:
    """Put a light grid behind the data, and no box round it."""
    axes.set_axisbelow(True)
    axes.grid(True, color="#E3E3E3", linewidth=0.8)
    axes.spines[["top", "right"]].set_visible(False)
