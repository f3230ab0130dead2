"""One buying list for several jobs served from one store: packs of every material together.

The jobs share their risk: one that takes more than expected is met by one that takes less. So the
packs for all together are commonly fewer than the sum of the packs for each. An opened pack stays
on its job; unopened ones serve the next.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.model.allowances import Allowances
from airstats.model.quarterly_update import Product
from airstats.pricing.newsvendor import critical_share, needed_products, priced
from airstats.pricing.pooled_order import drawn_packs, least_packs
from airstats.records.reading import Records


def buying_list(
    takeoff: Records,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
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

    Returns
    -------
    DataFrame
        One row a material and size of pack: `material, unit, pack, jobs, expected` (in the
        unit, for all jobs), `low_packs, high_packs` (80 % interval of the packs that the jobs
        open), `order_packs, packs_job_by_job` (the sum if every job were ordered for by itself),
        `chance_short, expected_left_over_packs, pack_price, order_money, left_over_money` (nan
        where no price is known), `jobs_counted`.

    Raises
    ------
    AirstatsError
        If a cost is not a positive number.
    """
    critical_share(leftover_cost, short_cost)
    rows = [
        _row(part, (leftover_cost, short_cost), quarters_ahead)
        for product in needed_products(takeoff, allowances)
        for part in _by_pack(product)
    ]
    return pd.DataFrame(rows)


def _by_pack(product: Product) -> Iterator[Product]:
    """Packs of different sizes are different goods: a row each."""
    for size in np.unique(product.jobs.pack):
        yield product._replace(jobs=product.jobs.where(product.jobs.pack == size))


def _row(product: Product, costs: tuple[float, float], quarters_ahead: int) -> dict[str, object]:
    jobs, known = product
    foretold = priced(jobs, known, *costs, quarters_ahead)
    total = drawn_packs(jobs, known, quarters_ahead).sum(axis=1)
    order = least_packs(total, foretold.share)
    left = float(np.maximum(order - total, 0).mean())
    told = jobs.told("pack_price")
    told = told[~np.isnan(told)]
    cost = round(float(told.mean()), 4) if len(told) else np.nan
    return {
        "material": product.name,
        "unit": known.unit,
        "pack": float(jobs.pack[0]),
        "jobs": len(jobs),
        "expected": float(foretold.use.mean().sum()),
        "low_packs": least_packs(total, 0.1),
        "high_packs": least_packs(total, 0.9),
        "order_packs": order,
        "packs_job_by_job": int(foretold.order_packs.sum()),
        "chance_short": float(np.mean(total > order)),
        "expected_left_over_packs": left,
        "pack_price": cost,
        "order_money": order * cost,
        "left_over_money": left * cost,
        "jobs_counted": len(known.job_ids),
    }
