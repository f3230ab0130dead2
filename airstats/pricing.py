"""What sheet a job will take, how many rolls that is, and how many to order."""

from __future__ import annotations

from numbers import Real

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.allowances import Allowances
from airstats.calibration import design, job_sd, widen
from airstats.errors import AirstatsError
from airstats.mixture import Mixture
from airstats.names import places_of
from airstats.records import Records
from airstats.takeoff import Takeoff, take_off

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
    wanted = critical_share(leftover_cost, short_cost)
    use = predict(jobs, allowances, quarters_ahead)
    roll_m2 = jobs.columns(["roll_m2"])[:, 0]
    order = rolls_for_share(use, roll_m2, wanted)
    return pd.DataFrame(
        {
            "job_id": jobs.table["job_id"],
            "expected_m2": use.mean(),
            "low_m2": np.maximum(use.quantile(0.1), 0),
            "high_m2": use.quantile(0.9),
            "rolls_p50": rolls_for_share(use, roll_m2, 0.50),
            "rolls_p80": rolls_for_share(use, roll_m2, 0.80),
            "rolls_p95": rolls_for_share(use, roll_m2, 0.95),
            "order_rolls": order,
            "chance_short": 1 - use.below(order * roll_m2),
            "expected_left_over_rolls": expected_left_over(use, roll_m2, order),
        }
    )


def predict(jobs: Takeoff, allowances: Allowances, quarters_ahead: int = 1) -> Mixture:
    """Return the distribution of the sheet that each of n jobs will use, m².

    Notes
    -----
    Within a candidate the use is normal: its variance is that of the allowances, of a crew not
    met before, and of one job about another. A record's gross errors are no part of a need.
    """
    if quarters_ahead < 0:
        raise AirstatsError(f"quarters_ahead is {quarters_ahead}: give 0 or more.")
    belief = widen(allowances.belief, quarters_ahead)
    laid = jobs.columns(["laid_m2"])[:, 0]
    unknown = (places_of(jobs.crews, belief.crews) < 0) & bool(belief.crews)
    means = np.empty((len(belief.form), len(jobs)))
    variance = job_sd(belief, laid) ** 2
    variance += (belief.crew_sd[:, None] * laid * unknown) ** 2
    for form in np.unique(belief.form):
        columns, certain = design(jobs, int(form), belief.crews)
        chosen = belief.form == form
        means[chosen] = belief.mean[chosen] @ columns.T + certain
        spread = np.einsum("ni,gij,nj->gn", columns, belief.covariance[chosen], columns)
        variance[chosen] += spread
    return Mixture(belief.weight, means, np.sqrt(variance))


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
