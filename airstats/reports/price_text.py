"""The next jobs: what the estimator's notebook of orders shows, with its sentences."""

from __future__ import annotations

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
    rolls,
    roughly,
    small_chance,
)
from airstats.model.decisions import KEEP
from airstats.model.unmet import unmet
from airstats.pricing import firm_cuts, pooled_order
from airstats.pricing.cut_prices import CutCosts
from airstats.pricing.newsvendor import Priced, with_money
from airstats.pricing.order_costs import roll_chances, same_orders
from airstats.pricing.stock import stock_words
from airstats.reports import cuts_charts, cuts_text, price_charts
from airstats.reports.buying_text import unmeasured_words
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.shared_text import with_notes

FAR = 100
"""A bound of a cost that is so many times as high, or as low, is none."""


def price_headline(desk: Desk, orders: pd.DataFrame) -> Words:
    """Say how many rolls to order, and how sure that is."""
    if orders.empty:
        return Words("**There is no job to price.**")
    total = int(orders["order_rolls"].sum())
    riskiest = orders.sort_values("chance_short").iloc[-1]
    short = 1 - float(np.prod(1 - orders["chance_short"].to_numpy()))
    left = number(orders["expected_left_over_rolls"].sum())
    bought = int(orders["buy_rolls"].sum())
    shelf = ""
    if bought < total or orders["from_stock_m"].any():
        begun = number(orders["from_stock_m"].sum(), 0)
        shelf = (
            f" The shelf gives {rolls(total - bought)} of them and {begun} m on begun rolls"
            f" besides; buy {rolls(bought)}."
        )
    alone, risk = "", f"The chance of being short is {small_chance(riskiest['chance_short'])}"
    if len(orders) > 1:
        alone = ", each supplied by itself"
        risk = (
            f"The chance that at least one job runs short is {small_chance(short)} (the likeliest:"
            f" {riskiest['job_id']}, {small_chance(riskiest['chance_short'])})"
        )
    said = (
        f"**Order {rolls(total)} for {counted(len(orders), 'job')}**{alone}; expected sheet"
        f" {number(orders['expected_m2'].sum(), 0)} m².{shelf} {risk}; on average {left}"
        f" rolls stay unopened."
    )
    early = [f"{row.job_id}: {unmeasured_words(row)}." for row in each(orders) if row.unmeasured]
    return with_notes(said, tuple(early))


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


def chances(foretold: Priced, priced: pd.DataFrame) -> Section:
    """Show how many rolls each job may need; `priced` is from `order_costs.order_costs`."""
    yield price_charts.roll_chances(roll_chances(foretold), priced)


def the_order(desk: Desk, foretold: Priced) -> Section:
    """Show what each job takes of sheet and money, and what the shelf gives."""
    table = with_money(foretold, desk.firm.roll_price)
    columns = (
        "job_id expected_m2 low_m2 high_m2 rolls_p50 rolls_p80 rolls_p95 order_rolls all_in_percent"
    )
    if table["sheet_cost"].notna().any():
        columns += " sheet_cost cost_a_m2"
    if foretold.shelf:
        columns += " from_stock_rolls from_stock_m buy_rolls"
        yield Words(
            " ".join(["The shelf is used first.", *stock_words(foretold.shelf, foretold.jobs)])
        )
    yield show_table(table, "Sheet and rolls of each job", columns, desk.firm.currency)


def one_roll(desk: Desk, foretold: Priced, priced: pd.DataFrame) -> Section:
    """Show what one roll more or fewer would cost, and how far the costs decide.

    Parameters
    ----------
    desk : Desk
        Of it the currency, and the parts that the costs were made from.
    foretold : Priced
        The jobs.
    priced : DataFrame
        From `order_costs`.
    """
    currency = desk.firm.currency
    yield one_roll_words(priced, currency)
    yield show_table(
        priced,
        f"One roll more or fewer: a roll left over costs {foretold.leftover_cost:g}, one short"
        f" {in_currency(f'{foretold.short_cost:g}', currency)}",
        "job_id order_rolls chance_short expected_left_over_rolls cost_fewer cost_order cost_more",
        currency,
    )
    same = same_orders(foretold)
    yield cost_words(desk.firm, foretold, same)
    ends = ("short_from", "short_to", "left_from", "left_to")
    near: dict[str, Any] = {name: _near(same[name], foretold) for name in ends}
    yield show_table(
        same.assign(**near),
        f"Costs at which the order stays as it is (–: however low or high, to {FAR} times)",
        "job_id order_rolls short_from short_to left_from left_to",
        currency,
    )


def _near(bound: pd.Series, foretold: Priced) -> pd.Series:
    """The bounds of a cost that anybody could come near."""
    short = str(bound.name).startswith("short")
    times = bound / (foretold.short_cost if short else foretold.leftover_cost)
    return bound.where((times > 1 / FAR) & (times < FAR))


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
        f"{_made_of(firm, left, short)} With a roll left over at {left:g}, every order would be the"
        f" same for any cost of a roll short {_between(same, 'short', firm.currency)}; with a roll"
        f" short at {short:g}, for any cost of a roll left over"
        f" {_between(same, 'left', firm.currency)}."
    )


def _between(same: pd.DataFrame, cost: str, currency: str) -> str:
    """The bounds within which no order changes, and whose order changes first beyond them."""
    low, high = same[f"{cost}_from"], same[f"{cost}_to"]
    low_at, high_at = same.loc[[low.idxmax(), high.idxmin()], "job_id"]
    least, most = roughly(float(low.max())), float(high.min())
    if np.isinf(most):
        return f"above {in_currency(least, currency)} (below it {low_at} changes)"
    bounds = in_currency(f"{least} and {roughly(most)}", currency)
    return f"between {bounds} (beyond them {low_at} and {high_at} change first)"


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
        f"bringing it back {firm.bring_back:g}, the shelf {shelf:g}, what is never laid {spoilt:g}"
    )


