import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.tools import add_constant

from airstats.analysis.overrun_split import MAIN, overrun_table, split_overrun
from airstats.analysis.overrun_views import (
    OVERRUN,
    by_quarter,
    cut_comparison,
    cuts_apart,
    find_job,
    groups_by_reveals,
    overrun_a_job,
    overrun_by_reveals,
    quarter_trends,
    rise_with_reveals,
    usual_split,
    worst_jobs,
)
from airstats.model.allowances import unchanged
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs
from airstats.pricing.newsvendor import predict
from airstats.reports.desk import lay_out
from tests.invented import (
    change,
    counted_whole,
    desk_of,
    invent,
    used_more,
    without_openings,
)


def test_a_job_is_found_by_its_name_in_any_case_or_the_one_that_ran_over_most(desk):
    assert find_job(desk.jobs, desk.excluded, " j007 ").job_id == "J007"
    table = overrun_table(desk.jobs).set_index("job_id")["overrun_rolls"]
    assert find_job(desk.jobs, desk.excluded).job_id == table.idxmax()


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("J0O7", r'No finished job is called "J0O7": near it are J0\d\d, J0\d\d, J0\d\d, J0\d\d\.'),
        ("J0xx", ".*near it are.*"),  # Two characters of four in their places are near enough.
        ("zzzz", ".*there is, for one, J000.*"),
        (7, ".*7.*"),
    ],
)
def test_an_unknown_job_gets_names_near_it(desk, name, told):
    found = find_job(desk.jobs, desk.excluded, name)
    assert found.job_id == ""
    assert re.fullmatch(told, found.message)


def test_an_excluded_job_is_named_with_its_reason():
    records = invent(jobs=12)
    records.jobs.loc[3, "exclude"] = "a roll was lent"
    desk = lay_out(records)
    found = find_job(desk.jobs, desk.excluded, "J003")
    told = "J003 is not split: it is excluded (a roll was lent)."
    assert (found.job_id, found.message) == ("", told)


def test_worst_jobs_come_from_the_worst_down_each_with_a_sure_cause(desk):
    worst = worst_jobs(desk.jobs, desk.now)
    assert len(worst) == 10
    told = ["cause", "mean_rolls", "low_rolls", "high_rolls"]
    assert list(worst.columns) == [*overrun_table(desk.jobs).columns, *told]
    assert worst["overrun_rolls"].is_monotonic_decreasing
    assert worst["cause"].value_counts().idxmax() == "reveals"
    assert (worst["low_rolls"].dropna() > 0).all()


def test_a_job_without_a_sure_cause_has_none():
    """Reveals 20 mm deep take next to nothing: many a job ran over by chance alone."""
    desk = desk_of(reveal_mm=20.0)
    every = worst_jobs(desk.jobs, desk.now, 48)
    assert (every["overrun_rolls"] > 0).all()
    assert len(every) == (overrun_table(desk.jobs)["overrun_rolls"] > 0).sum()
    assert every["cause"].isna().any()
    assert every["cause"].isna().equals(every["mean_rolls"].isna())


def test_interval_of_a_mean_against_a_worked_example():
    # 1, 2, 3, 4: mean 2.5, sd 1.2910; t(3, 95 %) = 2.3534 (tables): 2.5 ± 1.5191.
    records = invent(jobs=4)
    jobs = finished_jobs(change(records, used_rolls=records.jobs["estimated_rolls"] + [1, 2, 3, 4]))
    told = overrun_a_job(jobs)[["mean", "low", "high"]].to_numpy()
    assert told == pytest.approx([2.5, 2.5 - 1.5191, 2.5 + 1.5191], abs=1e-4)
    # A roll costs 150.
    assert overrun_a_job(jobs, "money").to_numpy() == pytest.approx(150 * told)


def test_one_job_has_no_interval_and_two_have_one(desk):
    one, two = (overrun_a_job(desk.jobs.where(np.arange(count))) for count in (1, 2))
    assert one["mean"] == overrun_table(desk.jobs)["overrun_rolls"].iloc[0]
    assert (one["low"], one["high"]) == (-np.inf, np.inf)
    assert np.isfinite(two).all()


def test_of_jobs_that_ran_over_alike_the_amply_priced_come_first():
    """Two rolls over each; held in the price beyond the surface: 1, 3 and 2 rolls of 75 m²."""
    records, priced = invent(jobs=3), np.array([8.0, 9.0, 5.0])
    surface = 75 * np.array([7.0, 6.0, 3.0])
    columns = {"surface_m2": surface, "estimated_rolls": priced, "used_rolls": priced + 2}
    desk = lay_out(change(records, **columns))
    assert worst_jobs(desk.jobs, desk.now)["job_id"].tolist() == ["J001", "J002", "J000"]
    assert find_job(desk.jobs, desk.excluded).job_id == "J001"


