"""The pictures for the estimator who updates the allowances."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.analysis.ewma_chart import ALL_JOBS
from airstats.base.number_text import counted, each, listed, number
from airstats.catalog.reader_names import reader_name
from airstats.model.allowances import REACH, Allowances
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, LIGHT, MID, label_mark, whiskers, zero_line
from airstats.reports.shared_charts import panels
from airstats.reports.shared_text import line_words

MOST_LINES = 6
MOST_JOBS = 10
VALUES = {"old": "last value", "alone": "this quarter", "new": "new value"}
START = "start"
"""What stands before the first quarter: common practice."""


def allowance_paths(chain: Sequence[Allowances], start: Allowances) -> Picture:
    """Draw how each allowance went from quarter to quarter, with its 90 % band.

    `start` is what the first update of the chain set out from.
    """
    first = START if not start.job_ids else start.quarter
    steps = [(first, start), *((step.quarter, step) for step in chain)]
    tables = [step.table().assign(quarter=quarter) for quarter, step in steps]
    table = pd.concat(tables).rename_axis("allowance").reset_index()
    figure, grid = panels(table["allowance"].nunique(), 4, 1.75)
    for axes, (name, part) in zip(grid, table.groupby("allowance", sort=False), strict=True):
        scale = _scale(str(name))
        places = np.arange(len(part))
        axes.fill_between(places, part["low"] * scale, part["high"] * scale, color=LIGHT, lw=0)
        axes.plot(places, part["mean"] * scale, color=ACCENT, marker="o", markersize=3)
        axes.set_title(_title(str(name)))
        axes.set_xticks(places[[0, -1]], [first, chain[-1].quarter])
        axes.margins(x=0.12)
    said = [f"{reader_name(row.allowance)} {row.mean:.2f}" for row in each(tables_end(table))]
    alt = (
        f"Each allowance after every quarter from {chain[0].quarter} to {chain[-1].quarter} with"
        f" its 90 % band; in the end {listed(said)}."
    )
    return Picture("allowances", figure, alt, table)


def tables_end(table: pd.DataFrame) -> pd.DataFrame:
    """Return the last row of each allowance."""
    return table.groupby("allowance", sort=False).tail(1)


def side_by_side(table: pd.DataFrame, first: bool = False) -> Picture:
    """Draw last value, this quarter's and new value of each allowance, from the comparison.

    In the `first` quarter the last value is common practice.
    """
    names = [START if first and name == "old" else words for name, words in VALUES.items()]
    figure, grid = panels(len(table), 4, 1.6, sharey=True)
    for axes, row in zip(grid, each(table), strict=True):
        scale = _scale(row.allowance)
        for place, name in enumerate(VALUES):
            value = getattr(row, name)
            low, high = getattr(row, f"{name}_low"), getattr(row, f"{name}_high")
            reach = np.array([[value - low], [high - value]]) * scale
            colour = ACCENT if name == "new" else MID
            whiskers(axes, [value * scale], [place], reach, colour=colour)
            axes.plot(value * scale, place, "osD"[place], color=colour)
        axes.set_title(_title(row.allowance))
    grid[0].set_yticks(range(3), ["common practice" if n == START else n for n in names])
    grid[0].set_ylim(2.6, -0.6)
    said = [
        f"{reader_name(r.allowance)} {r.old:.3f}, {r.alone:.3f}, {r.new:.3f} ({r.verdict})"
        for r in each(table)
    ]
    alt = (
        "Each allowance as it was, from this quarter alone, and new, with whiskers that hold 90 %:"
        f" {'; '.join(said)}."
    )
    return Picture("side_by_side", figure, alt, table)


def pulls(table: pd.DataFrame) -> Picture:
    """Draw how far each new job pulls each allowance, from `case_deletion.pulls`."""
    table = table.assign(share=table["pull_sds"] / REACH)
    strength = table.assign(size=table["share"].abs()).groupby("job_id")["size"].max()
    shown = strength.sort_values(ascending=False, kind="stable").head(MOST_JOBS).index.tolist()
    names = list(dict.fromkeys(table["allowance"]))
    figure, grid = panels(len(names), 4, 0.22 * len(shown) + 0.7, 0.3, sharex=True, sharey=True)
    for axes, name in zip(grid, names, strict=True):
        part = table[table["allowance"].eq(name)].set_index("job_id").loc[shown]
        colours = np.where(part["share"].abs() == strength.max(), ACCENT, MID)
        axes.barh(range(len(part)), part["share"] * 100, color=colours, **BAR)
        zero_line(axes)
        axes.set_title(reader_name(name))
    grid[0].set_yticks(range(len(shown)), shown)
    grid[0].invert_yaxis()
    figure.supxlabel("pull on the new value, % of its ±")
    top = table.iloc[int(table["share"].abs().to_numpy().argmax())]
    more = f" The {len(shown)} that pull most of {len(strength)}." * (len(strength) > len(shown))
    alt = (
        f"How far {counted(len(shown), 'new job')} pull each allowance. The strongest:"
        f" {top['job_id']} on {reader_name(top['allowance'])},"
        f" {number(100 * top['share'], 0)} % of its ±.{more}"
    )
    return Picture("pulls", figure, alt, table)


def drift(watch: pd.DataFrame) -> Picture:
    """Draw the moving averages of the drift watch as shares of their limits, one panel a line."""
    sizes = watch["line"].value_counts()
    first = [ALL_JOBS] if ALL_JOBS in sizes else []
    names = [*first, *(n for n in sizes.index if n != ALL_JOBS)][:MOST_LINES]
    figure, grid = panels(len(names), min(len(names), 3), 1.7, 0.25)
    for axes, name in zip(grid, names, strict=True):
        _drift_panel(axes, watch[watch["line"].eq(name)])
        axes.set_title(f"{line_words(name)}, {counted(int(sizes[name]), 'job')}")
    figure.supxlabel("above 0: more sheet than foretold, below: less; beyond the grey: drift")
    out = watch[watch["outside"]].groupby("line", sort=False)["job_id"].agg(["first", "size"])
    said = [
        f"{row.line} {counted(row.size, 'job')} from {row.first}" for row in each(out.reset_index())
    ]
    outside = f"Outside: {listed(said)}." if said else "None is outside."
    more = f" {len(sizes)} lines, the first {MOST_LINES} drawn." if len(sizes) > MOST_LINES else ""
    alt = (
        "Moving average of how far jobs depart from what was foretold, as a share of its limit."
        f" {outside}{more}"
    )
    return Picture("drift", figure, alt, watch)


def _drift_panel(axes: Axes, line: pd.DataFrame) -> None:
    place = line["place"].to_numpy()
    share = (line["ewma"] / line["limit"]).to_numpy(dtype=float)
    axes.axhspan(-1, 1, color=LIGHT, linewidth=0)
    axes.plot(place, share, color=MID, linewidth=1.2)
    out = line["outside"].to_numpy(dtype=bool)
    axes.plot(place[out], share[out], "D", color=ACCENT, markersize=4)
    zero_line(axes, upright=False)
    reach = max(1.25, float(np.abs(share).max(initial=0)) * 1.15)
    axes.set_ylim(-reach, reach)
    axes.set_yticks([-1, 0, 1], ["−1", "0", "1"])
    crossed = np.flatnonzero(out & ~np.concatenate([[False], out[:-1]]))
    if len(crossed):
        last = crossed[-1]
        label_mark(axes, place[last], share[last], str(line["job_id"].iloc[last]), "left")
    starts = line.drop_duplicates("quarter")
    shown = starts.iloc[[0, -1]]
    axes.set_xticks(shown["place"], shown["quarter"].tolist())


def _scale(name: str) -> float:
    """Waste is drawn in per cent."""
    return 100.0 if name == "waste" else 1.0


def _title(name: str) -> str:
    unit = "% of laid sheet" if name == "waste" else "m² a m² of reveal"
    return f"{reader_name(name)}\n{unit}"
