"""The crew that is typed, found among the firm's crews in any spelling that a sheet can tell."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from openpyxl.workbook import Workbook

from airstats.base.name_matching import name_key
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.documents.price_workbook.looks import name_cell, protect, write_text

SHEET = "crews"
_FIRST = 5
_SPACE = "\u00a0"
_UNSEEN = "\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"


def add_crews(book: Workbook, crews: Sequence[str]) -> None:
    """Add the firm's crews, named `crews` to choose from; see `crew_step`.

    Notes
    -----
    As `name_matching.name_key`: capitals, space at the ends, signs that cannot be seen, and how
    an accent is written make no difference. A sheet cannot take a letter apart, so that every
    crew stands there in each way of writing.
    """
    sheet = book.create_sheet(SHEET)
    sheet.sheet_state = "hidden"
    protect(sheet)
    sheet["A1"] = "Nothing is typed here: each crew as it may be written, and its place."
    for row, (spelling, place) in enumerate(_spellings(crews), start=_FIRST):
        write_text(sheet, row, 1, spelling)
        sheet.cell(row, 2).value = place
    for row, crew in enumerate(crews, start=_FIRST):
        write_text(sheet, row, 4, crew)
    if crews:
        name_cell(book, "crews", SHEET, f"$D${_FIRST}:$D${_FIRST + len(crews) - 1}")


def crew_step(job: JobSheets, crews: Sequence[str]) -> None:
    """Name `crew_place` the place of the typed crew, from 1; 0 stands for none of them.

    Parameters
    ----------
    job : JobSheets
        Its name `crew` is the cell that is typed.
    crews : sequence of str
        As `add_crews` wrote them.
    """
    last = _FIRST + len(_spellings(crews)) - 1
    spellings, places = (f"'{SHEET}'!${letter}${_FIRST}:${letter}${last}" for letter in "AB")
    job.step("crew_typed", _typed())
    found = f"SUMPRODUCT(MAX(EXACT({spellings},crew_typed)*{places}))"
    job.step("crew_place", found if crews else "0")


def _spellings(crews: Sequence[str]) -> list[tuple[str, int]]:
    return [(spelling, place) for place, crew in enumerate(crews, 1) for spelling in _ways(crew)]


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
