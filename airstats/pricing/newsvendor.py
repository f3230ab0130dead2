"""What a job will take of sheet and other materials, how many packs that is, how many to order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from numbers import Real

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.base.errors import AirstatsError
from airstats.base.firm import ASSUMED, LEFTOVER_COST, SHORT_COST, Firm
from airstats.base.quarters import quarters_between
from airstats.catalog.materials import MATERIALS, SHEET
from airstats.model.allowances import Allowances, unchanged
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import Predictive, predictive, widen
from airstats.model.quarterly_update import Product
from airstats.pricing.stock import Shelf, expected_opened, handed_out, shelf_for
from airstats.records.reading import Records
from airstats.takeoff.per_material import material_quantities, material_takeoff
from airstats.takeoff.sheet_quantities import Takeoff, take_off

Array = np.ndarray

SHEET_ORDERS = {
    "expected": "expected_m2",
    "low": "low_m2",
    "high": "high_m2",
    "packs_p50": "rolls_p50",
    "packs_p80": "rolls_p80",
    "packs_p95": "rolls_p95",
    "order_packs": "order_rolls",
    "chance_short": "chance_short",
    "expected_left_over_packs": "expected_left_over_rolls",
    "from_stock_packs": "from_stock_rolls",
    "buy_packs": "buy_rolls",
    "unmeasured": "unmeasured",
    "width_if_measured": "width_if_measured_m2",
}
"""The columns of an order, and what they are called for the sheet, whose packs are rolls."""


def price(
    takeoff: Records | Takeoff,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
    firm: Firm = ASSUMED,
) -> pd.DataFrame:
    """Price the jobs of a takeoff: sheet, rolls and the order of least expected cost.

    Parameters
    ----------
    takeoff : Records or Takeoff
        n jobs to price; records may hold a stock, which is used before anything is bought.
    allowances : Allowances
        What the finished jobs taught.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short; any one currency.
    quarters_ahead : int
        Quarters between the allowances and the jobs; their drift widens the intervals.
    firm : Firm
        Of it the price of a roll, where a job has none, and what of a begun roll serves no more.

    Returns
    -------
    DataFrame
        n rows: `job_id, expected_m2, low_m2, high_m2` (80 % interval), `rolls_p50, rolls_p80,
        rolls_p95, order_rolls, chance_short, expected_left_over_rolls` (of the order, unopened),
        `from_stock_rolls, buy_rolls` (whole ones; they add up to the order), `unmeasured`
        ("openings" or "depths" that nobody knows, else ""), `width_if_measured_m2` (how wide the
        80 % interval would likely be if they were measured), `from_stock_m` (on begun rolls),
        `expected_left_on_last_m` (on the last roll opened), `sheet_cost` (of the order and of what
        is taken from begun rolls; nan without a price), `cost_a_m2` of surface, `all_in_percent`
        (sheet expected above the bare surface).

    Raises
    ------
    AirstatsError
        If a cost is not a positive number, or `quarters_ahead` is below 0.
    """
    jobs = takeoff if isinstance(takeoff, Takeoff) else take_off(takeoff)
    stock = takeoff.stock if isinstance(takeoff, Records) else None
    asked = (leftover_cost, short_cost, quarters_ahead, stock, firm.unusable_end_m)
    foretold = priced(jobs, allowances, *asked)
    return with_money(foretold, firm.roll_price)


def with_money(foretold: Priced, roll_price: float | None) -> pd.DataFrame:
    """Return what `price` does, of jobs already foretold, at the price of a roll if one is told."""
    jobs, orders = foretold.jobs, foretold.orders.rename(columns=SHEET_ORDERS)
    each = jobs.told("pack_price")
    each = np.where(np.isnan(each), np.nan if roll_price is None else roll_price, each)
    begun = foretold.begun_m / jobs.columns(["roll_length_m"])[:, 0]
    cost, surface = (orders["order_rolls"] + begun) * each, jobs.told("face")
    return orders.assign(
        from_stock_m=foretold.begun_m,
        expected_left_on_last_m=foretold.left_on_last / jobs.columns(["roll_width_m"])[:, 0],
        sheet_cost=cost,
        cost_a_m2=cost / surface,
        all_in_percent=100 * (orders["expected_m2"] / surface - 1),
    )


def price_materials(
    takeoff: Records,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
    firm: Firm = ASSUMED,
) -> pd.DataFrame:
    """Price every material of the jobs to come: amounts, packs and the order of least cost.

    Parameters
    ----------
    takeoff : Records
        Jobs to price; its table of materials, if any, may give packs and their prices.
    allowances : Allowances
        What the finished jobs taught. A material that they did not is priced only if the takeoff's
        table names it or the firm its price, from its prior; `left_out` tells of the others.
    leftover_cost, short_cost : float
        Money for each roll of sheet left over and for each roll short; any one currency.
    quarters_ahead : int
        Quarters between the allowances and the jobs.
    firm : Firm
        Of it what of a begun roll serves no more, and for which materials it pays.

    Returns
    -------
    DataFrame
        One row a job and material, the sheet first: `job_id, material, unit, pack, expected, low,
        high` (80 % interval, in the unit), `packs_p50, packs_p80, packs_p95, order_packs,
        chance_short, expected_left_over_packs, from_stock_packs, buy_packs, jobs_counted` (0:
        priced from the prior); a pack of sheet is a roll. A job
        that needs none of a material, or whose quantity is not told, has no row for it.

    Raises
    ------
    AirstatsError
        If a cost is not a positive number.

    Notes
    -----
    For another material a pack left over and a pack short cost as much less or more as the pack
    is cheaper or dearer than a roll of sheet. Only the ratio of the two decides an order, so that
    every material is ordered for the same chance of running short, whatever its price.
    """
    asked = (leftover_cost, short_cost, quarters_ahead)
    parts = [
        priced(jobs, known, *asked, takeoff.stock, firm.unusable_end_m).orders.assign(
            material=jobs.product,
            unit=known.unit,
            pack=jobs.pack,
            jobs_counted=len(known.job_ids),
        )
        for jobs, known in needed_products(takeoff, allowances, firm)
    ]
    table = pd.concat(parts, ignore_index=True)
    place = pd.Index(takeoff.jobs["job_id"]).get_indexer(table["job_id"])
    order = np.argsort(place, kind="stable")
    columns = ["job_id", "material", "unit", "pack", *SHEET_ORDERS, "jobs_counted"]
    return table.iloc[order][columns].reset_index(drop=True)


def needed_products(
    takeoff: Records, allowances: Allowances, firm: Firm = ASSUMED
) -> Iterator[Product]:
    """Yield the sheet, then every material learnt, or named by takeoff or firm, that a job needs.

    Parameters
    ----------
    takeoff, allowances, firm
        As for `price_materials`.
    """
    jobs = take_off(takeoff)
    yield Product(jobs, allowances)
    yield from _needed_materials(jobs, takeoff, allowances, _named(takeoff, allowances, firm))


def left_out(takeoff: Records, allowances: Allowances, firm: Firm = ASSUMED) -> list[str]:
    """Return the materials that a job needs, but that are neither learnt nor named.

    Parameters
    ----------
    takeoff, allowances, firm
        As for `price_materials`.
    """
    rest = set(MATERIALS) - _named(takeoff, allowances, firm)
    return [one.name for one in _needed_materials(take_off(takeoff), takeoff, allowances, rest)]


def _named(takeoff: Records, allowances: Allowances, firm: Firm) -> set[str]:
    """Materials that the firm has used, names for these jobs, or knows the price of."""
    return {*allowances.materials, *takeoff.materials["material"], *firm.unit_prices}


def _needed_materials(
    jobs: Takeoff, takeoff: Records, allowances: Allowances, names: set[str]
) -> Iterator[Product]:
    jobs = jobs.reckoned(allowances.belief.habits)
    quantities = material_quantities(jobs, takeoff.openings)
    for name in filter(names.__contains__, MATERIALS):
        known = material_known(allowances, name)
        bought = known.pack
        told = (bought.content, bought.price) if bought else ()
        needed = material_takeoff(jobs, quantities, takeoff.materials, name, *told)
        if len(needed):
            yield Product(needed, known)


def material_known(allowances: Allowances, name: str) -> Allowances:
    """Return what is believed of a material, drifted to the quarter of the sheet if it is older."""
    known = allowances.materials.get(name) or unchanged(allowances.quarter, product=name)
    elapsed = max(quarters_between(known.quarter, allowances.quarter), 0)
    return replace(known, belief=widen(known.belief, elapsed))


@dataclass(frozen=True)
class Priced:
    """n jobs, how the use of each is distributed, and what an order costs."""

    jobs: Takeoff
    known: Allowances
    quarters_ahead: int
    leftover_cost: float
    short_cost: float
    use: Mixture
    shelf: Shelf | None = None

    @cached_property
    def begun_m(self) -> Array:
        """The (n,) metres on begun rolls that each job takes."""
        return self.shelf.begun_m if self.shelf else np.zeros(len(self.jobs))

    @cached_property
    def need(self) -> Mixture:
        """What each job needs beside the begun rolls that it takes."""
        if self.shelf is None:
            return self.use
        return replace(self.use, means=self.use.means - self.shelf.begun_m2)

    def where(self, chosen: Array) -> Priced:
        """Return the jobs for which `chosen` is true."""
        use = self.use.where(chosen)
        shelf = self.shelf and self.shelf.where(np.flatnonzero(chosen))
        return replace(self, jobs=self.jobs.where(chosen), use=use, shelf=shelf)

    @property
    def share(self) -> float:
        """Share of needs that an order should cover."""
        return critical_share(self.leftover_cost, self.short_cost)

    @cached_property
    def order_packs(self) -> Array:
        """The (n,) orders of least expected cost, whole packs."""
        return self.packs(self.share)

    @cached_property
    def from_stock(self) -> Array:
        """The (n,) whole packs of the orders that the shelf gives, in the order of the jobs."""
        if self.shelf is None:
            return np.zeros(len(self.jobs), dtype=int)
        return handed_out(self.jobs, self.order_packs, self.shelf.whole)

    @property
    def left_on_last(self) -> Array:
        """The (n,) amounts expected on the last pack that a job opens, in the product's unit."""
        opened = expected_opened(self.need, self.jobs.pack)
        return opened * self.jobs.pack - self.need.mean_above_0()

    @cached_property
    def orders(self) -> pd.DataFrame:
        """One row a job: `job_id` and the columns of `SHEET_ORDERS`, in the product's unit."""
        need, order = self.need, self.order_packs
        low, high = self.interval_80
        return pd.DataFrame(
            {
                "job_id": self.jobs.table["job_id"],
                "expected": self.use.mean(),
                "low": low,
                "high": high,
                "packs_p50": self.packs(0.50),
                "packs_p80": self.packs(0.80),
                "packs_p95": self.packs(0.95),
                "order_packs": order,
                "chance_short": 1 - need.below(order * self.jobs.pack),
                "expected_left_over_packs": expected_left_over(need, self.jobs.pack, order),
                "from_stock_packs": self.from_stock,
                "buy_packs": order - self.from_stock,
                "unmeasured": self.jobs.unmeasured,
                "width_if_measured": self.width_if_measured,
            }
        )

    @cached_property
    def interval_80(self) -> tuple[Array, Array]:
        """The (n,) ends of the 80 % intervals of the use."""
        return _interval_80(self.use)

    @cached_property
    def width_if_measured(self) -> Array:
        """The (n,) likely widths of the 80 % intervals if no opening or depth were in doubt."""
        low, high = self.interval_80
        if self.jobs.doubt is not None:
            belief = widen(self.known.belief, self.quarters_ahead)
            low, high = _interval_80(Predictive(belief, replace(self.jobs, doubt=None)).use())
        return high - low

    def packs(self, share: float) -> Array:
        """Return the (n,) least whole packs that cover the need with probability `share`."""
        if share not in self._packs:
            self._packs[share] = packs_for_share(self.need, self.jobs.pack, share)
        return self._packs[share]

    @cached_property
    def _packs(self) -> dict[float, Array]:
        """What `packs` has found; several columns ask for the same share."""
        return {}

    def cost(self, order: Array) -> Array:
        """Return the (n,) expected costs of `order` packs; what the shelf gives is not bought."""
        need, pack, costs = self.need, self.jobs.pack, (self.leftover_cost, self.short_cost)
        bought = expected_cost(need, pack, order, *costs)
        given = np.minimum(self.from_stock, order)
        return bought - self.leftover_cost * expected_left_over(need, pack, given)


