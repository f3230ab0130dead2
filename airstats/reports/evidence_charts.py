"""The pictures of the evidence: every job, beliefs before and after, single jobs, several firms."""

from __future__ import annotations

from textwrap import fill
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.backtests.forecast_checks import ABOVE, BELOW, INSIDE, OPEN
from airstats.base.number_text import counted, each, listed, number, percent
from airstats.catalog.reader_names import reader_name
from airstats.reports.display import Picture
from airstats.reports.house_style import (
    ACCENT,
    BAR,
    DARK,
    HALF,
    INK,
    LIGHT,
    MID,
    label_mark,
    whiskers,
    zero_line,
)
from airstats.reports.shared_charts import panels, paper

MOST_JOBS = 240
"""So many jobs can be told apart side by side on A4; of more, every second or third is drawn."""
NAMED = 8
"""So many jobs are named at either end."""
FAR_SD, EDGE_SD = 3.0, 5.0
"""A job that departs further is named; one beyond the second is drawn at the edge, with its sd."""
LEARNT = 0.10
"""A number of which the jobs taught less than this share is common practice."""


def every_job(table: pd.DataFrame) -> Picture:
    """Draw each job's count beside the interval foretold for it, from `interval_checks`.

    Sorted by how far the count lies beyond what was foretold, which is nothing on the chart. Of
    more than `MOST_JOBS` all misses are drawn, and of the others one in so many.
    """
    drawn = drawn_jobs(table)
    figure, axes = paper(3.6)
    places, middle = np.arange(len(drawn)), drawn["expected_m2"]
    thick = min(9.0, 430 / len(drawn))
    axes.vlines(places, drawn["low_m2"] - middle, drawn["high_m2"] - middle, LIGHT, linewidth=thick)
    tones = {OPEN: MID, INSIDE: INK, ABOVE: ACCENT, BELOW: ACCENT}
    for where, tone in tones.items():
        own = drawn["where"].eq(where).to_numpy()
        low, high = (drawn.loc[own, f"used_{end}_m2"] - middle[own] for end in ("low", "high"))
        axes.vlines(places[own], low, high, tone, linewidth=min(2.5, max(thick / 2.5, 0.8)))
    zero_line(axes, upright=False)
    axes.set(xticks=[], xlim=(-0.07 * len(drawn) - 1, 1.07 * len(drawn)))
    axes.spines["bottom"].set_visible(False)
    axes.grid(False)
    _name_misses(axes, drawn)
    _tell_tones(axes, table, drawn)
    axes.set_ylabel("m² beyond what was foretold")
    axes.set_xlabel(
        "the jobs, sorted by how far the middle of the count lies beyond what was foretold"
    )
    misses = table.loc[table["where"].isin([ABOVE, BELOW]), "job_id"].tolist()
    said = f"surely outside: {listed(misses[:20])}" if misses else "none is surely outside"
    more = f" and {len(misses) - 20} more" if len(misses) > 20 else ""
    alt = (
        f"Counted interval of {counted(len(table), 'job')} beside the 80 % interval foretold from"
        f" earlier quarters: {said}{more}."
    )
    return Picture("every_job", figure, alt, table)


