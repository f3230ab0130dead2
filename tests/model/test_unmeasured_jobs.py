"""Jobs whose openings or depths are not measured: what they teach, and how they are foretold."""

import json
from dataclasses import replace
from functools import cache, partial

import numpy as np
import pytest

from airstats.analysis.overrun_split import each_cause, split_overrun
from airstats.base.atomic_files import own_digest
from airstats.model.allowances import load_allowances
from airstats.model.posterior import (
    FORMS,
    design,
    predictive,
    starting_belief,
    with_depth_error,
    worths,
)
from airstats.model.quarterly_update import calibrate as calibrate_by
from airstats.model.quarterly_update import finished_jobs
from airstats.pricing.newsvendor import price, priced
from airstats.pricing.pooled_order import drawn_packs
from airstats.takeoff.sheet_quantities import SUMMED, take_off
from airstats.takeoff.usual_openings import quantity_names, starting_habits
from tests.invented import FEW, invent
from tests.takeoff.test_unmeasured import blank_depths, known

FIRM = invent(jobs=48, factor=0.8)
HALF = known(FIRM, np.arange(48) % 4 < 2)
calibrate = partial(calibrate_by, prior=FEW)
EARLY = known(FIRM, np.zeros(48, dtype=bool))


@cache
def learnt():
    """What a firm teaches half of whose jobs were measured."""
    return calibrate(HALF)


def test_unknown_openings_do_not_make_a_reveal_factor_small_nor_waste_large():
    told = replace(HALF, jobs=HALF.jobs.assign(openings_known=True))
    full, half, bare = (calibrate_by(records).table() for records in (FIRM, HALF, told))
    name = "reveal.diagonal"
    assert abs(half["mean"]["waste"] - full["mean"]["waste"]) < 0.01
    assert bare["mean"]["waste"] - full["mean"]["waste"] > 0.015
    assert abs(half["mean"][name] - full["mean"][name]) < 0.1
    assert full["mean"][name] - bare["mean"][name] > 0.2
    assert half["sd"]["waste"] > full["sd"]["waste"]


def test_a_quarter_teaches_what_is_usual_before_its_unmeasured_jobs_are_fitted():
    first = calibrate(HALF, quarter="2025Q1")
    ids = set(first.job_ids)
    measured = HALF.jobs["job_id"].isin(ids) & HALF.jobs["openings_known"]
    assert 0 < measured.sum() < len(ids)
    jobs = take_off(replace(FIRM, jobs=FIRM.jobs[measured].reset_index(drop=True)))
    by_hand = jobs.teach(starting_habits(), np.arange(len(jobs)))
    np.testing.assert_allclose(first.belief.habits.openings.mean, by_hand.openings.mean)
    assert first.belief.habits.openings.jobs == 6 + measured.sum()
    later = calibrate(HALF, previous=first)
    assert later.belief.habits.openings.jobs == 6 + HALF.jobs["openings_known"].sum()
    again = calibrate(HALF, previous=later)
    np.testing.assert_array_equal(
        again.belief.habits.openings.mean, later.belief.habits.openings.mean
    )


@pytest.mark.parametrize("form", FORMS)
def test_what_a_quantity_is_worth_is_what_more_of_it_takes(form):
    place, cuts = FORMS.index(form), take_off(FIRM)
    belief = starting_belief()
    mean = belief.mean[belief.form == place][:1] + 0.01
    worth = worths(mean, place)[0]
    columns = ["laid_m2", *quantity_names()[1:]]
    for at, name in enumerate(columns):
        more = replace(cuts, table=cuts.table.assign(**{name: cuts.table[name] + 1}))
        took = [
            x @ mean[0] + certain
            for x, certain in (design(jobs, place, ()) for jobs in (cuts, more))
        ]
        assert took[1] - took[0] == pytest.approx(worth[at]), name
    assert len(worth) == 1 + len(SUMMED) * (len(worth) - 1) // len(SUMMED)


