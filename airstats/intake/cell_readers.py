"""Which reader reads a cell of which column."""

from __future__ import annotations

from functools import lru_cache

from airstats.intake.amounts import read_amount
from airstats.intake.counts import read_count, read_roll_count
from airstats.intake.dates import read_date
from airstats.intake.opening_texts import read_openings, read_roll_size
from airstats.intake.readings import ColumnFacts, Reading
from airstats.intake.trade_words import read_counted, read_cut, read_exclude, read_sides, read_text

OWN_COLUMNS = ("openings", "size", "roll_size", "notes")
"""Columns of a firm's book that the contract does not have: several openings in a cell, the size
of one kind of opening, width and length of the roll, and remarks."""
_READERS = {
    "finished_on": read_date,
    "estimated_rolls": read_roll_count,
    "used_rolls": read_roll_count,
    "openings": read_openings,
    "size": read_openings,
    "roll_size": read_roll_size,
    "cut_pattern": read_cut,
    "exclude": read_exclude,
    "counted": read_counted,
    "sides": read_sides,
    "opening_count": read_count,
    "count": read_count,
} | dict.fromkeys(("job_id", "mark", "crew", "work_type", "notes"), read_text)


def read_cell(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a cell as the column that `facts` names; any other column holds amounts.

    A cell that is shown as per cent is to come as its text, "8 %".

    Returns
    -------
    tuple of Reading
        None: it cannot be read. One: it is clear. Several: the firm must be asked.
    """
    if isinstance(cell, str):
        return _read_text(cell, facts)
    return _READERS.get(facts.column, read_amount)(cell, facts)


@lru_cache(maxsize=1 << 15)
def _read_text(cell: str, facts: ColumnFacts) -> tuple[Reading, ...]:
    return _READERS.get(facts.column, read_amount)(cell, facts)
