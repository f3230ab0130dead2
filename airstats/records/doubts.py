"""Say what is read as it is written and yet wants a look: unusual numbers, doors, order of jobs."""

from __future__ import annotations

import re

import numpy as np

from airstats.base.number_text import counted, listing
from airstats.catalog.units import as_declared
from airstats.records.misunderstood import letters
from airstats.records.plausible_ranges import TYPICAL
from airstats.records.raw_table import as_text
from airstats.records.typed_table import Sheet

_DOORS = re.compile(r"\b(?:doors?|türe?n?|tuer|portes?|deuren?)", re.I)
_APART = np.timedelta64(3 * 365, "D")
"""A gap between jobs that is longer than firms rest."""
_FEW = 4


def doubts(jobs: Sheet, openings: Sheet, owners: np.ndarray) -> list[str]:
    """Return remarks on what may not be meant as it is written.

    Parameters
    ----------
    jobs, openings : Sheet
        n and m rows.
    owners : (m,) array
        The place of each opening's job, -1 for none.
    """
    sizes = openings.frame["count"] * openings.frame["width_mm"] * openings.frame["height_mm"] / 1e6
    known = owners >= 0
    area = np.bincount(owners[known], sizes.fillna(0).to_numpy()[known], len(jobs.frame))
    notes = [*_unusual(jobs), *_unusual(openings), *_door_notes(openings)]
    return [*notes, *_day_notes(jobs), *_roll_notes(jobs, area), *_id_notes(jobs)]


def _note(sheet: Sheet, column: str, rows: np.ndarray, what: str) -> list[str]:
    """Remark on so many cells of a column, and the first of them; none for no rows."""
    if not rows.size:
        return []
    row, name = int(rows[0]), sheet.table.as_headed(column)
    first = f'first row {sheet.table.rows[row]}, "{sheet.cells[column].text(row)}"'
    cells = counted(len(rows), "cell")
    return [f"{sheet.table.file}, column {name}: {what}: {cells}, {first}."]


def _unusual(sheet: Sheet) -> list[str]:
    notes = []
    for column in (column for column in sheet.frame if column in TYPICAL):
        values = np.where(sheet.blank[column], np.nan, sheet.frame[column])
        low, high = TYPICAL[column]
        rows = np.flatnonzero(((values < low) & (values != 0)) | (values > high))
        if not rows.size:
            continue
        unit = sheet.unit(column)
        usual = [f"{as_declared(column, v, unit) if unit else v:g}" for v in (low, high)]
        what = (
            f"outside the usual {usual[0]} to {usual[1]} {unit or _unit(column)}, read as written"
        )
        notes += _note(sheet, column, rows, what)
    return notes


def _unit(column: str) -> str:
    return {"rolls": "rolls", "price": "money a roll", "count": ""}.get(
        column.rpartition("_")[2], ""
    )


def _door_notes(openings: Sheet) -> list[str]:
    frame = openings.frame
    marks = openings.cells["mark"]
    named = [bool(_DOORS.search(as_text(mark))) for mark in marks.distinct]
    doors = np.array(named, dtype=bool)[marks.codes]
    lined = np.flatnonzero(doors & (frame["sides"] == 4).to_numpy())
    lying = (doors | (frame["sides"] == 3)) & (frame["width_mm"] > 1.5 * frame["height_mm"])
    told = "doors read with 4 sides, though a door without a lined threshold has 3"
    notes = _note(openings, "mark", lined, told)
    low = "doors wider than high; are width and height the wrong way round"
    return notes + _note(openings, "width_mm", np.flatnonzero(lying), low)


def _day_notes(jobs: Sheet) -> list[str]:
    """Name one or two jobs that were finished years before or after all others."""
    days = jobs.frame["finished_on"].dropna().sort_values()
    gaps = np.flatnonzero(np.diff(days.to_numpy()) > _APART) + 1
    if len(days) < _FEW or not gaps.size:
        return []
    early, late = days.index[: gaps[0]], days.index[gaps[-1] :]
    rows = [row for part in (early, late) if len(part) <= 2 for row in part]
    return _note(jobs, "finished_on", np.array(rows, dtype=int), "years apart from all other jobs")


def _roll_notes(jobs: Sheet, area: np.ndarray) -> list[str]:
    frame = jobs.frame
    surface = (frame["surface_m2"] - area).to_numpy()
    held = (frame["used_rolls"] * frame["roll_width_m"] * frame["roll_length_m"]).to_numpy()
    fewer = (frame["used_rolls"] < frame["estimated_rolls"]).to_numpy()
    finished = int((frame["used_rolls"].notna() & frame["estimated_rolls"].notna()).sum())
    notes = _note(
        jobs, "surface_m2", np.flatnonzero(held < surface), "more than the used rolls hold"
    )
    if finished >= _FEW and fewer.sum() > 0.8 * finished:
        notes.append(
            f"{jobs.table.file}: used_rolls is below estimated_rolls in {fewer.sum()} of"
            f" {finished} jobs; are the two columns the wrong way round?"
        )
    return notes


def _id_notes(jobs: Sheet) -> list[str]:
    ids = jobs.frame["job_id"]
    alike = ids[letters(ids).duplicated(keep=False) & ids.ne("")]
    told = f"{jobs.table.file}: ids that differ in signs only, read as different jobs: "
    return [f"{told}{listing(alike)}."] if len(alike) else []
