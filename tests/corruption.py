"""Good records of a small firm, and what a spreadsheet or a copy may do to them."""

import csv
import io
import re
from copy import deepcopy
from datetime import date, datetime
from typing import Any

import openpyxl
import pandas as pd
from hypothesis import strategies as st
from openpyxl.utils.datetime import CALENDAR_MAC_1904

JOBS = [
    {
        "job_id": f"J{place:02d}",
        "finished_on": date(2026, 1 + place, 5 + 6 * place % 23),
        "surface_m2": 150.25 + 131.5 * place,
        "estimated_rolls": 4.0 + 2 * place,
        "used_rolls": 5.0 + 2 * place,
        "counted": ("opened", "half")[place % 2],
        "brought_m": 8.0,
        "full_diameter_mm": 170.0,
        "core_mm": 80.0,
        "roll_width_m": (1.5, 3.0)[place % 2],
        "lap_mm": 120.0,
        "crew": ("Müller-Süd", "North")[place % 2],
        "roll_price": 145.5,
        "exclude": "",
        "Site": f"Hill, no. {place}",
    }
    for place in range(6)
]
OPENINGS = [
    {
        "job_id": f"J{place % 6:02d}",
        "mark": f"W{place}",
        "count": 1 + place,
        "width_mm": 1210.5,
        "height_mm": 1400.0,
        "reveal_mm": 250.0 + place,
        "sides": 4,
        "cut_pattern": ("diagonal", "centre", "lined")[place % 3],
    }
    for place in range(9)
]
MATERIALS = [
    {
        "job_id": f"J{place:02d}",
        "material": "joint tape",
        "estimated": 5.0,
        "used": 6.0 + place,
        "counted": "opened",
        "pack": 30.0,
        "pack_price": 28.5,
    }
    for place in range(5)
]
TABLES: dict[str, list[dict[str, Any]]] = {
    "jobs": JOBS, "openings": OPENINGS, "materials": MATERIALS,
}  # fmt: skip
NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
KINDS = ("csv", "xlsx", "parquet")
UNREADABLE = [
    "#REF!", "#DIV/0!", "#N/A", "?", "two", "see note", "12 34", "1.2.3", "2026-13-45", "=A1",
    "a\u202eb", "a\x07b", "x" * 5000, "9" * 400, "1e999", "bad \ufffd", "31/31/2026",
]  # fmt: skip
"""What can be read as no entry, wherever it stands but in a free text."""


def number_spellings(value: float) -> list[Any]:
    """A number as people and programs write it; a reader takes each for the same."""
    text = f"{value:g}"
    whole, _, rest = f"{value:,.2f}".partition(".")
    return [
        text, f" {text}\u00a0", f"+{text}", f"{value:.3f}", text.replace(".", ","),
        f"{whole}.{rest}", f"{whole.replace(',', '.')},{rest}", f"{whole.replace(',', ' ')},{rest}",
        f"{text} m", f"{text}m²", f"ca. {text}", f"{text} mm", f"{value:e}", f"'{text}", f"{text}%",
        f"({text})", f"{text} ?",
    ]  # fmt: skip


def date_spellings(day: date) -> list[Any]:
    """A date in other spellings."""
    patterns = (
        "%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%y", "%d %B %Y", "%Y%m%d",
        "%Y-%m-%d 23:59:59", "%d. %b %Y", "%Y-%m", "%A",
    )  # fmt: skip
    spelled = [day.strftime(pattern) for pattern in patterns]
    serial = (day - date(1899, 12, 30)).days
    return [*spelled, str(serial), datetime(day.year, day.month, day.day, 12)]


def text_spellings(text: str) -> list[Any]:
    """A text with space around it."""
    return [f" {text}", f"{text}\u00a0", f"\t{text} "]


def spellings(value: Any) -> list[Any]:
    """Other spellings of a cell."""
    if isinstance(value, date):
        return date_spellings(value)
    return text_spellings(value) if isinstance(value, str) else number_spellings(value)


