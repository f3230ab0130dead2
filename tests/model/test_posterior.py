"""The model: updating in parts, and what must not move."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from airstats.model.posterior import (
    FORMS,
    _without_negligible,
    admit_crews,
    branch_over_drift,
    predictive,
    starting_belief,
    update,
    update_and_judge,
    update_each,
    widen,
)
from airstats.model.prior import Prior
from airstats.takeoff.sheet_quantities import Takeoff
from airstats.takeoff.unmeasured import Doubt
from airstats.takeoff.usual_openings import quantity_names
from tests.invented import ROLL, flat_prior, made_jobs, same_belief
from tests.reference.handmade import GROUPS, jobs_table

PRIOR = Prior()


def rows(jobs, chosen):
    """Return the jobs of a slice or a list of places, in that order."""
    return Takeoff(jobs.table.iloc[chosen].reset_index(drop=True))


def test_the_starting_belief_is_the_prior():
    """Spread log-normal (scipy), crews, forms and widths by their own weights, all independent."""
    prior = replace(PRIOR, reuse_weight=0.7)
    start = starting_belief(prior)
    widths = [(PRIOR.waste, PRIOR.reveal_factors), (PRIOR.wide_waste, PRIOR.wide_factors)]
    for (waste, factors), chance in zip(widths, (0.7, 0.3), strict=True):
        of_width = start.mean[:, 0] == waste[0]
        assert start.weight[of_width].sum() == pytest.approx(chance)
        mean, sd = np.array([waste, *factors]).T
        np.testing.assert_allclose(summary(start.pick(of_width)), (mean, sd))
    reuse = start.pick(start.form == FORMS.index("reuse"))
    assert set(map(tuple, reuse.mean[:, 1:3])) == {tuple(mean for mean, _ in PRIOR.reuse_shares)}
    log_spread = np.log(prior.spread_nodes)
    likely = norm.pdf(log_spread, np.log(prior.spread_centre), prior.spread_log_sd)
    for node, chance in zip(prior.spread_nodes, likely / likely.sum(), strict=True):
        assert start.weight[start.spread == node].sum() == pytest.approx(chance)
    for crew_sd, chance in prior.crew_sd_weights:
        assert start.weight[start.crew_sd == crew_sd].sum() == pytest.approx(chance)
    assert start.weight[start.form == FORMS.index("reuse")].sum() == pytest.approx(0.7)
    assert start.weight.sum() == pytest.approx(1)


def test_habits_unlike_most_are_not_strange():
    """Who cuts every reveal anew and a fifth more, or lines with half as much again, is one firm
    in fifteen or more: some twenty jobs can then show it.
    """
    start = starting_belief()
    flat = start.pick(start.form == FORMS.index("factor"))
    for place, factor in ((1, 1.2), (2, 1.2), (3, 1.6)):
        sd = np.sqrt(flat.covariance[:, place, place])
        beyond = flat.weight @ norm.sf(factor, flat.mean[:, place], sd) / flat.weight.sum()
        assert beyond > 1 / 15


def summary(belief, form="factor"):
    """Mean and sd of the four parameters over the candidates of one form."""
    part = belief.pick(belief.form == FORMS.index(form))
    weight = part.weight / part.weight.sum()
    mean = weight @ part.mean[:, :4]
    within = np.diagonal(part.covariance, axis1=1, axis2=2)[:, :4]
    return mean, np.sqrt(weight @ (within + (part.mean[:, :4] - mean) ** 2))


def test_the_order_of_the_jobs_does_not_matter():
    jobs = made_jobs(20, 6, crew=np.array(["Alder", "Birch"])[np.arange(20) % 2])
    shuffled = rows(jobs, np.random.default_rng(1).permutation(20))
    one, other = update(starting_belief(), jobs), update(starting_belief(), shuffled)
    assert one.crews == other.crews == ("Alder", "Birch")
    np.testing.assert_allclose(one.mean, other.mean, atol=1e-7)
    np.testing.assert_allclose(one.weight, other.weight, atol=1e-7)


def test_many_jobs_are_taken_in_turns(monkeypatch):
    """Three turns give the same as one, within the approximation of four updates."""
    jobs = made_jobs(50, 7)
    whole = update(starting_belief(), jobs)
    monkeypatch.setattr("airstats.model.posterior.JOBS_AT_A_TIME", 20)
    turns = update(starting_belief(), jobs)
    assert turns.seen == whole.seen == 50
    (mean, sd), (mean_of_turns, sd_of_turns) = summary(whole), summary(turns)
    assert (np.abs(mean_of_turns - mean) / sd).max() < 0.15
    assert sd_of_turns / sd == pytest.approx(np.ones(4), abs=0.1)


def test_drift_branches_change_no_allowance_and_no_jobs_change_nothing():
    belief = update(starting_belief(), made_jobs(8, 9))
    branched = branch_over_drift(belief)
    np.testing.assert_allclose(summary(branched), summary(belief))
    shares(branched)
    belief = update(starting_belief(), made_jobs(5, 8, crew="Alder"))
    assert update(belief, rows(made_jobs(5, 8), slice(0, 0))) is belief


def shares(branched):
    """Hold the weights of drifts and trends to the prior's: three in four without a trend."""
    still = branched.trend == 0
    for drift, share in PRIOR.drift_weights:
        found = branched.weight[still & (branched.drift == drift)].sum()
        assert found == pytest.approx(0.75 * share)
    for trend in (-PRIOR.trend, PRIOR.trend):
        assert branched.weight[branched.trend == trend].sum() == pytest.approx(0.125)
    assert (branched.drift[~still] == 0).all()


