"""What a cell of a firm's own book may mean, and what its column tells beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Reading:
    """One way to read a cell.

    Parameters
    ----------
    value
        A float in the unit of the contract's column, a text, a date as the records take it
        ("2023-10-14", "2023-10", "2023Q4"), a tuple of `OpeningText` (empty: there are none), or
        None: the cell says that it is not known.
    kind
        "" for a plain value, else a short stable name of how it was understood, such as
        "fraction": readings of one kind are told and asked about together.
    said
        How it was understood in one phrase, "5½ read as 5.5"; "" for a plain value.
    also
        What the cell tells of other columns of its row, as (column, value): "3 rolls + a bit"
        tells that whole opened rolls were counted.
    """

    value: Any
    kind: str = ""
    said: str = ""
    also: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True)
class OpeningText:
    """One kind of opening as a cell gives it, lengths in mm; None is what the cell does not say."""

    width_mm: float | None
    height_mm: float | None
    count: int | None = None
    reveal_mm: float | None = None
    sides: int | None = None
    cut_pattern: str | None = None
    mark: str = ""


@dataclass(frozen=True)
class ColumnFacts:
    """What a column tells before any of its cells is read; "" or None is what it does not tell.

    Parameters
    ----------
    column
        A column of the contract, or one of `cell_readers.OWN_COLUMNS`.
    heading
        As it stands in the book.
    unit
        Of the numbers that bear none: mm, cm, m, in, ft, m2, ft2, yd2, "%" or "share"; "m2" under
        a count of rolls where the column holds m² of sheet.
    decimal
        "point" or "comma".
    dates
        "day-first" or "month-first".
    short_dates
        What "10/23" is: "month-year" or "day-month".
    swapped
        Whether day and month changed places where the spreadsheet made dates of what was typed.
    year
        Of dates that bear none, from the worksheet's name or a title.
    years
        The first and the last year that its dates lie in, by the bulk of them.
    counted
        How rolls were counted: opened, half, quarter or exact.
    currency
        "GBP", "EUR", "USD", "CHF".
    language
        "en" or "de".
    roll_m2
        What one roll holds, where m² stand under a count of rolls.
    height_first
        Whether sizes are height by width.
    last_for_all
        Whether reveal and cut behind the last of several openings hold for all of them.
    words
        The firm's own words as they were answered, (word in small letters, what it means).
    """

    column: str = ""
    heading: str = ""
    unit: str = ""
    decimal: str = ""
    dates: str = ""
    short_dates: str = ""
    swapped: bool | None = None
    year: int | None = None
    years: tuple[int, int] | None = None
    counted: str = ""
    currency: str = ""
    language: str = ""
    roll_m2: float | None = None
    height_first: bool = False
    last_for_all: bool = False
    words: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Doubt:
    """A question on a column as a whole: until it is answered, the cells concerned wait.

    Parameters
    ----------
    kind
        A short stable name, such as "unit".
    said
        What is in doubt, in one phrase: "width in mm would be 90 to 140 mm".
    choices
        The facts as each answer would make them, the likeliest first; they differ in the fields
        that the question is about, and in no other.
    witnesses
        Positions of the cells that show it, the first few.
    """

    kind: str
    said: str
    choices: tuple[ColumnFacts, ...]
    witnesses: tuple[int, ...] = ()


@dataclass(frozen=True)
class Meaning:
    """One column that a heading may mean.

    Parameters
    ----------
    column
        A column of the contract, or one of `cell_readers.OWN_COLUMNS`.
    score
        From 0 to 1: how much of the heading and of the cells speaks for it.
    unit, currency
        What the heading names, as in `ColumnFacts`.
    said
        Why, in one phrase: "used and rolls; 40 of 40 cells are counts of rolls".
    witnesses
        Positions of the cells that support it, the first few.
    """

    column: str
    score: float
    unit: str = ""
    currency: str = ""
    said: str = ""
    witnesses: tuple[int, ...] = ()