def _interval_80(use: Mixture) -> tuple[Array, Array]:
    return np.maximum(use.quantile(0.1), 0), use.quantile(0.9)


def priced(
    jobs: Takeoff,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    quarters_ahead: int = 1,
    stock: pd.DataFrame | None = None,
    end_m: float = ASSUMED.unusable_end_m,
) -> Priced:
    """Foretell n jobs once, for all that is asked of them; errors as `price`.

    Parameters
    ----------
    jobs : Takeoff
        n jobs to price, of one product.
    allowances : Allowances
        Those of the product.
    leftover_cost, short_cost : float
        Money for each pack left over and for each pack short.
    quarters_ahead : int
        As for `price`.
    stock : DataFrame, optional
        The table of a takeoff; other products than sheet do not lie there.
    end_m : float
        As for `shelf_for`.
    """
    critical_share(leftover_cost, short_cost)
    jobs = jobs.reckoned(allowances.belief.habits)
    use = predict(jobs, allowances, quarters_ahead)
    shelf = None
    if stock is not None and len(stock) and jobs.product == SHEET:
        shelf = shelf_for(jobs, use, stock, end_m)
    return Priced(jobs, allowances, quarters_ahead, leftover_cost, short_cost, use, shelf)


def predict(jobs: Takeoff, allowances: Allowances, quarters_ahead: int = 1) -> Mixture:
    """Return the distribution of what each of n jobs will use, in the unit of the product.

    A record's gross errors are no part of a need.

    Parameters
    ----------
    jobs, allowances, quarters_ahead
        As for `priced`.
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


def packs_for_share(use: Mixture, pack: Array, share: float) -> Array:
    """Return the (n,) least whole packs that cover the need with probability `share` or more.

    Parameters
    ----------
    use : Mixture
        What each of n jobs will use, in the product's unit.
    pack : (n,) array
        Contents of a pack, in that unit.
    share : float
        0 to 1.
    """
    enough = share - 1e-9
    # One normal of the same mean and sd gives a first guess, commonly right or one pack off.
    reach = ndtri(np.clip(share, 1e-9, 1 - 1e-9))
    packs = np.maximum(np.ceil((use.mean() + reach * use.sd()) / pack), 0)
    going = np.flatnonzero(use.below(packs * pack) < enough)
    while len(going):
        packs[going] += 1
        going = going[use.where(going).below(packs[going] * pack[going]) < enough]
    going = np.flatnonzero((packs > 0) & (use.below((packs - 1) * pack) >= enough))
    while len(going):
        packs[going] -= 1
        fewer = use.where(going).below((packs[going] - 1) * pack[going])
        going = going[(packs[going] > 0) & (fewer >= enough)]
    return packs.astype(int)


def expected_left_over(use: Mixture, pack: Array, order: Array) -> Array:
    """Return the (n,) whole packs expected to stay unopened of `order` packs.

    Parameters
    ----------
    use, pack
        As for `packs_for_share`.
    order : (n,) array
        Whole packs.

    Notes
    -----
    E[(n - N)+] is the sum of P(N <= k) for k from 0 to n - 1, N being the packs opened.
    """
    total = np.zeros(len(order))
    for packs in range(int(order.max(initial=0))):
        more = np.flatnonzero(packs < order)
        total[more] += use.where(more).below(packs * pack[more])
    return total


def expected_cost(
    use: Mixture, pack: Array, order: Array, leftover_cost: float, short_cost: float
) -> Array:
    """Return the (n,) expected cost of ordering `order` packs, in the currency of the costs.

    Parameters
    ----------
    use, pack, order
        As for `expected_left_over`.
    leftover_cost, short_cost : float
        Money for each pack left over and for each pack short.
    """
    left = expected_left_over(use, pack, order)
    return leftover_cost * left + short_cost * (expected_opened(use, pack) - order + left)
