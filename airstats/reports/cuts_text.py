"""Sentences about cuts: what they would have saved, where each pays, at which price that turns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from airstats.base.number_text import (
    counted,
    each,
    in_currency,
    listed,
    number,
    own_money,
    percent,
    roughly,
)
from airstats.catalog.cut_patterns import CUTS
from airstats.pricing import firm_cuts
from airstats.pricing.cut_choice import bands_at
from airstats.pricing.cut_prices import STANDARD_COSTS, CutCosts, CutTerms
from airstats.reports import cuts_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words

PRICES = {
    "sheet_price_m2": "the sheet cost {} a m²",
    "tape_price_m": "the tape cost {} a m",
    "minutes_piece": "a loose piece took {} minutes",
    "minutes_joint_m": "a metre of joint took {} minutes",
    "minutes_flap": "a flap took {} minutes",
    "minutes_stroke": "a stroke of the knife took {} minutes",
    "labour_hour": "an hour of labour cost {}",
}
LIKELY = 3.0
"""A price or time may well be three times what is assumed, or a third; farther off is unlikely."""


def cut_words(terms: CutTerms, plan: pd.DataFrame, reach: tuple[float, float]) -> Words:
    """Say which cut would have paid on past jobs, and by how much.

    Parameters
    ----------
    terms : CutTerms
        The prices and times that were taken.
    plan : DataFrame
        From `opening_plan` of the past jobs; money.
    reach : (float, float)
        From `saving_range`; money.
    """
    other = plan[plan["saving_all"] > 0]
    if other.empty:
        return Words(f"On the past jobs no other cut would have been cheaper. {_assumed(terms)}")
    cuts = other.groupby("recommended_cut")["count"].sum().sort_values(ascending=False)
    said = [
        f"{counted(int(units), 'opening')} {CUTS[str(cut)].words}" for cut, units in cuts.items()
    ]
    # With a price of its rolls the page began with a sum, and said whose money it is.
    named = in_currency if terms.own_price else own_money
    saved = named(roughly(other["saving_all"].sum()), terms.currency)
    jobs = counted(plan["job_id"].nunique(), "job")
    return Words(
        f"**Had every opening been cut the cheapest way, about {saved} in sheet, tape and time"
        f" would have been saved over {jobs}** ({_reach(reach)}):"
        f" {listed(said)} instead, of {counted(int(plan['count'].sum()), 'opening')}."
        f" {_assumed(terms)}"
    )


def map_words(grid: pd.DataFrame, openings: pd.DataFrame) -> Words:
    """Say which cut is cheapest up to which size, at the usual depth of the firm's reveals."""
    depths = np.repeat(openings["reveal_mm"], openings["count"].astype(int))
    bands = bands_at(grid, float(np.median(depths)) if len(openings) else 300.0)
    start = f"At a reveal of {bands['reveal_mm'].iloc[0]:.0f} mm"
    sizes = "every size of opening on the map"
    if len(openings):
        area = openings["width_mm"] * openings["height_mm"] / 1e6
        ends = dict.fromkeys((number(area.min()), number(area.max())))
        sizes = f"all your openings, of {' to '.join(ends)} m²"
        own = bands[bands["to_m2"].ge(area.min()) & bands["from_m2"].le(area.max())]
        bands = own if len(own) else bands
    *smaller, last = each(bands)
    if not smaller:
        return Words(f"{start}, {CUTS[last.cheapest_cut].words} is cheapest for {sizes}.")
    said = [f"{CUTS[band.cheapest_cut].words} up to {number(band.to_m2)} m²" for band in smaller]
    said.append(f"{CUTS[last.cheapest_cut].words} beyond")
    return Words(f"{start}, by size of opening, the cheapest cut is {listed(said)}.")


def where_cuts_pay(desk: Desk, costs: CutCosts) -> Section:
    """Show which cut is cheapest over sizes and depths, with the firm's own openings.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    costs : CutCosts
        The prices and times of the firm.
    """
    records = firm_cuts.with_usual_depths(desk.records, desk.now)
    terms = firm_cuts.cut_terms(records, desk.now, costs, desk.firm.currency)
    grid = firm_cuts.cut_map(records, terms)
    money = desk.firm.currency or "money"
    yield Words(
        f"{map_words(grid, records.openings).text} Thick line: two cuts cost the same; thin lines:"
        f" what the cheapest saves against the next, in {money} an opening; dots: your openings."
        f" {_assumed(terms)}"
    )
    yield cuts_charts.cut_map(grid, records.openings, desk.firm.currency)


