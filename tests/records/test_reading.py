from datetime import date

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airstats.base.errors import RecordsError
from airstats.records.raw_table import COLUMNS
from airstats.records.reading import Records, check_records, read_records
from airstats.records.source import read_source
from airstats.takeoff.sheet_quantities import take_off
from tests.external_checks import agree
from tests.tables import write_csv, write_parquet, write_workbook

JOBS = pd.DataFrame(
    {
        "job_id": ["A1", "007", "A3", "A4"],
        "finished_on": [date(2026, 3, 31), date(2026, 4, 1), date(2026, 12, 31), None],
        "surface_m2": [150.25, 80.0, 1234.5, 95.0], "estimated_rolls": [3.0, 2.0, 20.0, None],
        "used_rolls": [4.0, 1.5, 21.0, None], "counted": ["opened", "half", None, None],
        "roll_width_m": [None, 3.0, None, None], "lap_mm": [None, 120.0, None, 0.0],
        "crew": ["North", "north ", None, "South"], "exclude": [None, "roll stolen", None, None],
        "opening_count": [None, 3.0, None, 0.0], "opening_width_mm": [None, 1200.0, None, None],
        "opening_height_mm": [None, 1400.0, None, None], "reveal_mm": [None, 300.0, None, None],
        "cut_pattern": [None, "Lined", None, None], "Site": ["Hill", "Dale", None, "Hill"],
    }
)  # fmt: skip
OPENINGS = pd.DataFrame(
    {
        "job_id": ["a1", "A3", "A1"], "mark": ["W1", None, "D1"], "count": [2, 10, 1],
        "width_mm": [1200.0, 900.5, 900.0], "height_mm": [1400, 1200, 2100],
        "reveal_mm": [300, 250, 300], "sides": [None, None, 3.0],
        "cut_pattern": ["diagonal", "center", "lined"],
    }
)  # fmt: skip


def refusal(path, **options):
    with pytest.raises(RecordsError) as caught:
        read_records(path, **options)
    return str(caught.value)


@pytest.fixture
def records(tmp_path):
    return read_records(write_csv(tmp_path / "firm", JOBS, OPENINGS))


def test_clean_jobs_and_openings_that_end_with_those_in_summary(records):
    jobs = records.jobs
    assert list(jobs) == [
        *COLUMNS["jobs"],
        "quarter",
        "finished",
        "openings_known",
        "count_told",
        "Site",
    ]
    for name, told in {
        "job_id": ["A1", "007", "A3", "A4"], "quarter": ["2026Q1", "2026Q2", "2026Q4", None],
        "finished": [True, True, True, False], "counted": ["opened", "half", "opened", "opened"],
        "roll_width_m": [1.5, 3, 1.5, 1.5], "roll_length_m": [50, 50, 50, 50],
        "lap_mm": [100, 120, 100, 0], "crew": ["North", "North", "", "South"],
        "exclude": ["", "roll stolen", "", ""], "openings_known": [True] * 4,
        "count_told": [True, True, False, False], "Site": ["Hill", "Dale", "", "Hill"],
    }.items():  # fmt: skip
        assert jobs[name].tolist() == told, name
    assert jobs["roll_price"].isna().all()
    openings = records.openings
    assert list(openings) == [*COLUMNS["openings"], "from_summary"]
    for name, told in {
        "job_id": ["A1", "A3", "A1", "007"], "mark": ["W1", "", "D1", "summary"],
        "count": [2, 10, 1, 3], "sides": [4, 4, 3, 4], "width_mm": [1200, 900.5, 900, 1200],
        "cut_pattern": ["diagonal", "centre", "lined", "lined"],
        "from_summary": [False, False, False, True],
    }.items():  # fmt: skip
        assert openings[name].tolist() == told, name
    assert records.jobs["finished_on"].dtype == "datetime64[us]"
    assert {str(records.openings[name].dtype) for name in ("count", "sides")} == {"int64"}
    assert records.jobs["finished"].dtype == bool
    assert records.source == "firm"
    assert records.digest.startswith("sha256:")
    assert records.faults == ()
    assert records.set_aside.empty
    assert list(records.set_aside) == ["table", "row", "reason"]


