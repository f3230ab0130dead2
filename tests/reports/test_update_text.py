import re
from dataclasses import replace

import numpy as np
import pytest

from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.case_deletion import pulls
from airstats.analysis.depth_error import depth_reliability
from airstats.analysis.ewma_chart import drift_watch
from airstats.analysis.prior_predictive import prior_check
from airstats.model.allowances import unchanged
from airstats.model.decisions import decide
from airstats.model.quarterly_update import calibrate
from airstats.reports import update_text
from airstats.reports.desk import lay_out
from tests.invented import counted_whole, desk_of, firm, invent, used_more, without_openings


@pytest.fixture(scope="module")
def reveals():
    return desk_of(factor=0.6, seed=4)


@pytest.fixture(scope="module")
def jumped():
    """A firm that takes a tenth more sheet in its last quarter."""
    records = invent()
    last = records.jobs["quarter"].eq("2025Q4")
    return lay_out(used_more(records, records.jobs["surface_m2"] * 0.1 / 75 * last))


def compared(desk):
    return compare_allowances(desk.jobs, desk.before, desk.now)


def test_allowances_are_accepted_or_looked_at(reveals, jumped):
    said = update_text.allowance_headline(reveals, compared(reveals)).text
    assert said.startswith("**2025Q4, 12 new jobs: ")
    assert "reveal.lined: not enough to tell" in said
    assert "Advice: accept the new values" in said
    other = update_text.allowance_headline(jumped, compared(jumped)).text
    assert re.search(r"\*\*2025Q4, 12 new jobs: .*waste.* moved", other)
    assert re.search(r"Advice: look at .*waste.* before you accept", other)


def test_a_drift_is_said_and_looked_at_before_the_values_are_accepted(reveals, jumped):
    for desk, advice in ((reveals, "accept the new values"), (jumped, "look at the drift of all")):
        held = compared(desk).assign(verdict="held")
        watch = drift_watch(desk.jobs, desk.chain)
        assert f"Advice: {advice}" in update_text.allowance_headline(desk, held, watch).text
    calm = update_text.watch_words(reveals, drift_watch(reveals.jobs, reveals.chain)).text
    assert "**Nothing has drifted" in calm
    assert "once in 560 jobs" in calm
    said = update_text.watch_words(jumped, drift_watch(jumped.jobs, jumped.chain)).text
    assert "**Drift in 2025Q4: all jobs took more sheet than foretold (line crossed at J0" in said
    assert re.search(r"mean of that quarter \+\d+ m² a job", said)


def test_the_reason_names_the_move_and_what_chance_can_do(jumped, reveals):
    moved = compared(jumped).set_index("allowance").loc["waste"]
    assert moved["verdict"] == "moved"
    said = re.fullmatch(
        r"it moved by \+([\d.]+); chance alone moves it by up to ([\d.]+)", moved["reason"]
    )
    assert float(said[1]) == pytest.approx(moved["new"] - moved["old"], abs=6e-4)
    assert float(said[1]) > float(said[2])
    table = compared(reveals)
    for row in table[table["verdict"].eq("held")].itertuples():
        assert re.fullmatch(
            r"it moved by [+−][\d.]+, within the [\d.]+ that chance alone can do", row.reason
        )
    lined = table.set_index("allowance").loc["reveal.lined"]
    assert lined["reason"] == "97 % of the uncertainty is still there"


def test_late_jobs_belong_to_the_evidence_of_the_quarter(reveals):
    early = desk_of("2025Q3", factor=0.6, seed=4)
    kept = decide(early.before, early.now, "keep", "wait", "AB")
    desk = lay_out(reveals.records, previous=kept)
    said = update_text.allowance_headline(desk, compared(desk)).text
    assert "24 new jobs (12 jobs of earlier quarters, late)" in said
    # No job lines a reveal: there the companions' weight alone decides.
    assert (compared(desk)["alone_sd"] < compared(reveals)["alone_sd"] + 1e-9).head(3).all()


def test_first_quarters_and_quarters_without_jobs_say_so():
    desk = desk_of("2025Q1")
    table = compared(desk)
    assert "First quarter" in update_text.allowance_headline(desk, table).text
    # 0.08, and 0.12 with a chance of three in ten.
    assert table["old"].iloc[0] == pytest.approx(0.092)
    records = invent(factor=0.6, seed=4)
    idle = lay_out(records, "2025Q4", calibrate(records))
    said = update_text.allowance_headline(idle, compared(idle)).text
    assert "2025Q4, 0 new jobs" in said
    assert "Nothing to accept" in said
    none = pulls(idle.jobs, idle.before, idle.now)
    assert update_text.pull_words(none).text == "No new job, so nothing pulls."