def test_an_early_job_is_foretold_as_draws_of_its_openings_have_it():
    """One candidate: draw openings and luck, and compare mean and sd of the use."""
    one = learnt().belief.pick(np.array([int(learnt().belief.weight.argmax())]))
    told = predictive(replace(one, weight=np.ones(1)), take_off(EARLY).where(np.array([5])))
    job, place = told.jobs, int(one.form[0])
    rng = np.random.default_rng(3)
    size = len(quantity_names())
    away = rng.multivariate_normal(np.zeros(size), job.doubt.covariance[0], 200_000)
    use = told.mean[0] + away @ worths(one.mean, place)[0]
    plain = np.hypot(one.prior.floor, one.spread[0] * job.amount[0])
    use = use + plain * rng.standard_normal(len(use))
    assert told.job_sd[0, 0] == pytest.approx(use.std(), rel=0.01)
    assert told.job_sd[0, 0] > 1.1 * plain


def test_the_file_keeps_what_is_usual_and_an_older_one_has_the_starting_belief(tmp_path):
    told = calibrate(HALF, depth_error_mm=20.0)
    told.save(tmp_path / "new.json")
    back = load_allowances(tmp_path / "new.json")
    habits, read = told.belief.habits, back.belief.habits
    assert read.depth_error_mm == 20.0
    np.testing.assert_allclose(read.openings.mean, habits.openings.mean)
    np.testing.assert_allclose(read.openings.covariance, habits.openings.covariance, atol=1e-9)
    orders = [price(EARLY, known) for known in (told, back)]
    np.testing.assert_allclose(orders[0]["high_m2"], orders[1]["high_m2"], rtol=1e-6)
    content = json.loads((tmp_path / "new.json").read_text(encoding="utf-8"))
    del content["usual_openings"], content["digest"]
    content["format"] = "airstats-allowances/1"
    content["digest"] = own_digest(content)
    (tmp_path / "old.json").write_text(json.dumps(content), encoding="utf-8")
    old = load_allowances(tmp_path / "old.json").belief.habits
    assert old.depth_error_mm == 0
    np.testing.assert_array_equal(old.openings.mean, starting_habits().openings.mean)


def test_a_quarter_keeps_the_measuring_error_of_the_one_before():
    first = calibrate(FIRM, quarter="2025Q1", depth_error_mm=20.0)
    assert calibrate(FIRM, previous=first).belief.habits.depth_error_mm == 20.0
    other = calibrate(FIRM, previous=first, depth_error_mm=5.0)
    assert other.belief.habits.depth_error_mm == 5.0


def test_rough_depths_no_longer_make_a_factor_small_and_widen_prices():
    rng = np.random.default_rng(8)
    firm = invent(jobs=96, factor=0.8)
    depth = rng.normal(350, 100, 96).clip(100)
    reveal = firm.openings["count"] * 5.2 * (depth - 350) / 1000
    deep = firm.jobs.assign(used_rolls=(firm.jobs["used_rolls"] + 0.8 * reveal / 75).round(2))
    seen = (depth + rng.normal(0, 80, 96)).clip(60)
    rough = replace(firm, jobs=deep, openings=firm.openings.assign(reveal_mm=seen))
    plain, told = calibrate(rough), calibrate(rough, depth_error_mm=80.0)
    for name in ("reveal.diagonal", "reveal.centre"):
        mean = [known.table()["mean"][name] for known in (plain, told)]
        assert mean[1] > mean[0] + 0.05
        assert abs(mean[1] - 0.8) < abs(mean[0] - 0.8)
    exact = replace(told, belief=with_depth_error(told.belief, 0.0))
    width = [(p["high_m2"] - p["low_m2"]).mean() for p in (price(rough, told), price(rough, exact))]
    assert width[0] > 1.05 * width[1]


def test_an_early_price_is_wider_and_says_how_much_measuring_would_tell():
    early, full = price(EARLY, learnt()), price(FIRM, learnt())
    wide, measured = (orders["high_m2"] - orders["low_m2"] for orders in (early, full))
    assert set(early["unmeasured"]) == {"openings"}
    assert set(full["unmeasured"]) == {""}
    assert (wide > early["width_if_measured_m2"]).all()
    assert full["width_if_measured_m2"].to_numpy() == pytest.approx(measured.to_numpy())
    mean = [x.mean() for x in (early["width_if_measured_m2"], measured)]
    assert mean[0] == pytest.approx(mean[1], rel=0.05)
    deep = price(blank_depths(FIRM, FIRM.jobs.index == 3), learnt())
    assert deep["unmeasured"].tolist().count("depths") == 1
    assert deep["width_if_measured_m2"][3] < deep["high_m2"][3] - deep["low_m2"][3]


