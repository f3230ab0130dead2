"""Measure the calibration on invented firms: order cost, coverage, pinball loss in rolls.

Run `python -m tests.benchmark.bars --seeds 200` from the top of the checkout.
"""

import argparse
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
import pandas as pd
from scipy.stats import norm

from airstats.allowances import Allowances
from airstats.chain import calibrate
from airstats.looking_back import PERCENTS, pinball
from airstats.mixture import Mixture
from airstats.pricing import critical_share, expected_cost, predict, price, rolls_for_share
from airstats.takeoff import Takeoff, take_off
from tests.benchmark.worlds import ROLL_M2, WORLDS, Firm, World, invent_firm, resize

LEFTOVER, SHORT = 60.0, 240.0


def cost(order: np.ndarray, firm: Firm) -> float:
    """Return the mean cost of the orders, expected over the luck of each job."""
    use = oracle_use(firm)
    roll = np.full(len(order), ROLL_M2)
    return float(expected_cost(use, roll, order.astype(int), LEFTOVER, SHORT).mean())


def oracle_use(firm: Firm) -> Mixture:
    """Return the use of each job as one foretells it who knows every parameter but no luck."""
    return Mixture(np.ones(1), firm.mean_m2[None, :], firm.sd_m2[None, :])


def pinball_rolls(rolls: Callable[[float], np.ndarray], came_m2: np.ndarray) -> float:
    """Return the mean pinball loss of the 10, 50, 80 and 90 % rolls, in rolls a job.

    `rolls` gives the (n,) whole rolls that cover the need with a given probability.
    """
    needed = np.ceil(came_m2 / ROLL_M2)
    shares = [percent / 100 for percent in PERCENTS]
    return float(np.mean([pinball(share, rolls(share), needed) for share in shares]))


def oracle_rolls(firm: Firm, share: float) -> np.ndarray:
    """Return the rolls of one who knows every parameter but no luck."""
    return np.ceil(norm.ppf(share, firm.mean_m2, firm.sd_m2) / ROLL_M2)


def flat_order(past: Takeoff, ahead: Takeoff) -> np.ndarray:
    """Return the orders of a flat 10 % on the surface."""
    return np.ceil(ahead.table["surface_m2"].to_numpy() * 1.10 / ROLL_M2)


def least_squares_rolls(past: Takeoff, ahead: Takeoff) -> Callable[[float], np.ndarray]:
    """Return, for a share, the rolls of least squares on the middle of each count."""
    names = ["laid_m2", "reveal_diagonal_m2", "reveal_centre_m2", "reveal_lined_m2"]
    middle = past.columns(["used_low_m2", "used_high_m2"]).mean(axis=1)
    x = past.columns(names)
    b = np.linalg.lstsq(x, middle, rcond=None)[0]
    sd = np.sqrt(((middle - x @ b) ** 2).sum() / max(len(x) - 4, 1))
    foretold = ahead.columns(names) @ b
    return lambda share: np.ceil((foretold + norm.ppf(share) * sd) / ROLL_M2)


def one_firm(world: World, seed: int) -> dict[str, float]:
    """Calibrate on a firm's past, price its next jobs, and compare with the truth."""
    firm = invent_firm(world, seed)
    learnt = calibrate(firm.records)
    orders = price(firm.takeoff, learnt, LEFTOVER, SHORT)
    past, ahead = take_off(firm.records), take_off(firm.takeoff)
    wanted, roll = critical_share(LEFTOVER, SHORT), np.full(len(ahead), ROLL_M2)
    squares, use = least_squares_rolls(past, ahead), predict(ahead, learnt)
    inside = (orders["low_m2"] <= firm.used_m2) & (firm.used_m2 <= orders["high_m2"])
    row = {
        "cost": cost(orders["order_rolls"].to_numpy(), firm),
        "oracle": cost(oracle_rolls(firm, wanted), firm),
        "flat": cost(flat_order(past, ahead), firm),
        "squares": cost(squares(wanted), firm),
        "use_80": inside.mean(),
        "short": (orders["order_rolls"] * ROLL_M2 < firm.used_m2).mean(),
        "stated_short": orders["chance_short"].mean(),
        "gross_found": found(learnt, firm),
        "reuse_form": learnt.form_weights()["reuse"],
        "pinball": pinball_rolls(partial(rolls_for_share, use, roll), firm.used_m2),
        "pinball_oracle": pinball_rolls(partial(oracle_rolls, firm), firm.used_m2),
        "pinball_squares": pinball_rolls(squares, firm.used_m2),
    }
    return row | coverage(world, firm, learnt)


def found(learnt: Allowances, firm: Firm) -> float:
    """Return the share of gross errors in the last update that were named."""
    wrong = set(firm.records.jobs.loc[firm.gross, "job_id"]) & set(learnt.new_jobs)
    return len(wrong & set(learnt.suspects)) / len(wrong) if wrong else np.nan


def coverage(world: World, firm: Firm, learnt: Allowances) -> dict[str, float]:
    """Return, for each allowance that has a truth, whether its 90 % interval holds it."""
    truth = firm.truth
    table = pd.concat([learnt.table(), learnt.reuse_table()])
    ends = {"waste": truth.waste + world.drift * (world.quarters - 1)}
    ends["reveal.lined"] = truth.factors["lined"]
    kind, values = (
        ("reveal", truth.factors) if world.mechanism == "flat" else ("reuse", truth.reuse)
    )
    ends |= {f"{kind}.{cut}": values[cut] for cut in ("diagonal", "centre")}
    row = table.loc[list(ends)]
    held = (row["low"] <= pd.Series(ends)) & (pd.Series(ends) <= row["high"])
    return {f"{name}_90": float(held[name]) for name in ends}


def measure(worlds: list[World], seeds: int, first: int = 0, workers: int = 2) -> pd.DataFrame:
    """Return one row a world: cost ratios and coverages, averaged over the seeds."""
    rows = {}
    with ProcessPoolExecutor(workers) as pool:
        for world in worlds:
            runs = pd.DataFrame(
                pool.map(partial(one_firm, world), range(first, first + seeds), chunksize=10)
            )
            mean = runs.mean()
            rows[world.name] = pd.concat(
                [
                    (mean[["cost", "flat", "squares"]] / mean["oracle"]).rename("x {}".format),
                    mean.drop(["cost", "oracle", "flat", "squares"]),
                ]
            )
    return pd.DataFrame(rows).T


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--world", help="only worlds whose name holds this text")
    asked = parser.parse_args()
    worlds = [*WORLDS, resize(WORLDS[0], 500, 12)]
    chosen = [w for w in worlds if not asked.world or asked.world in w.name]
    with pd.option_context("display.width", 250, "display.max_columns", 30):
        print(measure(chosen, asked.seeds, asked.first).round(3))


if __name__ == "__main__":
    main()