def test_every_format_gives_equal_frames_and_every_place_the_same_digest(records, tmp_path):
    tables = {"jobs": JOBS, "openings": OPENINGS}
    for path in (
        write_workbook(tmp_path / "firm.xlsx", **tables),
        write_parquet(tmp_path / "parquet", **tables),
    ):
        other = read_records(path)
        pd.testing.assert_frame_equal(other.jobs, records.jobs)
        pd.testing.assert_frame_equal(other.openings, records.openings)
    assert read_records(write_csv(tmp_path / "copy", JOBS, OPENINGS)).digest == records.digest
    assert read_records(write_csv(tmp_path / "less", JOBS[:3], OPENINGS)).digest != records.digest


def test_takeoffs_and_jobs_alone(tmp_path):
    takeoff = JOBS.drop(columns=["finished_on", "estimated_rolls", "used_rolls"])
    jobs = read_records(write_csv(tmp_path / "new", takeoff, OPENINGS)).jobs
    assert not jobs["finished"].any()
    assert jobs[["quarter", "used_rolls"]].isna().all(axis=None)
    records = read_records(write_csv(tmp_path / "alone", JOBS))
    assert records.openings["job_id"].tolist() == ["007"]
    none = read_records(write_csv(tmp_path / "none", JOBS[["job_id", "surface_m2"]]))
    assert none.openings.empty
    pd.testing.assert_series_equal(none.openings.dtypes, records.openings.dtypes)


def test_summary_gives_way_to_rows_of_openings_and_counts_where_it_has_a_count(tmp_path):
    rows = OPENINGS.assign(job_id=["007", "A3", "A1"])
    records = read_records(write_csv(tmp_path / "both", JOBS, rows))
    assert not records.openings["from_summary"].any()
    unread = "jobs.csv: columns not read: Site."
    told = "Jobs whose summary columns are ignored, as openings has their rows: 1."
    assert records.notes == (unread, told)
    records = read_records(write_csv(tmp_path / "uncounted", JOBS.assign(opening_count=None)))
    told = (
        "4 jobs with unknown openings, reckoned as usual: A1, 007, A3, A4; where there are none,"
        " write a count of 0."
    )
    assert records.notes == (unread, told)
    assert not records.jobs["openings_known"].any()


def test_an_unknown_depth_is_no_fault_and_stays_unknown(tmp_path):
    rows = OPENINGS.assign(reveal_mm=[None, 300, 250])
    records = read_records(write_csv(tmp_path / "rows", JOBS.assign(reveal_mm=None), rows))
    assert records.openings["reveal_mm"].isna().tolist() == [True, False, False, True]
    assert records.jobs["openings_known"].all()
    told = "2 jobs with unknown depths of reveals, reckoned as usual: A1, 007."
    assert records.notes[-1] == told


def test_no_under_exclude_is_not_a_reason(tmp_path):
    records = read_records(write_csv(tmp_path / "no", JOBS.assign(exclude=["no", "yes", "", "0"])))
    assert records.jobs["exclude"].tolist() == ["", "yes", "", ""]
    assert any('exclude: "no" read as not excluded' in note for note in records.notes)


