"""What a column, or the whole book, tells before its cells are read one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from airstats.catalog.units import own_unit
from airstats.intake.readings import ColumnFacts, Doubt

_NOTHING = ColumnFacts()


def facts_of(
    column: str, heading: str, cells: Sequence[object], known: ColumnFacts = _NOTHING
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Work out what a column tells, and what must be asked about it as a whole.

    Parameters
    ----------
    column, heading : str
        What it means (`Meaning.column`), and its heading.
    cells : sequence
        Below the heading, jobs only: no totals.
    known : ColumnFacts
        What is known already, from `book_facts`, the heading's `Meaning` or the answers; it stands
        and is not doubted again.

    Returns
    -------
    facts : ColumnFacts
        Without what is in doubt.
    doubts : tuple of Doubt
        Each is a question of its own; its answer is brought in by taking the fields in which its
        choices differ.
    """
    unit = known.unit or own_unit(column)
    return replace(known, column=column, heading=heading, unit=unit), ()


def book_facts(headings: Sequence[str], columns: Sequence[Sequence[object]]) -> ColumnFacts:
    """Work out what all columns of a book tell together: decimal mark, language, currency."""
    return _NOTHING
