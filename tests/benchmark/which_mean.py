"""Which mean foretells a left-out quarter better: a flat reveal factor or the re-use of off-cuts.

Run `python -m tests.benchmark.which_mean --seeds 40` from the top of the checkout.
"""

import argparse
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import ndtr

from airstats.chain import calibrate, finished_jobs
from airstats.pricing import predict
from airstats.prior import Prior
from airstats.records import Records
from tests.benchmark.worlds import WORLDS, World, invent_firm, resize

MEANS = {"flat factor": 1e-9, "re-use share": 1 - 1e-9, "both, weighed": 0.5}
"""The weight that each mean's prior gives to the re-use form."""


def without(records: Records, quarter: str) -> Records:
    """Return the records without the jobs of one quarter."""
    jobs = records.jobs[records.jobs["quarter"] != quarter].reset_index(drop=True)
    kept = records.openings["job_id"].isin(jobs["job_id"])
    return replace(records, jobs=jobs, openings=records.openings[kept].reset_index(drop=True))


def log_scores(records: Records, reuse_weight: float) -> np.ndarray:
    """Return, for every job, the log-probability of its count foretold without its quarter."""
    jobs, scores = finished_jobs(records), []
    for quarter in sorted(set(jobs.table["quarter"])):
        learnt = calibrate(without(records, quarter), prior=Prior(reuse_weight=reuse_weight))
        left_out = jobs.where(jobs.table["quarter"].eq(quarter))
        use = predict(left_out, learnt)
        low, high = left_out.columns(["used_low_m2", "used_high_m2"]).T
        inside = use.weight @ (
            ndtr((high - use.means) / use.sds) - ndtr((low - use.means) / use.sds)
        )
        scores.append(np.log(np.maximum(inside, 1e-12)))
    return np.concatenate(scores)


def compare(world: World, seeds: int) -> dict[str, float]:
    """Return each mean's average log score a job, and the gain of re-use with its error."""
    firms = [invent_firm(world, seed).records for seed in range(seeds)]
    score = {
        name: np.array([log_scores(firm, weight).mean() for firm in firms])
        for name, weight in MEANS.items()
    }
    gain = score["re-use share"] - score["flat factor"]
    row = {name: float(values.mean()) for name, values in score.items()}
    error = float(gain.std(ddof=1) / np.sqrt(seeds))
    return row | {"gain of re-use": float(gain.mean()), "its error": error}


def main() -> None:
    """Print one row a world: log score a job, the higher the better."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=40)
    seeds = parser.parse_args().seeds
    fine = replace(resize(WORLDS[0], 192, 8), counted="quarter", name="pieces, 192 quarter-counted")
    rows = {world.name: compare(world, seeds) for world in (WORLDS[0], WORLDS[1], fine)}
    print(pd.DataFrame(rows).T.round(4).to_string())


if __name__ == "__main__":
    main()
