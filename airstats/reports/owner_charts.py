"""The owner's pictures: causes, overrun against reveals, crews, quarters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.analysis.overrun_split import SHORT_WORDS
from airstats.analysis.overrun_views import OVERRUN
from airstats.base.number_text import (
    counted,
    each,
    give_or_take,
    listed,
    listing,
    number,
    rolls,
    signed,
)
from airstats.reports.display import Picture
from airstats.reports.house_style import (
    ACCENT,
    BAR,
    HALF,
    INK,
    LIGHT,
    MID,
    label_mark,
    whiskers,
    zero_line,
)
from airstats.reports.shared_charts import panels, paper
from airstats.takeoff.sheet_quantities import Takeoff

HIGH = 1.8
"""Inches: the height of every picture that stands beside another."""
FOR_WORDS = 0.35
"""Share of the way across that the figures beside the bars need."""
ROOM, LEVEL = 0.3, 0.1
"""Shares of the way across and up that a job's name needs; nearer misses go unnamed."""
WHOLE_ROLLS = "\ndot: half a roll below a whole-roll count"
"""Of an opened roll anything up to all was used: its middle is drawn."""
TITLES = {OVERRUN: "used beyond the price", **SHORT_WORDS, "already_priced": "held in the price"}


def cascade(split: pd.DataFrame, jobs: Takeoff, name: str = "causes") -> Picture:
    """Draw the way from priced to used rolls, cause by cause, half as wide as a page.

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
    figure, axes = paper(HIGH, HALF)
    places = np.arange(1, last)
    colours = np.where(table["mean"] > 0, ACCENT, MID)
    axes.barh(places, table["mean"], left=start, color=colours, **BAR)
    axes.barh(last, used - priced, color=INK, **BAR)
    reach = ((table["high"] - table["low"]) / 2).where(lambda half: half >= 0.005)
    whiskers(axes, end, places, reach)
    names = [TITLES[cause] for cause in table["cause"]]
    ends = [f"priced: {rolls(round(priced, 1))}", f"used: {rolls(round(used, 1))}"]
    axes.set_yticks([0, *places, last], [ends[0], *names, ends[1]])
    shown = [_with_reach(row) for _, row in table.iterrows()]
    around = reach.fillna(0).to_numpy()
    edges = np.maximum(np.maximum(start, end), end + around)
    for place, edge, text in zip(
        [0, *places, last],
        [0, *edges, max(used - priced, 0)],
        ["0", *shown, signed(used - priced)],
        strict=True,
    ):
        label_mark(axes, edge, place, text)
    zero_line(axes)
    axes.set_ylim(last + 0.6, -0.6)
    least, most = min(start.min(), (end - around).min(), 0), max(edges.max(), used - priced, 0)
    axes.set_xlim(least - 0.05 * (most - least), most + FOR_WORDS * (most - least))
    figure.supxlabel("rolls, added up; whiskers: 90 %")
    said = [f"{n} {text}" for n, text in zip(names, shown, strict=True)]
    alt = f"From {ends[0]} to {ends[1]}, in rolls: {listed(said)}; together"
    return Picture(name, figure, f"{alt} {signed(used - priced)}.", table)


def job_cascade(split: pd.DataFrame, jobs: Takeoff) -> Picture | None:
    """Draw one job's way from priced to used rolls, from `job_split`; nothing for no job."""
    if split.empty:
        return None
    own = jobs.where(jobs.table["job_id"].eq(split["group"].iloc[0]))
    return cascade(split, own, "job_causes")


