from datetime import date, timedelta

import pytest

from airstats.records import check_records

GOOD_JOB = {
    "job_id": "101",
    "finished_on": "2026-03-31",
    "surface_m2": "150",
    "estimated_rolls": "3",
    "used_rolls": "4",
    "counted": "",
    "roll_width_m": "",
    "roll_length_m": "",
    "lap_mm": "",
    "roll_price": "",
    "opening_count": "",
    "opening_width_mm": "",
    "opening_height_mm": "",
    "reveal_mm": "",
    "cut_pattern": "",
}
GOOD_OPENING = {
    "job_id": "101",
    "count": "2",
    "width_mm": "1200",
    "height_mm": "1400",
    "reveal_mm": "300",
    "sides": "4",
    "cut_pattern": "diagonal",
}
SUMMARY = {
    "opening_count": "3",
    "opening_width_mm": "1200",
    "opening_height_mm": "1400",
    "reveal_mm": "300",
    "cut_pattern": "centre",
}


def write(file, rows):
    lines = [",".join(rows[0])] + [",".join(row.values()) for row in rows]
    file.write_text("\n".join(lines) + "\n")


@pytest.fixture
def faults(tmp_path):
    """Check the given jobs and openings, each a change to a good one; return plain texts."""

    def check(jobs=({},), openings=({},), drop=()):
        rows = [{**GOOD_JOB, **change} for change in jobs]
        write(tmp_path / "jobs.csv", [{k: v for k, v in r.items() if k not in drop} for r in rows])
        if openings:
            write(tmp_path / "openings.csv", [{**GOOD_OPENING, **change} for change in openings])
        return [str(fault) for fault in check_records(tmp_path)]

    return check


def test_good_records_have_no_fault(faults):
    assert faults() == []
    assert faults(jobs=[SUMMARY], openings=()) == []


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("reveal_mm", "0.3", "looks like metres; write millimetres, 300."),
        ("reveal_mm", "3", "looks like metres; write millimetres, 3000."),
        ("reveal_mm", "5", "looks like centimetres; write millimetres, 50."),
        ("reveal_mm", "3000", "a reveal of 3000 mm is too deep, and may be mistyped"),
        ("reveal_mm", "0", "must be above 0"),
        ("width_mm", "1.2", "looks like metres; write millimetres, 1200."),
        ("width_mm", "20", "looks like metres"),
        ("height_mm", "99", "looks like centimetres; write millimetres, 990."),
        ("height_mm", "20001", "is too large for an opening"),
        ("width_mm", "-1200", "must be above 0"),
        ("width_mm", "1200 mm", "holds more than a number; write the number only, 1200."),
        ("width_mm", "n/a", 'value "n/a": a value is needed here; fill it in'),
        ("count", "0", "must be 1 or more"),
        ("count", "1.5", "is not a whole number"),
        ("count", "1e9", "is too many for one job"),
        ("count", "", "a value is needed here"),
        ("sides", "2", "is not 3 or 4"),
        ("sides", "3.5", "is not 3 or 4"),
        ("cut_pattern", "cross", "is not one of diagonal, centre, lined"),
        ("cut_pattern", "", "a value is needed here"),
        ("job_id", "", "a value is needed here"),
        ("job_id", "999", "no job has this id; correct it, or add the job to jobs."),
        ("job_id", "0101", "no job has this id; write 101, as in jobs."),
    ],
)
def test_fault_of_an_opening(faults, column, value, words):
    # The good opening beside it shows that only the faulty row is named.
    found = faults(openings=[{}, {column: value}])
    assert len(found) == 1
    assert f"openings.csv, row 3, column {column}" in found[0]
    assert words in found[0]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("reveal_mm", "10"),
        ("reveal_mm", "1500"),
        ("width_mm", "100"),
        ("sides", "3"),
        ("sides", ""),
        ("cut_pattern", "Center"),
        ("job_id", " 101 "),
    ],
)
def test_what_is_good_in_an_opening(faults, column, value):
    assert faults(openings=[{column: value}]) == []


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("job_id", "", "a value is needed here"),
        ("surface_m2", "", "a value is needed here"),
        ("surface_m2", "0", "must be above 0"),
        ("surface_m2", "100000", "is too large for one job"),
        ("surface_m2", "inf", "is not a number"),
        ("finished_on", "1989-12-31", "is before 1990"),
        ("finished_on", "03/04/2026", "may be 3 April or 4 March; write 2026-04-03 or"),
        ("finished_on", "", "is blank in a job with other entries of a finished job"),
        ("used_rolls", "-", "is blank in a job with other entries of a finished job"),
        ("used_rolls", "0", "must be above 0"),
        ("used_rolls", "3.5", 'does not fit counted "opened", which goes in steps of 1;'),
        ("used_rolls", "400", "400 rolls hold 30,000 m² for a job of 150 m²"),
        ("estimated_rolls", "-1", "must be above 0"),
        ("counted", "whole", "is not one of opened, half, quarter, exact"),
        ("roll_width_m", "1500", "looks like millimetres; write metres, 1.5."),
        ("roll_width_m", "0.2", "is no width of a roll"),
        ("roll_length_m", "501", "is no length of a roll"),
        ("lap_mm", "0.1", "looks like metres; write millimetres, 100."),
        ("lap_mm", "-1", "must not be below 0"),
        ("lap_mm", "501", "is too wide for a lap"),
        ("roll_price", "-5", "must not be below 0"),
        ("opening_count", "-1", "must not be below 0"),
    ],
)
def test_fault_of_a_job(faults, column, value, words):
    # The first job owns the opening, so that a job without an id orphans nothing.
    found = faults(jobs=[{}, {"job_id": "102", column: value}])
    assert len(found) == 1
    assert f"jobs.csv, row 3, column {column}" in found[0]
    assert words in found[0]


