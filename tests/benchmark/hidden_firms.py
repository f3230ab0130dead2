"""Firms with habits drawn anew: what their orders cost, under one starting belief and another.

Run `nice -n 15 python -m tests.benchmark.hidden_firms --workers 1` from the top of the checkout;
`--world` chooses rows by name, `--write` keeps what was found.

The habits, drawn evenly in ranges that the starting belief knows nothing of: waste 0.02 to 0.20 m²
a m² laid; sheet a m² of reveal across the opening 0.1 to 0.9 (one firm in two) or a share of 0 to
1 of the off-cuts used (the other); lined 0.9 to 1.5; spread 0.02 to 0.07 (its logarithm evenly);
floor 2 to 8 m²; crews by 0.003 to 0.05 (sd, its logarithm evenly). Waste stands still (one firm in
two), wanders by 0.01 a quarter (sd; one in four), or rises or falls by up to 0.015 a quarter.
"""

from functools import partial

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

from airstats.backtests.rolling import cheapest_share
from airstats.model.likelihood import interval_probability
from airstats.model.prior import Prior
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import packs_for_share, predict
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark import runs
from tests.benchmark.bars import DRIVERS, least_squares_rolls
from tests.benchmark.worlds import CREWS, ROLL_M2, World, invent_firm

NARROW = Prior(
    reveal_factors=((0.30, 0.25), (0.30, 0.25), (1.10, 0.20)),
    wide_weight=0.0,
    trend_weight=0.0,
    spread_centre=0.045,
    spread_nodes=tuple(round(0.0175 * 2 ** (step / 3), 5) for step in range(11)),
    drift_weights=((0.0, 0.30), (0.006, 0.20), (0.015, 0.25), (0.03, 0.25)),
)
"""A starting belief that does not give way: no companions, no trend, a larger spread, lined reveals
surer, drift more likely."""
USUAL = {"diagonal": 0.3, "centre": 0.3, "lined": 1.1}
FAR = {
    "reveals 0.8": {"factors": USUAL | {"diagonal": 0.8, "centre": 0.8}},
    "reveals 1.2": {"factors": USUAL | {"diagonal": 1.2, "centre": 1.2}},
    "lined 1.6": {"factors": USUAL | {"lined": 1.6}},
    "waste 0.28": {"waste": 0.28},
}
"""Truths far from what is believed at first."""
TRIED = {
    "as others": {},
    "waste rises": {"drift": 0.015},
    "crews differ": {"crew_sd": 0.05},
    "gross errors": {"gross_share": 0.06},
}


def hidden_world(jobs, quarters, seed):
    """Return the world of one firm, its habits drawn anew."""
    rng = np.random.default_rng([seed, 9])
    crew_sd = float(np.exp(rng.uniform(*np.log([0.003, 0.05]))))
    truth = {
        "waste": float(rng.uniform(0.02, 0.20)),
        "reuse": {cut: float(rng.uniform(0, 1)) for cut in ("diagonal", "centre")},
        "factors": {
            "diagonal": float(rng.uniform(0.1, 0.9)),
            "centre": float(rng.uniform(0.1, 0.9)),
            "lined": float(rng.uniform(0.9, 1.5)),
        },
        "spread": float(np.exp(rng.uniform(*np.log([0.02, 0.07])))),
        "floor_m2": float(rng.uniform(2, 8)),
        "crews": {str(crew): float(rng.normal(0, crew_sd)) for crew in CREWS},
    }
    kind, slope = rng.integers(4), float(rng.uniform(-0.015, 0.015))
    return World(
        "hidden", jobs=jobs, quarters=quarters, crew_sd=crew_sd, truth=truth,
        mechanism=("flat", "pieces")[rng.integers(2)],
        wander=0.01 * (kind == 2), drift=slope * (kind == 3),
    )  # fmt: skip


def told(world, truth):
    """Return the starting belief of one who is told spread, floor, crews and drift."""
    return Prior(
        spread_nodes=(truth.spread,),
        spread_centre=truth.spread,
        floor=truth.floor_m2,
        crew_sd_weights=((world.crew_sd, 1.0),),
        drift_weights=((world.wander, 1.0),),
        trend=abs(world.drift),
        trend_weight=float(world.drift != 0),
    )


def censored_rolls(past, ahead):
    """Return, for a share, the rolls of maximum likelihood on the counted intervals."""
    x, (low, high) = past.columns(DRIVERS), past.interval.T
    start = np.linalg.lstsq(x, (low + high) / 2, rcond=None)[0]

    def loss(at):
        chance = interval_probability(x @ at[:-1], np.exp(at[-1]), low, high)
        return -np.log(np.maximum(chance, 1e-300)).sum()

    found = minimize(loss, [*start, np.log(20)], method="Nelder-Mead",
                     options={"maxiter": 4000, "maxfev": 4000}).x  # fmt: skip
    use, sd = ahead.columns(DRIVERS) @ found[:-1], np.exp(found[-1])
    return lambda share: np.ceil((use + norm.ppf(share) * sd) / ROLL_M2)


