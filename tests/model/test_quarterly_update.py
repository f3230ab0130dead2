"""The quarterly update: what counts in a quarter, once only, and what drift does."""

from functools import partial

import numpy as np
import pytest

from airstats.base.errors import AirstatsError, AllowancesError, RecordsError
from airstats.catalog.cut_patterns import CUTS
from airstats.model import quarterly_update
from airstats.model.allowances import unchanged
from airstats.model.prior import DRIFT_OF_FACTORS
from airstats.model.quarterly_update import finished_jobs, run_through
from tests.benchmark.worlds import World, invent_firm
from tests.invented import FEW, change, ids, invent, keep, same_belief

FIRM = invent_firm(World("small", jobs=24, quarters=4), 5)
RECORDS = FIRM.records
QUARTERS = ["2023Q1", "2023Q2", "2023Q3", "2023Q4"]
calibrate = partial(quarterly_update.calibrate, prior=FEW)
calibrate_through = partial(quarterly_update.calibrate_through, prior=FEW)
REVEALS = ["reveal.diagonal", "reveal.centre", "reveal.lined"]


def test_every_quarter_in_turn():
    whole = calibrate(RECORDS)
    steps = list(calibrate_through(RECORDS, "2023Q4"))
    assert [step.quarter for step in steps] == QUARTERS
    assert [step.new_jobs for step in steps] == [ids(RECORDS, quarter) for quarter in QUARTERS]
    assert (whole.first_quarter, whole.quarter) == ("2023Q1", "2023Q4")
    same_belief(whole.belief, steps[-1].belief)
    assert whole.new_jobs == whole.job_ids
    assert whole.suspects == {job: p for step in steps for job, p in step.suspects.items()}
    assert whole.table().equals(steps[-1].table())
    counted = RECORDS.jobs["crew"].value_counts().to_dict()
    assert whole.crew_jobs == counted
    assert set(whole.belief.crews) == set(counted)


def test_the_quarter_asked_for_comes_after_those_before_it_in_turn():
    second = calibrate(RECORDS, quarter="2023Q2")
    assert second.job_ids == second.new_jobs == ids(RECORDS, "2023Q1") + ids(RECORDS, "2023Q2")
    assert (second.first_quarter, second.late_jobs) == ("2023Q1", ())
    same_belief(second.belief, list(calibrate_through(RECORDS))[1].belief)
    first = calibrate(RECORDS, quarter="2023Q1")
    fourth = calibrate(RECORDS, first, "2023Q4")
    assert (fourth.late_jobs, len(fourth.new_jobs)) == ((), 18)
    same_belief(fourth.belief, calibrate(RECORDS).belief)


@pytest.mark.parametrize("start", [None, "2023Q1"])
def test_a_quarter_without_a_job_is_refused(start):
    some = keep(RECORDS, RECORDS.jobs["quarter"].ne("2023Q3"))
    previous = calibrate(some, quarter=start) if start else None
    for quarter in ("2023Q3", "2030Q1", "2022Q4"):
        with pytest.raises(
            RecordsError,
            match=rf"{quarter}: .* no finished job .* hold jobs of 2023Q1, 2023Q2, 2023Q4\. Ask",
        ):
            calibrate(some, previous, quarter)


def test_a_job_is_never_counted_twice_even_with_another_date(tmp_path):
    first = calibrate(RECORDS, quarter="2023Q1")
    first.save(tmp_path / "q1.json")
    again = calibrate(RECORDS, tmp_path / "q1.json", "2023Q1")
    assert (again.new_jobs, again.job_ids) == ((), ids(RECORDS, "2023Q1"))
    second = calibrate(RECORDS, tmp_path / "q1.json", "2023Q2")
    assert second.new_jobs == ids(RECORDS, "2023Q2")
    assert len(set(second.job_ids)) == len(second.job_ids) == second.belief.seen == 12
    moved = calibrate(change(RECORDS, quarter="2023Q2"), first, "2023Q2")
    assert set(moved.new_jobs) == set(RECORDS.jobs["job_id"]) - set(first.job_ids)


