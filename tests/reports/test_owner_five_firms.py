"""The first sentences of the owner's page on five firms, held against the truth that made them."""

import re

import pytest

from airstats.backtests.against_real_prices import look_back
from airstats.reports import owner_text
from tests.reports.five_firms import FIRMS, five_desk, records_of, truth_of


def first_sentences(name):
    """The headline, what to change, and what that would have saved."""
    desk = five_desk(name)
    found = look_back(desk.records)
    headline, advice = owner_text.headline(desk).text, owner_text.advice(desk, found).text
    return headline, advice, owner_text.hindsight_words(found).text


def told(pattern, text):
    """The mean and its ± of what a sentence tells."""
    return [float(part) for part in re.search(pattern + r" ([\d.]+) ± ([\d.]+)", text).groups()]


@pytest.mark.parametrize("name", FIRMS)
def test_the_headline_tells_the_overrun_that_is_true(name):
    truth, said = truth_of(name), first_sentences(name)[0]
    found = re.search(r"ou used ([\d.]+) rolls more than priced over (\d+) jobs", said)
    assert float(found[1]) == pytest.approx(truth["over"], abs=0.06)
    assert int(found[2]) == len(records_of(name).jobs)


def test_where_reveals_dominate_they_lead_and_no_flat_share_is_advised():
    headline, advice, saved = first_sentences("reveals dominate")
    mean, half = told("; reveals account for", headline)
    assert abs(mean - truth_of("reveals dominate")["reveals_over"]) < 1.5 * half
    assert "crew" not in headline + advice
    assert advice.startswith("**Price the sheet as laid, laps included, ")
    # The truth: one m² of sheet for each m² of reveal, 5 % of waste.
    factor, half = told("these m² of sheet:", advice)
    assert abs(factor - 1.0) < 1.5 * half
    waste, half = told("laps included, with", advice)
    assert abs(waste - 5.0) < 1.5 * half
    assert "**No flat share: " in advice
    assert "less** (90 %: " in saved


def test_where_a_crew_wastes_it_is_named_first_and_to_be_looked_at():
    headline, advice, saved = first_sentences("a crew wastes")
    mean, half = told("; crew Damson accounts for", headline)
    assert abs(mean - truth_of("a crew wastes")["crew"]) < 1.5 * half
    extra, half = told("And see why crew Damson uses", advice)
    # A quarter of laid sheet more than the three others is three quarters of that above the firm.
    assert abs(extra - 100 * 0.25 * 0.75) < 1.5 * half
    assert not re.search(r"crew (?!Damson)", headline + advice)
    assert "less** (90 %: " in saved


def test_where_there_is_nothing_to_find_nothing_is_found_nor_changed():
    headline, advice, saved = first_sentences("nothing to find")
    assert headline.startswith("**Nothing to find: ")
    assert "account" not in headline
    assert advice.startswith("**Nothing need change:** ")
    assert "No flat share" not in advice
    # The prices knew the truth, so no rule that learns it can be cheaper.
    assert "less**" not in saved


def test_where_a_flat_share_is_as_good_it_is_not_advised_against():
    headline, advice, saved = first_sentences("a flat share is as good")
    mean, half = told("; reveals account for", headline)
    assert abs(mean - truth_of("a flat share is as good")["reveals_over"]) < 1.5 * half
    assert "may do as well**" in advice
    assert "cannot be told apart" in advice
    assert "No flat share" not in advice
    assert "less** (90 %: " in saved


def test_of_three_jobs_no_more_is_said_than_they_hold():
    headline, advice, saved = first_sentences("three jobs only")
    assert headline.startswith("**Nothing to find: ")
    assert advice.startswith("**Nothing need change:** ")
    assert "flat share" not in advice
    assert "shows once 2 jobs follow the quarter that they first learnt from" in saved
