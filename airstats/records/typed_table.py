"""Understand a whole table: every column of the contract as numbers, dates, words or texts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pandas as pd

from airstats.base.number_text import listed, listing
from airstats.catalog.corner_methods import CORNER_METHODS, USUAL_METHOD
from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import MATERIALS, PRETAPED_SHARE
from airstats.catalog.units import converted, own_unit
from airstats.records.cell_values import (
    Cells,
    Reading,
    cells_of,
    decimal_marks,
    read_dates,
    read_ids,
    read_names,
    read_numbers,
    read_reasons,
    read_texts,
    read_words,
)
from airstats.records.faults import Fault
from airstats.records.raw_table import COLUMNS, Table, as_text, unread_headings

WORDS = {
    "counted": {word: word for word in ("opened", "half", "quarter", "exact")},
    "corner_method": {
        written: method
        for method in CORNER_METHODS
        for written in (method, method.replace("_", " "))
    },
}
DEFAULTS = {
    "counted": "opened",
    "roll_width_m": 1.5,
    "roll_length_m": 50.0,
    "lap_mm": 100.0,
    "pretaped_share": PRETAPED_SHARE,
    "corner_method": USUAL_METHOD,
    "sides": 4.0,
}
TEXTS = (
    "job_id",
    "mark",
    "exclude",
    "crew",
    "work_type",
    "material",
    "unit",
    "cut_pattern",
    *WORDS,
)
_NAMES = ("crew", "work_type")
_NOT_EXCLUDED = frozenset({"no", "false", "0"})
_LONG = 200
"""Signs of a heading with what it may be meant as."""


class Finding(NamedTuple):
    """A fault and the row of the table it stands in, by position; -1 for the whole table."""

    table: str
    position: int
    fault: Fault


@dataclass(frozen=True)
class Sheet:
    """One table of n rows understood.

    `frame` (n, contract columns) has the defaults filled in, and nan or "" where a cell is blank
    or unreadable; `blank` (n, contract columns) tells which cells are blank.
    """

    table: Table
    cells: dict[str, Cells]
    frame: pd.DataFrame
    blank: pd.DataFrame
    unreadable: tuple[Finding, ...]
    notes: tuple[str, ...]

    @property
    def is_read(self) -> bool:
        """Whether the source has this table at all, with headings."""
        return bool(self.table.headers)

    def lacks(self, column: str) -> bool:
        """Tell whether the table is there but the column is not."""
        return self.is_read and column not in self.table.headers

    def unit(self, column: str) -> str:
        """Return the unit that a column's cells are written in; "" if it has none."""
        return self.table.units.get(column, own_unit(column))

    def finding(self, position: int, column: str, problem: str, remedy: str) -> Finding:
        """State one fault of one cell.

        Parameters
        ----------
        position : int
            Of the row, from 0.
        column : str
            One of the contract's, of this table.
        problem, remedy : str
            What is wrong, and what to do.
        """
        table = self.table
        row, value = int(table.rows[position]), self.cells[column].text(position)
        return Finding(table.name, position, Fault(table.file, row, column, value, problem, remedy))

    def flag(
        self, where: np.ndarray | pd.Series, column: str, problem: str, remedy: str
    ) -> list[Finding]:
        """State the same fault for every row in which `where` (n,) is true.

        Parameters
        ----------
        where : (n,) bool array or Series
            The rows with the fault.
        column, problem, remedy
            As for `finding`.
        """
        rows = np.flatnonzero(where).tolist()
        return [self.finding(row, column, problem, remedy) for row in rows]

    def table_finding(self, column: str | None, problem: str, remedy: str) -> Finding:
        """State a fault of the table as a whole.

        Parameters
        ----------
        column : str or None
            None where no single column is at fault.
        problem, remedy : str
            What is wrong, and what to do.
        """
        fault = Fault(self.table.file, None, column, "", problem, remedy)
        return Finding(self.table.name, -1, fault)


