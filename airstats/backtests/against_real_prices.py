"""What the allowances known at the time would have changed on the jobs that followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from airstats.backtests.rolling import Backtest, backtest, measures
from airstats.base.errors import RecordsError
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.model.allowances import INTERVAL
from airstats.records.reading import Records

Array = np.ndarray

MEASURES = {
    "jobs_short": "jobs short",
    "rolls_short": "rolls short",
    "rolls_left_over": "rolls left over",
    "cost": "cost, money",
}
RESAMPLES = 4000
SEED = 20240101
"""Fixed, so that a report reads the same on every run."""


@dataclass(frozen=True)
class Hindsight:
    """Real prices beside those that the allowances of the time would have given.

    Attributes
    ----------
    table : one row a measure of `MEASURES`: `measure, really, foretold, difference,
        difference_low, difference_high` (90 %)
    quarters : one row a quarter: `quarter, jobs` and for each of `really, foretold` the
        `RULE_short, RULE_left_over`, rolls
    jobs : how many jobs were priced again
    leftover_cost, short_cost : money a roll
    reason : why there is nothing to compare; empty if there is
    """

    table: pd.DataFrame
    quarters: pd.DataFrame
    jobs: int
    leftover_cost: float
    short_cost: float
    reason: str = ""


def look_back(
    records: Records, leftover_cost: float = LEFTOVER_COST, short_cost: float = SHORT_COST
) -> Hindsight:
    """Price every quarter from the quarters before it, and compare with what was really priced.

    Parameters
    ----------
    records : Records
        Checked records.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short; any one currency.

    Notes
    -----
    Both are held against the whole rolls that the job opened. The intervals of the changes come
    from drawing the jobs again with replacement, both prices of a job together (paired percentile
    bootstrap, Efron & Tibshirani 1993, chapter 13); they say what other jobs of the kind might
    have shown, not what other allowances might have been learnt.
    """
    try:
        result = backtest(records, leftover_cost, short_cost)
    except RecordsError as error:
        none = pd.DataFrame()
        return Hindsight(none, none, 0, leftover_cost, short_cost, str(error))
    really, foretold = (measures(result.jobs, rule, "rolls") for rule in ("estimated", "airstats"))
    change = foretold - really
    sums = {"really": really.sum(), "foretold": foretold.sum(), "difference": change.sum()}
    table = pd.DataFrame(sums).set_axis([*MEASURES.values()]).rename_axis("measure").reset_index()
    table["difference_low"], table["difference_high"] = _interval(change.to_numpy())
    quarters = _by_quarter(result, really, foretold)
    return Hindsight(table, quarters, len(change), leftover_cost, short_cost)


def _interval(change: Array) -> tuple[Array, Array]:
    """The 90 % interval of each column's sum over n jobs."""
    if len(change) < 2:
        return np.full(change.shape[1], -np.inf), np.full(change.shape[1], np.inf)
    drawn = stats.bootstrap(
        (change,),
        np.sum,
        n_resamples=RESAMPLES,
        confidence_level=INTERVAL,
        method="percentile",
        batch=500,
        rng=np.random.default_rng(SEED),
    ).confidence_interval
    return drawn.low, drawn.high


def _by_quarter(result: Backtest, really: pd.DataFrame, foretold: pd.DataFrame) -> pd.DataFrame:
    quarter = result.jobs["quarter"]
    sums = {"jobs": quarter.groupby(quarter).size()}
    for rule, table in (("really", really), ("foretold", foretold)):
        for name in ("short", "left_over"):
            sums[f"{rule}_{name}"] = table[f"rolls_{name}"].groupby(quarter).sum()
    return pd.DataFrame(sums).rename_axis("quarter").reset_index()