def one_firm(world_of, hidden, seed):
    """Return what each way of ordering costs a firm, and what its intervals hold.

    `world_of(seed)` is the firm's world; `hidden` asks for the other ways of ordering too.
    """
    world = world_of(seed)
    firm = invent_firm(world, seed)
    past, ahead = take_off(firm.records), take_off(firm.takeoff)
    truth = firm.mean_m2, firm.sd_m2, ROLL_M2
    orders = {"oracle": runs.oracle_order(*truth)} | (others(past, ahead) if hidden else {})
    priors = {"narrow": NARROW, "now": Prior()}
    priors |= {"told": told(world, firm.truth)} if hidden else {}
    found = {}
    for name, prior in priors.items():
        learnt = calibrate(firm.records, prior=prior)
        use = predict(ahead, learnt)
        ends = norm.cdf([use.quantile(0.1), use.quantile(0.9)], *truth[:2])
        found |= held(name, world, firm, learnt.table()) | {
            f"{name}: use_80": np.diff(ends, axis=0).mean()
        }
        orders[name] = packs_for_share(use, np.full(len(ahead), ROLL_M2), runs.WANTED)
    costs = {name: runs.oracle_cost(np.maximum(order, 0), *truth) for name, order in orders.items()}
    return costs | found


def others(past, ahead):
    """Return the orders of those who learn otherwise from the same jobs."""
    share = cheapest_share(past, runs.LEFTOVER, runs.SHORT)
    return {
        "flat share learnt": np.ceil(ahead.table["surface_m2"].to_numpy() * (1 + share) / ROLL_M2),
        "least squares": least_squares_rolls(past, ahead)(runs.WANTED),
        "censored likelihood": censored_rolls(past, ahead)(runs.WANTED),
    }


def held(name, world, firm, table):
    """Return the means of the flat factors and of waste, and whether 90 % hold the truth."""
    ends = {"waste": firm.last_waste}
    if world.mechanism == "flat":
        ends |= {f"reveal.{cut}": factor for cut, factor in firm.truth.factors.items()}
    inside = {k: float(table.low[k] <= end <= table.high[k]) for k, end in ends.items()}
    return {f"{name}: {k}_90": v for k, v in inside.items()} | {
        f"{name}: {k}": table["mean"][k] for k in ends
    }


def summary(found):
    """Return costs as multiples of the oracle's, with their errors, and the mean of the rest."""
    costs = [name for name in found if ": " not in name and name != "oracle"]
    row = {name: with_error(found[name], found["oracle"]) for name in costs}
    row["now / narrow"] = with_error(found["now"], found["narrow"])
    if "told" in found:
        row["now / told"] = with_error(found["now"], found["told"])
    return row | {name: (found[name].mean(), found[name].sem()) for name in found if ": " in name}


def with_error(cost, other):
    """Return the ratio of two means over the same firms, and its standard error."""
    ratio = cost.mean() / other.mean()
    return ratio, (cost - ratio * other).std(ddof=1) / np.sqrt(len(cost)) / other.mean()


def rows():
    """Yield each row's name, its worlds by seed, and whether their habits are drawn anew."""
    for jobs in (12, 24, 48, 96):
        yield f"hidden, {jobs} jobs", partial(hidden_world, jobs, jobs // 12), True
    for name, more in TRIED.items():
        yield f"{name}, 48 jobs", partial(same_world, World(name, **more)), False
    for name, truth in FAR.items():
        for jobs in (24, 96):
            far = World(name, jobs, jobs // 12, mechanism="flat", truth=truth)
            yield f"{name}, {jobs} jobs", partial(same_world, far), False


def same_world(world, seed):
    """Return the one world that all seeds share."""
    return world


def main():
    """Print a row as it is found: a number and its standard error; with --write keep it."""
    asked = runs.asked(__doc__, 60)
    for name, world_of, hidden in rows():
        if asked.world not in name:
            continue
        run = partial(one_firm, world_of, hidden)
        row = summary(runs.each_seed(run, asked.seeds, asked.first, asked.workers))
        print(
            name, *(f"{k} {mean:.3f} ± {error:.3f}" for k, (mean, error) in row.items()), sep="; "
        )
        if asked.write:
            runs.keep("hidden_firms", name, asked, {k: mean for k, (mean, _) in row.items()})


if __name__ == "__main__":
    main()
