"""What lies on the shelf is used before anything is bought: against every order, simulated."""

from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pandas as pd
import pytest

from airstats.base.firm import Firm
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import price, priced, with_money
from airstats.pricing.pooled_order import (
    drawn_use,
    least_packs,
    pooled_orders,
    shelf_afterwards,
)
from airstats.pricing.purchases import buying_list
from airstats.pricing.stock import expected_opened, shelf_for, stock_words
from airstats.records.reading import read_records
from airstats.takeoff.sheet_quantities import take_off
from tests.invented import invent
from tests.tables import write_csv

RECORDS = invent(jobs=12, seed=5)
ALL_JOBS = take_off(RECORDS)
END_M = 1.0
CASES = range(50)


@cache
def learnt():
    """What the records teach."""
    return calibrate(RECORDS)


def stock_of(*rows):
    """Rows of width, length, whole rolls and metres left."""
    columns = ["roll_width_m", "roll_length_m", "rolls", "left_m"]
    return pd.DataFrame(rows, columns=columns).astype(
        dict.fromkeys(columns, float) | {"rolls": int}
    )


@cache
def case(seed):
    """The places of some of the jobs, a stock and two costs, all by chance."""
    random = np.random.default_rng(seed)
    jobs = RECORDS.jobs.sample(random.integers(1, 6), random_state=seed)
    whole = [(1.5, 50, random.integers(0, 12), 0)] * random.integers(0, 2)
    begun = [(1.5, 50, 0, left) for left in random.uniform(0.5, 49, random.integers(0, 5)).round(1)]
    stock = stock_of(*whole, *begun, (3.0, 50, 2, 0))
    return jobs.index.to_numpy(), stock, tuple(random.uniform(20, 400, 2).round())


@cache
def foretold_of(seed):
    """What is foretold of a case's jobs with its stock."""
    places, stock, costs = case(seed)
    return priced(ALL_JOBS.where(places), learnt(), *costs, stock=stock, end_m=END_M)


@cache
def thousandths():
    """What each of all jobs uses, (500, 12), in 500 cases that stand for all."""
    use = priced(ALL_JOBS, learnt()).use
    return np.array([use.quantile(share) for share in (np.arange(500) + 0.5) / 500])


def opened_by(need_m2, begun_m, width, length):
    """Whole rolls that one job opens in each case: its begun rolls first, roll after roll."""
    need, rolls = need_m2.copy(), np.zeros(len(need_m2), dtype=int)
    for left in begun_m:
        need -= max(left - END_M, 0) * width
    while (need > 1e-9).any():
        rolls += need > 1e-9
        need -= width * length
    return rolls


def given_to(foretold, job):
    begun = foretold.shelf.begun
    return begun.loc[begun["job"] == job, "left_m"].tolist()


def cheapest(opened, there, costs):
    """The least cost of all orders, and that of each by its rolls."""
    left, short = costs
    every = {}
    for bought in range(int(opened.max()) + 2):
        over = np.clip(there + bought - opened, 0, bought)
        missing = np.maximum(opened - there - bought, 0)
        every[bought] = float(np.mean(left * over + short * missing))
    return min(every.values()), every


@pytest.mark.parametrize("seed", CASES)
def test_one_job_buys_what_costs_least_of_all_orders(seed):
    places, stock, costs = case(seed)
    foretold = foretold_of(seed)
    orders = with_money(foretold, None)
    for job, row in enumerate(orders.itertuples()):
        need = thousandths()[:, places[job]]
        opened = opened_by(need, given_to(foretold, job), 1.5, 50)
        least, every = cheapest(opened, row.from_stock_rolls, costs)
        # The grid stands for chances to a thousandth.
        assert every[row.buy_rolls] <= least + 0.001 * sum(costs)
    there = stock.query("roll_width_m == 1.5")["rolls"].sum()
    assert (orders["from_stock_rolls"] + orders["buy_rolls"]).equals(orders["order_rolls"])
    assert orders["from_stock_rolls"].sum() == min(there, orders["order_rolls"].sum())
    begun = stock.query("left_m > 0")["left_m"]
    assert orders["from_stock_m"].sum() <= np.maximum(begun - END_M, 0).sum() + 1e-9


@pytest.mark.parametrize("seed", CASES)
def test_one_order_for_all_jobs_buys_what_costs_least_of_all_orders(seed):
    places, stock, costs = case(seed)
    foretold = foretold_of(seed)
    use = drawn_use(ALL_JOBS.where(places), learnt())
    opened = sum(
        opened_by(use[:, job], given_to(foretold, job), 1.5, 50) for job in range(len(places))
    )
    there = int(stock.query("roll_width_m == 1.5")["rolls"].sum())
    least, every = cheapest(opened, there, costs)
    (row,) = pooled_orders(foretold).itertuples()
    assert every[row.buy_rolls] == pytest.approx(least)
    assert row.pooled_cost == pytest.approx(least)
    assert row.chance_short == pytest.approx((opened > there + row.buy_rolls).mean())


