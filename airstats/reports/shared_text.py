"""The caution, and the sentences about records and data that more than one reader sees."""

from __future__ import annotations

import numpy as np

from airstats.analysis.ewma_chart import ALL_JOBS
from airstats.analysis.sensitivity import not_told
from airstats.base import caution
from airstats.base.number_text import chance, counted, each, listed, number
from airstats.model.allowances import REACH
from airstats.model.unmet import not_counted
from airstats.reports.desk import Desk
from airstats.reports.display import Table, Words, show_table
from airstats.takeoff.sheet_quantities import Takeoff
from airstats.takeoff.unmeasured import DEPTHS, OPENINGS
from airstats.takeoff.usual_openings import SURFACE_M2, quantity_names

CAUTION = Words(caution.CAUTION)


def suspect_words(desk: Desk) -> Words:
    """Name the records that look wrong."""
    named = named_suspects(desk)
    if not named:
        return Words("No record looks wrong (none with a probability of 50 % or more).")
    return Words(
        f"Look at {named}; in brackets the chance that the record is wrong: a roll lent,"
        " stolen or mistyped. Correct it and run again, or leave it: such a record hardly moves the"
        " allowances."
    )


def named_suspects(desk: Desk) -> str:
    """List the records that look wrong, in brackets the chance of it."""
    suspects = each(desk.suspects())
    return listed([f"{row.job_id} ({row.quarter}, {chance(row.probability)})" for row in suspects])


def excluded_table(desk: Desk, caption: str) -> Table | Words:
    """Return the jobs that are left out, with the reason."""
    columns = "job_id quarter crew estimated_rolls used_rolls exclude"
    return show_table(desk.excluded, caption, columns)


def data_words(desk: Desk) -> Words:
    """Say which jobs are used, and which are not and why."""
    table = desk.jobs.table
    quarters = sorted(set(table["quarter"]))
    span = " to ".join(dict.fromkeys((quarters[0], quarters[-1])))
    out, aside = len(desk.excluded), len(desk.records.set_aside)
    parts = [f"{counted(out, 'job')} excluded with a reason"] if out else []
    if aside:
        parts.append(f"{counted(aside, 'row')} set aside as faulty or waiting for an answer")
    if desk.later:
        parts.append(f"{counted(desk.later, 'later job')} not looked at")
    rest = ", ".join(parts) or "none is excluded or set aside"
    used = "is" if len(table) == 1 else "are"
    source = f"{counted(len(table), 'job')} of {span} from {desk.records.source} {used} used"
    said = f"{source}; {rest}. Digest of the records: {desk.records.digest[:23]}…."
    known = desk.previous.notes if desk.previous else ()
    known += desk.records.remarks + not_counted(desk.records, desk.now)
    return with_notes(said, known + unmeasured_notes(desk))


def unmeasured_notes(desk: Desk) -> tuple[str, ...]:
    """Say which of the finished jobs have unknown openings or depths, and what stands in."""
    jobs, habits = desk.jobs.table, desk.now.belief.habits
    place = [name.startswith("reveal") for name in quantity_names()]
    reveals = float(habits.openings.mean[0, place].sum())
    sd = float(np.sqrt(habits.openings.covariance[np.ix_(place, place)].sum()))
    usual = {
        OPENINGS: f"{number(reveals, 0)} ± {number(REACH * sd, 0)} m² of reveals in a house of"
        f" {SURFACE_M2:g} m²",
        DEPTHS: f"reveals {number(habits.usual_depth_mm, 0)} ±"
        f" {number(REACH * habits.depth_sd_mm, 0)} mm"
        " deep",
    }
    return tuple(
        f"the {what} of {int(own.sum())} of {counted(len(jobs), 'job')} are unknown: they are"
        f" reckoned as usual, {usual[what]}, and what this leaves open is part of every interval."
        for what in usual
        if (own := desk.jobs.unmeasured == what).any()
    )


def counted_as_told(jobs: Takeoff) -> str:
    """Say what the records tell of how opened rolls were counted."""
    asked = not_told(jobs)
    if not asked.any():
        return "The records say that opened rolls count whole"
    which = "" if asked.all() else f" in {int(asked.sum()):,} of {counted(len(asked), 'job')}"
    return f"How rolls were counted the records do not say{which}"


def with_notes(said: str, notes: tuple[str, ...]) -> Words:
    """Put what is to be noted of the data after a sentence, each on a line of its own."""
    return Words("\n\n".join([said, *(f"Note: {note}" for note in notes)]))


def line_words(line: str) -> str:
    """Return the name of a line of `drift_watch`: all jobs, or one crew's."""
    return line if line == ALL_JOBS else f"crew {line}"
