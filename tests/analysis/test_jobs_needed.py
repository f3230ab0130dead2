from dataclasses import replace

import numpy as np
import pytest

from airstats.analysis.jobs_needed import information_a_job, jobs_a_quarter, jobs_to_halve
from airstats.analysis.sensitivity import fit_at_once
from airstats.model.posterior import starting_belief, update
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs
from tests.benchmark.worlds import World, invent_firm, resize
from tests.invented import change, invent

EXACT = World("exact", jobs=24, quarters=2, counted="quarter", mechanism="flat", crew_sd=0.0)


def test_information_is_what_the_posterior_gained():
    # One candidate, all records sound: the posterior's precision is the prior's and n times this.
    prior = Prior(gross_share=0.0)
    start = starting_belief(prior).pick(np.array([20]))
    jobs = finished_jobs(nameless(invent(jobs=12)))
    after = update(replace(start, weight=np.ones(1)), jobs)
    gained = np.linalg.inv(after.covariance) - np.linalg.inv(start.covariance)
    np.testing.assert_allclose(12 * information_a_job(after, jobs), gained, rtol=1e-4, atol=0.5)


def test_jobs_a_quarter_count_empty_quarters_and_few_jobs_are_halved_sooner():
    jobs = finished_jobs(invent(jobs=24))
    assert jobs_a_quarter(jobs) == pytest.approx(6)
    ends = jobs.where(jobs.table["quarter"].isin(["2025Q1", "2025Q4"]))
    assert jobs_a_quarter(ends) == pytest.approx(3)
    few, many = (finished_jobs(nameless(invent(jobs=n))) for n in (12, 48))
    wanted = [jobs_to_halve(fit_at_once(j), j)["jobs_still"].iloc[0] for j in (few, many)]
    assert wanted[0] < wanted[1] < np.inf


def test_foretold_jobs_halve_the_interval_of_firms_with_a_known_truth():
    # The same kind of firm with as many more jobs as foretold: its sd is half, within a fifth.
    ratios = []
    for seed in (1, 2, 3, 4):
        jobs = finished_jobs(nameless(invent_firm(EXACT, seed).records))
        now = fit_at_once(jobs)
        row = jobs_to_halve(now, jobs).set_index("allowance").loc["waste"]
        later = resize(EXACT, 24 + int(row["jobs_still"]), 2)
        after = fit_at_once(finished_jobs(nameless(invent_firm(later, seed).records)))
        ratios.append(after.table().loc["waste", "sd"] / now.table().loc["waste", "sd"])
    assert np.mean(ratios) == pytest.approx(0.5, abs=0.1)


def test_what_no_job_or_the_crews_number_tells_is_never_halved():
    jobs = finished_jobs(invent(jobs=24))
    table = jobs_to_halve(fit_at_once(jobs), jobs).set_index("allowance")
    assert np.isinf(table.loc["reveal.lined", "jobs_still"])
    assert table.loc["reveal.lined", "sd_still"] == pytest.approx(0.2, abs=0.005)
    # The waste of a firm with k crews is never known better than its spread between crews / √k.
    jobs = finished_jobs(invent(jobs=48, crew_extra=0.15))
    table = jobs_to_halve(fit_at_once(jobs), jobs).set_index("allowance")
    crew_sd = fit_at_once(jobs).spread()["crew_sd"]
    assert table.loc["waste", "sd_still"] > 0.8 * crew_sd / np.sqrt(4 + 1)
    assert np.isinf(table.loc["waste", "jobs_still"])


def test_drift_can_make_halving_impossible():
    jobs = finished_jobs(nameless(invent(jobs=48)))
    known = fit_at_once(jobs)
    calm, restless = (
        replace(known, belief=replace(known.belief, drift=np.full(len(known.belief.form), d)))
        for d in (0.0, 0.03)
    )
    tables = [jobs_to_halve(now, jobs).set_index("allowance") for now in (calm, restless)]
    assert np.isfinite(tables[0].loc["waste", "jobs_drift"])
    assert tables[0].loc["waste", "jobs_drift"] == pytest.approx(
        tables[0].loc["waste", "jobs_still"], abs=jobs_a_quarter(jobs)
    )
    assert np.isinf(tables[1].loc["waste", "jobs_drift"])
    assert tables[1].loc["waste", "sd_drift"] > tables[1].loc["waste", "sd"] / 2


def nameless(records):
    """Records in which no crew is named, so that waste can be learnt without end."""
    return change(records, crew="")
