"""Which mean foretells a left-out quarter better: a flat reveal factor or the re-use of off-cuts.

Run `python -m tests.benchmark.which_mean --seeds 40` from the top of the checkout.
"""

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from airstats.model.prior import Prior
from airstats.model.quarterly_update import calibrate, finished_jobs
from airstats.pricing.newsvendor import predict
from tests.benchmark import runs
from tests.benchmark.worlds import WORLDS, invent_firm, resize
from tests.invented import keep

MEANS = {"flat factor": 1e-9, "re-use share": 1 - 1e-9, "both, weighed": 0.5}
"""The weight that each mean's prior gives to the re-use form."""


def log_scores(records, reuse_weight):
    """Return, for every job, the log-probability of its count foretold without its quarter."""
    jobs, scores = finished_jobs(records), []
    for quarter in sorted(set(jobs.table["quarter"])):
        rest = keep(records, records.jobs["quarter"] != quarter)
        learnt = calibrate(rest, prior=Prior(reuse_weight=reuse_weight))
        left_out = jobs.where(jobs.table["quarter"].eq(quarter))
        use = predict(left_out, learnt)
        below = [ndtr((end - use.means) / use.sds) for end in
                 left_out.columns(["used_low_m2", "used_high_m2"]).T]  # fmt: skip
        scores.append(np.log(np.maximum(use.weight @ (below[1] - below[0]), 1e-12)))
    return np.concatenate(scores)


def compare(world, seeds):
    """Return each mean's average log score a job, and the gain of re-use with its error."""
    firms = [invent_firm(world, seed).records for seed in range(seeds)]
    score = {
        name: np.array([log_scores(firm, weight).mean() for firm in firms])
        for name, weight in MEANS.items()
    }
    gain = score["re-use share"] - score["flat factor"]
    told = {"gain of re-use": gain.mean(), "its error": gain.std(ddof=1) / np.sqrt(seeds)}
    return {name: values.mean() for name, values in score.items()} | told


def main():
    """Print one row a world: log score a job, the higher the better."""
    seeds = runs.asked(__doc__, 40).seeds
    fine = replace(resize(WORLDS[0], 192, 8), counted="quarter", name="pieces, 192 quarter-counted")
    runs.show({world.name: compare(world, seeds) for world in (*WORLDS[:2], fine)})


if __name__ == "__main__":
    main()
