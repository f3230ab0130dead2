from dataclasses import replace
from unittest import mock

import numpy as np
import pytest
from scipy.stats import norm

from airstats.analysis import recording_value
from airstats.analysis.recording_value import WAYS, counted_as, value_of_recording
from airstats.model.posterior import starting_belief
from airstats.model.prior import Prior
from airstats.model.quarterly_update import calibrate, unchanged
from airstats.reports.desk import lay_out
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark.worlds import WORLDS, invent_firm
from tests.invented import counted_whole, desk_of, few_candidates, invent, without_openings


@pytest.fixture(scope="module")
def whole():
    """A firm that counts whole rolls, and what finer records would save it."""
    with mock.patch("airstats.model.allowances.Prior", few_candidates):
        desk = lay_out(counted_whole(invent(jobs=24, factor=0.5)))
    return desk, value_of_recording(desk.now, desk.jobs, draws=40)


def test_a_finer_count_is_worth_more(whole):
    table = whole[1].set_index("way")
    assert list(table.index) == [way for way in WAYS if way != recording_value.OPENINGS]
    assert table.loc["last roll measured", "saving"] > 0
    assert table.loc["last roll measured", "saving"] > table.loc["half rolls", "saving"]
    apart = table.loc["as now", "not_known"] - table["not_known"]
    assert table["saving"].to_numpy() == pytest.approx(apart.to_numpy())
    assert (table["cost"] > table["not_known"]).all()


def test_the_same_records_give_the_same_figures(whole):
    desk = whole[0]
    one, other = (value_of_recording(desk.now, desk.jobs, draws=3) for _ in range(2))
    assert one.equals(other)


def test_what_a_year_teaches_is_worked_out_once_for_all_ways_that_count_alike(whole, monkeypatch):
    desk, calls = whole[0], []
    learn = recording_value.update_each
    monkeypatch.setattr(
        recording_value, "update_each", lambda *given: calls.append(given) or learn(*given)
    )
    value_of_recording(desk.now, desk.jobs, draws=2)
    # As now, half, quarter, measured; and the second year as now.
    assert len(calls) == 5


def test_who_measures_already_saves_nothing_by_it(whole):
    desk = whole[0]
    jobs = replace(desk.jobs, table=desk.jobs.table.assign(counted="measured"))
    table = value_of_recording(desk.now, jobs, draws=5).set_index("way")
    assert table.loc[["half rolls", "quarter rolls", "last roll measured"], "saving"].eq(0).all()


def test_who_knows_everything_pays_for_no_more_records():
    desk = desk_of()
    belief = desk.now.belief
    one = belief.pick(np.array([0]))
    known = replace(one, weight=np.ones(1), drift=np.zeros(1), covariance=1e-12 * one.covariance)
    table = value_of_recording(replace(desk.now, belief=known), desk.jobs, draws=10)
    assert table["not_known"].to_numpy() == pytest.approx(0, abs=1e-6)
    assert table["saving"].to_numpy() == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("how", ["half", "quarter", "exact", "measured", None])
def test_a_count_holds_the_use_as_its_kind_says(how):
    year = desk_of().jobs
    year = replace(year, table=year.table.assign(counted="opened"))
    rng = np.random.default_rng(8)
    used = rng.uniform(0.2, 6, len(year)) * year.pack
    low, high = counted_as(year, used, rng.uniform(-1, 1, len(year)), how).interval.T / year.pack
    assert (low * year.pack <= used + 1e-9).all()
    assert (used <= high * year.pack + 1e-9).all()
    width = {None: 1.0, "half": 0.5, "quarter": 0.25, "exact": 0.01}.get(how)
    if width:
        assert high - low == pytest.approx(width, abs=1e-9)
    else:
        # ± 5 mm on the outside of a roll of 170 mm: at most 50 m × 170 × 10 ÷ (170² - 80²) = 3.8 m
        # either way, and a little more for a core and a full roll known as well as that.
        assert (high - low).max() * 50 / 2 < 6
        assert (high - low).min() * 50 / 2 > 1


