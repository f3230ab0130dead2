"""What is said of the rolls' ends: left on them, brought from the store, and whether it fits."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.base.number_text import counted
from airstats.catalog.wound_roll import (
    CORE_MM,
    CORE_SD_MM,
    GAUGE_MM,
    left_by_diameter,
    roll_numbers,
    sheet_mm,
    usual_full_mm,
)
from airstats.records.typed_table import Finding, Sheet

LEFT = ("left_m", "left_diameter_mm")
_SHEET_MM = (0.05, 3.0)
"""Sheet thinner or thicker than this is none, whatever lies between its turns."""


def check_left(jobs: Sheet, sound: pd.DataFrame) -> list[Finding]:
    """Compare what is left with the roll, with what was opened, and both ways of saying it.

    Parameters
    ----------
    jobs : Sheet
        n rows.
    sound : DataFrame
        Their numbers, nan for those at fault.
    """
    if jobs.blank[[*LEFT, "full_diameter_mm"]].to_numpy().all():
        return []
    return _check_roll(jobs, sound) + _check_diameter(jobs, sound) + _check_amount(jobs, sound)


def _check_roll(jobs: Sheet, sound: pd.DataFrame) -> list[Finding]:
    """Find a full diameter that does not fit its core and its length."""
    full, core, length = (
        sound[n].to_numpy() for n in ("full_diameter_mm", "core_mm", "roll_length_m")
    )
    core = np.where(np.isnan(core), CORE_MM, core)
    thick = sheet_mm(full, core, length)
    odd = (thick < _SHEET_MM[0]) | (thick > _SHEET_MM[1])
    problem = "does not fit core_mm and roll_length_m: the sheet would be {:.2g} mm thick"
    remedy = "measure a full roll and its core once more, across"
    return [
        jobs.finding(row, "full_diameter_mm", problem.format(max(thick[row], 0)), remedy)
        for row in np.flatnonzero(odd).tolist()
    ]


def _check_diameter(jobs: Sheet, sound: pd.DataFrame) -> list[Finding]:
    """Find diameters beyond the full roll or under the core."""
    found, diameter = [], sound["left_diameter_mm"].to_numpy()
    full, core = roll_numbers(sound)
    own = sound[["full_diameter_mm", "core_mm"]].notna().to_numpy()
    for row in np.flatnonzero(diameter > full + GAUGE_MM).tolist():
        problem = f"is more than a full roll's {full[row]:.0f} mm"
        remedy = "correct it, or full_diameter_mm"
        if not own[row, 0]:
            problem = f"is more than the {full[row]:.0f} mm of a usual full roll"
            remedy = "correct it, or measure a full roll and write that in full_diameter_mm"
        found.append(jobs.finding(row, "left_diameter_mm", problem, remedy))
    slack = np.where(own[:, 1], GAUGE_MM, GAUGE_MM + 2 * CORE_SD_MM)
    for row in np.flatnonzero(diameter < core - slack).tolist():
        problem = f"is less than the core's {core[row]:.0f} mm"
        remedy = "correct it, or core_mm; where nothing was left, write 0 in left_m instead"
        found.append(jobs.finding(row, "left_diameter_mm", problem, remedy))
    return found


def _check_amount(jobs: Sheet, sound: pd.DataFrame) -> list[Finding]:
    """Find more left than was there, two sayings at odds, and counts that took it off already."""
    by_diameter, sd = left_by_diameter(sound)
    both = np.abs(sound["left_m"] - by_diameter) > 3 * sd + 5
    found = []
    for row in np.flatnonzero(both).tolist():
        problem = f"says that some {by_diameter[row]:.0f} m are left, and left_m says otherwise"
        found.append(
            jobs.finding(row, "left_diameter_mm", problem, "correct one of them, or clear it")
        )
    there = sound["used_rolls"] * sound["roll_length_m"] + sound["brought_m"].fillna(0)
    for column, least in zip(LEFT, (sound["left_m"], by_diameter - 3 * sd), strict=True):
        for row in np.flatnonzero(least >= there).tolist():
            problem = f"leaves nothing used of the {there[row]:,.0f} m that were opened or brought"
            remedy = "correct it, used_rolls or brought_m"
            found.append(jobs.finding(row, column, problem, remedy))
    less = ~jobs.blank[list(LEFT)].all(axis=1) & jobs.frame["counted"].ne("opened")
    less &= jobs.frame["counted"].ne("")
    problem = "stands beside what was left, so that may be taken off twice"
    remedy = (
        'write every roll that was opened in used_rolls and "opened" here, or clear what is left'
    )
    return found + jobs.flag(less, "counted", problem, remedy)


def left_notes(jobs: Sheet) -> list[str]:
    """Say what was taken of a roll or of the store that the records do not tell."""
    frame, blank = jobs.frame, jobs.blank
    if blank[list(LEFT)].to_numpy().all():
        return []
    measured = ~blank["left_diameter_mm"] & blank["left_m"]
    usual = measured & blank[["full_diameter_mm", "core_mm"]].any(axis=1)
    notes = []
    if usual.any():
        length = float(frame.loc[usual, "roll_length_m"].iloc[0])
        notes.append(
            f"{jobs.table.file}: rolls taken as usual, {usual_full_mm(length):.0f} mm across with"
            f" {length:g} m on a core of {CORE_MM:.0f} mm, where full_diameter_mm or core_mm is"
            f" blank: {counted(int(usual.sum()), 'job')}. Measure three full rolls and write"
            " their mean: what is left is then known much closer."
        )
    left = ~blank[list(LEFT)].all(axis=1)
    if left.any() and jobs.lacks("brought_m"):
        notes.append(
            f"{jobs.table.file}: no column brought_m: read as if nothing had come from the store"
            f" ({counted(int(left.sum()), 'job')} with what was left)."
        )
    return notes
