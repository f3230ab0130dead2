"""The owner's sentences on firms whose truth is known: they must say it, and change with it."""

import re

import numpy as np
import pytest

from airstats.analysis.overrun_views import usual_split
from airstats.backtests.against_real_prices import look_back
from airstats.base.firm import Firm
from airstats.pricing.cut_prices import CutCosts
from airstats.pricing.firm_cuts import cut_terms
from airstats.reports import owner_text
from airstats.reports.desk import lay_out
from tests.invented import change, counted_whole, desk_of, invent, used_more, without_openings


def over(desk):
    return desk.jobs.table["used_rolls"] - desk.jobs.table["estimated_rolls"]


def test_headline_where_reveals_dominate(reveals):
    said = owner_text.headline(reveals).text
    total = over(reveals).sum()
    assert said.startswith(f"**You used {total:.1f} rolls more than priced over 48 jobs, about ")
    assert f"about {total * 150:,.0f} of your money at your roll prices; reveals account" in said
    rolls, money = re.search(
        r"reveals account for ([\d.]+) ± [\d.]+ rolls \(([\d,]+) ± [\d,]+ of your money\)", said
    ).groups()
    assert float(money.replace(",", "")) == pytest.approx(150 * float(rolls), rel=0.05)


def test_many_jobs_bring_the_reveals_near_the_truth():
    # The truth: prices held laps and waste, so reveals are the whole of it.
    desk = desk_of(jobs=192, factor=0.6)
    said = owner_text.headline(desk).text
    found = re.search(r"reveals account for ([\d.]+) ± ([\d.]+) rolls", said)
    assert abs(float(found[1]) - over(desk).sum()) < float(found[2]) < 10


def test_headline_where_a_crew_dominates(crew):
    said = owner_text.headline(crew).text
    found = re.search(r"; crew Damson accounts for ([\d.]+) ± ([\d.]+) rolls \(", said)
    damson = crew.jobs.table["crew"].eq("Damson")
    truth = 0.25 * crew.jobs.table.loc[damson, "laid_m2"].sum() / 75
    assert abs(float(found[1]) - truth) < 1.2 * float(found[2])
    assert "reveals account" not in said


def test_headline_where_there_is_nothing_to_find(nothing):
    said = owner_text.headline(nothing).text
    assert said.startswith("**Nothing to find: you used 0.1 rolls more than priced over 48 jobs")
    assert said.endswith("no more than chance makes.**")
    assert "account" not in said
    assert owner_text.headline(desk_of(jobs=1)).text.startswith("**Nothing to find: ")


def test_headline_where_prices_held_too_much():
    records = invent(jobs=12, priced_reveals=True)
    ample = change(records, estimated_rolls=records.jobs["estimated_rolls"] + 1)
    said = owner_text.headline(lay_out(ample)).text
    assert "rolls fewer than priced" in said
    assert "your prices held more than the jobs took" in said


def test_without_a_price_there_is_no_money():
    desk = lay_out(invent(jobs=12, price=np.nan))
    said = owner_text.headline(desk).text + owner_text.quarter_money(desk).text
    assert "no roll_price in the records or in firm.toml, so no money" in said
    assert "nan" not in said
    assert "worth" not in said
    assert "overrun_money" not in owner_text.worst_table(desk)
    some = lay_out(invent(jobs=12, price=np.repeat([np.nan, 150.0], 6)))
    assert "in the 6 jobs with a price" in owner_text.headline(some).text


def test_shares_name_every_cause_with_its_interval(reveals, crew):
    said = owner_text.shares(reveals).text
    split = usual_split(reveals.jobs, reveals.now).set_index("cause")["mean"]
    for name in ("reveals", "laps", "waste", "crews", "unexplained"):
        assert name in said
    assert "whole-roll rounding" not in said  # Counts and prices are exact: there is none.
    assert f"reveals {split['reveals']:.1f} ± " in said
    assert f"less {-split['already_priced']:.0f} that was priced beyond the bare surface" in said
    assert said != owner_text.shares(crew).text