def test_workbook_typed_by_hand(tmp_path):
    book = openpyxl.Workbook()
    jobs = book.active
    jobs.title = "Jobs "
    for row in [
        ["Finished jobs, second half", None, None, None, None, None, None],
        [],
        ["Job ID", "Finished on", "Surface (m²)", "Estimated rolls", "Used-Rolls", "CREW", "Notes"],
        [101, "31.08.2026", "1.234,5", 20, "21", "North", None],
        [102, "03.09.2026", "95,25 ", "2", 3, " north\u00a0", "late, wet"],
        [],
        [103, date(2026, 9, 30), 80, 2, 2, "South", None],
        [104, 46295, "1.080", 15, 14, "South", None],
        [None, None, " ", None, None, None, None],
    ]:
        jobs.append(row)
    openings = book.create_sheet("OPENINGS")
    openings.append(
        ["job id", "Mark", "Count", "Width mm", "Height [mm]", "Reveal (mm)", "Cut pattern"]
    )
    openings.append([101, "W1", 4, "1.200", 1400, "300", "Diagonal"])
    openings.append(["102", "W2", "1", 900.0, 1200, 250, "center"])
    book.create_sheet("Prices").append(["roll", 145])
    book.save(tmp_path / "firm.xlsx")

    records = read_records(tmp_path / "firm.xlsx")
    assert records.jobs["job_id"].tolist() == ["101", "102", "103", "104"]
    days = records.jobs["finished_on"].dt.strftime("%Y-%m-%d").tolist()
    # 46295 days after 30 December 1899.
    assert days == ["2026-08-31", "2026-09-03", "2026-09-30", "2026-09-30"]
    assert records.jobs["surface_m2"].tolist() == [1234.5, 95.25, 80, 1080]
    assert records.jobs["crew"].tolist() == ["North", "North", "South", "South"]
    assert records.jobs["Notes"].tolist() == ["", "late, wet", "", ""]
    assert records.openings["width_mm"].tolist() == [1200, 900]
    assert records.openings["cut_pattern"].tolist() == ["diagonal", "centre"]
    assert records.notes == (
        "firm.xlsx: sheets not read: Prices; rename what is meant as jobs, openings, materials"
        " or stock.",
        "firm.xlsx, sheet Jobs: empty rows skipped: 1.",
        'firm.xlsx, sheet Jobs, column finished_on: "03.09.2026" read as 2026-09-03 (day-first).',
        'firm.xlsx, sheet Jobs, column surface_m2: "1.080" read as 1080.',
        "firm.xlsx, sheet Jobs: columns not read: Notes.",
        'firm.xlsx, sheet OPENINGS, column width_mm: "1.200" read as 1200.',
        "firm.xlsx, sheet Jobs, column surface_m2: more than the used rolls hold: 1 cell, first row"
        ' 8, "1.080".',
        "2 jobs with unknown openings, reckoned as usual: 103, 104; where there are none, write"
        " a count of 0.",
    )


