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
from airstats.chain import calibrate_through, finished_jobs
from airstats.cut_patterns import CUTS
from airstats.overrun import split_overrun
from airstats.takeoff import take_off

DATA = Path(__file__).parents[1] / "data"
FILES = [
    "demo.xlsx",
    "demo/jobs.csv",
    "demo/materials.csv",
    "demo/openings.csv",
    "demo_takeoff/jobs.csv",
    "demo_takeoff/openings.csv",
    "demo_truth.json",
]
TRUTH = json.loads((DATA / "demo_truth.json").read_text(encoding="utf-8"))
REVEALS = [f"reveal_{cut}_m2" for cut in CUTS]


@pytest.fixture(scope="module")
def records() -> airstats.Records:
    return airstats.read_records(DATA / "demo")


@pytest.fixture(scope="module")
def takeoff() -> airstats.Records:
    return airstats.read_records(DATA / "demo_takeoff")


@pytest.fixture(scope="module")
def chain(records: airstats.Records) -> dict[str, airstats.Allowances]:
    return {step.quarter: step for step in calibrate_through(records, "2026Q3")}


@pytest.fixture(scope="module")
def learnt(records: airstats.Records) -> airstats.Allowances:
    return airstats.calibrate(records)


@pytest.fixture(scope="module")
def written_again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("again")
    script = [sys.executable, str(DATA / "make_demo.py"), str(folder)]
    subprocess.run(script, check=True, timeout=60)
    return folder


@pytest.mark.parametrize("name", FILES)
def test_script_gives_the_committed_bytes(name: str, written_again: Path) -> None:
    assert (written_again / name).read_bytes() == (DATA / name).read_bytes()


def test_script_writes_nothing_else(written_again: Path) -> None:
    files = [path for path in written_again.rglob("*") if path.is_file()]
    assert sorted(path.relative_to(written_again).as_posix() for path in files) == FILES


def test_workbook_reads_as_the_csv_files_do(records: airstats.Records) -> None:
    workbook = airstats.read_records(DATA / "demo.xlsx")
    assert_frame_equal(workbook.jobs, records.jobs)
    assert_frame_equal(workbook.openings, records.openings)
    assert_frame_equal(workbook.materials, records.materials)


def test_workbook_is_kept_as_an_office_keeps_it() -> None:
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


def test_records_cover_what_they_are_to_show(records: airstats.Records) -> None:
    jobs, openings = records.jobs, records.openings
    a_quarter = jobs["quarter"].value_counts()
    assert len(a_quarter) == 12
    assert a_quarter.between(11, 17).all()
    assert jobs["crew"].nunique() == 4
    assert set(openings["cut_pattern"]) == set(CUTS)
    assert set(openings.loc[openings["cut_pattern"] == "lined", "sides"]) == {3, 4}
    assert jobs["surface_m2"].between(150, 500).all()
    assert openings["reveal_mm"].between(150, 500).all()
    assert openings.groupby("job_id")["count"].sum().between(10, 25).all()


def test_typical_house_has_a_typical_reveal_area(records: airstats.Records) -> None:
    reveal_m2 = take_off(records).columns(REVEALS).sum(axis=1)
    # Common practice, no source: 30 to 40 m² in a typical one-off house.
    assert 30 <= pd.Series(reveal_m2).median() <= 40


def test_jobs_run_over_and_reveals_lead(
    records: airstats.Records, learnt: airstats.Allowances
) -> None:
    jobs = finished_jobs(records)
    assert (jobs.table["used_rolls"] > jobs.table["estimated_rolls"]).mean() > 0.25
    rolls = split_overrun(jobs, learnt).set_index("cause")["mean"]
    reveals = rolls[[f"reveal.{cut}" for cut in CUTS]].sum()
    assert reveals > rolls[["laps", "waste", "unexplained"]].max()


@pytest.mark.parametrize("name", TRUTH["allowances"])
def test_interval_holds_the_true_allowance(name: str, learnt: airstats.Allowances) -> None:
    row = learnt.table().loc[name]
    assert row["low"] <= TRUTH["allowances"][name] <= row["high"]


@pytest.mark.parametrize("name", TRUTH["materials"])
def test_interval_holds_the_true_allowance_of_a_material(
    name: str, learnt: airstats.Allowances
) -> None:
    row = airstats.material_table(learnt).loc[name]
    assert row["low"] <= TRUTH["materials"][name] <= row["high"]
    assert row["jobs_used"] > 80


@pytest.mark.parametrize("name", TRUTH["allowances"] | TRUTH["materials"])
def test_readme_shows_the_allowances_as_they_are(name: str, learnt: airstats.Allowances) -> None:
    text = (DATA / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"^\| {re.escape(name)} \|(.*)\|$", text, re.MULTILINE)
    assert found is not None
    shown = [float(cell) for cell in found[1].split("|")]
    row = pd.concat([learnt.table(), airstats.material_table(learnt)]).loc[name]
    # Two decimals, and room for another machine's last digits.
    truth = TRUTH["allowances"] | TRUTH["materials"]
    expected = [truth[name], row["mean"], row["low"], row["high"]]
    assert shown == pytest.approx(expected, abs=0.006)


def test_stolen_rolls_are_named_in_their_quarter_and_no_sound_job_is(
    records: airstats.Records, chain: dict[str, airstats.Allowances]
) -> None:
    (stolen,) = TRUTH["stolen_rolls"]
    quarter = records.jobs.set_index("job_id").loc[stolen, "quarter"]
    named = {step.quarter: list(step.suspects) for step in chain.values() if step.suspects}
    assert named == {quarter: [stolen]}
    assert records.jobs.set_index("job_id").loc[stolen, "exclude"] == ""


def test_excluded_job_is_shown_but_not_counted(
    records: airstats.Records, learnt: airstats.Allowances
) -> None:
    excluded = records.jobs[records.jobs["exclude"] != ""]
    assert dict(zip(excluded["job_id"], excluded["exclude"], strict=True)) == TRUTH["excluded"]
    assert set(records.jobs["job_id"]) - set(learnt.job_ids) == set(TRUTH["excluded"])


def test_two_jobs_have_a_summary_only(records: airstats.Records) -> None:
    summaries = records.openings[records.openings["from_summary"]]
    assert summaries["job_id"].tolist() == ["H023", "H131"]


def test_takeoff_has_six_jobs_all_cuts_a_new_crew_and_a_summary(
    records: airstats.Records, takeoff: airstats.Records
) -> None:
    assert len(takeoff.jobs) == 6
    assert not takeoff.jobs["finished"].any()
    assert set(takeoff.openings["cut_pattern"]) == set(CUTS)
    assert set(takeoff.jobs["crew"]) - set(records.jobs["crew"]) == {"Oak"}
    assert takeoff.openings.loc[takeoff.openings["from_summary"], "job_id"].tolist() == ["P4"]


def test_priced_intervals_hold_the_true_average_use(
    takeoff: airstats.Records, learnt: airstats.Allowances
) -> None:
    priced = airstats.price(takeoff, learnt).set_index("job_id")
    expected = pd.Series(TRUTH["takeoff_expected_m2"])
    assert priced.index.tolist() == expected.index.tolist()
    assert (priced["low_m2"] < expected).all()
    assert (expected < priced["high_m2"]).all()
