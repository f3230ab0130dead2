"""Open a workbook that is safe to unpack, and tell what its cells hide."""

from __future__ import annotations

import copy
import io
import re
import shlex
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath
from typing import IO, cast
from xml.etree import ElementTree
from xml.parsers import expat

import pandas as pd

from airstats.base.errors import RecordsError
from airstats.base.number_text import listing, shown
from airstats.records.faults import Fault
from airstats.records.raw_table import (
    COLUMNS,
    GUIDE,
    LARGEST_UNPACKED,
    MOST_CELLS,
    Table,
    Unread,
    as_text,
    column_name,
    header_position,
    headless,
    is_empty,
    is_heading,
    shaped,
)
from airstats.records.table_names import table_called

LONGEST_CELL = 1_000_000
"""Characters; the common spreadsheet programs hold 32,767 in a cell."""
_SCANNED = 1 << 16
_MOST_WITH_LOOKS = 1_000_000
"""Cells; with its looks each takes some 300 bytes."""
_MEND = "mend the formula, or type the value over it"
_SAVE = "open the workbook in the spreadsheet program and save it, so that it holds the value"


class MarkedError(Exception):
    """A part of a workbook that will not be read; its only argument says why."""


@dataclass
class Marks:
    """What stands in a sheet besides plain values, places as (row, column) from 0.

    `unread` holds the cells with an error or with a formula that was never worked out; `hidden`
    counts the hidden rows and columns; `cells` counts those written down, and those that something
    spans; `last_row`, `last_column` bound the filled cells.
    """

    unread: dict[tuple[int, int], Unread] = field(default_factory=dict)
    hidden: int = 0
    cells: int = 0
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
        while chunk := part.read(_SCANNED):
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
            self.marks.cells += 1
            self._place(attributes.get("r", ""))
            self.kind, self.formula, self.value = attributes.get("t", ""), "", ""
            self.has_formula = False
        elif self.tag in ("v", "is"):
            self.marks.last_row = max(self.marks.last_row, self.row)
            self.marks.last_column = max(self.marks.last_column, self.column)
        elif self.tag == "f":
            self.has_formula = True
        elif self.tag == "row":
            self.row, self.column = int(attributes.get("r", self.row + 2)) - 1, -1
            self.marks.hidden += attributes.get("hidden") in ("1", "true")
        elif self.tag == "col":
            self.marks.hidden += attributes.get("hidden") in ("1", "true")
        elif self.tag in ("mergeCell", "hyperlink"):
            self.marks.cells += _spanned(attributes.get("ref", ""))

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
        place = self.row, self.column
        if self.kind == "e":
            error = Unread(self.value, "is an error of the spreadsheet", _MEND)
            self.marks.unread[place] = error
        elif self.has_formula and not self.value and self.kind not in ("str", "inlineStr"):
            problem = "is a formula whose value is not in the file"
            self.marks.unread[place] = Unread(f"={self.formula}", problem, _SAVE)

    def _place(self, reference: str) -> None:
        at = re.fullmatch("([A-Z]{1,3})([0-9]{1,7})", reference)
        if reference and at is None:
            raise ValueError(f"a cell is called {reference[:20]}")
        if at:
            self.row, self.column = int(at[2]) - 1, _number(at[1]) - 1
        else:
            self.column += 1


def _spanned(reference: str) -> int:
    """Count the cells of a range such as A1:C2."""
    ends = re.fullmatch("([A-Z]{1,3})([0-9]{1,7}):([A-Z]{1,3})([0-9]{1,7})", reference)
    if ends is None:
        return 1
    return (abs(_number(ends[3]) - _number(ends[1])) + 1) * (abs(int(ends[4]) - int(ends[2])) + 1)


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


Parts = Mapping[str, tuple[str, bool]]
"""By the title of a sheet: the part of the file that holds it, and whether it is hidden."""
_WORKBOOK, _RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
_SHARED = "xl/sharedStrings.xml"
_CHUNK = 1 << 20
_OLE, _ENCRYPTED = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "EncryptedPackage".encode("utf-16-le")
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_AGAIN = "Open it in the spreadsheet program, save it as .xlsx and try again."


