"""Measure the calibration on invented firms: order cost, coverage, pinball loss in rolls.

Run `python -m tests.benchmark.bars --seeds 200` from the top of the checkout.
"""

from functools import partial

import numpy as np
import pandas as pd
from scipy.stats import norm

from airstats.backtests.rolling import PERCENTS, pinball
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import packs_for_share, predict, price
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark import runs
from tests.benchmark.worlds import ROLL_M2, WORLDS, invent_firm, resize

DRIVERS = ["laid_m2", "reveal_diagonal_m2", "reveal_centre_m2", "reveal_lined_m2"]


def pinball_rolls(rolls, came_m2):
    """Return the mean pinball loss of the 10, 50, 80 and 90 % rolls, in rolls a job.

    `rolls` gives the (n,) whole rolls that cover the need with a given probability.
    """
    needed = np.ceil(came_m2 / ROLL_M2)
    shares = [percent / 100 for percent in PERCENTS]
    return float(np.mean([pinball(share, rolls(share), needed) for share in shares]))


def least_squares_rolls(past, ahead):
    """Return, for a share, the rolls of least squares on the middle of each count."""
    middle = past.columns(["used_low_m2", "used_high_m2"]).mean(axis=1)
    x = past.columns(DRIVERS)
    b = np.linalg.lstsq(x, middle, rcond=None)[0]
    sd = np.sqrt(((middle - x @ b) ** 2).sum() / max(len(x) - 4, 1))
    foretold = ahead.columns(DRIVERS) @ b
    return lambda share: np.ceil((foretold + norm.ppf(share) * sd) / ROLL_M2)


def one_firm(world, seed):
    """Calibrate on a firm's past, price its next jobs, and compare with the truth."""
    firm = invent_firm(world, seed)
    learnt = calibrate(firm.records)
    orders = price(firm.takeoff, learnt, runs.LEFTOVER, runs.SHORT)
    past, ahead = take_off(firm.records), take_off(firm.takeoff)
    truth = firm.mean_m2, firm.sd_m2, ROLL_M2
    squares, oracle = least_squares_rolls(past, ahead), partial(runs.oracle_order, *truth)
    use, roll = predict(ahead, learnt), np.full(len(ahead), ROLL_M2)
    tried = {
        "cost": orders["order_rolls"].to_numpy(),
        "oracle": oracle(),
        "flat": np.ceil(ahead.table["surface_m2"].to_numpy() * 1.10 / ROLL_M2),
        "squares": squares(runs.WANTED),
    }
    inside = (orders["low_m2"] <= firm.used_m2) & (firm.used_m2 <= orders["high_m2"])
    return (
        {name: runs.oracle_cost(order, *truth) for name, order in tried.items()}
        | {
            "use_80": inside.mean(),
            "short": (orders["order_rolls"] * ROLL_M2 < firm.used_m2).mean(),
            "stated_short": orders["chance_short"].mean(),
            "gross_found": found(learnt, firm),
            "reuse_form": learnt.form_weights()["reuse"],
            "pinball": pinball_rolls(partial(packs_for_share, use, roll), firm.used_m2),
            "pinball_oracle": pinball_rolls(lambda share: oracle(share=share), firm.used_m2),
            "pinball_squares": pinball_rolls(squares, firm.used_m2),
        }
        | coverage(world, firm, learnt)
    )


def found(learnt, firm):
    """Return the share of gross errors in the last update that were named."""
    wrong = set(firm.records.jobs.loc[firm.gross, "job_id"]) & set(learnt.new_jobs)
    return len(wrong & set(learnt.suspects)) / len(wrong) if wrong else np.nan


def coverage(world, firm, learnt):
    """Return, for each allowance that has a truth, whether its 90 % interval holds it."""
    truth = firm.truth
    ends = {"waste": truth.waste + world.drift * (world.quarters - 1)}
    ends["reveal.lined"] = truth.factors["lined"]
    flat = world.mechanism == "flat"
    kind, values = ("reveal", truth.factors) if flat else ("reuse", truth.reuse)
    ends |= {f"{kind}.{cut}": values[cut] for cut in ("diagonal", "centre")}
    row = pd.concat([learnt.table(), learnt.reuse_table()]).loc[list(ends)]
    held = (row["low"] <= pd.Series(ends)) & (pd.Series(ends) <= row["high"])
    return {f"{name}_90": float(held[name]) for name in ends}


def main():
    """Print one row a world: cost ratios and coverages, averaged over the seeds."""
    asked = runs.asked(__doc__, 200)
    rows = {}
    for world in [*WORLDS, resize(WORLDS[0], 500, 12)]:
        if asked.world in world.name:
            mean = runs.averaged(partial(one_firm, world), asked.seeds, asked.first)
            rows[world.name] = runs.beside_oracle(mean, "cost", "flat", "squares")
    runs.show(rows)


if __name__ == "__main__":
    main()
