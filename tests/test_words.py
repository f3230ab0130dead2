import re

import pandas as pd
import pytest

from airstats import words, words_evidence
from airstats.backtest import backtest
from airstats.comparison import compare_allowances
from airstats.cutting import cut_terms, opening_plan, past_savings
from airstats.desk import lay_out
from airstats.errors import RecordsError
from airstats.evidence import mixed_regression, plain_regression, regression_frame
from airstats.orders import order_costs
from airstats.phrases import counted, give_or_take, listed, number
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


def test_headline_where_reveals_dominate(reveals):
    said = words.owner_headline(reveals).text
    total = (reveals.jobs.table["used_rolls"] - reveals.jobs.table["estimated_rolls"]).sum()
    assert said.startswith(f"**You used {total:g} rolls more than priced over 48 jobs; reveals")
    found = re.search(r"reveals account for (\d+(?:\.\d)?) ± (\d+(?:\.\d)?)", said)
    assert found
    assert abs(float(found[1]) - total) < 2 * float(found[2]) < total


def test_headline_where_a_crew_dominates(crew):
    said = words.owner_headline(crew).text
    assert said.index("crew Damson accounts for") < said.index("reveals account for")


def test_headline_where_there_is_nothing_to_find(nothing):
    said = words.owner_headline(nothing).text
    assert "no more than chance" in said
    assert "account" not in said


def test_crews_are_named_only_where_they_stand_out(crew, nothing):
    assert words.owner_crews(crew).text.startswith("Crew Damson uses")
    assert words.owner_crews(nothing).text.startswith("No crew differs")


def test_without_crews_it_says_so():
    records = invent(jobs=12)
    records.jobs["crew"] = ""
    assert "name no crew" in words.owner_crews(lay_out(records)).text


def test_money_follows_the_price(reveals):
    over = reveals.jobs.table["used_rolls"] - reveals.jobs.table["estimated_rolls"]
    assert f"that is {over.sum() * 150:,.0f} of your money" in words.owner_money(reveals).text


def test_without_a_price_there_is_no_money():
    said = words.owner_money(lay_out(invent(jobs=12, price=float("nan")))).text
    assert "no roll_price" in said
    assert "nan" not in said


def test_causes_and_advice_name_their_units(reveals):
    assert "in rolls: " in words.owner_causes(reveals).text
    assert "m² of sheet for each m² of reveal" in words.advice_words(reveals).text


def test_suspects_are_named_with_their_probability(nothing):
    records = invent(priced_reveals=True)
    records.jobs.loc[5, "used_rolls"] += 3
    said = words.suspect_words(lay_out(records)).text
    assert re.search(r"Look at J005 \(2025Q1, \d+%\)", said)
    assert words.suspect_words(nothing).text.startswith("No record looks wrong")


def test_allowances_are_accepted_or_looked_at(reveals):
    table = compare_allowances(reveals.records, reveals.before, reveals.now)
    said = words.allowance_headline(reveals, table).text
    assert said.startswith("**2025Q4, 12 new jobs: ")
    moved = words.allowance_headline(reveals, table.assign(verdict="moved")).text
    assert "Look at waste, reveal.diagonal, reveal.centre and reveal.lined before you" in moved


def test_what_cannot_be_told_names_the_allowance_without_jobs(reveals):
    assert "reveal.lined rests on the starting belief" in words.cannot_tell_words(reveals).text


def test_price_headline_adds_up_the_orders(reveals):
    orders = order_costs(reveals.takeoff, reveals.now, 60, 240)
    said = words.price_headline(reveals, orders).text
    assert said.startswith(f"**Order {orders['order_rolls'].sum()} rolls for 12 jobs**")
    assert "priced again" in words.takeoff_words(reveals).text
    assert words.price_headline(reveals, orders.iloc[:0]).text == "**There is no job to price.**"


def test_order_costs_least_where_it_stands(reveals):
    orders = order_costs(reveals.takeoff, reveals.now, 60, 240)
    assert (orders["cost_order"] <= orders["cost_fewer"]).all()
    assert (orders["cost_order"] <= orders["cost_more"]).all()


def test_cut_words_add_up_the_savings(reveals):
    terms = cut_terms(reveals.records, reveals.now)
    savings = past_savings(reveals.records, terms)
    assert terms.costs.sheet_price_m2 == pytest.approx(150 / 75)
    assert f"worth {savings['saving'].sum():,.0f}" in words.cut_words(reveals, terms, savings).text
    none = words.cut_words(reveals, terms, savings.assign(saving=0.0)).text
    assert "no other cut would have been cheaper" in none
    plan = opening_plan(reveals.records, terms)
    assert f"{plan['count'].sum():,.0f} openings" in words.plan_words(plan).text


def test_later_jobs_are_counted_and_not_used():
    early = lay_out(invent(), "2025Q2")
    assert len(early.jobs) == 24
    assert "24 later jobs not looked at" in words.data_words(early).text


def test_a_quarter_before_the_first_job_is_refused():
    with pytest.raises(RecordsError, match="no job was finished up to 2024Q4; the first is of"):
        lay_out(invent(jobs=12), "2024Q4")


def test_a_first_quarter_is_compared_with_the_starting_belief():
    desk = lay_out(invent(), "2025Q1")
    table = compare_allowances(desk.records, desk.before, desk.now)
    assert "First quarter" in words.allowance_headline(desk, table).text
    assert table["old"].iloc[0] == pytest.approx(desk.now.belief.prior.waste[0])


def test_evidence_words_follow_the_fits(reveals):
    result = backtest(reveals.records)
    said = words_evidence.evidence_headline(reveals, result).text
    assert f"held {result.held_80:.0%}" in said
    assert "needs two" in words_evidence.evidence_headline(reveals, None).text
    frame = regression_frame(reveals.jobs)
    plain = words_evidence.regression_words(plain_regression(frame)).text
    assert "reveal_diagonal_m2 +" in plain
    assert "Left out, as no job holds it: reveal_lined_m2" in plain
    assert "too few" in words_evidence.regression_words(plain_regression(frame.head(3))).text
    assert "converged: " in words_evidence.mixed_words(mixed_regression(frame)).text


def test_sensitivity_names_what_moves_most():
    table = pd.DataFrame(
        {
            "prior": ["a", "b"],
            "waste": [0.1, 0.11],
            "reveal.centre": [0.3, 0.5],
            "rolls": [100, 102],
        }
    )
    said = words_evidence.sensitivity_words(table).text
    assert "2.0% at most" in said
    assert "reveal.centre, by 0.200" in said


def test_numbers_are_written_alike():
    assert [number(v) for v in (19.4, 1.26, -0.04, -1234.5)] == ["19", "1.3", "0.0", "−1,234"]
    assert give_or_take(pd.Series({"mean": 19.2, "low": 15.2, "high": 23.2}), "rolls") == (
        "19 ± 4 rolls"
    )
    assert give_or_take(pd.Series({"mean": 0.46, "low": 0.1, "high": 0.9})) == "0.5 ± 0.4"
    assert give_or_take(pd.Series({"mean": 35.8, "low": 35.8, "high": 35.8}), "rolls") == "36 rolls"
    assert (counted(1, "job"), counted(1200, "job")) == ("1 job", "1,200 jobs")
    assert [listed(list(s)) for s in ("", "a", "ab", "abc")] == ["", "a", "a and b", "a, b and c"]
