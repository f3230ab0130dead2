"""The words of the trade, in English and German: cuts, sides, totals, ditto marks, no entry."""

from __future__ import annotations

from airstats.catalog.cut_patterns import CUTS
from airstats.intake.readings import ColumnFacts, Reading
from airstats.records.raw_table import as_text


def is_total(cell: object) -> bool:
    """Tell whether a cell is a word for a sum, alone or with a year or a count beside it."""
    return as_text(cell).strip().casefold() in ("total", "summe")


def is_ditto(cell: object) -> bool:
    """Tell whether a cell means what stands above it."""
    return as_text(cell).strip() in ('"', "ditto", "dito")


def read_cut(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a word for a cut as a key of `CUTS`."""
    word = as_text(cell).strip().casefold()
    return (Reading(word),) if word in CUTS else ()


def read_sides(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read how many sides are lined, 3 or 4."""
    return (Reading(float(as_text(cell))),) if as_text(cell) in ("3", "4") else ()


def read_counted(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read how rolls were counted: opened, half, quarter or exact."""
    word = as_text(cell).strip().casefold()
    return (Reading(word),) if word in ("opened", "half", "quarter", "exact") else ()


def read_text(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a name or a remark as it stands; a sign for no entry gives None."""
    text = as_text(cell).strip()
    return (Reading(text or None),)
