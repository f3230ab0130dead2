import re
from dataclasses import replace

import pytest

from airstats.base.firm import Firm
from airstats.base.number_text import small_chance
from airstats.pricing.newsvendor import priced
from airstats.pricing.order_costs import order_costs, same_orders
from airstats.pricing.pooled_order import pooled_orders
from airstats.reports.desk import after_decision
from airstats.reports.price_text import (
    cost_words,
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
    assert re.search(r"on average \d+(\.\d)? rolls stay unopened", said)
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
    alike = pooled.assign(pooled_cost=row["single_cost"], saved_cost=-0.01)
    assert "then cost as much on average" in pooled_words(alike).text
    dearer = pooled.assign(pooled_cost=row["single_cost"] + 9, saved_cost=-9.0)
    assert "then cost 9 more on average" in pooled_words(dearer).text
    alone = desk.takeoff.where([True] + [False] * (len(desk.takeoff) - 1))
    assert "Two jobs or more" in pooled_words(pooled_orders(priced(alone, desk.now, *COSTS))).text


def test_one_job_is_said_with_interval_risk_and_money(orders):
    row = orders.iloc[2]
    said = one_job_words(row).text
    assert said.startswith(f"**Order {row['order_rolls']} rolls.**")
    assert f"{row['low_m2']:.0f} to {row['high_m2']:.0f} m²" in said
    assert "on average" in said
    assert [small_chance(c) for c in (0.0004, 0.012, 0.5)] == ["below 1 %", "1 %", "50 %"]


def test_the_currency_stands_behind_the_sums_where_it_is_known(desk, orders):
    assert "(expected, in EUR)" in one_roll_words(orders, "EUR").text
    assert "in your currency" in one_roll_words(orders).text
    assert "in EUR" in pooled_words(pooled_orders(priced(desk.takeoff, desk.now)), "EUR").text


def test_the_shelf_is_told_in_the_headline(desk, orders):
    taken = orders.assign(buy_rolls=orders["buy_rolls"] - 1, from_stock_m=2.0)
    said, total = price_headline(desk, taken).text, orders["order_rolls"].sum()
    assert (
        f"The shelf gives 12 rolls of them and 24 m on begun rolls besides; buy {total - 12}"
        in said
    )
    assert "shelf" not in price_headline(desk, orders).text


def test_the_bounds_of_the_costs_are_those_at_which_an_order_changes(desk):
    foretold = priced(desk.takeoff, desk.now, *COSTS)
    same = same_orders(foretold)
    orders = foretold.order_packs

    def changed(leftover, short):
        return priced(desk.takeoff, desk.now, leftover, short).order_packs != orders

    for job, row in enumerate(same.itertuples()):
        if row.short_from > 1:
            assert changed(60, row.short_from * 0.999)[job]
            assert not changed(60, row.short_from * 1.001)[job]
        if row.short_to < 1e6:
            assert changed(60, row.short_to * 1.001)[job]
            assert not changed(60, row.short_to * 0.999)[job]
        if row.left_to < 1e6:
            assert changed(row.left_to * 1.001, 240)[job]
            assert not changed(row.left_to * 0.999, 240)[job]
    low, high = same["short_from"].max(), same["short_to"].min()
    assert not changed(60, low * 1.001).any()
    assert not changed(60, high * 0.999).any()
    assert changed(60, low * 0.999).any()
    said = cost_words(Firm(), foretold, same).text
    assert "A roll left over costs 60 (assumed: put your own into firm.toml)" in said
    assert f"{same.loc[same['short_from'].idxmax(), 'job_id']} and" in said


def test_the_parts_of_the_costs_are_told(desk):
    parts = {"bring_back": 10, "shelf_months": 4, "shelf_percent": 2, "spoilt_percent": 12}
    firm = Firm(roll_price=200, currency="EUR", short_cost=200, **parts)
    foretold = priced(desk.takeoff, desk.now, 50, 200)
    said = cost_words(firm, foretold, same_orders(foretold)).text
    assert "costs 50 EUR (bringing it back 10, the shelf 16, what is never laid 24)" in said
    assert "a roll short costs 200 EUR (as you say)" in said
