"""Jobs whose openings are not known, or how deep: what stands in, and how far it may lie."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.base.plain_data import load_plain, save_plain
from airstats.catalog.cut_patterns import CUTS
from airstats.records.reading import Records
from airstats.takeoff import unmeasured
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.sheet_quantities import Takeoff, take_off
from airstats.takeoff.unmeasured import Doubt
from airstats.takeoff.usual_openings import (
    SURFACE_M2,
    Habit,
    Habits,
    quantity_names,
    starting_habits,
)
from tests.invented import invent

REVEALS = [f"reveal_{cut}_m2" for cut in CUTS]
FIRM = invent(jobs=40)


def known(records, which):
    """The records with the openings of some jobs only."""
    ids = set(records.jobs.loc[which, "job_id"])
    openings = records.openings[records.openings["job_id"].isin(ids)].reset_index(drop=True)
    return replace(records, jobs=records.jobs.assign(openings_known=which), openings=openings)


def blank_depths(records, which):
    ids = set(records.jobs.loc[which, "job_id"])
    depth = records.openings["reveal_mm"].mask(records.openings["job_id"].isin(ids))
    return replace(records, openings=records.openings.assign(reveal_mm=depth))


def habits_of(records, error_mm=0.0):
    start = replace(starting_habits(), depth_error_mm=error_mm)
    jobs = take_off(records)
    return jobs.teach(start, np.arange(len(jobs)))


def test_an_ordinary_house_has_thirty_to_forty_m2_of_reveals():
    habits = starting_habits()
    at = [quantity_names().index(name) for name in REVEALS]
    assert 30 <= habits.openings.mean[0, at].sum() <= 40
    spread = np.sqrt(habits.openings.covariance[np.ix_(at, at)].sum())
    assert 0.3 <= spread / habits.openings.mean[0, at].sum() <= 0.5
    assert (np.linalg.eigvalsh(habits.openings.covariance) > -1e-9).all()


def test_unknown_openings_are_never_none():
    jobs = take_off(known(FIRM, np.arange(40) > 0))
    none = replace(FIRM, openings=FIRM.openings.iloc[1:])
    bare = take_off(replace(none, jobs=FIRM.jobs.assign(openings_known=True)))
    assert jobs.table["unmeasured"].tolist() == ["openings", *[""] * 39]
    assert bare.table.loc[0, REVEALS].sum() == 0
    assert jobs.table.loc[0, REVEALS].sum() > 15
    assert jobs.table.loc[0, "laid_m2"] < bare.table.loc[0, "laid_m2"]
    assert np.isnan(jobs.table.loc[0, "opening_count"])
    assert jobs.doubt.covariance[0].trace() > 0
    assert not jobs.doubt.covariance[1:].any()
    pd.testing.assert_frame_equal(jobs.table.iloc[1:], bare.table.iloc[1:])


@pytest.mark.parametrize("at_a_time", [1, 90])
def test_many_openings_are_asked_at_one_depth_after_the_other(at_a_time, monkeypatch):
    firm = blank_depths(FIRM, np.arange(40) % 3 == 0)
    at_once = take_off(firm)
    monkeypatch.setattr(unmeasured, "AT_A_TIME", at_a_time)
    in_turn = take_off(firm)
    pd.testing.assert_frame_equal(in_turn.table, at_once.table, check_exact=True)
    np.testing.assert_array_equal(in_turn.doubt.covariance, at_once.doubt.covariance)
    np.testing.assert_array_equal(in_turn.doubt.shared, at_once.doubt.shared)


def test_the_habits_become_those_of_the_firm():
    """Of many houses with 0.1 m² of reveals a m² and 20 besides, sd 3 m² at 250 m²."""
    rng = np.random.default_rng(4)
    surface = rng.uniform(100, 500, 4000)
    size, names = surface / SURFACE_M2, quantity_names()
    wanted = np.zeros((4000, len(names)))
    at = names.index("reveal_diagonal_m2")
    wanted[:, at] = 0.1 * surface + 20 + 3 * np.sqrt(size) * rng.standard_normal(4000)
    habits = starting_habits().learnt(surface, wanted, rng.normal(220, 40, 4000))
    assert habits.openings.mean[:, at] == pytest.approx([45, 25], abs=0.3)
    assert np.sqrt(habits.openings.covariance[at, at]) == pytest.approx(3, rel=0.05)
    assert habits.usual_depth_mm == pytest.approx(220, abs=3)
    assert habits.depth_sd_mm == pytest.approx(40, rel=0.05)
    assert habits.mean_depth_sd_mm < 1


def test_three_jobs_weigh_as_much_as_the_starting_mean():
    start = Habit(np.zeros((1, 1)), np.array([[3.0]]), np.ones((1, 1)), 6.0)
    learnt = start.learnt(np.ones((3, 1)), np.full((3, 1), 2.0))
    assert learnt.mean[0, 0] == 1
    # Squares: three jobs 1 off the new mean, and the mean 1 off the old, worth three.
    assert learnt.covariance[0, 0] == pytest.approx((6 * 1 + 3 + 3) / 9)
    assert learnt.jobs == 9
    assert start.learnt(np.ones((0, 1)), np.ones((0, 1))) is start


def test_rough_measuring_is_no_difference_between_jobs():
    rng = np.random.default_rng(5)
    nothing = np.zeros((5000, len(quantity_names())))
    habits = replace(starting_habits(), depth_error_mm=30.0)
    surface = np.full(5000, SURFACE_M2)
    seen = habits.learnt(surface, nothing, rng.normal(300, 50, 5000))
    assert seen.depth_sd_mm == pytest.approx(40, rel=0.05)
    assert seen.reliability == pytest.approx(1600 / 2500, abs=0.03)
    exact = habits.learnt(surface, nothing, rng.normal(300, 20, 5000))
    assert exact.depth_sd_mm == pytest.approx(10)


def test_an_unknown_depth_varies_as_jobs_do():
    """Of lined reveals, which grow with the depth, the geometry gives both moments."""
    records = replace(FIRM, openings=FIRM.openings.assign(cut_pattern="lined"))
    depth = Habit(np.array([[300.0]]), np.array([[25.0]]), np.array([[50.0**2]]), 20.0)
    habits = Habits(starting_habits().openings, depth)
    jobs = take_off(blank_depths(records, FIRM.jobs.index == 2)).reckoned(habits)
    row, at = jobs.table.iloc[2], quantity_names().index("reveal_lined_m2")
    length = row["reveal_length_lined_m"]
    assert row["unmeasured"] == "depths"
    assert row["reveal_lined_m2"] == pytest.approx(0.3 * length)
    sd = np.hypot(0.05, 0.05 / 5)
    assert jobs.doubt.covariance[2, at, at] == pytest.approx((sd * length) ** 2)
    assert jobs.doubt.shared[2, at] @ jobs.doubt.shared[2, at] == pytest.approx(
        (0.01 * length) ** 2
    )
    lined = [one.table["lined_opening_m2"].to_numpy() for one in (jobs, take_off(records))]
    assert lined[0] == pytest.approx(lined[1])


def test_a_rough_depth_is_drawn_to_the_usual_one_by_its_reliability():
    records = replace(FIRM, openings=FIRM.openings.assign(reveal_mm=410.0))
    depth = Habit(np.array([[300.0]]), np.array([[25.0]]), np.array([[40.0**2]]), 20.0)
    habits = Habits(starting_habits().openings, depth, 30.0)
    exact = take_off(records)
    rough = exact.reckoned(habits)
    drawn = (300 + 0.64 * 110) / 410
    for cut in ("diagonal", "centre"):
        name = f"reveal_{cut}_m2"
        assert rough.table[name].to_numpy() == pytest.approx(drawn * exact.table[name].to_numpy())
    at = quantity_names().index("reveal_diagonal_m2")
    length = exact.table["reveal_length_diagonal_m"].to_numpy()
    left = (0.8 * 0.030 * length) ** 2
    assert rough.doubt.covariance[:, at, at] == pytest.approx(left)
    again = rough.reckoned(Habits(habits.openings, depth))
    pd.testing.assert_frame_equal(again.table, exact.table)


def test_the_expected_openings_of_a_job_lie_as_its_surface_has_them():
    half = known(FIRM, np.arange(40) % 2 == 0)
    habits = habits_of(half)
    jobs = take_off(half).reckoned(habits)
    lost = jobs.unmeasured == "openings"
    size = jobs.table["surface_m2"].to_numpy()[lost] / SURFACE_M2
    (at,) = [quantity_names().index("reveal_diagonal_m2")]
    expected = habits.openings.mean[0, at] + (size - 1) * habits.openings.mean[1, at]
    assert jobs.table["reveal_diagonal_m2"].to_numpy()[lost] == pytest.approx(expected)
    own = jobs.doubt.covariance[lost, at, at] - (jobs.doubt.shared[lost, at] ** 2).sum(axis=1)
    assert own == pytest.approx(size * habits.openings.covariance[at, at])


def test_a_takeoff_with_unknowns_goes_through_where_and_a_file(tmp_path):
    jobs = take_off(known(FIRM, np.arange(40) % 2 == 0))
    part = jobs.where(np.array([3, 0]))
    assert part.unmeasured.tolist() == ["openings", ""]
    assert np.array_equal(part.doubt.covariance[0], jobs.doubt.covariance[3])
    save_plain(part, tmp_path / "part")
    back = load_plain(tmp_path / "part", (Takeoff, Doubt, Habits, Habit, Records))
    assert np.array_equal(back.doubt.shared, part.doubt.shared)
    pd.testing.assert_frame_equal(back.table, part.table)


def test_materials_at_unknown_openings_are_not_counted():
    records = known(FIRM, np.arange(40) > 0)
    counted = material_quantities(take_off(records), records.openings)
    for name in ("frame_tape_m", "corners", "joint_m"):
        assert np.isnan(counted[name].iloc[0])
        assert (counted[name].iloc[1:] > 0).all()
    deep = blank_depths(FIRM, FIRM.jobs.index == 0)
    full, blank = (material_quantities(take_off(r), r.openings) for r in (FIRM, deep))
    # Those depths are the usual one before any job.
    pd.testing.assert_frame_equal(full, blank)
