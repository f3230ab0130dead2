from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.breakdown import (
    OVERRUN,
    by_quarter,
    cut_comparison,
    cuts_apart,
    find_job,
    overrun_a_job,
    quarter_trends,
    worst_jobs,
)
from airstats.desk import lay_out
from airstats.overrun import MAIN, overrun_table
from tests.invented import invent


@pytest.fixture(scope="module")
def desk():
    return lay_out(invent(factor=0.6))


def changed(records, **columns):
    return replace(records, jobs=records.jobs.assign(**columns))


def test_a_job_is_found_by_its_name_in_any_case(desk):
    assert find_job(desk.jobs, desk.excluded, " j007 ").job_id == "J007"


def test_without_a_name_it_is_the_job_that_ran_over_most(desk):
    table = overrun_table(desk.jobs).set_index("job_id")["overrun_rolls"]
    assert find_job(desk.jobs, desk.excluded).job_id == table.idxmax()


def test_an_unknown_job_gets_names_near_it(desk):
    found = find_job(desk.jobs, desk.excluded, "J0O7")
    assert found.job_id == ""
    assert 'No finished job is called "J0O7": near it are J0' in found.message
    assert "there is, for one, J000" in find_job(desk.jobs, desk.excluded, "zzzz").message


def test_an_excluded_job_is_named_with_its_reason():
    records = invent(jobs=12)
    records.jobs.loc[3, "exclude"] = "a roll was lent"
    desk = lay_out(records)
    assert "J003 is not split: it is excluded (a roll was lent)" in (
        find_job(desk.jobs, desk.excluded, "J003").message
    )


def test_a_number_as_a_name_is_text(desk):
    assert "7" in find_job(desk.jobs, desk.excluded, 7).message


def test_worst_jobs_come_from_the_worst_down_each_with_a_sure_cause(desk):
    worst = worst_jobs(desk.jobs, desk.now)
    assert len(worst) == 10
    assert worst["overrun_rolls"].is_monotonic_decreasing
    assert worst["cause"].value_counts().idxmax() == "reveals"
    assert (worst["low_rolls"].dropna() > 0).all()


def test_a_job_without_a_sure_cause_has_none():
    desk = lay_out(invent(priced_reveals=True))
    every = worst_jobs(desk.jobs, desk.now, 48)
    assert (every["overrun_rolls"] > 0).all()
    assert every["cause"].isna().any() == every["mean_rolls"].isna().any()


def test_interval_of_a_mean_against_a_worked_example():
    # 1, 2, 3, 4: mean 2.5, sd 1.2910; t(3, 95 %) = 2.3534 (tables): 2.5 ± 1.5191.
    records = invent(jobs=4)
    records = changed(records, used_rolls=records.jobs["estimated_rolls"] + np.arange(1, 5))
    row = overrun_a_job(lay_out(records).jobs)
    assert row["mean"] == pytest.approx(2.5)
    assert row["high"] - row["mean"] == pytest.approx(1.5191, abs=1e-4)


def test_causes_of_a_quarter_add_up_to_its_overrun(desk):
    table = by_quarter(desk.jobs, desk.now)
    whole = table[table["cause"].eq(OVERRUN)].set_index("quarter")["mean"]
    parts = table[table["cause"].ne(OVERRUN)].groupby("quarter")["mean"].sum()
    pd.testing.assert_series_equal(whole, parts)
    told = overrun_table(desk.jobs).groupby("quarter")["overrun_rolls"].mean()
    np.testing.assert_allclose(whole, told)


@pytest.mark.parametrize("step", [0.2, -0.2])
def test_a_trend_is_found_where_there_is_one(step):
    records = invent(priced_reveals=True)
    quarter = records.jobs["quarter"].str[-1].astype(float)
    desk = lay_out(changed(records, used_rolls=records.jobs["used_rolls"] + step * quarter))
    row = quarter_trends(desk.jobs, desk.now).set_index("cause").loc[OVERRUN]
    assert row["low"] < step < row["high"]
    assert abs(step) > (row["high"] - row["low"]) / 2


def test_trends_of_the_causes_add_up_to_that_of_the_overrun(desk):
    trends = quarter_trends(desk.jobs, desk.now).set_index("cause")["change"]
    assert trends[list(MAIN)].sum() == pytest.approx(trends[OVERRUN])


def test_one_quarter_has_no_trend(desk):
    assert quarter_trends(desk.quarter_jobs(), desk.now).empty


def test_cuts_hold_the_truth_and_a_cut_without_jobs_is_left_out(desk):
    cuts = cut_comparison(desk.jobs, desk.now).set_index("cut")
    assert list(cuts.index) == ["diagonal", "centre"]
    assert ((cuts["factor_low"] < 0.6) & (cuts["factor_high"] > 0.3)).all()
    assert (cuts["jobs"] == 24).all()
    few = lay_out(invent(jobs=8))
    assert (cut_comparison(few.jobs, few.now)["learnt"].to_numpy() < cuts["learnt"]).all()


def test_cuts_alike_are_not_told_apart_and_lined_is(desk):
    alike = cuts_apart(desk.now, "diagonal", "centre")
    assert alike["low"] < 0 < alike["high"]
    assert cuts_apart(desk.now, "lined", "centre")["low"] > 0
