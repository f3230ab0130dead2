from dataclasses import replace

import numpy as np
import pytest

from airstats.backtests.against_real_prices import COMPARED, look_back
from airstats.backtests.forecast_checks import cost_differences
from airstats.backtests.rolling import backtest, cheapest_share
from airstats.model.quarterly_update import finished_jobs
from tests.invented import change, keep


@pytest.fixture(scope="module")
def records(reveals):
    return reveals.records


@pytest.fixture(scope="module")
def found(records):
    return look_back(records)


def test_it_is_the_back_test_retold(records, found):
    result, table = backtest(records), found.table.set_index("rule")
    summary = result.summary.set_index("rule")
    assert found.jobs == len(result.jobs) == 36
    assert tuple(table.index) == COMPARED
    for rule in COMPARED:
        for name in ("jobs_short", "rolls_short", "rolls_left_over"):
            assert table.loc[rule, name] == summary.loc[rule, name]
        assert table.loc[rule, "total_money"] == pytest.approx(result.jobs[f"{rule}_cost"].sum())
    told = cost_differences(result).set_index("rule")
    for row in found.dearer.itertuples():
        assert (row.mean, row.low, row.high) == tuple(told.loc[row.rule])
    assert found.flat_share == cheapest_share(finished_jobs(records), 60.0, 240.0)


def test_the_money_adds_up_from_rolls_short_and_left_over(found):
    table = found.table
    costs = 240 * table["rolls_short"] + 60 * table["rolls_left_over"]
    np.testing.assert_allclose(table["total_money"], costs)
    # A roll of the invented firm costs 150.
    np.testing.assert_allclose(table["shelf_money"], 150 * table["rolls_left_over"])
    assert table["rolls_left_over"].iloc[-1] > 0


def test_without_the_price_of_a_roll_left_over_no_sheet_on_the_shelf_is_priced(records):
    unpriced = change(records, roll_price=np.nan)
    assert np.isnan(look_back(unpriced).table["shelf_money"].iloc[-1])
    without = replace(records, jobs=records.jobs.drop(columns="roll_price"))
    assert np.isnan(look_back(without).table["shelf_money"].iloc[-1])


def test_costs_are_those_asked_for(records):
    dear = look_back(records, leftover_cost=1.0, short_cost=1000.0)
    cheap = look_back(records, leftover_cost=1000.0, short_cost=1.0)
    short = [f.table.set_index("rule").loc["airstats", "jobs_short"] for f in (dear, cheap)]
    assert short[0] < short[1]


def test_one_quarter_gives_its_reason(records):
    found = look_back(keep(records, records.jobs["quarter"].eq("2025Q1")))
    assert "two quarters or more" in found.reason
    assert found.table.empty
    assert found.dearer.empty
