"""Find what can be read and is yet most likely not what was meant: pasted twice, another unit."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from airstats.base.name_matching import name_key
from airstats.records.cell_values import A_UNIT_ROW, order_shown
from airstats.records.raw_table import as_text
from airstats.records.typed_table import Finding, Sheet

_UNITS = """m mm cm m2 m² sqm ft ft2 in roll rolls count no no. nr pcs st date day text word eur €
£ $ gbp usd % yyyy-mm-dd dd.mm.yyyy dd/mm/yyyy"""
_FEW = 3
"""So many rows tell what unit a column is in; fewer may be odd openings."""
_ONCE = (
    "take the row out if it was pasted twice; if there are twice as many openings, take it out too"
    " and add the two up in count"
)
_ONE_JOB = "take one of the two rows out; for two jobs, give them ids that differ in letters"
_EVERY_DATE = "type every date of the column as year, month and day: 2026-03-25"
_SQUARE_FEET = "write square metres; a square foot is 0.092903 m²"


def check_misunderstood(
    jobs: Sheet, openings: Sheet, owners: np.ndarray, listed: np.ndarray
) -> list[Finding]:
    """Find rows that are no records of their own, and cells that a spreadsheet changed.

    Parameters
    ----------
    jobs, openings : Sheet
        n and m rows.
    owners : (m,) array
        The place of each opening's job, -1 for none.
    listed : (n,) bool array
        Which jobs have rows of openings.
    """
    found = [*_unit_row(jobs), *_unit_row(openings), *_pasted(openings, owners)]
    found += [*_same_job(jobs), *_turned_dates(jobs)]
    return found + _lost_zeros(jobs, openings, owners, listed)


def _unit_row(sheet: Sheet) -> list[Finding]:
    if not len(sheet.table.rows) or "job_id" not in sheet.table.headers:
        return []
    words = [as_text(cell).strip(" ()[]").casefold() for cell in sheet.table.cells.iloc[0]]
    filled = [word for word in words if word]
    if len(filled) < 2 or not set(filled) <= {*_UNITS.split()}:
        return []
    return [sheet.finding(0, "job_id", *A_UNIT_ROW)]


def _pasted(openings: Sheet, owners: np.ndarray) -> list[Finding]:
    """Find openings that stand twice: under one mark, or with all others of their job."""
    try:
        again = openings.table.cells.duplicated().to_numpy() & (owners >= 0)
    except TypeError:  # A cell of Parquet may be a list.
        return []
    column = "job_id" if openings.lacks("mark") else "mark"
    found = []
    rows = np.flatnonzero(np.isin(owners, owners[again]))
    for _, own in openings.table.cells.iloc[rows].groupby(owners[rows]):
        for row, first in _twice(openings, own).items():
            problem = f"the row is the same as row {openings.table.rows[first]} in every column"
            found.append(openings.finding(row, column, problem, _ONCE))
    return found


def _twice(openings: Sheet, own: pd.DataFrame) -> dict[int, int]:
    """Return of a job's rows those that stand twice, each with the row that it repeats."""
    first: dict[tuple, int] = {}
    cells = list(zip(*(map(as_text, own[column]) for column in own), strict=True))
    twice = {}
    for row, cell in zip(own.index.tolist(), cells, strict=True):
        if first.setdefault(cell, row) != row:
            twice[row] = first[cell]
    half, odd = divmod(len(own), 2)
    if not odd and len(first) > 1 and cells[:half] == cells[half:]:
        return twice
    return {row: one for row, one in twice.items() if not openings.blank["mark"][row]}


def _same_job(jobs: Sheet) -> list[Finding]:
    """Find jobs whose ids differ in signs only, and whose numbers do not differ at all."""
    numbers = ["finished_on", "surface_m2", "estimated_rolls", "used_rolls"]
    alike = jobs.frame[numbers]
    if not alike.duplicated().any():
        return []
    alike = alike.assign(letters=letters(jobs.frame["job_id"]))
    alike = alike[alike["letters"].ne("") & ~jobs.blank["surface_m2"]]
    found = []
    for _, group in alike[alike.duplicated(keep=False)].groupby(list(alike), dropna=False):
        first, *others = group.index.tolist()
        name = jobs.frame["job_id"][first]
        for row in others:
            if name_key(jobs.frame["job_id"][row]) != name_key(name):
                place = f"{name} in row {jobs.table.rows[first]}"
                problem = f"may be {place} written otherwise, for all its numbers are the same"
                found.append(jobs.finding(row, "job_id", problem, _ONE_JOB))
    return found


