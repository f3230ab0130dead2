"""Books as firms keep them, made by hand for the tests: the same jobs in different layouts."""

import csv
import io
from dataclasses import dataclass
from datetime import date

from openpyxl import Workbook


@dataclass(frozen=True)
class Job:
    """What is true of a job, however a book says it; openings as (count, width, height) in mm."""

    job_id: str
    name: str
    day: date
    crew: str
    surface: float
    estimated: float
    used: float
    openings: tuple[tuple[int, int, int], ...]
    reveal: float = 200.0
    cut: str = "diagonal"


_F, _L = (3, 900, 1200), (5, 800, 1100)
JOBS = (
    Job("J101", "Hill Farm", date(2023, 2, 14), "North", 212, 5, 6, (_F, (2, 600, 900))),
    Job("J102", "Mill Lane", date(2023, 5, 23), "South", 187.5, 4, 5, ((4, 1200, 1050),)),
    Job("J103", "Old School", date(2023, 11, 30), "North", 341, 8, 8, ((6, 1000, 1300),), 250),
    Job("J104", "Brook End", date(2024, 3, 19), "South", 256, 6, 7, ((2, 900, 1200),), 180),
    Job("J105", "High Barn", date(2024, 8, 27), "North", 298, 7, 7, (_L, (1, 900, 2100))),
    Job("J106", "Low Barn", date(2024, 12, 17), "South", 164, 4, 5, (_F,), 220, "lined"),
)
HEADINGS = (
    "Job no", "Client", "Finished", "Crew", "Surface m²", "Rolls estimated", "Rolls used",
    "Openings", "Reveal mm", "Cut",
)  # fmt: skip


def in_a_cell(job):
    """The job's openings as one cell."""
    return ", ".join(f"{count} x {width}x{height}" for count, width, height in job.openings)


def plain_row(job):
    """A job in the order of `HEADINGS`."""
    return [job.job_id, job.name, job.day, job.crew, job.surface, job.estimated, job.used,
            in_a_cell(job), job.reveal, job.cut]  # fmt: skip


def plain_rows(jobs=JOBS):
    """A table of jobs with its headings."""
    return [list(HEADINGS), *(plain_row(job) for job in jobs)]


def workbook(path, **sheets):
    """Write a workbook of sheets, and let `looks` change it: a function of the workbook."""
    looks = sheets.pop("looks", None)
    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title.replace("_", " "))
        for row in rows:
            sheet.append(list(row))
    if looks:
        looks(book)
    book.save(path)
    return path


def text_of(rows, separator=","):
    """Return rows as the text of a CSV file."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue()


def truth(jobs=JOBS, cell=lambda job: job.job_id):
    """What the records must hold: job id to its quantities and its openings."""
    return {
        cell(job): (
            job.surface, job.estimated, job.used, f"{job.day.year}Q{(job.day.month + 2) // 3}",
            sorted((float(n), float(w), float(h), float(job.reveal), job.cut)
                   for n, w, h in job.openings),
        )
        for job in jobs
    }  # fmt: skip


def read(records):
    """The same of records as they were read."""
    openings = records.openings
    return {
        row.job_id: (
            row.surface_m2, row.estimated_rolls, row.used_rolls, row.quarter,
            sorted(openings.loc[openings["job_id"] == row.job_id,
                                ["count", "width_mm", "height_mm", "reveal_mm", "cut_pattern"]]
                   .astype(object).itertuples(index=False, name=None)),
        )
        for row in records.jobs.itertuples()
    }  # fmt: skip
