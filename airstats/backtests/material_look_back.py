"""The packs of every other material, priced quarter by quarter from what was known before."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pandas as pd

from airstats.backtests.rolling import FLAT_SHARE
from airstats.base.quarters import quarter_number, quarters_between
from airstats.model.allowances import unchanged
from airstats.model.quarterly_update import run_through
from airstats.pricing.newsvendor import LEFTOVER_COST, SHORT_COST, priced
from airstats.takeoff.sheet_quantities import Takeoff

PACK_RULES = {
    "airstats": "priced with the allowance known then",
    "flat": "counted amount and a flat 10 %",
    "estimated": "what was really priced",
}


def look_back_at_packs(
    jobs: Takeoff,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
) -> pd.DataFrame:
    """Price every quarter's packs of one material from the quarters before it.

    Parameters
    ----------
    jobs : Takeoff
        The n finished jobs with a count of the material.
    leftover_cost, short_cost : float
        Money for each roll of sheet left over and short; only their ratio decides an order.

    Returns
    -------
    DataFrame
        One row a job of the second quarter and later: `job_id, quarter, expected, needed_packs,
        chance_short`, and for each rule `RULE_packs` (missing where a job has no
        estimate). No rows where fewer than two quarters hold counts.
    """
    quarters = sorted(set(jobs.table["quarter"]), key=quarter_number)
    if len(quarters) < 2:
        return pd.DataFrame()
    return pd.concat(_quarters(jobs, quarters, leftover_cost, short_cost), ignore_index=True)


def _quarters(
    jobs: Takeoff, quarters: list[str], leftover_cost: float, short_cost: float
) -> Iterator[pd.DataFrame]:
    known = unchanged(quarters[0], product=jobs.product)
    for before, quarter in pairwise(quarters):
        known = run_through(jobs, [before], known)
        ahead = jobs.where(jobs.table["quarter"].eq(quarter))
        gap = quarters_between(before, quarter)
        orders = priced(ahead, known, leftover_cost, short_cost, gap).orders
        yield pd.DataFrame(
            {
                "job_id": ahead.table["job_id"].to_numpy(),
                "quarter": quarter,
                "expected": orders["expected"].to_numpy(),
                "needed_packs": np.ceil(ahead.told("used")),
                "chance_short": orders["chance_short"].to_numpy(),
                "airstats_packs": orders["order_packs"].to_numpy(dtype=float),
                "flat_packs": np.ceil(ahead.amount * (1 + FLAT_SHARE) / ahead.pack),
                "estimated_packs": np.ceil(ahead.told("estimated")),
            }
        )


def packs_summary(jobs: pd.DataFrame) -> pd.DataFrame:
    """Return one row a rule over the jobs that every rule prices, from `look_back_at_packs`.

    `rule, jobs, jobs_short, packs_short, packs_left_over`. Where no job has an estimate, what was
    really priced is left out.
    """
    if jobs.empty:
        return pd.DataFrame()
    given = [rule for rule in PACK_RULES if jobs[f"{rule}_packs"].notna().any()]
    shared = jobs.dropna(subset=[f"{rule}_packs" for rule in given])
    rows = []
    for rule in given:
        gap = shared[f"{rule}_packs"] - shared["needed_packs"]
        rows.append(
            {
                "rule": rule,
                "jobs": len(shared),
                "jobs_short": int((gap < 0).sum()),
                "packs_short": float(-gap.clip(upper=0).sum()),
                "packs_left_over": float(gap.clip(lower=0).sum()),
            }
        )
    return pd.DataFrame(rows)
