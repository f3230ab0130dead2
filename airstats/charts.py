"""Every picture, one function each, safe for colour-blind eyes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from airstats.allowances import UNITS, Allowances
from airstats.drawing import describe_cut_map, describe_opening, draw_cut_map, draw_opening
from airstats.overrun import CAUSE_WORDS
from airstats.phrases import counted, each, listed, number
from airstats.screen import Picture

BLUE, ORANGE, GREY, INK = "#0072B2", "#E69F00", "#CCCCCC", "#222222"
WIDTH = 8.4
MOST_JOBS = 12
MAP_COLUMNS = ["width_over_height", "reveal_mm", "difference"]


def cascade(split: pd.DataFrame) -> Picture:
    """Draw how the causes add up to the overrun, in rolls, from `split_overrun`."""
    table = split[split["mean"].abs() > 0.05].reset_index(drop=True)
    end = table["mean"].cumsum()
    start = end - table["mean"]
    total = float(table["mean"].sum())
    figure, axes = paper(0.48 * len(table) + 1.7)
    places = np.arange(len(table))
    colours = np.where(table["mean"] > 0, ORANGE, BLUE)
    axes.barh(places, table["mean"], left=start, color=colours, edgecolor=INK, linewidth=0.6)
    reach = (table["high"] - table["low"]) / 2
    sure = reach < 0.05
    axes.errorbar(
        end[~sure], places[~sure], xerr=reach[~sure], fmt="none", ecolor=INK, capsize=3, linewidth=1
    )
    axes.barh(len(table), total, color=GREY, edgecolor=INK, linewidth=0.6)
    names = [CAUSE_WORDS[cause] for cause in table["cause"]]
    axes.set_yticks([*places, len(table)], [*names, "used beyond the price"])
    edges = np.append(np.maximum(np.maximum(start, end), end + reach), max(total, 0))
    for place, edge, value in zip(range(len(edges)), edges, [*table["mean"], total], strict=True):
        axes.annotate(
            _signed(value), (edge, place), (5, 0), textcoords="offset points", va="center"
        )
    axes.axvline(0, color=INK, linewidth=0.8)
    axes.invert_yaxis()
    axes.margins(x=0.12)
    axes.set_xlabel("rolls, added up from the top; whiskers hold 90 %")
    words = [f"{n} {_signed(v)}" for n, v in zip(names, table["mean"], strict=True)]
    alt = f"Cascade of causes in rolls: {listed(words)}; together {_signed(total)}."
    return Picture("causes", figure, alt, table.drop(columns="group"))


def crews(table: pd.DataFrame) -> Picture:
    """Draw each crew's departure from the firm's waste: pooled with interval, and alone."""
    figure, axes = paper(0.5 * len(table) + 1.6)
    places = np.arange(len(table))
    middle = table["pooled"] * 100
    reach = [middle - table["pooled_low"] * 100, table["pooled_high"] * 100 - middle]
    pooled = "with what all crews tell; 90 % interval"
    axes.errorbar(middle, places, xerr=reach, fmt="o", color=BLUE, capsize=4, label=pooled)
    alone = "its own jobs alone"
    axes.plot(
        table["raw"] * 100, places, "D", mfc="white", mec=ORANGE, mew=2, zorder=1, label=alone
    )
    names = [f"{row.crew} ({counted(int(row.jobs), 'job')})" for row in each(table)]
    axes.set_yticks(places, names)
    axes.set_ylim(len(table) - 0.5, -0.5)
    axes.axvline(0, color=INK, linewidth=0.8)
    axes.set_xlabel("departure from the firm's waste, % of laid sheet")
    figure.legend(loc="outside lower center", ncols=2, frameon=False)
    said = [f"{n} {p:+.1f} %" for n, p in zip(names, middle, strict=True)]
    alt = f"Departure of each crew from the firm's waste, pooled: {listed(said)}."
    return Picture("crews", figure, alt, table)


def allowance_paths(chain: Sequence[Allowances]) -> Picture:
    """Draw how each allowance went from quarter to quarter, with its 90 % band."""
    steps = [step.table().rename_axis("allowance").reset_index() for step in chain]
    named = [table.assign(quarter=s.quarter) for s, table in zip(chain, steps, strict=True)]
    table = pd.concat(named, ignore_index=True)
    figure = Figure(figsize=(WIDTH, 5.6), layout="constrained")
    panels = figure.subplots(2, 2).ravel()
    for axes, (name, part) in zip(panels, table.groupby("allowance", sort=False), strict=True):
        tidy(axes)
        axes.fill_between(part["quarter"], part["low"], part["high"], color=BLUE, alpha=0.2)
        axes.plot(part["quarter"], part["mean"], color=BLUE, marker="o", markersize=4)
        axes.set_title(str(name), loc="left", fontsize=11)
        axes.set_ylabel(UNITS[str(name)].replace(" of sheet", ""), fontsize=9)
        shown = list(range(0, len(part), max(len(part) // 4, 1)))
        axes.set_xticks(shown, part["quarter"].iloc[shown].tolist(), fontsize=9)
    last = table[table["quarter"].eq(chain[-1].quarter)]
    said = [f"{row.allowance} {row.mean:.2f}" for row in each(last)]
    alt = (
        f"Each allowance after every quarter from {chain[0].quarter} to {chain[-1].quarter} with"
        f" its 90 % band; in the end {listed(said)}."
    )
    return Picture("allowances", figure, alt, table)


def roll_chances(chances: pd.DataFrame, orders: pd.DataFrame) -> Picture:
    """Draw how likely each number of rolls is for each job, the order marked."""
    shown = orders.head(MOST_JOBS)
    across = min(3, max(len(shown), 1))
    down = max(-(-len(shown) // across), 1)
    figure = Figure(figsize=(WIDTH, 2.1 * down + 0.7), layout="constrained")
    panels = figure.subplots(down, across, sharey=True, squeeze=False).ravel()
    data = chances[chances["job_id"].isin(shown["job_id"])]
    for axes in panels[len(shown) :]:
        axes.axis("off")
    for axes, row in zip(panels, each(shown), strict=False):
        part = data[data["job_id"].eq(row.job_id)]
        _rolls_panel(axes, part, int(row.order_rolls))
        axes.set_title(f"{row.job_id}: order {row.order_rolls}", loc="left", fontsize=11)
    figure.supxlabel("rolls needed; orange and hatched: more than the order", fontsize=10)
    figure.supylabel("chance, %", fontsize=10)
    more = f" First {MOST_JOBS} of {len(orders)} jobs." if len(orders) > MOST_JOBS else ""
    said = [f"{r.job_id} {r.order_rolls} (short {r.chance_short:.0%})" for r in each(shown)]
    alt = f"Chance of each number of rolls by job. Orders: {listed(said)}.{more}"
    return Picture("rolls", figure, alt, data)


def opening(row: pd.Series, cut: str = "") -> Picture:
    """Draw one opening to scale, cut as named (as recommended if empty)."""
    width, height, reveal = (float(row[name]) for name in ("width_mm", "height_mm", "reveal_mm"))
    sides, how = int(row["sides"]), cut or str(row["recommended_cut"])
    alt = describe_opening(width, height, reveal, sides, how)
    figure = draw_opening(width, height, reveal, sides, how)
    return Picture("opening", figure, alt, pd.DataFrame([row]))


def cut_map(grid: pd.DataFrame) -> Picture:
    """Draw which of two cuts is cheaper for which opening, from `break_even_map`."""
    return Picture("cut_map", draw_cut_map(grid), describe_cut_map(grid), grid[MAP_COLUMNS])


def _rolls_panel(axes: Axes, part: pd.DataFrame, order: int) -> None:
    tidy(axes)
    over = part["rolls"].to_numpy() > order
    bars = axes.bar(
        part["rolls"],
        part["probability"] * 100,
        color=np.where(over, ORANGE, BLUE),
        edgecolor=INK,
        linewidth=0.6,
        width=0.7,
    )
    for bar, short in zip(bars, over, strict=True):
        bar.set_hatch("///" if short else "")
    axes.bar_label(bars, fmt="%.0f", fontsize=9)
    axes.set_xticks(range(int(part["rolls"].min()) - 1, int(part["rolls"].max()) + 2))
    axes.set_ylim(0, 112)


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


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{number(value)}"
