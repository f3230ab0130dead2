"""Whoever does what a fault tells them to do has a right record then, or a further plain refusal.

Each case is a true value and how it was typed. The advice is carried out to the letter, every way
that it leaves open, until the record is read: what is read must be true.
"""

import re
import tempfile
from functools import cache
from pathlib import Path

import pytest

from airstats.records.reading import check_records, faults_or_records
from tests.records.odd_sheets import as_read, facts_of, firm, truth, write

JOB, OPENING = 2, 5
"""The rows, by place, that hold the cell."""
CASES = [
    ("openings", "reveal_mm", "200", "20cm"),
    ("openings", "reveal_mm", "200", "0.2 m"),
    ("openings", "reveal_mm", "200", "200 mm"),
    ("openings", "reveal_mm", "203.2", '8"'),
    ("openings", "reveal_mm", "240", "ca. 240"),
    ("openings", "reveal_mm", "200", "0.2"),
    ("openings", "reveal_mm", "80", "8"),
    ("openings", "reveal_mm", "127", "5"),
    ("openings", "reveal_mm", "30", "3"),
    ("openings", "reveal_mm", "76.2", "3"),
    ("openings", "reveal_mm", "150", "1500"),
    ("openings", "width_mm", "1200", "1.2"),
    ("openings", "width_mm", "1200", "1,2m"),
    ("openings", "width_mm", "990", "99"),
    ("openings", "width_mm", "1193.8", "47"),
    ("openings", "width_mm", "508", "20"),
    ("openings", "height_mm", "200", "20"),
    ("openings", "height_mm", "1219.2", "4 ft"),
    ("openings", "width_mm", "900", "3 x 900x1200"),
    ("openings", "width_mm", "1200", "12OO"),
    ("openings", "count", "2", "two"),
    ("openings", "count", "2", "2 no."),
    ("openings", "count", "2", "2x"),
    ("openings", "count", "5", "4-5"),
    ("openings", "sides", "3", "2"),
    ("openings", "job_id", "102", "0102"),
    ("openings", "job_id", "102", "102.0"),
    ("openings", "job_id", "102", '"'),
    ("jobs", "used_rolls", "6", "5½"),
    ("jobs", "used_rolls", "4", "3 1/2"),
    ("jobs", "used_rolls", "3", "2 rolls + a bit"),
    ("jobs", "used_rolls", "4", "3/4"),
    ("jobs", "used_rolls", "3", "3 rolls"),
    ("jobs", "used_rolls", "4", "300"),
    ("jobs", "used_rolls", "4", "4?"),
    ("jobs", "estimated_rolls", "3", "3 (one left)"),
    ("jobs", "surface_m2", "185.806", "2000 sq ft"),
    ("jobs", "surface_m2", "190", "190 qm"),
    ("jobs", "surface_m2", "190.5", "190,5 m²"),
    ("jobs", "lap_mm", "100", "10"),
    ("jobs", "lap_mm", "101.6", "4"),
    ("jobs", "lap_mm", "100", "0.1"),
    ("jobs", "lap_mm", "100", "10 cm"),
    ("jobs", "roll_width_m", "1.5", "1500"),
    ("jobs", "roll_width_m", "3", "300"),
    ("jobs", "roll_width_m", "1.5", "150"),
    ("jobs", "roll_price", "140", "£140"),
    ("jobs", "roll_price", "140", "140 €"),
    ("jobs", "finished_on", "2026-03-04", "03/04/2026"),
    ("jobs", "finished_on", "2026-04-03", "03/04/2026"),
    ("jobs", "exclude", "", "n"),
    ("jobs", "exclude", "", "ok"),
    ("jobs", "crew", "South", '"'),
]


def firm_with(table, column, cell):
    made = firm(7)
    made.all("jobs", "roll_width_m", lambda _: "1.5")
    made.jobs[JOB]["surface_m2"], made.jobs[JOB]["used_rolls"] = "190", "4"
    getattr(made, table)[JOB if table == "jobs" else OPENING][column] = cell
    return made


def advised(remedy):
    """The cells that the advice says to write, each way that it leaves open; none in words."""
    said = remedy.split("write ", 1)[-1] if "write " in remedy else ""
    choices = re.findall(r"([\d.]+) if it is in", said) or re.findall(r"\d{4}-\d\d-\d\d", said)
    choices = choices or re.findall(r"are square metres, ([\d.]+) rolls", said)
    whole = re.fullmatch(r"(?:[\w ]+[,:] )?(?:[\w ]+: )?([\d.,]+?)(?:, as in jobs)?\.?", said)
    choices = choices or ([whole[1]] if whole else [])
    return choices + ([""] if "clear the cell if the job counts" in remedy else [])


@cache
def followed(table, column, cell, steps=4):
    """What is read, one for each way of following the advice; refused ones are left out."""
    made = firm_with(table, column, cell)
    with tempfile.TemporaryDirectory() as folder:
        faults, records = faults_or_records(write(made, Path(folder)))
    if records:
        return [(cell, *facts_of(records))]
    remedies = [fault.remedy for fault in faults if fault.column == column]
    ways = [new for remedy in remedies for new in advised(remedy) if steps]
    return [read for new in dict.fromkeys(ways) for read in followed(table, column, new, steps - 1)]


@pytest.mark.parametrize(("table", "column", "true", "typed"), CASES)
def test_following_the_advice_makes_no_wrong_record(table, column, true, typed):
    """Of several ways the true one is among them, and each of the others says what it is for."""
    right = truth(firm_with(table, column, true))
    outcomes = followed(table, column, typed)
    if len(outcomes) == 1:
        assert outcomes[0][1] == right or column in outcomes[0][2], outcomes[0][0]
    elif outcomes:
        assert right in [read for _, read, _ in outcomes], [cell for cell, *_ in outcomes]


def test_no_advice_makes_a_house_windowless():
    for column in ("count", "width_mm", "height_mm", "cut_pattern", "job_id"):
        with tempfile.TemporaryDirectory() as folder:
            (fault,) = check_records(write(firm_with("openings", column, ""), Path(folder)))
        assert "remove the row" not in fault.remedy


def test_without_its_rows_of_openings_a_job_has_unknown_ones():
    made = firm(7)
    made.openings = [row for row in made.openings if row["job_id"] != "102"]
    with tempfile.TemporaryDirectory() as folder:
        _, said = as_read(write(made, Path(folder)))
    assert "1 job with unknown openings, reckoned as usual: 102" in said


def test_an_id_that_two_jobs_may_have_is_not_guessed():
    made = firm(7)
    made.jobs[0]["job_id"], made.jobs[1]["job_id"] = "7", "007"
    made.openings = [row | {"job_id": "07"} for row in made.openings[:1]]
    with tempfile.TemporaryDirectory() as folder:
        (fault,) = check_records(write(made, Path(folder)))
    assert "write " not in fault.remedy
