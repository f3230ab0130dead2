"""One order for several jobs served from one store.

The jobs share what is not known of the allowances, so that their needs rise and fall together;
the rest is each job's own. A job opens whole rolls, and what is left of an opened roll stays on
that job; rolls that were not opened serve the next job. So the store must hold the sum of the
rolls that the jobs open.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from airstats.model.allowances import Allowances
from airstats.model.posterior import Predictive, admit_crews, predictive, widen
from airstats.pricing.newsvendor import Priced
from airstats.pricing.stock import SIZE, roll_sizes
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

DRAWS = 50_000
"""Cases drawn: a chance is good to a quarter of a point, a cost to about half a money unit."""
SEED = 20


def drawn_packs(
    jobs: Takeoff,
    allowances: Allowances,
    quarters_ahead: int = 1,
    draws: int = DRAWS,
    begun: Array | float = 0.0,
) -> Array:
    """Draw cases of the whole rolls that n jobs open.

    Parameters
    ----------
    jobs, allowances, quarters_ahead
        As for `newsvendor.priced`.
    draws : int
        Number of cases.
    begun : (n,) array
        What each job takes from begun rolls first, in the product's unit.

    Returns
    -------
    (draws, n) array
        Each row one case: what the jobs open if the allowances are so and the jobs go so.

    Notes
    -----
    A candidate is drawn by its weight, the allowances from its normal belief, once for all jobs,
    and each job's departure by itself. What is not known of the firm's usual openings is drawn
    once too, for the jobs whose own are not measured. Jobs of one crew not met before share its
    departure. By itself each job is distributed as `newsvendor.predict` says.
    """
    return opened(drawn_use(jobs, allowances, quarters_ahead, draws) - begun, jobs.pack)


def opened(need: Array, pack: Array) -> Array:
    """Return the whole packs that are opened for needs, (draws, n), in the product's unit."""
    return np.maximum(np.ceil(need / pack - 1e-9), 0).astype(int)


def drawn_use(
    jobs: Takeoff, allowances: Allowances, quarters_ahead: int = 1, draws: int = DRAWS
) -> Array:
    """Draw cases of what n jobs use, (draws, n), in the product's unit.

    Parameters
    ----------
    jobs, allowances, quarters_ahead, draws
        As for `drawn_packs`.
    """
    random = np.random.default_rng(SEED)
    belief = widen(allowances.belief, quarters_ahead)
    known = admit_crews(belief, jobs.crews) if belief.crews else belief
    counts = _shares(belief.weight, draws)
    return np.concatenate(list(_uses(predictive(known, jobs), counts, random)))


def pooled_orders(priced: Priced) -> pd.DataFrame:
    """Return the pooled order of least cost for each size of roll, beside the single orders.

    Parameters
    ----------
    priced : Priced
        n jobs served from one store. Rolls of different sizes cannot stand in for each other. Its
        costs are those of all jobs together.

    Returns
    -------
    DataFrame
        One row a size of roll: `roll_size, jobs, single_rolls` (the sum of the single orders),
        `pooled_rolls, from_stock_rolls, buy_rolls` (the first is the sum of the two), `saved_rolls,
        single_cost, pooled_cost, saved_cost` (expected, in money; what the shelf gives is not
        bought), `from_rolls, to_rolls` (80 % interval of the rolls opened), `chance_short` of the
        store.

    Notes
    -----
    The newsvendor rule on the sum: the least n with P(sum <= n) >= short / (short + left over).
    Pooling lowers the cost the more, the less the needs rise and fall together (Eppen 1979,
    Management Science 25).
    """
    orders = priced.order_packs
    costs, rolls = priced.cost(orders), drawn(priced)
    rows = []
    for size, chosen in roll_sizes(priced.jobs):
        total = rolls[:, chosen].sum(axis=1)
        pooled, there = least_packs(total, priced.share), whole_there(priced.where(chosen))
        on_hand = max(pooled, there)
        cost = cost_of(total, on_hand, priced.leftover_cost, priced.short_cost, there)
        single, single_cost = int(orders[chosen].sum()), float(costs[chosen].sum())
        rows.append(
            {
                "roll_size": size,
                "jobs": int(chosen.sum()),
                "single_rolls": single,
                "pooled_rolls": pooled,
                "from_stock_rolls": min(pooled, there),
                "buy_rolls": on_hand - there,
                "saved_rolls": single - pooled,
                "single_cost": single_cost,
                "pooled_cost": cost,
                "saved_cost": single_cost - cost,
                "from_rolls": least_packs(total, 0.1),
                "to_rolls": least_packs(total, 0.9),
                "chance_short": float(np.mean(total > on_hand)),
            }
        )
    return pd.DataFrame(rows, columns=POOLED_COLUMNS)


