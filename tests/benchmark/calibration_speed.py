"""Time and memory of a calibration beside plain least squares from statsmodels on the same data.

Run `python -m tests.benchmark.calibration_speed` from the top of the checkout.
"""

import resource
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import statsmodels.api as sm

from airstats.chain import calibrate, finished_jobs
from airstats.records import Records
from tests.benchmark.worlds import World, invent_firm


def many(jobs: int, kinds: int, quarters: int) -> Records:
    """Return an invented firm's records of `jobs` jobs with `kinds` rows of openings each."""
    records = invent_firm(World("large", jobs=jobs, quarters=quarters), 1).records
    rng = np.random.default_rng(2)
    place = rng.integers(0, len(records.openings), jobs * kinds)
    openings = records.openings.take(place).reset_index(drop=True)
    ids = np.repeat(records.jobs["job_id"].to_numpy(), kinds)
    small = openings.assign(job_id=ids, count=1, width_mm=openings["width_mm"] / 3)
    return replace(records, openings=small)


def least_squares(records: Records) -> None:
    """Fit the plain regression that the calibration stands beside."""
    jobs = finished_jobs(records)
    drivers = ["laid_m2", "reveal_diagonal_m2", "reveal_centre_m2", "reveal_lined_m2"]
    middle = jobs.columns(["used_low_m2", "used_high_m2"]).mean(axis=1)
    sm.OLS(middle, jobs.columns(drivers)).fit(cov_type="HC3", use_t=True)


def best_of(times: int, run: Callable[[], object]) -> float:
    """Return the shortest of some runs, seconds."""

    def once() -> float:
        start = time.perf_counter()
        run()
        return time.perf_counter() - start

    return min(once() for _ in range(times))


def main() -> None:
    """Print one row a size."""
    rows = []
    for jobs, kinds, quarters, times in (
        (60, 5, 1, 20),
        (60, 5, 5, 10),
        (5_000, 20, 1, 3),
        (50_000, 20, 1, 2),
        (50_000, 20, 12, 1),
    ):
        records = many(jobs, kinds, quarters)
        calibrate(records)
        rows.append(
            {
                "jobs": jobs,
                "rows of openings": len(records.openings),
                "quarters": quarters,
                "calibrate, s": best_of(times, lambda: calibrate(records)),  # noqa: B023
                "least squares, s": best_of(times, lambda: least_squares(records)),  # noqa: B023
                "peak memory, GB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,
            }
        )
    print(pd.DataFrame(rows).round(4).to_string(index=False))


if __name__ == "__main__":
    main()
