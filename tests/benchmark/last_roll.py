"""What measuring the last roll is worth: orders' cost against the oracle's, by how rolls count.

Run `nice -n 15 python -m tests.benchmark.last_roll --seeds 60` from the top of the checkout.

The same jobs of the same firms, their habits drawn anew (`hidden_firms`), are counted in turn by
whole rolls opened, halves, quarters, and as opened with the last roll measured across to ± 5 mm.
Each firm's full roll is 150 to 200 mm across and its core 72 to 92; it goes by the mean of three
such rolls, each measured to ± 5 mm as well, or by one. Beside it a firm that leaves both to the
usual roll, and one that knows its use.
"""

from dataclasses import replace
from functools import partial

import numpy as np
from scipy.stats import norm

from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import packs_for_share, predict
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark import runs
from tests.benchmark.hidden_firms import hidden_world, with_error
from tests.benchmark.worlds import ROLL_M2, invent_firm

ROLL_M, ERROR_MM = 50.0, 5.0
SIZES = ((12, 1), (24, 2), (48, 4))


def ways_of_counting(jobs, seed):
    """Return, by name, the columns that each way of counting writes of jobs whose use is known."""
    rng = np.random.default_rng([seed, 11])
    rolls = jobs["used_rolls"].to_numpy()
    opened = np.ceil(rolls)
    full, core = rng.uniform(150, 200), rng.uniform(72, 92)
    left = (opened - rolls) * ROLL_M
    across = np.sqrt(core**2 + (full**2 - core**2) * left / ROLL_M)
    seen = across + rng.uniform(-ERROR_MM, ERROR_MM, len(jobs))
    off = rng.uniform(-ERROR_MM, ERROR_MM, (2, 3))
    roll, true = ("full_diameter_mm", "core_mm"), np.array([full, core])
    errors = (off[:, 0], off.mean(axis=1))
    once, thrice = (dict(zip(roll, true + error, strict=True)) for error in errors)
    whole = {"used_rolls": opened, "counted": "opened"}
    measured = whole | {"left_diameter_mm": seen}
    return {
        "whole rolls": whole,
        "halves": {"used_rolls": np.maximum(np.round(rolls * 2), 1) / 2, "counted": "half"},
        "quarters": {"used_rolls": np.maximum(np.round(rolls * 4), 1) / 4, "counted": "quarter"},
        "last roll measured": measured | thrice,
        "full roll measured once": measured | once,
        "by the usual roll": measured | dict.fromkeys(roll, np.nan),
        "use known": {},
    }


def one_firm(jobs, quarters, seed):
    """Return what each way of counting costs a firm, and what its 80 % intervals hold."""
    world = replace(hidden_world(jobs, quarters, seed), counted="exact")
    firm = invent_firm(world, seed)
    ahead = take_off(firm.takeoff)
    truth = firm.mean_m2, firm.sd_m2, ROLL_M2
    found = {"oracle": runs.oracle_cost(runs.oracle_order(*truth), *truth)}
    for name, columns in ways_of_counting(firm.records.jobs, seed).items():
        records = replace(firm.records, jobs=firm.records.jobs.assign(**columns))
        use = predict(ahead, calibrate(records))
        order = packs_for_share(use, np.full(len(ahead), ROLL_M2), runs.WANTED)
        ends = norm.cdf([use.quantile(0.1), use.quantile(0.9)], *truth[:2])
        held = np.diff(ends, axis=0).mean()
        found |= {name: runs.oracle_cost(order, *truth), f"{name}: 80 %": held}
    return found


def main():
    """Print a row a number of jobs."""
    asked = runs.asked(__doc__, 60)
    rows = {}
    for jobs, quarters in SIZES:
        found = runs.each_seed(
            partial(one_firm, jobs, quarters), asked.seeds, asked.first, asked.workers
        )
        for name in [n for n in found if ": " not in n and n != "oracle"]:
            rows[f"{jobs} jobs, {name}"] = beside(found, name)
    runs.show(rows)


def beside(found, name):
    """Return cost as a multiple of the oracle's with its standard error, and the uses held."""
    ratio, error = with_error(found[name], found["oracle"])
    return {"x oracle": ratio, "error": error, "80 % held": found[f"{name}: 80 %"].mean()}


if __name__ == "__main__":
    main()
