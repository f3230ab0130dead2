"""The owner's pictures: causes, overrun against reveals, crews, quarters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.analysis.overrun_split import SHORT_WORDS
from airstats.analysis.overrun_views import OVERRUN, groups_by_reveals
from airstats.base.number_text import (
    counted,
    each,
    listed,
    listing,
    number,
    rolls,
    signed,
    that_add_up,
)
from airstats.reports.display import Picture
from airstats.reports.house_style import (
    ACCENT,
    BAR,
    HALF,
    INK,
    MID,
    label_mark,
    label_row,
    whiskers,
    zero_line,
)
from airstats.reports.shared_charts import panels, paper
from airstats.takeoff.sheet_quantities import Takeoff

HIGH = 1.6
"""Inches: the height of every picture that stands beside another."""
FOR_WORDS = 0.35
"""Share of the way across that the word beside the line needs."""
FEW = 30
"""Fewer jobs are drawn with larger dots."""
ROOM, LEVEL = 0.3, 0.25
"""Shares of the way across and up that a job's name needs; nearer misses go unnamed."""
TITLES = SHORT_WORDS | {OVERRUN: "used beyond the price", "laps_and_waste": "unpriced laps, waste"}


def cascade(split: pd.DataFrame, jobs: Takeoff, name: str = "causes") -> Picture:
    """Draw the way from priced to used rolls, cause by cause, half as wide as a page.

    The figures stand in a column beside the bars and add up.

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
    over, last = used - priced, len(table) + 1
    end = table["mean"].cumsum().to_numpy()
    figure, axes = paper(HIGH, HALF)
    places = np.arange(1, last)
    colours = np.where(table["mean"] > 0, ACCENT, MID)
    axes.barh(places, table["mean"], left=end - table["mean"], color=colours, **BAR)
    axes.barh(last, over, color=INK, **BAR)
    half = (table["high"] - table["low"]) / 2
    whiskers(axes, end, places, half.where(half >= 0.005))
    ends = [f"priced: {rolls(round(priced, 1))}", f"used: {rolls(round(used, 1))}"]
    titles = [TITLES[cause] for cause in table["cause"]]
    axes.set_yticks([0, *places, last], [ends[0], *titles, ends[1]])
    digits = 0 if abs(over) >= 9.95 and float(over).is_integer() else 1
    shown = _figures(table["mean"], half, digits)
    for place, text in zip([*places, last], [*shown, signed(over, digits)], strict=True):
        label_row(axes, place, text)
    zero_line(axes)
    axes.set_ylim(last + 0.6, -0.6)
    axes.set_xlabel("rolls, added up; whiskers: 90 %")
    names = table["cause"].map(SHORT_WORDS)
    said = [f"{n} {text}" for n, text in zip(names, shown, strict=True)]
    alt = f"From {ends[0]} to {ends[1]}, in rolls: {listed(said)}; together"
    return Picture(name, figure, f"{alt} {signed(over, digits)}.", table)


def _figures(means: pd.Series, halves: pd.Series, digits: int) -> list[str]:
    """What each cause took, with its ±, rounded so that they add up; what is sure stays."""
    exact = halves < 0.5 * 10.0**-digits
    around = [f" ± {number(half, digits)}" for half in halves.mask(exact, 0)]
    loosest = int((halves / means.abs().clip(lower=1e-9)).argmax())
    parts = zip(that_add_up(means, digits, loosest), around, exact, strict=True)
    return [signed(mean, digits) + ("" if sure else reach) for mean, reach, sure in parts]


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
    line, missed = table.sort_values("reveal_m2"), table[table["missed"].astype(bool)]
    area, first, last = line["reveal_m2"], line.iloc[0], line.iloc[-1]
    size = 4.0 if len(table) < FEW else 2.0
    axes.plot(table["reveal_m2"], table["overrun_rolls"], "o", color=MID, markersize=size)
    axes.plot(missed["reveal_m2"], missed["overrun_rolls"], "o", color=ACCENT)
    axes.plot(area.iloc[[0, -1]], line["line_rolls"].iloc[[0, -1]], color=INK)
    label_mark(axes, last["reveal_m2"], last["line_rolls"], "foretold")
    groups = groups_by_reveals(table)
    half = groups["mean"] - groups["low"]
    whiskers(axes, groups["mean"], groups["reveal_m2"], half, upright=True)
    axes.plot(groups["reveal_m2"], groups["mean"], "s", color=INK, markersize=4.0)
    for row in _apart(missed, np.ptp(area), np.ptp(axes.get_ylim())):
        label_mark(axes, row.reveal_m2, row.overrun_rolls, row.job_id, "above", color=ACCENT)
    axes.set_xlim(right=area.max() + FOR_WORDS * max(np.ptp(area), 1))
    axes.margins(y=0.15)
    means = f"; square: mean of {groups['jobs'].median():.0f} jobs, 90 %" if len(groups) else ""
    axes.set_xlabel(f"reveals of the job, m²\ndot: a job{means}")
    axes.set_ylabel("rolls over")
    said = [f"{number(row.mean, 2)} at {number(row.reveal_m2, 0)} m²" for row in each(groups)]
    alike = f" Means of jobs alike in their reveals: {listed(said)}." if said else ""
    alt = (
        f"Rolls over the price against m² of reveal, {counted(len(table), 'job')}: a dot a job; the"
        f" line that the allowances foretell goes from {number(first['line_rolls'], 2)} rolls at"
        f" {number(first['reveal_m2'], 0)} m² to {number(last['line_rolls'], 2)} at"
        f" {number(last['reveal_m2'], 0)} m².{alike}"
        f" Outside what was foretold: {listing(missed['job_id'])}."
    )
    return Picture("reveals", figure, alt, table)


def _apart(missed: pd.DataFrame, across: float, up: float) -> Iterator[Any]:
    """Yield the misses whose names have room; the sentence names them all."""
    for row in each(missed):
        level = (missed["overrun_rolls"] - row.overrun_rolls).abs() < LEVEL * up
        beside = (missed["reveal_m2"] - row.reveal_m2).abs() < ROOM * across
        if (level & beside).sum() == 1:
            yield row


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
