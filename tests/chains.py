"""Invented jobs, records changed in one way, beliefs compared: for the tests of the model."""

from dataclasses import replace

import numpy as np

from airstats.prior import Prior
from tests.reference.handmade import jobs_table

ROLL = 75.0


def keep(records, chosen):
    """Return the records of the chosen jobs, openings and all."""
    jobs = records.jobs[np.asarray(chosen)].reset_index(drop=True)
    own = records.openings["job_id"].isin(jobs["job_id"])
    return replace(records, jobs=jobs, openings=records.openings[own].reset_index(drop=True))


def change(records, **columns):
    return replace(records, jobs=records.jobs.assign(**columns))


def ids(records, quarter):
    return tuple(records.jobs.loc[records.jobs["quarter"] == quarter, "job_id"])


def same_belief(one, other):
    for name in ("form", "spread", "crew_sd", "drift", "weight", "mean", "covariance"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-9, atol=1e-9)


def made_jobs(count, seed, crew="", gross=0, reveal_share=0.12):
    """Invent whole-roll counts of jobs with reveals that are cut corner to corner."""
    rng = np.random.default_rng(seed)
    laid = rng.uniform(180, 420, count)
    reveal = laid * rng.uniform(0, 2 * reveal_share, count)
    use = laid * 1.07 + 0.35 * reveal + np.hypot(4, 0.05 * laid) * rng.standard_normal(count)
    rolls = np.ceil(use / ROLL)
    rolls[:gross] += 4
    low = ROLL * (rolls - 1) - laid
    return jobs_table(low, low + ROLL, laid, {"diagonal": reveal}, crew, ROLL)


def flat_prior(spreads):
    """Return the standard prior with these spreads, all alike likely, and no crews."""
    return replace(Prior(), spread_nodes=spreads, spread_log_sd=1e6, crew_sd_weights=((0.01, 1.0),))
