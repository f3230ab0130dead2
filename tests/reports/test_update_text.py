import re
from dataclasses import replace

import numpy as np
import pytest

from airstats.analysis.allowance_changes import NOT_ENOUGH, compare_allowances
from airstats.analysis.case_deletion import pulls
from airstats.analysis.depth_error import depth_reliability
from airstats.analysis.ewma_chart import drift_watch
from airstats.base.number_text import signed
from airstats.model.allowances import unchanged
from airstats.model.decisions import decide
from airstats.model.quarterly_update import calibrate
from airstats.reports import update_text
from airstats.reports.desk import lay_out
from tests.invented import (
    change,
    counted_whole,
    desk_of,
    firm,
    invent,
    keep,
    used_more,
    without_openings,
)


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


def verdict(desk, decision="accept", reason="", by="", **changed):
    """What the first sentence says, with the comparison, watch or pulls changed."""
    made = {
        "table": compared(desk),
        "watch": drift_watch(desk.jobs, desk.chain, desk.previous),
        "pulled": pulls(desk.jobs, desk.before, desk.now),
    }
    decided = decide(desk.before, desk.now, decision, reason, by)
    return update_text.verdict_words(desk, decided, **(made | changed)).text


def test_new_values_are_accepted_or_looked_at(reveals, jumped):
    held = compared(reveals).assign(verdict="held")
    assert verdict(reveals, table=held) == (
        "**2025Q4: accept the new values. 12 new jobs moved no allowance further than chance"
        " would.** The new values are accepted in this run; how to keep the last ones is said at"
        " the end."
    )
    said = verdict(jumped)
    assert said.startswith("**2025Q4: look before you accept: waste moved by +")
    moved = compared(jumped).set_index("allowance").loc["waste"]
    assert f"waste moved by +{100 * moved['move']:.1f} points, where chance moves it by" in said
    assert f"up to {100 * moved['by_chance']:.1f} points" in said
    assert "all jobs took more sheet than foretold (from J0" in said
    assert "keep the last values" in said


def test_what_accepting_does_to_values_that_the_quarter_tells_little_of_is_said(reveals):
    table = compared(reveals).assign(verdict=["held", "held", NOT_ENOUGH, NOT_ENOUGH])
    said = verdict(reveals, table=table)
    assert "Of slit and lined the quarter tells too little: they stay nearly as before." in said
    one = table.assign(verdict=["held", "held", "held", NOT_ENOUGH])
    assert "Of lined the quarter tells too little: it stays nearly" in verdict(reveals, table=one)
    # So it is: where more than 95 % of the sd is left, the mean moves by less than a third of it.
    told = compared(reveals).query("verdict == @NOT_ENOUGH")
    assert len(told)
    assert (told["move"].abs() < told["old_sd"] / 3).all()
    kept = verdict(reveals, "keep", "why", "AB", table=table)
    assert "too little" not in kept
    assert "accepted" not in kept


def test_a_drift_is_said_and_looked_at_before_the_values_are_accepted(reveals, jumped):
    held = compared(jumped).assign(verdict="held")
    assert verdict(jumped, table=held).startswith(
        "**2025Q4: look before you accept: all jobs took more sheet"
    )
    calm = update_text.watch_words(reveals, drift_watch(reveals.jobs, reveals.chain)).text
    assert "**Nothing has drifted" in calm
    assert "once in 560 jobs" in calm
    said = update_text.watch_words(jumped, drift_watch(jumped.jobs, jumped.chain)).text
    assert "**Drift in 2025Q4: all jobs took more sheet than foretold (line crossed at J0" in said
    assert re.search(r"mean of that quarter \+\d+ m² a job", said)
    few = update_text.watch_words(reveals, drift_watch(reveals.jobs, reveals.chain).head(3)).text
    assert few == "**3 jobs cannot show a drift**: from 8 jobs on one may."