@dataclass(frozen=True)
class OpenSheet:
    """One sheet of a workbook: `rows` from its first, with `Unread` where a value is not known.

    `merged` holds each merged range as first and last (row, column) from 0.
    """

    file: str
    rows: list[list[object]]
    merged: Sequence[tuple[tuple[int, int], tuple[int, int]]]
    from_1904: bool
    notes: tuple[str, ...]
    title: str


def open_workbook(
    name: str, data: bytes, wanted: Callable[[str, Parts], dict[str, str]] | None = None
) -> tuple[dict[str, OpenSheet], list[str]]:
    """Open the sheets of a workbook; return them and the titles of the others.

    Parameters
    ----------
    name : str
        What messages call the file.
    data : bytes
        The whole file.
    wanted : callable, optional
        Takes name and parts, gives the titles of the sheets to open under names for them; by
        default it finds the sheets of the contract's tables.

    Raises
    ------
    RecordsError
        If the file is no workbook, is locked, damaged, or would unpack to more than fits.
    """
    with _unpacked(name, data) as packed:
        parts, from_1904 = _parts(packed)
        chosen = wanted(name, parts) if wanted else _wanted(name, list(parts))
        marks = {table: _marks(packed, parts[title]) for table, title in chosen.items()}
        if _SHARED in packed.namelist():
            _scanned(packed, _SHARED)
    sheets = _values(name, data, chosen, marks, from_1904)
    known = {*chosen.values(), *filter(is_guide, parts)}
    return sheets, [title for title in parts if title not in known]


def is_guide(title: str) -> bool:
    """Tell whether a sheet only explains the others, as that of an empty workbook does."""
    return title.strip().casefold() == GUIDE


def check_every_part(name: str, data: bytes) -> None:
    """Refuse a workbook that a reader of all its parts, looks and remarks too, should not open.

    Raises
    ------
    RecordsError
        As `open_workbook`, and where it has more cells than can be held with their looks.
    """
    with _unpacked(name, data) as packed:
        parts = [part for part in packed.namelist() if _is_xml(packed, part)]
        cells = sum(_scanned(packed, part).cells for part in parts)
        if cells > _MOST_WITH_LOOKS:
            raise MarkedError(f"it has more than {_MOST_WITH_LOOKS:,} cells")


def _is_xml(packed: zipfile.ZipFile, part: str) -> bool:
    """Tell by the content, for a name can lie; drawings of old remarks are no sound XML."""
    with packed.open(part) as content:
        head = content.read(64).lstrip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n")
    return head.startswith(b"<") and not part.lower().endswith(".vml")


@contextmanager
def _unpacked(name: str, data: bytes) -> Iterator[zipfile.ZipFile]:
    """Open the parts of a workbook, and say in plain words what is wrong with any of them."""
    if data.startswith(_OLE):
        if _ENCRYPTED in data:
            remedy = "Open it, take the password off and save it."
            raise RecordsError(f"{name} is locked with a password. {remedy}")
        raise RecordsError(f"{name} is an old workbook (.xls) whatever its name says. {_AGAIN}")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            _check_sizes(name, packed)
            yield packed
    except RecordsError:
        raise
    except MarkedError as error:
        raise RecordsError(f"{name} cannot be read: {error}. {_AGAIN}") from error
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, OSError,
            NotImplementedError, ElementTree.ParseError) as error:  # fmt: skip
        raise RecordsError(damaged(name, error)) from error


def damaged(name: str, error: Exception) -> str:
    """Say that a workbook cannot be read, and what to do."""
    return (
        f"{name} cannot be read as a workbook ({shown(str(error))}). It may be damaged or cut off."
        f" {_AGAIN}"
    )


