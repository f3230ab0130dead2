"""The next jobs: what the estimator's notebook of orders shows, with its sentences."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from airstats.base.firm import Firm
from airstats.base.number_text import (
    counted,
    each,
    in_currency,
    listed,
    number,
    own_money,
    rolls,
    roughly,
    small_chance,
    that_add_up,
)
from airstats.model.decisions import KEEP
from airstats.model.unmet import unmet
from airstats.pricing import firm_cuts, pooled_order
from airstats.pricing.cut_prices import CutCosts
from airstats.pricing.newsvendor import Priced, priced, with_money
from airstats.pricing.order_costs import order_costs, roll_chances, roll_costs, same_orders
from airstats.pricing.pooled_order import drawn_use
from airstats.pricing.stock import roll_sizes, stock_words
from airstats.reports import cuts_charts, cuts_text, price_charts
from airstats.reports.buying_text import unmeasured_words
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.price_charts import largest_first
from airstats.reports.shared_text import with_notes
from airstats.takeoff.sheet_quantities import take_off

FEW = 3
"""So many jobs are told of one by one."""
ROOM = 21
"""Kinds of openings beside which one more drawing has room on a page."""
MOST_ROWS = 10
"""A table of more jobs begins with those that take the most rolls."""


@dataclass(frozen=True)
class Order:
    """What is ordered for jobs that were foretold, each by itself and all from one store.

    Attributes
    ----------
    foretold : the jobs
    jobs, chances, costs : from `order_costs`, `roll_chances` and `roll_costs`
    pooled, totals : from `pooled_orders` and `pooled_costs`; empty for a single job
    """

    foretold: Priced
    jobs: pd.DataFrame
    chances: pd.DataFrame
    costs: pd.DataFrame
    pooled: pd.DataFrame
    totals: pd.DataFrame


def order_of(foretold: Priced) -> Order:
    """Work out the orders of jobs that were foretold."""
    pooled, totals = pooled_order.pooled_orders(foretold), pooled_order.pooled_costs(foretold)
    if len(foretold.jobs) < 2:
        pooled, totals = pooled.iloc[:0], totals.iloc[:0]
    single = order_costs(foretold), roll_chances(foretold), roll_costs(foretold)
    return Order(foretold, *single, pooled, totals)


def headline(desk: Desk, order: Order) -> Words:
    """Say how many rolls to order, how sure that is, and what a roll more or less would cost."""
    jobs, currency = order.jobs, desk.firm.currency
    if jobs.empty:
        return Words("**There is no job to price.**")
    again = ""
    if desk.to_price is None:
        again = (
            f" No jobs to price were given: these are the finished jobs of {desk.quarter}, priced"
            " again as a check."
        )
    said = _together(order, currency)
    if order.pooled.empty:
        said = _ordered(next(each(jobs)), currency)
    return Words(f"{said} {_one_more(order, currency)}{again}")


def _ordered(row: Any, currency: str) -> str:
    shelf = _shelf(row.order_rolls - row.buy_rolls, row.buy_rolls, row.from_stock_m)
    cost = own_money(number(row.cost_order, 0), currency)
    unopened = _unopened(row.expected_left_over_rolls)
    return (
        f"**Order {rolls(row.order_rolls)} for {row.job_id}.**{shelf} The chance of running short"
        f" is {small_chance(row.chance_short)}; on average {unopened} unopened, and"
        f" rolls left over or short cost {cost}."
    )


def _together(order: Order, currency: str) -> str:
    pooled, jobs = order.pooled, order.jobs
    single = int(pooled["single_rolls"].sum())
    _, total, short = _in_all(order)
    sizes = [f"{row.pooled_rolls} of {row.roll_size}" for row in each(pooled)]
    split = f" ({listed(sizes)})" if len(sizes) > 1 else ""
    alone = "as many as job by job"
    if total != single:
        alone = f"{single} if each job is supplied by itself"
    taken, begun = int(pooled["from_stock_rolls"].sum()), jobs["from_stock_m"].sum()
    cost, apart = (number(pooled[f"{name}_cost"].sum(), 0) for name in ("pooled", "single"))
    against = f", against {apart} job by job" if cost != apart else ""
    return (
        f"**Order {rolls(total)}{split} for {counted(len(jobs), 'job')} from one store, {alone}.**"
        f"{_shelf(taken, total - taken, begun)} The chance of running short is"
        f" {small_chance(short)}; rolls left over or short cost {own_money(cost, currency)} on"
        f" average{against}."
    )


def _shelf(taken: int, bought: int, begun_m: float) -> str:
    if not taken and not begun_m:
        return ""
    begun = f" and {number(begun_m, 0)} m on begun rolls besides" if begun_m else ""
    return f" The shelf gives {rolls(taken)} of them{begun}; buy {rolls(bought)}."


def _unopened(value: float) -> str:
    text = number(value)
    return f"{text} roll{'' if text == '1.0' else 's'} stay{'s' if text == '1.0' else ''}"


def _one_more(order: Order, currency: str) -> str:
    """What the whole order costs more with one roll fewer, and with one more."""
    fewer, more = _steps(order)
    if not np.isfinite(fewer):
        return f"One roll more would cost {in_currency(number(more, 0), currency)} more."
    return (
        f"One roll fewer would cost {in_currency(number(fewer, 0), currency)} more, one roll more"
        f" {in_currency(number(more, 0), currency)} more."
    )


def _steps(order: Order) -> tuple[float, float]:
    if order.pooled.empty:
        row = order.jobs.iloc[0]
        fewer = row["cost_fewer"] if row["order_rolls"] else np.inf
        return fewer - row["cost_order"], row["cost_more"] - row["cost_order"]
    steps: list[list[float]] = [[], []]
    for row in each(order.pooled):
        at = order.totals[order.totals["roll_size"].eq(row.roll_size)].set_index("rolls")["cost"]
        for found, n in zip(steps, (row.pooled_rolls - 1, row.pooled_rolls + 1), strict=True):
            found.append(float(at.get(n, np.inf)) - row.pooled_cost)
    return min(steps[0]), min(steps[1])


def jobs_table(desk: Desk, order: Order) -> Section:
    """Show what to order for each job, and for all of them from one store, above them."""
    money = with_money(order.foretold, desk.firm.roll_price)
    table = order.jobs.assign(sheet_cost=money["sheet_cost"])
    columns = "job_id order_rolls"
    if order.foretold.shelf:
        columns += " from_stock_rolls buy_rolls"
    columns += " chance_short cost_order expected_m2 low_m2 high_m2 expected_left_over_rolls"
    if table["sheet_cost"].notna().any():
        columns += " sheet_cost"
    shown = largest_first(table)
    if len(table) <= MOST_ROWS:
        shown = table.assign(cost_order=that_add_up(table["cost_order"]))
    whole = _all_jobs(order, table)
    yield show_table(
        pd.concat([whole, shown], ignore_index=True) if len(whole) else shown,
        "What to order; sheet with its 80 % interval",
        columns,
        desk.firm.currency,
        "orders",
    )


def _all_jobs(order: Order, jobs: pd.DataFrame) -> pd.DataFrame:
    """A row for all jobs from one store, for each size of roll."""
    rows = []
    length = order.foretold.jobs.columns(["roll_length_m"])[:, 0]
    each_roll = jobs["sheet_cost"] / (jobs["order_rolls"] + jobs["from_stock_m"] / length)
    sizes = dict(roll_sizes(order.foretold.jobs))
    uses = drawn_use(order.foretold.jobs, order.foretold.known, order.foretold.quarters_ahead)
    for row in each(order.pooled):
        own = sizes[row.roll_size]
        low, high = np.quantile(uses[:, own].sum(axis=1), (0.1, 0.9))
        chances = order.totals[order.totals["roll_size"].eq(row.roll_size)]
        left = (row.pooled_rolls - chances["rolls"]).clip(0, row.buy_rolls)
        fewer = row.single_rolls - row.pooled_rolls
        money = jobs.loc[own, "sheet_cost"].sum(skipna=False) - fewer * each_roll[own].mean()
        rows.append(
            {
                "job_id": "all" if len(sizes) == 1 else f"all of {row.roll_size}",
                "expected_m2": jobs.loc[own, "expected_m2"].sum(),
                "low_m2": max(low, 0.0),
                "high_m2": high,
                "expected_left_over_rolls": float(chances["probability"] @ left),
                "order_rolls": row.pooled_rolls,
                "from_stock_rolls": row.from_stock_rolls,
                "buy_rolls": row.buy_rolls,
                "chance_short": row.chance_short,
                "cost_order": row.pooled_cost,
                "sheet_cost": money,
            }
        )
    return pd.DataFrame(rows)


def costs(desk: Desk, order: Order) -> Section:
    """Show what each number of rolls ordered would cost."""
    if len(order.jobs):
        parts = (order.costs, order.jobs, order.totals, order.pooled)
        yield price_charts.order_costs(*parts, desk.firm.currency)


def chances(order: Order) -> Section:
    """Show how many rolls the jobs may need."""
    if len(order.jobs):
        parts = (order.chances, order.jobs, order.totals, order.pooled)
        yield price_charts.roll_chances(*parts)


def assumed(desk: Desk, order: Order) -> Section:
    """Say with what the jobs were priced, what of them is unknown, and what the costs decide."""
    yield takeoff_words(desk)
    jobs = desk.ahead()
    early = [
        f"{row.job_id} is {unmeasured_words(row, jobs.openings)}"
        for row in each(order.jobs)
        if row.unmeasured
    ]
    if len(early) > FEW:
        early = [*early[:FEW], f"{counted(len(early) - FEW, 'more job')} likewise"]
    shelf = order.foretold.shelf
    stock = stock_words(shelf, order.foretold.jobs) if shelf else []
    told = [*early, cost_words(desk.firm, order.foretold, same_orders(order.foretold)).text, *stock]
    dash = "- " if len(told) > 1 else ""
    yield Words("\n".join(f"{dash}{line.rstrip('.')}." for line in told))


def takeoff_words(desk: Desk) -> Words:
    """Say which jobs are priced, and with which allowances."""
    noted, notes = desk.now.decision, desk.records.remarks
    known = f"the allowances of {desk.now.quarter} ({counted(len(desk.now.job_ids), 'job')})"
    if noted.get("decision") == KEEP and desk.before:
        known = (
            f"the values of {desk.before.quarter} ({counted(len(desk.now.job_ids), 'job')}),"
            f" kept in {desk.quarter} by {noted['by']}: {noted['reason'].rstrip('.')}"
        )
    if desk.to_price is not None:
        said = f"Jobs of {desk.to_price.source}, priced with {known}."
        return with_notes(said, notes + desk.to_price.remarks + unmet(desk.to_price, desk.now))
    said = f"No takeoff was given: the finished jobs of {desk.quarter} are priced again, with"
    rest = " that they helped to make. Take it as a check, not as a forecast."
    return with_notes(f"{said} {known}{'.' if noted.get('decision') == KEEP else rest}", notes)


def cost_words(firm: Firm, foretold: Priced, same: pd.DataFrame) -> Words:
    """Say what the two costs are made of, and within which bounds every order stays as it is.

    Parameters
    ----------
    firm : Firm
        Whose parts they are.
    foretold : Priced
        The jobs, with the costs.
    same : DataFrame
        From `same_orders`.
    """
    if same.empty:
        return Words("There is no job to price.")
    left, short = foretold.leftover_cost, foretold.short_cost
    return Words(
        f"{_made_of(firm, left, short)} With a roll left over at {_sum_of(left, firm)}, every order"
        f" would be the same for any cost of a roll short {_between(same, 'short', firm.currency)};"
        f" with a roll short at {_sum_of(short, firm)}, for any cost of a roll left over"
        f" {_between(same, 'left', firm.currency)}."
    )


def _between(same: pd.DataFrame, cost: str, currency: str) -> str:
    """The bounds within which no order changes, and whose order changes first beyond them."""
    low, high = same[f"{cost}_from"], same[f"{cost}_to"]
    low_at, high_at = same.loc[[low.idxmax(), high.idxmin()], "job_id"]
    least, most = (in_currency(roughly(end), currency) for end in (low.max(), high.min()))
    if np.isinf(high.min()):
        return f"above {least} (below it that of {low_at} changes)"
    return (
        f"between {least} (below it that of {low_at} changes first) and {most} (above it that of"
        f" {high_at})"
    )


def _made_of(firm: Firm, left: float, short: float) -> str:
    """How the costs came about: from the firm's parts, as it says, or assumed."""
    said = {"left over": _shelf_parts(firm), "short": _delay_parts(firm)}
    costs = {"left over": (left, firm.leftover_cost), "short": (short, firm.short_cost)}
    told = []
    for what, (cost, whole) in costs.items():
        how = "as you say" if whole else said[what] or "assumed: put your own into firm.toml"
        told.append(f"a roll {what} costs {in_currency(f'{cost:g}', firm.currency)} ({how})")
    text = listed(told)
    return f"{text[:1].upper()}{text[1:]}."


