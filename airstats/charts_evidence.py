"""The pictures of the evidence: residuals and the back-test."""

from __future__ import annotations

import seaborn as sns
from matplotlib.figure import Figure

from airstats.backtest import RULES, Backtest
from airstats.charts import BLUE, GREY, INK, ORANGE, WIDTH, paper, tidy
from airstats.evidence import Regression
from airstats.phrases import counted, each, listed, number
from airstats.screen import Picture


def residuals(fit: Regression) -> Picture:
    """Draw residuals against fitted values, and influence against leverage."""
    points = fit.points
    figure = Figure(figsize=(WIDTH, 3.9), layout="constrained")
    left, right = figure.subplots(1, 2)
    tidy(left)
    tidy(right)
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
    places = ((7, 5), (7, -14), (-40, 5))
    for row, place in zip(each(worst), places, strict=False):
        point = (row.leverage, row.studentised)
        right.annotate(row.job_id, point, place, textcoords="offset points", fontsize=9)
    said = [f"{row.job_id} (Cook's distance {row.cooks:.2f})" for row in each(worst)]
    alt = (
        f"Residuals of {counted(len(points), 'job')} against fitted overrun, and against leverage."
        f" Most influential: {listed(said)}."
    )
    return Picture("residuals", figure, alt, points)


def backtest_costs(result: Backtest) -> Picture:
    """Draw what each way of pricing would have cost a job."""
    table = result.summary.sort_values("mean_cost", ignore_index=True)
    figure, axes = paper(0.5 * len(table) + 1.2)
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
    said = [f"{RULES[row.rule]} {number(row.mean_cost, 0)}" for row in each(table)]
    alt = f"Mean cost a job by way of pricing, money: {listed(said)}."
    return Picture("backtest", figure, alt, table)
