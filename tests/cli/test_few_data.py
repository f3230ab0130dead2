"""Few, coarse and dirty data: what they leave open, rough depths, whole rolls, gross errors."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import unchanged
from airstats.model.posterior import FORMS
from airstats.model.prior import Prior
from airstats.model.quarterly_update import calibrate, finished_jobs, run_through
from airstats.pricing.newsvendor import price
from tests.benchmark.worlds import World, invent_firm
from tests.invented import FEW, change, keep, used_more, without_openings

FIRM = invent_firm(World("small", jobs=24, quarters=4), 5)
RECORDS = FIRM.records
REVEALS = ["reveal.diagonal", "reveal.centre", "reveal.lined"]


def sd_to_prior(allowances):
    """Return each allowance's sd as a share of the prior's."""
    return allowances.table()["sd"] / unchanged("2023Q1").table()["sd"]


def assert_prices(allowances):
    orders = price(FIRM.takeoff, allowances)
    no_price = ["sheet_cost", "cost_a_m2"]
    numbers = orders.drop(columns=["job_id", "unmeasured", *no_price]).to_numpy(dtype=float)
    assert np.isfinite(numbers).all()
    assert (orders["high_m2"] > orders["low_m2"]).all()


def test_one_job_teaches_little_and_none_leaves_the_prior():
    one = calibrate(keep(RECORDS, np.arange(24) == 0))
    assert sd_to_prior(one)["waste"] < 1
    assert sd_to_prior(one).to_numpy() == pytest.approx(np.ones(4), abs=0.2)
    jobs = finished_jobs(RECORDS)
    none = run_through(jobs.where(np.zeros(24, bool)), ["2030Q1"], unchanged("2030Q1"))
    assert none.new_jobs == ()
    pd.testing.assert_frame_equal(none.table(), unchanged("2030Q1").table())
    assert_prices(one)
    assert_prices(none)


def test_jobs_all_alike_teach_their_sum_only():
    """Ten times the same job: waste and factors cannot be told apart, and stay unsure."""
    first = keep(RECORDS, np.arange(24) == 0)
    names = [f"A{n}" for n in range(10)]
    jobs = pd.concat([first.jobs] * 10).assign(job_id=names).reset_index(drop=True)
    openings = pd.concat([first.openings.assign(job_id=name) for name in names])
    alike = replace(first, jobs=jobs, openings=openings.reset_index(drop=True))
    learnt = calibrate(alike)
    assert sd_to_prior(learnt)["waste"] > 0.6
    assert (sd_to_prior(learnt)[REVEALS] > 0.9).all()
    ahead, before = (price(first, belief) for belief in (learnt, unchanged("2023Q1")))
    width, width_before = (p["high_m2"] - p["low_m2"] for p in (ahead, before))
    assert (width < width_before).all()
    assert_prices(learnt)


def test_a_cut_never_used_stays_at_the_prior():
    """No candidate moves in a first quarter; afterwards only the drift widens it."""
    records = replace(RECORDS, openings=RECORDS.openings.assign(cut_pattern="centre"))
    first = calibrate(change(records, quarter="2023Q1"))
    assert moved_reveals(first) == [False, True, False]
    prior = replace(Prior(), wide_weight=0.0)
    wider = calibrate(records, prior=prior).table()["sd"] > unchanged("", prior).table()["sd"]
    assert wider.to_dict() == {
        "waste": False, "reveal.diagonal": True, "reveal.centre": False, "reveal.lined": True,
    }  # fmt: skip


def moved_reveals(allowances):
    """Tell, for each cut, whether a candidate with flat factors left both of its starts."""
    belief, prior = allowances.belief, allowances.belief.prior
    flat = belief.pick(belief.form == FORMS.index("factor"))
    moved = []
    for place, starts in enumerate(zip(prior.reveal_factors, prior.wide_factors, strict=True), 1):
        now = np.column_stack([flat.mean[:, place], np.sqrt(flat.covariance[:, place, place])])
        away = [np.abs(now - start).max(axis=1) for start in starts]
        moved.append(bool(np.min(away, axis=0).max() > 1e-6))
    return moved


def test_jobs_without_openings():
    learnt = calibrate(change(without_openings(RECORDS), quarter="2023Q1"))
    assert moved_reveals(learnt) == [False] * 3
    assert sd_to_prior(learnt)["waste"] < 0.8


def test_rough_depths_leave_allowances_less_sure():
    # The weight of the companions, which moves too, is left out.
    prior = replace(Prior(), wide_weight=0.0)
    sharp, rough = (
        calibrate(RECORDS, depth_error_mm=mm, prior=prior).table()["sd"] for mm in (0.0, 200.0)
    )
    crossing = ["reveal.diagonal", "reveal.centre"]
    assert (rough > sharp)[crossing].all()


DRIVERS = ["laid_m2", "reveal_diagonal_m2", "reveal_centre_m2", "reveal_lined_m2"]


def least_squares(jobs, use_m2):
    """Return waste and factors by least squares on one number a job."""
    found = np.linalg.lstsq(jobs.columns(DRIVERS), use_m2, rcond=None)[0]
    return found - [1, 0, 0, 0]


def taken_off(world, seeds):
    """Invent the firm of each seed and yield it with its jobs, all taken off at once.

    Each learns from them in the one quarter that they are of.
    """
    firms = [invent_firm(world, seed) for seed in seeds]
    named = [
        [table.assign(job_id=f"{n:03d} " + table["job_id"]) for table in (made.jobs, made.openings)]
        for n, made in enumerate(firm.records for firm in firms)
    ]
    jobs, openings = (pd.concat(tables, ignore_index=True) for tables in zip(*named, strict=True))
    every = finished_jobs(replace(firms[0].records, jobs=jobs, openings=openings))
    for firm, own in zip(firms, np.split(np.arange(len(every)), len(firms)), strict=True):
        yield firm, every.where(own)


def learnt_from(jobs):
    return run_through(jobs, ["2023Q1"], unchanged("2023Q1", FEW))


def errors_of_allowances(firm, jobs):
    """Errors of waste and the three factors for one firm of 500 jobs, by three rules."""
    crews = firm.records.jobs["crew"].map(firm.truth.crews).mean()
    factors = [firm.truth.factors[cut] for cut in CUTS]
    truth = np.array([firm.truth.waste + crews, *factors])
    learnt = learnt_from(jobs)
    ours = learnt.table()["mean"].to_numpy().copy()
    crew = learnt.crew_table()
    ours[0] += crew["mean"] @ crew["jobs"] / 500
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T
    rules = [ours, least_squares(jobs, (low + high) / 2), least_squares(jobs, high)]
    return np.array(rules) - truth


def test_whole_roll_counts_cost_no_bias():
    """Over 100 firms the mean error of each allowance is nought, as far as 100 can tell.

    Errors from the invented truth, beside least squares on the middle of each count and on the
    rolls as written. "Nought" means within 3 standard errors of the mean over the firms; those are
    0.0006 for waste and 0.01 to 0.02 for the factors. The truth of waste holds the mean of the
    crews.
    """
    world = World("flat", jobs=500, quarters=1, mechanism="flat")
    errors = np.array([errors_of_allowances(*each) for each in taken_off(world, range(100))])
    mean, standard_error = errors.mean(axis=0), errors.std(axis=0, ddof=1) / 10
    off = np.sqrt((errors**2).mean(axis=0))
    rules = ["airstats", "middle of the count", "as written"]
    shown = "\n".join(
        f"{name}:\n{pd.DataFrame(values.round(4), rules, ['waste', *REVEALS])}"
        for name, values in (("mean", mean), ("standard error", standard_error), ("rms", off))
    )
    assert (abs(mean[0]) < 3 * standard_error[0]).all(), shown
    assert (abs(mean[2]) > 10 * standard_error[2]).all(), shown
    assert (off[0] < off[1]).all(), shown


def test_gross_errors_hardly_move_the_reveal_factors():
    """The same 20 firms with and without 6 % of records wrong by one to three rolls.

    On average a reveal factor moves by less than a third of its standard error.
    """
    clean, faulty = (
        [
            learnt_from(jobs).table().loc[REVEALS]
            for _, jobs in taken_off(World("w", quarters=1, gross_share=share), range(20))
        ]
        for share in (0.0, 0.06)
    )
    pairs = zip(clean, faulty, strict=True)
    moves = pd.DataFrame([abs(bad["mean"] - good["mean"]) / good["sd"] for good, bad in pairs])
    assert (moves.mean() < 1 / 3).all(), moves.mean()


def test_records_that_are_off_by_rolls_are_named():
    """Four rolls too many or too few, in five of 24 jobs."""
    wrong = np.arange(24) % 5 == 2
    off = np.where(RECORDS.jobs["used_rolls"] > 5, -4, 4) * wrong
    learnt = calibrate(change(used_more(RECORDS, off), quarter="2023Q1"))
    named, truly = set(learnt.suspects), set(RECORDS.jobs.loc[wrong, "job_id"])
    assert truly <= named
    assert len(named - truly) <= 1
    assert all(0.5 <= chance <= 1 for chance in learnt.suspects.values())


def test_the_two_forms_stay_in_play():
    weights = calibrate(RECORDS).form_weights()
    assert set(weights) == set(FORMS)
    assert sum(weights.values()) == pytest.approx(1)
    assert min(weights.values()) > 0