def test_the_decision_is_said_with_reason_and_what_waits(reveals):
    accepted = update_text.decision_words(reveals, decide(reveals.before, reveals.now)).text
    assert accepted == "**Accepted**: the new values of 2025Q4 stand."
    kept = decide(reveals.before, reveals.now, "keep", "A roll was lent.", "AB")
    said = update_text.decision_words(reveals, kept).text
    assert said.startswith("**Kept by AB**: the values of 2025Q3 stand in 2025Q4")
    assert "Reason: A roll was lent. 12 jobs are not counted now" in said
    assert "they count as late jobs" in said
    assert "other materials alike" not in said
    rows = firm(8, frame_tape=0.1).materials
    tape = replace(reveals, records=replace(reveals.records, materials=rows))
    assert "the sheet and the other materials alike" in update_text.decision_words(tape, kept).text


def test_pull_words_name_the_job_and_change_with_it(reveals):
    calm = update_text.pull_words(pulls(reveals.jobs, reveals.before, reveals.now)).text
    records = invent(factor=0.6, seed=4)
    records.jobs.loc[44, "used_rolls"] += 0.15
    desk = lay_out(records)
    table = pulls(desk.jobs, desk.before, desk.now)
    said = update_text.pull_words(table).text
    assert "The strongest pulls: J044 (crew Alder) pulls " in said
    assert "**No single record among the 12 new jobs decides the new values**" in calm
    assert said != calm
    hard = update_text.pull_words(table.assign(pull_sds=table["pull_sds"] * 10)).text
    assert hard.startswith("**Check the record of J044 before you accept**")


def test_drift_of_a_crew_and_of_whole_rolls_by_chance():
    records = invent(jobs=96)
    late = records.jobs["quarter"].eq("2025Q4") & records.jobs["crew"].eq("Birch")
    desk = lay_out(used_more(records, records.jobs["surface_m2"] * -0.12 / 75 * late))
    watch = drift_watch(desk.jobs, desk.chain)
    assert "crew Birch took less sheet than foretold" in update_text.watch_words(desk, watch).text
    past = update_text.watch_words(replace(desk, quarter="2026Q1"), watch).text
    assert "Nothing has drifted in 2026Q1" in past
    assert " Earlier: crew Birch took less" in past
    desk = lay_out(counted_whole(invent()))
    said = update_text.watch_words(desk, drift_watch(desk.jobs, desk.chain)).text
    assert "once in 200 jobs" in said
    assert "counting the last roll by halves" in update_text.cannot_tell_words(desk).text


def test_what_cannot_be_told_follows_the_jobs(reveals, monkeypatch):
    said = update_text.cannot_tell_words(reveals).text
    assert re.search(r"reveal.lined rests on the starting belief \((8|9)\d % of its", said)
    assert "0 jobs could tell of it" in said
    assert re.search(
        r"better known together than apart: waste and reveal.diagonal \(correlation −0.\d\d\)", said
    )
    monkeypatch.setattr(update_text, "ENTANGLED", 0.9)
    assert "together than apart" not in update_text.cannot_tell_words(reveals).text
    few = update_text.cannot_tell_words(desk_of(jobs=8)).text
    assert "crew Alder, crew Birch, crew Cedar and crew Damson have fewer than five jobs" in few


@pytest.mark.parametrize(("most", "checked"), [(0.49, False), (0.51, True)])
def test_a_pull_of_half_an_sd_wants_a_look_at_the_record(reveals, most, checked):
    table = pulls(reveals.jobs, reveals.before, reveals.now)
    scaled = table["pull_sds"] * most / table["pull_sds"].abs().max()
    said = update_text.pull_words(table.assign(pull_sds=scaled)).text
    assert said.startswith("**Check the record of") is checked
    assert ("none pulls by half an sd or more" in said) is not checked


