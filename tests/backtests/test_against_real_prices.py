import numpy as np
import pytest

from airstats.backtests.against_real_prices import MEASURES, look_back
from airstats.backtests.rolling import backtest
from tests.invented import keep


@pytest.fixture(scope="module")
def records(reveals):
    return reveals.records


@pytest.fixture(scope="module")
def found(records):
    return look_back(records)


def test_it_is_the_back_test_retold(records, found):
    result, table = backtest(records), found.table.set_axis(list(MEASURES))
    summary = result.summary.set_index("rule")
    assert found.jobs == len(result.jobs) == 36
    for rule, column in (("estimated", "really"), ("airstats", "foretold")):
        for name in ("jobs_short", "rolls_short", "rolls_left_over"):
            assert table.loc[name, column] == summary.loc[rule, name]
        assert table.loc["cost", column] == pytest.approx(result.jobs[f"{rule}_cost"].sum())


def test_differences_lie_in_intervals_like_the_normal_one(found, records):
    table = found.table
    np.testing.assert_allclose(table["difference"], table["foretold"] - table["really"])
    assert (table["difference_low"] <= table["difference"]).all()
    assert (table["difference"] <= table["difference_high"]).all()
    # Reference: central limit theorem, n sd²; the bootstrap of a sum differs by a tenth or so.
    jobs = backtest(records).jobs
    change = jobs["airstats_cost"] - jobs["estimated_cost"]
    reach = 1.645 * np.sqrt(len(change)) * change.std(ddof=0)
    row = found.table.set_axis(list(MEASURES)).loc["cost"]
    assert (row["difference_high"] - row["difference_low"]) / 2 == pytest.approx(reach, rel=0.15)


def test_quarters_add_up_and_the_first_is_not_priced(records, found):
    table = found.table.set_axis(list(MEASURES))
    assert found.quarters["quarter"].tolist() == ["2025Q2", "2025Q3", "2025Q4"]
    assert found.quarters["really_short"].sum() == table.loc["rolls_short", "really"]
    assert found.quarters["foretold_left_over"].sum() == table.loc["rolls_left_over", "foretold"]
    assert look_back(records).table.equals(found.table)


def test_costs_are_those_asked_for(records):
    dear = look_back(records, leftover_cost=1.0, short_cost=1000.0)
    cheap = look_back(records, leftover_cost=1000.0, short_cost=1.0)
    short = [f.table.set_axis(list(MEASURES)).loc["jobs_short", "foretold"] for f in (dear, cheap)]
    assert short[0] < short[1]


def test_one_quarter_gives_its_reason(records):
    found = look_back(keep(records, records.jobs["quarter"].eq("2025Q1")))
    assert "two quarters or more" in found.reason
    assert found.table.empty
    assert found.quarters.empty
