"""What to record next: what finer counts would save in a year, for owner, estimator, consultant."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from airstats.analysis.recording_value import (
    DRAWS,
    NOW,
    OPENINGS,
    WAYS,
    most_open,
    value_of_recording,
)
from airstats.base.number_text import (
    between,
    capital,
    counted,
    each,
    in_currency,
    listed,
    number,
    roughly,
    signed,
)
from airstats.model.allowances import REACH
from airstats.pricing.order_costs import costs_of
from airstats.reports import recording_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Beside, Section, Table, Words, show_table
from airstats.reports.house_style import HALF
from airstats.reports.recording_charts import MEASURED

DONE = {
    "half rolls": "judging the last roll by halves",
    "quarter rolls": "judging the last roll by quarters",
    MEASURED: "measuring what is left on the last roll",
    "two years' jobs": "another year of jobs counted as now",
    OPENINGS: "measuring openings and reveals that now are not",
}
"""The ways of `WAYS` as something that is done."""
FIRST = 3
"""So many jobs are named to be measured first."""
EFFORT = f"a tape measure and {60 * WAYS[MEASURED].minutes:g} seconds a job"


@lru_cache(maxsize=1)
def worth(desk: Desk) -> pd.DataFrame:
    """Return `value_of_recording` of the desk's jobs."""
    if desk.recording is not None:
        return desk.recording
    return value_of_recording(desk.now, desk.jobs, *costs_of(desk.firm), DRAWS)


def sentence(desk: Desk) -> Words:
    """Say what measuring the last roll would save in a year."""
    return saving_words(worth(desk), desk.firm.currency)


def briefly(desk: Desk) -> Words:
    """Say the same in short for one who only asks whether it pays."""
    table = worth(desk)
    measured = next(each(table[table["way"].eq(MEASURED)]))
    what = f"{capital(DONE[MEASURED])} ({EFFORT}) would save"
    if measured.saving_low <= 0:
        return Words(f"{what} this firm little.")
    ends = f"{signed(measured.worst, 0)} to {signed(measured.best, 0)}"
    saved, reach = (in_currency(x, desk.firm.currency) for x in (roughly(measured.saving), ends))
    return Words(f"{what} about {saved} a year; of ten possible truths nine give {reach}.")


def in_short(desk: Desk) -> Section:
    """Show the one sentence with its picture."""
    yield sentence(desk)
    yield recording_charts.savings(worth(desk), desk.firm.currency)


def cost_a_job(desk: Desk) -> float:
    """Return what rolls left over and short are expected to cost a job, counted as now; money."""
    now = next(each(worth(desk).query("way == @NOW")))
    return float(now.cost / now.jobs)


def saving_words(table: pd.DataFrame, currency: str) -> Words:
    """Say what measuring the last roll would save, from `value_of_recording`."""
    ways = {row.way: row for row in each(table)}
    now = ways[NOW]
    cost = (
        f"of the {in_currency(number(now.cost, 0), currency)} that rolls left over and rolls short"
        f" are expected to cost a year's {now.jobs:.0f} jobs,"
        f" {in_currency(number(now.not_known, 0), currency)} would go if the allowances were known"
    )
    return Words(f"{_worthwhile(ways[MEASURED], currency)}; {cost}.")


def _worthwhile(measured: Any, currency: str) -> str:
    """Whether measuring the last roll pays, and what it takes."""
    start = "**Measuring what is left on the last roll would save"
    if measured.saving_low <= 0:
        return f"{start} this firm little**"
    saved = in_currency(_give_or_take(measured), currency)
    ends = f"{signed(measured.worst, 0)} to {signed(measured.best, 0)}"
    return (
        f"{start} about {saved} a year on average** (less {EFFORT}; the ± is the"
        f" simulation's, of ten possible truths nine give {in_currency(ends, currency)})"
    )


def section(desk: Desk) -> Section:
    """Show what each way to record would save."""
    table, currency = worth(desk), desk.firm.currency
    yield saving_words(table, currency)
    yield ways_words(table, desk.firm.labour_hour, currency)
    yield open_words(most_open(desk.now, desk.jobs))
    yield Beside(recording_charts.savings(table, currency, HALF), ways_table(table, currency))


def ways_table(table: pd.DataFrame, currency: str = "") -> Table | Words:
    """Return what each way saves in a year, with its intervals, and the work it takes."""
    saving = [
        f"{number(row.saving, 0)} ({between(row.saving_low, row.saving_high, digits=0)})"
        for row in each(table)
    ]
    truths = [f"{signed(row.worst, 0)} to {signed(row.best, 0)}" for row in each(table)]
    shown = table[["way", "minutes"]].assign(saves=saving, truths=truths)
    caption = "A year's orders after a year of records of each kind: 90 % of the simulation; of ten"
    caption = f"{caption} possible truths nine lie within the last column"
    return show_table(shown.iloc[1:], caption, "way minutes saves truths", currency)


def open_words(open_m2: pd.Series) -> Words | None:
    """Say which finished jobs to measure first, from `most_open`; nothing where all are known."""
    if open_m2.empty:
        return None
    first = [
        f"{job} (± {number(REACH * sd, 0)} m², 90 %)" for job, sd in open_m2.head(FIRST).items()
    ]
    return Words(
        f"{counted(len(open_m2), 'finished job')} came without openings or depths; what is usual of"
        f" the firm stands in for them. Drawings may still tell: first those of {listed(first)},"
        " whose sheet that leaves open the most."
    )


def ways_words(table: pd.DataFrame, labour_hour: float, currency: str = "") -> Words:
    """Say which ways would surely save, the best first, and what the figures hold.

    Parameters
    ----------
    table : DataFrame
        From `value_of_recording`.
    labour_hour : float
        Money an hour, which the work of recording costs.
    currency : str
        That of the costs, if it is known.
    """
    left = table.assign(left=table["saving"] - table["minutes"] * labour_hour / 60)
    sure = left[left["saving_low"] > 0].sort_values("left", ascending=False)
    said = [f"{DONE[row.way]} {number(row.left, 0)}" for row in each(sure)]
    hour = in_currency(f"{labour_hour:g}", currency)
    found = (
        f"In {currency or 'money'} a year, less the work at {hour} an hour: {listed(said)}."
        if said
        else "No way surely saves anything."
    )
    jobs = number(table["jobs"].iloc[0], 0)
    return Words(
        f"{found} It is the mean over {jobs} jobs like those of the last year, and over truths"
        " that are possible by what is known now. Orders are better only from the year after on."
    )


def _give_or_take(row: Any) -> str:
    """A saving above nothing with half its interval, both rounded alike: "26 ± 7"."""
    place = 1 - int(np.floor(np.log10(row.saving)))
    half = max(round(row.saving_high - row.saving, place), 10.0**-place)
    return f"{roughly(row.saving)} ± {number(half, max(place, 0))}"
