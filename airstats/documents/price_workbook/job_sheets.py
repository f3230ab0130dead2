"""One job of the price sheet: its page to read and type into, and its hidden working sheet."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from airstats.documents.price_workbook.looks import name_cell, protect

_NAMES = re.compile(r"""("[^"]*"|'[^']*'!)|\b([a-z]\w*)""")


@dataclass
class JobSheets:
    """The sheets of one job, and the names of its quantities.

    The first job's names stand alone (`surface_m2`); the others' end in the number of the job
    (`surface_m2_2`), so that every formula can be read.

    Attributes
    ----------
    book : the workbook
    number : place of the job, from 1
    page, working : its sheets
    row : the next free row of the working sheet
    """

    book: Workbook
    number: int
    page: Worksheet
    working: Worksheet
    row: int = field(default=3)

    @classmethod
    def added(cls, book: Workbook, number: int) -> JobSheets:
        """Add the sheets of the job with this number."""
        beside = f" {number}" if number > 1 else ""
        page = book.create_sheet(f"quote{beside}", number - 1)
        working = book.create_sheet(f"working{beside}")
        working.sheet_state = "hidden"
        working["A1"] = f"Nothing is typed here: how the sheet `{page.title}` is worked out."
        protect(working)
        return cls(book, number, page, working)

    def own(self, formula: str) -> str:
        """Return a formula with the names of this job."""
        if self.number == 1:
            return formula
        return _NAMES.sub(lambda n: n[1] or f"{n[2]}_{self.number}", formula)

    def write(self, sheet: Worksheet, place: str, formula: str) -> None:
        """Write a formula.

        Parameters
        ----------
        sheet : Worksheet
            One of the job's.
        place : str
            Like "B7".
        formula : str
            Without "="; with the names of the first job.
        """
        sheet[place] = f"={self.own(formula)}"

    def name(self, name: str, sheet: Worksheet, place: str) -> None:
        """Name a cell of one of the sheets.

        Parameters
        ----------
        name : str
            As in the first job.
        sheet, place
            As for `write`.
        """
        column, row = re.findall(r"[A-Z]+|\d+", place)
        name_cell(self.book, self.own(name), sheet.title, f"${column}${row}")

    def first(self, name: str) -> Any:
        """Return what stands in a named cell of the first job's page."""
        ((title, place),) = self.book.defined_names[name].destinations
        return self.book[title][place.replace("$", "")].value

    def step(self, name: str, formula: str) -> None:
        """Write a step on the working sheet, and name it."""
        self.working[f"A{self.row}"] = name
        self.write(self.working, f"B{self.row}", formula)
        self.name(name, self.working, f"B{self.row}")
        self.row += 1

    def block(self, rows: int, words: str) -> int:
        """Head a block of the working sheet; return its first row, `rows` are kept for it."""
        self.working[f"A{self.row + 1}"] = words
        first = self.row + 2
        self.row = first + rows
        return first

    def cells(self, column: str, first: int, rows: int) -> str:
        """Return the reference to a column of the working sheet.

        Parameters
        ----------
        column : str
            Its letter.
        first, rows : int
            The first row, and how many there are.
        """
        return f"'{self.working.title}'!${column}${first}:${column}${first + rows - 1}"