def test_a_trend_that_is_sure_or_out_of_the_question():
    belief = update(starting_belief(), made_jobs(4, 9))
    for weight, found in ((1.0, {-PRIOR.trend, PRIOR.trend}), (0.0, {0.0})):
        prior = replace(PRIOR, trend_weight=weight)
        assert set(branch_over_drift(replace(belief, prior=prior)).trend) == found


def test_a_trend_moves_waste_alone_and_makes_nothing_less_sure():
    belief = branch_over_drift(starting_belief())
    later = widen(belief, 3)
    np.testing.assert_allclose(later.mean[:, 0] - belief.mean[:, 0], 3 * belief.trend, atol=1e-15)
    assert np.array_equal(later.mean[:, 1:], belief.mean[:, 1:])
    rising = belief.trend > 0
    assert np.array_equal(later.covariance[rising], belief.covariance[rising])


def test_a_falling_waste_stops_at_nothing():
    belief = branch_over_drift(starting_belief(replace(PRIOR, trend=0.015, trend_weight=1.0)))
    for waste, later in ((0.10, 0.055), (0.02, 0.0), (-0.01, -0.01)):
        mean = belief.mean.copy()
        mean[:, 0] = waste
        ahead = widen(replace(belief, mean=mean), 3).mean[:, 0]
        assert ahead[belief.trend < 0] == pytest.approx(later)
        assert ahead[belief.trend > 0] == pytest.approx(waste + 0.045)


def test_a_rising_waste_is_seen_as_a_trend():
    """Six quarters of near-exact counts, 1.5 points more each: the trend is found and foretold."""
    laid = np.full(8, 300.0)
    belief = starting_belief()
    for quarter in range(6):
        used = 300 * (0.05 + 0.015 * quarter) + np.linspace(-12, 12, 8)
        belief = update(widen(belief, 1), jobs_table(used - 1, used + 1, laid, {}, "", ROLL))
        belief = branch_over_drift(belief) if quarter == 0 else belief
    assert belief.weight[belief.trend > 0].sum() > 0.6
    assert belief.weight[belief.trend < 0].sum() < 0.01
    ahead = widen(belief, 1)
    assert ahead.weight @ ahead.mean[:, 0] > belief.weight @ belief.mean[:, 0] + 0.01


def test_a_job_without_a_crew_name_teaches_less_where_crews_differ():
    """Near-exact counts; the floor, spread and crews' sd of 300 m² give 5, 12 and 84: 85 in all."""
    prior = Prior(
        spread_nodes=(0.04,), crew_sd_weights=((0.28, 1.0),), floor=5.0, reuse_weight=1e-12,
        gross_share=0.0, wide_weight=0.0,
    )  # fmt: skip
    laid, crew = np.full(2, 300.0), np.array(["Alder", ""])
    jobs = jobs_table(laid * 0.1 - 0.01, laid * 0.1 + 0.01, laid, {}, crew, ROLL)
    belief = admit_crews(starting_belief(prior), jobs.crews)
    assert predictive(belief, jobs).job_sd[0] == pytest.approx([13, 85])
    none = jobs_table(laid * 0.1 - 0.01, laid * 0.1 + 0.01, laid, {}, "", ROLL)
    assert predictive(starting_belief(prior), none).job_sd[0] == pytest.approx([13, 13])
    alone = update(belief, rows(jobs, slice(1, 2)))
    precision = 1 / 0.05**2 + (300 / 85) ** 2
    assert alone.covariance[0, 0, 0] == pytest.approx(1 / precision, rel=1e-4)


