"""Shortages, differences of cost and groups of jobs, against firms made to depart or not."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, norm

from airstats.analysis.ewma_chart import ALL_JOBS, drift_watch
from airstats.backtests.forecast_checks import (
    cost_differences,
    group_departures,
    interval_checks,
    own_cost,
    pinball_difference,
    quantile_calibration,
    short_of,
    shortages,
    spread_below,
)
from airstats.backtests.rolling import PERCENTS, RULES, backtest
from airstats.model.quarterly_update import calibrate_through, finished_jobs
from tests.benchmark.worlds import World, invent_firm
from tests.external_checks import agree


@pytest.fixture(scope="module")
def looked_back():
    return backtest(invent_firm(World("plain"), 4).records)


@pytest.mark.parametrize(("jobs", "share"), [(20, 0.1), (200, 0.03)])
def test_equal_chances_are_binomial(jobs, share):
    """With one chance for all jobs the number short is binomial."""
    told = short_of(pd.Series(np.full(jobs, share)), pd.Series(np.zeros(jobs, dtype=bool)))
    assert (told["low"], told["high"]) == binom.interval(0.9, jobs, share)
    assert told["foretold"] == pytest.approx(jobs * share)


@pytest.mark.parametrize(
    ("came", "verdict"), [(0, "fewer"), (10, "as foretold"), (30, "more")], ids=str
)
def test_the_number_short_is_judged(came, verdict):
    chances = pd.Series(np.linspace(0.05, 0.15, 100))
    assert short_of(chances, pd.Series(np.arange(100) < came))["verdict"] == verdict


def test_shortages_of_a_back_test_are_those_of_its_orders(looked_back):
    told = shortages(looked_back)
    summary = looked_back.summary.set_index("rule")
    assert told["came"] == summary.loc["airstats", "jobs_short"]
    assert told["foretold"] == pytest.approx(looked_back.jobs["chance_short"].sum())


def test_a_job_costs_no_less_than_nothing():
    jobs = pd.DataFrame({"airstats_cost": [0.0, 0.0, 0.0, 240.0], "quarter": [*"aabb"]})
    found = own_cost(SimpleNamespace(jobs=jobs))
    assert (found["mean"], found["low"]) == (60.0, 0.0)
    # t with 1 degree of freedom, 95 % point 6.3138 (any printed table), times the CR1 error.
    assert found["high"] == pytest.approx(60 + 6.3138 * np.sqrt(2 * 2 * 120**2) / 4, rel=1e-4)


def test_differences_are_those_of_the_summary_and_one_job_has_no_interval(looked_back):
    more = cost_differences(looked_back).set_index("rule")
    assert list(more.index) == list(RULES)[1:]
    cost = looked_back.summary.set_index("rule")["mean_cost"]
    assert more["mean"].to_dict() == pytest.approx((cost - cost["airstats"])[1:].to_dict())
    assert (more["low"] < more["mean"]).all()
    jobs = looked_back.jobs
    ours = np.mean([jobs[f"pinball_p{p}"].mean() for p in PERCENTS])
    simple = np.mean([jobs[f"least_squares_pinball_p{p}"].mean() for p in PERCENTS])
    assert pinball_difference(looked_back)["mean"] == pytest.approx(simple - ours)
    one = SimpleNamespace(jobs=looked_back.jobs.head(1))
    assert np.isinf(cost_differences(one)[["low", "high"]]).all(axis=None)


def test_counts_lie_inside_outside_or_tell_neither(looked_back):
    jobs = finished_jobs(invent_firm(World("plain"), 4).records)
    own = looked_back.jobs.set_index("job_id")
    ids = own.index[:5].to_list()
    low, high = own["low_m2"], own["high_m2"]
    ends = {
        ids[0]: (low.iloc[0], high.iloc[0]),  # inside, up to both ends
        ids[1]: (high.iloc[1], high.iloc[1] + 75),
        ids[2]: (low.iloc[2] - 75, low.iloc[2]),
        ids[3]: (low.iloc[3] - 1, high.iloc[3]),
        ids[4]: (low.iloc[4] - 30, high.iloc[4] + 30),
    }
    table = jobs.table.copy()
    for job, (least, most) in ends.items():
        table.loc[table["job_id"].eq(job), ["used_low_m2", "used_high_m2"]] = least, most
    found = interval_checks(looked_back, replace(jobs, table=table))
    where = found.set_index("job_id")["where"]
    told = ["inside", "above", "below", "left open", "left open"]
    assert where[ids].to_list() == told
    beyond = (found["used_low_m2"] + found["used_high_m2"]) / 2 - found["expected_m2"]
    assert beyond.is_monotonic_increasing
    assert len(found) == len(looked_back.jobs)


def test_groups_that_depart_are_told_and_few_jobs_are_one():
    records = invent_firm(World("plain"), 4).records
    jobs = finished_jobs(records)
    watch = drift_watch(jobs, tuple(calibrate_through(records, "2023Q4")))
    usual = group_departures(watch, jobs).set_index("jobs_of")
    laid = jobs.table.set_index("job_id")["laid_m2"]
    watched = laid[watch.loc[watch["line"].eq(ALL_JOBS), "job_id"]]
    large = watch["job_id"].map(laid) > watched.quantile(2 / 3)
    more = watch.assign(beyond_m2=watch["beyond_m2"] + np.where(large, 60.0, 0.0))
    moved = group_departures(more, jobs).set_index("jobs_of")
    assert moved.loc["large jobs", "verdict"] == "more"
    change = moved["departure_m2"] - usual["departure_m2"]
    assert change["large jobs"] == pytest.approx(60.0)
    assert change["small jobs"] == pytest.approx(0.0)
    thirds = usual.loc[["small jobs", "middling jobs", "large jobs"], "jobs"]
    assert thirds.sum() == usual.loc["all jobs", "jobs"]
    records = invent_firm(World("few", jobs=6, quarters=2), 4).records
    jobs = finished_jobs(records)
    watch = drift_watch(jobs, tuple(calibrate_through(records, "2023Q2")))
    found = set(group_departures(watch, jobs)["jobs_of"])
    assert "all jobs" in found
    assert "small jobs" not in found


def test_an_open_count_is_spread_evenly():
    start, end = np.array([0.0, 0.2, 0.6, 0.3]), np.array([0.1, 0.6, 0.9, 0.3])
    assert spread_below(start, end, 0.5).tolist() == pytest.approx([1, 0.75, 0, 1])
    assert spread_below(start, end, 0.3)[3] == 1
    assert spread_below(start, end, 0.29)[3] == 0


def foretold(mean, sd, use, width):
    """A back-test whose forecasts are normal and whose counts leave `width` open."""
    edge = np.floor(use / width) * width
    low, high = norm.cdf(edge, mean, sd), norm.cdf(edge + width, mean, sd)
    columns = {f"{kind}pinball_p{p}": 0.0 for p in PERCENTS for kind in ("", "least_squares_")}
    table = pd.DataFrame({"chance_low": low, "chance_high": high}).assign(**columns)
    return quantile_calibration(SimpleNamespace(jobs=table)).set_index("percent")


@pytest.mark.parametrize("width", [1e-6, 1.0, 3.0])
def test_right_forecasts_pass_however_coarse_the_count(width):
    rng = np.random.default_rng(2)
    mean = rng.uniform(20, 40, 20_000)
    table = foretold(mean, 2.0, mean + rng.normal(0, 2.0, 20_000), width)
    assert table["below"].to_list() == pytest.approx([0.1, 0.5, 0.8, 0.9], abs=0.02)
    assert (table["surely"] <= table["below"]).all()
    assert (table["below"] <= table["possibly"]).all()


def test_forecasts_that_are_too_low_or_too_narrow_are_told():
    rng = np.random.default_rng(3)
    mean = rng.uniform(20, 40, 400)
    use = mean + rng.normal(0, 2.0, 400)
    low = foretold(mean - 1.5, 2.0, use, 1.0)["verdict"]
    assert low.to_list() == ["too few"] * 4
    narrow = foretold(mean, 1.0, use, 0.5)["verdict"]
    assert narrow.to_list() == ["too many", "as foretold", "too few", "too few"]


def test_chance_is_binomial():
    rng = np.random.default_rng(4)
    mean = rng.uniform(20, 40, 100)
    table = foretold(mean, 2.0, mean + rng.normal(0, 2.0, 100), 1.0)
    # Binomial (100, 0.5): 5 and 95 % points 42 and 58, from any printed table.
    agree("binomial", table.loc[50, ["chance_low", "chance_high"]])


def test_an_invented_firm_is_priced_with_right_chances():
    parts = [backtest(invent_firm(World("plain"), seed).records).jobs for seed in (4, 5, 6)]
    table = quantile_calibration(SimpleNamespace(jobs=pd.concat(parts))).set_index("percent")
    assert table["below"].to_list() == pytest.approx([0.1, 0.5, 0.8, 0.9], abs=0.12)
    assert table["pinball"].sum() < table["pinball_simple"].sum()
