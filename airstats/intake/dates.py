"""Days, months, quarters and weeks, however they are written."""

from __future__ import annotations

from datetime import date, datetime

from airstats.intake.readings import ColumnFacts, Reading


def read_date(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a date as the records take it: an ISO day, "2023-10" or "2023Q4"."""
    if isinstance(cell, datetime):
        return (Reading(cell.date().isoformat()),)
    if isinstance(cell, date):
        return (Reading(cell.isoformat()),)
    try:
        return (Reading(date.fromisoformat(str(cell).strip()).isoformat()),)
    except ValueError:
        return ()
