"""The pictures for the estimator who updates the allowances."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.analysis.ewma_chart import ALL_JOBS
from airstats.analysis.prior_predictive import PriorCheck
from airstats.base.number_text import counted, each, listed, number, percent
from airstats.model.allowances import Allowances, unit_of
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, INK, LIGHT, MID, zero_line
from airstats.reports.shared_charts import panels, paper
from airstats.reports.shared_text import line_words

MOST_LINES = 8
MOST_JOBS = 12
UNLABELLED = 0.02
"""A pull of a smaller share of the sd gets no figure in the picture; the CSV has it."""
VALUES = {"old": "last value", "alone": "this quarter alone", "new": "new value"}


def allowance_paths(chain: Sequence[Allowances]) -> Picture:
    """Draw how each allowance went from quarter to quarter, with its 90 % band."""
    steps = [step.table().rename_axis("allowance").reset_index() for step in chain]
    named = [table.assign(quarter=s.quarter) for s, table in zip(chain, steps, strict=True)]
    table = pd.concat(named, ignore_index=True)
    figure, grid = panels(table["allowance"].nunique(), 2, 2.8)
    for axes, (name, part) in zip(grid, table.groupby("allowance", sort=False), strict=True):
        axes.fill_between(part["quarter"], part["low"], part["high"], color=ACCENT, alpha=0.2)
        axes.plot(part["quarter"], part["mean"], color=ACCENT, marker="o", markersize=4)
        axes.set_title(str(name))
        axes.set_ylabel(_short_unit(str(name)))
        shown = list(range(0, len(part), max(len(part) // 4, 1)))
        axes.set_xticks(shown, part["quarter"].iloc[shown].tolist())
    last = table[table["quarter"].eq(chain[-1].quarter)]
    said = [f"{row.allowance} {row.mean:.2f}" for row in each(last)]
    alt = (
        f"Each allowance after every quarter from {chain[0].quarter} to {chain[-1].quarter} with"
        f" its 90 % band; in the end {listed(said)}."
    )
    return Picture("allowances", figure, alt, table)


def side_by_side(table: pd.DataFrame) -> Picture:
    """Draw last value, this quarter alone and new value of each allowance, from the comparison."""
    figure, grid = panels(len(table), 2, 1.95)
    for axes, row in zip(grid, each(table), strict=True):
        for place, (name, colour) in enumerate(zip(VALUES, (LIGHT, MID, ACCENT), strict=True)):
            value, sd = getattr(row, name), getattr(row, f"{name}_sd")
            axes.errorbar(value, place, xerr=sd, fmt="none", ecolor=INK, capsize=4, linewidth=1.2)
            axes.plot(value, place, "osD"[place], mfc=colour, mec=INK, markersize=8)
        axes.set_yticks(range(3), list(VALUES.values()))
        axes.set_ylim(2.6, -0.6)
        axes.set_title(f"{row.allowance}: {row.verdict}")
        axes.set_xlabel(f"{_short_unit(row.allowance)}; ± one sd")
    said = [
        f"{r.allowance} {r.old:.3f}, {r.alone:.3f}, {r.new:.3f} ({r.verdict})" for r in each(table)
    ]
    alt = f"Each allowance as it was, from this quarter alone, and new: {'; '.join(said)}."
    return Picture("side_by_side", figure, alt, table)


def pulls(table: pd.DataFrame) -> Picture:
    """Draw how far each new job pulls each allowance, from `case_deletion.pulls`."""
    strength = table.assign(size=table["pull_sds"].abs()).groupby("job_id")["size"].max()
    shown = strength.sort_values(ascending=False, kind="stable").head(MOST_JOBS).index.tolist()
    names = list(dict.fromkeys(table["allowance"]))
    height = 0.3 * len(shown) + 1.5
    figure, grid = panels(len(names), len(names), height, sharex=True, sharey=True)
    reach = max(table["pull_sds"].abs().max() * 1.75, 0.05)
    for axes, name in zip(grid, names, strict=True):
        part = table[table["allowance"].eq(name)].set_index("job_id").loc[shown]
        _pull_panel(axes, part)
        axes.set_title(name)
        axes.set_xlim(-reach, reach)
    grid[0].set_yticks(range(len(shown)), shown)
    grid[0].invert_yaxis()
    figure.supxlabel("pull in sd of the allowance; the figures are in its unit")
    top = table.iloc[int(table["pull_sds"].abs().to_numpy().argmax())]
    more = (
        f" The {MOST_JOBS} jobs that pull most of {len(strength)}."
        if len(strength) > MOST_JOBS
        else ""
    )
    alt = (
        f"How far {counted(len(shown), 'new job')} pull each allowance. The strongest:"
        f" {top['job_id']} on {top['allowance']}, {number(top['pull_sds'], 2)} sd.{more}"
    )
    return Picture("pulls", figure, alt, table)


def drift(watch: pd.DataFrame) -> Picture:
    """Draw the moving averages of the drift watch with their limits, one panel a line."""
    sizes = watch["line"].value_counts()
    names = [ALL_JOBS, *(n for n in sizes.index if n != ALL_JOBS)][:MOST_LINES]
    figure, grid = panels(len(names), 2, 1.9, 0.6)
    for axes, name in zip(grid, names, strict=True):
        _drift_panel(axes, watch[watch["line"].eq(name)])
        axes.set_title(f"{line_words(name)}, {counted(int(sizes[name]), 'job')}")
    figure.supylabel("moving average, sd of a job")
    figure.supxlabel("jobs in turn; grey: the limits; diamonds: outside")
    out = watch[watch["outside"]].groupby("line", sort=False)["job_id"].agg(["first", "size"])
    said = [f"{row.Index} {counted(row.size, 'job')} from {row.first}" for row in each(out)]
    outside = f"Outside: {listed(said)}." if said else "None is outside."
    more = f" {len(sizes)} lines, the first {MOST_LINES} drawn." if len(sizes) > MOST_LINES else ""
    alt = (
        "Moving average of how far jobs depart from what was foretold, with limits."
        f" {outside}{more}"
    )
    return Picture("drift", figure, alt, watch)


def prior_prediction(check: PriorCheck) -> Picture:
    """Draw the overrun that the starting belief alone expects, beside what the jobs showed."""
    table = check.table
    figure, axes = paper(3.2)
    places = table["overrun_rolls"].to_numpy()
    seen = "shown_share" in table
    width = 0.38 if seen else 0.6
    shift = width / 2 if seen else 0.0
    looks = [("expected_share", -shift, MID, "//", "starting belief alone")]
    if seen:
        looks += [("shown_share", shift, ACCENT, "", f"counted on {counted(check.jobs, 'job')}")]
    for column, aside, colour, hatch, label in looks:
        look: dict[str, Any] = {"color": colour, "edgecolor": INK, "hatch": hatch, "label": label}
        bars = axes.bar(places + aside, table[column] * 100, width, **look)
        axes.bar_label(bars, fmt="%.0f")
    names = [f"{value:+d}".replace("-", "−") if value else "0" for value in places]
    axes.set_xticks(places, names)
    axes.set_xlabel("used − priced, rolls, to the nearest roll")
    axes.set_ylabel("jobs, %")
    axes.margins(y=0.12)
    figure.legend(loc="outside lower center", ncols=2)
    shares = zip(names, table["expected_share"], strict=True)
    said = [f"{name} rolls {percent(share)}" for name, share in shares]
    alt = (
        f"Overrun of a job as the starting belief alone expects it: {listed(said)}; mean"
        f" {number(check.expected)} rolls."
    )
    if check.shown is not None:
        alt += f" The jobs showed a mean of {number(check.shown)}."
    return Picture("prior_prediction", figure, alt, table)


def _short_unit(name: str) -> str:
    return unit_of(name).replace(" of sheet", "")


def _pull_panel(axes: Axes, part: pd.DataFrame) -> None:
    places = np.arange(len(part))
    colours = np.where(part["pull_sds"] > 0, ACCENT, MID)
    axes.barh(places, part["pull_sds"], color=colours, **BAR)
    zero_line(axes)
    for place, row in zip(places, each(part), strict=True):
        if abs(row.pull_sds) < UNLABELLED:
            continue
        right = row.pull_sds >= 0
        axes.annotate(
            f"{row.pull:+.3f}".replace("-", "−"), (row.pull_sds, place), (3 if right else -3, 0),
            textcoords="offset points", va="center", ha="left" if right else "right",
        )  # fmt: skip


def _drift_panel(axes: Axes, line: pd.DataFrame) -> None:
    place, limit = line["place"].to_numpy(), line["limit"].to_numpy(dtype=float)
    axes.fill_between(place, -limit, limit, color=LIGHT, alpha=0.5, linewidth=0)
    axes.plot(place, line["ewma"], color=ACCENT, linewidth=1.4, marker=".", markersize=4)
    out = line[line["outside"].astype(bool)]
    axes.plot(out["place"], out["ewma"], "D", mfc=ACCENT, mec=INK, markersize=6)
    zero_line(axes, upright=False)
    starts = line.drop_duplicates("quarter")
    shown = starts.iloc[:: max(-(-len(starts) // 4), 1)]
    axes.set_xticks(shown["place"], shown["quarter"].tolist())
