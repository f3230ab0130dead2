"""What the allowances known at the time would have changed on the jobs that followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from airstats.backtests.forecast_checks import cost_differences
from airstats.backtests.rolling import Backtest, backtest, cheapest_share, measures
from airstats.base.errors import RecordsError
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.model.quarterly_update import finished_jobs
from airstats.records.reading import Records

COMPARED = ("estimated", "flat_learnt", "airstats")
"""What was really priced, the flat share that learns, and the allowances known then."""

LEAST_JOBS = 2
"""Fewer jobs priced again have no interval, and tell nothing of cost or chance."""
FEW = "fewer than two jobs follow a first quarter"


@dataclass(frozen=True)
class Hindsight:
    """Real prices and the cheapest flat share beside the allowances of the time.

    Attributes
    ----------
    table : one row a rule of `COMPARED`: `rule, jobs_short, rolls_short, rolls_left_over,
        total_money` (what the two cost), over all jobs; `shelf_money`, what the rolls left over
        were bought for (nan where a price is not known)
    dearer : what each other rule cost more than the allowances, money a job: `rule, mean, low,
        high` (90 %)
    flat_share : the flat share on the surface that would have cost all the jobs least
    jobs : how many jobs were priced again
    leftover_cost, short_cost : money a roll
    reason : why there is nothing to compare; empty if there is
    """

    table: pd.DataFrame
    dearer: pd.DataFrame
    flat_share: float
    jobs: int
    leftover_cost: float
    short_cost: float
    reason: str = ""

    def beside(self, rule: str) -> pd.Series:
        """What a rule cost a job more than the allowances: `mean, low, high` (90 %), money."""
        found = self.dearer[self.dearer["rule"].eq(rule)]
        return found[["mean", "low", "high"]].astype(float).iloc[0]

    def of_rule(self, rule: str) -> pd.Series:
        """What came of a rule: the numbers of its row of `table`."""
        return self.table[self.table["rule"].eq(rule)].drop(columns="rule").iloc[0]


def look_back(
    records: Records,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    known: Backtest | None = None,
) -> Hindsight:
    """Price every quarter from the quarters before it, and compare with what was really priced.

    Parameters
    ----------
    records : Records
        Checked records.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short; any one currency.
    known : Backtest, optional
        The back-test of these records at these costs, if it has been made already.

    Notes
    -----
    All are held against the whole rolls that the job opened. A roll short is bought after all, and
    a roll left over is bought too early: it lies on the shelf for a later job, and what that loses
    is its cost here. So the sheet that is laid costs every rule the same, and the sheet on the
    shelf comes on top, as `shelf_money`.
    """
    costs, none = (leftover_cost, short_cost), pd.DataFrame()
    try:
        result = known or backtest(records, *costs)
    except RecordsError as error:
        return Hindsight(none, none, float("nan"), 0, *costs, str(error))
    if len(result.jobs) < LEAST_JOBS:
        return Hindsight(none, none, float("nan"), len(result.jobs), *costs, FEW)
    differences = cost_differences(result)
    return Hindsight(
        table=pd.DataFrame([_of_rule(result, records, rule) for rule in COMPARED]),
        dearer=differences[differences["rule"].isin(COMPARED)].reset_index(drop=True),
        flat_share=cheapest_share(finished_jobs(records), *costs),
        jobs=len(result.jobs),
        leftover_cost=leftover_cost,
        short_cost=short_cost,
    )


def _of_rule(result: Backtest, records: Records, rule: str) -> dict[str, object]:
    """One row of `Hindsight.table`."""
    own = measures(result.jobs, rule, "rolls")
    left = own["rolls_left_over"]
    return {
        "rule": rule,
        "jobs_short": own["jobs_short"].sum(),
        "rolls_short": own["rolls_short"].sum(),
        "rolls_left_over": left.sum(),
        "total_money": own["cost"].sum(),
        "shelf_money": _bought(left, result, records),
    }


def _bought(left: pd.Series, result: Backtest, records: Records) -> float:
    """What the rolls left over were bought for; nan where the price of one is not known."""
    if "roll_price" not in records.jobs:
        return float("nan")
    prices = records.jobs.set_index("job_id")["roll_price"].loc[result.jobs["job_id"]].to_numpy()
    return float(np.where(left > 0, left * prices, 0.0).sum())
