"""A firm's book as it stands: every worksheet or CSV file with its cells and how they look."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from airstats.base.errors import RecordsError
from airstats.base.number_text import listing
from airstats.base.result_folder import own_results
from airstats.records.csv_reader import csv_rows
from airstats.records.faults import UnreadableTableError
from airstats.records.raw_table import Unread, as_text, is_empty
from airstats.records.source import content_of
from airstats.records.xlsx_reader import (
    OpenSheet,
    Parts,
    check_every_part,
    damaged,
    is_guide,
    open_workbook,
)

WORKBOOKS, TEXTS = (".xlsx", ".xlsm"), (".csv", ".tsv", ".txt")
MOST_CELLS = 2_000_000
"""Cells of a whole book, over all its worksheets: some 100,000 jobs."""
_EXPECTED = "Give a workbook (.xlsx, .xlsm), a CSV file, or a folder that holds them."
_OWN = ("marked.xlsx", "set_aside.csv")


@dataclass(frozen=True)
class Look:
    """What a cell shows besides its value; `partly` where only some of its text is struck out."""

    struck: bool = False
    partly: bool = False
    colour: str = ""
    comment: str = ""


@dataclass(frozen=True)
class Page:
    """One worksheet or CSV file of a book, places as (row, column) from 0.

    `rows` hold the cells as they stand, a unit that only the number format shows written beside
    the number. `merged` has each merged range as its first and last place.
    """

    title: str
    file: str
    rows: list[list[object]]
    looks: dict[tuple[int, int], Look] = field(default_factory=dict)
    merged: tuple[tuple[tuple[int, int], tuple[int, int]], ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    is_hidden: bool = False
    from_1904: bool = False
    notes: tuple[str, ...] = ()

    def cell(self, row: int, column: int) -> object:
        """Return what stands in a cell, "" outside the page."""
        inside = 0 <= row < len(self.rows) and 0 <= column < len(self.rows[row])
        return self.rows[row][column] if inside else ""

    def look(self, row: int, column: int) -> Look:
        """Return how a cell looks."""
        return self.looks.get((row, column), _PLAIN)


_PLAIN = Look()


@dataclass(frozen=True)
class Book:
    """All pages of a source, its name, its digest, and the workbook if it is just one."""

    name: str
    digest: str
    pages: tuple[Page, ...]
    workbook: Path | None = None


def letters(column: int) -> str:
    """Name a column as a spreadsheet does: 0 is A, 26 is AA."""
    before, last = divmod(column, 26)
    return (letters(before - 1) if before else "") + chr(ord("A") + last)


def address(row: int, column: int) -> str:
    """Name a cell as a spreadsheet does, such as E14."""
    return f"{letters(column)}{row + 1}"


def read_pages(path: str | Path) -> Book:
    """Read a workbook, a CSV file, or a folder of them, cells as they stand.

    Raises
    ------
    RecordsError
        If there is no such path, nothing of the kind, or a file is damaged, locked or too large.
    """
    path = Path(path)
    files = _files(path)
    try:
        contents = {file: content_of(file) for file in files}
    except OSError as error:
        raise RecordsError(
            f"{path} cannot be read ({error.strerror or error}). "
            "Close it in other programs and try again."
        ) from error
    pages = [page for file, data in contents.items() for page in _pages_of(file, data)]
    if sum(len(row) for page in pages for row in page.rows) > MOST_CELLS:
        raise RecordsError(f"{path} has more than {MOST_CELLS:,} cells. Split it by years.")
    digest = hashlib.sha256(b"".join(contents[file] for file in files)).hexdigest()
    alone = files[0].suffix.lower() in WORKBOOKS and len(files) == 1
    name = path.resolve().name
    return Book(name, f"sha256:{digest}", tuple(pages), files[0] if alone else None)


def _files(path: Path) -> list[Path]:
    if path.is_file():
        if path.suffix.lower() not in (*WORKBOOKS, *TEXTS):
            raise RecordsError(f"{path} is no workbook (.xlsx) and no CSV file. {_EXPECTED}")
        return [path]
    if not path.is_dir():
        raise RecordsError(f'There is no file or folder "{path}". {_EXPECTED}')
    ours = own_results(path)
    files = [
        entry
        for entry in sorted(path.iterdir())
        if entry.suffix.lower() in (*WORKBOOKS, *TEXTS)
        and not entry.name.startswith((".", "~"))
        and entry.name not in {*_OWN, *ours}
        and entry.is_file()
    ]
    if not files and ours:
        raise RecordsError(
            f"{path} holds no book, but what airstats wrote there ({listing(sorted(ours))}). Give"
            f" the book itself; records that `airstats intake` wrote are read by: airstats check"
            f" {path}"
        )
    if not files:
        held = listing(entry.name for entry in sorted(path.iterdir()))
        raise RecordsError(f"{path} holds no workbook and no CSV file, but {held}. {_EXPECTED}")
    return files


def _pages_of(file: Path, data: bytes) -> list[Page]:
    if file.suffix.lower() in WORKBOOKS:
        return _workbook_pages(file, data)
    if not data.strip():
        return []
    try:
        rows, _, notes = csv_rows(file.name, data)
    except UnreadableTableError as error:
        raise RecordsError(str(error.args[0])) from error
    return [Page(file.stem, file.name, [list(row) for row in rows], notes=notes)]


def _workbook_pages(file: Path, data: bytes) -> list[Page]:
    hidden: dict[str, bool] = {}

    def every(name: str, parts: Parts) -> dict[str, str]:
        hidden.update({title: is_hidden for title, (_, is_hidden) in parts.items()})
        pages = [t for t, (part, _) in parts.items() if "worksheets/" in part.lower()]
        return {title: title for title in pages if not is_guide(title)}

    sheets, _ = open_workbook(file.name, data, every)
    check_every_part(file.name, data)
    looks = _looks(file.name, data)
    return [_page(t, sheet, looks.get(t), hidden[t]) for t, sheet in sheets.items()]


def _looks(name: str, data: bytes) -> dict[str, Any]:
    """Open the workbook for its looks; the library says what is wrong in many ways."""
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), data_only=True, keep_links=False, rich_text=True)
    except Exception as error:
        raise RecordsError(damaged(name, error)) from error
    return {sheet.title: sheet for sheet in book.worksheets}


def _page(title: str, sheet: OpenSheet, looked: Any, is_hidden: bool) -> Page:
    rows = [list(row) for row in sheet.rows]
    looks: dict[tuple[int, int], Look] = {}
    hidden_rows: set[int] = set()
    hidden_columns: set[int] = set()
    if looked is not None:
        for cell in looked._cells.values():
            _take_look(cell, rows, looks)
        hidden_rows = {row - 1 for row, size in looked.row_dimensions.items() if size.hidden}
        for size in looked.column_dimensions.values():
            if size.hidden:
                hidden_columns |= set(range((size.min or 1) - 1, min(size.max or 1, 500)))
    return Page(
        title, sheet.file, rows, looks, tuple((a, b) for a, b in sheet.merged),
        frozenset(hidden_rows), frozenset(hidden_columns), is_hidden, sheet.from_1904,
    )  # fmt: skip


def _take_look(cell: Any, rows: list[list[object]], looks: dict[tuple[int, int], Look]) -> None:
    row, column = cell.row - 1, cell.column - 1
    if cell.has_style and row < len(rows) and column < len(rows[row]):
        rows[row][column] = _as_shown(rows[row][column], cell.number_format)
    comment = cell.comment.text.strip() if getattr(cell, "comment", None) else ""
    if not cell.has_style and not comment and type(cell.value).__name__ != "CellRichText":
        return
    struck, fill = bool(cell.font and cell.font.strike), cell.fill
    colour = ""
    if fill is not None and fill.fill_type == "solid":
        colour = _colour(fill.fgColor)
    partly = not struck and _struck_in_part(cell.value)
    if struck or partly or colour or comment:
        looks[row, column] = Look(struck and not is_empty(cell.value), partly, colour, comment)


def _struck_in_part(value: object) -> bool:
    if type(value).__name__ != "CellRichText":
        return False
    return any(getattr(getattr(part, "font", None), "strike", False) for part in value)  # type: ignore[attr-defined]


def _colour(colour: Any) -> str:
    if colour.type == "rgb":
        return "" if str(colour.rgb)[-6:].upper() == "FFFFFF" else str(colour.rgb)[-6:].upper()
    if colour.type == "theme":
        return "" if colour.theme == 0 and not colour.tint else f"theme {colour.theme}"
    return f"colour {colour.indexed}"


_LITERAL = re.compile(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]')
_DIGITS = re.compile(r"[#0?]")


def _as_shown(value: object, number_format: str) -> object:
    """Write beside a number the unit or sign that only its number format shows."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or number_format == "General":
        return value
    first = number_format.split(";")[0]
    if "%" in _LITERAL.sub("", first):
        return f"{value * 100:.10g} %"
    digits = _DIGITS.search(_LITERAL.sub(lambda found: "_" * len(found[0]), first))
    if digits is None:
        return value
    before, after = (_said(part) for part in (first[: digits.start()], first[digits.start() :]))
    if not any(sign.isalpha() or sign in "²³\"'≈~£€$" for sign in before + after):
        return value
    return f"{before} {value:.10g} {after}".strip()


def _said(part: str) -> str:
    found = _LITERAL.finditer(part)
    return "".join(
        next(text for text in match.groups() if text is not None) for match in found
    ).strip()


def filled(row: Sequence[object]) -> list[int]:
    """Return the columns of a row in which something stands."""
    return [column for column, cell in enumerate(row) if not is_empty(cell)]


def text_of(cell: object) -> str:
    """Write a cell on one line, as its spreadsheet shows it."""
    if isinstance(cell, Unread):
        return cell.text
    return " ".join(as_text(cell).split())
