import numpy as np
import pandas as pd
import pytest

from airstats.analysis.allowance_changes import (
    compare_allowances,
    crew_comparison,
)
from airstats.analysis.regressions import (
    find_influence,
    mean_by_cluster,
    plain_regression,
    regression_frame,
    slopes_without,
    terms,
)
from airstats.model.quarterly_update import finished_jobs
from airstats.reports.desk import lay_out
from tests.invented import change, desk_of, invent, used_more


def frame_of(jobs, noise, seed=1):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({name: rng.uniform(5, 50, jobs) for name in terms()})
    truth = 3 + frame.to_numpy() @ [0.1, 0.3, 0.5, 1.1]
    return frame.assign(
        job_id=[f"J{n}" for n in range(jobs)], overrun_m2=truth + rng.normal(0, noise, jobs)
    )


def test_regression_frame_takes_the_middle_of_a_count():
    records = invent(jobs=4)
    records.jobs["counted"] = "opened"
    records.jobs["used_rolls"] = 5.0
    records.jobs["estimated_rolls"] = 4.0
    frame = regression_frame(finished_jobs(records))
    assert frame["overrun_m2"].to_list() == pytest.approx([37.5] * 4)
    assert (frame["beyond_m2"] + frame["laid_m2"]).to_list() == pytest.approx([337.5] * 4)


def test_plain_regression_finds_the_slopes_and_keeps_one_point_a_job():
    fit = plain_regression(frame_of(60, 0.01))
    assert fit.table["coefficient"].to_list() == pytest.approx([3, 0.1, 0.3, 0.5, 1.1], abs=0.02)
    assert len(fit.points) == fit.jobs == 60
    assert fit.points["leverage"].sum() == pytest.approx(5)


def test_hc3_errors_and_t_intervals_follow_their_formula():
    frame = frame_of(20, 4.0)
    fit = plain_regression(frame)
    x = np.column_stack([np.ones(20), frame[list(terms())]])
    e, h = fit.points["residual_m2"].to_numpy(), fit.points["leverage"].to_numpy()
    bread = np.linalg.inv(x.T @ x)
    robust = bread @ (x.T * (e / (1 - h)) ** 2) @ x @ bread
    assert fit.table["se"].to_numpy() == pytest.approx(np.sqrt(np.diag(robust)))
    # 95 % point of t with 15 degrees of freedom: 1.7531, from any printed t table.
    reach = (fit.table["high"] - fit.table["low"]) / 2 / fit.table["se"]
    assert reach.to_numpy() == pytest.approx(1.7531, abs=1e-4)


def test_few_jobs_and_terms_that_no_job_holds_are_left_out_with_the_reason():
    fit = plain_regression(frame_of(30, 1.0).assign(reveal_lined_m2=0.0))
    assert fit.left_out == ("reveal_lined_m2",)
    assert "reveal_lined_m2" not in set(fit.table["term"])
    fit = plain_regression(frame_of(6, 1.0))
    assert fit.table.empty
    assert "too few" in fit.reason


def test_jobs_too_much_alike_give_a_reason_and_no_table():
    alike = frame_of(20, 1.0).assign(**dict.fromkeys(terms(), 7.0))
    twice = frame_of(20, 1.0).assign(laid_m2=lambda frame: 2 * frame["reveal_centre_m2"])
    for frame in (alike, twice):
        fit = plain_regression(frame)
        assert fit.table.empty
        assert fit.reason.startswith("the jobs are too much alike to tell 5 terms apart")
    assert plain_regression(frame_of(20, 1.0).assign(overrun_m2=-37.5)).reason


def test_a_term_that_one_job_holds_has_no_error_and_is_left_out():
    frame = frame_of(30, 1.0)
    one = frame.assign(reveal_lined_m2=frame["reveal_lined_m2"].where(frame.index == 3, 0.0))
    fit = plain_regression(one)
    assert fit.left_out == ("reveal_lined_m2",)
    assert fit.points["leverage"].max() < 0.99
    assert plain_regression(frame).left_out == ()


def test_comparison_has_a_verdict_for_each_allowance(desk):
    table = compare_allowances(desk.jobs, desk.before, desk.now)
    assert table["allowance"].to_list() == list(desk.now.table().index)
    assert set(table["verdict"]) <= {"moved", "held", "not enough to tell"}
    assert table["by_chance"].gt(0).all()
    lined = table.set_index("allowance").loc["reveal.lined"]
    assert lined["verdict"] == "not enough to tell"  # the jobs hold no lined opening


def test_waste_that_jumps_has_moved(desk):
    last = desk.records.jobs["quarter"].eq("2025Q4")
    more = desk.records.jobs["surface_m2"] * 0.25 / 75 * last
    for told, verdict in ((desk, "held"), (lay_out(used_more(desk.records, more)), "moved")):
        table = compare_allowances(told.jobs, told.before, told.now).set_index("allowance")
        assert table.loc["waste", "verdict"] == verdict


def test_crews_are_pulled_to_the_firm():
    desk = desk_of(crew_extra=0.2)
    table = crew_comparison(desk.jobs, desk.now).set_index("crew")
    assert table["pooled"].idxmax() == "Damson"
    assert table.loc["Damson", "pooled_low"] > 0
    assert table["jobs"].sum() == len(desk.jobs)
    nameless = lay_out(change(invent(jobs=12), crew=""))
    assert crew_comparison(nameless.jobs, nameless.now).empty


def test_a_last_quarter_without_a_job_to_learn_from_is_not_taken_by_default():
    records = invent(jobs=12)
    last = records.jobs["quarter"].eq("2025Q4")
    records.jobs["exclude"] = np.where(last, "rolls were stolen", "")
    desk = lay_out(records)
    assert (desk.quarter, desk.later) == ("2025Q3", 3)


def test_an_interval_of_related_values_follows_its_formula():
    """CR1: G/(G-1) · Σ(sum of a cluster's residuals)² / n², t with G - 1 degrees of freedom."""
    rng = np.random.default_rng(8)
    cluster = np.repeat(["a", "b", "c", "d"], [5, 9, 4, 12])
    values = rng.normal(0, 1, 30) + pd.factorize(cluster)[0]
    found = mean_by_cluster(values, cluster)
    sums = pd.Series(values - values.mean()).groupby(cluster).sum()
    # 95 % point of t with 3 degrees of freedom: 2.3534, from any printed t table.
    reach = 2.3534 * np.sqrt(4 / 3 * (sums**2).sum()) / 30
    assert found["mean"] == pytest.approx(values.mean())
    assert found["high"] - found["mean"] == pytest.approx(reach, rel=1e-4)
    assert found["clusters"] == 4


def test_related_values_tell_less_and_one_value_nothing():
    values = np.repeat([0.0, 1.0, 2.0, 3.0, 4.0], 10)
    related = mean_by_cluster(values, np.repeat(np.arange(5), 10))
    alone = mean_by_cluster(values, np.zeros(50))
    assert related["high"] - related["low"] > 2 * (alone["high"] - alone["low"])
    assert mean_by_cluster(np.array([3.0]), np.array(["a"]))[["low", "high"]].abs().min() == np.inf


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