def _delay_parts(firm: Firm) -> str:
    wages, margin = (
        firm.idle_fitters * firm.idle_hours * hour for hour in (firm.labour_hour, firm.margin_hour)
    )
    if not firm.delivery + wages + margin:
        return ""
    return f"a second delivery {firm.delivery:g}, idle wages {wages:g}, lost margin {margin:g}"


def one_roll_words(orders: pd.DataFrame, currency: str = "") -> Words:
    """Say what one roll fewer or more would cost, and where the choice is closest."""
    if orders.empty:
        return Words("There is no job to price.")
    fewer, more = (
        float((orders[name] - orders["cost_order"]).sum()) for name in ("cost_fewer", "cost_more")
    )
    gap = orders[["cost_fewer", "cost_more"]].min(axis=1) - orders["cost_order"]
    close = orders.iloc[int(gap.to_numpy().argmin())]
    step = "fewer" if close["cost_fewer"] < close["cost_more"] else "more"
    return Words(
        f"One roll fewer on every job would cost {number(fewer, 0)} more in all, one roll more"
        f" {number(more, 0)} more (expected, in {currency or 'your currency'}). The closest choice"
        f" is {close['job_id']}: one roll {step} would cost only {number(gap.min(), 0)} more."
    )


def pooled(desk: Desk, foretold: Priced) -> Section:
    """Show one order for all jobs beside one for each."""
    found, currency = pooled_order.pooled_orders(foretold), desk.firm.currency
    yield pooled_words(found, currency)
    yield price_charts.pooled_chances(pooled_order.pooled_chances(foretold), found)
    yield show_table(
        found,
        "The jobs ordered together and one by one, for each size of roll",
        "roll_size jobs from_rolls to_rolls single_rolls pooled_rolls saved_rolls "
        + ("from_stock_rolls buy_rolls " if foretold.shelf else "")
        + "single_cost pooled_cost saved_cost",
        currency,
    )


def pooled_words(pooled: pd.DataFrame, currency: str = "") -> Words:
    """Say what one order for all jobs from one store would be, and what it saves."""
    if pooled.empty or int(pooled["jobs"].max()) < 2:
        return Words("Two jobs or more with the same roll can share a store; here there are none.")
    total, single = int(pooled["pooled_rolls"].sum()), int(pooled["single_rolls"].sum())
    saved = float(pooled["saved_cost"].sum())
    pooled_cost, single_cost = (
        number(pooled[f"{name}_cost"].sum(), 0) for name in ("pooled", "single")
    )
    less = (
        "as much"
        if pooled_cost == single_cost
        else f"{number(abs(saved), 0)} {'less' if saved > 0 else 'more'}"
    )
    sizes = [f"{rolls(row.pooled_rolls)} of {row.roll_size}" for row in each(pooled)]
    split = f" ({listed(sizes)})" if len(sizes) > 1 else ""
    gain = "as many as ordered job by job"
    if total < single:
        gain = f"{rolls(single - total)} fewer than the {single} ordered job by job"
    if total > single:
        gain = f"{rolls(total - single)} more than the {single} ordered job by job, for less risk"
    taken = int(pooled["from_stock_rolls"].sum())
    shelf = (
        f" {rolls(taken)} of them lie on the shelf: buy {rolls(total - taken)}." if taken else ""
    )
    return Words(
        f"**Served from one store, order {rolls(total)} for all jobs{split}**: {gain}.{shelf}"
        f" Rolls left over and rolls short then cost {less} on average"
        f" ({pooled_cost} against {single_cost}, in {currency or 'your currency'}). Each"
        " job opens whole rolls; what is left of an opened roll stays there, and rolls not opened"
        " serve the next job."
    )


def cut_plan(desk: Desk, costs: CutCosts) -> Section:
    """Show which cut to choose for each opening."""
    terms = firm_cuts.cut_terms(desk.records, desk.now, costs, desk.firm.currency)
    to_cut = firm_cuts.with_usual_depths(desk.to_price or desk.quarter_records(), desk.now)
    plan = firm_cuts.opening_plan(to_cut, terms)
    yield cuts_text.plan_words(plan, terms, firm_cuts.saving_range(to_cut, terms))
    yield show_table(
        plan,
        "Openings with the cut to choose; the saving is for all of a row",
        "job_id mark count width_mm height_mm reveal_mm sides cut_pattern cut_way saving_all",
        desk.firm.currency,
    )
    if len(plan):
        yield cuts_charts.cut_sheet(plan)
        yield cuts_charts.opening(plan.iloc[plan["saving_all"].argmax()])


def one_job_words(order: pd.Series, currency: str = "") -> Words:
    """Say what to order for one job, from a row of `order_costs`."""
    return Words(
        f"**Order {rolls(int(order['order_rolls']))}.** Expected sheet"
        f" {number(order['expected_m2'], 0)} m² (80 %: {number(order['low_m2'], 0)} to"
        f" {number(order['high_m2'], 0)} m²); chance of being short"
        f" {small_chance(order['chance_short'])}; on average"
        f" {number(order['expected_left_over_rolls'], 1)} rolls stay unopened. One roll fewer costs"
        f" {number(order['cost_fewer'] - order['cost_order'], 0)} more, one roll more"
        f" {number(order['cost_more'] - order['cost_order'], 0)} more (expected, in"
        f" {currency or 'your currency'})."
    )
