"""A copy of a workbook in which every cell that wants a look is coloured and says why."""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from openpyxl import load_workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell, MergedCell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, PatternFill
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.worksheet.cell_range import CellRange
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from airstats.base.errors import RecordsError
from airstats.base.formula_guard import harmless
from airstats.documents.price_workbook.looks import BOLD, head_row, one_page, same_bytes
from airstats.records.xlsx_reader import check_every_part

FRONT = "to look at"
"""Title of the worksheet put before all others."""
COLOUR = "FFC000"
_FILL = PatternFill("solid", fgColor=COLOUR)
_AUTHOR = "airstats"
Rows = Mapping[str, Sequence[Sequence[object]]]
"""The rows of each worksheet, by its title."""
_WIDTHS = (60, 12, 44, 70)
_LONGEST_REMARK = 2000
_LINE_POINTS = 15
_LOOKS_LOST = "Charts and drawn shapes of the source are not in this copy; its cells all are."


@dataclass(frozen=True)
class Mark:
    """One cell that wants a look: title of its worksheet, row and column from 1, and why."""

    worksheet: str
    row: int
    column: int
    why: str


def marked_copy(
    source: Path | Rows, marks: Sequence[Mark], front: pd.DataFrame, title: str
) -> bytes:
    """Return a copy of a workbook with cells coloured, each with its reasons in a remark.

    Parameters
    ----------
    source : Path, or mapping
        An .xlsx or .xlsm workbook, which stays as it is; macros are not copied. Or the rows of
        each worksheet by its title, of what is no workbook.
    marks : sequence of Mark
        Several of one cell are told together. What is hidden is shown where it is marked.
    front : DataFrame
        A table that the first worksheet shows under the title, such as the kinds of fault.
    title : str
        What the copy is for.

    Raises
    ------
    RecordsError
        If the source is no workbook, or none that is safe to open with its looks.
    """
    book = _opened(source) if isinstance(source, Path) else _built(source)
    reasons: dict[tuple[str, int, int], list[str]] = {}
    for mark in marks:
        reasons.setdefault((mark.worksheet, mark.row, mark.column), []).append(mark.why)
    for (worksheet, row, column), why in reasons.items():
        _mark(book[worksheet], row, column, "\n".join(dict.fromkeys(why)))
    _add_front(book, title, front, reasons)
    return same_bytes(book)


def _opened(source: Path) -> Workbook:
    data = source.read_bytes()
    check_every_part(source.name, data)
    try:
        with warnings.catch_warnings():
            # It warns of looks that it does not know.
            warnings.simplefilter("ignore")
            return load_workbook(io.BytesIO(data), rich_text=True)
    except Exception as error:  # What another program wrote makes the library fail in any way.
        raise RecordsError(
            f"{source.name} cannot be copied with marks ({type(error).__name__}). Open it in the"
            " spreadsheet program, save it as .xlsx and try again."
        ) from error


def _built(pages: Rows) -> Workbook:
    book = Workbook()
    book.remove(book.active)
    for title, rows in pages.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append([_text(cell) for cell in row])
    return book


def _mark(sheet: Worksheet, row: int, column: int, why: str) -> None:
    cell = _shown_cell(sheet, row, column)
    cell.fill = _FILL
    said = f"{why}\n\n{cell.comment.text}" if cell.comment else why
    cell.comment = Comment(_writable(said)[:_LONGEST_REMARK], _AUTHOR, height=140, width=360)
    sheet.row_dimensions[cell.row].hidden = False
    for columns in sheet.column_dimensions.values():
        if columns.min <= cell.column <= columns.max:
            columns.hidden = False
    sheet.sheet_state = "visible"


def _shown_cell(sheet: Worksheet, row: int, column: int) -> Cell:
    """Return the cell that shows what stands there: the first one where cells are merged."""
    cell = sheet.cell(row, column)
    if not isinstance(cell, MergedCell):
        return cell
    merged = next(part for part in sheet.merged_cells.ranges if cell.coordinate in part)
    return sheet.cell(merged.min_row, merged.min_col)


def _writable(text: str) -> str:
    return ILLEGAL_CHARACTERS_RE.sub("", text)


def _add_front(
    book: Workbook,
    title: str,
    front: pd.DataFrame,
    reasons: dict[tuple[str, int, int], list[str]],
) -> None:
    """Put the table and a list of all marked cells first, each of them a link to its cell."""
    for sheet in book.worksheets:
        # Sheets that are selected together would all take what is typed into one.
        sheet.sheet_view.tabSelected = False
    sheet = book.create_sheet(FRONT, 0)
    book.active = 0
    for letter, width in zip("ABCD", _WIDTHS, strict=True):
        sheet.column_dimensions[letter].width = width
    sheet.append([_text(title)])
    sheet.append([_LOOKS_LOST])
    sheet["A1"].font = BOLD
    head_row(sheet, 4, "A", [str(name) for name in front])
    for told in front.to_numpy().tolist():
        sheet.append([_text(cell) for cell in told])
    head_row(sheet, len(front) + 7, "A", ["worksheet", "cell", "why"])
    for at, ((worksheet, row, column), why) in enumerate(reasons.items(), start=len(front) + 8):
        cell = f"{get_column_letter(column)}{row}"
        sheet.append([_text(worksheet), cell, _text(" ".join(dict.fromkeys(why)))])
        # The sheet's own way of merging goes through all that is merged, each time.
        sheet.merged_cells.ranges.add(CellRange(f"C{at}:D{at}"))
        link = sheet.cell(at, 2)
        place = f"{quote_sheetname(worksheet)}!{cell}"
        link.hyperlink = Hyperlink(ref=link.coordinate, location=place)
        link.style = "Hyperlink"
    aside, centred = (Alignment(way, wrap_text=True, vertical="top") for way in (None, "center"))
    for at, line in enumerate(sheet.iter_rows(min_row=5), start=5):
        for one in line:
            one.alignment = centred if one.column == 2 else aside
        # Not every program makes a row as high as the text that is wrapped in it.
        lines = _lines(line, at > len(front) + 7)
        sheet.row_dimensions[at].height = _LINE_POINTS * max(lines)
    one_page(sheet, f"D{sheet.max_row}", landscape=True)
    sheet.page_setup.fitToHeight = 0


def _lines(row: Sequence[Cell], is_merged: bool) -> list[int]:
    """How many lines the text of each cell takes up in the width of its columns."""
    widths = (*_WIDTHS[:2], sum(_WIDTHS[2:])) if is_merged else _WIDTHS
    texts = [str(cell.value or "").splitlines() for cell in row]
    return [sum(1 + len(line) // (width - 4) for line in text) or 1
            for text, width in zip(texts, widths, strict=False)]  # fmt: skip


def _text(cell: object) -> object:
    return harmless(_writable(cell)) if isinstance(cell, str) else cell
