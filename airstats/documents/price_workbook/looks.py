"""How the price sheet looks, and the small parts that openpyxl needs several lines for."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from datetime import datetime

from openpyxl.styles import Border, Font, PatternFill, Side
from openpyxl.utils import column_index_from_string, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

INPUT, RESULT, HEAD = (PatternFill("solid", fgColor=c) for c in ("FFF2CC", "DDEBF7", "D9D9D9"))
BOLD = Font("Calibri", bold=True)
_THIN = Side(style="thin", color="7F7F7F")
FRAME = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
_MADE = datetime(2000, 1, 1)


def heading(sheet: Worksheet, place: str, words: str) -> None:
    """Write a heading in bold.

    Parameters
    ----------
    sheet : Worksheet
        To write to.
    place : str
        The cell, like "A4".
    words : str
        The heading.
    """
    sheet[place], sheet[place].font = words, Font("Calibri", bold=True, size=12)


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
        cell.value, cell.fill, cell.font = text, HEAD, BOLD


def one_page(sheet: Worksheet) -> None:
    """Print the sheet on one page of A4 on its side, without grid lines on the screen."""
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 1
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.sheet_view.showGridLines = False


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


def same_bytes(book: Workbook) -> bytes:
    """Return the file without the time of its making: the same content, the same bytes."""
    made, fixed = io.BytesIO(), io.BytesIO()
    book.save(made)
    stamp = _MADE.strftime("%Y-%m-%dT%H:%M:%SZ")
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT[\d:.]+Z", stamp.encode(), content)
            new.writestr(
                zipfile.ZipInfo(name, _MADE.timetuple()[:6]), content, zipfile.ZIP_DEFLATED
            )
    return fixed.getvalue()