def test_a_new_crew_starts_at_the_firm_mean():
    belief = update(starting_belief(), made_jobs(8, 10, crew="Alder"))
    more = admit_crews(belief, np.array(["Birch", "Alder", ""]))
    assert more.crews == ("Alder", "Birch")
    assert np.array_equal(more.mean[:, 5], np.zeros(len(more.form)))
    np.testing.assert_allclose(more.covariance[:, 5, 5], more.crew_sd**2)
    assert not more.covariance[:, 5, :5].any()
    assert np.array_equal(more.covariance[:, :5, :5], belief.covariance)


def test_crews_with_more_jobs_are_pulled_less():
    """Two crews with the same use a job beyond the firm's: three jobs against thirty."""
    crew = np.array(["few"] * 3 + ["many"] * 30 + ["rest"] * 60)
    laid = np.full(93, 300.0)
    low = np.where(crew == "rest", 300.0, 330.0) + 300 * 0.08 - 300 - ROLL / 8
    jobs = jobs_table(low, low + ROLL / 4, laid, {}, crew, ROLL)
    prior = replace(PRIOR, crew_sd_weights=((0.03, 1.0),))
    belief = update(starting_belief(prior), jobs)
    few, many, rest = belief.weight @ belief.mean[:, GROUPS]
    assert rest < 0 < few < many < 0.1


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.5, 60.0))
def test_more_sheet_used_means_more_waste(seed, more_m2):
    """Without gross errors, jobs that all used more leave a higher waste under every candidate."""
    prior = replace(flat_prior((0.05,)), gross_share=0.0)
    jobs = made_jobs(6, seed, reveal_share=0.0)
    names = ["used_low_m2", "used_high_m2"]
    more = Takeoff(jobs.table.assign(**{n: jobs.table[n] + more_m2 for n in names}))
    before, after = (update(starting_belief(prior), j).mean[:, 0] for j in (jobs, more))
    assert (after > before).all()


def test_gross_errors_are_found_and_sound_jobs_are_not():
    jobs = made_jobs(40, 11, gross=2)
    wrong = predictive(update(starting_belief(), jobs), jobs).gross_probability()
    assert (wrong[:2] > 0.9).all()
    assert (wrong[2:] < 0.5).all()
    assert ((wrong >= 0) & (wrong <= 1)).all()


def test_jobs_that_agree_with_one_another_are_not_called_wrong():
    """Twenty jobs far above the prior, all by the same share: it is the prior that was wrong."""
    rng = np.random.default_rng(1)
    laid = rng.uniform(200, 400, 20)
    rolls = np.ceil((laid * 1.6 + 4 * rng.standard_normal(20)) / ROLL * 4) / 4
    jobs = jobs_table(ROLL * (rolls - 0.25) - laid, ROLL * rolls - laid, laid, {}, "", ROLL)
    belief = update(starting_belief(flat_prior((0.02,))), jobs)
    assert belief.mean[:, 0] == pytest.approx([0.6, 0.6], abs=0.02)
    assert belief.wrong < 1


def test_the_share_of_gross_errors_is_learnt():
    sound, faulty = (update(starting_belief(), made_jobs(40, 11, gross=gross)) for gross in (0, 8))
    assert starting_belief().gross_share == pytest.approx(PRIOR.gross_share)
    assert sound.gross_share < PRIOR.gross_share < faulty.gross_share < 8 / 40
    assert faulty.wrong == pytest.approx(8, abs=1.5)
    # 4 in 100 as a guess worth 50 jobs, then 8 found in 50: 10 in 100.
    assert replace(starting_belief(), seen=50.0, wrong=8.0).gross_share == pytest.approx(0.10)


def test_a_belief_is_never_changed_in_place():
    belief = starting_belief()
    copies = belief.mean.copy(), belief.covariance.copy(), belief.weight.copy()
    widen(update(belief, made_jobs(5, 13, crew="Alder")), 3)
    assert np.array_equal(belief.mean, copies[0])
    assert np.array_equal(belief.covariance, copies[1])
    assert np.array_equal(belief.weight, copies[2])


def test_job_to_job_spread_is_floor_and_growing_part():
    prior = replace(PRIOR, floor=3.0, wide_weight=0.0)
    belief = replace(starting_belief(prior), spread=np.array([0.04]))
    jobs = jobs_table(np.zeros(1), np.ones(1), 100.0, {})
    # 3, 4 and 5; with measured depths of 12 more: 5, 12 and 13.
    assert predictive(belief, jobs).job_sd == pytest.approx(5.0)
    assert predictive(belief, rough(jobs, 12.0)).job_sd == pytest.approx(13.0)


