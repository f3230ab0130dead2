"""One job typed by hand: a surface and one kind of opening, without a file."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import Takeoff, take_off


@dataclass(frozen=True)
class OneJob:
    """The numbers of one job with one kind of opening, all four sides lined.

    Attributes
    ----------
    surface_m2 : face that the sheet is laid on, measured straight across the openings
    count, width_mm, height_mm, reveal_mm, cut_pattern : the openings; a count of 0: none
    lap_mm, roll_width_m, roll_length_m : the sheet
    crew : a crew of the firm, or "" where none is named
    """

    surface_m2: float = 200.0
    count: int = 12
    width_mm: float = 1200.0
    height_mm: float = 1400.0
    reveal_mm: float = 350.0
    cut_pattern: str = "centre"
    lap_mm: float = 100.0
    roll_width_m: float = 1.5
    roll_length_m: float = 50.0
    crew: str = ""


def one_job(job: OneJob) -> Takeoff:
    """Return the quantities of the job, as a takeoff of one row."""
    return take_off(one_record(job))


def one_record(job: OneJob) -> Records:
    """Return the job as a takeoff's records, of one row and one kind of opening."""
    table = {
        "job_id": "job",
        "surface_m2": job.surface_m2,
        "used_rolls": float("nan"),
        "counted": "opened",
        "roll_width_m": job.roll_width_m,
        "roll_length_m": job.roll_length_m,
        "lap_mm": job.lap_mm,
        "crew": job.crew,
    }
    opening = {
        "job_id": "job",
        "mark": "",
        "count": job.count,
        "width_mm": job.width_mm,
        "height_mm": job.height_mm,
        "reveal_mm": job.reveal_mm,
        "sides": 4,
        "cut_pattern": job.cut_pattern,
    }
    openings = pd.DataFrame([opening] if job.count > 0 else [], columns=list(opening))
    nothing = pd.DataFrame()
    return Records(pd.DataFrame([table]), openings, nothing, (), "typed", "", ())