def test_a_quarter_has_its_overrun_first_then_causes_a_job_that_add_up_to_it(desk):
    table = by_quarter(desk.jobs, desk.now)
    assert list(table.columns) == ["quarter", "jobs", "cause", "mean", "low", "high"]
    assert list(table.index) == list(range(4 * (1 + len(MAIN))))
    assert table["cause"].tolist() == [OVERRUN, *MAIN] * 4
    assert (table["jobs"] == 12).all()
    whole = table[table["cause"].eq(OVERRUN)].set_index("quarter")["mean"]
    causes = table[table["cause"].ne(OVERRUN)].reset_index(drop=True)
    pd.testing.assert_series_equal(whole, causes.groupby("quarter")["mean"].sum())
    told = overrun_table(desk.jobs).groupby("quarter")["overrun_rolls"].mean()
    np.testing.assert_allclose(whole, told)
    split = usual_split(desk.jobs, desk.now, "quarter")
    for name in ("mean", "low", "high"):
        np.testing.assert_allclose(causes[name] * 12, split[name])


@pytest.mark.parametrize("step", [0.2, -0.2])
def test_a_trend_is_found_where_there_is_one(step):
    records = invent(priced_reveals=True)
    quarter = records.jobs["quarter"].str[-1].astype(float)
    desk = lay_out(used_more(records, step * quarter))
    row = quarter_trends(desk.jobs, desk.now).set_index("cause").loc[OVERRUN]
    assert row["low"] < step < row["high"]
    assert abs(step) > (row["high"] - row["low"]) / 2


def test_trends_against_statsmodels(desk):
    """90 % for the overrun; for the causes 90 % for all of them together (Bonferroni)."""
    trends = quarter_trends(desk.jobs, desk.now).set_index("cause")
    assert list(trends.index) == [OVERRUN, *MAIN]
    assert trends["change"][list(MAIN)].sum() == pytest.approx(trends["change"][OVERRUN])
    quarter = desk.jobs.table["quarter"].str[-1].astype(float).to_numpy()
    split = usual_split(desk.jobs, desk.now, "job_id").pivot_table("mean", "group", "cause")
    rolls = {name: split.loc[desk.jobs.table["job_id"], name].to_numpy() for name in MAIN}
    rolls[OVERRUN] = overrun_table(desk.jobs)["overrun_rolls"].to_numpy()
    for cause, values in rolls.items():
        line = OLS(values, add_constant(quarter)).fit()
        chance = 0.1 if cause == OVERRUN else 0.1 / len(MAIN)
        expected = [line.params[1], *line.conf_int(chance)[1]]
        told = trends.loc[cause, ["change", "low", "high"]].to_numpy(dtype=float)
        np.testing.assert_allclose(told, expected, rtol=1e-6, atol=1e-12)


def test_one_quarter_or_two_jobs_have_no_trend(desk):
    newest = desk.jobs.where(desk.jobs.table["quarter"].eq(desk.quarter))
    assert quarter_trends(newest, desk.now).empty
    for places, count in (([0, 47], 0), ([0, 1, 47], 1 + len(MAIN))):
        trends = quarter_trends(desk.jobs.where(places), desk.now)
        assert len(trends) == count
        assert list(trends.columns) == ["cause", "change", "low", "high"]


def test_cuts_hold_the_truth_and_are_told_apart_only_where_they_differ(desk):
    cuts = cut_comparison(desk.jobs, desk.now).set_index("cut")
    assert list(cuts.index) == ["diagonal", "centre"]
    assert ((cuts["factor_low"] < 0.5) & (cuts["factor_high"] > 0.3)).all()
    assert (cuts["jobs"] == 24).all()
    few = desk_of(jobs=8)
    assert (cut_comparison(few.jobs, few.now)["learnt"].to_numpy() < cuts["learnt"]).all()
    alike = cuts_apart(desk.now, "diagonal", "centre")
    assert alike["low"] < 0 < alike["high"]
    assert cuts_apart(desk.now, "lined", "centre")["low"] > 0


def test_cuts_before_any_job_by_hand(desk):
    """The starting belief: diagonal and centre 0.30 ± 0.25, lined 1.10 ± 0.30, nothing learnt."""
    start = unchanged("2025Q4", replace(Prior(), wide_weight=0.0))
    cuts = cut_comparison(desk.jobs, start).set_index("cut")
    for name in ("factor", "start"):
        assert cuts[name].to_numpy() == pytest.approx([0.3, 0.3], abs=1e-6)
    assert cuts["learnt"].to_numpy() == pytest.approx([0, 0], abs=1e-6)
    # 1200 × 1400, 350 deep: 1.82 m² of reveal each.
    counts = desk.records.openings.groupby("cut_pattern")["count"].sum()
    assert cuts["reveal_m2"].to_numpy() == pytest.approx(1.82 * counts[cuts.index].to_numpy())
    # sd of the difference: √(0.30² + 0.25²) = 0.3905; 90 % within 1.6449 of them.
    apart = cuts_apart(start, "lined", "centre")
    assert apart.to_numpy() == pytest.approx([0.8, 0.8 - 0.6423, 0.8 + 0.6423], abs=1e-4)


