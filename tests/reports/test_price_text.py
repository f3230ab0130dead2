import re
from dataclasses import replace

import pytest

from airstats.base.number_text import small_chance
from airstats.pricing.newsvendor import priced
from airstats.pricing.order_costs import order_costs
from airstats.pricing.pooled_order import pooled_orders
from airstats.reports.desk import after_decision
from airstats.reports.price_text import (
    one_job_words,
    one_roll_words,
    pooled_words,
    price_headline,
    takeoff_words,
)

COSTS = (60, 240)


@pytest.fixture(scope="module")
def desk(reveals):
    return reveals


@pytest.fixture(scope="module")
def orders(desk):
    return order_costs(priced(desk.takeoff, desk.now, *COSTS))


def test_one_roll_more_or_fewer_costs_more_and_is_said_in_money(orders):
    assert (orders["cost_order"] <= orders["cost_fewer"]).all()
    assert (orders["cost_order"] <= orders["cost_more"]).all()
    said = one_roll_words(orders).text
    fewer = (orders["cost_fewer"] - orders["cost_order"]).sum()
    more = (orders["cost_more"] - orders["cost_order"]).sum()
    assert f"would cost {fewer:,.0f} more in all, one roll more {more:,.0f} more" in said
    gap = orders[["cost_fewer", "cost_more"]].min(axis=1) - orders["cost_order"]
    assert f"closest choice is {orders['job_id'][gap.idxmin()]}" in said


def test_the_headline_adds_up_the_orders_or_speaks_of_one(desk, orders):
    said = price_headline(desk, orders).text
    assert said.startswith(f"**Order {orders['order_rolls'].sum()} rolls for 12 jobs**")
    assert f"{orders['expected_m2'].sum():,.0f} m²" in said
    assert re.search(r"on average \d+(\.\d)? rolls are left over", said)
    assert price_headline(desk, orders.iloc[:0]).text == "**There is no job to price.**"
    said = price_headline(desk, orders.head(1)).text
    assert "for 1 job**" in said
    assert "The chance of being short is" in said
    assert "a job or more" not in said


def test_it_says_that_finished_jobs_or_kept_values_are_priced(desk):
    assert "priced again" in takeoff_words(desk).text
    kept = after_decision(desk, "keep", "The crew changed.", "XY")
    said = takeoff_words(replace(kept, to_price=desk.records)).text
    ids = len(desk.before.job_ids)
    assert f"the values of {desk.before.quarter} ({ids} jobs), kept in {desk.quarter} by XY" in said
    assert "The crew changed." in said
    assert "helped to make" not in takeoff_words(kept).text


def test_the_pooled_order_is_said_beside_the_single_ones_unless_there_is_one(desk):
    pooled = pooled_orders(priced(desk.takeoff, desk.now, *COSTS))
    row, said = pooled.iloc[0], pooled_words(pooled).text
    assert f"order {row['pooled_rolls']} rolls for all jobs**" in said
    assert f"fewer than the {row['single_rolls']} ordered job by job" in said
    assert f"then cost {row['saved_cost']:,.0f} less on average" in said
    more = pooled.assign(pooled_rolls=row["single_rolls"] + 2)
    assert "ordered job by job, for less risk" in pooled_words(more).text
    same = pooled.assign(pooled_rolls=row["single_rolls"])
    assert "as many as ordered" in pooled_words(same).text
    alone = desk.takeoff.where([True] + [False] * (len(desk.takeoff) - 1))
    assert "Two jobs or more" in pooled_words(pooled_orders(priced(alone, desk.now, *COSTS))).text


def test_one_job_is_said_with_interval_risk_and_money(orders):
    row = orders.iloc[2]
    said = one_job_words(row).text
    assert said.startswith(f"**Order {row['order_rolls']} rolls.**")
    assert f"{row['low_m2']:.0f} to {row['high_m2']:.0f} m²" in said
    assert "on average" in said
    assert [small_chance(c) for c in (0.0004, 0.012, 0.5)] == ["below 1 %", "1 %", "50 %"]
