import re
from dataclasses import replace

import numpy as np
import pytest

from airstats import buying_list
from airstats.base.firm import Firm
from airstats.base.number_text import roughly, small_chance
from airstats.pricing.cut_prices import STANDARD_COSTS
from airstats.pricing.firm_cuts import cut_terms, opening_plan
from airstats.pricing.newsvendor import priced
from airstats.pricing.order_costs import order_costs, same_orders
from airstats.reports.desk import after_decision
from airstats.reports.price_text import (
    _cut_otherwise,
    assumed,
    cost_words,
    cut_plan,
    headline,
    jobs_table,
    one_job_words,
    order_of,
    takeoff_words,
)
from airstats.takeoff.sheet_quantities import take_off

COSTS = (60, 240)


@pytest.fixture(scope="module")
def desk(reveals):
    return reveals


@pytest.fixture(scope="module")
def orders(desk):
    return order_costs(priced(desk.takeoff, desk.now, *COSTS))


@pytest.fixture(scope="module")
def order(desk):
    return order_of(priced(desk.takeoff, desk.now, *COSTS))


def test_the_headline_orders_for_all_jobs_and_says_what_a_roll_more_or_less_costs(desk, order):
    row, said = order.pooled.iloc[0], headline(desk, order).text
    assert said.startswith(f"**Order {row['pooled_rolls']} rolls for 12 jobs from one store, ")
    assert f"{row['single_rolls']} if each job is supplied by itself" in said
    assert f"cost {row['pooled_cost']:.0f} of your money on average, against" in said
    assert f"against {row['single_cost']:.0f} job by job" in said
    at = order.totals.set_index("rolls")["cost"]
    fewer, more = (at[row["pooled_rolls"] + step] - row["pooled_cost"] for step in (-1, 1))
    assert f"One roll fewer would cost {fewer:.0f} more, one roll more {more:.0f} more." in said
    assert f"these are the finished jobs of {desk.quarter}" in said
    assert "finished jobs" not in headline(replace(desk, to_price=desk.records), order).text
    same = replace(order, pooled=order.pooled.assign(pooled_rolls=row["single_rolls"]))
    assert "from one store, as many as job by job.**" in headline(desk, same).text


def test_one_job_is_ordered_by_its_name_and_no_job_is_said(desk):
    one = order_of(priced(desk.takeoff.where(np.arange(1)), desk.now, *COSTS))
    row, said = one.jobs.iloc[0], headline(desk, one).text
    assert said.startswith(f"**Order {row['order_rolls']} rolls for {row['job_id']}.**")
    more = row["cost_more"] - row["cost_order"]
    assert f"one roll more {more:.0f} more" in said
    none = order_of(priced(desk.takeoff.where(np.arange(0)), desk.now, *COSTS))
    assert headline(desk, none).text == "**There is no job to price.**"


def test_the_table_begins_with_all_jobs_and_then_the_largest(desk, order):
    (table,) = jobs_table(desk, order)
    first = table.frame.iloc[0]
    assert first["job_id"] == "all"
    assert first["order_rolls"] == order.pooled["pooled_rolls"].iloc[0]
    rest = table.frame.iloc[1:]
    assert rest["order_rolls"].is_monotonic_decreasing
    assert len(rest) == 12
    fewer = rest["order_rolls"].sum() - first["order_rolls"]
    assert first["sheet_cost"] == pytest.approx(rest["sheet_cost"].sum() - 150 * fewer)
    assert first["expected_m2"] == pytest.approx(rest["expected_m2"].sum())
    assert first["low_m2"] < first["expected_m2"] < first["high_m2"]
    # Risks that are shared in part: wider than one job's, narrower than all the jobs' in a row.
    wide = first["high_m2"] - first["low_m2"]
    assert 1 < wide / (rest["high_m2"] - rest["low_m2"]).max() < 12
    sheet = buying_list(desk.quarter_records(), desk.now).iloc[0]
    assert first["expected_left_over_rolls"] == pytest.approx(sheet["expected_left_over_packs"])


def test_the_costs_of_a_few_jobs_add_up_to_what_the_headline_says_of_job_by_job(desk):
    few = order_of(priced(desk.takeoff.where(np.arange(6)), desk.now, *COSTS))
    (table,) = jobs_table(desk, few)
    told = [int(cost) for cost in table._shown()["left over or short, money"].iloc[1:]]
    assert f"against {sum(told)} job by job" in headline(desk, few).text
    assert np.abs(told - few.jobs["cost_order"]).max() < 1


def test_a_small_chance_is_not_told_as_none(desk, order):
    sure = replace(order, jobs=order.jobs.assign(chance_short=[0.0, 4e-4, *[6e-4] * 10]))
    (table,) = jobs_table(desk, sure)
    shown = dict(zip(table.frame["job_id"], table._shown()["chance short"], strict=False))
    told = [shown[job] for job in sure.jobs["job_id"] if job in shown]
    assert {"0.0 %", "<0.1 %", "0.1 %"} >= set(told) > {"0.1 %"}


def test_an_early_price_names_the_openings_whose_depths_are_unknown(desk, order):
    jobs = desk.quarter_records()
    openings = jobs.openings.assign(mark="")
    own = openings.index[openings["job_id"].eq(order.jobs["job_id"].iloc[0])]
    openings.loc[own[0], ["mark", "reveal_mm"]] = "W7", np.nan
    early = replace(order, jobs=order.jobs.assign(unmeasured=["depths"] + [""] * 11))
    marked = replace(desk, to_price=replace(jobs, openings=openings))
    said = [part.text for part in assumed(marked, early)][-1]
    assert "an early price: the depths of W7 are unknown" in said
    size = "{width_mm:.0f} × {height_mm:.0f}".format(**openings.loc[own[0]])
    bare = replace(desk, to_price=replace(jobs, openings=openings.drop(columns="mark")))
    assert f"the depths of {size} are unknown" in [p.text for p in assumed(bare, early)][-1]