def _shelf_parts(firm: Firm) -> str:
    price = firm.roll_price or 0
    shelf = price * firm.shelf_months * firm.shelf_percent / 100
    spoilt = price * firm.spoilt_percent / 100
    if not firm.bring_back + shelf + spoilt:
        return ""
    return (
        f"bringing it back {_sum_of(firm.bring_back, firm)}, the shelf {_sum_of(shelf, firm)},"
        f" what is never laid {_sum_of(spoilt, firm)}"
    )


def _delay_parts(firm: Firm) -> str:
    wages, margin = (
        firm.idle_fitters * firm.idle_hours * hour for hour in (firm.labour_hour, firm.margin_hour)
    )
    if not firm.delivery + wages + margin:
        return ""
    return (
        f"a second delivery {_sum_of(firm.delivery, firm)}, idle wages {_sum_of(wages, firm)}, lost"
        f" margin {_sum_of(margin, firm)}"
    )


def _sum_of(money: float, firm: Firm) -> str:
    return in_currency(f"{money:g}", firm.currency)


def cut_plan(desk: Desk, costs: CutCosts, order: Order) -> Section:
    """Show which cut to choose for each opening, every one drawn; where there is room, one large.

    That is the one that saves most, with its reveal unfolded.

    Parameters
    ----------
    desk : Desk
        With the jobs.
    costs : CutCosts
        The prices and times of the firm.
    order : Order
        For the cuts as they are noted.
    """
    terms = firm_cuts.cut_terms(desk.records, desk.now, costs, desk.firm.currency)
    to_cut = firm_cuts.with_usual_depths(desk.ahead(), desk.now)
    plan = firm_cuts.opening_plan(to_cut, terms)
    if plan.empty:
        yield Words("No opening is known, so there is none to cut.")
        return
    yield cuts_text.plan_words(plan, terms, firm_cuts.saving_range(to_cut, terms))
    if plan["recommended_cut"].ne(plan["cut_pattern"]).any():
        yield _cut_otherwise(desk, order, plan["recommended_cut"])
    yield from cuts_charts.cut_sheets(plan)
    if len(plan) <= ROOM:
        yield cuts_charts.opening(plan.iloc[plan["saving_all"].argmax()])


