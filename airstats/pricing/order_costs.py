"""How many rolls a job may need, and what a roll left over, short, more or fewer costs."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.base.errors import AirstatsError
from airstats.base.firm import LEFTOVER_COST, PARTS, SHORT_COST, Firm
from airstats.pricing.newsvendor import SHEET_ORDERS, Priced

NEGLIGIBLE = 0.005
"""Chances below one in 200 are not drawn."""


def costs_of(firm: Firm) -> tuple[float, float]:
    """Return what a roll left over and a roll short cost a firm, in its money.

    Raises
    ------
    AirstatsError
        If the parts of a cost come to nothing.

    Notes
    -----
    Where the firm gives the parts and not the whole:

    - left over = bring_back + roll_price × (shelf_months × shelf_percent + spoilt_percent) / 100
    - short = delivery + idle_fitters × idle_hours × (labour_hour + margin_hour)

    Two rolls short commonly come with one delivery, so that the second costs less than is reckoned
    here: the order is then a little on the safe side.
    """
    lost = firm.shelf_months * firm.shelf_percent + firm.spoilt_percent
    left = firm.bring_back + (firm.roll_price or 0) * lost / 100
    short = firm.delivery + firm.idle_fitters * firm.idle_hours * (
        firm.labour_hour + firm.margin_hour
    )
    for (whole, parts), cost in zip(PARTS.items(), (left, short), strict=True):
        if not cost and any(getattr(firm, part) for part in parts):
            raise AirstatsError(
                f"{whole} comes to 0 from its parts ({', '.join(parts)}): correct them in"
                " firm.toml, or leave them out."
            )
    return firm.leftover_cost or left or LEFTOVER_COST, firm.short_cost or short or SHORT_COST


def order_costs(priced: Priced) -> pd.DataFrame:
    """Return the columns of an order and its expected cost, one roll fewer, one more.

    The costs stand in `cost_fewer, cost_order, cost_more`, money a job.
    """
    costs = {
        name: priced.cost(np.maximum(priced.order_packs + step, 0))
        for name, step in (("cost_fewer", -1), ("cost_order", 0), ("cost_more", 1))
    }
    return priced.orders.rename(columns=SHEET_ORDERS).assign(from_stock_m=priced.begun_m, **costs)


def roll_costs(priced: Priced) -> pd.DataFrame:
    """Return what each order from two rolls fewer to two more costs: `job_id, rolls, cost`."""
    ids, parts = priced.jobs.table["job_id"].to_numpy(), []
    for step in range(-2, 3):
        rolls = priced.order_packs + step
        cost = priced.cost(np.maximum(rolls, 0))
        parts.append(pd.DataFrame({"job_id": ids, "rolls": rolls, "cost": cost}))
    table = pd.concat(parts, ignore_index=True)
    return table[table["rolls"] >= 0].reset_index(drop=True)


def same_orders(priced: Priced) -> pd.DataFrame:
    """Return for which costs each order stays as it is: one of the two changes, the other holds.

    One row a job: `job_id, order_rolls, short_from, short_to` (money for a roll short), `left_from,
    left_to` (for one left over); infinite where no cost is too high.

    Notes
    -----
    n rolls are ordered while P(need <= n - 1) < short / (short + left over) <= P(need <= n).
    """
    order, pack = priced.order_packs, priced.jobs.pack
    fewer = np.where(order > 0, priced.need.below((order - 1) * pack), 0.0)
    enough = priced.need.below(order * pack)
    with np.errstate(divide="ignore"):
        odds = [share / (1 - share) for share in (fewer, enough)]
        ends = {
            "short_from": priced.leftover_cost * odds[0],
            "short_to": priced.leftover_cost * odds[1],
            "left_from": priced.short_cost / odds[1],
            "left_to": priced.short_cost / odds[0],
        }
    ids = priced.jobs.table["job_id"].to_numpy()
    return pd.DataFrame({"job_id": ids, "order_rolls": order, **ends})


def roll_chances(priced: Priced, negligible: float = NEGLIGIBLE) -> pd.DataFrame:
    """Return the chance of each whole number of rolls: `job_id, rolls, probability`.

    Chances below `negligible` are left out.
    """
    use, roll_m2 = priced.need, priced.jobs.pack
    most = int(np.ceil((use.quantile(1 - 1e-6) / roll_m2).max(initial=1)))
    below = np.array([use.below(k * roll_m2) for k in range(most + 1)])
    below[0] = 0.0
    table = pd.DataFrame(np.diff(below, axis=0).T, columns=range(1, most + 1))
    long = table.assign(job_id=priced.jobs.table["job_id"].to_numpy()).melt(
        "job_id", var_name="rolls", value_name="probability"
    )
    return long[long["probability"] >= negligible].astype({"rolls": int}).reset_index(drop=True)
