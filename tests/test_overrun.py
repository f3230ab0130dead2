import numpy as np
import pytest

from airstats.chain import calibrate, finished_jobs
from airstats.errors import AirstatsError
from airstats.overrun import CAUSES, likely_use, overrun_table, reveals_total, split_overrun
from tests.benchmark.worlds import World, invent_firm


@pytest.fixture(scope="module")
def firm():
    made = invent_firm(World("plain"), 3)
    return finished_jobs(made.records), calibrate(made.records)


@pytest.mark.parametrize("unit", ["rolls", "m2"])
@pytest.mark.parametrize("by", ["job_id", "crew", "quarter"])
def test_causes_add_up_to_used_minus_estimated(firm, by, unit):
    jobs, learnt = firm
    split = split_overrun(jobs, learnt, by, unit)
    told = overrun_table(jobs)[f"overrun_{unit}"].groupby(jobs.table[by]).sum()
    summed = split.groupby("group")["mean"].sum()
    np.testing.assert_allclose(summed.loc[told.index], told, atol=1e-9)


def test_groups_add_up_to_the_firm(firm):
    jobs, learnt = firm
    whole = split_overrun(jobs, learnt).set_index("cause")["mean"]
    parts = split_overrun(jobs, learnt, "crew").groupby("cause")["mean"].sum()
    np.testing.assert_allclose(parts.loc[list(CAUSES)], whole, atol=1e-9)


def test_reveals_together_are_the_sum_of_the_cuts_and_surer_than_apart(firm):
    jobs, learnt = firm
    split = split_overrun(jobs, learnt).set_index("cause")
    cuts = split.loc[[cause for cause in CAUSES if cause.startswith("reveal.")]]
    together = reveals_total(jobs, learnt)
    assert together["mean"] == pytest.approx(cuts["mean"].sum(), abs=1e-9)
    assert together["sd"] <= cuts["sd"].sum()


def test_likely_use_lies_in_its_counted_interval(firm):
    jobs, learnt = firm
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T
    _, use, variance = likely_use(learnt.belief, jobs)
    assert ((low <= use) & (use <= high)).all()
    assert (variance <= (high - low) ** 2 / 12 + 1e-9).all()


def test_likely_use_is_the_mean_of_a_cut_off_normal(firm):
    # Reference: scipy.stats.truncnorm.
    from scipy.stats import truncnorm

    from airstats.calibration import job_sd

    jobs, learnt = firm
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T
    expected, use, variance = likely_use(learnt.belief, jobs)
    sd = job_sd(learnt.belief, jobs.columns(["laid_m2"])[:, 0])
    a, b = (low - expected) / sd, (high - expected) / sd
    near = (a < 6) & (b > -6)
    cut_off = truncnorm(a[near], b[near], expected[near], sd[near])
    np.testing.assert_allclose(use[near], cut_off.mean(), rtol=1e-6)
    np.testing.assert_allclose(variance[near], cut_off.var(), rtol=1e-4, atol=1e-3)


def test_more_reveal_use_is_put_down_to_reveals():
    shallow, deep = (invent_firm(World("flat", mechanism="flat"), seed) for seed in (5, 5))
    openings = deep.records.openings.assign(reveal_mm=deep.records.openings["reveal_mm"] * 2)
    twice = type(deep.records)(**{**vars(deep.records), "openings": openings})
    learnt = calibrate(shallow.records)
    before = reveals_total(finished_jobs(shallow.records), learnt)["mean"]
    assert reveals_total(finished_jobs(twice), learnt)["mean"] > 1.5 * before


def test_an_unknown_unit_is_refused(firm):
    with pytest.raises(AirstatsError, match="use rolls or m2"):
        split_overrun(*firm, unit="feet")