def _cut_otherwise(desk: Desk, order: Order, cuts: pd.Series) -> Words:
    """What the order would be if every opening were cut by its cheapest cut."""
    jobs, asked = desk.ahead(), order.foretold
    openings = jobs.openings.assign(cut_pattern=cuts)
    other = order_of(
        priced(
            take_off(replace(jobs, openings=openings)),
            asked.known,
            asked.leftover_cost,
            asked.short_cost,
            asked.quarters_ahead,
            desk.stock,
            desk.firm.unusable_end_m,
        )
    )
    (m2, packs, short), (m2_noted, packs_noted, _) = map(_in_all, (other, order))
    ordered = rolls(packs) if packs != packs_noted else f"{rolls(packs)} too"
    took, noted = number(m2, 0), number(m2_noted, 0)
    take = f"{noted} m² too" if took == noted else f"{took} m² in place of {noted} m²"
    return Words(
        f"Cut as drawn, the jobs take {take}:"
        f" order {ordered} (chance of running short {small_chance(short)})."
    )


def _in_all(order: Order) -> tuple[float, int, float]:
    """Sheet of all jobs, m²; rolls to order, and the chance that they do not suffice."""
    table, packs = (
        (order.jobs, "order_rolls") if order.pooled.empty else (order.pooled, "pooled_rolls")
    )
    short = 1 - float(np.prod(1 - table["chance_short"].to_numpy()))
    return float(order.jobs["expected_m2"].sum()), int(table[packs].sum()), short


def one_job_words(order: pd.Series, currency: str = "") -> Words:
    """Say what to order for one job, from a row of `order_costs`."""
    fewer, more = (
        number(order[name] - order["cost_order"], 0) for name in ("cost_fewer", "cost_more")
    )
    return Words(
        f"**Order {rolls(int(order['order_rolls']))}.** Expected sheet"
        f" {number(order['expected_m2'], 0)} m² (80 %: {number(order['low_m2'], 0)} to"
        f" {number(order['high_m2'], 0)} m²); chance of being short"
        f" {small_chance(order['chance_short'])}; on average"
        f" {_unopened(order['expected_left_over_rolls'])} unopened. One roll fewer would cost"
        f" {in_currency(fewer, currency)} more on average, one roll more"
        f" {in_currency(more, currency)} more."
    )
