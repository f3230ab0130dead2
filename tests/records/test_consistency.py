from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

from airstats.records.reading import check_records

GOOD_JOB = {
    "job_id": "101", "finished_on": "2026-03-31", "surface_m2": "150", "estimated_rolls": "3",
    "used_rolls": "4",
} | dict.fromkeys(
    ["counted", "roll_width_m", "roll_length_m", "lap_mm", "roll_price", "opening_count",
     "opening_width_mm", "opening_height_mm", "reveal_mm", "cut_pattern"], "",
)  # fmt: skip
GOOD_OPENING = {"job_id": "101", "count": "2", "width_mm": "1200", "height_mm": "1400",
                "reveal_mm": "300", "sides": "4", "cut_pattern": "diagonal"}  # fmt: skip
SUMMARY = {"opening_count": "3", "opening_width_mm": "1200", "opening_height_mm": "1400",
           "reveal_mm": "300", "cut_pattern": "centre"}  # fmt: skip


def write(file, rows):
    lines = [",".join(rows[0])] + [",".join(row.values()) for row in rows]
    file.write_text("\n".join(lines) + "\n")


@pytest.fixture
def faults(tmp_path):
    """Check the given jobs and openings, each a change to a good one; return plain texts."""

    def check(jobs=({},), openings=({},), drop=()):
        rows = [{**GOOD_JOB, **change} for change in jobs]
        write(tmp_path / "jobs.csv", [{k: v for k, v in r.items() if k not in drop} for r in rows])
        (tmp_path / "openings.csv").unlink(missing_ok=True)
        if openings:
            write(tmp_path / "openings.csv", [{**GOOD_OPENING, **change} for change in openings])
        return [str(fault) for fault in check_records(tmp_path)]

    return check


def told_once(found, place, words):
    assert len(found) == 1, found
    assert place in found[0]
    assert words in found[0]


def test_good_records_have_no_fault_and_a_mistake_is_told_once(faults):
    assert faults() == []
    assert faults(jobs=[SUMMARY], openings=()) == []
    # A width in the wrong unit would also make the openings larger than the surface.
    assert len(faults(openings=[{"width_mm": "1200000"}])) == 1


ROWS = pd.read_csv(Path(__file__).with_name("faults.csv"), dtype=str, keep_default_na=False)


@pytest.mark.parametrize("table", ["jobs", "openings"])
def test_faults_of_rows(faults, table):
    """A job for each row, below a good one, so that only the faulty are named, each once."""
    cases = ROWS[ROWS["table"] == table].reset_index(drop=True)
    ids = [{"job_id": str(102 + place)} for place in cases.index]
    spoilt = [own | {c.column: c.value} for own, c in zip(ids, cases.itertuples(), strict=True)]
    found = faults(**({"jobs": [{}, *ids]} | {table: [{}, *spoilt]}))
    for place, column, value, words in cases.drop(columns="table").itertuples():
        here = f"{table}.csv, row {place + 3}, column "
        own = [fault for fault in found if fault.startswith(here)]
        if words:
            told_once(own, f"{here}{column}", words)
        else:
            assert own == [], value
    assert len(found) == cases["words"].ne("").sum()


def test_laps_and_dates_at_their_limits(faults):
    found = faults(jobs=[{"roll_width_m": "0.75", "lap_mm": "375"}])
    assert "column lap_mm" in found[0]
    assert "is half the roll's width or more" in found[0]
    assert faults(jobs=[{"roll_width_m": "0.75", "lap_mm": "374"}]) == []
    near, far = (str(date.today() + timedelta(days=days)) for days in (360, 370))
    assert faults(jobs=[{"finished_on": near}]) == []
    assert "is more than a year from now" in faults(jobs=[{"finished_on": far}])[0]


@pytest.mark.parametrize(
    ("counted", "good", "bad"), [("half", "3.5", "3.25"), ("quarter", "3.25", "3.1")]
)
def test_steps_of_counting(faults, counted, good, bad):
    assert faults(jobs=[{"counted": counted, "used_rolls": good}]) == []
    assert "does not fit counted" in faults(jobs=[{"counted": counted, "used_rolls": bad}])[0]
    assert faults(jobs=[{"counted": "exact", "used_rolls": bad}]) == []


def test_absurd_use_allows_for_the_reveals(faults):
    # 5 * (150 + reveal) + 3 * 75 m2 of sheet: 13 rolls hold 975 m2, 14 hold 1050 m2. The good
    # opening has 2 * 2 * (1.2 + 1.4) * 0.3 = 3.12 m2 of reveal.
    for used in ("1", "12", "13"):
        assert faults(jobs=[{"used_rolls": used}]) == []
    assert "14 rolls hold 1,050 m²" in faults(jobs=[{"used_rolls": "14"}])[0]
    deep = {"count": "9", "reveal_mm": "1000"}  # 46.8 m2 of reveal
    assert faults(jobs=[{"used_rolls": "14"}], openings=[deep]) == []


