"""The owner's pictures: causes, crews, quarters, and prices that were not made."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.analysis.overrun_split import MAIN, SHORT_WORDS, cause_words
from airstats.analysis.overrun_views import OVERRUN
from airstats.backtests.against_real_prices import Hindsight
from airstats.base.number_text import counted, each, give_or_take, listed, number, rolls
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, INK, MID, label_mark, whiskers, zero_line
from airstats.reports.shared_charts import panels, paper
from airstats.takeoff.sheet_quantities import Takeoff

NOW = "with the allowances known before the quarter"
TITLES = {OVERRUN: "used beyond the price", **SHORT_WORDS, "already_priced": "held in the price"}


def cascade(split: pd.DataFrame, jobs: Takeoff, name: str = "causes") -> Picture:
    """Draw the way from priced to used rolls, cause by cause, from `split_overrun`.

    Parameters
    ----------
    split : DataFrame
        From `split_overrun`, of one group, rolls.
    jobs : Takeoff
        The jobs that were split.
    name : str
        That of the picture.
    """
    table = split.drop(columns="group").reset_index(drop=True)
    priced, used = (float(jobs.table[f"{kind}_rolls"].sum()) for kind in ("estimated", "used"))
    end, last = table["mean"].cumsum().to_numpy(), len(table) + 1
    start = end - table["mean"].to_numpy()
    figure, axes = paper(0.42 * len(table) + 1.9)
    places = np.arange(1, last)
    colours = np.where(table["mean"] > 0, ACCENT, MID)
    axes.barh(places, table["mean"], left=start, color=colours, **BAR)
    axes.barh(last, used - priced, color=INK, **BAR)
    reach = ((table["high"] - table["low"]) / 2).where(lambda half: half >= 0.005)
    whiskers(axes, end, places, reach)
    names = [cause_words(cause) for cause in table["cause"]]
    ends = [f"priced: {rolls(round(priced, 1))}", f"used: {rolls(round(used, 1))}"]
    axes.set_yticks([0, *places, last], [ends[0], *names, ends[1]])
    shown = [_with_reach(row) for _, row in table.iterrows()]
    edges = np.maximum(np.maximum(start, end), end + reach.fillna(0).to_numpy())
    for place, edge, text in zip(
        [0, *places, last],
        [0, *edges, max(used - priced, 0)],
        ["0", *shown, _signed(used - priced)],
        strict=True,
    ):
        label_mark(axes, edge, place, text)
    zero_line(axes)
    axes.set_ylim(last + 0.6, -0.6)
    axes.margins(x=0.18)
    axes.set_xlabel("rolls beyond the price, added up from the top; whiskers hold 90 %")
    said = [f"{n} {text}" for n, text in zip(names, shown, strict=True)]
    alt = f"From {ends[0]} to {ends[1]}, in rolls: {listed(said)}; together"
    return Picture(name, figure, f"{alt} {_signed(used - priced)}.", table)


def job_cascade(split: pd.DataFrame, jobs: Takeoff) -> Picture | None:
    """Draw one job's way from priced to used rolls, from `job_split`; nothing for no job."""
    if split.empty:
        return None
    own = jobs.where(jobs.table["job_id"].eq(split["group"].iloc[0]))
    return cascade(split, own, "job_causes")