def test_whole_rolls_and_prices_below_the_surface_have_their_part():
    desk = lay_out(counted_whole(invent(factor=0.6), "estimated_rolls"))
    split = usual_split(desk.jobs, desk.now).set_index("cause")
    assert split["mean"].sum() == pytest.approx(over(desk).sum())
    assert split.loc["whole_rolls", "high"] - split.loc["whole_rolls", "low"] > 2
    assert re.search(r"whole-roll rounding −?[\d.]+ ± [\d.]+", owner_text.shares(desk).text)
    records = invent(jobs=12)
    short = change(records, estimated_rolls=records.jobs["estimated_rolls"] - 1.5)
    assert "of the bare surface that was not priced" in owner_text.shares(lay_out(short)).text


def test_a_quarter_over_and_a_quarter_under(reveals):
    said = owner_text.quarter_money(reveals).text
    assert re.fullmatch(r"In 2025Q4 alone: [\d.]+ rolls over in 12 jobs, worth \d+\.", said)
    less = change(reveals.records, used_rolls=1.0)
    assert "rolls under in 12 jobs" in owner_text.quarter_money(lay_out(less)).text


def test_advice_names_its_units_and_a_crew_that_stands_out(reveals, nothing, crew):
    said = owner_text.advice(reveals).text
    assert said.startswith("**What to change:** price the laid sheet")
    factor = reveals.now.table().loc["reveal.diagonal", "mean"]
    assert f"for each m² of reveal {factor:.2f} ± " in said
    assert said.endswith("m² of sheet; no flat percentage.")
    assert "lined" not in said  # No job was cut so.
    said = owner_text.advice(nothing).text
    assert said.startswith("**Nothing need change.**")
    assert "flat percentage" not in said
    said = owner_text.advice(crew).text
    assert re.search(r"And see why crew Damson uses \d+\.\d ± \d+\.\d % of laid sheet more", said)
    assert "crew" not in owner_text.advice(reveals).text


@pytest.mark.parametrize(
    ("name", "reason"), [("Elm", "as crew Elm did every job"), ("", "as no crew is named")]
)
def test_one_crew_cannot_be_told_from_waste(reveals, name, reason):
    told = "waste cannot be told from the crews' part"
    assert told not in owner_text.cannot_separate(reveals).text
    desk = lay_out(change(invent(jobs=12), crew=name))
    assert f"{told}, {reason}" in owner_text.cannot_separate(desk).text


def test_what_cannot_be_separated_follows_the_records(reveals, crew):
    # Few m² of reveal: each cut is hardly learnt. Many: learnt, but traded against waste.
    said = owner_text.cannot_separate(crew).text
    assert "reveals corner to corner (24 jobs) and slit (24 jobs) common" in said
    assert "reveals and waste took" not in said
    said = owner_text.cannot_separate(reveals).text
    assert re.search(r"reveals and waste took \d+ ± \d+ rolls together", said)
    assert "common practice" not in said


def test_any_job_is_taken_apart_or_the_worst_one(reveals, crew):
    row = reveals.jobs.table.set_index("job_id").loc["J007"]
    said = owner_text.job_words(reveals, "j007").text
    assert said.startswith(f"**J007** ({row['quarter']}) was priced at")
    assert f"used {row['used_rolls']:g}: " in said
    split = owner_text.job_split(reveals, "J007")
    assert split["mean"].sum() == pytest.approx(row["used_rolls"] - row["estimated_rolls"])
    worst = reveals.jobs.table["job_id"][over(reveals).idxmax()]
    said = owner_text.job_words(reveals).text
    assert said.startswith(f"**{worst}** (")
    assert "the job that ran over most," in said
    assert said != owner_text.job_words(crew).text
    assert "near it are" in owner_text.job_words(reveals, "J0077").text
    assert owner_text.job_split(reveals, "J0077").empty
    said = owner_text.job_words(crew).text
    assert re.search(r"over\. The main cause: crews, 1\.\d ± 0\.1 rolls\.$", said)


def test_a_job_whose_record_looks_wrong_is_said_to():
    records = invent(priced_reveals=True)
    records.jobs.loc[5, "used_rolls"] += 3
    said = owner_text.job_words(lay_out(records)).text
    assert said.startswith("**J005**")
    assert "The largest part is unexplained: " in said
    assert re.search(r" Look at this record first: the chance that it is wrong is .*\d %\.$", said)