def test_only_lines_that_left_their_limits_are_drawn_or_that_of_all_jobs(reveals, jumped):
    for desk, lines in ((reveals, {"all jobs"}), (jumped, None)):
        watch = drift_watch(desk.jobs, desk.chain)
        lines = lines or set(watch.loc[watch["outside"], "line"])
        picture = list(update_text.drift(desk))[1]
        assert set(picture.data["line"]) == lines
        assert sum(bool(a.get_title(loc="left")) for a in picture.figure.axes) == len(lines)


def test_the_table_writes_what_an_estimator_writes(reveals):
    (table,) = (part for part in update_text.side_by_side(reveals, reveals.now)
                if not hasattr(part, "figure"))  # fmt: skip
    told, shown = compared(reveals).set_index("allowance"), table.frame.set_index("allowance")
    waste, slit = told.loc["waste"], told.loc["reveal.centre"]
    half = (waste["new_high"] - waste["new_low"]) / 2
    assert shown.loc["waste", "new_value"] == f"{100 * waste['new']:.1f} ± {100 * half:.1f}"
    assert shown.loc["reveal.centre", "last_value"] == f"{slit['old']:.2f} ± {slit['old_half']:.2f}"
    assert shown.loc["waste", "moved_by"] == signed(100 * waste["move"], 1)
    assert shown.loc["waste", "chance_moves"] == f"{100 * waste['by_chance']:.1f}"
    words = table._shown()
    assert words["allowance"].tolist() == ["waste", "corner to corner", "slit", "lined"]
    assert (told["verdict"] == shown["verdict"]).all()


def test_late_jobs_belong_to_the_evidence_of_the_quarter(reveals):
    early = desk_of("2025Q3", factor=0.6, seed=4)
    kept = decide(early.before, early.now, "keep", "wait", "AB")
    desk = lay_out(reveals.records, previous=kept)
    assert "24 new jobs (12 jobs of earlier quarters, late)" in verdict(desk)
    # No job lines a reveal: there the companions' weight alone decides.
    assert (compared(desk)["alone_sd"] < compared(reveals)["alone_sd"] + 1e-9).head(3).all()


def test_first_quarters_and_quarters_without_jobs_say_so():
    desk = desk_of("2025Q1")
    table = compared(desk)
    said = verdict(desk)
    assert said.startswith("**2025Q1: accept. The new values are common practice, moved as far as")
    assert "your first 12 jobs can tell" in said
    alone = pulls(desk.jobs, desk.before, desk.now)
    strong = alone.assign(pull_sds=alone["pull_sds"] * 10)
    # There is nothing before a first quarter that could be kept.
    assert "correct it and run again." in verdict(desk, pulled=strong)
    # 0.08, and 0.12 with a chance of three in ten.
    assert table["old"].iloc[0] == pytest.approx(0.092)
    shown = list(update_text.side_by_side(desk, desk.now))[1]._shown()
    assert list(shown)[1] == "common practice"
    assert shown["common practice"].iloc[0].startswith("9.2 ± ")
    records = invent(factor=0.6, seed=4)
    idle = lay_out(records, "2025Q4", calibrate(records))
    assert verdict(idle).startswith("**2025Q4: nothing to accept, for the quarter holds no new job")
    none = pulls(idle.jobs, idle.before, idle.now)
    assert update_text.pull_words(none).text == "No new job, so nothing pulls."
    assert len(list(update_text.pulls(idle))) == 1
    assert [part.text for part in update_text.drift(idle)] == ["No new job, so no drift can show."]