def test_the_order_is_told_for_the_cheapest_cuts_too(desk, order):
    _, said, *_ = cut_plan(desk, STANDARD_COSTS, order)
    terms = cut_terms(desk.records, desk.now)
    plan = opening_plan(desk.quarter_records(), terms)
    cuts = desk.quarter_records().openings.assign(cut_pattern=plan["recommended_cut"])
    takeoff = take_off(replace(desk.quarter_records(), openings=cuts))
    other = order_of(priced(takeoff, desk.now, *COSTS))
    m2, noted = other.jobs["expected_m2"].sum(), order.jobs["expected_m2"].sum()
    assert round(m2) != round(noted)
    packs = other.pooled["pooled_rolls"].iloc[0]
    assert said.text.startswith(
        f"Cut as drawn, the jobs take {m2:,.0f} m² in place of {noted:,.0f} m²: order {packs} rolls"
    )
    as_noted = _cut_otherwise(desk, order, desk.quarter_records().openings["cut_pattern"]).text
    assert as_noted.startswith(f"Cut as drawn, the jobs take {noted:,.0f} m² too: order ")


def test_what_is_assumed_is_told_a_few_early_jobs_by_name(desk, order):
    early = replace(order, jobs=order.jobs.assign(unmeasured="openings"))
    said = [part.text for part in assumed(desk, early)][-1]
    assert said.count("is an early price: the openings are unknown") == 3
    assert "- 9 more jobs likewise." in said
    wide = (early.jobs["high_m2"] - early.jobs["low_m2"]).round(3)
    told = {}
    for share in (0.5, 1.0):
        jobs = early.jobs.assign(width_if_measured_m2=wide * share)
        told[share] = [p.text for p in assumed(desk, replace(early, jobs=jobs))][-1]
    assert f"would likely stay {wide.iloc[0]:.0f} m² wide" in told[1.0]
    assert "instead of" not in told[1.0]
    assert f"m² wide instead of {wide.iloc[0]:.0f} m²" in told[0.5]
    plain = [part.text for part in assumed(desk, order)][-1]
    assert plain.startswith("A roll left over costs 60 (assumed")


def test_it_says_that_finished_jobs_or_kept_values_are_priced(desk):
    assert "priced again" in takeoff_words(desk).text
    kept = after_decision(desk, "keep", "The crew changed.", "XY")
    said = takeoff_words(replace(kept, to_price=desk.records)).text
    ids = len(desk.before.job_ids)
    assert f"the values of {desk.before.quarter} ({ids} jobs), kept in {desk.quarter} by XY" in said
    assert "The crew changed." in said
    assert "helped to make" not in takeoff_words(kept).text


def test_one_job_is_said_with_interval_risk_and_money(orders):
    row = orders.iloc[2]
    said = one_job_words(row).text
    assert said.startswith(f"**Order {row['order_rolls']} rolls.**")
    assert f"{row['low_m2']:.0f} to {row['high_m2']:.0f} m²" in said
    assert "on average" in said
    assert [small_chance(c) for c in (0.0004, 0.012, 0.5)] == ["below 1 %", "1 %", "50 %"]


def test_the_currency_stands_behind_the_sums_where_it_is_known(desk, order, orders):
    euros = replace(desk, firm=Firm(currency="EUR"))
    assert " EUR on average" in headline(euros, order).text
    assert re.search(r"fewer would cost \d+ EUR more", headline(euros, order).text)
    said = one_job_words(orders.iloc[0], "EUR").text
    assert re.search(r"fewer would cost \d+ EUR more .* one roll more \d+ EUR more", said)
    assert "your money" not in one_job_words(orders.iloc[0]).text


def test_the_shelf_is_told_in_the_headline(desk, order):
    total = order.pooled["pooled_rolls"].iloc[0]
    taken = replace(
        order,
        jobs=order.jobs.assign(from_stock_m=2.0),
        pooled=order.pooled.assign(from_stock_rolls=12, buy_rolls=total - 12),
    )
    assert (
        f"The shelf gives 12 rolls of them and 24 m on begun rolls besides; buy {total - 12} rolls."
        in headline(desk, taken).text
    )
    assert "shelf" not in headline(desk, order).text


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
    lowest = same.loc[same["short_from"].idxmax(), "job_id"]
    highest = same.loc[same["short_to"].idxmin(), "job_id"]
    assert lowest != highest
    assert (
        f"a roll short between {roughly(low)} (below it that of {lowest} changes first) and"
        f" {roughly(high)} (above it that of {highest});" in said
    )


def test_the_parts_of_the_costs_are_told(desk):
    parts = {"bring_back": 10, "shelf_months": 4, "shelf_percent": 2, "spoilt_percent": 12}
    firm = Firm(roll_price=200, currency="EUR", short_cost=200, **parts)
    foretold = priced(desk.takeoff, desk.now, 50, 200)
    said = cost_words(firm, foretold, same_orders(foretold)).text
    assert (
        "costs 50 EUR (bringing it back 10 EUR, the shelf 16 EUR, what is never laid 24 EUR)"
        in said
    )
    assert "a roll short costs 200 EUR (as you say)" in said