def read_sheets(tables: dict[str, Table], dates: str) -> dict[str, Sheet]:
    """Understand all tables together, by name; a table that is not there reads as one of no rows.

    Together, because a decimal comma in one table tells how numbers are written in the other.
    """
    cells = {name: _cells(table) for name, table in tables.items()}
    no_numbers = (*TEXTS, "finished_on")
    marks = decimal_marks(
        cell for of_one in cells.values() for name, cell in of_one.items() if name not in no_numbers
    )
    return {
        name: _sheet(tables[name], cells[name], marks, dates) if name in tables else _absent(name)
        for name in COLUMNS
    }


@cache
def _absent(name: str) -> Sheet:
    table = Table(name, name, pd.DataFrame(), {}, np.empty(0, dtype=int))
    return _sheet(table, _cells(table), frozenset(), "ask")


def _cells(table: Table) -> dict[str, Cells]:
    absent = Cells(np.zeros(len(table.rows), dtype=int), [None])
    return {
        column: cells_of(table.cells[column]) if column in table.headers else absent
        for column in COLUMNS[table.name]
    }


def _sheet(table: Table, cells: dict[str, Cells], marks: frozenset[str], dates: str) -> Sheet:
    readings = {column: _read(table, column, cells[column], marks, dates) for column in cells}
    for column, unit in table.units.items():
        numbers = converted(column, np.asarray(readings[column].result), unit)
        readings[column] = replace(readings[column], result=numbers)
    frame, blank = (
        pd.DataFrame(
            {column: getattr(reading, part) for column, reading in readings.items()}, copy=False
        )
        for part in ("result", "blank")
    )
    for column, reading in readings.items():
        if column in DEFAULTS and reading.blank.any():
            frame[column] = frame[column].mask(reading.blank, DEFAULTS[column])
    notes = [
        f"{table.file}, column {table.as_headed(column)}: {reading.note}"
        for column, reading in readings.items()
        if reading.note
    ]
    notes += _exclude_note(table, cells) if "exclude" in cells else []
    notes += _unread_note(table)
    sheet = Sheet(table, cells, frame, blank, (), tuple(notes))
    unreadable = [
        sheet.finding(row, column, trouble.problem, trouble.remedy)
        for column, reading in readings.items()
        for row, trouble in reading.troubles.items()
    ]
    return replace(sheet, unreadable=tuple(unreadable))


def _read(table: Table, column: str, cells: Cells, marks: frozenset[str], dates: str) -> Reading:
    if column == "finished_on":
        return read_dates(cells, dates)
    if column in WORDS:
        return read_words(cells, WORDS[column])
    if column == "cut_pattern":
        cuts = {text: name for name, cut in CUTS.items() for text in (name, *cut.spellings)}
        told = [f"{name} is {cut.words}" for name, cut in CUTS.items() if name != cut.words]
        return read_words(cells, cuts, f" ({listed(told)})" if told else "")
    if column == "material":
        return read_words(cells, _material_spellings())
    if column == "job_id":
        return read_ids(cells)
    if column in _NAMES:
        return read_names(cells)
    if column in TEXTS:
        return read_reasons(cells, _NOT_EXCLUDED) if column == "exclude" else read_texts(cells)
    unit = table.units.get(column, own_unit(column))
    return read_numbers(cells, marks, table.separator, column, unit)


def _material_spellings() -> dict[str, str]:
    """How a material may be written; looked up late, for a firm may add materials of its own."""
    return {
        written.casefold(): name
        for name in MATERIALS
        for alike in (name, name.removesuffix("s"))
        for written in (alike, alike.replace(" ", "_"), alike.replace(" ", "-"))
    }


def _unread_note(table: Table) -> list[str]:
    """Name the columns that nothing reads; a material may go by any column of its own."""
    drivers = {material.driver for material in MATERIALS.values()}
    unread = unread_headings(table, drivers if table.name == "jobs" else ())
    return [f"{table.file}: columns not read: {listing(unread, _LONG)}."] if unread else []


def _exclude_note(table: Table, cells: dict[str, Cells]) -> list[str]:
    """Say when a "no" under exclude, which asks for a reason, was taken as no reason."""
    words = [as_text(value).strip() for value in cells["exclude"].distinct]
    spoken = [word for word in words if word.casefold() in _NOT_EXCLUDED]
    return [f'{table.file}, column exclude: "{word}" read as not excluded.' for word in spoken]
