"""Every quarter priced from what was known before it, beside simpler rules and the real prices."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.base.errors import RecordsError
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.quarters import quarter_number, quarters_between
from airstats.model.allowances import Allowances, unchanged
from airstats.model.quarterly_update import finished_jobs, run_through
from airstats.pricing.newsvendor import SHEET_ORDERS, Priced, critical_share, priced
from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

FLAT_SHARE = 0.10
"""The flat percentage on the surface that the rules are compared with. Common practice."""
FLAT_SHARES = np.arange(0.0, 1.001, 0.01)
"""Those among which the share of least cost is looked for: nothing to twice the surface."""

RULES = {
    "airstats": "priced with the allowances known then",
    "flat": "surface and a flat 10 %",
    "flat_learnt": "surface and the flat share that cost least so far",
    "estimated": "what was really priced",
    "least_squares": "least squares on the middle of each count",
}
PACK_RULES = {
    "airstats": "priced with the allowance known then",
    "flat": "counted amount and a flat 10 %",
    "estimated": "what was really priced",
}
"""Those that are shown for another material than the sheet."""
ORACLE = "oracle"
"""A rule of its own, where the truth is known."""
WORDS_OF_RULES = RULES | {ORACLE: "one who knows every parameter but no luck"}
RATIOS = (1.0, 2.0, 4.0, 8.0)
"""What a roll short costs, in rolls left over, that a doubting reader asks for."""
PERCENTS = (10, 50, 80, 90)
"""Quantiles, in percent, whose forecasts are scored one by one."""


@dataclass(frozen=True)
class Backtest:
    """Outcome of a back-test.

    Attributes
    ----------
    jobs : one row a job priced: `job_id, quarter`, the columns of `price`, `needed_rolls`,
        `held_80` (chance that the use lay in low..high), `chance_low, chance_high` (the chance
        foretold of a use below the least and the most that the count can stand for),
        `pinball_rolls`, `pinball_p10..p90` and `least_squares_pinball_p10..p90` (rolls), and for
        each rule `RULE_rolls, RULE_cost`; with `ratios` also `RULE_cost_at_RATIO`, the same at
        another ratio of the costs
    summary : one row a rule: `jobs, mean_cost, jobs_short, rolls_short, rolls_left_over`
    held_80 : share of the uses inside their 80 % interval
    pinball_rolls : mean pinball loss of the 50, 80 and 95 % rolls
    """

    jobs: pd.DataFrame
    summary: pd.DataFrame
    held_80: float
    pinball_rolls: float


def backtest(
    records: Records,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    truth: pd.DataFrame | None = None,
    ratios: Sequence[float] = (),
) -> Backtest:
    """Price every quarter from the quarters before it and compare with what was needed.

    Parameters
    ----------
    records : Records
        Finished jobs of two quarters or more.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short.
    truth : DataFrame, optional
        Where it is known: `job_id, mean_m2, sd_m2` of each job's use, as one expects it who knows
        every parameter but no luck. It adds the rule "oracle".
    ratios : sequence of float
        Other prices of a roll short, as multiples of `leftover_cost`, tried on the same forecasts.

    Raises
    ------
    RecordsError
        If fewer than two quarters hold finished jobs, or `truth` lacks a column or a job.
    """
    jobs = finished_jobs(records)
    table = replay(jobs, leftover_cost, short_cost, ratios)
    if table.empty:
        raise RecordsError(
            f"{records.source}: a back-test needs finished jobs in two quarters or more; found"
            f" {jobs.table['quarter'].nunique()}."
        )
    if truth is not None:
        table = _with_oracle(table, jobs, truth, leftover_cost, short_cost)
    rules = [*RULES, *[ORACLE] * (f"{ORACLE}_packs" in table)]
    summary = summary_by_rule(table, rules).rename(columns=_in_rolls)
    table = table.rename(columns=_in_rolls)
    return Backtest(
        jobs=table,
        summary=summary,
        held_80=float(table["held_80"].mean()),
        pinball_rolls=float(table["pinball_rolls"].mean()),
    )


def replay(
    jobs: Takeoff,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    ratios: Sequence[float] = (),
) -> pd.DataFrame:
    """Price a product's jobs of every quarter from its jobs of the quarters before.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs.
    leftover_cost, short_cost : float
        Money for each roll of sheet left over and short; only their ratio decides an order.
    ratios : sequence of float
        As for `backtest`.

    Returns
    -------
    DataFrame
        One row a job of the second quarter and later, as in `Backtest`, with packs for rolls and
        the amounts of `Priced.orders`. No rows where fewer than two quarters hold jobs.
    """
    quarters = sorted(set(jobs.table["quarter"]), key=quarter_number)
    if len(quarters) < 2:
        return pd.DataFrame()
    known, parts = unchanged(quarters[0], product=jobs.product), []
    own = jobs.table["quarter"].map({quarter: n for n, quarter in enumerate(quarters)}).to_numpy()
    for n, (before, quarter) in enumerate(pairwise(quarters)):
        known = run_through(jobs.where(own == n), [before], known)
        past, ahead = jobs.where(own <= n), jobs.where(own == n + 1)
        parts.append(_one_quarter(past, ahead, quarter, known, leftover_cost, short_cost, ratios))
    return pd.concat(parts, ignore_index=True)


def summary_by_rule(table: pd.DataFrame, rules: Iterable[str] = tuple(RULES)) -> pd.DataFrame:
    """Return one row a rule over the jobs that every rule prices, from `replay`.

    `rule, jobs, mean_cost, jobs_short, packs_short, packs_left_over`. Where no job has an
    estimate, what was really priced is left out.
    """
    given = [
        rule for rule in rules if f"{rule}_packs" in table and table[f"{rule}_packs"].notna().any()
    ]
    shared = table.dropna(subset=[f"{rule}_packs" for rule in given])
    rows = {}
    for rule in given:
        own = measures(shared, rule)
        mean_cost = own.pop("cost").mean()
        rows[rule] = {"jobs": len(shared), "mean_cost": mean_cost} | own.sum().to_dict()
    return pd.DataFrame(rows).T.rename_axis("rule").reset_index()


def measures(jobs: pd.DataFrame, rule: str, unit: str = "packs") -> pd.DataFrame:
    """Return `jobs_short, UNIT_short, UNIT_left_over, cost` of each job priced by one rule.

    Parameters
    ----------
    jobs : DataFrame
        n jobs: `RULE_UNIT, needed_UNIT, RULE_cost`.
    rule : str
        One of `RULES`.
    unit : {"packs", "rolls"}
        What the columns call them.
    """
    gap = (jobs[f"{rule}_{unit}"] - jobs[f"needed_{unit}"]).to_numpy(dtype=float)
    return pd.DataFrame(
        {
            "jobs_short": np.where(gap < 0, 1.0, 0.0),
            f"{unit}_short": np.abs(np.minimum(gap, 0)),
            f"{unit}_left_over": np.maximum(gap, 0),
            "cost": jobs[f"{rule}_cost"],
        }
    )


def _in_rolls(column: str) -> str:
    """Packs of sheet are rolls."""
    return SHEET_ORDERS.get(column, column.replace("packs", "rolls"))


def read_truth(path: str | Path) -> pd.DataFrame:
    """Read a CSV with `job_id, mean_m2, sd_m2`.

    Raises
    ------
    RecordsError
        If it cannot be read, or a number of it is none.
    """
    try:
        table = pd.read_csv(path, dtype={"job_id": str})
        return table.astype({name: float for name in ("mean_m2", "sd_m2") if name in table})
    except (OSError, ValueError) as error:
        raise RecordsError(
            f"{path}: cannot be read as a table of job_id, mean_m2 and sd_m2 ({error})."
        ) from None


def pinball(share: float, foretold: Array, came: Array) -> Array:
    """Return the pinball loss of quantile forecasts (Koenker & Bassett 1978).

    Parameters
    ----------
    share : float
        The quantile, 0 to 1.
    foretold, came : (n,) array
        In any one unit, which is that of the loss.
    """
    over = came - foretold
    return np.maximum(share * over, (share - 1) * over)


def _one_quarter(
    past: Takeoff,
    ahead: Takeoff,
    quarter: str,
    known: Allowances,
    leftover_cost: float,
    short_cost: float,
    ratios: Sequence[float],
) -> pd.DataFrame:
    gap = quarters_between(known.quarter, quarter)
    foretold = priced(ahead, known, leftover_cost, short_cost, gap)
    orders, use = foretold.orders, foretold.use
    needed, by_squares = _needed(ahead), _least_squares(past, ahead)
    columns = {}
    for rule, packs in _by_rule(past, foretold, by_squares, leftover_cost, short_cost).items():
        columns[f"{rule}_packs"] = packs
        columns[f"{rule}_cost"] = _money(packs, needed, leftover_cost, short_cost)
    for ratio in ratios:
        costs = leftover_cost, ratio * leftover_cost
        for rule, packs in _by_rule(past, foretold, by_squares, *costs).items():
            columns[cost_column(rule, ratio)] = _money(packs, needed, *costs)
    losses = [pinball(p / 100, orders[f"packs_p{p}"].to_numpy(), needed) for p in (50, 80, 95)]
    start, end = map(use.below, ahead.interval.T)
    for percent in PERCENTS:
        share = percent / 100
        columns[f"pinball_p{percent}"] = pinball(share, foretold.packs(share), needed)
        simple = pinball(share, by_squares(share), needed)
        columns[f"least_squares_pinball_p{percent}"] = simple
    first = {
        "quarter": quarter,
        "needed_packs": needed,
        "held_80": _share_held(start, end),
        "chance_low": start,
        "chance_high": end,
        "pinball_packs": np.mean(losses, axis=0),
    }
    return orders.join(pd.DataFrame(first | columns, index=orders.index))


def _by_rule(
    past: Takeoff,
    foretold: Priced,
    by_squares: Callable[[float], Array],
    leftover_cost: float,
    short_cost: float,
) -> dict[str, Array]:
    """The packs that each rule orders for the jobs foretold."""
    ahead, share = foretold.jobs, critical_share(leftover_cost, short_cost)
    return {
        "airstats": foretold.packs(share).astype(float),
        "flat": _flat(ahead, FLAT_SHARE),
        "flat_learnt": _flat(ahead, cheapest_share(past, leftover_cost, short_cost)),
        "estimated": np.ceil(ahead.told("estimated")),
        "least_squares": by_squares(share),
    }


def cost_column(rule: str, ratio: float | None = None) -> str:
    """Return the column of what a rule costs, or costs where one short is so many left over."""
    return f"{rule}_cost" if ratio is None else f"{rule}_cost_at_{ratio:g}"


def _money(rolls: Array, needed: Array, leftover_cost: float, short_cost: float) -> Array:
    left, short = np.maximum(rolls - needed, 0), np.maximum(needed - rolls, 0)
    return leftover_cost * left + short_cost * short


def _with_oracle(
    table: pd.DataFrame, jobs: Takeoff, truth: pd.DataFrame, leftover_cost: float, short_cost: float
) -> pd.DataFrame:
    """Add what one who knows the truth would have ordered, and what that would have cost."""
    missing = {"job_id", "mean_m2", "sd_m2"} - set(truth)
    if missing:
        raise RecordsError(f"truth: the column {sorted(missing)[0]} is missing; add it.")
    known = truth.drop_duplicates("job_id").set_index("job_id").reindex(table["job_id"])
    mean, sd = known[["mean_m2", "sd_m2"]].to_numpy(dtype=float).T
    if (unknown := table["job_id"][np.isnan(mean) | ~(sd > 0)]).size:
        raise RecordsError(
            f"truth: job {unknown.iloc[0]} has no mean_m2, or no sd_m2 above 0; fill it in."
        )
    roll = jobs.table.set_index("job_id")["roll_m2"].loc[table["job_id"]].to_numpy(dtype=float)
    needed = table["needed_packs"].to_numpy()

    def order(share: float) -> Array:
        return np.maximum(np.ceil((mean + ndtri(share) * sd) / roll), 0)

    rolls = order(critical_share(leftover_cost, short_cost))
    cost = _money(rolls, needed, leftover_cost, short_cost)
    columns = {f"{ORACLE}_packs": rolls, f"{ORACLE}_cost": cost}
    for percent in PERCENTS:
        loss = pinball(percent / 100, order(percent / 100), needed)
        columns[f"{ORACLE}_pinball_p{percent}"] = loss
    return table.assign(**columns)


def _share_held(start: Array, end: Array) -> Array:
    """Share of each counted interval's probability that lies between the 10 and 90 % points.

    A count leaves the use open within an interval; the probability integral is spread over it
    evenly (Czado, Gneiting & Held 2009).
    """
    inside = np.minimum(end, 0.9) - np.maximum(start, 0.1)
    width = end - start
    middle = ((start + end) / 2 > 0.1) & ((start + end) / 2 < 0.9)
    return np.where(width > 1e-9, np.clip(inside, 0, None) / np.maximum(width, 1e-9), middle)


def cheapest_share(past: Takeoff, leftover_cost: float, short_cost: float) -> float:
    """Return the flat share on the surface that would have cost the finished jobs least.

    The fairest flat percentage: it knows the costs and learns from the same jobs.

    Parameters
    ----------
    past : Takeoff
        Finished jobs.
    leftover_cost, short_cost : float
        As for `replay`.
    """
    face, pack, needed = past.told("face"), past.pack, _needed(past)
    money = [
        _money(np.ceil(face * (1 + share) / pack), needed, leftover_cost, short_cost).mean()
        for share in FLAT_SHARES
    ]
    return float(FLAT_SHARES[np.argmin(money)])


def _flat(jobs: Takeoff, share: float) -> Array:
    return np.ceil(jobs.told("face") * (1 + share) / jobs.pack)


def _needed(jobs: Takeoff) -> Array:
    return np.ceil(jobs.told("used"))


def _least_squares(past: Takeoff, ahead: Takeoff) -> Callable[[float], Array]:
    """Fit the laid area and the reveals of each cut, m², with a normal spread.

    Returns the packs that the jobs ahead then need with a given probability.
    """
    x, new = (np.column_stack([j.amount, j.by_cut("reveal")]) for j in (past, ahead))
    middle = past.interval.mean(axis=1)
    factors, _, rank, _ = np.linalg.lstsq(x, middle, rcond=None)
    sd = np.sqrt(((middle - x @ factors) ** 2).sum() / max(len(x) - rank, 1))
    mean, pack = new @ factors, ahead.pack
    return lambda share: np.maximum(np.ceil((mean + ndtri(share) * sd) / pack), 0)