def test_lap_of_half_the_roll(faults):
    found = faults(jobs=[{"roll_width_m": "0.75", "lap_mm": "375"}])
    assert "column lap_mm" in found[0]
    assert "is half the roll's width or more" in found[0]
    assert faults(jobs=[{"roll_width_m": "0.75", "lap_mm": "374"}]) == []


def test_date_more_than_a_year_ahead(faults):
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


@pytest.mark.parametrize("used", ["1", "12"])
def test_low_and_high_use_is_no_fault(faults, used):
    assert faults(jobs=[{"used_rolls": used}]) == []


def test_absurd_use_allows_for_the_reveals(faults):
    # 5 * (150 + reveal) + 3 * 75 m2 of sheet: 13 rolls hold 975 m2, 14 hold 1050 m2. The good
    # opening has 2 * 2 * (1.2 + 1.4) * 0.3 = 3.12 m2 of reveal.
    assert faults(jobs=[{"used_rolls": "13"}]) == []
    assert "14 rolls hold 1,050 m²" in faults(jobs=[{"used_rolls": "14"}])[0]
    deep = {"count": "6", "reveal_mm": "1500"}  # 46.8 m2 of reveal
    assert faults(jobs=[{"used_rolls": "14"}], openings=[deep]) == []


def test_surface_smaller_than_its_openings(faults):
    found = faults(jobs=[{"surface_m2": "3.3", "used_rolls": "1"}])  # 2 * 1.2 * 1.4 = 3.36 m2
    assert "is less than the area of the job's openings, 3.4 m²" in found[0]
    assert faults(jobs=[{"surface_m2": "3.36", "used_rolls": "1"}]) == []


def test_one_mistake_is_told_once(faults):
    # A width in the wrong unit would also make the openings larger than the surface.
    assert len(faults(openings=[{"width_mm": "1200000"}])) == 1