def by_reveals(table: pd.DataFrame) -> Picture | None:
    """Draw each job's overrun against its reveals, with what the allowances foretell.

    Parameters
    ----------
    table : DataFrame
        From `overrun_by_reveals`; a picture needs two jobs.
    """
    if len(table) < 2:
        return None
    figure, axes = paper(HIGH, HALF)
    line = table.sort_values("reveal_m2", ignore_index=True)
    area = line["reveal_m2"]
    ends = line.iloc[[0, -1]]
    for end, way in (("line_low", "--"), ("line_rolls", "-"), ("line_high", "--")):
        axes.plot(ends["reveal_m2"], ends[end], way, color=INK, lw=1.4 if way == "-" else 0.8)
    looks = ((~line["missed"], MID, LIGHT, 2.0), (line["missed"], ACCENT, ACCENT, 5.0))
    for part, colour, paler, size in looks:
        own = line[part.astype(bool)]
        low, high = own["low_rolls"], own["high_rolls"]
        axes.vlines(own["reveal_m2"], low, high, color=paler, lw=0.8, zorder=1)
        axes.plot(own["reveal_m2"], (low + high) / 2, "o", color=colour, markersize=size)
    missed = line[line["missed"].astype(bool)]
    for row, side in _apart(missed, area.min(), np.ptp(area), np.ptp(axes.get_ylim())):
        label_mark(axes, row.reveal_m2, row.middle, row.job_id, side, color=ACCENT)
    last = line.iloc[-1]
    label_mark(axes, last["reveal_m2"], last["line_rolls"], "foretold")
    label_mark(axes, last["reveal_m2"], last["line_high"], "90 %")
    # The line of nothing ends with the jobs, so that it does not run through the words.
    axes.hlines(0, area.min(), area.max(), color=INK, linewidth=0.8)
    axes.set_xlim(right=area.max() + FOR_WORDS * max(np.ptp(area), 1))
    whole = np.isclose(line["high_rolls"] - line["low_rolls"], 1).any()
    axes.set_xlabel(f"reveals of the job, m²{WHOLE_ROLLS if whole else ''}")
    axes.set_ylabel("rolls over the price")
    alt = (
        f"Rolls over the price against m² of reveal, {counted(len(table), 'job')}: a dot a job, its"
        " upright line what the count allows; the line that the allowances foretell rises from"
        f" {number(line['line_rolls'].iloc[0], 2)} rolls at {number(area.iloc[0], 0)} m² to"
        f" {number(last['line_rolls'], 2)} at {number(area.iloc[-1], 0)} m²; its band holds 90 % of"
        f" such jobs. Outside what was foretold: {listing(missed['job_id'])}."
    )
    return Picture("reveals", figure, alt, table)


def _apart(
    missed: pd.DataFrame, least: float, across: float, up: float
) -> Iterator[tuple[Any, str]]:
    """Yield the misses whose names have room, each with its side; the sentence names them all."""
    ends = missed[["low_rolls", "high_rolls"]].to_numpy().T
    missed = missed.assign(middle=sum(ends) / 2)
    for row in each(missed):
        level = (ends[0] - LEVEL * up < row.middle) & (row.middle < ends[1] + LEVEL * up)
        beside = (missed["reveal_m2"] - row.reveal_m2).abs() < ROOM * across
        if (level & beside).sum() == 1:
            yield row, "right" if row.reveal_m2 < least + 0.6 * across else "left"


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


def quarters(table: pd.DataFrame, moved: Sequence[str]) -> Picture:
    """Draw what rises or falls from quarter to quarter, rolls a job.

    Parameters
    ----------
    table : DataFrame
        From `by_quarter`.
    moved : sequence of str
        The causes to draw, or the overrun itself.
    """
    across = min(len(moved), 3)
    figure, grid = panels(len(moved), across, 1.6, sharex=True, sharey=True)
    for axes, cause in zip(grid, moved, strict=True):
        _quarter_panel(axes, table[table["cause"].eq(cause)], ACCENT if cause == OVERRUN else MID)
        axes.set_title(TITLES[cause])
    figure.supylabel("rolls a job")
    figure.supxlabel("quarter; whiskers: 90 %")
    whole = table[table["cause"].eq(OVERRUN)]
    said = [f"{row.quarter} {number(row.mean, 2)}" for row in each(whole)]
    named = listed([TITLES[cause] for cause in moved])
    alt = f"Rolls a job by quarter: {named}. Overrun of a job, {listed(said)}."
    return Picture("quarters", figure, alt, table)


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
    return ("+" if float(f"{row['mean']:.1f}") > 0 else "") + give_or_take(row)