def drawn_jobs(table: pd.DataFrame) -> pd.DataFrame:
    """Return the jobs of `interval_checks` that are drawn: all, or every miss and one in so many.

    The others are those at even places, so that the shape stays.
    """
    missed = table["where"].isin([ABOVE, BELOW]).to_numpy()
    step = -(-len(table) // MOST_JOBS)
    kept = missed | (np.arange(len(table)) % step == 0)
    return table[kept].reset_index(drop=True)


def _tell_tones(axes: Axes, table: pd.DataFrame, drawn: pd.DataFrame) -> None:
    """Say what the tones mean in the corners that sorting leaves empty, with numbers of jobs."""
    count = table["where"].value_counts()
    misses = int(count.get(ABOVE, 0) + count.get(BELOW, 0))
    told = (
        ("A line: what a job's count can stand for", DARK),
        (f"{counted(misses, 'job')} surely outside", ACCENT),
        (f"{counted(int(count.get(INSIDE, 0)), 'job')} surely inside", INK),
        (f"{counted(int(count.get(OPEN, 0)), 'job')} where the count tells neither", DARK),
    )
    for line, (words, tone) in enumerate(told):
        axes.text(0.02, 0.97 - 0.075 * line, words, color=tone, va="top", transform=axes.transAxes)
    step = -(-len(table) // MOST_JOBS)
    every = {2: "second", 3: "third"}.get(step, f"{step}th")
    rest = f"drawn: all outside, every {every} of the rest" if len(drawn) < len(table) else ""
    said = "\n".join(filter(None, ["grey bar: 80 % foretold from earlier quarters", rest]))
    axes.text(
        0.93, 0.03, said, color=DARK, ha="right", va="bottom", transform=axes.transAxes
    )  # fmt: skip


def _name_misses(axes: Axes, drawn: pd.DataFrame) -> None:
    """Write the names of the farthest misses at either end, beside their counts."""
    low, high = axes.get_ylim()
    for where, edge, side in ((BELOW, -1.5, "right"), (ABOVE, len(drawn) + 0.5, "left")):
        own = drawn[drawn["where"].eq(where)]
        own = own.head(NAMED) if where == BELOW else own.tail(NAMED)
        middle = (own["used_low_m2"] + own["used_high_m2"]) / 2 - own["expected_m2"]
        places = _apart(middle.to_numpy(), 0.075 * (high - low))
        for job, up in zip(own["job_id"], places, strict=True):
            axes.text(edge, up, job, color=ACCENT, ha=side, va="center")


def _apart(wanted: np.ndarray, gap: float) -> np.ndarray:
    """Places as near as may be to those wanted, in their order, at least `gap` apart."""
    step = gap * np.arange(len(wanted))
    # Pushed up only, then let down by half of the push on the mean.
    pushed = np.maximum.accumulate(wanted - step) + step
    return pushed - (pushed - wanted).mean() if len(wanted) else pushed


def beliefs(table: pd.DataFrame) -> Picture:
    """Draw every number of the model before any job and now, from `belief_table`."""
    small = table["unit"].eq("m² a m² laid")
    parts = [table[small].iloc[::-1], table[~small].iloc[::-1]]
    figure, grid = panels(2, 2, 0.4 * max(map(len, parts)) + 0.6)
    units = ("m² a m² laid", "m² a m² of reveal,\nor share")
    for axes, part, unit in zip(grid, parts, units, strict=True):
        _draw_beliefs(axes, part, ("before any job", "now") if unit == units[0] else ("", ""))
        axes.set_xlabel(f"{unit}; 90 %")
    said = [
        f"{reader_name(row.quantity)} {number(row.start, 3)} ({number(row.start_low, 3)} to"
        f" {number(row.start_high, 3)}), now {number(row.mean, 3)} ({number(row.low, 3)} to"
        f" {number(row.high, 3)})"
        for row in each(table)
    ]
    alt = f"Before any job, and now, with 90 % intervals: {'; '.join(said)}."
    data = table.assign(quantity=[reader_name(name) for name in table["quantity"]])
    return Picture("beliefs", figure, alt, data)


def _draw_beliefs(axes: Axes, part: pd.DataFrame, words: tuple[str, str]) -> None:
    places = np.arange(len(part))
    looks = (("start", "start_", MID, 0.2), ("mean", "", ACCENT, -0.2))
    for (name, start, tone, up), said in zip(looks, words, strict=True):
        mean, low, high = part[name], part[f"{start}low"], part[f"{start}high"]
        whiskers(axes, mean, places + up, np.maximum([mean - low, high - mean], 0), colour=tone)
        axes.plot(mean, places + up, "o", color=tone)
        label_mark(axes, high.iloc[0], up, said, color=tone)
    axes.set_yticks(places, [_learnt_name(row) for row in each(part)])
    axes.set_ylim(-0.6, len(part) - 0.4)
    axes.grid(axis="y", visible=False)
    # Less than nothing is not meant: the normal curve does not know that.
    axes.set_xlim(left=0.0)


def _learnt_name(row: Any) -> str:
    taught = f"{percent(row.learnt)} learnt" if row.learnt >= LEARNT else "common practice"
    return f"{reader_name(row.quantity)}\n{taught}"


def influence(table: pd.DataFrame, limit: int = 5) -> Picture:
    """Draw each job's departure from the fit against its pull on an order; `pull_on_order`.

    Parameters
    ----------
    table : DataFrame
        From `pull_on_order`.
    limit : int
        So many of the jobs that pull most, and of those that depart most, are named.
    """
    figure, axes = paper(2.5, HALF)
    far = table["departure_sd"].abs()
    named = table.index.isin([*table.index[:limit], *far[far > FAR_SD].nlargest(limit).index])
    drawn = table.assign(departure_sd=table["departure_sd"].clip(-EDGE_SD, EDGE_SD))
    axes.plot(drawn["departure_sd"], drawn["pull_rolls"], "o", color=MID, markersize=3.5)
    few = table[named]
    axes.plot(drawn.loc[named, "departure_sd"], few["pull_rolls"], "o", color=ACCENT)
    zero_line(axes, upright=False)
    zero_line(axes)
    axes.margins(0.2, 0.12)
    _name_few(axes, drawn[named], [_far_name(row) for row in each(few)])
    axes.set_xlabel("departure from what is expected, sd")
    axes.set_ylabel("pull on the order, rolls")
    said = [
        f"{row.job_id} {number(row.departure_sd, 1)} sd, {number(row.pull_rolls, 2)} rolls"
        for row in each(few)
    ]
    alt = f"Departure and pull of {counted(len(table), 'job')}; the strongest: {listed(said)}."
    return Picture("influence", figure, alt, table)


def _far_name(row: Any) -> str:
    over = abs(row.departure_sd) > EDGE_SD
    return f"{row.job_id} (at {number(row.departure_sd, 0)} sd)" if over else str(row.job_id)


def _name_few(axes: Axes, few: pd.DataFrame, names: list[str]) -> None:
    """Write each name beside its mark, on the first side that no other name or mark takes."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    across = (few["departure_sd"].to_numpy() - left) / (right - left)
    up = (few["pull_rolls"].to_numpy() - low) / (high - low)
    taken = [(x, y, 0.02, 0.05) for x, y in zip(across, up, strict=True)]
    for place, name in enumerate(names):
        x, y, wide = across[place], up[place], 0.028 * len(name)
        sides = {"right": (x + 0.03 + wide / 2, y), "left": (x - 0.03 - wide / 2, y)}
        sides |= {"above": (x, y + 0.08), "below": (x, y - 0.08)}
        free = [
            side
            for side, (cx, cy) in sides.items()
            if wide / 2 < cx < 1 - wide / 2
            and not any(
                abs(cx - tx) < (wide + tw) / 2 and abs(cy - ty) < (0.055 + th) / 2
                for tx, ty, tw, th in taken
            )
        ]
        side = (free or ["right"])[0]
        taken.append((*sides[side], wide, 0.055))
        at = few.iloc[place]
        label_mark(axes, at["departure_sd"], at["pull_rolls"], name, side)


def calibration(table: pd.DataFrame) -> Picture:
    """Draw the share of uses below each foretold quantile, with what chance allows."""
    figure, axes = paper(2.3, HALF)
    places = range(len(table))
    low, high = table["chance_low"] * 100, table["chance_high"] * 100
    axes.barh(places, high - low, left=low, height=0.62, color=LIGHT)
    axes.hlines(places, table["surely"] * 100, table["possibly"] * 100, color=MID)
    axes.plot(table["below"] * 100, places, "o", color=ACCENT)
    axes.set_yticks(places, [f"{percent} % point" for percent in table["percent"]])
    axes.set(xlim=(0, 100), ylim=(len(table) - 0.4, -2.3))
    axes.text(1, -1.95, "dot: open counts spread", color=ACCENT, va="center")
    axes.text(1, -1.4, "line: what the counts leave open", color=DARK, va="center")
    axes.text(1, -0.85, "grey: what chance allows, 90 %", color=DARK, va="center")
    axes.grid(False)
    axes.set_xlabel("uses below the foretold point, %")
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
    figure, grid = panels(len(parts), len(parts), 1.7, sharey=True)
    for axes, (name, part) in zip(grid, parts, strict=True):
        axes.bar(part["bar"] + 1, part["firms"], color=ACCENT, width=0.9, **BAR)
        axes.axhspan(part["low"].iloc[0], part["high"].iloc[0], color=LIGHT, alpha=0.5, zorder=0)
        axes.set_title(fill(str(name), 18))
        axes.set_xticks([1, 5, 10])
    grid[0].set_ylabel("invented firms")
    figure.supxlabel("tenth of the ranks; grey: what chance allows, 99 %", color=DARK)
    said = [f"{name} {part['firms'].min()} to {part['firms'].max()}" for name, part in parts]
    low, high = table["low"].iloc[0], table["high"].iloc[0]
    alt = (
        f"Invented firms in each tenth of the ranks: {listed(said)}; chance allows"
        f" {number(low, 0)} to {number(high, 0)} (grey)."
    )
    return Picture("ranks", figure, alt, table)


def firms(table: pd.DataFrame) -> Picture:
    """Draw each allowance by firm with its 90 % interval, from `firm_table`."""
    parts = list(table.groupby("allowance", observed=True))
    figure, grid = panels(len(parts), 2, 0.5 * table["firm"].nunique() + 1.2, sharey=True)
    for axes, (name, part) in zip(grid, parts, strict=True):
        places = range(len(part))
        reach = [part["mean"] - part["low"], part["high"] - part["mean"]]
        axes.errorbar(part["mean"], places, xerr=reach, fmt="o", color=ACCENT, capsize=4)
        axes.set_yticks(places, [f"{r.firm} ({counted(r.jobs, 'job')})" for r in each(part)])
        axes.set_title(reader_name(str(name)))
        axes.set_xlabel(f"{part['unit'].iloc[0].replace(' of sheet', '')}; 90 %")
        axes.set_ylim(len(part) - 0.5, -0.5)
    said = [f"{r.firm} {reader_name(r.allowance)} {number(r.mean, 2)}" for r in each(table)]
    alt = f"Each allowance by firm with its 90 % interval; means: {listed(said)}."
    return Picture("firms", figure, alt, table)