def test_a_quarter_of_one_job_reads_well():
    records = invent(factor=0.6, seed=4)
    one = lay_out(keep(records, np.arange(48) < 13))
    assert verdict(one).startswith("**2025Q2: accept the new values. 1 new job moved no allowance")
    pulled = pulls(one.jobs, one.before, one.now)
    said = update_text.pull_words(pulled).text
    assert said.startswith("**J012 (crew Alder) is the only new job**: it moves ")
    assert len(list(update_text.pulls(one))) == 1
    words, picture = update_text.paths(one, one.now)
    assert " % of the laid sheet (common practice) to " in words.text
    assert len(picture.figure.axes[0].lines[0].get_xdata()) == 3
    assert picture.data["quarter"].unique().tolist() == ["start", "2025Q1", "2025Q2"]


def test_paths_set_out_from_the_file_before(reveals):
    early = desk_of("2025Q2", factor=0.6, seed=4)
    desk = lay_out(reveals.records, previous=early.now)
    words, picture = update_text.paths(desk, desk.now)
    first, last = (
        f"{100 * step.table()['mean']['waste']:.1f} ± " for step in (early.now, reveals.now)
    )
    assert words.text.startswith(f"**Waste went from {first}")
    assert f" % of the laid sheet (2025Q2) to {last}" in words.text
    assert picture.data["quarter"].unique().tolist() == ["2025Q2", "2025Q3", "2025Q4"]
    late = desk_of("2025Q3", factor=0.6, seed=4)
    for desk in (lay_out(reveals.records, previous=late.now), desk_of("2025Q1", jobs=12)):
        (words,) = update_text.paths(desk, desk.now)
        assert words.text.endswith("**, the one step so far.")


def test_the_decision_is_said_with_reason_and_what_waits(reveals):
    said = verdict(reveals, "accept", "looks right", "AB")
    assert (
        "The new values are accepted by AB; how to keep the last ones is said at the end." in said
    )
    assert said.endswith("Reason: looks right.")
    kept = ("keep", "A roll was lent.", "AB")
    said = verdict(reveals, *kept)
    assert said.startswith("**2025Q4: kept by AB. The values of 2025Q3 stand**, a little less")
    assert "Reason: A roll was lent. 12 jobs wait; at the next accept they count as" in said
    rows = firm(8, frame_tape=0.1).materials
    tape = replace(reveals, records=replace(reveals.records, materials=rows))
    assert "for the sheet and the other materials alike**" in verdict(tape, *kept)
    decided = decide(reveals.before, reveals.now, *kept)
    table = list(update_text.side_by_side(reveals, decided))[1]
    assert "the last values stand in 2025Q4" in table.caption
    assert "(2025Q4, not accepted)" in next(iter(update_text.paths(reveals, decided))).text


def test_the_standing_values_are_said_and_what_is_common_practice(reveals, crew):
    said = update_text.standing_words(reveals.now, ["lined"]).text
    table = reveals.now.table()
    waste, slit = table.loc["waste"], table.loc["reveal.centre"]
    half = (slit["high"] - slit["low"]) / 2
    assert said.startswith(f"For waste add {100 * waste['mean']:.1f} ± ")
    assert f"{slit['mean']:.2f} ± {half:.2f} m² slit" in said
    assert "lined is common practice, for no job of yours tells of it" in said
    assert "No crew surely differs from the firm." in said
    everything = [*"abcd"]
    assert "all of it is common practice still" in (
        update_text.standing_words(reveals.now, everything).text
    )
    apart = update_text.standing_words(crew.now, []).text
    damson = crew.now.crew_table().loc["Damson"]
    assert f"Crew Damson takes {100 * damson['mean']:.1f} ±" in apart
    assert "more than the firm's waste" in apart


def test_pull_words_name_the_job_and_change_with_it(reveals):
    calm = update_text.pull_words(pulls(reveals.jobs, reveals.before, reveals.now)).text
    records = invent(factor=0.6, seed=4)
    records.jobs.loc[44, "used_rolls"] += 0.15
    desk = lay_out(records)
    table = pulls(desk.jobs, desk.before, desk.now)
    said = update_text.pull_words(table).text
    assert "the strongest, J044 (crew Alder), moves " in said
    assert calm.startswith("**None of the 12 new jobs decides**")
    assert said != calm
    hard = table.assign(pull_sds=table["pull_sds"] * 10)
    said = update_text.pull_words(hard).text
    assert said.startswith("**Look at the record of J044 (crew Alder) before you accept**")
    assert re.search("look before you accept: J0.. alone moves ", verdict(desk, pulled=hard))