def test_job_that_stands_twice(faults):
    found = faults(jobs=[{"job_id": "A1"}, {"job_id": "101"}, {"job_id": "a1 "}])
    assert len(found) == 1
    assert "jobs.csv, row 4, column job_id" in found[0]
    assert "the same job_id stands in row 2" in found[0]


def test_summary_is_checked_only_where_it_counts(faults):
    bad = {**SUMMARY, "reveal_mm": "0.3", "cut_pattern": ""}
    found = faults(jobs=[{}, {"job_id": "102", **bad}])
    assert len(found) == 2
    assert "jobs.csv, row 3, column reveal_mm" in found[0]
    assert "jobs.csv, row 3, column cut_pattern" in found[1]
    assert faults(jobs=[bad]) == []


def test_summary_counts_in_the_area_of_openings(faults):
    found = faults(jobs=[{**SUMMARY, "surface_m2": "5"}], openings=())
    assert "is less than the area of the job's openings, 5.0 m²" in found[0]


@pytest.mark.parametrize("count", ["", "0"])
def test_no_openings_need_no_sizes(faults, count):
    assert faults(jobs=[{"opening_count": count}], openings=()) == []


def test_missing_columns(faults):
    found = faults(drop=["surface_m2", "used_rolls"])
    assert len(found) == 2
    assert "jobs.csv, column surface_m2: the column is missing; add it" in found[0]
    assert "jobs.csv, column used_rolls: the column is missing" in found[1]


def test_summary_without_a_column_it_needs(faults):
    found = faults(jobs=[SUMMARY], openings=(), drop=["opening_width_mm"])
    assert len(found) == 1
    assert "column opening_width_mm: the column is missing" in found[0]


def test_takeoff_needs_none_of_the_three(faults):
    nothing = dict.fromkeys(["finished_on", "estimated_rolls", "used_rolls"], "")
    assert faults(jobs=[nothing]) == []
    assert faults(jobs=[{}, {"job_id": "102", **nothing}]) == []
    assert faults(drop=list(nothing)) == []
    assert faults(jobs=[nothing], drop=["used_rolls"]) == []


def test_header_without_rows(faults, tmp_path):
    (tmp_path / "jobs.csv").write_text("job_id,surface_m2\n")
    (tmp_path / "openings.csv").write_text(",".join(GOOD_OPENING) + "\n")
    assert [str(f) for f in check_records(tmp_path)] == [
        "jobs.csv: there are no jobs; write one row a job."
    ]


def test_all_faults_come_in_one_pass_and_in_order(faults):
    found = faults(
        jobs=[
            {"surface_m2": "-1", "used_rolls": "x"},
            {"job_id": "102", "finished_on": "soon", "lap_mm": "0.1"},
        ],
        openings=[{"width_mm": "1.2", "height_mm": "1.4"}, {"job_id": "103", "count": ""}],
    )
    places = [text.split(", value")[0].split(":")[0] for text in found]
    assert places == [
        "jobs.csv, row 2, column surface_m2",
        "jobs.csv, row 2, column used_rolls",
        "jobs.csv, row 3, column finished_on",
        "jobs.csv, row 3, column lap_mm",
        "openings.csv, row 2, column width_mm",
        "openings.csv, row 2, column height_mm",
        "openings.csv, row 3, column job_id",
        "openings.csv, row 3, column count",
    ]


def test_row_with_shifted_cells_is_reported_for_that_alone(faults):
    found = faults(jobs=[{}, {"job_id": "102", "surface_m2": "150,5"}])
    assert len(found) == 1
    assert "the row has more cells than the 15 of the header" in found[0]


def test_openings_are_checked_though_jobs_cannot_be_read(faults, tmp_path):
    faults(openings=[{"reveal_mm": "0.3"}])
    (tmp_path / "jobs.csv").write_text("number,surface\n1,2\n")
    found = [str(fault) for fault in check_records(tmp_path)]
    assert len(found) == 2
    assert "jobs.csv: no column job_id" in found[0]
    assert "openings.csv, row 2, column reveal_mm" in found[1]
