"""What the XML of a workbook's sheet shows and a reader of its values leaves out."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import IO
from xml.parsers import expat

from airstats.records.raw_table import Unread

LONGEST_CELL = 1_000_000
"""Characters; the common spreadsheet programs hold 32,767 in a cell."""
_CHUNK = 1 << 16
_MEND = "mend the formula, or type the value over it"
_SAVE = "open the workbook in the spreadsheet program and save it, so that it holds the value"


class MarkedError(Exception):
    """A part of a workbook that will not be read; its only argument says why."""


@dataclass
class Marks:
    """What stands in a sheet besides plain values, places as (row, column) from 0.

    `unread` holds the cells with an error or with a formula that was never worked out; `hidden`
    counts the hidden rows and columns; `last_row`, `last_column` bound the filled cells.
    """

    unread: dict[tuple[int, int], Unread] = field(default_factory=dict)
    hidden: int = 0
    last_row: int = -1
    last_column: int = -1


def marks_of(part: IO[bytes]) -> Marks:
    """Scan the XML of a sheet, or of the texts that sheets share.

    Raises
    ------
    MarkedError
        If the XML is damaged, brings definitions of its own, or a text has no end.
    """
    scan = _Scan()
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = scan.start, scan.end
    parser.CharacterDataHandler, parser.StartDoctypeDeclHandler = scan.text, _refuse
    try:
        while chunk := part.read(_CHUNK):
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except (expat.ExpatError, ValueError) as error:
        raise MarkedError(f"it is damaged ({error})") from error
    return scan.marks


def _refuse(*_: object) -> None:
    # Only such definitions could make a small file unfold, or fetch another one.
    raise MarkedError("it holds definitions (DOCTYPE) that no spreadsheet program writes")


class _Scan:
    """The state of a scan: the cell that it stands in, and what was found so far."""

    def __init__(self) -> None:
        self.marks = Marks()
        self.row = self.column = -1
        self.kind = self.formula = self.value = ""
        self.tag, self.held, self.has_formula = "", 0, False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.tag, self.held = name.rpartition(":")[2], 0
        if self.tag == "c":
            self._place(attributes.get("r", ""))
            self.kind, self.formula, self.value = attributes.get("t", ""), "", ""
            self.has_formula = False
        elif self.tag in ("v", "is"):
            self._extend()
        elif self.tag == "f":
            self.has_formula = True
        elif self.tag == "row":
            self.row, self.column = int(attributes.get("r", self.row + 2)) - 1, -1
            self.marks.hidden += attributes.get("hidden") in ("1", "true")
        elif self.tag == "col":
            self.marks.hidden += attributes.get("hidden") in ("1", "true")

    def text(self, data: str) -> None:
        self.held += len(data)
        if self.held > LONGEST_CELL:
            raise MarkedError(f"a cell holds more than {LONGEST_CELL:,} characters")
        if self.tag == "v":
            self.value += data
        elif self.tag == "f":
            self.formula += data

    def end(self, name: str) -> None:
        self.tag = ""
        if name.rpartition(":")[2] != "c":
            return
        if self.kind == "e":
            self._unread(self.value, "is an error of the spreadsheet", _MEND)
        elif self.has_formula and not self.value and self.kind not in ("str", "inlineStr"):
            problem = "is a formula whose value is not in the file"
            self._unread(f"={self.formula}", problem, _SAVE)

    def _place(self, reference: str) -> None:
        at = re.fullmatch("([A-Z]{1,3})([0-9]{1,7})", reference)
        if reference and at is None:
            raise ValueError(f"a cell is called {reference[:20]}")
        if at:
            self.row, self.column = int(at[2]) - 1, _number(at[1]) - 1
        else:
            self.column += 1

    def _extend(self) -> None:
        self.marks.last_row = max(self.marks.last_row, self.row)
        self.marks.last_column = max(self.marks.last_column, self.column)

    def _unread(self, text: str, problem: str, remedy: str) -> None:
        self.marks.unread[self.row, self.column] = Unread(text, problem, remedy)


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