def turn_table(turns: pd.DataFrame, currency: str = "") -> pd.DataFrame:
    """Return what each cut would cost more if all openings were cut alike, the cheapest first.

    `cut, extra_cost` (to two digits), `condition`: at which price or time it would do as well; the
    one that is nearest to what is assumed. `currency` is that of the prices, if it is known.
    """
    if turns.empty:
        return pd.DataFrame(columns=["cut", "extra_cost", "condition"])
    others = turns.groupby("other_cut", sort=False)
    best = {"cut": CUTS[turns["cheapest_cut"].iloc[0]].words, "extra_cost": 0.0}
    rest = [_turn(CUTS[str(cut)].words, part, currency) for cut, part in others]
    return pd.DataFrame([best | {"condition": "it is the cheapest"}, *rest])


def plan_words(plan: pd.DataFrame, terms: CutTerms, reach: tuple[float, float]) -> Words:
    """Say how many openings of the takeoff are cheaper cut otherwise.

    Parameters
    ----------
    plan : DataFrame
        From `opening_plan`; money.
    terms, reach
        As for `cut_words`, for the takeoff.
    """
    other = plan[plan["saving_all"] > 0]
    if other.empty:
        return Words("Every opening is cheapest as it is noted.")
    saved = in_currency(roughly(other["saving_all"].sum()), terms.currency)
    return Words(
        f"{number(other['count'].sum(), 0)} of {number(plan['count'].sum(), 0)} openings are"
        f" cheaper cut otherwise; it would save about {saved} ({_reach(reach)}). **Each is"
        f" drawn as it is cheapest; the order above is for the cuts as noted.** {_assumed(terms)}"
    )


def _reach(reach: tuple[float, float]) -> str:
    low, high = map(roughly, reach)
    return f"{low} to {high} if the times are half to double those assumed"


def _assumed(terms: CutTerms) -> str:
    costs, currency = terms.costs, terms.currency
    sheet, tape = (
        in_currency(f"{price:.2f}", currency)
        for price in (costs.sheet_price_m2, costs.tape_price_m)
    )
    sheet, hour = f"{sheet} a m² of sheet", in_currency(f"{costs.labour_hour:g}", currency)
    usual = replace(costs, sheet_price_m2=STANDARD_COSTS.sheet_price_m2) == STANDARD_COSTS
    rest = "assumed" if usual else "yours or assumed"
    own = f"{sheet}, from your roll price; {rest}:" if terms.own_price else f"assumed {sheet},"
    return (
        f"(Reckoned with {own} {tape} a m of tape, {hour} an hour, {costs.minutes_piece:g} minutes"
        f" a loose piece and {costs.minutes_joint_m:g} a m of joint; put your own into firm.toml."
        f" Of usable off-cuts {percent(terms.reuse_share)} are taken as re-used.)"
    )


def _turn(cut: str, turns: pd.DataFrame, currency: str) -> dict[str, object]:
    extra = float(f"{turns['extra_cost'].iloc[0]:.2g}")
    row: dict[str, object] = {"cut": cut, "extra_cost": extra}
    known = turns.dropna(subset="turns_at")
    if known.empty:
        return row | {"condition": "no price or time alone would turn that"}
    # A value of nothing is as far away as any.
    times = known["turns_at"].clip(lower=1e-9) / known["now"]
    far = np.abs(np.log(times.to_numpy(dtype=float)))
    name, now, turns_at = known[["price", "now", "turns_at"]].to_numpy()[far.argmin()]
    unlikely = "" if far.min() <= np.log(LIKELY) else ", which is unlikely"
    money = "" if str(name).startswith("minutes") else currency
    turned = PRICES[name].format(in_currency(_price(turns_at), money))
    condition = f"{turned}, not {_price(now)}{unlikely}"
    return row | {"condition": condition}


def _price(value: float) -> str:
    return number(value, 2 if value < 9.95 else 0)