def test_the_value_agrees_with_the_formula_of_a_normal_need(monkeypatch):
    """Newsvendor with a normal need of unknown mean, observed n times.

    An order at its best quantile costs (c_o + c_u) φ(z) sd (Snyder & Shen, Fundamentals of Supply
    Chain Theory, 2nd ed., section 4.3), with sd² = σ² + s² where the mean is known to ± s; after n
    observations 1 / s² grows by n / σ² (normal with known variance; Gelman et al., Bayesian Data
    Analysis, 3rd ed., section 2.5).
    """
    asked = {way: WAYS[way] for way in ("as now", "two years' jobs")}
    monkeypatch.setattr(recording_value, "WAYS", asked)
    n, laid, s, over, short = 6, 300.0, 0.06, 6.0, 24.0
    jobs = take_off(without_openings(invent(jobs=n, seed=2)))
    table = jobs.table.assign(
        laid_m2=laid, quarter="2025Q1", counted="exact", crew="", roll_m2=6.0, roll_length_m=50.0
    )
    jobs = replace(jobs, table=table)
    prior = replace(
        Prior(), waste=(0.08, s), gross_share=0.0, spread_nodes=(0.05,), floor=0.0,
        crew_sd_weights=((0.003, 1.0),), reuse_weight=0.0, drift_weights=((0.0, 1.0),),
    )  # fmt: skip
    start = replace(unchanged("2025Q1"), belief=starting_belief(prior))
    found = value_of_recording(start, jobs, over, short, draws=120).set_index("way")
    sigma, mean_sd = 0.05 * laid, s * laid

    def loss(observed):
        left = 1 / (1 / mean_sd**2 + observed / sigma**2)
        return (over + short) * norm.pdf(norm.ppf(0.8)) * (np.sqrt(sigma**2 + left) - sigma) * n / 6

    assert found.loc["as now", "not_known"] == pytest.approx(loss(n), rel=0.25)
    assert found.loc["two years' jobs", "not_known"] == pytest.approx(loss(2 * n), rel=0.25)


@pytest.mark.parametrize("quarters", [1, 4])
def test_only_candidates_too_light_to_matter_are_left_out(quarters):
    firm = invent_firm(replace(WORLDS[0], jobs=12 * quarters, quarters=quarters), 1)
    belief = calibrate(firm.records).belief
    kept = recording_value._worth_keeping(belief)
    assert kept.weight.sum() == pytest.approx(1)
    assert len(kept.form) < len(belief.form)
    of_all = belief.weight.max() / kept.weight.max()
    assert 0.95 <= of_all < 0.97


def test_a_firm_of_twelve_jobs_is_told_more_than_one_of_ninety_six(coarse):
    found = []
    for world in (WORLDS[2], WORLDS[4]):
        firm = invent_firm(world, 1)
        jobs = take_off(firm.records)
        table = value_of_recording(calibrate(firm.records), jobs, draws=15)
        found.append(table["not_known"].iloc[0] / table["jobs"].iloc[0])
    assert found[0] > found[1]


def test_openings_that_nobody_measured_are_worth_measuring(coarse):
    records = counted_whole(invent(jobs=24, factor=0.5))
    gone = records.openings["job_id"].isin(records.jobs["job_id"][::2])
    known = ~records.jobs["job_id"].isin(records.openings.loc[gone, "job_id"])
    records = replace(
        records,
        jobs=records.jobs.assign(openings_known=known),
        openings=records.openings[~gone].reset_index(drop=True),
    )
    desk = lay_out(records)
    table = value_of_recording(desk.now, desk.jobs, draws=15).set_index("way")
    assert table.loc[recording_value.OPENINGS, "saving"] > 0
    assert table.loc[recording_value.OPENINGS, "minutes"] == 15 * (~known).sum()
    open_m2 = recording_value.most_open(desk.now, desk.jobs)
    assert set(open_m2.index) == set(records.jobs.loc[~known, "job_id"])
    assert open_m2.is_monotonic_decreasing
    # Nobody measured the larger house: more of its sheet is open.
    surface = desk.jobs.table.set_index("job_id")["surface_m2"]
    assert surface[open_m2.index[0]] == surface[open_m2.index].max()


@pytest.mark.parametrize("depth_error_mm", [0.0, 20.0])
def test_where_all_is_measured_nothing_is_open(depth_error_mm):
    desk = lay_out(invent(jobs=6), depth_error_mm=depth_error_mm)
    assert recording_value.most_open(desk.now, desk.jobs).empty
