"""Bring the rows of any source into one shape, cells as they stand."""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from difflib import get_close_matches
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import infer_dtype

from airstats.base.number_text import shown
from airstats.catalog.units import declared, name_in, own_unit, units_read
from airstats.records.faults import Fault, UnreadableTableError, unreadable

_JOBS = """job_id finished_on surface_m2 estimated_rolls used_rolls counted left_m left_diameter_mm
brought_m full_diameter_mm core_mm roll_width_m roll_length_m lap_mm crew work_type
roll_price exclude opening_count opening_width_mm opening_height_mm reveal_mm cut_pattern
perimeter_m sealant_m pretaped_share corner_method"""
_OPENINGS = "job_id mark count width_mm height_mm reveal_mm sides cut_pattern"
_MATERIALS = "job_id material estimated used counted pack unit pack_price"
_STOCK = "roll_width_m roll_length_m rolls left_m"
COLUMNS = {
    "jobs": _JOBS.split(),
    "openings": _OPENINGS.split(),
    "materials": _MATERIALS.split(),
    "stock": _STOCK.split(),
}
_SIGNS = re.compile(r"[\W_]+")
_HEADED_BY = dict.fromkeys(COLUMNS, ("job_id",)) | {"stock": ("rolls", "left_m")}
"""Of each table the columns of which one must be there: so its row of headings is known."""
GUIDE = "read me"
"""Title of the worksheet that explains a workbook, and holds no records."""
ADDED_COLUMNS = ("quarter", "finished", "from_summary", "openings_known", "count_told")
EMPTY = "the table is empty"
HEADER_SOUGHT_IN = 20
LOST = "\ufffd"
"""Stands in a text for what could not be read."""
LARGEST_UNPACKED = 600_000_000
"""Bytes; a million openings as a workbook have some 400 million."""
MOST_CELLS = 30_000_000
"""Cells of one table: a million rows of thirty."""
_AT_A_TIME = 128
"""Rows of a Parquet file; a cell of a million characters in each is a fifth of the most."""


@dataclass(frozen=True)
class Unread:
    """A cell whose value is not known, though the spreadsheet shows something there."""

    text: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Table:
    """One table before any cell is understood.

    `cells` bears the contract's column names, and the source's own for extra columns; `headers`
    has the source's spelling of each, `units` the unit of those that are not in the contract's.
    `unit_unread` holds the columns that only a heading with a unit that is not read gives. `rows`
    has the spreadsheet's row numbers, `row_faults` the position in `cells` and the fault. `title`
    is the worksheet's, "" where the source is no workbook; `places` counts the columns from 1.
    """

    name: str
    file: str
    cells: pd.DataFrame
    headers: dict[str, str]
    rows: np.ndarray
    separator: str = ""
    faults: tuple[Fault, ...] = ()
    row_faults: tuple[tuple[int, Fault], ...] = ()
    notes: tuple[str, ...] = ()
    title: str = ""
    places: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    unit_unread: frozenset[str] = frozenset()

    def as_headed(self, column: str) -> str:
        """Return the contract's name of a column, or the heading where that has another unit."""
        return self.headers[column].strip() if column in self.units else column

    def cell(self, row: int | None, column: str | None) -> tuple[str, int, int] | None:
        """Return the worksheet, row and column of a cell; that of the id for a whole row."""
        place = self.places.get(column or "job_id") or self.places.get("job_id")
        return (self.title, row, place) if self.title and row and place else None


def is_empty(value: object) -> bool:
    """Tell whether a cell holds nothing but space."""
    if isinstance(value, str):
        return not value or value.isspace()
    if isinstance(value, float):
        return value != value
    return value is None or value is pd.NA or value is pd.NaT


def as_text(value: object) -> str:
    """Write a cell as its spreadsheet would show it; 101.0 becomes 101, a date its ISO form."""
    if isinstance(value, str):
        return value
    if is_empty(value):
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime):
        return value.isoformat(sep=" ").removesuffix(" 00:00:00")
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    return value.isoformat() if isinstance(value, date) else str(value)


