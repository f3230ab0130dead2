"""Sentences about cuts follow the prices, the openings and the records."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.base.number_text import number, roughly
from airstats.catalog.cut_patterns import CUTS
from airstats.pricing.cut_prices import CutCosts, CutTerms
from airstats.pricing.firm_cuts import (
    cut_map,
    cut_terms,
    opening_plan,
    past_turns,
    saving_range,
    usual_shape,
)
from airstats.reports import cuts_text
from tests.invented import desk_of, invent, without_openings

FLAPS_ONLY = CutTerms(CutCosts(0, 0, 0, 0, 1, 0, 60))


@pytest.fixture(scope="module")
def desk():
    return desk_of(jobs=12)


@pytest.fixture(scope="module")
def records(desk):
    return desk.records


@pytest.fixture(scope="module")
def terms(desk):
    return cut_terms(desk.records, desk.now)


def test_savings_are_added_up_and_the_assumptions_stated(records, terms):
    plan = opening_plan(records, terms)
    low, high = saving_range(records, terms)
    assert low < plan["saving_all"].sum() < high
    said = cuts_text.cut_words(terms, plan, (low, high)).text
    about = roughly(plan["saving_all"].sum())
    assert f"({roughly(low)} to {roughly(high)} if the times are half to double" in said
    assert f"about {about} in sheet, tape and time" in said
    assert "over 12 jobs**" in said
    slit = plan.loc[plan["saving_all"] > 0, "count"].sum()
    units = f"{plan['count'].sum():,.0f} openings"
    assert f"): {slit:,.0f} openings slit instead, of {units}. (Reckoned" in said
    assert "2.00 a m² of sheet, from your roll price; assumed: 0.90 a m of tape" in said
    assert f"Of usable off-cuts {100 * terms.reuse_share:.0f} % are taken as re-used" in said
    none = cuts_text.cut_words(terms, plan.assign(saving_all=0.0), (0, 0)).text
    assert none.startswith("On the past jobs no other cut would have been cheaper.")


def test_whose_money_it_is_stands_at_the_first_sum_only(records, terms):
    plan = opening_plan(records, terms)
    said = cuts_text.cut_words(replace(terms, own_price=False), plan, (0, 0)).text
    assert said.count("of your money") == 1
    assert "of your money" not in cuts_text.cut_words(terms, plan, (0, 0)).text
    assert "it would save about" in cuts_text.plan_words(plan, terms, (0, 0)).text
    assert "of your money" not in cuts_text.plan_words(plan, terms, (0, 0)).text


def test_prices_of_the_sheet_and_times_are_told_as_assumed_or_the_firms_own(desk, records):
    assert "Reckoned with assumed 2.00 a m² of sheet, 0.90" in (
        cuts_text.cut_words(CutTerms(), opening_plan(records, CutTerms()), (0, 0)).text
    )
    assert not cut_terms(invent(jobs=12, price=float("nan")), desk.now).own_price
    own = invent(jobs=12, price=300.0)
    assert cut_terms(own, desk.now).costs.sheet_price_m2 == pytest.approx(300 / 75)
    own = cut_terms(records, desk.now, CutCosts(tape_price_m=1.5, labour_hour=60.0))
    euros = cut_terms(records, desk.now, currency="EUR")
    said = cuts_text.cut_words(euros, opening_plan(records, euros), (0, 0)).text
    assert "assumed: 0.90 EUR a m of tape, 45 EUR an hour" in said
    assert "of your money" not in said
    said = cuts_text.cut_words(own, opening_plan(records, own), (0, 0)).text
    assert "yours or assumed: 1.50 a m of tape, 60 an hour" in said
    assert own.costs.sheet_price_m2 == pytest.approx(2.0)


def test_laps_and_roll_widths_are_those_of_the_job(records, terms):
    wide_lap = replace(records, jobs=records.jobs.assign(lap_mm=300.0))
    more = opening_plan(wide_lap, terms)["cost_as_cut"]
    less = opening_plan(records, terms)["cost_as_cut"]
    sheet = 1.2 * 1.4 * (1.5 / 1.2 - 1.5 / 1.4) * terms.costs.sheet_price_m2
    np.testing.assert_allclose(more - less, sheet)


def test_the_plan_counts_what_is_cheaper_otherwise(records, terms):
    plan = opening_plan(records, terms)
    other = plan[plan["saving_all"] > 0]
    said = cuts_text.plan_words(plan, terms, saving_range(records, terms)).text
    assert said.startswith(f"{other['count'].sum():,.0f} of {plan['count'].sum():,.0f} openings")
    assert "Each is drawn as it is cheapest; the order above is for the cuts as noted." in said
    assert set(plan["cut_way"]) == {"slit upright"}
    settled = cuts_text.plan_words(plan.assign(saving_all=0.0), terms, (0, 0)).text
    assert settled == "Every opening is cheapest as it is noted."


def test_the_map_in_words_names_the_sizes_where_the_cut_changes(records, terms):
    grid = cut_map(records, terms)
    small, large = records.openings.head(2), records.openings.head(2)
    small = small.assign(width_mm=700.0, height_mm=700.0)
    large = large.assign(width_mm=3000.0, height_mm=3000.0)
    said = cuts_text.map_words(grid, pd.concat([small, large])).text
    assert said.startswith("At a reveal of 350 mm, by size of opening, the cheapest cut is ")
    assert "slit up to" in said
    assert said.endswith("beyond.")


def test_the_map_in_words_keeps_to_the_firms_own_sizes(records, terms):
    said = cuts_text.map_words(cut_map(records, terms), records.openings).text
    assert said == ("At a reveal of 350 mm, slit is cheapest for all your openings, of 1.7 m².")
    wide = records.openings.assign(width_mm=[1000.0] * 6 + [1500.0] * 6)
    said = cuts_text.map_words(cut_map(records, terms), wide).text
    assert said.endswith("for all your openings, of 1.4 to 2.1 m².")
    bare = without_openings(records).openings
    everywhere = cuts_text.map_words(cut_map(records, FLAPS_ONLY), bare).text
    assert everywhere == (
        "At a reveal of 300 mm, lined is cheapest for every size of opening on the map."
    )


def test_the_price_that_would_turn_the_choice_stands_beside_each_other_cut(records, terms):
    turns = past_turns(records, terms)
    table = cuts_text.turn_table(turns)
    assert table["cut"].iloc[0] == CUTS[turns["cheapest_cut"].iloc[0]].words
    assert table["condition"].iloc[0] == "it is the cheapest"
    others = table.iloc[1:]
    assert others["cut"].tolist() == [CUTS[cut].words for cut in turns["other_cut"].unique()]
    extra = turns.groupby("other_cut", sort=False)["extra_cost"].first()
    # Two digits are as many as assumed times are good for.
    np.testing.assert_allclose(others["extra_cost"], extra, rtol=0.05)
    assert [number(value, 0) for value in others["extra_cost"]] == list(map(roughly, extra))
    assert others["condition"].str.contains(r" \d.*, not \d").all()
    for times, unlikely in ((2.9, 0), (3.1, 2), (1 / 2.9, 0), (1 / 3.1, 2)):
        moved = cuts_text.turn_table(turns.assign(turns_at=turns["now"] * times))
        assert moved["condition"].str.contains("unlikely").sum() == unlikely
    never = cuts_text.turn_table(turns.assign(turns_at=np.nan))
    assert never["condition"].iloc[1:].eq("no price or time alone would turn that").all()


def test_a_firm_without_openings_gets_sentences_too(records, terms):
    bare = without_openings(records)
    assert usual_shape(bare.openings) == 0.9
    assert past_turns(bare, terms).empty
    assert cuts_text.turn_table(past_turns(bare, terms)).empty
    assert cuts_text.cut_words(terms, opening_plan(bare, terms), (0, 0)).text.startswith(
        "On the past"
    )
    plan = opening_plan(bare, terms)
    assert "as it is noted" in cuts_text.plan_words(plan, terms, saving_range(bare, terms)).text
    assert "300 mm" in cuts_text.map_words(cut_map(bare, terms), bare.openings).text


def test_the_map_stands_with_its_sentence_and_the_firms_currency(desk):
    words, picture = cuts_text.where_cuts_pay(desk.at(), CutCosts())
    assert "cheapest" in words.text
    grid = cut_map(desk.records, cut_terms(desk.records, desk.now, CutCosts(), ""))
    assert len(picture.data) == len(grid)