def crews(table: pd.DataFrame) -> Picture | None:
    """Draw each crew's departure from the firm's waste: pooled with interval, and alone."""
    if table.empty:
        return None
    figure, axes = paper(0.5 * len(table) + 1.6)
    places = np.arange(len(table))
    middle = table["pooled"] * 100
    reach = [middle - table["pooled_low"] * 100, table["pooled_high"] * 100 - middle]
    pooled = "judged with the jobs of all crews; 90 % interval"
    axes.errorbar(middle, places, xerr=reach, fmt="o", color=ACCENT, capsize=2, label=pooled)
    alone = "its own jobs alone"
    hollow: dict[str, Any] = {"mfc": "white", "mec": MID, "mew": 1.5}
    axes.plot(table["raw"] * 100, places, "D", zorder=1, label=alone, **hollow)
    names = [f"{row.crew} ({counted(int(row.jobs), 'job')})" for row in each(table)]
    axes.set_yticks(places, names)
    axes.set_ylim(len(table) - 0.5, -0.5)
    zero_line(axes)
    axes.set_xlabel("sheet used above (right) or below (left) the firm's rate, % of laid sheet")
    figure.legend(loc="outside lower center", ncols=2)
    said = [f"{n} {number(p, 1)} %" for n, p in zip(names, middle, strict=True)]
    alt = f"What each crew uses above or below the firm's rate, of laid sheet: {listed(said)}."
    return Picture("crews", figure, alt, table)


def quarters(table: pd.DataFrame) -> Picture:
    """Draw the overrun of a job and its causes quarter by quarter, from `by_quarter`."""
    shown = [OVERRUN, *MAIN]
    figure, grid = panels(len(shown), 4, 2.2, sharex=True, sharey=True)
    for axes, cause in zip(grid, shown, strict=True):
        _quarter_panel(axes, table[table["cause"].eq(cause)], ACCENT if cause == OVERRUN else MID)
        axes.set_title(TITLES[cause])
    figure.supylabel("rolls a job")
    figure.supxlabel("quarter; whiskers hold 90 %")
    whole = table[table["cause"].eq(OVERRUN)]
    said = [f"{row.quarter} {number(row.mean, 2)}" for row in each(whole)]
    alt = f"Overrun of a job in rolls by quarter, {listed(said)}; beside it each cause's part."
    return Picture("quarters", figure, alt, table)


def hindsight(found: Hindsight) -> Picture | None:
    """Draw rolls left over and short by quarter: as priced, and as the allowances would have."""
    table = found.quarters
    if table.empty:
        return None
    figure, axes = paper(3.4)
    places = np.arange(len(table))
    looks = (("really", MID, -0.2, "as really priced"), ("foretold", ACCENT, 0.2, NOW))
    for rule, colour, aside, label in looks:
        look = BAR | {"width": 0.36, "color": colour}
        axes.bar(places + aside, table[f"{rule}_left_over"], label=label, **look)
        axes.bar(places + aside, -table[f"{rule}_short"], hatch="///", **look)
    zero_line(axes, upright=False)
    axes.set_xticks(places, table["quarter"], rotation=45, ha="right")
    axes.yaxis.set_major_formatter(lambda value, _: f"{abs(value):g}")
    axes.set_ylabel("rolls: short (down, hatched)\nleft over (up)")
    figure.legend(loc="outside upper center", ncols=2)
    sums = table.sum(numeric_only=True)
    alt = (
        f"Rolls short and left over by quarter, {counted(found.jobs, 'job')}: as really priced"
        f" {sums['really_short']:g} short and {sums['really_left_over']:g} left over; with the"
        f" allowances known before each quarter {sums['foretold_short']:g} short and"
        f" {sums['foretold_left_over']:g} left over."
    )
    return Picture("hindsight", figure, alt, table)


def _quarter_panel(axes: Axes, part: pd.DataFrame, colour: str) -> None:
    reach = np.abs(part[["low", "high"]].to_numpy().T - part["mean"].to_numpy())
    reach = np.where(np.isfinite(reach), reach, np.nan)
    places = np.arange(len(part))
    look: dict[str, Any] = {"color": colour, "ecolor": INK, "elinewidth": 0.8, "markersize": 4}
    axes.errorbar(places, part["mean"], reach, fmt="o-", **look)
    zero_line(axes, upright=False)
    step = max(-(-len(part) // 3), 1)
    axes.set_xticks(places[::step], part["quarter"].iloc[::step].tolist())
    axes.tick_params(axis="y", labelsize=9)


def _with_reach(row: pd.Series) -> str:
    return ("+" if row["mean"] > 0 else "") + give_or_take(row)


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{number(value)}"
