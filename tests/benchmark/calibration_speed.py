"""Time and memory of a calibration beside plain least squares from statsmodels on the same data.

Run `python -m tests.benchmark.calibration_speed` from the top of the checkout.
"""

import resource
from dataclasses import replace

import numpy as np
import pandas as pd
import statsmodels.api as sm

from airstats.model.quarterly_update import calibrate, finished_jobs
from tests.benchmark.bars import DRIVERS
from tests.benchmark.runs import best_of
from tests.benchmark.worlds import World, invent_firm

SIZES = ((60, 5, 1, 20), (60, 5, 5, 10), (5_000, 20, 1, 3), (50_000, 20, 1, 2), (50_000, 20, 12, 1))
"""Jobs, kinds of openings a job, quarters, and how often each is run."""


def many(jobs, kinds, quarters):
    """Return an invented firm's records of `jobs` jobs with `kinds` rows of openings each."""
    records = invent_firm(World("large", jobs=jobs, quarters=quarters), 1).records
    rng = np.random.default_rng(2)
    place = rng.integers(0, len(records.openings), jobs * kinds)
    openings = records.openings.take(place).reset_index(drop=True)
    ids = np.repeat(records.jobs["job_id"].to_numpy(), kinds)
    small = openings.assign(job_id=ids, count=1, width_mm=openings["width_mm"] / 3)
    return replace(records, openings=small)


def least_squares(records):
    """Fit the plain regression that the calibration stands beside."""
    jobs = finished_jobs(records)
    middle = jobs.columns(["used_low_m2", "used_high_m2"]).mean(axis=1)
    sm.OLS(middle, jobs.columns(DRIVERS)).fit(cov_type="HC3", use_t=True)


def measured(jobs, kinds, quarters, times):
    """Return the row of one size."""
    records = many(jobs, kinds, quarters)
    calibrate(records)
    return {
        "jobs": jobs, "rows of openings": len(records.openings), "quarters": quarters,
        "calibrate, s": best_of(times, calibrate, records),
        "least squares, s": best_of(times, least_squares, records),
        "peak memory, GB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,
    }  # fmt: skip


if __name__ == "__main__":
    table = pd.DataFrame([measured(*size) for size in SIZES])
    print(table.round(4).to_string(index=False))