def shelf_afterwards(priced: Priced) -> pd.DataFrame:
    """Return what is likely to lie on the shelf once all jobs are done, as a table `stock`.

    Parameters
    ----------
    priced : Priced
        n jobs of sheet served from one store, which buys the pooled order.

    Returns
    -------
    DataFrame
        `roll_width_m, roll_length_m, rolls, left_m`, and `note`, which says where a row comes from
        and between which bounds it lies in eight cases of ten: count and measure before it is used.
        Whole rolls and rests are the middles of the cases drawn; a rest that is shorter than the
        unusable end of begun rolls is for the next job to leave out.
    """
    use = drawn_use(priced.jobs, priced.known, priced.quarters_ahead)
    need = use - (priced.shelf.begun_m2 if priced.shelf else 0.0)
    taken, rows = opened(need, priced.jobs.pack), []
    rest_m2 = np.where(taken > 0, taken * priced.jobs.pack - need, 0.0)
    for _, chosen in roll_sizes(priced.jobs):
        total, there = taken[:, chosen].sum(axis=1), whole_there(priced.where(chosen))
        on_hand = max(least_packs(total, priced.share), there)
        size, unopened = priced.jobs.table.loc[chosen, SIZE].iloc[0], on_hand - total
        rows += _whole_rows(size, np.maximum(unopened, 0))
        for job in np.flatnonzero(chosen):
            name = priced.jobs.table["job_id"].iloc[job]
            rows += _rest_rows(size, f"what {name} brings back", rest_m2[:, job] / size.iloc[0])
    table = pd.DataFrame(rows, columns=[*SIZE, "rolls", "left_m", "note"])
    if priced.shelf is None:
        return table
    begun = priced.shelf.begun
    kept = [begun[begun["job"] < 0], priced.shelf.idle]
    return pd.concat([table, *(part.assign(note="as it lies there now") for part in kept)])[
        list(table)
    ].reset_index(drop=True)


def _whole_rows(size: pd.Series, rolls: Array) -> list[tuple[float, float, int, float, str]]:
    if not (middle := least_packs(rolls, 0.5)):
        return []
    note = f"not opened, {least_packs(rolls, 0.1)} to {least_packs(rolls, 0.9)}"
    return [(*size, middle, 0.0, note)]


def _rest_rows(
    size: pd.Series, source: str, left_m: Array
) -> list[tuple[float, float, int, float, str]]:
    low, middle, high = np.round(np.quantile(left_m, [0.1, 0.5, 0.9]))
    return [(*size, 0, middle, f"{source}, {low:g} to {high:g} m")] if middle > 0 else []


POOLED_COLUMNS = (
    "roll_size", "jobs", "single_rolls", "pooled_rolls", "from_stock_rolls", "buy_rolls",
    "saved_rolls", "single_cost", "pooled_cost", "saved_cost", "from_rolls", "to_rolls",
    "chance_short",
)  # fmt: skip


def whole_there(priced: Priced) -> int:
    """Return the whole rolls on the shelf for jobs that all take one size of roll."""
    return int(priced.shelf.whole[0]) if priced.shelf else 0


def pooled_costs(priced: Priced) -> pd.DataFrame:
    """Return what each number of rolls for all jobs would cost, and the chance that they open it.

    One row a size of roll and number, from two below the least that is drawn to two above the most:
    `roll_size, rolls, probability, cost` (expected, in money).
    """
    cases, parts = drawn(priced), []
    for size, chosen in roll_sizes(priced.jobs):
        total, there = cases[:, chosen].sum(axis=1), whole_there(priced.where(chosen))
        numbers = np.arange(max(total.min() - 2, 0), total.max() + 3)
        asked = (priced.leftover_cost, priced.short_cost, there)
        costs = [cost_of(total, order, *asked) for order in np.maximum(numbers, there).tolist()]
        chances = [float(np.mean(total == n)) for n in numbers]
        part = {"roll_size": size, "rolls": numbers, "probability": chances, "cost": costs}
        parts.append(pd.DataFrame(part))
    names = ["roll_size", "rolls", "probability", "cost"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=names)


def drawn(priced: Priced) -> Array:
    """Draw cases of the packs that the jobs open beside the begun rolls that they take."""
    begun = priced.shelf.begun_m2 if priced.shelf else 0.0
    return drawn_packs(priced.jobs, priced.known, priced.quarters_ahead, begun=begun)


def least_packs(total: Array, share: float) -> int:
    """Return the least whole rolls that are enough in this share of the (draws,) cases."""
    return int(np.quantile(total, share, method="inverted_cdf"))


def cost_of(
    total: Array, order: int, leftover_cost: float, short_cost: float, given: int = 0
) -> float:
    """Return the mean cost of an order over the (draws,) cases, in the currency of the costs.

    Parameters
    ----------
    total : (draws,) array
        Packs that the jobs open together.
    order : int
        Packs.
    leftover_cost, short_cost : float
        Money for each pack left over and for each pack short.
    given : int
        Packs of the order that were on the shelf: those cost nothing if they are left there.
    """
    bought = np.clip(order - total, 0, order - given)
    return float(np.mean(leftover_cost * bought + short_cost * np.maximum(total - order, 0)))


def _shares(weight: Array, draws: int) -> Array:
    """How many cases each candidate gets: its weight, and the odd ones to the largest rests."""
    exact = weight * draws
    counts = np.floor(exact).astype(int)
    rest = draws - counts.sum()
    counts[np.argsort(counts - exact, kind="stable")[:rest]] += 1
    return counts


def _uses(told: Predictive, counts: Array, random: np.random.Generator) -> Iterator[Array]:
    """Yield the sheet that the jobs use, m², for the cases of each candidate: (cases, n)."""
    belief, doubt = told.belief, told.jobs.doubt
    variance = told.job_sd**2
    for _, chosen, columns, certain in told.forms:
        for g in np.flatnonzero(chosen & (counts > 0)):
            # The square root of the covariance turns independent draws into those of the belief.
            root = np.linalg.cholesky(belief.covariance[g])
            steps = random.standard_normal((counts[g], len(root)))
            shared = (belief.mean[g] + steps @ root.T) @ columns.T + certain
            own = variance[g]
            if doubt is not None:
                # Jobs of unknown openings share what nobody knows of the firm's usual ones.
                usual = np.einsum("nkf,k->nf", doubt.shared, told.worth[g])
                own = np.maximum(own - (usual**2).sum(axis=1), 0)
                shared = shared + random.standard_normal((counts[g], usual.shape[1])) @ usual.T
            yield shared + np.sqrt(own) * random.standard_normal((counts[g], len(certain)))
