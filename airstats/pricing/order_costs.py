"""How many rolls a job may need, and what one roll more or fewer would cost."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.pricing.newsvendor import SHEET_ORDERS, Priced

NEGLIGIBLE = 0.005
"""Chances below one in 200 are not drawn."""


def order_costs(priced: Priced) -> pd.DataFrame:
    """Return the columns of `price` and the expected cost of the order, one fewer, one more.

    The costs stand in `cost_fewer, cost_order, cost_more`, money a job.
    """
    costs = {
        name: priced.cost(np.maximum(priced.order_packs + step, 0))
        for name, step in (("cost_fewer", -1), ("cost_order", 0), ("cost_more", 1))
    }
    return priced.orders.rename(columns=SHEET_ORDERS).assign(**costs)


def roll_chances(priced: Priced, negligible: float = NEGLIGIBLE) -> pd.DataFrame:
    """Return the chance of each whole number of rolls: `job_id, rolls, probability`.

    Chances below `negligible` are left out.
    """
    use, roll_m2 = priced.use, priced.jobs.pack
    most = int(np.ceil((use.quantile(1 - 1e-6) / roll_m2).max(initial=1)))
    below = np.array([use.below(k * roll_m2) for k in range(most + 1)])
    below[0] = 0.0
    table = pd.DataFrame(np.diff(below, axis=0).T, columns=range(1, most + 1))
    long = table.assign(job_id=priced.jobs.table["job_id"].to_numpy()).melt(
        "job_id", var_name="rolls", value_name="probability"
    )
    return long[long["probability"] >= negligible].astype({"rolls": int}).reset_index(drop=True)
