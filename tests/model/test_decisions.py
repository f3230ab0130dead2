import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from airstats.__main__ import main
from airstats.base.errors import AllowancesError
from airstats.model.allowances import load_allowances
from airstats.model.decisions import check_decision, decide, waiting_jobs
from airstats.model.posterior import update, widen
from airstats.model.quarterly_update import calibrate
from airstats.records.reading import read_records
from airstats.reports.desk import after_decision
from tests.invented import desk_of, firm, invent, save

DEMO = Path(__file__).parents[2] / "data" / "demo"
WHY = ("keep", "two records to look at", "AB")


@pytest.fixture(scope="module")
def desk():
    return desk_of("2025Q3")


@pytest.fixture(scope="module")
def kept(desk):
    return decide(desk.before, desk.now, *WHY)


def test_accept_needs_nothing_and_changes_no_value(desk):
    accepted = decide(desk.before, desk.now)
    assert accepted.decision == {"decision": "accept"}
    assert replace(accepted, decision={}).to_text() == desk.now.to_text()
    signed = decide(desk.before, desk.now, "accept", "looks right", "CD").decision
    assert signed == {"decision": "accept", "reason": "looks right", "by": "CD"}


def test_keep_carries_the_values_before_forward_with_their_drift(desk, kept):
    assert kept.quarter == "2025Q3"
    widened = widen(desk.before.belief, 1)
    assert np.array_equal(kept.belief.mean, widened.mean)
    assert np.array_equal(kept.belief.mean[:, 1:], desk.before.belief.mean[:, 1:])
    moved = kept.belief.mean[:, 0] - desk.before.belief.mean[:, 0]
    assert moved == pytest.approx(desk.before.belief.trend)
    assert np.array_equal(kept.belief.covariance, widened.covariance)
    assert kept.table()["sd"]["waste"] > desk.before.table()["sd"]["waste"]
    fixed = decide(desk.before, desk.now, *WHY, drift=0.0)
    assert np.array_equal(fixed.belief.covariance, desk.before.belief.covariance)


def test_keep_is_an_update_without_jobs_whose_jobs_wait(desk, kept):
    none = desk.jobs.where(np.zeros(len(desk.jobs), bool))
    idle = update(widen(desk.before.belief, 1), none)
    assert kept.belief.mean == pytest.approx(idle.mean)
    assert kept.belief.weight == pytest.approx(idle.weight)
    assert kept.job_ids == desk.before.job_ids
    assert kept.crew_jobs == desk.before.crew_jobs
    assert (kept.new_jobs, kept.late_jobs, kept.suspects) == ((), (), {})
    assert waiting_jobs(kept) == list(desk.now.new_jobs)
    assert (kept.decision["reason"], kept.decision["by"]) == WHY[1:]


def test_jobs_that_waited_count_as_late_at_the_next_accept(desk, kept, tmp_path):
    kept.save(tmp_path / "kept.json")
    kept = load_allowances(tmp_path / "kept.json")
    assert waiting_jobs(kept) == list(desk.now.new_jobs)
    then = decide(kept, calibrate(invent(), kept, "2025Q4"))
    assert set(then.late_jobs) == set(desk.now.new_jobs)
    assert len(then.new_jobs) == 24
    assert len(then.job_ids) == len(set(then.job_ids)) == 48
    assert waiting_jobs(then) == []


def test_keeping_twice_lets_both_quarters_wait(desk, kept):
    again = decide(kept, calibrate(invent(), kept, "2025Q4"), *WHY)
    assert len(waiting_jobs(again)) == 24
    assert again.job_ids == desk.before.job_ids


def test_the_desk_prices_with_what_stands(desk):
    standing = after_decision(desk, *WHY)
    assert standing.now.job_ids == desk.before.job_ids
    assert standing.before is desk.before
    assert after_decision(desk, "accept").now.job_ids == desk.now.job_ids


def test_what_will_not_do_is_refused():
    first = desk_of("2025Q1")
    with pytest.raises(AllowancesError, match=r"no values before 2025Q1 to keep\. Give the"):
        decide(first.before, first.now, *WHY)
    with pytest.raises(AllowancesError, match='decision "maybe" is not understood: write accept'):
        check_decision("maybe")


