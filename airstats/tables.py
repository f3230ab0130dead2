"""Bring a CSV file, a workbook's sheet or a Parquet file into one shape, cells as they stand."""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import chain, islice

import numpy as np
import pandas as pd

_JOBS = """job_id finished_on surface_m2 estimated_rolls used_rolls counted roll_width_m
roll_length_m lap_mm crew work_type roll_price exclude opening_count opening_width_mm
opening_height_mm reveal_mm cut_pattern perimeter_m sealant_m pretaped_share corner_method"""
_OPENINGS = "job_id mark count width_mm height_mm reveal_mm sides cut_pattern"
_MATERIALS = "job_id material estimated used counted pack unit pack_price"
COLUMNS = {"jobs": _JOBS.split(), "openings": _OPENINGS.split(), "materials": _MATERIALS.split()}
ADDED_COLUMNS = ("quarter", "finished", "from_summary")
EMPTY = "the table is empty"
_SEPARATORS = (",", ";", "\t", "|")
_HEADER_SOUGHT_IN = 20
_ADD_HEADINGS = "give the table one row of headings, with job_id among them"
_CLOSE_QUOTES = "remove the stray quotation mark, or save the file as CSV once more"
_SENTINEL = "end of the file"


@dataclass(frozen=True)
class Fault:
    """One thing wrong in the source: where it stands, what is wrong and what to do.

    `row` is the row number that the spreadsheet shows; None for the table as a whole.
    """

    file: str
    row: int | None
    column: str | None
    value: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        place = [self.file]
        place += [f"row {self.row}"] if self.row is not None else []
        place += [f"column {self.column}"] if self.column is not None else []
        place += [f'value "{self.value}"'] if self.value else []
        return f"{', '.join(place)}: {self.problem}; {self.remedy}."


@dataclass(frozen=True)
class Table:
    """One table before any cell is understood.

    `cells` bears the contract's column names, and the source's own for extra columns; `headers`
    has the source's spelling of each, `rows` the spreadsheet's row numbers, and `row_faults` the
    position in `cells` and the fault.
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
    is_workbook: bool = False


class UnreadableTableError(Exception):
    """One table has no usable shape; its only argument is the fault that says why."""


def _unreadable(file: str, problem: str, remedy: str) -> UnreadableTableError:
    return UnreadableTableError(Fault(file, None, None, "", problem, remedy))


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
    return value.isoformat() if isinstance(value, date) else str(value)


def parquet_table(name: str, file: str, data: bytes) -> Table:
    """Read the bytes of a Parquet file; its rows are numbered as a spreadsheet would."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        arrow = pq.read_table(io.BytesIO(data))
        frame = arrow.to_pandas(ignore_metadata=True)
    except (pa.ArrowException, OSError, ValueError) as error:
        problem = f"cannot be read as Parquet, it may be damaged ({error})"
        raise _unreadable(file, problem, "write the file again") from error
    header = list(arrow.schema.names)
    if _header_position([header]) is None:
        raise _headless(file, [header])
    return _table(name, file, header, frame.set_axis(range(len(header)), axis=1), 2)


def sheet_table(name: str, file: str, rows: list[list[object]]) -> Table:
    """Shape the rows of a workbook's sheet, which start at the sheet's first row."""
    at = _header_position(rows)
    if at is None:
        raise _headless(file, rows)
    body = pd.DataFrame(rows[at:], dtype=object).iloc[1:]
    return replace(_table(name, file, rows[at], body, at + 2), is_workbook=True)


def csv_table(name: str, file: str, data: bytes) -> Table:
    """Read the bytes of a CSV file in any usual encoding and with any usual separator."""
    text, notes = _decode(file, data)
    separator, record, lines_above = _csv_header(file, text)
    body = io.StringIO(text, newline="")
    for _ in range(lines_above):
        body.readline()
    frame = _csv_frame(file, body, separator)
    header = [cell for cell in frame.iloc[0] if cell is not None]
    plain = _table(name, file, header, frame.iloc[1:], record + 2)
    table = replace(plain, separator=separator)
    beyond = frame.iloc[table.rows - record - 1, len(header) :]
    row_faults = [*_overlong(table, beyond, len(header))]
    if text.count("\n") > lines_above + len(frame):
        row_faults += _swallowed(table)
    return replace(table, row_faults=tuple(row_faults), notes=(*notes, *table.notes))


