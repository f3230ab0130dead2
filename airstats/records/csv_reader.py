"""Read a CSV file in any usual encoding and with any usual separator."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain, islice
from typing import TextIO

import numpy as np
import pandas as pd

from airstats.records.faults import Fault, unreadable
from airstats.records.raw_table import (
    HEADER_SOUGHT_IN,
    LOST,
    Table,
    header_position,
    headless,
    is_empty,
    shaped,
)

_SEPARATORS = (",", ";", "\t", "|")
_CLOSE_QUOTES = "remove the stray quotation mark, or save the file as CSV once more"
_LONGEST_CELL = 1_000_000
_ENDLESS_CELL = re.compile(rb'(?:^|[,;\t|\r\n])"[^",;\t|\r\n][^"]{%d}' % _LONGEST_CELL)
_HEAD = 1 << 16
"""Characters; the header is nearly always among them."""
_SMALL = 1 << 18
"""Characters; some 3,000 jobs."""
_UNENDED = "the last line has no line end; if the file was cut off there, its end is missing."
_SENTINEL = "end of the file"


def csv_table(name: str, file: str, data: bytes) -> Table:
    """Read the bytes of a CSV file in any usual encoding and with any usual separator.

    Parameters
    ----------
    name : str
        One of the contract's tables.
    file : str
        What faults and remarks call the file.
    data : bytes
        The whole file.
    """
    if _has_endless_cell(data):
        raise unreadable(file, "a cell holds more than 1,000,000 characters", _CLOSE_QUOTES)
    text, notes = decoded(file, data)
    separator, record, lines_above = _csv_header(name, file, text)
    # A string buffer would hold four bytes a character.
    body = io.TextIOWrapper(io.BytesIO(text.encode()), "utf-8", newline="")
    for _ in range(lines_above):
        body.readline()
    # Many cells that are alike are kept once; for few that takes longer than to keep them all.
    frame = _csv_frame(file, body, separator, "object" if len(text) < _SMALL else "category")
    header = [cell for cell in (frame[place].iloc[0] for place in frame) if cell is not None]
    plain = shaped(name, file, header, frame.iloc[1:], record + 2)
    table = replace(plain, separator=separator)
    beyond = frame.iloc[table.rows - record - 1, len(header) :]
    row_faults = [*_overlong(table, beyond, len(header)), *_cut_off(table, text, len(header))]
    if text.count("\n") > lines_above + len(frame):
        row_faults += _swallowed(table)
    unended = () if text.endswith(("\n", "\r")) or row_faults else (f"{file}: {_UNENDED}",)
    return replace(table, row_faults=tuple(row_faults), notes=(*notes, *table.notes, *unended))


def csv_rows(file: str, data: bytes) -> tuple[list[list[str]], str, tuple[str, ...]]:
    """Return the rows of a CSV file without looking for headings, its separator, and remarks.

    The separator is the one that most lines hold equally often.

    Raises
    ------
    UnreadableTableError
        If the bytes are no text, or a quotation mark is never closed.
    """
    if _has_endless_cell(data):
        raise unreadable(file, "a cell holds more than 1,000,000 characters", _CLOSE_QUOTES)
    text, notes = decoded(file, data)
    top = text[:_HEAD]
    separator = max(_SEPARATORS, key=lambda sign: _evenness(top, sign))
    return _rows(file, io.StringIO(text, newline=""), separator), separator, notes


def _evenness(text: str, separator: str) -> int:
    """How many cells beyond the first the records have that are of the commonest length."""
    try:
        lengths = Counter(map(len, csv.reader(io.StringIO(text, newline=""), delimiter=separator)))
    except csv.Error:
        return 0
    return max((records * (cells - 1) for cells, records in lengths.items()), default=0)


def _rows(file: str, body: TextIO, separator: str) -> list[list[str]]:
    try:
        rows = list(csv.reader(chain(body, [_SENTINEL]), delimiter=separator))
    except csv.Error as error:
        raise unreadable(file, f"cannot be read ({error})", _CLOSE_QUOTES) from error
    if rows.pop() != [_SENTINEL]:
        raise unreadable(file, "a quotation mark is opened and never closed", _CLOSE_QUOTES)
    return rows


def _has_endless_cell(data: bytes) -> bool:
    """Find an opening quotation mark without a closing one, before more is held of the file."""
    if b'"' not in data:
        return False
    marks = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord('"'))
    gaps = np.diff(marks, append=len(data))
    # The search takes long, and most files need none.
    return bool((gaps > _LONGEST_CELL).any() and _ENDLESS_CELL.search(data))


def _csv_header(name: str, file: str, text: str) -> tuple[str, int, int]:
    """Find the separator that splits the header best, the header's record and its line."""
    best: tuple[int, str, int, int] | None = None
    for separator in _SEPARATORS:
        top = _top_records(text, separator)
        at = header_position([cells for _, cells in top], name)
        if at is not None and (best is None or len(top[at][1]) > best[0]):
            best = (len(top[at][1]), separator, at, top[at][0])
    if best is None:
        raise headless(file, [cells for _, cells in _top_records(text, "\t")], name)
    return best[1:]