@pytest.mark.parametrize(
    ("reason", "by", "missing"),
    [
        ("", "AB", r"the reason \(decision_reason\) must be given"),
        ("why", " ", r"the initials \(decided_by\) must be given"),
        ("", "", r"the reason \(decision_reason\) and the initials \(decided_by\) must be given"),
    ],
)
def test_keep_without_reason_or_initials_is_refused(desk, reason, by, missing):
    with pytest.raises(AllowancesError, match=f"decision keep: {missing}"):
        decide(desk.before, desk.now, "keep", reason, by)


@pytest.mark.usefixtures("coarse")
def test_the_command_line_keeps_and_refuses(tmp_path, capsys):
    before, kept = tmp_path / "2026Q2.json", tmp_path / "2026Q3.json"
    call = ["calibrate", str(DEMO), "--quarter"]
    assert main([*call, "2026Q2", "--out", str(before)]) == 0
    update = [*call, "2026Q3", "--previous", str(before), "--out", str(kept), "--decision", "keep"]
    assert main(update) == 1
    assert "decision keep: the reason" in capsys.readouterr().err
    assert not kept.exists()
    assert main([*update, "--decision-reason", "late invoices", "--decided-by", "AB"]) == 0
    assert "kept: the previous values stand; waiting jobs: H160; H161" in capsys.readouterr().out
    assert load_allowances(kept).decision["reason"] == "late invoices"
    assert load_allowances(kept).job_ids == load_allowances(before).job_ids


KEPT = ("--decision", "keep", "--decision-reason", "late invoices", "--decided-by", "AB")


def named(job):
    """A job id as some firms write it."""
    return f"North, plot {job}"


@pytest.fixture(scope="module")
def taped(tmp_path_factory):
    """A firm with tape, as files, whose job ids hold commas."""
    made = firm(jobs=16, joint_tape=0.1)
    tables = (made.jobs, made.openings, made.materials)
    renamed = [table.assign(job_id=table["job_id"].map(named)) for table in tables]
    records = replace(made, **dict(zip(("jobs", "openings", "materials"), renamed, strict=True)))
    return save(tmp_path_factory.mktemp("taped") / "records", records)


def allowances_of(verb, source, folder, *more):
    """The file that a command writes; the quarter's notebooks are left out."""
    file = folder / "allowances.json"
    out = str(file if verb == "calibrate" else folder)
    assert main([verb, str(source), "--quarter", "2025Q3", "--out", out, *more]) == 0
    return file


@pytest.mark.parametrize("decision", [(), KEPT], ids=["accept", "keep"])
@pytest.mark.parametrize("known", [None, "2025Q1"])
@pytest.mark.usefixtures("quick_files", "coarse")
def test_calibrate_and_quarter_write_the_same_allowances(
    taped, tmp_path, monkeypatch, decision, known
):
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", lambda *_, **__: [])
    if known:
        calibrate(read_records(taped), quarter=known).save(tmp_path / "old.json")
        decision = (*decision, "--previous", str(tmp_path / "old.json"))
    one, other = (
        allowances_of(verb, taped, tmp_path / verb, *decision).read_bytes()
        for verb in ("calibrate", "quarter")
    )
    assert one == other
    assert json.loads(one)["jobs_used"] == (8 if "keep" in decision else 12)


@pytest.mark.usefixtures("coarse")
def test_a_kept_quarter_keeps_the_materials_too_and_their_jobs_wait(taped, tmp_path, capsys):
    records = read_records(taped)
    calibrate(records, quarter="2025Q2").save(tmp_path / "2025Q2.json")
    before = load_allowances(tmp_path / "2025Q2.json")
    call = (taped, tmp_path, "--previous", str(tmp_path / "2025Q2.json"), *KEPT)
    kept = load_allowances(allowances_of("calibrate", *call))
    assert waiting_jobs(kept) == [named(f"J{n:03d}") for n in range(8, 12)]
    old, tape = (known.materials["joint tape"] for known in (before, kept))
    assert (tape.quarter, tape.job_ids, tape.new_jobs) == ("2025Q3", old.job_ids, ())
    assert tape.table()["mean"].tolist() == pytest.approx(old.table()["mean"].tolist())
    assert main(["check", str(tmp_path / "allowances.json")]) == 0
    then = calibrate(records, kept, "2025Q4").materials["joint tape"]
    assert len(then.job_ids) == len(set(then.job_ids)) == 16
    assert set(then.late_jobs) == set(waiting_jobs(kept))