def known_as(desk, shares, correlation=0.0):
    """The desk with allowances of which so much of the first uncertainty is left."""
    belief = desk.now.belief
    start = unchanged(desk.quarter, belief.prior).table()["sd"].to_numpy()
    sd = np.zeros(belief.mean.shape[1])
    sd[:4] = start * shares
    covariance = np.diag(sd**2)
    covariance[0, 1] = covariance[1, 0] = correlation * sd[0] * sd[1]
    alike = np.tile(belief.mean[0], (len(belief.mean), 1))
    everywhere = np.tile(covariance, (len(belief.mean), 1, 1))
    known = replace(belief, mean=alike, covariance=everywhere)
    return replace(desk, chain=(*desk.chain[:-1], replace(desk.now, belief=known)))


def test_an_allowance_rests_on_the_starting_belief_while_over_seven_tenths_are_left(reveals):
    said = update_text.cannot_tell_words(known_as(reveals, [0.71, 0.69, 0.71, 0.69])).text
    assert "waste rests on the starting belief (71 % of its uncertainty is left" in said
    assert "reveal.centre rests on the starting belief (71 %" in said
    assert said.count("rests on the starting belief") == 2


@pytest.mark.parametrize(("correlation", "tied"), [(0.59, False), (-0.61, True), (0.61, True)])
def test_allowances_are_better_known_together_beyond_a_correlation_of_six_tenths(
    reveals, correlation, tied
):
    said = update_text.cannot_tell_words(known_as(reveals, [0.5] * 4, correlation)).text
    sign = "−" if correlation < 0 else ""
    named = f"apart: waste and reveal.diagonal (correlation {sign}{abs(correlation)})" in said
    assert named is tied
    assert ("together than apart" in said) is tied


@pytest.mark.parametrize(("kept", "better"), [(0.91, False), (0.89, True)])
def test_depths_that_pull_a_factor_by_a_tenth_should_be_measured_better(
    reveals, monkeypatch, kept, better
):
    table = depth_reliability(reveals.jobs, 20.0).assign(kept=[1.0, kept])
    monkeypatch.setattr(update_text, "depth_reliability", lambda jobs, error: table)
    assert ("Measure the depths better" in update_text.depth_words(reveals).text) is better


def test_crews_with_fewer_than_five_jobs_and_lists_of_up_to_eight_jobs_are_named(reveals):
    jobs = {"Alder": 4, "Birch": 5}
    few = replace(reveals, chain=(*reveals.chain[:-1], replace(reveals.now, crew_jobs=jobs)))
    said = update_text.cannot_tell_words(few).text
    assert "crew Alder has fewer than five jobs" in said
    for count, words in ((8, "J1, J2, J3, J4, J5, J6, J7 and J8 of"), (9, "9 jobs of")):
        late = tuple(f"J{n + 1}" for n in range(count))
        now = replace(reveals.now, late_jobs=late)
        desk = replace(reveals, chain=(*reveals.chain[:-1], now))
        assert words in update_text.allowance_headline(desk, compared(desk)).text


def test_prior_words_judge_the_firm(reveals):
    wasteful = lay_out(used_more(invent(), 1.5))
    for desk, told in (
        (reveals, "these 48 jobs"),
        (wasteful, "differs from the starting belief"),
        (desk_of(factor=0.3), "much as the starting belief"),
    ):
        assert told in update_text.prior_words(prior_check(desk.jobs)).text
    none = update_text.prior_words(prior_check()).text
    assert none.startswith("No job has been seen. Of an ordinary job (250 m², 12 openings of 1.23")


def test_depth_words_carry_the_firms_own_figures(reveals):
    said = update_text.depth_words(reveals).text
    assert said.startswith("Reveal depths are taken as exact. If they were measured to ± 20 mm,")
    assert "depths of 350 ± 0 mm from job to job" in said
    assert "That is little" in said
    rough = lay_out(invent(factor=0.6, seed=4), depth_error_mm=150.0)
    told = update_text.depth_words(rough).text
    habits = rough.now.belief.habits
    assert told.startswith("Depths are measured to ± 150 mm, and differ by")
    assert f"drawn by {100 * (1 - habits.reliability):.0f} % to the usual 350 mm" in told
    wider = rough.now.table()["sd"] > reveals.now.table()["sd"]
    assert wider["reveal.diagonal"]
    bare = update_text.depth_words(lay_out(without_openings(invent()))).text
    assert bare == "No job holds reveals of known depth, so how they were measured does not matter."