def _top_records(text: str, separator: str) -> list[tuple[int, list[str]]]:
    """Give the first records, each with the number of lines above it."""
    records, left_over = _first_records(text[:_HEAD], separator)
    if len(records) < HEADER_SOUGHT_IN or not left_over:
        # The head ends in the middle of a record, or nearly so.
        records, _ = _first_records(text, separator)
    return records


def _first_records(text: str, separator: str) -> tuple[list[tuple[int, list[str]]], bool]:
    """Give the first records, and whether any text is left after them."""
    lines = io.StringIO(text, newline="")
    reader = csv.reader(lines, delimiter=separator)
    records: list[tuple[int, list[str]]] = []
    above = 0
    try:
        for record in islice(reader, HEADER_SOUGHT_IN):
            records.append((above, record))
            above = reader.line_num
    except csv.Error:
        pass
    return records, bool(lines.readline())


def _csv_frame(file: str, body: TextIO, separator: str, kind: str) -> pd.DataFrame:
    """Read the header and all below it as text; the slow reader also takes uneven rows."""
    start = body.tell()
    try:
        return pd.read_csv(
            body,
            sep=separator,
            header=None,
            dtype=kind,
            na_filter=False,
            skip_blank_lines=False,
        )
    except pd.errors.ParserError:
        body.seek(start)
    rows = _rows(file, body, separator)
    width = max(map(len, rows))
    filled = [[*row, *[None] * (width - len(row))] for row in rows]
    return pd.DataFrame(filled, dtype=object)


def _overlong(table: Table, beyond: pd.DataFrame, width: int) -> Iterator[tuple[int, Fault]]:
    """Find the rows with more cells than headings, as an unquoted decimal comma makes them."""
    # A comma too many may have shifted the cells even if the last one is blank.
    harmless = (lambda cell: cell is None) if table.separator == "," else is_empty
    problem = f"the row has more cells than the {width} of the header"
    remedy = f'put a text that holds "{table.separator}" between double quotation marks'
    for position in np.flatnonzero(~beyond.map(harmless).all(axis=1)).tolist():
        row = int(table.rows[position])
        yield position, Fault(table.file, row, None, "", problem, remedy)


def _cut_off(table: Table, text: str, width: int) -> Iterator[tuple[int, Fault]]:
    """Find a last row that stops short with no line end, as where a copy of a file broke off."""
    last = text[max(text.rfind("\n"), text.rfind("\r")) + 1 :]
    cells = next(csv.reader([last], delimiter=table.separator), []) if '"' not in last else []
    if 0 < len(cells) < width and len(table.rows):
        problem = f"the file ends in the middle of the row, after {len(cells)} of {width} cells"
        remedy = "copy the file once more, or complete the row and end the line"
        place = table.file, int(table.rows[-1]), None, ""
        yield len(table.rows) - 1, Fault(*place, problem, remedy)


def _swallowed(table: Table) -> Iterator[tuple[int, Fault]]:
    """Find the cells that hold whole rows, as a stray pair of quotation marks makes them."""
    for column, cells in table.cells.items():
        for position, value in enumerate(cells):
            if value and "\n" in value and value.count(table.separator) >= len(table.headers) - 1:
                place = table.file, int(table.rows[position]), str(column), value[:40]
                problem = "the cell has swallowed the rows below it"
                yield position, Fault(*place, problem, "remove the stray quotation mark before it")


_SAVE_AGAIN = "open it in the spreadsheet program and save it as CSV UTF-8"
_UTF16 = {codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


def decoded(file: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    """Return the text of some bytes, `LOST` for what cannot be read, and remarks.

    Raises
    ------
    UnreadableTableError
        If the bytes are no text at all.
    """
    text, note = _text(data)
    if "\0" in text:
        raise unreadable(file, "holds zero bytes, so it is no CSV file or damaged", _SAVE_AGAIN)
    return text, (f"{file}: {note}",) if note else ()


def _text(data: bytes) -> tuple[str, str]:
    """Return the text and a remark on its encoding, if any."""
    if encoding := _UTF16.get(data[:2]) or _unmarked_utf16(data):
        return data.decode(encoding, errors="replace").removeprefix("\ufeff"), ""
    try:
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        text = data.decode("utf-8-sig", errors="replace")
    # UTF-8 with a few bad bytes, unlike another encoding, of which hardly a letter comes out.
    if len(text) - len(text.encode("ascii", errors="ignore")) > 2 * text.count(LOST):
        return text, "UTF-8 with bytes that cannot be read."
    return data.decode("cp1252", errors="replace"), "not UTF-8; read as Windows-1252."


def _unmarked_utf16(data: bytes) -> str:
    """The encoding of a text in which every other byte is zero, as UTF-16 without its mark."""
    head = data[:64]
    if len(head) > 3 and not any(head[1::2]) and all(head[::2]):
        return "utf-16-le"
    return "utf-16-be" if len(head) > 3 and not any(head[::2]) and all(head[1::2]) else ""
