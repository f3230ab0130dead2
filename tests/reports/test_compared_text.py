import numpy as np
import pytest

from airstats.backtests.against_real_prices import look_back
from airstats.reports import compared_text
from airstats.reports.desk import lay_out
from tests.invented import change, desk_of, invent, used_more, without_openings


def test_no_trend_where_there_is_none(reveals, nothing):
    for desk in (reveals, nothing):
        said = compared_text.trend_words(desk).text
        assert "shows no trend" in said
        assert said.endswith("No cause by itself rises or falls.")
    assert "No trend to be told" in compared_text.trend_words(desk_of("2025Q1")).text


@pytest.mark.parametrize(("step", "way"), [(0.2, "rises, by 0.2"), (-0.2, "falls, by −0.2")])
def test_a_trend_is_said_with_its_cause(step, way):
    records = invent(priced_reveals=True)
    quarter = records.jobs["quarter"].str[-1].astype(float)
    desk = lay_out(used_more(records, step * quarter))
    said = compared_text.trend_words(desk).text
    assert f"The overrun of a job {way}" in said
    assert f"unexplained {way[:4]} by" in said


def test_a_crew_is_named_only_where_it_stands_out(crew, nothing):
    said = compared_text.crew_words(crew).text
    assert said.startswith("Crew Damson uses ")
    assert "Below the firm: " in said
    said = compared_text.crew_words(nothing).text
    assert said.startswith("Nothing to find: no crew can be told from the firm; chance explains")


def test_a_crew_with_three_bad_jobs_is_not_blamed():
    records = used_more(invent(priced_reveals=True), 0.15 * (np.arange(48) < 3))
    rowan = records.jobs["crew"].where(records.jobs.index >= 3, "Rowan")
    said = compared_text.crew_words(lay_out(change(records, crew=rowan))).text
    assert said.startswith("Nothing to find: no crew can be told from the firm; chance explains")
    assert "3 jobs, too few)" in said


@pytest.mark.parametrize(
    ("name", "told"), [("", "name no crew"), ("Elm", "Crew Elm did every job")]
)
def test_without_crews_or_with_one_it_says_so(name, told):
    desk = lay_out(change(invent(jobs=12), crew=name))
    assert told in compared_text.crew_words(desk).text


def test_cuts_alike_are_said_to_be_and_none_without_reveals(reveals, crew):
    said = compared_text.cut_words(reveals).text
    assert "Not to be told apart: corner to corner and slit down the middle." in said
    assert said != compared_text.cut_words(crew).text
    assert compared_text.cut_table(reveals)["cut"].tolist()[0] == "corner to corner"
    desk = lay_out(without_openings(invent(jobs=12)))
    assert compared_text.cut_words(desk).text.startswith("No job has a reveal")


def test_hindsight_says_what_was_saved_at_which_costs_or_why_not(reveals, nothing):
    found = look_back(reveals.records)
    cost = found.table["difference"].iloc[-1]
    said = compared_text.hindsight_words(found).text
    assert cost < 0
    assert f"would have cost {-cost:,.0f} less**" in said
    short = found.table.iloc[0]
    assert f"{short['foretold']:.0f} instead of {short['really']:.0f} (" in said
    said = compared_text.hindsight_words(look_back(nothing.records)).text
    assert "which chance explains**" in said
    assert said.endswith("The sheet itself is bought either way.")
    said = compared_text.hindsight_words(look_back(reveals.records, 10, 1000)).text
    assert "at 10 a roll left over and 1,000 a roll short" in said
    said = compared_text.hindsight_words(look_back(desk_of("2025Q1").records)).text
    assert "cannot be told yet" in said
    assert "two quarters or more" in said
