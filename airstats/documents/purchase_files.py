"""The buying list as files: CSV, a workbook, and a page to print."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from airstats.base.caution import CAUTION
from airstats.base.formula_guard import csv_of, harmless
from airstats.base.known_digits import rounded
from airstats.reports.buying_text import headline, remarks

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

TEMPLATE = "buying_list.html.j2"
HEADINGS = {
    "material": ("material", "{}"),
    "order_packs": ("to buy, rolls or packs", "{:.0f}"),
    "pack": ("each holds", "{:g}"),
    "unit": ("unit", "{}"),
    "from_stock_packs": ("besides from the shelf", "{:.0f}"),
    "expected": ("used on average", "{:,.0f}"),
    "low_packs": ("opened, low (80 %)", "{:.0f}"),
    "high_packs": ("high", "{:.0f}"),
    "chance_short": ("chance short", "{:.1%}"),
    "expected_left_over_packs": ("left over, unopened", "{:.1f}"),
    "pack_price": ("price of each, money", "{:,.2f}"),
    "order_money": ("together, money", "{:,.2f}"),
    "left_over_money": ("of it left over, money", "{:,.0f}"),
}
"""Heading and number format of each column that the page and the workbook show."""
MISSING = "–"


def buying_files(
    bought: pd.DataFrame,
    jobs: list[str],
    quarter: str,
    left_out: Sequence[str] = (),
    shelf: Sequence[str] = (),
) -> dict[str, str | bytes]:
    """Return `buying_list.csv`, `.html` and `.xlsx`: the content of each by its name.

    Parameters
    ----------
    bought : DataFrame
        What `buying_list` returns.
    jobs : list of str
        The jobs that it is for.
    quarter : str
        The quarter of the allowances.
    left_out : sequence of str
        Known materials that are not on the list; both say so.
    shelf : sequence of str
        What else is to be said of the stock.
    """
    return {
        "buying_list.csv": csv_of(rounded(bought)),
        "buying_list.html": buying_page(bought, jobs, quarter, left_out, shelf),
        "buying_list.xlsx": buying_workbook(bought, jobs, quarter, left_out, shelf),
    }


def buying_page(
    bought: pd.DataFrame,
    jobs: list[str],
    quarter: str,
    left_out: Sequence[str] = (),
    shelf: Sequence[str] = (),
) -> str:
    """Return the page to print: no script, nothing fetched from outside.

    Parameters
    ----------
    bought : DataFrame
        From `buying_list`.
    jobs : list of str
        The ids of the jobs that it serves.
    quarter : str
        That of the allowances, like "2026Q3".
    left_out : sequence of str
        Known materials that are not on the list.
    shelf : sequence of str
        What else is to be said of the stock.
    """
    from airstats.documents.page_templates import page_template

    return page_template(TEMPLATE).render(
        headline=headline(bought, jobs),
        remarks=[*remarks(bought, left_out), *shelf],
        headings=_headings(bought),
        rows=_texts(bought),
        jobs=jobs,
        quarter=quarter,
        caution=CAUTION,
    )


def buying_workbook(
    bought: pd.DataFrame,
    jobs: list[str],
    quarter: str,
    left_out: Sequence[str] = (),
    shelf: Sequence[str] = (),
) -> bytes:
    """Return the list as a workbook of one printed page, with room for date and supplier.

    Parameters
    ----------
    bought, jobs, quarter, left_out, shelf
        As for `buying_page`.
    """
    from openpyxl import Workbook

    from airstats.documents.price_workbook.looks import letter, one_page, same_bytes

    book = Workbook()
    sheet = book.active
    sheet.title = "buying list"
    _front(sheet, ", ".join(jobs))
    first = sheet.max_row + 2
    _rows(sheet, first, bought)
    last = first + len(bought) + 1
    money = " ".join(["together", *bought["currency"].unique().tolist()]).strip()
    sheet.cell(last, _MONEY - 1, harmless(money))
    sheet.cell(last, _MONEY, float(bought["order_money"].sum())).number_format = "#,##0.00"
    lines = [
        headline(bought, jobs),
        *remarks(bought, left_out),
        *shelf,
        f"Allowances of {quarter}.",
    ]
    for row, line in enumerate([*lines, CAUTION], start=last + 2):
        _wrapped(sheet, row, line)
    sheet.freeze_panes = f"A{first + 1}"
    one_page(sheet, f"{letter(len(HEADINGS))}{sheet.max_row}", landscape=True)
    return same_bytes(book)


_MONEY = list(HEADINGS).index("order_money") + 1
_WIDTHS = {"material": 18, "unit": 8}
TO_FILL = ("Date", "Supplier", "Deliver to")
"""Lines that stay blank until somebody writes on them."""


def _front(sheet: Worksheet, jobs: str) -> None:
    """The title, the lines to fill in, and the jobs."""
    from openpyxl.styles import Font

    from airstats.documents.price_workbook.looks import TO_TYPE, typed_cell

    sheet["A1"], sheet["A1"].font = "Buying list", Font("Calibri", bold=True, size=18)
    for row, label in enumerate(TO_FILL, start=2):
        sheet[f"A{row}"] = TO_TYPE + label
        typed_cell(sheet, f"B{row}", None, "yyyy-mm-dd" if label == "Date" else "General")
        sheet.merge_cells(f"B{row}:E{row}")
    sheet["A5"], sheet["A5"].font = "For the jobs", Font("Calibri", bold=True)
    _wrapped(sheet, 5, jobs, first=2)


def _rows(sheet: Worksheet, first: int, bought: pd.DataFrame) -> None:
    from openpyxl.styles import Alignment

    from airstats.documents.price_workbook.looks import RESULT_FRAME, head_row, letter

    head_row(sheet, first, "A", [harmless(heading) for heading in _headings(bought)])
    sheet.row_dimensions[first].height = 48
    for heading in sheet[first][1:]:
        heading.alignment = Alignment(horizontal="right", vertical="center", wrap_text=True)
    rows = _shown(bought).itertuples(index=False)
    for place, row in enumerate(rows, start=first + 1):
        for column, (cell, form) in enumerate(zip(row, _PATTERNS, strict=True), start=1):
            written = sheet.cell(place, column, None if pd.isna(cell) else harmless(cell))
            written.number_format, written.border = form, RESULT_FRAME
            written.alignment = Alignment(horizontal="left" if column == 1 else "right")
    for column, name in enumerate(HEADINGS, start=1):
        sheet.column_dimensions[letter(column)].width = _WIDTHS.get(name, 12)


_PATTERNS = [
    {"{:.0f}": "0", "{:g}": "General", "{:,.0f}": "#,##0", "{:.1%}": "0.0 %", "{:.1f}": "0.0",
     "{:,.2f}": "#,##0.00", "{}": "General"}[form]
    for _, form in HEADINGS.values()
]  # fmt: skip


def _wrapped(sheet: Worksheet, row: int, text: str, first: int = 1) -> None:
    """Write a text across the columns from the first on, in as many lines as it needs."""
    from openpyxl.styles import Alignment

    cell = sheet.cell(row, first, harmless(text))
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.merge_cells(start_row=row, end_row=row, start_column=first, end_column=len(HEADINGS))
    wide = sum(_WIDTHS.get(name, 12) for name in list(HEADINGS)[first - 1 :])
    sheet.row_dimensions[row].height = 16 * (1 + len(text) // wide)


def _headings(bought: pd.DataFrame) -> list[str]:
    """The headings, money in the firm's currency."""
    currency = "".join(bought["currency"].unique()[:1]) or "money"
    return [re.sub(r"\bmoney\b", lambda _: currency, name) for name, _ in HEADINGS.values()]


def _shown(bought: pd.DataFrame) -> pd.DataFrame:
    """The columns to show; what is used, with the digits that the CSV file has."""
    return bought.assign(expected=rounded(bought)["expected"])[list(HEADINGS)].astype(object)


def _texts(bought: pd.DataFrame) -> list[list[str]]:
    rows = _shown(bought).itertuples(index=False)
    formats = [form for _, form in HEADINGS.values()]
    return [[_cell(cell, form) for cell, form in zip(row, formats, strict=True)] for row in rows]


def _cell(value: Any, form: str) -> str:
    if pd.isna(value):
        return MISSING
    return form.format(value).replace("%", " %") if "%" in form else form.format(value)