def test_formula_without_a_value_says_how_to_save_it(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "jobs"
    book.active.append(["job_id", "surface_m2"])
    book.active.append(["1", "=10*8"])
    book.save(tmp_path / "a.xlsx")
    message = refusal(tmp_path / "a.xlsx")
    place = 'a.xlsx, sheet jobs, row 2, column surface_m2, value "=10*8"'
    assert f"{place}: is a formula whose value is not in the file; open the workbook" in message


def test_message_counts_and_lists_all_faults(tmp_path):
    path = write_csv(tmp_path / "bad", JOBS.assign(surface_m2=-1), OPENINGS.assign(reveal_mm=0.3))
    lines = refusal(path).splitlines()
    faults = check_records(path)
    assert lines[0] == "7 faults of 2 kinds in bad:"
    assert lines[1] == "jobs.csv, column surface_m2, 4 times, first:"
    assert lines[2].startswith('  row 2, value "-1": must be above 0; write the surface in square')
    assert lines[5:8] == [str(fault) for fault in faults if fault.file == "openings.csv"]
    assert lines[8] == f"Every one, in a list to work through: airstats check {path} --out FOLDER"
    assert len(lines) == 9


def test_dates_are_asked_for_or_told(tmp_path):
    path = write_csv(tmp_path / "dates", JOBS[:1].assign(finished_on="03/04/2026"))
    assert refusal(path).startswith("1 fault in dates:\n")
    quarters = [
        read_records(path, dates=order).jobs["quarter"][0] for order in ("day-first", "month-first")
    ]
    assert quarters == ["2026Q2", "2026Q1"]
    assert 'dates is "guess"; it must be one of ask, day-first' in refusal(path, dates="guess")


@pytest.fixture
def faulty(tmp_path):
    jobs = JOBS.astype(object).rename(columns={"surface_m2": "Surface (m2)"})
    jobs.loc[1, "Surface (m2)"] = "80 m2"
    openings = OPENINGS.astype(object).assign(room=["hall", "loft", "bath"])
    openings.loc[2, "reveal_mm"] = "0.30"
    openings.loc[3] = ["A9", "W", 1, 1200, 1400, 300, 4, "lined", "loft"]
    return write_csv(tmp_path / "faulty", jobs, openings)


def test_what_is_set_aside_with_its_job_stays_as_it_was_written(faulty):
    assert refusal(faulty).startswith("3 faults in faulty:")
    records = read_records(faulty, set_aside_bad_rows=True)
    assert records.jobs["job_id"].tolist() == ["A3", "A4"]
    assert records.openings["job_id"].tolist() == ["A3"]
    assert records.openings["room"].tolist() == ["loft"]
    aside = records.set_aside
    assert aside[["table", "row"]].to_numpy().tolist() == [
        *(["jobs", row] for row in (2, 3)), *(["openings", row] for row in (2, 4, 5)),
    ]  # fmt: skip
    fault = 'openings.csv, row 4, column reveal_mm, value "0.30": looks like metres'
    for place, told in enumerate((f"its job is set aside: {fault}", "holds more than a number",
                                  f"its job is set aside: {fault}", fault,
                                  "no job has this id")):  # fmt: skip
        assert told in aside["reason"][place]
    assert [str(fault) for fault in records.faults] == aside["reason"][[1, 3, 4]].tolist()
    aside = read_records(faulty, set_aside_bad_rows=True).set_aside
    assert aside["Surface (m2)"].tolist() == ["150.25", "80 m2", "", "", ""]
    assert aside["reveal_mm"].tolist() == ["", "300.0", "300", "0.30", "300"]
    assert aside["job_id"].tolist() == ["A1", "007", "a1", "A1", "A9"]
    assert aside["crew"].tolist() == ["North", "north ", "", "", ""]
    assert aside["room"].tolist() == ["", "", "hall", "bath", "loft"]


def test_both_rows_of_one_id_are_set_aside_and_headings_stay(tmp_path):
    jobs = JOBS.assign(job_id=["A1", "a1", "A3", "A4"])
    path = write_csv(tmp_path / "twice", jobs, OPENINGS)
    records = read_records(path, set_aside_bad_rows=True)
    assert records.jobs["job_id"].tolist() == ["A3", "A4"]
    assert records.set_aside["row"].tolist() == [2, 3, 2, 4]
    assert len(records.faults) == 1
    jobs = JOBS.assign(surface_m2=[0, 80, 1234.5, 95], row=9, reason="why", quarter="Q")
    records = read_records(write_csv(tmp_path / "own", jobs), set_aside_bad_rows=True)
    assert records.set_aside["row"].tolist() == [2]
    assert records.set_aside["row (as written)"].tolist() == ["9"]
    assert records.set_aside["quarter"].tolist() == ["Q"]
    assert records.jobs["quarter"].tolist() == ["2026Q2", "2026Q4", None]
    assert records.jobs["quarter (as written)"].tolist() == ["Q"] * 3


def test_set_aside_cannot_mend_a_whole_table(tmp_path, faulty):
    path = write_csv(tmp_path / "a", JOBS.drop(columns="surface_m2"))
    assert "the column is missing" in refusal(path, set_aside_bad_rows=True)
    path = write_csv(tmp_path / "b", JOBS.assign(surface_m2=0), OPENINGS)
    assert refusal(path, set_aside_bad_rows=True).startswith("4 faults of 1 kind in b:")
    (faulty / "openings.csv").write_text("what,is,this\n")
    assert "no column job_id" in refusal(faulty, set_aside_bad_rows=True)


TELLING_CELLS = [
    *["1", "101", "0.3", "1,5", "1.234", "1,234", "31.12.2026", "03/04/26", "n/a", "lined"],
    *["opened", "150", "1e300", "1200", "-1", '"', "inf", "2026-03-31"],
]
CELLS = st.one_of(st.text(max_size=6), st.sampled_from([*TELLING_CELLS, "a\nb", "\x00", ""]))
HEADINGS = st.one_of(
    st.sampled_from([*COLUMNS["jobs"], *COLUMNS["openings"], "quarter", "row", ""]),
    st.text(max_size=5),
)
TABLES = st.lists(HEADINGS, max_size=12).flatmap(
    lambda headings: st.lists(st.lists(CELLS, max_size=13), max_size=5).map(
        lambda rows: [["job_id", *headings], *rows]
    )
)
QUICK = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def read_or_refuse(folder):
    """Read with the bad rows set aside: the result is whole, or the refusal is ours."""
    try:
        return read_records(folder, set_aside_bad_rows=True)
    except RecordsError as error:
        return str(error)


@QUICK
@given(jobs=TABLES, openings=TABLES, separator=st.sampled_from(",;\t|"))
def test_garbage_is_refused_or_read_but_never_breaks(tmp_path, jobs, openings, separator):
    for name, rows in (("jobs", jobs), ("openings", openings)):
        text = "\n".join(separator.join(row) for row in rows)
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8", errors="replace", newline="")
    result = read_or_refuse(tmp_path)
    if isinstance(result, Records):
        kept = len(result.jobs) + (~result.openings["from_summary"]).sum()
        there = sum(len(table.rows) for table in read_source(tmp_path).tables.values())
        assert kept + len(result.set_aside) == there
    else:
        assert result.strip()


@QUICK
@given(data=st.binary(max_size=200), head=st.sampled_from([b"", b"\xff\xfe", b"job_id,count\n"]))
def test_random_bytes_are_refused_or_read_but_never_break(tmp_path, data, head):
    (tmp_path / "jobs.csv").write_bytes(head + data)
    assert read_or_refuse(tmp_path)


@QUICK
@given(
    st.lists(
        st.lists(
            st.one_of(CELLS, st.floats(), st.integers(), st.booleans(), st.dates(), st.none()),
            min_size=10,
            max_size=10,
        ),
        max_size=4,
    )
)
def test_garbage_of_native_cells_never_breaks(rows):
    from airstats.records import reading as room
    from airstats.records.consistency import check_sheets, link
    from airstats.records.typed_table import read_sheets
    from airstats.records.xlsx_reader import sheet_table

    header = ["job_id", "finished_on", "used_rolls", "estimated_rolls", "surface_m2", "lap_mm"]
    header += ["count", "width_mm", "sides", "rolls"]
    tables = {name: sheet_table(name, name, [header, *rows]) for name in COLUMNS}
    sheets = read_sheets(tables, "ask")
    found = check_sheets(sheets, link(sheets))
    assert all(str(finding.fault) for finding in found)
    assert room._texts(tables["jobs"].cells).shape == tables["jobs"].cells.shape


def test_of_a_month_or_a_quarter_no_day_is_made_up(tmp_path):
    days = ["2026-03-31", "2026-02", "Q2 2026", None]
    jobs = read_records(write_csv(tmp_path / "firm", JOBS.assign(finished_on=days), OPENINGS)).jobs
    assert jobs["quarter"].tolist() == ["2026Q1", "2026Q1", "2026Q2", None]
    assert jobs["finished"].tolist() == [True, True, True, False]
    assert jobs["finished_on"].isna().tolist() == [False, True, True, True]


def test_what_is_not_told_is_the_common_roll_and_lap(tmp_path):
    bare = JOBS[["job_id", "finished_on", "surface_m2", "estimated_rolls", "used_rolls"]]
    bare = bare.assign(opening_count=0)
    job = take_off(read_records(write_csv(tmp_path / "bare", bare.head(1)))).table.iloc[0]
    agree("roll.default", job["roll_m2"])
    share = job["surface_m2"] / job["laid_m2"]
    agree("lap.default", (1 - share) * 1500)