def test_worst_jobs_are_few_or_many_or_none(reveals, crew, nothing):
    said = [owner_text.worst_words(desk).text for desk in (reveals, crew, nothing)]
    assert "so it is spread over many jobs. Their main cause: reveals" in said[0]
    assert "so a few jobs make it. Their main cause: crews in 10" in said[1]
    assert said[2].endswith("nothing to find here.")
    desk = lay_out(change(invent(jobs=12), used_rolls=1.0))
    assert owner_text.worst_words(desk).text == "No job ran over."


def test_no_trend_where_there_is_none(reveals, nothing):
    for desk in (reveals, nothing):
        said = owner_text.trend_words(desk).text
        assert "shows no trend" in said
        assert said.endswith("No cause by itself rises or falls.")
    assert "No trend to be told" in owner_text.trend_words(desk_of("2025Q1")).text


@pytest.mark.parametrize(("step", "way"), [(0.2, "rises, by 0.2"), (-0.2, "falls, by −0.2")])
def test_a_trend_is_said_with_its_cause(step, way):
    records = invent(priced_reveals=True)
    quarter = records.jobs["quarter"].str[-1].astype(float)
    desk = lay_out(used_more(records, step * quarter))
    said = owner_text.trend_words(desk).text
    assert f"The overrun of a job {way}" in said
    assert f"unexplained {way[:4]} by" in said


def test_a_crew_is_named_only_where_it_stands_out(crew, nothing):
    said = owner_text.crew_words(crew).text
    assert said.startswith("Crew Damson uses ")
    assert "Below the firm: " in said
    said = owner_text.crew_words(nothing).text
    assert said.startswith("Nothing to find: no crew can be told from the firm; chance explains")


def test_a_crew_with_three_bad_jobs_is_not_blamed():
    records = used_more(invent(priced_reveals=True), 0.15 * (np.arange(48) < 3))
    rowan = records.jobs["crew"].where(records.jobs.index >= 3, "Rowan")
    said = owner_text.crew_words(lay_out(change(records, crew=rowan))).text
    assert said.startswith("Nothing to find: no crew can be told from the firm; chance explains")
    assert "3 jobs, too few)" in said


@pytest.mark.parametrize(
    ("name", "told"), [("", "name no crew"), ("Elm", "Crew Elm did every job")]
)
def test_without_crews_or_with_one_it_says_so(name, told):
    desk = lay_out(change(invent(jobs=12), crew=name))
    assert told in owner_text.crew_words(desk).text


def test_cuts_alike_are_said_to_be_and_none_without_reveals(reveals, crew):
    said = owner_text.cut_words(reveals).text
    assert "Not to be told apart: corner to corner and slit." in said
    assert said != owner_text.cut_words(crew).text
    assert owner_text.cut_table(reveals)["cut"].tolist()[0] == "corner to corner"
    desk = lay_out(without_openings(invent(jobs=12)))
    assert owner_text.cut_words(desk).text.startswith("No job has a reveal")


def test_hindsight_says_what_was_saved_at_which_costs_or_why_not(reveals, nothing):
    found = look_back(reveals.records)
    cost = found.table["difference"].iloc[-1]
    said = owner_text.hindsight_words(found).text
    assert cost < 0
    assert f"would have cost {-cost:,.0f} less**" in said
    short = found.table.iloc[0]
    assert f"{short['foretold']:.0f} instead of {short['really']:.0f} (" in said
    said = owner_text.hindsight_words(look_back(nothing.records)).text
    assert "which chance explains**" in said
    assert said.endswith("The sheet itself is bought either way.")
    said = owner_text.hindsight_words(look_back(reveals.records, 10, 1000)).text
    assert "at 10 a roll left over and 1,000 a roll short" in said
    said = owner_text.hindsight_words(look_back(desk_of("2025Q1").records)).text
    assert "cannot be told yet" in said
    assert "two quarters or more" in said


def test_the_firms_roll_price_stands_where_jobs_name_none():
    priced = lay_out(invent(jobs=12, price=np.nan), firm=Firm(roll_price=150.0, currency="CU"))
    said = owner_text.headline(priced).text
    over = (priced.jobs.table["used_rolls"] - priced.jobs.table["estimated_rolls"]).sum()
    assert f"about {abs(150 * over):,.0f} CU at your roll prices;" in said
    assert cut_terms(priced.records, priced.now, CutCosts(), "").own_price
