"""The firm's own terms and openings: what a comparison of cuts is reckoned with."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.model.allowances import unchanged
from airstats.pricing.cut_prices import CutCosts, CutTerms
from airstats.pricing.firm_cuts import (
    cut_terms,
    opening_plan,
    saving_range,
    usual_shape,
)
from tests.invented import change, invent, random_openings

RECORDS = invent(jobs=4)
START = unchanged("2025Q1")


def reusing(shares):
    """Allowances by which these shares of the off-cuts of the two crossing cuts are used."""
    belief = START.belief
    mean = np.where(belief.form[:, None] == 1, [0.07, *shares, 1.1], belief.mean)
    return replace(START, belief=replace(belief, mean=mean))


@pytest.mark.parametrize(("shares", "share"), [((0.2, 0.6), 0.4), ((1.3, 1.1), 1), ((-0.2, 0), 0)])
def test_the_share_of_reuse_is_the_mean_of_the_cuts_within_nothing_and_all(shares, share):
    assert cut_terms(RECORDS, reusing(shares)).reuse_share == pytest.approx(share)


def test_the_sheet_costs_what_the_last_job_with_a_price_paid_for_its_own_roll():
    own = CutCosts(labour_hour=30.0, tape_price_m=0.5)
    rolls = {"roll_length_m": [50.0, 50.0, 25.0, 50.0], "roll_width_m": [1.5, 1.5, 2.0, 1.5]}
    priced = change(RECORDS, roll_price=[150.0, 160.0, 210.0, np.nan], **rolls)
    found = cut_terms(priced, START, own)
    assert found.costs == replace(own, sheet_price_m2=210 / 50)
    assert found.own_price
    assert cut_terms(change(RECORDS, roll_price=np.nan), START, own).costs == own
    without = replace(RECORDS, jobs=RECORDS.jobs.drop(columns="roll_price"))
    assert cut_terms(without, START, own).costs == own


def test_the_usual_shape_is_that_of_the_middle_unit():
    kinds = pd.DataFrame({"width_mm": [500, 800, 2000], "height_mm": 1000, "count": [1, 2, 9]})
    assert usual_shape(kinds) == 2.0
    assert usual_shape(kinds.iloc[:0]) == 0.9


def test_the_range_of_savings_takes_half_the_times_the_times_and_double():
    # At 10 an hour this opening is cheapest lined as it is, at 5 corner to corner, at 20 slit.
    sizes = {"width_mm": 2430.0, "height_mm": 820.0, "reveal_mm": 484.0, "cut_pattern": "lined"}
    records = replace(RECORDS, openings=RECORDS.openings.assign(**sizes))
    terms = CutTerms(CutCosts(labour_hour=10.0))
    savings = {
        hour: opening_plan(records, CutTerms(CutCosts(labour_hour=hour)))["saving_all"].sum()
        for hour in (5.0, 10.0, 20.0)
    }
    assert savings[10.0] == 0 < min(savings[5.0], savings[20.0])
    assert saving_range(records, terms) == (0, pytest.approx(max(savings.values())))
    uneven = replace(records, openings=records.openings.assign(cut_pattern="centre"))
    low, high = saving_range(uneven, terms)
    each = [
        opening_plan(uneven, CutTerms(CutCosts(labour_hour=hour)))["saving_all"].sum()
        for hour in savings
    ]
    assert (low, high) == pytest.approx((min(each), max(each)))


def test_a_cut_is_told_in_words_with_its_way():
    # Dear strokes keep lining out, sheet alone else counts: pieces of two parts pay at some.
    terms = CutTerms(replace(CutCosts(1, 0, 0, 0, 0, 0, 60), minutes_stroke=100))
    many = random_openings(200, seed=8).assign(job_id="J000", count=1, sides=3)
    plan = opening_plan(replace(RECORDS, openings=many), terms)
    names = {"diagonal": "corner to corner", "lined": "lined"}
    for row in plan.itertuples():
        name = names.get(row.recommended_cut, f"slit {row.slit}")
        assert row.cut_way == name + ", pieces of two parts" * row.halves
    assert set(plan["halves"]) == {True, False}
    assert {"slit upright", "slit level"} <= set(plan["cut_way"])
