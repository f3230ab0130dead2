"""Every picture, one function each: seaborn and matplotlib, safe for colour-blind eyes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from airstats.allowances import UNITS, Allowances
from airstats.backtest import RULES, Backtest
from airstats.drawing import describe_cut_map, describe_opening, draw_cut_map, draw_opening
from airstats.evidence import Regression
from airstats.overrun import CAUSE_WORDS
from airstats.phrases import counted, listed, number
from airstats.screen import Picture

BLUE, ORANGE, GREY, INK = "#0072B2", "#E69F00", "#8C8C8C", "#222222"
WIDTH = 8.4
MOST_JOBS = 12


def cascade(split: pd.DataFrame) -> Picture:
    """Draw how the causes add up to the overrun, in rolls, from `split_overrun`."""
    table = split[split["mean"].abs() > 0.05].reset_index(drop=True)
    end = table["mean"].cumsum()
    start = end - table["mean"]
    total = float(table["mean"].sum())
    figure, axes = _paper(0.48 * len(table) + 1.7)
    places = np.arange(len(table))
    colours = np.where(table["mean"] > 0, ORANGE, BLUE)
    axes.barh(places, table["mean"], left=start, color=colours, edgecolor=INK, linewidth=0.6)
    reach = (table["high"] - table["low"]) / 2
    axes.errorbar(end, places, xerr=reach, fmt="none", ecolor=INK, capsize=3, linewidth=1)
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
    figure, axes = _paper(0.5 * len(table) + 1.6)
    places = np.arange(len(table))
    middle = table["pooled"] * 100
    reach = [middle - table["pooled_low"] * 100, table["pooled_high"] * 100 - middle]
    pooled = "with what all crews tell; 90 % interval"
    axes.errorbar(middle, places, xerr=reach, fmt="o", color=BLUE, capsize=4, label=pooled)
    alone = "its own jobs alone"
    axes.plot(
        table["raw"] * 100, places, "D", mfc="white", mec=ORANGE, mew=2, zorder=1, label=alone
    )
    names = [f"{row.crew} ({counted(int(row.jobs), 'job')})" for row in table.itertuples()]
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
        _tidy(axes)
        axes.fill_between(part["quarter"], part["low"], part["high"], color=BLUE, alpha=0.2)
        axes.plot(part["quarter"], part["mean"], color=BLUE, marker="o", markersize=4)
        axes.set_title(str(name), loc="left", fontsize=11)
        axes.set_ylabel(UNITS[str(name)].replace(" of sheet", ""), fontsize=9)
        shown = list(range(0, len(part), max(len(part) // 4, 1)))
        axes.set_xticks(shown, part["quarter"].iloc[shown].tolist(), fontsize=9)
    last = table[table["quarter"].eq(chain[-1].quarter)]
    said = [f"{row.allowance} {row.mean:.2f}" for row in last.itertuples(index=False)]
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
    for axes, row in zip(panels, shown.itertuples(), strict=False):
        part = data[data["job_id"].eq(row.job_id)]
        _rolls_panel(axes, part, int(row.order_rolls))
        axes.set_title(f"{row.job_id}: order {row.order_rolls}", loc="left", fontsize=11)
    figure.supxlabel("rolls needed; orange and hatched: more than the order", fontsize=10)
    figure.supylabel("chance, %", fontsize=10)
    more = f" First {MOST_JOBS} of {len(orders)} jobs." if len(orders) > MOST_JOBS else ""
    said = [f"{r.job_id} {r.order_rolls} (short {r.chance_short:.0%})" for r in shown.itertuples()]
    alt = f"Chance of each number of rolls by job. Orders: {listed(said)}.{more}"
    return Picture("rolls", figure, alt, data)


def residuals(fit: Regression) -> Picture:
    """Draw residuals against fitted values, and influence against leverage."""
    points = fit.points
    figure = Figure(figsize=(WIDTH, 3.9), layout="constrained")
    left, right = figure.subplots(1, 2)
    _tidy(left)
    _tidy(right)
    sns.scatterplot(points, x="fitted_m2", y="residual_m2", color=BLUE, alpha=0.6, ax=left)
    left.axhline(0, color=INK, linewidth=0.8)
    left.set(xlabel="fitted overrun, m²", ylabel="residual, m²")
    sns.scatterplot(points, x="leverage", y="studentised", color=BLUE, alpha=0.6, ax=right)
    right.axhline(0, color=INK, linewidth=0.8)
    right.set(xlabel="leverage", ylabel="studentised residual")
    worst = points.nlargest(3, "cooks")
    for axes, x, y in ((left, "fitted_m2", "residual_m2"), (right, "leverage", "studentised")):
        axes.plot(worst[x], worst[y], "o", mfc="none", mec=ORANGE, markersize=10, mew=1.5)
        axes.margins(0.12)
        for job, at, up in zip(worst["job_id"], worst[x], worst[y], strict=True):
            axes.annotate(job, (at, up), (7, 5), textcoords="offset points", fontsize=9)
    said = [f"{row.job_id} (Cook's distance {row.cooks:.2f})" for row in worst.itertuples()]
    alt = (
        f"Residuals of {counted(len(points), 'job')} against fitted overrun, and against leverage."
        f" Most influential: {listed(said)}."
    )
    return Picture("residuals", figure, alt, points)


def backtest_costs(result: Backtest) -> Picture:
    """Draw what each way of pricing would have cost a job."""
    table = result.summary.sort_values("mean_cost", ignore_index=True)
    figure, axes = _paper(0.5 * len(table) + 1.2)
    colours = [BLUE if rule == "airstats" else GREY for rule in table["rule"]]
    bars = axes.barh(
        [RULES[rule] for rule in table["rule"]],
        table["mean_cost"],
        color=colours,
        edgecolor=INK,
        linewidth=0.6,
    )
    axes.bar_label(bars, fmt="%.0f", padding=4)
    axes.margins(x=0.1)
    axes.invert_yaxis()
    axes.set_xlabel("mean cost a job of rolls short and left over, money")
    said = [f"{RULES[row.rule]} {number(row.mean_cost, 0)}" for row in table.itertuples()]
    alt = f"Mean cost a job by way of pricing, money: {listed(said)}."
    return Picture("backtest", figure, alt, table)


def opening(row: pd.Series, cut: str = "") -> Picture:
    """Draw one opening to scale, cut as named (as recommended if empty)."""
    size = [float(row[name]) for name in ("width_mm", "height_mm", "reveal_mm")]
    how = (*size, int(row["sides"]), cut or str(row["recommended_cut"]))
    alt = describe_opening(*how)
    return Picture("opening", draw_opening(*how), alt, pd.DataFrame([row]))


def cut_map(grid: pd.DataFrame) -> Picture:
    """Draw which of two cuts is cheaper for which opening, from `break_even_map`."""
    return Picture("cut_map", draw_cut_map(grid), describe_cut_map(grid), grid)


def _rolls_panel(axes: Axes, part: pd.DataFrame, order: int) -> None:
    _tidy(axes)
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


def _paper(height: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    axes = figure.add_subplot()
    _tidy(axes)
    return figure, axes


def _tidy(axes: Axes) -> None:
    """A light grid behind the data, and no box round it."""
    axes.set_axisbelow(True)
    axes.grid(True, color="#E3E3E3", linewidth=0.8)
    axes.spines[["top", "right"]].set_visible(False)


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{number(value)}"
