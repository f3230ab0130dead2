"""Open a workbook that is safe to unpack; keep what its cells do not tell as values."""

from __future__ import annotations

import copy
import io
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import cast
from xml.etree import ElementTree

from airstats.base.errors import RecordsError
from airstats.base.number_text import listing, shown
from airstats.records.raw_table import COLUMNS, LARGEST_UNPACKED, MOST_CELLS
from airstats.records.xlsx_scan import MarkedError, Marks, marks_of

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


def open_workbook(name: str, data: bytes) -> tuple[dict[str, OpenSheet], list[str]]:
    """Open the sheets jobs, openings and materials; return them and the titles of the others.

    Raises
    ------
    RecordsError
        If the file is no workbook, is locked, damaged, or would unpack to more than fits.
    """
    if data.startswith(_OLE):
        raise RecordsError(_locked_or_old(name, data))
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            _check_sizes(name, packed)
            parts, from_1904 = _parts(packed)
            wanted = _wanted(name, list(parts))
            marks = {table: _marks(packed, parts[title]) for table, title in wanted.items()}
            _shared_marks(packed)
    except RecordsError:
        raise
    except MarkedError as error:
        raise RecordsError(f"{name} cannot be read: {error}. {_AGAIN}") from error
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, OSError,
            NotImplementedError, ElementTree.ParseError) as error:  # fmt: skip
        raise RecordsError(_damaged(name, error)) from error
    sheets = _values(name, data, wanted, marks, from_1904)
    return sheets, [title for title in parts if title not in wanted.values()]


def _locked_or_old(name: str, data: bytes) -> str:
    if _ENCRYPTED in data:
        return f"{name} is locked with a password. Open it, take the password off and save it."
    return f"{name} is an old workbook (.xls) whatever its name says. {_AGAIN}"


def _damaged(name: str, error: Exception) -> str:
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


def _xml(packed: zipfile.ZipFile, part: str) -> ElementTree.Element:
    with packed.open(part) as content:
        marks_of(content)
    return ElementTree.fromstring(packed.read(part))


def _wanted(name: str, titles: Sequence[str]) -> dict[str, str]:
    wanted = {}
    for table in COLUMNS:
        alike = [title for title in titles if title.strip().casefold() == table]
        if len(alike) > 1:
            raise RecordsError(f"{name} has two sheets called {table}. Rename one of them.")
        if alike:
            wanted[table] = alike[0]
    if "jobs" not in wanted:
        raise RecordsError(
            f"{name} has no sheet called jobs. Its sheets are {listing(titles)}. "
            'Call the sheet with the jobs "jobs", and the one with the openings "openings".'
        )
    return wanted


def _marks(packed: zipfile.ZipFile, part: tuple[str, bool]) -> tuple[Marks, bool]:
    path, is_hidden = part
    with packed.open(path) as content:
        marks = marks_of(content)
    if (marks.last_row + 1) * (marks.last_column + 1) > MOST_CELLS:
        raise MarkedError(
            f"the sheet in {path} reaches to row {marks.last_row + 1:,}, column"
            f" {marks.last_column + 1:,}; delete what stands far from the table"
        )
    return marks, is_hidden


def _shared_marks(packed: zipfile.ZipFile) -> None:
    if _SHARED in packed.namelist():
        with packed.open(_SHARED) as content:
            marks_of(content)


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
            sheets[table] = OpenSheet(file, _with_unread(rows, found), merged, from_1904, notes)
    except (CalamineError, OSError, ValueError) as error:
        raise RecordsError(_damaged(name, error)) from error
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