def test_a_late_job_is_used_once_and_named():
    late = ids(RECORDS, "2023Q1")[:2]
    in_time = keep(RECORDS, ~RECORDS.jobs["job_id"].isin(late))
    first = calibrate(in_time, quarter="2023Q1")
    second = calibrate(RECORDS, first, "2023Q2")
    assert set(second.late_jobs) == set(late)
    assert set(second.new_jobs) == {*late, *ids(RECORDS, "2023Q2")}
    third = calibrate(RECORDS, second, "2023Q3")
    assert third.late_jobs == ()
    assert third.new_jobs == ids(RECORDS, "2023Q3")
    at_once = calibrate(RECORDS, first)
    assert at_once.late_jobs == second.late_jobs
    assert set(at_once.new_jobs) == set(RECORDS.jobs["job_id"]) - set(first.job_ids)


def test_jobs_from_before_the_chain_and_after_the_quarter_stay_out():
    second = calibrate(keep(RECORDS, RECORDS.jobs["quarter"] == "2023Q2"))
    third = calibrate(RECORDS, second, "2023Q3")
    assert third.job_ids == ids(RECORDS, "2023Q2") + ids(RECORDS, "2023Q3")


def test_without_a_quarter_the_chain_goes_on_where_it_was():
    second = calibrate(RECORDS, calibrate(RECORDS, quarter="2023Q1"), "2023Q2")
    rest = calibrate(RECORDS, second)
    assert rest.quarter == "2023Q4"
    same_belief(rest.belief, calibrate(RECORDS).belief)


def test_without_a_quarter_and_without_a_later_one_only_what_came_late_counts():
    whole = calibrate(RECORDS)
    again = calibrate(RECORDS, whole)
    assert (again.quarter, again.new_jobs) == ("2023Q4", ())
    same_belief(again.belief, whole.belief)
    late = ids(RECORDS, "2023Q2")[0]
    first = calibrate(keep(RECORDS, RECORDS.jobs["job_id"].ne(late)))
    then = calibrate(RECORDS, first)
    assert (then.quarter, then.new_jobs, then.late_jobs) == ("2023Q4", (late,), (late,))


def test_excluded_and_unfinished_jobs_are_never_fitted():
    reason = np.where(np.arange(24) % 4 == 0, "flooded", "")
    some = calibrate(change(RECORDS, exclude=reason))
    without = calibrate(keep(RECORDS, reason == ""))
    assert not set(some.job_ids) & set(RECORDS.jobs.loc[reason != "", "job_id"])
    same_belief(some.belief, without.belief)
    finished = np.arange(24) % 3 > 0
    some = calibrate(change(RECORDS, finished=finished))
    assert set(some.job_ids) == set(RECORDS.jobs.loc[finished, "job_id"])


@pytest.mark.parametrize(("quarter", "elapsed"), [("2024Q1", 1), ("2025Q3", 7)])
def test_an_empty_quarter_changes_nothing_but_drift_and_trend(quarter, elapsed):
    last = calibrate(RECORDS)
    later = run_through(finished_jobs(RECORDS), [quarter], last)
    before, after = last.belief, later.belief
    assert (later.new_jobs, later.job_ids, later.suspects) == ((), last.job_ids, {})
    moved = after.mean - before.mean
    to_nothing = np.minimum(-before.mean[:, 0], 0)
    trend = np.maximum(elapsed * before.trend, to_nothing)
    assert moved[:, 0] == pytest.approx(trend, abs=1e-12)
    assert not moved[:, 1:].any()
    assert np.array_equal(after.weight, before.weight)
    scale = np.zeros(before.mean.shape[1])
    scale[: 1 + len(CUTS)] = 1.0, *[DRIFT_OF_FACTORS] * len(CUTS)
    grown = elapsed * (before.drift[:, None] * scale) ** 2
    expected = before.covariance + np.eye(len(scale)) * grown[:, None, :]
    np.testing.assert_allclose(after.covariance, expected, rtol=1e-12)
    assert (later.table()["sd"] > last.table()["sd"]).all()
    # Without jobs waste follows the trend, no lower than nothing; nothing else moves.
    told = later.table()["mean"] - last.table()["mean"]
    assert told["waste"] == pytest.approx(before.weight @ trend)
    assert told[REVEALS].to_numpy() == pytest.approx(np.zeros(3), abs=1e-12)


