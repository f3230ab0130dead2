from dataclasses import replace

import numpy as np
import pytest

from airstats.backtests.rolling import PACK_RULES, replay, summary_by_rule
from airstats.model.quarterly_update import learnt_materials
from airstats.reports.desk import lay_out
from airstats.reports.materials_evidence_text import evidence_section
from tests.invented import firm


def jobs_of(records):
    desk = lay_out(records)
    return learnt_materials(desk.records, desk.now)[0].jobs


@pytest.fixture(scope="module")
def tape():
    return firm(jobs=48, frame_tape=0.3)


def test_packs_are_priced_from_the_quarters_before_and_learn(tape):
    table = replay(jobs_of(tape))
    assert set(table["quarter"]) == {"2025Q2", "2025Q3", "2025Q4"}
    summary = summary_by_rule(table, PACK_RULES).set_index("rule")
    # Three tenths are used above the count: a tenth on top is too little, and is never learnt.
    assert summary.loc["airstats", "jobs_short"] < 0.25 * summary.loc["flat", "jobs_short"]
    assert "estimated" not in summary.index


def test_later_counts_do_not_change_what_was_foretold(tape):
    whole = replay(jobs_of(tape)).set_index("job_id")
    early = tape.materials["job_id"].isin(tape.jobs.query("quarter < '2025Q4'")["job_id"])
    part = replay(jobs_of(replace(tape, materials=tape.materials[early])))
    part = part.set_index("job_id")
    assert set(part["quarter"]) == {"2025Q2", "2025Q3"}
    np.testing.assert_allclose(part["expected"], whole.loc[part.index, "expected"])


def test_estimates_are_scored_and_a_wrong_record_is_named(tape):
    table = tape.materials.assign(estimated=np.where(np.arange(48) % 2, 4.0, np.nan))
    summary = summary_by_rule(replay(jobs_of(replace(tape, materials=table))), PACK_RULES)
    assert set(summary["rule"]) == {"airstats", "flat", "estimated"}
    assert set(summary["jobs"]) == {18}
    table = tape.materials.copy()
    table.loc[30, "used"] += 20
    said = evidence_section(lay_out(replace(tape, materials=table)))[0].text
    assert "Likely wrong: frame tape of J030 (" in said
    assert "No record is likely wrong" in evidence_section(lay_out(tape))[0].text


def test_packs_are_whole_packs_and_any_part_of_one_is_opened(tape):
    parts = [3.0, 3.2, 3.5, 3.8] * 12
    table = tape.materials.assign(used=parts, counted="exact", estimated=parts)
    jobs = jobs_of(replace(tape, materials=table))
    found = replay(jobs).set_index("job_id")
    expected = dict(zip(table["job_id"], [3, 4, 4, 4] * 12, strict=True))
    for name in ("needed_packs", "estimated_packs"):
        assert found[name].to_dict() == {job: expected[job] for job in found.index}
    amount = jobs.table.set_index("job_id").loc[found.index, "amount"]
    # A flat tenth on top, in packs of 25 m; the least whole number that holds it.
    assert ((found["flat_packs"] - 1) * 25 < amount * 1.1).all()
    assert (amount * 1.1 <= found["flat_packs"] * 25).all()


def test_quarters_without_counts_leave_the_next_one_less_sure(tape):
    """The same counts, the last quarter straight after the first or three quarters later."""
    rows = tape.materials["job_id"].isin(
        tape.jobs.query("quarter in ['2025Q1', '2025Q4']")["job_id"]
    )
    apart = replace(tape, materials=tape.materials[rows])
    waited = jobs_of(apart)
    table = waited.table
    at_once = table.assign(quarter=table["quarter"].replace("2025Q4", "2025Q2"))
    far, soon = map(replay, (waited, replace(waited, table=at_once)))
    np.testing.assert_allclose(far["expected"], soon["expected"])
    sure = far["airstats_packs"].eq(soon["airstats_packs"])
    assert (far["chance_short"] > soon["chance_short"])[sure].all()


def test_one_quarter_gives_no_back_test_and_says_so(tape):
    first = tape.materials["job_id"].isin(tape.jobs.query("quarter == '2025Q1'")["job_id"])
    records = replace(tape, materials=tape.materials[first])
    assert replay(jobs_of(records)).empty
    said = [getattr(part, "text", "") for part in evidence_section(lay_out(records))]
    assert any("no material has counts in two quarters" in text for text in said)