def test_each_form_expects_its_own_sheet():
    """Flat: laid x (1 + waste + crew) + factors x reveal. Re-use: sheet needed less off-cuts."""
    table = jobs_table(np.zeros(1), np.ones(1), 300.0, {"diagonal": 10.0, "lined": 5.0}, "Alder")
    jobs = Takeoff(table.table.assign(needed_diagonal_m2=4.0, fillable_diagonal_m2=3.0))
    start = admit_crews(starting_belief(), np.array(["Alder"]))
    mean = np.tile([0.1, 0.3, 0.5, 1.2, 0.02], (len(start.form), 1))
    expected = predictive(replace(start, mean=mean), jobs).mean[:, 0]
    assert expected[start.form == 0] == pytest.approx(300 * 1.12 + 0.3 * 10 + 1.2 * 5)
    assert expected[start.form == 1] == pytest.approx(300 * 1.12 + 4 - 0.3 * 3 + 1.2 * 5)


def test_a_form_that_foretold_badly_stays_in_play():
    start = starting_belief()
    log_weight = np.where(start.form == 1, -300.0, 0.0)
    log_weight[0] = np.log(1e-7)
    kept = _without_negligible(start, log_weight)
    assert len(kept.form) == len(start.form) - 1
    assert set(kept.form) == {0, 1}
    assert kept.weight.sum() == pytest.approx(1, abs=1e-12)


def test_beliefs_moved_at_once_are_those_moved_one_by_one():
    """Other counts, other beliefs with other shares of gross errors, other candidates in play."""
    jobs, more = made_jobs(12, 4, gross=2), made_jobs(12, 5)
    begun = [starting_belief(), update(starting_belief(), made_jobs(3, 6, gross=1))]
    begun[1] = replace(begun[1], habits=begun[0].habits)
    counts = np.array([jobs.interval, more.interval + np.array([-3.0, 1.0])])
    found, wrong = update_each(begun, jobs, counts)
    names = ["used_low_m2", "used_high_m2"]
    for belief, count, moved, likely in zip(begun, counts, found, wrong, strict=True):
        counted = replace(jobs, table=jobs.table.assign(**dict(zip(names, count.T, strict=True))))
        alone, alone_wrong = update_and_judge(belief, counted)
        same_belief(alone, moved)
        assert likely == pytest.approx(alone_wrong, abs=1e-9)
        assert (moved.seen, moved.wrong) == pytest.approx((alone.seen, alone.wrong))
    assert len(found[0].form) != len(found[1].form)


def rough(jobs, sd_m2):
    """The jobs with laid areas that are not known better than to so much of sheet."""
    covariance = np.zeros((len(jobs), len(quantity_names()), len(quantity_names())))
    covariance[:, 0, 0] = (sd_m2 / (1 + PRIOR.waste[0])) ** 2
    return replace(jobs, doubt=Doubt(covariance, np.zeros_like(covariance)))


def test_a_doubt_of_nothing_changes_nothing():
    jobs = made_jobs(12, 4, gross=2)
    belief, wrong = update_and_judge(starting_belief(), jobs)
    told, told_wrong = update_and_judge(starting_belief(), rough(jobs, 0.0))
    same_belief(belief, told)
    assert wrong == pytest.approx(told_wrong, abs=1e-12)


def test_rough_measuring_makes_a_gross_error_less_sure():
    jobs = made_jobs(12, 4, gross=1)
    sharp, blunt = (update_and_judge(starting_belief(), rough(jobs, sd)) for sd in (0.0, 200.0))
    assert sharp[1][0] > 0.9
    assert blunt[1][0] < 0.5
    for belief, wrong in (sharp, blunt):
        assert belief.wrong == pytest.approx(wrong.sum())
        assert belief.seen == 12
        assert belief.weight.sum() == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("rough_m2", [0.0, 40.0])
def test_a_judgement_is_that_of_the_new_belief(rough_m2):
    jobs = made_jobs(20, 15, gross=1)
    jobs = rough(jobs, rough_m2)
    belief, wrong = update_and_judge(starting_belief(), jobs)
    # The share of gross errors was the guess's when these jobs were judged.
    judged = predictive(replace(belief, seen=0.0, wrong=0.0), jobs)
    np.testing.assert_allclose(wrong, judged.gross_probability(), rtol=1e-9)


def test_a_belief_may_hold_one_form_alone():
    start = starting_belief()
    factor = start.pick(start.form == FORMS.index("factor"))
    belief = update(replace(factor, weight=factor.weight / 0.5), made_jobs(10, 17))
    assert (belief.form == FORMS.index("factor")).all()
    assert belief.weight.sum() == pytest.approx(1)
