"""What sheet a job will take, how many rolls that is, and how many to order."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from numbers import Real

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.base.errors import AirstatsError
from airstats.model.allowances import Allowances
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import predictive, widen
from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import Takeoff, take_off

Array = np.ndarray

LEFTOVER_COST = 60.0
"""Cost of a roll left over: carrying, storing and the money in it. An assumption."""
SHORT_COST = 240.0
"""Cost of a roll short: a second delivery and a stopped crew. An assumption."""


def price(
    takeoff: Records | Takeoff,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
) -> pd.DataFrame:
    """Price the jobs of a takeoff: sheet, rolls and the order of least expected cost.

    Parameters
    ----------
    takeoff : Records or Takeoff
        n jobs to price.
    allowances : Allowances
        What the finished jobs taught.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short; any one currency.
    quarters_ahead : int
        Quarters between the allowances and the jobs; their drift widens the intervals.

    Returns
    -------
    DataFrame
        n rows: `job_id, expected_m2, low_m2, high_m2` (80 % interval), `rolls_p50, rolls_p80,
        rolls_p95, order_rolls, chance_short, expected_left_over_rolls`.

    Raises
    ------
    AirstatsError
        If a cost is not a positive number, or `quarters_ahead` is below 0.
    """
    jobs = takeoff if isinstance(takeoff, Takeoff) else take_off(takeoff)
    return priced(jobs, allowances, leftover_cost, short_cost, quarters_ahead).orders


@dataclass(frozen=True)
class Priced:
    """n jobs, how the sheet is distributed that each will use, and what an order costs."""

    jobs: Takeoff
    known: Allowances
    quarters_ahead: int
    leftover_cost: float
    short_cost: float
    use: Mixture

    @property
    def share(self) -> float:
        """Share of needs that an order should cover."""
        return critical_share(self.leftover_cost, self.short_cost)

    @property
    def roll_m2(self) -> Array:
        """The (n,) areas of a roll."""
        return self.jobs.columns(["roll_m2"])[:, 0]

    @cached_property
    def order_rolls(self) -> Array:
        """The (n,) orders of least expected cost, whole rolls."""
        return self.rolls(self.share)

    @cached_property
    def orders(self) -> pd.DataFrame:
        """The table that `price` returns."""
        use, order = self.use, self.order_rolls
        return pd.DataFrame(
            {
                "job_id": self.jobs.table["job_id"],
                "expected_m2": use.mean(),
                "low_m2": np.maximum(use.quantile(0.1), 0),
                "high_m2": use.quantile(0.9),
                "rolls_p50": self.rolls(0.50),
                "rolls_p80": self.rolls(0.80),
                "rolls_p95": self.rolls(0.95),
                "order_rolls": order,
                "chance_short": 1 - use.below(order * self.roll_m2),
                "expected_left_over_rolls": expected_left_over(use, self.roll_m2, order),
            }
        )

    def rolls(self, share: float) -> Array:
        """Return the (n,) least whole rolls that cover the need with probability `share`."""
        return rolls_for_share(self.use, self.roll_m2, share)

    def cost(self, order: Array) -> Array:
        """Return the (n,) expected costs of ordering `order` rolls."""
        return expected_cost(self.use, self.roll_m2, order, self.leftover_cost, self.short_cost)


def priced(
    jobs: Takeoff,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
) -> Priced:
    """Foretell n jobs once, for all that is asked of them; parameters and errors as `price`."""
    critical_share(leftover_cost, short_cost)
    use = predict(jobs, allowances, quarters_ahead)
    return Priced(jobs, allowances, quarters_ahead, leftover_cost, short_cost, use)


def predict(jobs: Takeoff, allowances: Allowances, quarters_ahead: int = 1) -> Mixture:
    """Return the distribution of the sheet that each of n jobs will use, m².

    A record's gross errors are no part of a need.
    """
    if quarters_ahead < 0:
        raise AirstatsError(f"quarters_ahead is {quarters_ahead}: give 0 or more.")
    return predictive(widen(allowances.belief, quarters_ahead), jobs).use()


def critical_share(leftover_cost: float, short_cost: float) -> float:
    """Return the share of needs that the order should cover.

    Notes
    -----
    Newsvendor rule: order the least n with P(need <= n) >= short / (short + leftover)
    (Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., section 4.3).
    """
    for name, cost in (("leftover cost", leftover_cost), ("short cost", short_cost)):
        if not (isinstance(cost, Real) and 0 < cost < np.inf):
            written = f"{cost:g}" if isinstance(cost, Real) else f'"{cost}"'
            raise AirstatsError(f"{name} is {written}: give a number above 0, in any currency.")
    return short_cost / (short_cost + leftover_cost)


def rolls_for_share(use: Mixture, roll_m2: Array, share: float) -> Array:
    """Return the (n,) least whole rolls that cover the need with probability `share` or more."""
    enough = share - 1e-9
    # One normal of the same mean and sd gives a first guess, commonly right or one roll off.
    reach = ndtri(np.clip(share, 1e-9, 1 - 1e-9))
    rolls = np.maximum(np.ceil((use.mean() + reach * use.sd()) / roll_m2), 0)
    while True:
        more = use.below(rolls * roll_m2) < enough
        fewer = (rolls > 0) & (use.below((rolls - 1) * roll_m2) >= enough)
        if not (more | fewer).any():
            return rolls.astype(int)
        rolls = rolls + more - fewer


def expected_left_over(use: Mixture, roll_m2: Array, order: Array) -> Array:
    """Return the (n,) whole rolls expected to stay unopened of `order` rolls.

    Notes
    -----
    E[(n - N)+] is the sum of P(N <= k) for k from 0 to n - 1, N being the rolls opened.
    """
    total = np.zeros(len(order))
    for rolls in range(int(order.max(initial=0))):
        total += np.where(rolls < order, use.below(rolls * roll_m2), 0.0)
    return total


def expected_cost(
    use: Mixture, roll_m2: Array, order: Array, leftover_cost: float, short_cost: float
) -> Array:
    """Return the (n,) expected cost of ordering `order` rolls, in the currency of the costs."""
    left = expected_left_over(use, roll_m2, order)
    most = np.ceil(use.quantile(1 - 1e-9) / roll_m2).astype(int)
    needed = most - expected_left_over(use, roll_m2, most)
    return leftover_cost * left + short_cost * (needed - order + left)
