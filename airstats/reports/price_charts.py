"""Pictures for the estimator who orders rolls: all jobs from one store, and small each job."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from airstats.base.number_text import each, listed, number, percent, signed
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, FULL, MID, label_mark

MOST_JOBS = 10
"""More jobs than these are not drawn: those that take the most rolls are."""
MOST_LABELS = 6
ROW, LEAST = 1.2, 2.2
"""Inches: of a row of small panels, and of the whole."""


def largest_first(orders: pd.DataFrame) -> pd.DataFrame:
    """Return the orders, those that take the most rolls first."""
    by_size = ["order_rolls", "expected_m2"]
    return orders.sort_values(by_size, ascending=False, kind="stable")


def _largest(orders: pd.DataFrame) -> pd.DataFrame:
    """The jobs to draw: all in their order, or those that take the most rolls."""
    return orders if len(orders) <= MOST_JOBS else largest_first(orders).head(MOST_JOBS)


def roll_chances(
    chances: pd.DataFrame,
    orders: pd.DataFrame,
    totals: pd.DataFrame | None = None,
    pooled: pd.DataFrame | None = None,
) -> Picture:
    """Draw how likely each number of rolls is: for all jobs from one store, and for each job.

    Parameters
    ----------
    chances, orders : DataFrame
        From `order_costs.roll_chances` and `order_costs.order_costs`.
    totals, pooled : DataFrame, optional
        From `pooled_costs` and `pooled_orders`; without them only each job is drawn.
    """
    shown = _largest(orders)
    figure, together, single = _paper(len(shown), 0 if pooled is None else len(pooled))
    for axes, row in zip(together, each(_rows(pooled)), strict=True):
        part = totals[totals["roll_size"].eq(row.roll_size)] if totals is not None else chances
        _bars(axes, part[part["probability"] >= 0.001], int(row.pooled_rolls))
        axes.set_title(f"{_all(row, pooled)}: order {row.pooled_rolls}")
    for axes, row in zip(single, each(shown), strict=True):
        _bars(axes, chances[chances["job_id"].eq(row.job_id)], int(row.order_rolls))
        axes.set_title(f"{row.job_id}: order {row.order_rolls}")
    figure.supxlabel("rolls needed, chance in %; brick: more than the order")
    said = [f"{r.job_id} {r.order_rolls} (short {percent(r.chance_short)})" for r in each(shown)]
    all_of_them = [
        f"all together {r.pooled_rolls} of {r.roll_size} (short {percent(r.chance_short)})"
        for r in each(_rows(pooled))
    ]
    alt = f"Chance of each number of rolls. Orders: {listed(all_of_them + said)}.{_more(orders)}"
    return Picture("rolls", figure, alt, _joined(totals, chances))


def order_costs(
    costs: pd.DataFrame,
    orders: pd.DataFrame,
    totals: pd.DataFrame,
    pooled: pd.DataFrame,
    currency: str = "",
) -> Picture:
    """Draw the expected cost of each number of rolls ordered, and what one more or less costs.

    Parameters
    ----------
    costs, orders : DataFrame
        From `order_costs.roll_costs` and `order_costs.order_costs`.
    totals, pooled : DataFrame
        From `pooled_costs` and `pooled_orders`.
    currency : str
        That of the costs, if it is known.
    """
    shown = _largest(orders)
    figure, together, single = _paper(len(shown), len(pooled))
    for axes, row in zip(together, each(pooled), strict=True):
        _curve(axes, totals[totals["roll_size"].eq(row.roll_size)], int(row.pooled_rolls), True)
        axes.set_title(f"{_all(row, pooled)}: order {row.pooled_rolls}")
    for axes, row in zip(single, each(shown), strict=True):
        _curve(axes, costs[costs["job_id"].eq(row.job_id)], int(row.order_rolls), not len(pooled))
        axes.set_title(f"{row.job_id}: order {row.order_rolls}")
    money = currency or "your money"
    figure.supxlabel(f"rolls ordered; expected cost in {money}, + what one roll fewer or more adds")
    said = [
        _steps(
            f"all together {r.pooled_rolls} of {r.roll_size}",
            totals[totals["roll_size"].eq(r.roll_size)],
            r.pooled_rolls,
        )
        for r in each(pooled)
    ]
    said += [
        _steps(f"{r.job_id} {r.order_rolls}", costs[costs["job_id"].eq(r.job_id)], r.order_rolls)
        for r in each(shown)
    ]
    alt = f"Expected cost by number of rolls ordered, least at: {'; '.join(said)}.{_more(orders)}"
    return Picture("costs", figure, alt, _joined(totals, costs))


def _rows(table: pd.DataFrame | None) -> pd.DataFrame:
    return pd.DataFrame() if table is None else table


def _joined(totals: pd.DataFrame | None, singles: pd.DataFrame) -> pd.DataFrame:
    if totals is None or totals.empty:
        return singles
    whole = totals.assign(job_id="all together").reindex(columns=["job_id", *totals])
    return pd.concat([whole, singles], ignore_index=True)[list(dict.fromkeys([*singles, *totals]))]


def _more(orders: pd.DataFrame) -> str:
    return f" The {MOST_JOBS} largest of {len(orders)} jobs." if len(orders) > MOST_JOBS else ""


def _all(row: Any, pooled: pd.DataFrame | None) -> str:
    several = len(_rows(pooled)) > 1
    return f"All of {row.roll_size}" if several else "All from one store"


def _steps(name: str, costs: pd.DataFrame, order: int) -> str:
    at = costs.set_index("rolls")["cost"]
    beside = [
        f"{word} {signed(at[n] - at[order], 0)}"
        for n, word in ((order - 1, "one fewer"), (order + 1, "one more"))
        if n in at.index
    ]
    return f"{name} ({', '.join(beside)})"


def _paper(jobs: int, sizes: int) -> tuple[Figure, list[Axes], list[Axes]]:
    """A figure with a panel a size of roll on the left, and small ones for the jobs beside it."""
    across = min(jobs, 3 if jobs <= 6 else 4) if sizes else min(max(jobs, 1), 5)
    down = -(-max(jobs, 1) // across)
    figure = Figure(figsize=(FULL, max(ROW * max(down, sizes) + 0.35, LEAST)), layout="constrained")
    parts = figure.add_gridspec(1, 2, width_ratios=(1.15, 2)) if sizes else None
    left = parts[0].subgridspec(sizes, 1) if parts else None
    right = parts[1].subgridspec(down, across) if parts else figure.add_gridspec(down, across)
    together = [figure.add_subplot(left[place, 0]) for place in range(sizes)] if left else []
    places = [(place // across, place % across) for place in range(jobs)]
    single = [figure.add_subplot(right[place]) for place in places]
    for axes in (*together, *single):
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True, min_n_ticks=1))
    return figure, together, single


def _bars(axes: Axes, part: pd.DataFrame, order: int) -> None:
    over = part["rolls"].to_numpy() > order
    heights = part["probability"] * 100
    look = BAR | {"color": np.where(over, ACCENT, MID)}
    bars = axes.bar(part["rolls"], heights, width=0.7, **look)
    for bar, short in zip(bars, over, strict=True):
        bar.set_hatch("///" if short else "")
    if len(part) <= MOST_LABELS:
        axes.bar_label(bars, [_whole(height) for height in heights], padding=1)
    axes.set_xlim(part["rolls"].min() - 1.2, part["rolls"].max() + 1.2)
    axes.margins(y=0.25)


def _curve(axes: Axes, part: pd.DataFrame, order: int, large: bool) -> None:
    """Draw the costs round the order, the least marked."""
    near = part[part["rolls"].between(order - 3, order + 3)] if large else part
    at = near.set_index("rolls")["cost"]
    axes.plot(at.index, at, color=MID, marker="o", markersize=3)
    axes.plot(order, at[order], "o", color=ACCENT, markersize=6)
    for n, side in ((order - 1, "left"), (order + 1, "above")):
        if n in at.index:
            label_mark(axes, n, at[n], signed(at[n] - at[order], 0), side)
    if large:
        below = at[order] - 0.03 * (at.max() - at[order])
        label_mark(axes, order, below, number(at[order], 0), "below", color=ACCENT)
    axes.set_xlim(at.index.min() - 1, at.index.max() + 0.5)
    axes.margins(y=0.2)


def _whole(percent: float) -> str:
    return "<1" if percent < 0.95 else f"{percent:.0f}"
