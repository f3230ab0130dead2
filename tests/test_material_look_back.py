from dataclasses import replace

import numpy as np
import pytest

from airstats.desk import lay_out
from airstats.material_jobs import material_jobs
from airstats.material_look_back import look_back_at_packs, packs_summary
from airstats.words_materials import materials_now
from airstats.words_materials_evidence import evidence_section
from tests.material_firm import firm


def jobs_of(records):
    desk = lay_out(records)
    return next(material_jobs(desk.records, materials_now(desk)))


@pytest.fixture(scope="module")
def tape():
    return firm(jobs=48, frame_tape=0.3)


def test_packs_are_priced_from_the_quarters_before_and_learn(tape):
    table = look_back_at_packs(jobs_of(tape))
    assert set(table["quarter"]) == {"2025Q2", "2025Q3", "2025Q4"}
    summary = packs_summary(table).set_index("rule")
    # Three tenths are used above the count: a tenth on top is too little, and is never learnt.
    assert summary.loc["airstats", "jobs_short"] < 0.25 * summary.loc["flat", "jobs_short"]
    assert "estimated" not in summary.index


def test_later_counts_do_not_change_what_was_foretold(tape):
    whole = look_back_at_packs(jobs_of(tape)).set_index("job_id")
    early = tape.materials["job_id"].isin(tape.jobs.query("quarter < '2025Q4'")["job_id"])
    part = look_back_at_packs(jobs_of(replace(tape, materials=tape.materials[early])))
    part = part.set_index("job_id")
    assert set(part["quarter"]) == {"2025Q2", "2025Q3"}
    np.testing.assert_allclose(part["expected"], whole.loc[part.index, "expected"])


def test_estimates_are_scored_on_the_same_jobs(tape):
    table = tape.materials.assign(estimated=np.where(np.arange(48) % 2, 4.0, np.nan))
    summary = packs_summary(look_back_at_packs(jobs_of(replace(tape, materials=table))))
    assert set(summary["rule"]) == {"airstats", "flat", "estimated"}
    assert set(summary["jobs"]) == {18}


def test_one_quarter_gives_no_back_test_and_says_so(tape):
    first = tape.materials["job_id"].isin(tape.jobs.query("quarter == '2025Q1'")["job_id"])
    records = replace(tape, materials=tape.materials[first])
    assert look_back_at_packs(jobs_of(records)).empty
    said = [getattr(part, "text", "") for part in evidence_section(lay_out(records))]
    assert any("no material has counts in two quarters" in text for text in said)


def test_the_section_names_the_record_that_is_wrong(tape):
    table = tape.materials.copy()
    table.loc[30, "used"] += 20
    said = evidence_section(lay_out(replace(tape, materials=table)))[0].text
    assert "Likely wrong: frame tape of J030 (" in said
    assert "No record is likely wrong" in evidence_section(lay_out(tape))[0].text