def _decode(file: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace"), ()
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        note = f"{file}: not UTF-8; read as Windows-1252."
        return data.decode("cp1252", errors="replace"), (note,)


def _csv_header(file: str, text: str) -> tuple[str, int, int]:
    """Find the separator that splits the header best, the header's record and its line."""
    best: tuple[int, str, int, int] | None = None
    for separator in _SEPARATORS:
        top = _top_records(text, separator)
        at = _header_position([cells for _, cells in top])
        if at is not None and (best is None or len(top[at][1]) > best[0]):
            best = (len(top[at][1]), separator, at, top[at][0])
    if best is None:
        raise _headless(file, [cells for _, cells in _top_records(text, "\t")])
    return best[1:]


def _top_records(text: str, separator: str) -> list[tuple[int, list[str]]]:
    """Give the first records, each with the number of lines above it."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    records: list[tuple[int, list[str]]] = []
    above = 0
    try:
        for record in islice(reader, _HEADER_SOUGHT_IN):
            records.append((above, record))
            above = reader.line_num
    except csv.Error:
        pass
    return records


def _header_position(rows: Sequence[Sequence[object]]) -> int | None:
    for position, row in enumerate(rows[:_HEADER_SOUGHT_IN]):
        if any(_heading_key(cell) == "jobid" for cell in row):
            return position
    return None


def _heading_key(heading: object) -> str:
    """Reduce a heading to letters and digits, so that "Surface (m²)" is surface_m2."""
    text = unicodedata.normalize("NFKC", as_text(heading)).casefold()
    return "".join(character for character in text if character.isalnum())


def _headless(file: str, rows: Sequence[Sequence[object]]) -> UnreadableTableError:
    filled = [
        [as_text(cell) for cell in row if as_text(cell).strip(" ,;|\t\n\u00a0")] for row in rows
    ]
    first = next((row for row in filled if row), None)
    if first is None:
        return _unreadable(file, EMPTY, _ADD_HEADINGS)
    shown = ", ".join(first)[:80]
    problem = f'no column job_id in the first {_HEADER_SOUGHT_IN} rows; the first reads "{shown}"'
    return _unreadable(file, problem, _ADD_HEADINGS)


def _csv_frame(file: str, body: io.StringIO, separator: str) -> pd.DataFrame:
    """Read the header and all below it as text; the slow reader also takes uneven rows."""
    start = body.tell()
    try:
        return pd.read_csv(
            body, sep=separator, header=None, dtype=object, na_filter=False, skip_blank_lines=False
        )
    except pd.errors.ParserError:
        body.seek(start)
    try:
        rows = list(csv.reader(chain(body, [_SENTINEL]), delimiter=separator))
    except csv.Error as error:
        raise _unreadable(file, f"cannot be read ({error})", _CLOSE_QUOTES) from error
    if rows.pop() != [_SENTINEL]:
        raise _unreadable(file, "a quotation mark is opened and never closed", _CLOSE_QUOTES)
    width = max(map(len, rows))
    return pd.DataFrame([row + [None] * (width - len(row)) for row in rows], dtype=object)


def _table(name: str, file: str, header: list, body: pd.DataFrame, first_row: int) -> Table:
    """Name the columns, and leave out empty rows and columns without a heading or a cell."""
    filled = _filled_rows(body)
    cells = body.iloc[filled]
    names: dict[int, str] = {}
    headers: dict[str, str] = {}
    faults = []
    for place in range(cells.shape[1]):
        heading = as_text(header[place]) if place < len(header) else ""
        if is_empty(heading) and all(map(is_empty, cells[place])):
            continue
        column = _column_name(name, heading, place)
        if column in headers and column in COLUMNS[name]:
            faults.append(_twice(file, first_row - 1, column, headers[column], heading))
        while column in headers:
            column += f" (column {_letters(place)})"
        names[place], headers[column] = column, heading
    cells = cells[list(names)].set_axis(list(names.values()), axis=1).reset_index(drop=True)
    skipped = filled[-1] + 1 - len(filled) if len(filled) else 0
    notes = (f"{file}: empty rows skipped: {skipped}.",) if skipped else ()
    rows = filled + first_row
    return Table(name, file, cells, headers, rows, faults=tuple(faults), notes=notes)


def _filled_rows(body: pd.DataFrame) -> np.ndarray:
    empty = np.arange(len(body))
    for place in body:
        empty = empty[[is_empty(value) for value in body[place].iloc[empty]]]
    return np.delete(np.arange(len(body)), empty)


def _column_name(table: str, heading: str, place: int) -> str:
    key = _heading_key(heading)
    for column in COLUMNS[table]:
        if key == column.replace("_", ""):
            return column
    name = heading.strip()
    return f"{name} (as written)" if name in ADDED_COLUMNS else name or f"column {_letters(place)}"


def _letters(place: int) -> str:
    """Name a column as a spreadsheet does: 0 is A, 26 is AA."""
    before, last = divmod(place, 26)
    return (_letters(before - 1) if before else "") + chr(ord("A") + last)


def _twice(file: str, row: int, column: str, first: str, second: str) -> Fault:
    problem = f'two columns are headed {column}: "{first.strip()}" and "{second.strip()}"'
    return Fault(file, row, column, "", problem, "keep one of them, and head the other otherwise")


def _overlong(table: Table, beyond: pd.DataFrame, width: int) -> Iterator[tuple[int, Fault]]:
    """Find the rows with more cells than headings, as an unquoted decimal comma makes them."""
    # A comma too many may have shifted the cells even if the last one is blank.
    harmless = (lambda cell: cell is None) if table.separator == "," else is_empty
    problem = f"the row has more cells than the {width} of the header"
    remedy = f'put a text that holds "{table.separator}" between double quotation marks'
    for position in np.flatnonzero(~beyond.map(harmless).all(axis=1)).tolist():
        row = int(table.rows[position])
        yield position, Fault(table.file, row, None, "", problem, remedy)


def _swallowed(table: Table) -> Iterator[tuple[int, Fault]]:
    """Find the cells that hold whole rows, as a stray pair of quotation marks makes them."""
    for column, cells in table.cells.items():
        for position, value in enumerate(cells):
            if value and "\n" in value and value.count(table.separator) >= len(table.headers) - 1:
                place = table.file, int(table.rows[position]), str(column), value[:40]
                problem = "the cell has swallowed the rows below it"
                yield position, Fault(*place, problem, "remove the stray quotation mark before it")
