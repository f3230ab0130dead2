"""The caution, and the sentences about records and data that more than one reader sees."""

from __future__ import annotations

from airstats.analysis.ewma_chart import ALL_JOBS
from airstats.base import caution
from airstats.base.number_text import chance, counted, each, listed
from airstats.model.unmet import not_counted
from airstats.reports.desk import Desk
from airstats.reports.display import Table, Words, show_table

CAUTION = Words(caution.CAUTION)


def suspect_words(desk: Desk) -> Words:
    """Name the records that look wrong."""
    named = named_suspects(desk)
    if not named:
        return Words("No record looks wrong (none with a probability of 50 % or more).")
    return Words(
        f"Look at {named}; in brackets the chance that the record is wrong: a roll lent,"
        " stolen or mistyped. Such a record hardly moves the allowances."
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
    parts = [
        f"{counted(len(table), 'job')} of {quarters[0]} to {quarters[-1]} from"
        f" {desk.records.source} are used; {len(desk.excluded)} excluded with a reason",
        f"{len(desk.records.set_aside)} rows set aside as faulty",
    ]
    if desk.later:
        parts.append(f"{counted(desk.later, 'later job')} not looked at")
    said = f"{', '.join(parts)}. Digest of the records: {desk.records.digest[:23]}…."
    known = desk.previous.notes if desk.previous else ()
    return with_notes(said, known + desk.records.remarks + not_counted(desk.records, desk.now))


def with_notes(said: str, notes: tuple[str, ...]) -> Words:
    """Put what is to be noted of the data after a sentence, each on a line of its own."""
    return Words("\n\n".join([said, *(f"Note: {note}" for note in notes)]))


def line_words(line: str) -> str:
    """Return the name of a line of `drift_watch`: all jobs, or one crew's."""
    return line if line == ALL_JOBS else f"crew {line}"
