import json
import re
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import load_workbook
from pandas.testing import assert_frame_equal

import airstats
from airstats.analysis.overrun_split import split_overrun
from airstats.catalog.cut_patterns import CUTS
from airstats.model.quarterly_update import calibrate_through, finished_jobs, of_the_run
from airstats.takeoff.sheet_quantities import take_off
from tests.invented import KNOWN_CUTS

DATA = Path(__file__).parents[1] / "data"


FILES = [
    "demo.xlsx", "demo/jobs.csv", "demo/materials.csv", "demo/openings.csv",
    "demo_takeoff/jobs.csv", "demo_takeoff/openings.csv", "demo_truth.json",
]  # fmt: skip


TRUTH = json.loads((DATA / "demo_truth.json").read_text(encoding="utf-8"))


ALLOWANCES = TRUTH["allowances"] | TRUTH["materials"]
REVEALS = [f"reveal_{cut}_m2" for cut in CUTS]


@pytest.fixture(scope="module")
def records():
    return airstats.read_records(DATA / "demo")


@pytest.fixture(scope="module")
def takeoff():
    return airstats.read_records(DATA / "demo_takeoff")


@pytest.fixture(scope="module")
def chain(records):
    return {step.quarter: step for step in calibrate_through(records, "2026Q3")}


@pytest.fixture(scope="module")
def learnt(chain):
    return of_the_run(list(chain.values()))


@pytest.fixture(scope="module")
def written_again(tmp_path_factory):
    folder = tmp_path_factory.mktemp("again")
    script = [sys.executable, str(DATA / "make_demo.py"), str(folder)]
    subprocess.run(script, check=True, timeout=60)
    return folder


def test_script_gives_the_committed_bytes_and_nothing_else(written_again):
    files = [path for path in written_again.rglob("*") if path.is_file()]
    assert sorted(path.relative_to(written_again).as_posix() for path in files) == FILES
    for name in FILES:
        assert (written_again / name).read_bytes() == (DATA / name).read_bytes(), name


def test_workbook_reads_as_the_csv_files_do(records):
    workbook = airstats.read_records(DATA / "demo.xlsx")
    for name in ("jobs", "openings", "materials"):
        assert_frame_equal(getattr(workbook, name), getattr(records, name))


def test_workbook_is_kept_as_an_office_keeps_it():
    book = load_workbook(DATA / "demo.xlsx")
    assert book.sheetnames == ["jobs", "openings", "materials", "notes"]
    for sheet in (book["jobs"], book["openings"], book["materials"]):
        assert all(cell.font.bold for cell in sheet[1])
        assert not sheet["A2"].font.bold
        assert sheet.freeze_panes == "A2"
        assert sheet.column_dimensions["A"].width >= 10
    day, surface = book["jobs"]["B2"], book["jobs"]["C2"]
    assert day.is_date
    assert isinstance(day.value, datetime)
    assert isinstance(surface.value, float)
    assert book["notes"]["A1"].value.startswith("This firm is invented.")
    assert book.properties.modified == book.properties.created == datetime(2026, 10, 5, 8)


def test_records_are_typical_of_what_they_are_to_show(records):
    jobs, openings = records.jobs, records.openings
    a_quarter = jobs["quarter"].value_counts()
    assert len(a_quarter) == 12
    assert a_quarter.between(11, 17).all()
    assert jobs["crew"].nunique() == 4
    assert set(openings["cut_pattern"]) == set(KNOWN_CUTS)
    assert set(openings.loc[openings["cut_pattern"] == "lined", "sides"]) == {3, 4}
    assert jobs["surface_m2"].between(150, 500).all()
    assert openings["reveal_mm"].between(150, 500).all()
    assert openings.groupby("job_id")["count"].sum().between(10, 25).all()
    reveal_m2 = take_off(records).columns(REVEALS).sum(axis=1)
    # Common practice, no source: 30 to 40 m² in a typical one-off house.
    assert 30 <= pd.Series(reveal_m2).median() <= 40


def test_jobs_run_over_and_reveals_lead(records, learnt):
    jobs = finished_jobs(records)
    assert (jobs.table["used_rolls"] > jobs.table["estimated_rolls"]).mean() > 0.25
    rolls = split_overrun(jobs, learnt).set_index("cause")["mean"]
    reveals = rolls[[f"reveal.{cut}" for cut in CUTS]].sum()
    assert reveals > rolls[["laps", "waste", "unexplained"]].max()


@pytest.fixture(scope="module")
def shown(learnt):
    return pd.concat([learnt.table(), airstats.material_table(learnt)])


@pytest.mark.parametrize("name", ALLOWANCES)
def test_interval_holds_the_true_allowance_and_the_readme_shows_it(name, shown):
    row = shown.loc[name]
    assert row["low"] <= ALLOWANCES[name] <= row["high"]
    assert name not in TRUTH["materials"] or row["jobs_used"] > 80
    text = (DATA / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"^\| {re.escape(name)} \|(.*)\|$", text, re.MULTILINE)
    assert found is not None
    # Two decimals, and room for another machine's last digits.
    expected = [ALLOWANCES[name], row["mean"], row["low"], row["high"]]
    assert [float(cell) for cell in found[1].split("|")] == pytest.approx(expected, abs=0.006)


def test_stolen_rolls_are_named_in_their_quarter_and_no_sound_job_is(records, chain):
    (stolen,) = TRUTH["stolen_rolls"]
    quarter = records.jobs.set_index("job_id").loc[stolen, "quarter"]
    named = {step.quarter: list(step.suspects) for step in chain.values() if step.suspects}
    assert named == {quarter: [stolen]}
    assert records.jobs.set_index("job_id").loc[stolen, "exclude"] == ""


def test_excluded_job_is_shown_but_not_counted(records, learnt):
    excluded = records.jobs[records.jobs["exclude"] != ""]
    assert dict(zip(excluded["job_id"], excluded["exclude"], strict=True)) == TRUTH["excluded"]
    assert set(records.jobs["job_id"]) - set(learnt.job_ids) == set(TRUTH["excluded"])


def test_takeoff_has_six_jobs_all_cuts_a_new_crew_and_a_summary(records, takeoff):
    assert len(takeoff.jobs) == 6
    assert not takeoff.jobs["finished"].any()
    assert set(takeoff.openings["cut_pattern"]) == set(KNOWN_CUTS)
    assert set(takeoff.jobs["crew"]) - set(records.jobs["crew"]) == {"Oak"}
    for source, jobs in ((records, ["H023", "H131"]), (takeoff, ["P4"])):
        summaries = source.openings[source.openings["from_summary"]]
        assert summaries["job_id"].tolist() == jobs


def test_priced_intervals_hold_the_true_average_use(takeoff, learnt):
    priced = airstats.price(takeoff, learnt).set_index("job_id")
    expected = pd.Series(TRUTH["takeoff_expected_m2"])
    assert priced.index.tolist() == expected.index.tolist()
    assert (priced["low_m2"] < expected).all()
    assert (expected < priced["high_m2"]).all()