def test_sheet_of_a_cut_is_its_part_of_the_overrun(desk):
    cuts = cut_comparison(desk.jobs, desk.now).set_index("cut")
    split = split_overrun(desk.jobs, desk.now).set_index("cause")
    for cut in cuts.index:
        for name in ("mean", "low", "high"):
            assert cuts.loc[cut, f"{name}_rolls"] == split.loc[f"reveal.{cut}", name]
    known = desk.now.table().loc["reveal.diagonal"]
    # 0.30 ± 0.25, and with a chance of three in ten 0.90 ± 0.60: 0.48 ± 0.4768.
    assert cuts.loc["diagonal", "start"] == pytest.approx(0.48)
    assert cuts.loc["diagonal", "learnt"] == pytest.approx(
        1 - (known["sd"] / 0.47681) ** 2, abs=1e-5
    )
    assert cuts.loc["diagonal", ["factor", "factor_low", "factor_high"]].tolist() == (
        known[["mean", "low", "high"]].tolist()
    )


def test_a_job_with_little_reveal_counts_all_the_same():
    """Ten or so reveals 10 mm deep have half a square metre."""
    shallow = desk_of(reveal_mm=10.0)
    assert shallow.jobs.table["reveal_diagonal_m2"].max() < 1.1
    assert cut_comparison(shallow.jobs, shallow.now)["jobs"].tolist() == [24, 24]


def test_a_cut_of_one_job_has_a_row_of_its_own(desk):
    """Jobs with odd numbers are cut down the middle."""
    cuts = cut_comparison(desk.jobs.where([1]), desk.now)
    assert cuts["cut"].to_dict() == {0: "centre"}
    assert cuts["jobs"].tolist() == [1]
    assert list(cuts.columns) == [
        "cut", "jobs", "reveal_m2", "factor", "factor_low", "factor_high", "start", "learnt",
        "mean_rolls", "low_rolls", "high_rolls",
    ]  # fmt: skip


def test_each_job_is_missed_only_where_its_count_lies_outside_what_was_foretold(reveals):
    table = overrun_by_reveals(reveals.jobs, reveals.now)
    use = predict(reveals.jobs, reveals.now, 0)
    low, high = reveals.jobs.interval.T
    outside = (use.below(high) < 0.05) | (use.below(low) > 0.95)
    assert table["missed"].tolist() == outside.tolist()
    assert 0 < outside.mean() < 0.2
    np.testing.assert_allclose(table["line_rolls"].mean(), table["foretold_rolls"].mean())
    unknown = change(reveals.records, openings_known=reveals.records.jobs.index > 5)
    jobs = finished_jobs(without_openings(unknown)).reckoned(reveals.now.belief.habits)
    assert len(overrun_by_reveals(jobs, reveals.now)) == len(reveals.jobs) - 6


def test_the_line_foretells_the_count_where_an_opened_roll_counts_whole():
    desk = lay_out(counted_whole(invent(jobs=24, factor=0.6)))
    table = overrun_by_reveals(desk.jobs, desk.now)
    np.testing.assert_allclose(table["overrun_rolls"], table["high_rolls"])
    above = table["line_rolls"].mean() - table["foretold_rolls"].mean()
    assert above == pytest.approx(0.5)


def test_jobs_alike_in_their_reveals_are_grouped_with_t_intervals(reveals):
    table = overrun_by_reveals(reveals.jobs, reveals.now)
    groups = groups_by_reveals(table)
    assert len(groups) == 5
    assert groups["jobs"].sum() == len(table)
    assert groups["reveal_m2"].is_monotonic_increasing
    first = table.nsmallest(int(groups["jobs"][0]), "reveal_m2")["overrun_rolls"]
    # Reference: scipy's interval of a mean.
    ends = stats.t.interval(0.9, len(first) - 1, first.mean(), stats.sem(first))
    np.testing.assert_allclose(groups.loc[0, ["low", "high"]].astype(float), ends)
    assert groups_by_reveals(table.head(15)).empty
    assert groups_by_reveals(table.assign(reveal_m2=5.0)).empty


def test_the_rise_with_reveals_is_the_slope_of_a_t_interval(reveals):
    table = overrun_by_reveals(reveals.jobs, reveals.now)
    found = rise_with_reveals(table)
    # Reference: statsmodels' ordinary least squares.
    x = add_constant(table["reveal_m2"] / 10)
    fit = OLS((table["low_rolls"] + table["high_rolls"]) / 2, x).fit()
    np.testing.assert_allclose(found[["low", "high"]].tolist(), fit.conf_int(0.1).iloc[1])
    assert rise_with_reveals(table.head(2)) is None
    assert rise_with_reveals(table.assign(reveal_m2=5.0)) is None