def test_missing_quarters_widen_by_their_number():
    """Jobs of 2023Q1, then none until 2024Q1: four steps of drift, then the update."""
    gap = change(RECORDS, quarter=np.where(np.arange(24) < 6, "2023Q1", "2024Q1"))
    at_once = calibrate(gap)
    waited = calibrate(gap, quarter="2023Q1")
    for quarter in ("2023Q2", "2023Q3", "2023Q4", "2024Q1"):
        waited = run_through(finished_jobs(gap), [quarter], waited)
    same_belief(waited.belief, at_once.belief)


def test_drift_leaves_allowances_less_sure_and_starts_by_the_prior():
    calm, restless = (calibrate(RECORDS, drift=drift).table()["sd"] for drift in (0.0, 0.05))
    assert (restless > calm).all()
    first = calibrate(RECORDS, quarter="2023Q1").belief
    for drift, share in FEW.drift_weights:
        found = first.weight[(first.drift == drift) & (first.trend == 0)].sum()
        assert found == pytest.approx((1 - FEW.trend_weight) * share)
    assert not calibrate(RECORDS, drift=0.05).belief.trend.any()


def test_an_empty_first_quarter_leaves_the_drift_open_until_jobs_come():
    jobs = finished_jobs(RECORDS)
    empty = run_through(jobs, ["2022Q4"], unchanged("2022Q4", FEW))
    assert (empty.quarter, empty.new_jobs) == ("2022Q4", ())
    assert (empty.belief.drift == 0).all()
    first = run_through(jobs, ["2023Q1"], empty)
    same_belief(first.belief, calibrate(RECORDS, quarter="2023Q1").belief)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_four_quarters_without_drift_are_one(seed):
    """Means within 0.15 sd, sds within 10 %; over twenty such firms 0.02 and 1 % are usual."""
    records = invent_firm(World("plain"), seed).records
    steps = calibrate(records, drift=0.0)
    whole = calibrate(change(records, quarter="2023Q4"), drift=0.0)
    for name in ("table", "reuse_table"):
        one, other = getattr(steps, name)(), getattr(whole, name)()
        assert (abs(one["mean"] - other["mean"]) / other["sd"]).max() < 0.15
        assert (one["sd"] / other["sd"]).to_numpy() == pytest.approx(np.ones(len(one)), abs=0.1)


def test_a_previous_file_that_will_not_do_and_no_finished_job(tmp_path):
    third = calibrate(RECORDS, quarter="2023Q3")
    with pytest.raises(AllowancesError, match=r"of 2023Q3, after 2023Q1: give .* earlier quarter"):
        calibrate(RECORDS, third, "2023Q1")
    with pytest.raises(AllowancesError, match=r"none\.json: there is no such file"):
        calibrate(RECORDS, tmp_path / "none.json", "2023Q2")
    with pytest.raises(RecordsError, match=r"invented: there is no finished job; fill in"):
        calibrate(change(RECORDS, finished=False))


@pytest.mark.parametrize("quarter", ["2026-Q3", "2026Q5", "Q3 2026", "2026q3", ""])
def test_a_quarter_that_is_none(quarter):
    with pytest.raises(AirstatsError, match=rf'quarter "{quarter}" .* write it like 2026Q3'):
        calibrate(RECORDS, quarter=quarter)


def test_a_record_is_named_once_it_is_rather_wrong_than_right():
    records = invent(jobs=12)
    usual = records.jobs["used_rolls"].to_numpy()

    def chance(more):
        used = usual + more * (records.jobs.index == 4)
        return calibrate(change(records, used_rolls=used, quarter="2025Q1")).suspects.get("J004")

    right, wrong = 0.0, 3.0
    assert chance(right) is None
    for _ in range(10):
        middle = (right + wrong) / 2
        right, wrong = (middle, wrong) if chance(middle) is None else (right, middle)
    assert chance(wrong) == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("number", [-0.01, 1e300, float("nan"), float("inf")])
@pytest.mark.parametrize("name", ["drift", "depth_error_mm"])
def test_numbers_out_of_range_are_refused(name, number):
    with pytest.raises(AllowancesError, match=rf"{name} is .*: give a number from 0 to 1"):
        calibrate(RECORDS, **{name: number})