def test_pulls_are_one_row_a_job_and_drawn_only_where_one_decides(reveals, monkeypatch):
    found = pulls(reveals.jobs, reveals.before, reveals.now)
    rows = update_text.by_job(found)
    assert len(rows) == 12
    assert rows["most_share"].is_monotonic_decreasing
    job = rows.iloc[0]
    own = found[found["job_id"].eq(job["job_id"])].set_index("allowance")
    assert job["waste_points"] == pytest.approx(100 * own.loc["waste", "pull"])
    assert job["pull.centre"] == pytest.approx(own.loc["reveal.centre", "pull"])
    assert job["most_share"] == pytest.approx(own["pull_sds"].abs().max() / 1.6449)
    kinds = [type(part).__name__ for part in update_text.pulls(reveals) if part is not None]
    assert kinds == ["Words", "Table"]
    monkeypatch.setattr(update_text, "STRONG", 0.01)
    kinds = [type(part).__name__ for part in update_text.pulls(reveals) if part is not None]
    assert kinds == ["Words", "Picture", "Table"]


def test_drift_of_a_crew_and_of_whole_rolls_by_chance():
    records = invent(jobs=96)
    late = records.jobs["quarter"].eq("2025Q4") & records.jobs["crew"].eq("Birch")
    desk = lay_out(used_more(records, records.jobs["surface_m2"] * -0.08 / 75 * late))
    watch = drift_watch(desk.jobs, desk.chain)
    assert "crew Birch took less sheet than foretold" in update_text.watch_words(desk, watch).text
    past = update_text.watch_words(replace(desk, quarter="2026Q1"), watch).text
    assert "Nothing has drifted in 2026Q1" in past
    assert " Earlier: crew Birch took less" in past
    desk = lay_out(counted_whole(invent()))
    said = update_text.watch_words(desk, drift_watch(desk.jobs, desk.chain)).text
    assert "once in 200 jobs" in said
    assert "without" not in said
    wrong = desk.now.new_jobs[0]
    named = replace(desk.now, suspects={wrong: 0.9})
    odd = replace(desk, chain=(*desk.chain[:-1], named))
    watch = drift_watch(odd.jobs, odd.chain)
    assert wrong not in watch["job_id"].tolist()
    said = update_text.watch_words(odd, watch).text
    assert f"crews; without {wrong}, likely recorded wrong)" in said
    assert "Every job counts whole rolls" in update_text.cannot_tell_words(desk).text


def test_what_cannot_be_told_follows_the_jobs_in_three_lines(reveals, monkeypatch):
    said = update_text.cannot_tell_words(reveals).text
    assert "lined" not in said
    assert "Better known together than apart: waste with corner to corner" in said
    monkeypatch.setattr(update_text, "ENTANGLED", 0.9)
    assert "together than apart" not in update_text.cannot_tell_words(reveals).text
    few = update_text.cannot_tell_words(lay_out(counted_whole(invent(jobs=8)))).text
    assert "No crew has five jobs yet, so none can be told from the firm by its own" in few
    assert few.count("\n") == 2
    some = change(invent(jobs=12), crew=["Alder"] * 9 + ["Birch", "Cedar", "Cedar"])
    said = update_text.cannot_tell_words(lay_out(some)).text
    assert "Crews Birch and Cedar have fewer than five jobs" in said


