"""Pictures for the estimator who orders rolls."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from airstats.base.number_text import each, listed, percent
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, FULL, INK, MID
from airstats.reports.shared_charts import panels

MOST_PANELS = 12
MOST_ROWS = 60
REACH = 4
"""In a picture of many jobs, orders are compared with up to so many rolls fewer or more."""
MOST_LABELS = 9


def roll_chances(chances: pd.DataFrame, orders: pd.DataFrame) -> Picture:
    """Draw how likely each number of rolls is for each job, the order marked.

    A few jobs get a panel each; more get a row each, set out from their orders.
    """
    shown = orders.head(MOST_ROWS)
    data = chances[chances["job_id"].isin(shown["job_id"])]
    figure = _panels(data, shown) if len(shown) <= MOST_PANELS else _rows(data, shown)
    said = [f"{r.job_id} {r.order_rolls} (short {percent(r.chance_short)})" for r in each(shown)]
    more = f" First {MOST_ROWS} of {len(orders)} jobs." if len(orders) > MOST_ROWS else ""
    alt = f"Chance of each number of rolls by job. Orders: {listed(said)}.{more}"
    return Picture("rolls", figure, alt, data)


def pooled_chances(chances: pd.DataFrame, pooled: pd.DataFrame) -> Picture:
    """Draw how likely each sum of rolls is, with the pooled order and the single ones together."""
    figure, grid = panels(max(len(pooled), 1), 1, 2.4, 0.7)
    data = chances[chances["probability"] >= 0.001].reset_index(drop=True)
    for axes, row in zip(grid, each(pooled), strict=False):
        part = data[data["roll_size"].eq(row.roll_size)]
        _bars(axes, part, int(row.pooled_rolls))
        axes.axvline(row.single_rolls + 0.5, color=INK, linestyle="--", linewidth=1.2)
        orders = f"{row.pooled_rolls} together, {row.single_rolls} job by job (dashed)"
        axes.set_title(f"Rolls of {row.roll_size}: {orders}")
    words = "rolls opened by all jobs; in colour and hatched: more than ordered together"
    figure.supxlabel(words)
    figure.supylabel("chance, %")
    said = [
        f"of {r.roll_size} {r.from_rolls} to {r.to_rolls} rolls (80 %), order {r.pooled_rolls}"
        f" against {r.single_rolls} job by job"
        for r in each(pooled)
    ]
    alt = f"Chance of each sum of rolls that all jobs open: {listed(said)}."
    return Picture("pooled_rolls", figure, alt, data)


def _panels(data: pd.DataFrame, shown: pd.DataFrame) -> Figure:
    count = max(len(shown), 1)
    figure, grid = panels(count, min(3, count), 2.1, 0.7, sharey=True)
    for axes, row in zip(grid, each(shown), strict=False):
        _bars(axes, data[data["job_id"].eq(row.job_id)], int(row.order_rolls))
        axes.set_ylim(0, 112)
        axes.set_title(f"{row.job_id}: order {row.order_rolls}")
    figure.supxlabel("rolls needed; in colour and hatched: more than the order")
    figure.supylabel("chance, %")
    return figure


def _bars(axes: Axes, part: pd.DataFrame, order: int) -> None:
    over = part["rolls"].to_numpy() > order
    colours = np.where(over, ACCENT, MID)
    heights = part["probability"] * 100
    bars = axes.bar(part["rolls"], heights, color=colours, width=0.7, **BAR)
    for bar, short in zip(bars, over, strict=True):
        bar.set_hatch("///" if short else "")
    if len(part) <= MOST_LABELS:
        axes.bar_label(bars, [_whole(height) for height in heights])
    axes.xaxis.set_major_locator(MaxNLocator(nbins=8, integer=True, min_n_ticks=1))
    axes.set_xlim(part["rolls"].min() - 1.2, part["rolls"].max() + 1.2)
    axes.margins(y=0.16)


def _rows(data: pd.DataFrame, shown: pd.DataFrame) -> Figure:
    """One row a job: the chance of needing the order, so many rolls fewer, so many more."""
    table = from_order(data, shown)
    figure = Figure(figsize=(FULL, 0.24 * len(shown) + 1.2), layout="constrained")
    axes = figure.add_subplot()
    axes.imshow(table, cmap="Greys", vmin=0, vmax=1.3, aspect="auto")
    steps = [int(str(step)) for step in table.columns]
    for (place, column), chance in np.ndenumerate(table.to_numpy()):
        if chance >= 0.005:
            late = steps[column] > 0
            words = f"{_whole(chance * 100)}{' short' * late}"
            look: dict[str, Any] = {
                "ha": "center",
                "va": "center",
            }
            look |= {"weight": "bold" if late else "normal"}
            axes.text(column, place, words, color="white" if chance > 0.55 else INK, **look)
    axes.axvline(steps.index(0) + 0.5, color=ACCENT, linewidth=2)
    names = [f"{row.job_id}: order {row.order_rolls}" for row in each(shown)]
    axes.set_yticks(range(len(shown)), names)
    axes.set_xticks(range(len(steps)), [_step(step, steps) for step in steps])
    axes.xaxis.tick_top()
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    axes.set_xlabel("chance in %, by rolls needed; right of the coloured line the order is short")
    return figure


def from_order(chances: pd.DataFrame, orders: pd.DataFrame) -> pd.DataFrame:
    """Return chances by job (rows, as ordered) and rolls from the order, ends added up."""
    order = chances["job_id"].map(orders.set_index("job_id")["order_rolls"])
    step = (chances["rolls"] - order).clip(-REACH, REACH).astype(int)
    table = chances.assign(step=step).pivot_table(
        index="job_id", columns="step", values="probability", aggfunc="sum", fill_value=0.0
    )
    columns = list(range(min(*step, -1), max(*step, 1) + 1))
    return table.reindex(index=orders["job_id"], columns=columns, fill_value=0.0)


def _step(step: int, steps: list[int]) -> str:
    if step == 0:
        return "the order"
    beyond = " or beyond" if abs(step) == REACH and step in (steps[0], steps[-1]) else ""
    return f"{step:+d}{beyond}".replace("-", "−")


def _whole(percent: float) -> str:
    return "<1" if percent < 0.95 else f"{percent:.0f}"
