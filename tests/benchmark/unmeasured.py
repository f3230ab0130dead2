"""Measure what unmeasured openings and rough depths cost, on invented firms of known truth.

Half of the finished jobs have no openings: they are reckoned as unknown, and, beside that, read as
houses without any. Jobs to price are measured, or (early) not. Depths are measured roughly, and
that is told or not. Run `python -m tests.benchmark.unmeasured --seeds 60` from the top of the
checkout.
"""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd

from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import price
from tests.benchmark import runs
from tests.benchmark.worlds import ROLL_M2, World, invent_firm


def taking(name, factor, **of_the_firm):
    """Return a kind of firm whose reveals across the opening take so much sheet a m²."""
    factors = {"diagonal": factor, "centre": factor, "lined": 1.1}
    return World(name, mechanism="flat", truth={"factors": factors}, **of_the_firm)


UNMEASURED = (
    World("24 jobs", jobs=24, quarters=2),
    World("48 jobs"),
    taking("48 jobs, reveals take 0.8", 0.8),
    taking("96 jobs, reveals take 0.8", 0.8, jobs=96, quarters=8),
)
ROUGH = (
    World("depths noisy by 30 mm", depth_noise_mm=30.0),
    taking("depths noisy by 30 mm, reveals take 0.5", 0.5, depth_noise_mm=30.0),
    taking("depths noisy by 80 mm, reveals take 0.5", 0.5, depth_noise_mm=80.0),
)


def without_openings(records, lost, known):
    """Return the records without the openings of some jobs, as unknown or as if there are none."""
    ids = set(records.jobs.loc[lost, "job_id"])
    openings = records.openings[~records.openings["job_id"].isin(ids)].reset_index(drop=True)
    jobs = records.jobs.assign(openings_known=~lost | known)
    return replace(records, jobs=jobs, openings=openings)


def tried(firm, learnt, takeoff=None):
    """Return cost, and the share of uses that the 80 % interval held, of prices by some way."""
    orders = price(takeoff or firm.takeoff, learnt, runs.LEFTOVER, runs.SHORT)
    truth = firm.mean_m2, firm.sd_m2, ROLL_M2
    inside = (orders["low_m2"] <= firm.used_m2) & (firm.used_m2 <= orders["high_m2"])
    return runs.oracle_cost(orders["order_rolls"].to_numpy(), *truth), inside.mean()


def one_unmeasured(world, seed):
    """Return what the ways cost and hold for one firm of which half of the jobs are measured."""
    firm = invent_firm(world, seed)
    jobs = len(firm.records.jobs)
    lost = np.random.default_rng([seed, 11]).permutation(jobs) < jobs // 2
    full, half, bare = map(
        calibrate,
        (
            firm.records,
            without_openings(firm.records, lost, False),
            without_openings(firm.records, lost, True),
        ),
    )
    every = np.ones(len(firm.takeoff.jobs), dtype=bool)
    early = without_openings(firm.takeoff, every, False)
    found = {"full": tried(firm, full), "half": tried(firm, half), "windowless": tried(firm, bare)}
    return found | {"early": tried(firm, full, early), "early, half": tried(firm, half, early)}


def one_rough(world, seed):
    """Return what the ways cost and hold for one firm of rough depths, told or not."""
    firm = invent_firm(world, seed)
    told = calibrate(firm.records, depth_error_mm=world.depth_noise_mm)
    exact = calibrate(firm.records)
    row = {"told": tried(firm, told), "not told": tried(firm, exact)}
    for name, learnt in (("told", told), ("not told", exact)):
        factor, truth = learnt.table().loc["reveal.diagonal"], firm.truth.factors["diagonal"]
        held = float(factor["low"] <= truth <= factor["high"])
        row[f"{name}: factor, held 90 %"] = factor["mean"], held
    return row


def measured(one, world, asked):
    """Return each way's cost as a multiple of the oracle's, and what its intervals hold."""
    seeds = range(asked.first, asked.first + asked.seeds)
    with ProcessPoolExecutor(2) as pool:
        rows = list(pool.map(partial(one, world), seeds))
        oracle = np.array(list(pool.map(partial(oracle_of, world), seeds)))
    return pd.DataFrame({way: _summary([row[way] for row in rows], oracle) for way in rows[0]}).T


def oracle_of(world, seed):
    """Return the cost of one who knows every parameter but no luck."""
    firm = invent_firm(world, seed)
    truth = firm.mean_m2, firm.sd_m2, ROLL_M2
    return runs.oracle_cost(runs.oracle_order(*truth), *truth)


def _summary(pairs, oracle):
    """A ratio of sums has the error of its residuals; a share that of its mean over the firms."""
    first, held = np.array(pairs).T
    ratio, root = first.sum() / oracle.sum(), np.sqrt(len(oracle))
    off = (first - ratio * oracle).std(ddof=1) / oracle.mean()
    return {
        "x oracle": ratio,
        "x oracle, se": off / root,
        "mean": first.mean(),
        "holds": held.mean(),
        "holds, se": held.std(ddof=1) / root,
    }


def main():
    """Print one table a world."""
    asked = runs.asked(__doc__, 60)
    for one, worlds in ((one_unmeasured, UNMEASURED), (one_rough, ROUGH)):
        for world in worlds:
            if asked.world in world.name:
                print(f"\n{world.name}, {asked.seeds} firms from seed {asked.first}")
                print(measured(one, world, asked).round(3).to_string())


if __name__ == "__main__":
    main()