def test_surface_smaller_than_its_openings(faults):
    found = faults(jobs=[{"surface_m2": "3.3", "used_rolls": "1"}])  # 2 * 1.2 * 1.4 = 3.36 m2
    assert "is less than the area of the job's openings, 3.4 m²" in found[0]
    assert faults(jobs=[{"surface_m2": "3.36", "used_rolls": "1"}]) == []


def test_rows_that_stand_twice_or_are_shifted_are_told_once(faults):
    found = faults(jobs=[{"job_id": "A1"}, {"job_id": "101"}, {"job_id": "a1 "}])
    told_once(found, "jobs.csv, row 4, column job_id", "the same job_id stands in row 2")
    found = faults(jobs=[{}, {"job_id": "102", "surface_m2": "150,5"}])
    told_once(found, "row 3", "the row has more cells than the 15 of the header")


def test_a_job_under_two_spellings_is_asked_about(faults):
    """Of two jobs with the same numbers, and of no others."""
    spelt = [{"job_id": "B/101"}, {"job_id": "B-101"}]
    told_once(faults(jobs=spelt, openings=()), "row 3", "may be B/101 in row 2 written otherwise")
    assert not faults(jobs=[spelt[0], spelt[1] | {"surface_m2": "151"}], openings=())
    assert not faults(jobs=[spelt[0], {"job_id": "B-102"}], openings=())


def test_summary_counts_only_without_rows_of_openings(faults):
    bad = {**SUMMARY, "reveal_mm": "0.3", "cut_pattern": ""}
    found = faults(jobs=[{}, {"job_id": "102", **bad}])
    assert len(found) == 2
    assert "jobs.csv, row 3, column reveal_mm" in found[0]
    assert "jobs.csv, row 3, column cut_pattern" in found[1]
    assert faults(jobs=[bad]) == []
    found = faults(jobs=[{**SUMMARY, "surface_m2": "5"}], openings=())
    assert "is less than the area of the job's openings, 5.0 m²" in found[0]
    for count in ("", "0"):
        assert faults(jobs=[{"opening_count": count}], openings=()) == []


def test_missing_columns(faults):
    found = faults(drop=["surface_m2", "used_rolls"])
    assert len(found) == 2
    assert "jobs.csv, column surface_m2: the column is missing; add it" in found[0]
    assert "jobs.csv, column used_rolls: the column is missing" in found[1]
    found = faults(jobs=[SUMMARY], openings=(), drop=["opening_width_mm"])
    told_once(found, "column opening_width_mm", "the column is missing")


def test_takeoff_needs_none_of_the_three(faults):
    nothing = dict.fromkeys(["finished_on", "estimated_rolls", "used_rolls"], "")
    assert faults(jobs=[nothing]) == []
    assert faults(jobs=[{}, {"job_id": "102", **nothing}]) == []
    assert faults(drop=list(nothing)) == []
    assert faults(jobs=[nothing], drop=["used_rolls"]) == []


def test_headers_without_rows_or_without_jobs(faults, tmp_path):
    (tmp_path / "jobs.csv").write_text("job_id,surface_m2\n")
    (tmp_path / "openings.csv").write_text(",".join(GOOD_OPENING) + "\n")
    assert [str(f) for f in check_records(tmp_path)] == [
        "jobs.csv: there are no jobs yet; write one row a job below the headings, save, and check"
        " again."
    ]
    faults(openings=[{"reveal_mm": "0.3"}])
    (tmp_path / "jobs.csv").write_text("number,surface\n1,2\n")
    found = [str(fault) for fault in check_records(tmp_path)]
    assert len(found) == 2
    assert "jobs.csv: no column job_id" in found[0]
    assert "openings.csv, row 2, column reveal_mm" in found[1]


def test_all_faults_come_in_one_pass_and_in_order(faults):
    found = faults(
        jobs=[
            {"surface_m2": "-1", "used_rolls": "x"},
            {"job_id": "102", "finished_on": "soon", "lap_mm": "0.1"},
        ],
        openings=[{"width_mm": "1.2", "height_mm": "1.4"}, {"job_id": "103", "count": ""}],
    )
    assert [text.split(", value")[0].split(":")[0] for text in found] == [
        "jobs.csv, row 2, column surface_m2", "jobs.csv, row 2, column used_rolls",
        "jobs.csv, row 3, column finished_on", "jobs.csv, row 3, column lap_mm",
        "openings.csv, row 2, column width_mm", "openings.csv, row 2, column height_mm",
        "openings.csv, row 3, column job_id", "openings.csv, row 3, column count",
    ]  # fmt: skip