@st.composite
def cell_changes(draw: Any) -> tuple[str, int, str, Any, bool]:
    """Draw a table, the place of a row, a column, what to write there, and if it is the same."""
    table = draw(st.sampled_from(list(TABLES)))
    place = draw(st.integers(0, len(TABLES[table]) - 1))
    column = draw(st.sampled_from([c for c in TABLES[table][0] if c not in ("Site", "exclude")]))
    value = TABLES[table][place][column]
    if draw(st.booleans()):
        return table, place, column, draw(st.sampled_from(spellings(value))), True
    return table, place, column, draw(st.sampled_from([*UNREADABLE, True])), False


def changed_tables(changes: list[tuple[str, int, str, Any, bool]]) -> dict[str, list[dict]]:
    """Return the firm's tables with some cells changed."""
    tables = deepcopy(TABLES)
    for table, place, column, cell, _ in changes:
        tables[table][place][column] = cell
    return tables


def rows_of(rows: list[dict], gaps: int, title: bool) -> list[list[Any]]:
    """Return heading and rows, with a title above and empty rows between."""
    header = list(rows[0])
    lines: list[list[Any]] = [["Finished jobs"]] * title + [header]
    for place, row in enumerate(rows):
        lines += [[""] * len(header)] * (gaps if place == 2 else 0)
        lines.append([row[column] for column in header])
    return lines


def numbered(rows: list[dict], gaps: int, title: bool) -> dict[int, dict]:
    """Return the rows by the number that a spreadsheet shows."""
    return {2 + title + place + gaps * (place >= 2): row for place, row in enumerate(rows)}


def csv_bytes(lines: list[list[Any]], separator: str, encoding: str, end: str) -> bytes:
    """Return lines as a CSV file."""
    held = io.StringIO()
    writer = csv.writer(held, delimiter=separator, lineterminator=end)
    writer.writerows([[as_written(cell) for cell in line] for line in lines])
    text = held.getvalue()
    if encoding == "cp1252":
        # A byte that this encoding leaves undefined stands for the signs that it lacks.
        return re.sub("[\u202e\ufffd]", "~~", text).encode(encoding).replace(b"~~", b"\x81")
    return text.encode(encoding, errors="surrogatepass")


def as_written(cell: Any) -> Any:
    """A cell as a spreadsheet writes it into a CSV file."""
    return str(cell).upper() if isinstance(cell, bool) else cell


def workbook_bytes(tables: dict[str, list[list[Any]]], from_1904: bool, hidden: str = "") -> bytes:
    """Return tables as a workbook; the sheet called `hidden` is hidden."""
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904 if from_1904 else book.epoch
    book.active.title = "Notes"
    for name, lines in tables.items():
        sheet = book.create_sheet(name)
        sheet.sheet_state = "hidden" if name == hidden else "visible"
        for row, line in enumerate(lines, 1):
            for column, cell in enumerate(line, 1):
                if cell != "":
                    _put(sheet.cell(row, column), cell)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _put(place: Any, cell: Any) -> None:
    if isinstance(cell, str) and cell.startswith("#"):
        place.value, place.data_type = cell, "e"
    elif isinstance(cell, str):
        # The spreadsheet's own way to write a sign that XML does not know.
        place.value = NO_XML.sub(lambda sign: f"_x{ord(sign[0]):04X}_", cell)
    else:
        place.value = cell


def parquet_bytes(rows: list[dict]) -> bytes:
    """Return rows as a Parquet file; a column of mixed cells is text, as Parquet asks.

    Half signs, which its texts cannot hold, make a column of bytes, and go from a heading.
    """
    columns = {NO_XML.sub("?", name): [row[name] for row in rows] for name in rows[0]}
    for name, cells in columns.items():
        if len({type(cell) for cell in cells}) > 1:
            columns[name] = cells = [str(as_written(cell)) for cell in cells]
        if any(isinstance(cell, str) and NO_XML.search(cell) for cell in cells):
            columns[name] = [cell.encode("utf-8", "surrogatepass") for cell in cells]
    held = io.BytesIO()
    pd.DataFrame(columns).to_parquet(held)
    return held.getvalue()


ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-16-le", "utf-16-be")
