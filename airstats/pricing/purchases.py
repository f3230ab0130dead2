"""One buying list for several jobs served from one store: packs of every material together.

The jobs share their risk: one that takes more than expected is met by one that takes less. So the
packs for all together are commonly fewer than the sum of the packs for each. An opened pack stays
on its job; unopened ones serve the next.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from airstats.base.firm import ASSUMED, LEFTOVER_COST, SHORT_COST, Firm
from airstats.catalog.materials import SHEET
from airstats.model.allowances import Allowances
from airstats.pricing.newsvendor import Priced, needed_products, priced
from airstats.pricing.pooled_order import drawn, least_packs, whole_there
from airstats.pricing.stock import roll_sizes
from airstats.records.reading import Records


def buying_list(
    takeoff: Records,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
    firm: Firm = ASSUMED,
) -> pd.DataFrame:
    """Return what to buy for all jobs of a takeoff together.

    Parameters
    ----------
    takeoff : Records
        Jobs that are served from one store.
    allowances : Allowances
        What the finished jobs taught.
    leftover_cost, short_cost : float
        Money for each roll of sheet left over and for each roll short; see `price_materials`.
    quarters_ahead : int
        Quarters between the allowances and the jobs.
    firm : Firm
        Of it the prices of what the jobs and records tell none for, and what of a begun roll serves
        no more.

    Returns
    -------
    DataFrame
        One row a material and size of pack: `material, unit, pack, jobs, expected` (in the
        unit, for all jobs), `low_packs, high_packs` (80 % interval of the packs that the jobs
        open), `from_stock_packs` (whole ones), `order_packs` (to buy), `packs_job_by_job` (to buy
        if every job were ordered for by itself), `chance_short`, `expected_left_over_packs` (of
        those bought, unopened), `pack_price, order_money, left_over_money` (nan where no price is
        known), `currency` ("" if it is not known), `jobs_counted`, `unmeasured` (the jobs whose
        openings or depths are unknown). A pack of sheet is a roll.

    Raises
    ------
    AirstatsError
        If a cost is not a positive number.
    """
    asked = (leftover_cost, short_cost, quarters_ahead, takeoff.stock, firm.unusable_end_m)
    rows = [
        _row(foretold, firm)
        for jobs, known in needed_products(takeoff, allowances, firm)
        for foretold in _by_pack(priced(jobs, known, *asked))
    ]
    return pd.DataFrame(rows)


def _by_pack(foretold: Priced) -> Iterator[Priced]:
    """Packs of different sizes are different goods: a row each."""
    jobs = foretold.jobs
    if jobs.product == SHEET:
        parts = [chosen for _, chosen in roll_sizes(jobs)]
    else:
        parts = [jobs.pack == size for size in np.unique(jobs.pack)]
    yield from map(foretold.where, parts)


def _row(foretold: Priced, firm: Firm) -> dict[str, object]:
    jobs, known = foretold.jobs, foretold.known
    total = drawn(foretold).sum(axis=1)
    wanted, there = least_packs(total, foretold.share), whole_there(foretold)
    buy, cost = max(wanted - there, 0), _pack_price(foretold, firm)
    left = float(np.clip(there + buy - total, 0, buy).mean())
    return {
        "material": jobs.product,
        "unit": known.unit,
        "pack": float(jobs.pack[0]),
        "jobs": len(jobs),
        "expected": float(foretold.use.mean().sum()),
        "low_packs": least_packs(total, 0.1),
        "high_packs": least_packs(total, 0.9),
        "from_stock_packs": min(wanted, there),
        "order_packs": buy,
        "packs_job_by_job": int((foretold.order_packs - foretold.from_stock).sum()),
        "chance_short": float(np.mean(total > there + buy)),
        "expected_left_over_packs": left,
        "pack_price": cost,
        "order_money": buy * cost,
        "left_over_money": left * cost,
        "currency": firm.currency,
        "jobs_counted": len(known.job_ids),
        "unmeasured": ", ".join(jobs.table.loc[jobs.unmeasured != "", "job_id"]),
    }


def _pack_price(foretold: Priced, firm: Firm) -> float:
    """The mean price that the jobs or the records tell, else the firm's, else nan."""
    told = foretold.jobs.told("pack_price")
    told = told[~np.isnan(told)]
    if len(told):
        return round(float(told.mean()), 4)
    if foretold.jobs.product == SHEET:
        return np.nan if firm.roll_price is None else firm.roll_price
    each = firm.unit_prices.get(foretold.jobs.product, np.nan)
    return round(each * float(foretold.jobs.pack[0]), 4)