def letters(ids: pd.Series) -> pd.Series:
    """Return the letters and digits of ids, in small letters."""
    return ids.str.casefold().str.replace(r"[\W_]", "", regex=True)


def _turned_dates(jobs: Sheet) -> list[Finding]:
    """Find real dates beside texts such as 03/25/2026, which the spreadsheet could not turn."""
    cells = jobs.cells["finished_on"]
    left = next((as_text(value) for value in cells.distinct if order_shown(value)), "")
    days = [value if isinstance(value, date) else None for value in cells.distinct]
    if not left or any(day.day > 12 for day in days if day):
        return []
    doubtful = np.array([day is not None and day.day != day.month for day in days], dtype=bool)
    problem = f"may have had its day and month turned, as the column also has the text {left}"
    return jobs.flag(doubtful[cells.codes], "finished_on", problem, _EVERY_DATE)


def _lost_zeros(
    jobs: Sheet, openings: Sheet, owners: np.ndarray, listed: np.ndarray
) -> list[Finding]:
    """Find openings under 101.1 where 101.10, which has none, may be meant."""
    ids = jobs.frame["job_id"]
    short = ids.str.rstrip("0").where(ids.str.fullmatch(r"[0-9]+\.[0-9]+"), "").to_numpy()
    bare = ~listed & jobs.blank["opening_count"].to_numpy() & (short != "")
    found = []
    for row in np.flatnonzero(bare).tolist():
        others = np.flatnonzero((short == short[row]) & listed)
        meant = ids[row]
        problem = f"may be of job {meant}, which has no openings, with a zero lost at its end"
        where = np.isin(owners, others)
        found += openings.flag(where, "job_id", problem, "write ids as texts, or rename the jobs")
    return found


def check_units(
    jobs: Sheet, openings: Sheet, sound: dict[str, pd.DataFrame], sums: pd.DataFrame
) -> list[Finding]:
    """Find columns whose numbers are possible one by one and as a whole in another unit.

    Parameters
    ----------
    jobs, openings : Sheet
        n and m rows.
    sound : dict of DataFrame
        The numbers of both that are not at fault, nan else.
    sums : DataFrame
        (n,) `area` of the openings, m².
    """
    found = []
    sizes = sound["openings"][["width_mm", "height_mm"]].dropna()
    if len(sizes) >= _FEW and (sizes.median() < 300).all():
        found += [_in_cm(openings, column, sizes[column]) for column in ("width_mm", "height_mm")]
    depths = sound["openings"]["reveal_mm"].dropna()
    if len(depths) >= _FEW and depths.median() < 35:
        found.append(_in_cm(openings, "reveal_mm", depths))
    return found + _square_feet(jobs, sound["jobs"], sums)


def _in_cm(openings: Sheet, column: str, values: pd.Series) -> Finding:
    middle = f"the middle one of {len(values)} is {values.median():g} mm"
    stem = column.removesuffix("_mm")
    remedy = (
        f"head the column {stem}_cm if it is in centimetres, else write millimetres; 1 inch is 25.4"
    )
    return openings.table_finding(column, f"is too small for its unit: {middle}", remedy)


def _square_feet(jobs: Sheet, sound: pd.DataFrame, sums: pd.DataFrame) -> list[Finding]:
    held = sound["used_rolls"] * sound["roll_width_m"] * sound["roll_length_m"]
    known = (held / (sound["surface_m2"] - sums["area"])).dropna()
    few = int((known < 0.5).sum())
    if len(known) < _FEW or few <= len(known) / 2:
        return []
    problem = f"the rolls used hold less than half of it in {few} of {len(known)} jobs"
    return [jobs.table_finding("surface_m2", f"{problem}: it may be in square feet", _SQUARE_FEET)]
