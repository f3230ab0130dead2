"""Do firms that record finer save what was foretold? Asked of invented firms.

Each firm's records foretell what measuring the last roll for a year would save in the year after.
Then the year comes, from the firm's truth, is recorded as before and measured, and the year after
is ordered for with what each taught; an order's cost is that under the truth.

Run `python -m tests.benchmark.recording --seeds 60` from the top of the checkout.
"""

from dataclasses import replace

import numpy as np

from airstats.analysis.recording_value import WAYS, value_of_recording
from airstats.model.posterior import update, widen
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import priced
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark import runs
from tests.benchmark.worlds import ROLL_M2, World, invent_firm

A_YEAR = 48
SIZES = {"12 jobs": (12, 1), "48 jobs": (48, 4), "96 jobs": (96, 8)}


def one_firm(world, seed):
    """Return what was foretold to be saved, and what was, for each way to record."""
    from airstats.analysis import recording_value as value

    firm = invent_firm(world, seed)
    learnt = calibrate(firm.records)
    ahead = take_off(firm.takeoff)
    asked = ahead.where(np.arange(2 * A_YEAR) < A_YEAR)
    asked = replace(asked, table=asked.table.assign(quarter="2025Q1", counted="opened"))
    told = value_of_recording(learnt, asked, runs.LEFTOVER, runs.SHORT, draws=40)
    foretold = dict(zip(told["way"], told["saving"], strict=True))
    after = ahead.where(np.arange(2 * A_YEAR) >= A_YEAR)
    truth = firm.mean_m2[A_YEAR:], firm.sd_m2[A_YEAR:], ROLL_M2
    gauge = np.random.default_rng(seed).uniform(-1, 1, A_YEAR)
    cost = {}
    for name, way in WAYS.items():
        if way.years > 1:
            continue
        counts = value.counted_as(asked, firm.used_m2[:A_YEAR], gauge, way.counted)
        belief = update(widen(learnt.belief, 2), counts)
        known = replace(learnt, belief=belief)
        order = priced(after, known, runs.LEFTOVER, runs.SHORT, 4).order_packs
        cost[name] = A_YEAR * runs.oracle_cost(order, *truth)
    oracle = A_YEAR * runs.oracle_cost(runs.oracle_order(*truth), *truth)
    now = cost["as now"]
    row = {"not known, foretold": float(told["not_known"].iloc[0]), "not known": now - oracle}
    for name in list(cost)[1:]:
        row |= {f"{name}, foretold": foretold[name], name: now - cost[name]}
    return row


def main():
    """Print one row a size of firm: money a year, foretold and come true, with standard errors."""
    asked = runs.asked(__doc__, 60)
    for name, (jobs, quarters) in SIZES.items():
        world = World(name, jobs=jobs, quarters=quarters, to_price=2 * A_YEAR)
        rows = [one_firm(world, seed) for seed in range(asked.first, asked.first + asked.seeds)]
        values = {key: np.array([row[key] for row in rows]) for key in rows[0]}
        print(name)
        for key, came in values.items():
            print(f"  {key:32s} {came.mean():7.1f} ± {came.std(ddof=1) / len(came) ** 0.5:.1f}")


if __name__ == "__main__":
    main()
