"""The pictures of the evidence: residuals, back-test, single jobs, several firms."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from scipy.special import ndtri

from airstats.analysis.regressions import Influence
from airstats.backtests.rolling import WORDS_OF_RULES, Backtest
from airstats.base.number_text import counted, each, listed, number, percent
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, INK, LIGHT, MID, zero_line
from airstats.reports.shared_charts import panels, paper


def residuals(influence: Influence) -> Picture:
    """Draw residuals, their quantiles, leverage and Cook's distance of a plain regression.

    The three most influential jobs are ringed.
    """
    points = influence.points.reset_index(drop=True)
    figure, grid = panels(4, 2, 3.7)
    # Plotting positions (rank - 3/8) / (n + 1/4) of normal quantiles (Blom 1958).
    shares = (points["studentised"].rank() - 0.375) / (len(points) + 0.25)
    table = points.assign(normal_quantile=ndtri(shares), job=points.index + 1)
    worst = table.nlargest(3, "cooks")
    drawn = (
        ("fitted_m2", "residual_m2", "fitted overrun, m²", "residual, m²"),
        ("normal_quantile", "studentised", "normal quantile", "studentised residual"),
        ("leverage", "studentised", "leverage", "studentised residual"),
        ("job", "cooks", "job, in the order of the records", "Cook's distance"),
    )
    for axes, (x, y, across, up) in zip(grid, drawn, strict=True):
        sns.scatterplot(table, x=x, y=y, color=ACCENT, alpha=0.6, ax=axes)
        axes.plot(worst[x], worst[y], "o", mfc="none", mec=INK, markersize=10, mew=1.5)
        axes.set(xlabel=across, ylabel=up)
        zero_line(axes, upright=False)
        axes.margins(0.12)
    _guides(grid, influence)
    _name_jobs(grid[3], worst)
    said = [f"{row.job_id} (Cook's distance {row.cooks:.2f})" for row in each(worst)]
    alt = (
        f"Four panels for {counted(len(points), 'job')}: residuals against fitted overrun, against"
        " normal quantiles and against leverage, and Cook's distance of each job."
        f" Most influential: {listed(said)}."
    )
    return Picture("residuals", figure, alt, table.drop(columns="job"))


def calibration(table: pd.DataFrame) -> Picture:
    """Draw the share of uses below each foretold quantile, with what chance allows."""
    figure, axes = paper(3.2)
    places = range(len(table))
    band = BAR | {"height": 0.62, "color": LIGHT}
    width = (table["chance_high"] - table["chance_low"]) * 100
    axes.barh(places, width, left=table["chance_low"] * 100, label="chance allows (90 %)", **band)
    axes.hlines(
        places, table["surely"] * 100, table["possibly"] * 100, color=MID, linewidth=2.5,
        label="surely below to possibly below: what whole rolls leave open",
    )  # fmt: skip
    shown = "uses below, open counts spread as foretold"
    axes.plot(table["below"] * 100, places, "o", color=ACCENT, markersize=8, label=shown)
    axes.set_yticks(places, [f"{percent} % point" for percent in table["percent"]])
    axes.set_xlim(0, 100)
    axes.invert_yaxis()
    axes.set_xlabel("share of the uses below the foretold point, %")
    figure.legend(loc="outside lower center", ncols=1)
    said = [f"{percent(r.below)} below the {r.percent} % point" for r in each(table)]
    allowed = [f"{percent(r.chance_low)} to {percent(r.chance_high)}" for r in each(table)]
    alt = (
        f"Share of the uses below each foretold quantile: {listed(said)}; chance allows"
        f" {listed(allowed)}."
    )
    return Picture("calibration", figure, alt, table)


def ranks(table: pd.DataFrame) -> Picture:
    """Draw the ranks of drawn truths, a panel a quantity, with what chance allows; `rank_table`."""
    parts = list(table.groupby("quantity", sort=False))
    figure, grid = panels(len(parts), 2, 2.4)
    for axes, (name, part) in zip(grid, parts, strict=True):
        axes.bar(part["bar"], part["firms"], color=ACCENT, width=0.9, **BAR)
        axes.axhspan(part["low"].iloc[0], part["high"].iloc[0], color=LIGHT, alpha=0.5, zorder=0)
        axes.set_title(str(name))
        axes.set(xlabel="tenth of the ranks", ylabel="invented firms")
    said = [f"{name} {part['firms'].min()} to {part['firms'].max()}" for name, part in parts]
    low, high = table["low"].iloc[0], table["high"].iloc[0]
    alt = (
        f"Invented firms in each tenth of the ranks: {listed(said)}; chance allows"
        f" {number(low, 0)} to {number(high, 0)} (grey)."
    )
    return Picture("ranks", figure, alt, table)


def left_out(influence: pd.DataFrame) -> Picture:
    """Draw how the ten most influential jobs would move the allowance that each moves most."""
    table = influence.head(10)
    figure, axes = paper(0.36 * len(table) + 1.3)
    places = range(len(table))
    axes.barh(places, table["move_sd"], color=ACCENT, height=0.6, **BAR)
    names = [f"{row.job_id}: {row.moves_most}" for row in each(table)]
    axes.set_yticks(places, names)
    zero_line(axes)
    reach = max(1.0, float(table["move_sd"].abs().max()) * 1.1)
    axes.set_xlim(-reach, reach)
    axes.invert_yaxis()
    axes.set_xlabel("move of the allowance without the job, in the allowance's own sd")
    said = [f"{n} {number(v, 2)}" for n, v in zip(names, table["move_sd"], strict=True)]
    alt = f"Move of the most moved allowance without a job, in its own sd: {listed(said)}."
    return Picture("left_out", figure, alt, table)


def firms(table: pd.DataFrame) -> Picture:
    """Draw each allowance by firm with its 90 % interval, from `firm_table`."""
    parts = list(table.groupby("allowance", observed=True))
    figure, grid = panels(len(parts), 2, 0.5 * table["firm"].nunique() + 1.2, sharey=True)
    for axes, (name, part) in zip(grid, parts, strict=True):
        places = range(len(part))
        reach = [part["mean"] - part["low"], part["high"] - part["mean"]]
        axes.errorbar(part["mean"], places, xerr=reach, fmt="o", color=ACCENT, capsize=4)
        axes.set_yticks(places, [f"{r.firm} ({counted(r.jobs, 'job')})" for r in each(part)])
        axes.set_title(str(name))
        axes.set_xlabel(f"{part['unit'].iloc[0].replace(' of sheet', '')}; 90 %")
        axes.set_ylim(len(part) - 0.5, -0.5)
    said = [f"{r.firm} {r.allowance} {number(r.mean, 2)}" for r in each(table)]
    alt = f"Each allowance by firm with its 90 % interval; means: {listed(said)}."
    return Picture("firms", figure, alt, table)


def backtest_costs(result: Backtest, currency: str = "") -> Picture:
    """Draw what each way of pricing would have cost a job."""
    table = result.summary.sort_values("mean_cost", ignore_index=True)
    figure, axes = paper(0.5 * len(table) + 1.2)
    colours = [ACCENT if rule == "airstats" else MID for rule in table["rule"]]
    names = [WORDS_OF_RULES[rule] for rule in table["rule"]]
    bars = axes.barh(names, table["mean_cost"], color=colours, **BAR)
    axes.bar_label(bars, fmt="%.0f", padding=4)
    axes.margins(x=0.1)
    axes.invert_yaxis()
    axes.set_xlabel(f"mean cost a job of rolls short and left over, {currency or 'money'}")
    said = [f"{n} {number(v, 0)}" for n, v in zip(names, table["mean_cost"], strict=True)]
    alt = f"Mean cost a job by way of pricing, {currency or 'money'}: {listed(said)}."
    return Picture("backtest", figure, alt, table)


def _guides(grid: Sequence[Axes], influence: Influence) -> None:
    """The line of normal residuals, equal Cook's distance, and the limits."""
    _, normal, far, cooks = grid
    ends = np.array(normal.get_xlim())
    normal.plot(ends, ends, color=INK, linewidth=0.8)
    left = np.linspace(max(far.get_xlim()[0], 1e-3), min(far.get_xlim()[1], 1.0), 100)
    limit = influence.cooks_limit
    # D = r² h / (p (1 - h)), r here the studentised residual: close to it for many jobs.
    edge = np.sqrt(limit * influence.terms * (1 - left) / left)
    held = far.get_ylim()
    for side in (edge, -edge):
        far.plot(left, side, color=INK, linestyle="--", linewidth=0.9)
    far.set_ylim(held)
    far.axvline(influence.leverage_limit, color=INK, linestyle=":", linewidth=0.9)
    far.set_title("dashed: Cook's distance 4/n; dotted: leverage 2p/n")
    cooks.axhline(limit, color=INK, linestyle="--", linewidth=0.9)
    cooks.set_title("dashed: 4/n")


def _name_jobs(axes: Axes, worst: pd.DataFrame) -> None:
    aside: dict[str, Any] = {
        "textcoords": "offset points",
    }
    for row in each(worst):
        axes.annotate(row.job_id, (row.job, row.cooks), (7, 3), **aside)