@pytest.mark.parametrize(("most", "checked"), [(0.29, False), (0.31, True)])
def test_a_pull_of_three_tenths_of_the_interval_wants_a_look(reveals, most, checked):
    table = pulls(reveals.jobs, reveals.before, reveals.now)
    scaled = table["pull_sds"] * most * 1.6449 / table["pull_sds"].abs().max()
    strong = table.assign(pull_sds=scaled)
    said = update_text.pull_words(strong).text
    assert said.startswith("**Look at the record of") is checked
    assert ("None of the 12 new jobs decides" in said) is not checked
    assert ("look before you accept" in verdict(reveals, pulled=strong)) is checked
    few = strong[strong["job_id"].isin(["J036", "J037", "J038"])]
    assert "Of so few jobs each moves much" in update_text.pull_words(few).text


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


def test_an_allowance_rests_on_common_practice_while_half_is_not_learnt(reveals, monkeypatch):
    monkeypatch.setattr(update_text, "_compared", compared)
    said = update_text.cannot_tell_words(known_as(reveals, [0.71, 0.69, 0.71, 0.69])).text
    assert "Waste (48 jobs) and slit (24 jobs) rest more on common practice" in said
    said = update_text.cannot_tell_words(known_as(reveals, [0.5, 0.69, 0.5, 0.99])).text
    assert "rest" not in said


def test_what_no_job_tells_of_is_common_practice_however_narrow(reveals):
    table = compared(reveals)
    assert update_text.unlearnt(reveals, table) == ["lined"]
    little = table.assign(learnt=[0.09, 0.5, 0.11, 0.5])
    assert update_text.unlearnt(reveals, little) == ["waste", "lined"]
    later = replace(reveals, previous=reveals.before)
    assert update_text.unlearnt(later, table.assign(learnt=0.5)) == []


@pytest.mark.parametrize(("correlation", "tied"), [(0.59, False), (-0.61, True), (0.61, True)])
def test_allowances_are_better_known_together_beyond_a_correlation_of_six_tenths(
    reveals, correlation, tied
):
    said = update_text.cannot_tell_words(known_as(reveals, [0.5] * 4, correlation)).text
    named = "apart: waste with corner to corner;" in said
    assert named is tied
    assert ("together than apart" in said) is tied


@pytest.mark.parametrize(("kept", "better"), [(0.91, False), (0.89, True)])
def test_depths_that_pull_a_factor_by_a_tenth_should_be_measured_better(
    reveals, monkeypatch, kept, better
):
    table = depth_reliability(reveals.jobs, 20.0).assign(kept=[1.0, kept])
    monkeypatch.setattr(update_text, "depth_reliability", lambda jobs, error: table)
    said = update_text.cannot_tell_words(reveals).text
    assert ("measured to ± 33 mm" in said) is better


def test_crews_with_fewer_than_five_jobs_and_lists_of_up_to_eight_jobs_are_named(reveals):
    jobs = {"Alder": 4, "Birch": 5}
    few = replace(reveals, chain=(*reveals.chain[:-1], replace(reveals.now, crew_jobs=jobs)))
    said = update_text.cannot_tell_words(few).text
    assert "Crew Alder has fewer than five jobs" in said
    for count, words in ((8, "J1, J2, J3, J4, J5, J6, J7 and J8 of"), (9, "9 jobs of")):
        late = tuple(f"J{n + 1}" for n in range(count))
        now = replace(reveals.now, late_jobs=late)
        desk = replace(reveals, chain=(*reveals.chain[:-1], now))
        assert words in verdict(desk)


def test_rough_depths_are_told_in_the_firms_own_figures():
    rough = lay_out(invent(factor=0.6, seed=4), depth_error_mm=150.0)
    told = update_text.cannot_tell_words(rough).text
    habits = rough.now.belief.habits
    assert told.startswith("- Depths are measured to ± 247 mm, so each is drawn by")
    assert f"by {100 * (1 - habits.reliability):.0f} % to the usual 350 mm" in told
    bare = update_text.cannot_tell_words(lay_out(without_openings(invent()))).text
    assert "measured to" not in bare
