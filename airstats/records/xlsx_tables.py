"""Shape the rows of a workbook's sheet, and tell what its merged cells and day numbers hide."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from airstats.records.faults import Fault
from airstats.records.raw_table import (
    COLUMNS,
    Table,
    Unread,
    as_text,
    column_name,
    header_position,
    headless,
    is_empty,
    shaped,
)
from airstats.records.xlsx_reader import OpenSheet

_DAY_NUMBER = re.compile(r"[0-9]{5}(\.[0-9]+)?")
_MERGED = "cells of this row are merged with others, so what they hold is not known"


def workbook_table(name: str, sheet: OpenSheet) -> Table:
    """Shape the rows of an open sheet."""
    covered = _covered(name, sheet)
    rows = _with_ids(sheet, covered)
    table = sheet_table(name, sheet.file, rows)
    if sheet.from_1904 and "finished_on" in table.headers:
        days = table.cells["finished_on"].map(_undated)
        table = replace(table, cells=table.cells.assign(finished_on=days))
    return replace(table, row_faults=tuple(_merged_faults(table, covered)))


def sheet_table(name: str, file: str, rows: list[list[object]]) -> Table:
    """Shape the rows of a sheet, which start at the sheet's first row."""
    at = header_position(rows)
    if at is None:
        raise headless(file, rows)
    body = pd.DataFrame(rows[at:], dtype=object).iloc[1:]
    return replace(shaped(name, file, rows[at], body, at + 2), is_workbook=True)


def _undated(cell: object) -> object:
    """A bare day number of a workbook that counts from 1904 would be taken for one from 1900."""
    text = as_text(cell).strip()
    if isinstance(cell, Unread) or not _DAY_NUMBER.fullmatch(text):
        return cell
    return Unread(text, "is the number of a day, counted from 1904", "format the cell as a date")


def _covered(name: str, sheet: OpenSheet) -> dict[tuple[int, int], object]:
    """Cells of known columns that a merged range covers, with what the range shows."""
    at = header_position(sheet.rows)
    if at is None or not sheet.merged:
        return {}
    known = [
        place
        for place, heading in enumerate(sheet.rows[at])
        if column_name(name, as_text(heading), place) in COLUMNS[name]
    ]
    shows = [(*ends, sheet.rows[ends[0][0]][ends[0][1]]) for ends in _inside(sheet)]
    return {
        (row, place): value
        for first, last, value in shows
        if not is_empty(value)
        for row in range(max(first[0], at + 1), min(last[0] + 1, len(sheet.rows)))
        for place in known
        if first[1] <= place <= last[1] and (row, place) != first
    }


def _inside(sheet: OpenSheet) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """The merged ranges that start inside the filled part of the sheet."""
    high, wide = len(sheet.rows), len(sheet.rows[0])
    return ((first, last) for first, last in sheet.merged if first[0] < high and first[1] < wide)


def _with_ids(sheet: OpenSheet, covered: dict[tuple[int, int], object]) -> list[list[object]]:
    """Write a merged job_id into its rows, so that a job is set aside with all of its rows."""
    at = header_position(sheet.rows)
    if at is None or not covered:
        return sheet.rows
    place = next(p for p, h in enumerate(sheet.rows[at]) if header_position([[h]]) == 0)
    rows = list(sheet.rows)
    for row, value in ((row, value) for (row, p), value in covered.items() if p == place):
        rows[row] = [*rows[row][:place], value, *rows[row][place + 1 :]]
    return rows


def _merged_faults(
    table: Table, covered: dict[tuple[int, int], object]
) -> Iterator[tuple[int, Fault]]:
    """State one fault a row of which cells are covered."""
    rows = {row + 1 for row, _ in covered}
    for position, row in enumerate(table.rows.tolist()):
        if row in rows:
            remedy = "take the merging off, and fill in every cell"
            yield position, Fault(table.file, row, None, "", _MERGED, remedy)
