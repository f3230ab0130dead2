"""The tables of records that a book comes to, and their text as files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from airstats.base.formula_guard import csv_of
from airstats.intake.jobs import Draft
from airstats.records.raw_table import COLUMNS

_OPENINGS = COLUMNS["openings"]


def jobs_table(drafts: Sequence[Draft]) -> pd.DataFrame:
    """Return a row a job: the contract's columns that any job has, then the book's others."""
    rows = [{"job_id": draft.job_id} | draft.given for draft in drafts]
    used = {name for row in rows for name in row} | {"job_id", "surface_m2"}
    known = [name for name in COLUMNS["jobs"] if name in used]
    extras = list(dict.fromkeys(name for draft in drafts for name in draft.extras))
    extras = [name for name in extras if name not in known]
    full = [row | draft.extras for row, draft in zip(rows, drafts, strict=True)]
    return _frame(full, [*known, *extras])


def openings_table(drafts: Sequence[Draft]) -> pd.DataFrame:
    """Return a row a kind of opening, of the jobs that list any."""
    rows = [{"job_id": draft.job_id} | row for draft in drafts for row in draft.openings]
    return _frame(rows, _OPENINGS)


def _frame(rows: Sequence[dict[str, Any]], columns: Sequence[str]) -> pd.DataFrame:
    cells = {name: [row.get(name) for row in rows] for name in columns}
    return pd.DataFrame({name: pd.Series(cells[name], dtype=object) for name in columns})


def as_csv(table: pd.DataFrame) -> str:
    """Return a table as a file of the records, numbers with all their digits."""
    return csv_of(table.map(_cell))


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.12g}"
    return value