def parquet_table(name: str, file: str, data: bytes) -> Table:
    """Read the bytes of a Parquet file; its rows are numbered as a spreadsheet would.

    Parameters
    ----------
    name, file, data
        As for `csv_table`.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        packed = pq.ParquetFile(io.BytesIO(data), page_checksum_verification=True)
        arrow = pa.Table.from_batches(_unpacked(file, packed), packed.schema_arrow)
        arrow.validate(full=True)
        # Whole numbers beside blanks would lose their last digits as decimals.
        frame = arrow.to_pandas(ignore_metadata=True, integer_object_nulls=True)
    except (pa.ArrowException, OSError, ValueError) as error:
        problem = f"cannot be read as Parquet, it may be damaged ({shown(str(error))})"
        raise unreadable(file, problem, "write the file again") from error
    header = list(arrow.schema.names)
    if header_position([header], name) is None:
        raise headless(file, [header], name)
    frame = frame.set_axis(range(len(header)), axis=1)
    short = frame.select_dtypes(["float16", "float32"]).columns
    # By their digits: 0.105 of 32 bits is not 0.10499999672.
    frame = frame.astype(dict.fromkeys(short, "str")).astype(dict.fromkeys(short, "float64"))
    return shaped(name, file, header, frame, 2)


def _unpacked(file: str, packed: Any) -> Iterator[Any]:
    """Yield few rows at a time: what is declared may be wrong, or a few values a million times."""
    told = packed.metadata
    groups = [told.row_group(place).total_byte_size for place in range(told.num_row_groups)]
    _check_size(file, told.num_rows, told.num_columns, sum(groups))
    rows = size = 0
    for batch in packed.iter_batches(_AT_A_TIME, use_threads=False):
        rows, size = rows + batch.num_rows, size + batch.nbytes
        _check_size(file, rows, batch.num_columns, size)
        yield batch


def _check_size(file: str, rows: int, columns: int, size: int) -> None:
    if size > LARGEST_UNPACKED or rows * columns > MOST_CELLS:
        problem = f"unpacks to {rows:,} rows and {size / 1e6:,.0f} MB or more"
        raise unreadable(file, problem, "split it by years")


def header_position(rows: Sequence[Sequence[object]], name: str = "jobs") -> int | None:
    """Find the row of headings of a table among the first rows; None if there is none."""
    for position, row in enumerate(rows[:HEADER_SOUGHT_IN]):
        if any(is_heading(cell, name) for cell in row):
            return position
    return None


def is_heading(cell: object, name: str = "jobs") -> bool:
    """Tell whether a cell heads a column by which the table is known."""
    return _heading_key(cell) in _known_by(name)


@cache
def _known_by(name: str) -> frozenset[str]:
    return frozenset(
        name_in(column, unit).replace("_", "")
        for column in _HEADED_BY[name]
        for unit in units_read(column) or ("",)
    )


def _heading_key(heading: object) -> str:
    """Reduce a heading to letters and digits, so that "Surface (m²)" is surface_m2."""
    text = unicodedata.normalize("NFKC", as_text(heading)).casefold()
    return _SIGNS.sub("", text)


def headless(file: str, rows: Sequence[Sequence[object]], name: str) -> UnreadableTableError:
    """Return the error that says what stands at the top in place of headings.

    Parameters
    ----------
    file, name : str
        The file, and the table that it should hold.
    rows : sequence of sequences
        The first rows.
    """
    needed = " or ".join(_HEADED_BY[name])
    remedy = f"give the table one row of headings, with {needed} among them"
    filled = [
        [as_text(cell) for cell in row if as_text(cell).strip(" ,;|\t\n\u00a0")] for row in rows
    ]
    first = next((row for row in filled if row), None)
    if first is None:
        return unreadable(file, EMPTY, remedy)
    shown = ", ".join(first)[:80]
    problem = f'no column {needed} in the first {HEADER_SOUGHT_IN} rows; the first reads "{shown}"'
    return unreadable(file, problem, remedy)


def shaped(name: str, file: str, header: list, body: pd.DataFrame, first_row: int) -> Table:
    """Name the columns, and leave out empty rows and columns without a heading or a cell.

    Parameters
    ----------
    name, file : str
        As for `csv_table`.
    header : list
        The headings as they are.
    body : DataFrame
        The rows below them, columns numbered from 0.
    first_row : int
        The spreadsheet's number of the first row of `body`.
    """
    filled = _filled_rows(body)
    cells = body.iloc[filled]
    names: dict[int, str] = {}
    headers: dict[str, str] = {}
    units: dict[str, str] = {}
    faults = []
    for place in range(cells.shape[1]):
        heading = as_text(header[place]) if place < len(header) else ""
        if is_empty(heading) and all(map(is_empty, cells[place])):
            continue
        column, unit = _column_and_unit(name, heading, place)
        if column in headers and column in COLUMNS[name]:
            faults.append(_twice(file, first_row - 1, column, headers[column], heading))
        elif unit != own_unit(column):
            units[column] = unit
        while column in headers:
            column += f" (column {_letters(place)})"
        names[place], headers[column] = column, heading
    cells = cells[list(names)].set_axis(list(names.values()), axis=1).reset_index(drop=True)
    skipped = filled[-1] + 1 - len(filled) if len(filled) else 0
    notes = (f"{file}: empty rows skipped: {skipped}.",) if skipped else ()
    table = Table(name, file, cells, headers, filled + first_row, "", tuple(faults))
    places = {column: place + 1 for place, column in names.items()}
    table = replace(table, notes=notes, units=units, places=places)
    return _with_strange_units(table, first_row - 1)


def _with_strange_units(table: Table, row: int) -> Table:
    """Add the faults of headings, in `row`, that give a column in a unit that is not read."""
    known, faults, columns = COLUMNS[table.name], list(table.faults), set()
    for heading in dict.fromkeys(h for c, h in table.headers.items() if c not in known):
        column, unit = declared(known, _heading_key(heading)) or ("", "")
        if column and unit not in units_read(column) and column not in table.headers:
            columns.add(column)
            *others, last = (name_in(column, read) for read in units_read(column))
            remedy = f"give the column as {', '.join(others)} or {last}"
            problem = f"the unit {unit} is not read"
            faults.append(Fault(table.file, row, heading.strip(), "", problem, remedy))
    return replace(table, faults=tuple(faults), unit_unread=frozenset(columns))


def unread_headings(table: Table, also_read: Collection[str] = ()) -> list[str]:
    """Name the columns that nothing reads, first those that may be meant as one of the contract.

    `also_read` holds the columns besides the contract's that something reads.
    """
    read = {*COLUMNS[table.name], *also_read}
    others = {c: h.strip() or c for c, h in table.headers.items() if c not in read}
    meant = {c: hint for c, h in others.items() if (hint := _meant(table, h))}
    hints = [f"{shown(others[column])} ({hint})" for column, hint in meant.items()]
    return hints + [shown(heading) for column, heading in others.items() if column not in meant]


def meant_by(table: Table, column: str) -> str:
    """Say which heading that is not read may be meant as a column that is missing; "" if none."""
    others = [h for c, h in table.headers.items() if c not in COLUMNS[table.name]]
    meant = {heading: _column_meant(table, heading) for heading in others}
    for heading, (found, write) in meant.items():
        if found == column:
            unit = ", the unit of its numbers," if write != column else ""
            return f'write {write}{unit} in place of "{shown(heading.strip())}" if that is meant'
    return ""


def _meant(table: Table, heading: str) -> str:
    """Say which column of the contract a heading that is not read is much like; "" if none."""
    known, key = COLUMNS[table.name], _heading_key(heading)[:40]
    if (found := declared(known, key)) and found[0] in table.headers:
        return f"{found[0]} is there"
    column, write = _column_meant(table, heading)
    return f"write {write} if that is meant" if column else ""


def _column_meant(table: Table, heading: str) -> tuple[str, str]:
    """Return the missing column that a heading may mean, and how to write it, with its unit."""
    key = _heading_key(heading)[:40]
    lacking = [column for column in COLUMNS[table.name] if column not in table.headers]
    keys = {_letters_of(name_in(column, "")): column for column in lacking}
    whole = {_letters_of(column): column for column in lacking}
    turned = {"".join(sorted(column.split("_"))): column for column in lacking}
    words = "".join(sorted(re.findall("[a-z0-9]+", heading.casefold())))
    alike = get_close_matches(key, {**keys, **whole}, 1, 0.8)
    inside = [k for k in keys if len(key) > 3 and (key in k or (len(k) > 4 and k in key))]
    found = next(iter([*alike, *inside]), "")
    column = turned.get(words) or {**keys, **whole}.get(found, "")
    if found in keys and found not in whole and own_unit(column):
        *others, last = (name_in(column, unit) for unit in units_read(column))
        return column, f"{', '.join(others)} or {last}"
    return column, column


def _letters_of(column: str) -> str:
    return column.replace("_", "")


def _filled_rows(body: pd.DataFrame) -> np.ndarray:
    empty = np.arange(len(body))
    for place in body:
        if not empty.size:
            break
        empty = empty[_are_empty(body[place].iloc[empty])]
    return np.delete(np.arange(len(body)), empty)


def _are_empty(cells: pd.Series) -> np.ndarray:
    if cells.dtype == object and infer_dtype(cells, skipna=False) != "string":
        return np.array([is_empty(cell) for cell in cells], dtype=bool)
    codes, values = pd.factorize(cells, use_na_sentinel=False)
    return np.array([is_empty(value) for value in values], dtype=bool)[codes]


def column_name(table: str, heading: str, place: int) -> str:
    """Return the contract's name of a column, or its own heading, or its letter.

    Parameters
    ----------
    table, heading : str
        One of the contract's tables, and a heading of the source.
    place : int
        Of the column, from 0.
    """
    return _column_and_unit(table, heading, place)[0]


def _column_and_unit(table: str, heading: str, place: int) -> tuple[str, str]:
    """Return the name of a column and the unit that its numbers are in, "" if it has none."""
    key = _heading_key(heading)
    for column in COLUMNS[table]:
        if key == column.replace("_", ""):
            return column, own_unit(column)
    found = declared(COLUMNS[table], key)
    if found and found[1] in units_read(found[0]):
        return found
    name = heading.strip()
    name = f"{name} (as written)" if name in ADDED_COLUMNS else name or f"column {_letters(place)}"
    return name, own_unit(name)


def _letters(place: int) -> str:
    """Name a column as a spreadsheet does: 0 is A, 26 is AA."""
    before, last = divmod(place, 26)
    return (_letters(before - 1) if before else "") + chr(ord("A") + last)


def _twice(file: str, row: int, column: str, first: str, second: str) -> Fault:
    pair = f'"{shown(first.strip())}" and "{shown(second.strip())}"'
    problem = f"two columns are headed {column}: {pair}"
    if _heading_key(first) != _heading_key(second):
        problem = f"two columns hold the same quantity: {pair}"
    return Fault(file, row, column, "", problem, "keep one of them, and head the other otherwise")
