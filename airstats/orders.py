"""How many rolls a job may need, and what one roll more or fewer would cost."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.allowances import Allowances
from airstats.pricing import expected_cost, predict, price
from airstats.takeoff import Takeoff

NEGLIGIBLE = 0.005
"""Chances below one in 200 are not drawn."""


def order_costs(
    takeoff: Takeoff, allowances: Allowances, leftover_cost: float, short_cost: float
) -> pd.DataFrame:
    """Return the columns of `price` and the expected cost of the order, one fewer, one more.

    The costs stand in `cost_fewer, cost_order, cost_more`, money a job.
    """
    orders = price(takeoff, allowances, leftover_cost, short_cost)
    use, roll_m2 = predict(takeoff, allowances), takeoff.columns(["roll_m2"])[:, 0]
    rolls = orders["order_rolls"].to_numpy()
    costs = {
        name: expected_cost(use, roll_m2, np.maximum(rolls + step, 0), leftover_cost, short_cost)
        for name, step in (("cost_fewer", -1), ("cost_order", 0), ("cost_more", 1))
    }
    return orders.assign(**costs)


def roll_chances(
    takeoff: Takeoff, allowances: Allowances, negligible: float = NEGLIGIBLE
) -> pd.DataFrame:
    """Return the chance of each whole number of rolls: `job_id, rolls, probability`.

    Chances below `negligible` are left out.
    """
    use, roll_m2 = predict(takeoff, allowances), takeoff.columns(["roll_m2"])[:, 0]
    most = int(np.ceil((use.quantile(1 - 1e-6) / roll_m2).max(initial=1)))
    below = np.array([use.below(k * roll_m2) for k in range(most + 1)])
    below[0] = 0.0
    table = pd.DataFrame(np.diff(below, axis=0).T, columns=range(1, most + 1))
    long = table.assign(job_id=takeoff.table["job_id"].to_numpy()).melt(
        "job_id", var_name="rolls", value_name="probability"
    )
    return long[long["probability"] >= negligible].astype({"rolls": int}).reset_index(drop=True)
