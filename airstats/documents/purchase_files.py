"""The buying list as files: CSV, a workbook, and a page to print."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from airstats.base.caution import CAUTION
from airstats.base.formula_guard import csv_of, harmless
from airstats.reports.buying_text import headline, remarks

TEMPLATE = "buying_list.html.j2"
HEADINGS = {
    "material": ("material", "{}"),
    "order_packs": ("packs to buy", "{:.0f}"),
    "pack": ("a pack holds", "{:g}"),
    "unit": ("unit", "{}"),
    "expected": ("used on average", "{:,.0f}"),
    "low_packs": ("packs opened, low (80 %)", "{:.0f}"),
    "high_packs": ("high", "{:.0f}"),
    "chance_short": ("chance short", "{:.1%}"),
    "expected_left_over_packs": ("packs left over", "{:.1f}"),
    "pack_price": ("price a pack", "{:,.2f}"),
    "order_money": ("money", "{:,.0f}"),
    "left_over_money": ("of it left over", "{:,.0f}"),
}
"""Heading and number format of each column that the page and the workbook show."""
MISSING = "–"


def buying_files(
    bought: pd.DataFrame, jobs: list[str], quarter: str, left_out: Sequence[str] = ()
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
    """
    return {
        "buying_list.csv": csv_of(bought),
        "buying_list.html": buying_page(bought, jobs, quarter, left_out),
        "buying_list.xlsx": buying_workbook(bought, jobs, quarter, left_out),
    }


def buying_page(
    bought: pd.DataFrame, jobs: list[str], quarter: str, left_out: Sequence[str] = ()
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
    """
    from airstats.documents.page_templates import page_template

    return page_template(TEMPLATE).render(
        headline=headline(bought, jobs),
        remarks=remarks(bought, left_out),
        headings=[heading for heading, _ in HEADINGS.values()],
        rows=_texts(bought),
        jobs=jobs,
        quarter=quarter,
        caution=CAUTION,
    )


def buying_workbook(
    bought: pd.DataFrame, jobs: list[str], quarter: str, left_out: Sequence[str] = ()
) -> bytes:
    """Return the list as a workbook: a sheet to buy from, a sheet that says how it was made.

    Parameters
    ----------
    bought, jobs, quarter, left_out
        As for `buying_page`.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Font

    from airstats.documents.price_workbook.looks import same_bytes

    book = Workbook()
    sheet = book.active
    sheet.title = "buying list"
    sheet.append([heading for heading, _ in HEADINGS.values()])
    for row in bought[list(HEADINGS)].astype(object).itertuples(index=False):
        sheet.append([None if pd.isna(cell) else harmless(cell) for cell in row])
    for heading in sheet[1]:
        heading.font = Font(bold=True)
        sheet.column_dimensions[heading.column_letter].width = max(len(heading.value) + 3, 12)
    sheet.freeze_panes = "A2"
    notes = book.create_sheet("notes")
    notes.column_dimensions["A"].width = 110
    told = [f"Jobs: {', '.join(jobs)}", f"Allowances of {quarter}"]
    for line in [headline(bought, jobs), *remarks(bought, left_out), *told, CAUTION]:
        notes.append([harmless(line)])
    return same_bytes(book)


def _texts(bought: pd.DataFrame) -> list[list[str]]:
    rows = bought[list(HEADINGS)].astype(object).itertuples(index=False)
    formats = [form for _, form in HEADINGS.values()]
    return [
        [MISSING if pd.isna(c) else form.format(c) for c, form in zip(row, formats, strict=True)]
        for row in rows
    ]
