from dataclasses import replace

import pandas as pd
import pytest

from airstats.analysis.recording_value import WAYS
from airstats.reports import recording_charts, recording_text
from airstats.reports.display import show_table
from airstats.reports.shared_work import worked_out
from tests.invented import desk_of
from tests.pages import assert_drawn


def told(measured, error=5.0):
    """A table of `value_of_recording` in which measuring the last roll saves so much."""
    saving = [0.0, measured / 3, measured / 2, measured, measured / 4]
    table = pd.DataFrame({"way": list(WAYS)[:5], "cost": 820.0, "saving": saving})
    return table.assign(
        not_known=60 - table["saving"],
        saving_low=table["saving"] - error,
        saving_high=table["saving"] + error,
        worst=-20.0, best=90.0, minutes=10.0, jobs=61,
    )  # fmt: skip


def test_a_saving_is_said_with_its_interval_and_its_effort():
    said = recording_text.saving_words(told(33.0), "CU").text
    seconds = 60 * WAYS["last roll measured"].minutes
    assert (
        "would save about 33 ± 5 CU a year on average** (less a tape measure and"
        f" {seconds:g} seconds a job; the ± is the simulation's, of ten possible truths nine give"
        " −20 to +90 CU)" in said
    )
    assert "of the 820 CU that rolls left over and rolls short" in said
    assert "61 jobs, 60 CU would go" in said


def test_what_is_said_of_the_costs_is_what_stands_in_the_table():
    table = told(33.0).assign(cost=788.4, not_known=49.3)
    said = recording_text.saving_words(table, "CU").text
    assert "of the 788 CU that" in said
    assert "49 CU would go" in said
    columns = "cost not_known saving worst best"
    shown = show_table(table, "x", columns, "CU")._repr_mimebundle_()[0]["text/html"]
    assert shown.count("CU") == len(columns.split())


def test_both_parts_of_a_saving_are_rounded_alike():
    def give(saving, half):
        return recording_text._give_or_take(
            pd.Series({"saving": saving, "saving_high": saving + half})
        )

    assert give(26.3, 6.46) == "26 ± 6"
    assert give(1234.0, 96.0) == "1,200 ± 100"
    assert give(3.21, 0.94) == "3.2 ± 0.9"


def test_a_saving_that_chance_explains_is_no_saving():
    said = recording_text.saving_words(told(4.0), "").text
    assert "would save this firm little" in said
    assert "±" not in said
    assert "No way surely saves anything" in recording_text.ways_words(told(4.0), 45.0).text


def test_the_ways_are_told_the_best_first_after_their_work():
    measured, quarters = (recording_text.DONE[list(WAYS)[place]] for place in (3, 2))
    free = recording_text.ways_words(told(33.0), 0.0, "CU").text
    assert free.startswith(
        f"In CU a year, less the work at 0 CU an hour: {measured} 33, {quarters}"
    )
    table = told(33.0).assign(minutes=[0, 6, 6, 60, 0])
    said = recording_text.ways_words(table, 45.0, "CU").text
    # 33 less an hour at 45 is −12; 16.5 less a tenth of an hour is 12.
    assert said.startswith(f"In CU a year, less the work at 45 CU an hour: {quarters} 12, ")
    assert f" and {measured} −12. It is the mean" in said


def test_the_table_gives_each_way_its_intervals():
    table = recording_text.ways_table(told(33.0), "CU")
    row = table.frame.set_index("way").loc["last roll measured"]
    assert row["saves"] == "33 (28 to 38)"
    assert row["truths"] == "−20 to +90"
    assert "saving, CU (90 %)" in table._repr_html_()


def test_the_costs_of_a_year_are_told_by_job():
    desk = replace(desk_of(), recording=told(33.0))
    assert recording_text.cost_a_job(desk) == pytest.approx(820 / 61)


def test_a_run_works_it_out_once_and_every_page_shows_that(monkeypatch):
    desk = desk_of()
    asked = []
    table = told(33.0)
    monkeypatch.setattr(recording_text, "value_of_recording", lambda *_: asked.append(1) or table)
    desk = worked_out(desk)
    assert "33 ± 5" in recording_text.sentence(desk).text
    words, ways, nothing, both = recording_text.section(desk)
    assert nothing is None  # every job is measured
    assert asked == [1]
    assert "33 ± 5" in words.text
    assert both.left.data.equals(table)
    assert_drawn(both.left)
    axes = both.left.figure.axes[0]
    assert [bar.get_width() for bar in axes.patches] == pytest.approx(table["saving"].tolist()[1:])
    assert axes.get_xlabel().startswith("saved a year of 60 money that\nnot knowing costs")
    assert "last roll measured 33" in both.left.alt
    assert both.right.frame["way"].to_list() == list(WAYS)[1:5]
    assert ways.text.startswith("In money a year, less the work at 45 an hour: measuring what is")


def test_where_nothing_is_unknown_the_picture_is_drawn_all_the_same():
    none = told(0.0, 0.0).assign(not_known=0.0)
    axes = recording_charts.savings(none, "CU").figure.axes[0]
    assert axes.get_xlim()[1] > 1
    assert axes.get_xlabel().startswith("saved a year of 0 CU that not knowing costs")


def test_the_owner_reads_in_one_sentence_whether_measuring_pays(desk):
    known = replace(desk, recording=told(33.0))
    said = recording_text.briefly(known).text
    assert "(a tape measure and 15 seconds a job) would save about 33 a year; of ten" in said
    assert said.endswith("of ten possible truths nine give −20 to +90.")
    assert recording_text.briefly(replace(desk, recording=told(4.0))).text.endswith("firm little.")
