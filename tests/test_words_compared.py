from dataclasses import replace

import pytest

from airstats import words_compared
from airstats.desk import lay_out
from airstats.hindsight import look_back
from tests.invented import invent


@pytest.fixture(scope="module")
def reveals():
    return lay_out(invent(factor=0.6))


@pytest.fixture(scope="module")
def crew():
    return lay_out(invent(factor=0.2, reveal_mm=100.0, crew_extra=0.25))


@pytest.fixture(scope="module")
def nothing():
    return lay_out(invent(priced_reveals=True))


def test_no_trend_where_there_is_none(reveals, nothing):
    for desk in (reveals, nothing):
        said = words_compared.trend_words(desk).text
        assert "shows no trend" in said
        assert said.endswith("No cause by itself rises or falls.")


@pytest.mark.parametrize(("step", "way"), [(0.2, "rises, by 0.2"), (-0.2, "falls, by −0.2")])
def test_a_trend_is_said_with_its_cause(step, way):
    records = invent(priced_reveals=True)
    quarter = records.jobs["quarter"].str[-1].astype(float)
    used = records.jobs["used_rolls"] + step * quarter
    desk = lay_out(replace(records, jobs=records.jobs.assign(used_rolls=used)))
    said = words_compared.trend_words(desk).text
    assert f"The overrun of a job {way}" in said
    assert f"unexplained {way[:4]} by" in said


def test_one_quarter_has_no_trend():
    assert "No trend to be told" in words_compared.trend_words(lay_out(invent(), "2025Q1")).text


def test_a_crew_is_named_only_where_it_stands_out(crew, nothing):
    said = words_compared.crew_words(crew).text
    assert said.startswith("Crew Damson uses ")
    assert "Below the firm: " in said
    said = words_compared.crew_words(nothing).text
    assert said.startswith("Nothing to find: no crew can be told from the firm; chance explains")
    assert "chance explains" in said


def test_a_crew_with_three_bad_jobs_is_not_blamed():
    records = invent(jobs=48, priced_reveals=True)
    crew = records.jobs["crew"].where(records.jobs.index >= 3, "Rowan")
    used = records.jobs["used_rolls"] + 0.15 * (records.jobs.index < 3)
    desk = lay_out(replace(records, jobs=records.jobs.assign(crew=crew, used_rolls=used)))
    said = words_compared.crew_words(desk).text
    assert said.startswith("Nothing to find: no crew can be told from the firm; chance explains")
    assert "3 jobs, too few)" in said


def test_without_crews_or_with_one_it_says_so():
    for name, told in (("", "name no crew"), ("Elm", "Crew Elm did every job")):
        records = invent(jobs=12)
        desk = lay_out(replace(records, jobs=records.jobs.assign(crew=name)))
        assert told in words_compared.crew_words(desk).text


def test_cuts_alike_are_said_to_be(reveals, crew):
    said = words_compared.cut_words(reveals).text
    assert "Not to be told apart: corner to corner and slit down the middle." in said
    assert said != words_compared.cut_words(crew).text
    assert words_compared.cut_table(reveals)["cut"].tolist()[0] == "corner to corner"


def test_without_reveals_no_cut_is_compared():
    records = invent(jobs=12)
    desk = lay_out(replace(records, openings=records.openings.iloc[:0]))
    assert words_compared.cut_words(desk).text.startswith("No job has a reveal")


def test_hindsight_says_what_was_saved_or_that_chance_explains_it(reveals, nothing):
    found = look_back(reveals.records)
    cost = found.table["difference"].iloc[-1]
    said = words_compared.hindsight_words(found).text
    assert cost < 0
    assert f"would have cost {-cost:,.0f} less**" in said
    short = found.table.iloc[0]
    assert f"{short['foretold']:.0f} instead of {short['really']:.0f} (" in said
    said = words_compared.hindsight_words(look_back(nothing.records)).text
    assert "which chance explains**" in said
    assert said.endswith("The sheet itself is bought either way.")


def test_hindsight_at_other_costs_may_say_more(reveals):
    said = words_compared.hindsight_words(look_back(reveals.records, 10, 1000)).text
    assert "at 10 a roll left over and 1,000 a roll short" in said


def test_hindsight_of_one_quarter_gives_the_reason():
    said = words_compared.hindsight_words(look_back(lay_out(invent(), "2025Q1").records)).text
    assert "cannot be told yet" in said
    assert "two quarters or more" in said