def _check_sizes(name: str, packed: zipfile.ZipFile) -> None:
    """Refuse what unpacks to too much, by what the file says and by what really comes out."""
    if _WORKBOOK not in packed.namelist():
        raise zipfile.BadZipFile("it is no workbook of the kind .xlsx")
    declared = sum(part.file_size for part in packed.infolist())
    if declared > LARGEST_UNPACKED:
        raise RecordsError(
            f"{name} would unpack to {declared / 1e6:,.0f} MB, and no more than"
            f" {LARGEST_UNPACKED / 1e6:,.0f} MB are read. Split it into several workbooks."
        )
    for part in packed.infolist():
        if part.compress_type not in _METHODS or _unpacks_to_more(packed, part):
            raise zipfile.BadZipFile(f"the size of its part {part.filename} is not as it says")


def _unpacks_to_more(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> bool:
    # The library stops at the size that the file declares, other readers do not.
    open_ended = copy.copy(part)
    open_ended.file_size += 1
    size = 0
    with packed.open(open_ended) as content:
        while chunk := content.read(_CHUNK):
            size += len(chunk)
    return size > part.file_size


def _parts(packed: zipfile.ZipFile) -> tuple[dict[str, tuple[str, bool]], bool]:
    """Return each sheet's part and whether it is hidden, by title; and if days count from 1904."""
    targets = {link.get("Id"): link.get("Target", "") for link in _xml(packed, _RELATIONS).iter()}
    parts, from_1904 = {}, False
    for element in _xml(packed, _WORKBOOK).iter():
        tag = element.tag.rpartition("}")[2]
        if tag == "workbookPr":
            from_1904 = element.get("date1904") in ("1", "true")
        elif tag == "sheet":
            link = next(value for key, value in element.items() if key.endswith("}id"))
            hidden = element.get("state", "visible") != "visible"
            path = str(PurePosixPath("/xl") / targets[link]).removeprefix("/")
            parts[element.get("name", "")] = path, hidden
    return parts, from_1904


def _scanned(packed: zipfile.ZipFile, part: str) -> Marks:
    with packed.open(part) as content:
        return marks_of(content)


def _xml(packed: zipfile.ZipFile, part: str) -> ElementTree.Element:
    _scanned(packed, part)
    return ElementTree.fromstring(packed.read(part))


def _wanted(name: str, titles: Sequence[str]) -> dict[str, str]:
    wanted = {}
    for table in COLUMNS:
        alike = [title for title in titles if title.strip().casefold() == table]
        if len(alike) > 1:
            raise RecordsError(f"{name} has two sheets called {table}. Rename one of them.")
        if found := alike[0] if alike else table_called(table, name, titles):
            wanted[table] = found
    if "jobs" not in wanted:
        raise RecordsError(
            f"{name} has no sheet called jobs. Its sheets are {listing(titles)}. "
            'Call the sheet with the jobs "jobs", and the one with the openings "openings".'
            f" A book kept in another way: airstats intake {shlex.quote(name)} --out FOLDER."
        )
    return wanted


def _marks(packed: zipfile.ZipFile, part: tuple[str, bool]) -> tuple[Marks, bool]:
    path, is_hidden = part
    marks = _scanned(packed, path)
    if (marks.last_row + 1) * (marks.last_column + 1) > MOST_CELLS:
        raise MarkedError(
            f"the sheet in {path} reaches to row {marks.last_row + 1:,}, column"
            f" {marks.last_column + 1:,}; delete what stands far from the table"
        )
    return marks, is_hidden


def _values(
    name: str,
    data: bytes,
    wanted: dict[str, str],
    marks: dict[str, tuple[Marks, bool]],
    from_1904: bool,
) -> dict[str, OpenSheet]:
    from python_calamine import CalamineError, CalamineWorkbook

    sheets = {}
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        for table, title in wanted.items():
            sheet = book.get_sheet_by_name(title)
            rows = cast(list[list[object]], sheet.to_python(skip_empty_area=False))
            file = f"{name}, sheet {title.strip()}"
            found, is_hidden = marks[table]
            notes = _notes(file, found, is_hidden)
            merged = sheet.merged_cell_ranges or []
            sheets[table] = OpenSheet(
                file, _with_unread(rows, found), merged, from_1904, notes, title
            )
    except (CalamineError, OSError, ValueError) as error:
        raise RecordsError(damaged(name, error)) from error
    return sheets


def _with_unread(rows: list[list[object]], marks: Marks) -> list[list[object]]:
    """Put the cells whose value is not known into the rows, which may end before them."""
    width = max([len(rows[0]) if rows else 0, *(column + 1 for _, column in marks.unread)])
    height = max([0, *(row + 1 for row, _ in marks.unread)])
    rows = [row + [""] * (width - len(row)) for row in rows] if marks.unread else rows
    rows += [[""] * width for _ in range(height - len(rows))]
    for (row, column), cell in marks.unread.items():
        rows[row][column] = cell
    return rows


def _notes(file: str, marks: Marks, is_hidden: bool) -> tuple[str, ...]:
    notes = [f"{file}: the sheet is hidden, and is read."] if is_hidden else []
    hidden = f"{file}: hidden rows and columns, read as well: {marks.hidden}."
    return (*notes, *([hidden] if marks.hidden else []))


_DAY_NUMBER = re.compile(r"[0-9]{5}(\.[0-9]+)?")
_MERGED = "cells of this row are merged with others, so what they hold is not known"


def workbook_table(name: str, sheet: OpenSheet) -> Table:
    """Shape the rows of an open sheet."""
    covered = _covered(name, sheet)
    table = sheet_table(name, sheet.file, _with_ids(sheet.rows, covered))
    table = replace(table, title=sheet.title)
    if sheet.from_1904 and "finished_on" in table.headers:
        days = table.cells["finished_on"].map(_undated)
        table = replace(table, cells=table.cells.assign(finished_on=days))
    rows = {row + 1 for row, _ in covered}
    remedy = "take the merging off, and fill in every cell"
    faults = (
        (position, Fault(table.file, row, None, "", _MERGED, remedy))
        for position, row in enumerate(table.rows.tolist())
        if row in rows
    )
    return replace(table, row_faults=tuple(faults))


def sheet_table(name: str, file: str, rows: list[list[object]]) -> Table:
    """Shape the rows of a sheet, which start at the sheet's first row.

    Parameters
    ----------
    name, file : str
        As for `csv_table`.
    rows : list of list
        Cells of all rows, those above the headings too.
    """
    at = header_position(rows, name)
    if at is None:
        raise headless(file, rows, name)
    body = pd.DataFrame(rows[at:], dtype=object).iloc[1:]
    return shaped(name, file, rows[at], body, at + 2)


def _undated(cell: object) -> object:
    """A bare day number of a workbook that counts from 1904 would be taken for one from 1900."""
    text = as_text(cell).strip()
    if isinstance(cell, Unread) or not _DAY_NUMBER.fullmatch(text):
        return cell
    return Unread(text, "is the number of a day, counted from 1904", "format the cell as a date")


def _covered(name: str, sheet: OpenSheet) -> dict[tuple[int, int], object]:
    """Cells of known columns that a merged range covers, with what the range shows."""
    at, rows = header_position(sheet.rows, name), sheet.rows
    covered: dict[tuple[int, int], object] = {}
    if at is None:
        return covered
    known = [
        place
        for place, heading in enumerate(rows[at])
        if column_name(name, as_text(heading), place) in COLUMNS[name]
    ]
    for first, last in sheet.merged:
        inside = first[0] < len(rows) and first[1] < len(rows[0])
        if not inside or is_empty(value := rows[first[0]][first[1]]):
            continue
        places = [place for place in known if first[1] <= place <= last[1]]
        for row in range(max(first[0], at + 1), min(last[0] + 1, len(rows))):
            covered |= {(row, place): value for place in places if (row, place) != first}
    return covered


def _with_ids(
    rows: list[list[object]], covered: dict[tuple[int, int], object]
) -> list[list[object]]:
    """Write a merged job_id into its rows, so that a job is set aside with all of its rows."""
    at = header_position(rows)
    if at is None or not covered:
        return rows
    ids = next(p for p, heading in enumerate(rows[at]) if is_heading(heading))
    rows = list(rows)
    for row, value in ((row, value) for (row, place), value in covered.items() if place == ids):
        rows[row] = [*rows[row][:ids], value, *rows[row][ids + 1 :]]
    return rows