def test_early_jobs_share_what_nobody_knows_of_the_usual_openings():
    """Drawn one by one they go as priced; together they vary more than apart."""
    young = calibrate(known(FIRM, np.arange(48) < 2), quarter="2025Q1")
    jobs = take_off(EARLY).where(np.arange(8))
    fine = jobs.where(np.arange(8))
    fine = replace(fine, table=fine.table.assign(roll_m2=1.0))
    drawn = drawn_packs(fine, young)
    use = priced(fine, young).use
    assert drawn.mean(axis=0) == pytest.approx(use.mean() + 0.5, rel=0.01)
    assert drawn.std(axis=0) == pytest.approx(use.sd(), rel=0.02)
    sure = replace(young.belief.habits.openings, precision=np.diag([1e9, 1e9]))
    habits = replace(young.belief.habits, openings=sure)
    known_mean = replace(young, belief=replace(young.belief, habits=habits))
    apart = drawn_packs(fine, known_mean)
    assert drawn.sum(axis=1).std() > 1.03 * apart.sum(axis=1).std()


def test_the_split_of_unmeasured_jobs_adds_up_and_carries_their_doubt():
    jobs = finished_jobs(HALF)
    table = split_overrun(jobs, learnt(), by="job_id", unit="m2", causes=each_cause())
    total = table.groupby("group", sort=False)["mean"].sum()
    over = (jobs.table["used_rolls"] - jobs.table["estimated_rolls"]) * 75
    assert total.to_numpy() == pytest.approx(over.to_numpy(), abs=1e-8)
    reveals = [name for name in each_cause() if name.startswith("reveal")]
    one = table[table["cause"].eq(reveals[0])]["sd"].to_numpy()
    lost = jobs.unmeasured == "openings"
    assert one[lost].min() > one[~lost].max()
    whole = split_overrun(jobs, learnt(), unit="m2", causes={"reveals": reveals})
    assert whole["sd"].iloc[0] > 0


def test_a_count_tells_of_the_openings_that_nobody_measured():
    """One candidate, exact counts: the reveals' part is that of draws that led to the use."""
    jobs = finished_jobs(HALF).where(np.array([2]))
    belief = learnt().belief.pick(np.array([int(learnt().belief.weight.argmax())]))
    belief = replace(belief, weight=np.ones(1), covariance=belief.covariance * 1e-9)
    told, form = predictive(belief, jobs), int(belief.form[0])
    worth, doubt = worths(belief.mean, form)[0], told.jobs.doubt
    rng = np.random.default_rng(6)
    away = rng.multivariate_normal(np.zeros(len(worth)), doubt.covariance[0], 1_000_000)
    plain = np.hypot(belief.prior.floor, belief.spread[0] * told.jobs.amount[0])
    use = told.mean[0] + away @ worth + plain * rng.standard_normal(len(away))
    low, high = jobs.interval[0]
    near = (low - 2 < use) & (use < high + 2)
    assert near.sum() > 2000
    moved = (away[near, 1:] @ worth[1:]).mean(), (away[near, 1:] @ worth[1:]).std()
    at = [f"reveal.{name}" for name in ("diagonal", "centre", "lined")]
    part = split_overrun(jobs, replace(learnt(), belief=belief), unit="m2", causes={"reveals": at})
    columns = design(told.jobs, form, belief.crews)[0]
    usual = told.mean[0, 0] - (1 + belief.mean[0, 0]) * told.jobs.amount[0]
    usual -= columns[0, belief.shared :] @ belief.mean[0, belief.shared :]
    assert part["mean"].iloc[0] == pytest.approx(usual + moved[0], abs=0.3)
    assert part["sd"].iloc[0] == pytest.approx(moved[1], rel=0.05)
    assert abs(moved[0]) > 0.3