@pytest.mark.parametrize("seed", range(8))
def test_orders_and_buying_list_are_those_of_what_is_foretold(seed):
    places, stock, costs = case(seed)
    jobs = RECORDS.jobs.iloc[places].reset_index(drop=True)
    openings = RECORDS.openings[RECORDS.openings["job_id"].isin(jobs["job_id"])]
    takeoff = replace(RECORDS, jobs=jobs, openings=openings, stock=stock)
    foretold = foretold_of(seed)
    orders = price(takeoff, learnt(), *costs)
    pd.testing.assert_frame_equal(orders, with_money(foretold, None))
    row = pooled_orders(foretold).iloc[0]
    sheet = buying_list(takeoff, learnt(), *costs).iloc[0]
    assert sheet["order_packs"] == row["buy_rolls"]
    assert sheet["from_stock_packs"] == row["from_stock_rolls"]


@pytest.mark.parametrize("seed", range(20))
def test_begun_rolls_are_shared_out_in_the_best_of_all_ways(seed):
    jobs = ALL_JOBS.where(case(seed)[0][:3])
    use = priced(jobs, learnt()).use
    stock = stock_of(*[(1.5, 50, 0, left) for left in (12.0 + seed, 21.0, 35.0 - seed)])
    shelf = shelf_for(jobs, use, stock, END_M)
    ours = expected_opened(use, jobs.pack, shelf.begun_m2).sum()
    best = np.inf
    for places in product(range(-1, len(jobs)), repeat=3):
        given = np.zeros(len(jobs))
        for place, left in zip(places, stock["left_m"], strict=True):
            given[place] += (left - END_M) * 1.5 * (place >= 0)
        best = min(best, expected_opened(use, jobs.pack, given).sum())
    assert ours == pytest.approx(best, abs=1e-5)


def takeoff_of(jobs, *stock, **columns):
    """The first jobs of the firm with a stock."""
    chosen = RECORDS.jobs.head(jobs).assign(**columns)
    openings = RECORDS.openings[RECORDS.openings["job_id"].isin(chosen["job_id"])]
    return replace(RECORDS, jobs=chosen, openings=openings, stock=stock_of(*stock))


def test_an_empty_shelf_changes_nothing():
    pd.testing.assert_frame_equal(price(takeoff_of(3), learnt()), price(RECORDS, learnt()).head(3))


def test_whole_rolls_go_to_the_jobs_in_their_order():
    wanted = price(takeoff_of(3), learnt())["order_rolls"]
    orders = price(takeoff_of(3, (1.5, 50, wanted[0] + 1, 0)), learnt())
    assert orders["from_stock_rolls"].tolist() == [wanted[0], 1, 0]
    assert orders["buy_rolls"].tolist() == [0, wanted[1] - 1, wanted[2]]


def test_a_roll_of_the_same_width_serves_whatever_its_length_and_another_width_never():
    alone = price(takeoff_of(1), learnt()).iloc[0]
    takeoff = takeoff_of(1, (1.5, 25, 2, 0), (3.0, 50, 4, 0), (3.0, 50, 0, 20))
    row = price(takeoff, learnt()).iloc[0]
    assert (row["from_stock_m"], row["from_stock_rolls"]) == (50, 0)
    assert row["order_rolls"] == alone["order_rolls"] - 1
    jobs = take_off(takeoff)
    said = stock_words(priced(jobs, learnt(), stock=takeoff.stock).shelf, jobs)
    assert said[1:] == [
        "Not used: 4 rolls of 3 m width, which no job here takes.",
        "Not used: a begun roll of 20 m of 3 m width, which no job here takes.",
    ]


def test_rolls_of_two_lengths_are_kept_apart_and_no_begun_one_is_given_twice():
    takeoff = takeoff_of(2, (1.5, 25, 3, 0), (1.5, 50, 0, 21), roll_length_m=[25.0, 50.0])
    orders, bought = price(takeoff, learnt()), buying_list(takeoff, learnt())
    assert orders["from_stock_rolls"].tolist() == [3, 0]
    assert sorted(orders["from_stock_m"]) == [0, 20]
    sheet = bought[bought["material"] == "sheet"]
    assert sheet["from_stock_packs"].tolist() == [3, 0]


def test_an_end_that_serves_no_more_is_no_sheet():
    jobs, firm = takeoff_of(1, (1.5, 50, 0, 3)), Firm(unusable_end_m=2.5)
    assert price(jobs, learnt(), firm=firm)["from_stock_m"].tolist() == [0.5]
    none = price(jobs, learnt(), firm=Firm(unusable_end_m=3.5))
    assert none["from_stock_m"].tolist() == [0]


