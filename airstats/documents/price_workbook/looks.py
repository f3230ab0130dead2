"""How the price sheet looks, and the small parts that openpyxl needs several lines for."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import column_index_from_string, get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from airstats.base.caution import CAUTION

if TYPE_CHECKING:
    from airstats.documents.price_workbook.formula_values import Place

INPUT, HEAD = (PatternFill("solid", fgColor=color) for color in ("FFF2CC", "D9D9D9"))
BOLD = Font("Calibri", bold=True)
TO_TYPE = "▸ "
"""Stands before the label of every cell that is typed."""
_THICK, _THIN = Side(style="medium", color="404040"), Side(style="hair", color="7F7F7F")
TYPED_FRAME = Border(left=_THICK, right=_THICK, top=_THICK, bottom=_THICK)
RESULT_FRAME = Border(bottom=_THIN)
_MADE = datetime(2000, 1, 1)
_FORMULA = re.compile(r'<c r="([A-Z]+)(\d+)"([^>]*)><f>(.*?)</f><v ?/?>(?:</v>)?</c>', re.DOTALL)


def heading(sheet: Worksheet, row: int, words: str, last: str = "H") -> None:
    """Write a heading in bold on a band that reaches from column A to the letter `last`.

    Parameters
    ----------
    sheet, row
        Where.
    words, last : str
        The heading, and the last column's letter.
    """
    head_row(sheet, row, "A", [words, *[""] * (column_index_from_string(last) - 1)])
    sheet.cell(row, 1).alignment = Alignment(vertical="center")


def head_row(sheet: Worksheet, row: int, first: str, words: Sequence[str]) -> None:
    """Head the columns from the letter `first` on.

    Parameters
    ----------
    sheet : Worksheet
        To write to.
    row : int
        Counted from 1.
    first : str
        Letter of the first column.
    words : sequence of str
        One a column.
    """
    for place, text in enumerate(words, start=column_index_from_string(first)):
        cell = sheet.cell(row, place)
        cell.value, cell.fill, cell.font = text or None, HEAD, BOLD
        cell.alignment = Alignment(wrap_text=True, vertical="center")


def typed_cell(sheet: Worksheet, place: str, value: Any = None, pattern: str = "General") -> None:
    """Make a cell one to type into: thick frame, own tone, not locked.

    Parameters
    ----------
    sheet : Worksheet
        That of the cell.
    place : str
        Like "C5".
    value
        What stands there; a text never becomes a formula.
    pattern : str
        Number format.
    """
    cell = sheet[place]
    if isinstance(value, str):
        write_text(sheet, cell.row, cell.column, value)
    else:
        cell.value = value
    cell.fill, cell.border, cell.number_format = INPUT, TYPED_FRAME, pattern
    cell.protection = Protection(locked=False)
    cell.alignment = Alignment(vertical="center", shrink_to_fit=True)


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
    cell.value = ILLEGAL_CHARACTERS_RE.sub("", text) or None
    if text:
        cell.data_type, cell.quotePrefix = "s", True


def name_cell(book: Workbook, name: str, sheet: str, cell: str) -> None:
    """Give a cell, or a range of cells, the name by which formulas call it.

    Parameters
    ----------
    book : Workbook
        The name holds in all of its sheets.
    name, sheet : str
        The new name, and the title of the sheet.
    cell : str
        Like "$C$5" or "$A$6:$A$9".
    """
    where = f"{quote_sheetname(sheet)}!{cell}"
    book.defined_names[name] = DefinedName(name, attr_text=where)


def one_page(sheet: Worksheet, last: str, landscape: bool = False) -> None:
    """Print the sheet from A1 to the cell `last` on one page of A4, with caution and date.

    Parameters
    ----------
    sheet : Worksheet
        To print.
    last : str
        Like "H60".
    landscape : bool
        Whether the page lies on its side.
    """
    setup = sheet.page_setup
    setup.orientation = "landscape" if landscape else "portrait"
    setup.paperSize, setup.fitToWidth, setup.fitToHeight = sheet.PAPERSIZE_A4, 1, 1
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_area = f"A1:{last}"
    sheet.print_options.horizontalCentered = True
    margins = sheet.page_margins
    margins.left = margins.right = 0.5
    margins.top, margins.bottom, margins.footer = 0.5, 0.75, 0.2
    sheet.oddHeader.right.text = "&A"
    sheet.oddFooter.center.text, sheet.oddFooter.center.size = CAUTION, 7
    sheet.oddFooter.right.text, sheet.oddFooter.right.size = "printed &D", 7
    sheet.sheet_view.showGridLines = False


def protect(sheet: Worksheet) -> None:
    """Lock all but the cells to type into; there is no password, so that anybody may unlock it."""
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False


def allow_numbers(sheet: Worksheet, cells: str, low: float, high: float) -> None:
    """Let the cells take numbers of a range only.

    Parameters
    ----------
    sheet : Worksheet
        That of the cells.
    cells : str
        A cell or a range, like "C5" or "A12:A31".
    low, high : float
        Both are allowed; in the unit of the cells.
    """
    rule = DataValidation("decimal", operator="between", formula1=f"{low:g}", formula2=f"{high:g}")
    rule.error = f"Write a number from {low:g} to {high:g}."
    rule.add(cells)
    sheet.add_data_validation(rule)


def allow_list(sheet: Worksheet, cells: str, words: str, strict: bool = True) -> None:
    """Offer a list in the cells; unless strict, other words are taken too.

    Parameters
    ----------
    sheet, cells
        As for `allow_numbers`.
    words : str
        A list formula: a range's name, or words in quotes, parted by commas.
    strict : bool
        Whether other words are refused.
    """
    rule = DataValidation("list", formula1=words, allow_blank=True, showErrorMessage=strict)
    rule.add(cells)
    sheet.add_data_validation(rule)


def same_bytes(book: Workbook, values: Mapping[Place, Any] | None = None) -> bytes:
    """Return the file without the time of its making: the same content, the same bytes.

    Parameters
    ----------
    book : Workbook
        To be written.
    values : mapping, optional
        What the formulas come to, from `formula_values`; a cell that is not among them stays
        without a value.
    """
    made, fixed = io.BytesIO(), io.BytesIO()
    book.save(made)
    pages = {f"xl/worksheets/sheet{n}.xml": one.title for n, one in enumerate(book, start=1)}
    stamp = _MADE.strftime("%Y-%m-%dT%H:%M:%SZ")
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if values and name in pages:
                content = _valued(content.decode(), pages[name], values).encode()
            if name == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT[\d:.]+Z", stamp.encode(), content)
            new.writestr(
                zipfile.ZipInfo(name, _MADE.timetuple()[:6]), content, zipfile.ZIP_DEFLATED
            )
    return fixed.getvalue()


def _valued(page: str, title: str, values: Mapping[Place, Any]) -> str:
    def written(found: re.Match[str]) -> str:
        letters, row, style, formula = found.groups()
        value = values[title, int(row), column_index_from_string(letters)]
        kind, shown = "", repr(value)
        if isinstance(value, bool):
            kind, shown = ' t="b"', str(int(value))
        elif isinstance(value, str):
            kind, shown = ' t="str"', escape(value)
        return f'<c r="{letters}{row}"{style}{kind}><f>{formula}</f><v>{shown}</v></c>'

    return _FORMULA.sub(written, page)


def letter(column: int) -> str:
    """Return the letter of a column counted from 1."""
    return str(get_column_letter(column))
