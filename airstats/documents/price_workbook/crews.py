"""The crew that is typed, found among the firm's crews in any spelling that a sheet can tell."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from airstats.base.name_matching import name_key
from airstats.documents.price_workbook.looks import name_cell

SHEET = "crews"
_FIRST = 5
_SPACE = "\u00a0"
_UNSEEN = "\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"


def add_crews(book: Workbook, crews: Sequence[str]) -> None:
    """Add the firm's crews, and name `crew_place` the place of the typed one among them.

    Parameters
    ----------
    book : Workbook
        Its name `crew` is the cell that is typed.
    crews : sequence of str
        Named `crews`, to choose from. The first has place 1; 0 stands for none of them.

    Notes
    -----
    As `name_matching.name_key`: capitals, space at the ends, signs that cannot be seen, and how
    an accent is written make no difference. A sheet cannot take a letter apart, so that every
    crew stands there in each way of writing.
    """
    sheet = book.create_sheet(SHEET)
    sheet["A1"] = "Nothing is typed here: each crew as it may be written, and its place."
    sheet["A2"], sheet["B2"] = "the crew that is typed", f"={_typed()}"
    sheet["A3"], sheet["B3"] = "its place", 0
    name_cell(book, "crew_place", SHEET, "$B$3")
    rows = [(spelling, place) for place, crew in enumerate(crews, 1) for spelling in _ways(crew)]
    for row, (spelling, place) in enumerate(rows, start=_FIRST):
        write_text(sheet, row, 1, spelling)
        sheet.cell(row, 2).value = place
    for row, crew in enumerate(crews, start=_FIRST):
        write_text(sheet, row, 4, crew)
    if rows:
        last = _FIRST + len(rows) - 1
        spellings, places = (f"${letter}${_FIRST}:${letter}${last}" for letter in "AB")
        sheet["B3"] = f"=SUMPRODUCT(MAX(EXACT({spellings},B2)*{places}))"
        name_cell(book, "crews", SHEET, f"$D${_FIRST}:$D${_FIRST + len(crews) - 1}")


def write_text(sheet: Worksheet, row: int, column: int, text: str) -> None:
    """Write a text that comes from the records, so that it never becomes a formula.

    Parameters
    ----------
    sheet : Worksheet
        To write to.
    row, column : int
        The cell, counted from 1.
    text : str
        Characters that a workbook cannot hold are dropped.
    """
    cell = sheet.cell(row, column)
    cell.value = ILLEGAL_CHARACTERS_RE.sub("", text)
    cell.data_type, cell.quotePrefix = "s", True


def _typed() -> str:
    formula = f'SUBSTITUTE(crew,"{_SPACE}"," ")'
    for sign in _UNSEEN:
        formula = f'SUBSTITUTE({formula},"{sign}","")'
    return f"LOWER(TRIM({formula}))"


def _ways(crew: str) -> list[str]:
    """Return the ways to write a crew that differ after capitals and spaces are levelled."""
    ways = [
        unicodedata.normalize(form, text)
        for text in (crew.lower(), name_key(crew))
        for form in ("NFC", "NFD")
    ]
    return list(dict.fromkeys(" ".join(way.split()) for way in ways))
