from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from airstats.analysis.regression_leverage import find_influence, slopes_without
from airstats.analysis.regressions import plain_regression, regression_frame
from airstats.backtests.forecast_checks import quantile_calibration, spread_below
from airstats.backtests.rolling import PERCENTS, backtest
from tests.benchmark.worlds import World, invent_firm
from tests.external_checks import agree


@pytest.fixture(scope="module")
def frame(desk):
    return regression_frame(desk.jobs)


@pytest.mark.parametrize(
    ("laid_m2", "overrun_m2", "why"),
    [(0.0, 200.0, "far from the line"), (600.0, 250.0, "unusual job, far from the line")],
)
def test_an_odd_job_stands_out_as_odd(frame, laid_m2, overrun_m2, why):
    far = frame.copy()
    far.loc[7, ["laid_m2", "overrun_m2"]] += [laid_m2, overrun_m2]
    found = find_influence(plain_regression(far)).standing_out.set_index("job_id")
    assert found.loc["J007", "why"] == why
    assert found["cooks"].is_monotonic_decreasing


def test_limits_are_the_usual_ones(frame):
    influence = find_influence(plain_regression(frame))
    assert influence.cooks_limit == pytest.approx(4 / 48)
    assert influence.leverage_limit == pytest.approx(2 * influence.terms / 48)
    assert influence.points["leverage"].sum() == pytest.approx(influence.terms)


def test_slopes_without_are_those_of_a_regression_on_the_rest(frame):
    influence = find_influence(plain_regression(frame))
    table = slopes_without(frame, influence, most=2)
    gone = influence.points.nlargest(2, "cooks")["job_id"]
    rest = plain_regression(frame[~frame["job_id"].isin(gone)]).table
    assert table["without"].to_list() == pytest.approx(rest["coefficient"].to_list())
    moved = (table["without"] - table["coefficient"]) / table["se"]
    assert table["change"].to_list() == pytest.approx(moved.to_list())
    few = frame.head(7)
    assert slopes_without(few, find_influence(plain_regression(few))).empty


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
