"""Counts: of rolls, whole and in parts, and of openings."""

from __future__ import annotations

from airstats.intake.amounts import read_amount
from airstats.intake.readings import ColumnFacts, Reading


def read_roll_count(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a number of rolls; what tells how they were counted stands in `Reading.also`."""
    return read_amount(cell, facts)


def read_count(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a whole number of things."""
    return tuple(each for each in read_amount(cell, facts) if float(each.value).is_integer())