def test_more_than_enough_on_the_shelf_buys_nothing_and_costs_no_roll_left_over():
    takeoff = takeoff_of(3, (1.5, 50, 40, 0))
    assert price(takeoff, learnt())["buy_rolls"].tolist() == [0, 0, 0]
    row = buying_list(takeoff, learnt()).iloc[0]
    assert (row["order_packs"], row["chance_short"], row["expected_left_over_packs"]) == (0, 0, 0)
    pooled = pooled_orders(priced(take_off(takeoff), learnt(), stock=takeoff.stock)).iloc[0]
    assert (pooled["buy_rolls"], pooled["pooled_cost"]) == (0, 0)


def test_what_is_left_on_the_last_roll_is_the_mean_of_many_cases():
    takeoff = takeoff_of(4, (1.5, 50, 0, 31))
    orders, jobs = price(takeoff, learnt()), take_off(takeoff)
    use = drawn_use(jobs, learnt())
    for job, row in enumerate(orders.itertuples()):
        need = np.maximum(use[:, job] - row.from_stock_m * 1.5, 0)
        rest = np.ceil(need / 75) * 75 - need
        assert row.expected_left_on_last_m == pytest.approx(rest.mean() / 1.5, abs=0.3)


def test_money_follows_the_rolls_and_the_begun_metres():
    takeoff = takeoff_of(2, (1.5, 50, 0, 31), roll_price=[150.0, np.nan])
    orders = price(takeoff, learnt(), firm=Firm(roll_price=200))
    surface = takeoff.jobs["surface_m2"]
    cost = (orders["order_rolls"] + orders["from_stock_m"] / 50) * [150, 200]
    assert orders["sheet_cost"].tolist() == pytest.approx(cost.tolist())
    assert orders["cost_a_m2"].tolist() == pytest.approx((cost / surface).tolist())
    above = 100 * (orders["expected_m2"] / surface - 1)
    assert orders["all_in_percent"].tolist() == pytest.approx(above.tolist())
    assert price(takeoff, learnt())["sheet_cost"].isna().tolist() == [False, True]


def test_what_will_lie_there_afterwards_is_a_stock_for_the_next_takeoff(tmp_path):
    takeoff = takeoff_of(3, (1.5, 50, 5, 0), (1.5, 50, 0, 31), (3.0, 50, 1, 0), (1.5, 50, 0, 0.7))
    jobs = take_off(takeoff)
    foretold = priced(jobs, learnt(), stock=takeoff.stock, end_m=END_M)
    after = shelf_afterwards(foretold)
    pooled = pooled_orders(foretold).iloc[0]
    opened = sum(
        opened_by(drawn_use(jobs, learnt())[:, job], given_to(foretold, job), 1.5, 50)
        for job in range(3)
    )
    whole = after.query("roll_width_m == 1.5")["rolls"].sum()
    assert whole == max(least_packs(5 + pooled["buy_rolls"] - opened, 0.5), 0)
    assert after.query("roll_width_m == 3")["rolls"].tolist() == [1]
    assert 0.7 in after["left_m"].tolist()
    assert 31 not in after["left_m"].tolist()
    rests = after[after["note"].str.startswith("what ")].reset_index(drop=True)
    use = drawn_use(jobs, learnt())
    for job, left_m in enumerate(rests["left_m"]):
        took = use[:, job] - sum(left - END_M for left in given_to(foretold, job)) * 1.5
        rolls = opened_by(use[:, job], given_to(foretold, job), 1.5, 50)
        assert left_m == pytest.approx(np.median(rolls * 75 - took) / 1.5, abs=0.51)
    assert rests["left_m"].lt(50).all()
    table = {"job_id": ["N1"], "surface_m2": [100.0]}
    folder = write_csv(tmp_path / "next", pd.DataFrame(table))
    after.to_csv(folder / "stock.csv", index=False)
    read = read_records(folder).stock
    columns = ["roll_width_m", "roll_length_m", "rolls", "left_m"]
    pd.testing.assert_frame_equal(read[columns], after[columns], check_dtype=False)


def test_without_a_stock_what_is_left_is_told_too():
    after = shelf_afterwards(priced(take_off(takeoff_of(2)), learnt()))
    assert list(after) == ["roll_width_m", "roll_length_m", "rolls", "left_m", "note"]
    assert after["note"].str.contains("brings back").sum() == 2


def test_more_begun_rolls_than_are_weighed_at_once_are_given_once_each():
    takeoff = takeoff_of(5, *[(1.5, 50, 0, float(left)) for left in range(30, 39)])
    jobs = take_off(takeoff)
    shelf = priced(jobs, learnt(), stock=takeoff.stock, end_m=END_M).shelf
    assert sorted(shelf.begun["left_m"]) == list(range(30, 39))
    given = shelf.begun[shelf.begun["job"] >= 0].groupby("job")["usable_m"].sum()
    assert given.reindex(range(5), fill_value=0).tolist() == pytest.approx(shelf.begun_m.tolist())
    assert len(shelf.begun.query("job >= 0")) == 9
