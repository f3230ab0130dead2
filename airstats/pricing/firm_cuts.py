"""Which cut pays at the openings of a firm's jobs, at the firm's own price and re-use."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import Allowances
from airstats.pricing.cut_choice import break_even_map, cheapest_cut, turning_prices
from airstats.pricing.cut_prices import STANDARD_COSTS, CutCosts, CutTerms
from airstats.records.reading import Records

USUAL_SHAPE = 0.9
"""Width over height where a firm has no opening to show it: a little taller than wide."""


def cut_terms(
    records: Records,
    allowances: Allowances,
    costs: CutCosts = STANDARD_COSTS,
    currency: str = "",
) -> CutTerms:
    """Return the learnt re-use, and the costs at the records' own sheet price, if any.

    Parameters
    ----------
    records : Records
        Their last price of a roll counts, by its m².
    allowances : Allowances
        What the finished jobs taught.
    costs : CutCosts
        Prices and times; of them the sheet's only where the records tell none.
    currency : str
        That of the prices, if it is known.
    """
    share = float(np.clip(allowances.reuse_table()["mean"].mean(), 0, 1))
    jobs = records.jobs
    price = jobs["roll_price"] if "roll_price" in jobs else pd.Series(dtype=float)
    each = (price / (jobs["roll_width_m"] * jobs["roll_length_m"])).dropna()
    if each.empty:
        return CutTerms(costs, reuse_share=share, currency=currency)
    own = replace(costs, sheet_price_m2=float(each.iloc[-1]))
    return CutTerms(own, reuse_share=share, own_price=True, currency=currency)


def with_usual_depths(records: Records, allowances: Allowances) -> Records:
    """Return the records with the firm's usual depth where nobody knows that of an opening."""
    usual = {"reveal_mm": allowances.belief.habits.usual_depth_mm}
    return replace(records, openings=records.openings.fillna(usual))


def opening_plan(records: Records, terms: CutTerms) -> pd.DataFrame:
    """Return one row a kind of opening with the cut to choose and what it saves."""
    openings = _with_rolls(records)
    if openings.empty:
        return openings.assign(recommended_cut="", cut_way="", saving_all=0.0)
    plan = cheapest_cut(openings, terms)
    ways = zip(plan["recommended_cut"], plan["slit"], strict=True)
    words = pd.Series([CUTS[cut].in_words(slit) for cut, slit in ways], plan.index, dtype=object)
    extra = ["recommended_cut", "slit", "halves", "cost_as_cut", "cost_recommended"]
    plan = plan[[*extra, "saving", "saving_all"]]
    plan = plan.assign(cut_way=words.mask(plan["halves"], words + ", pieces of two parts"))
    return openings.assign(mark=openings.get("mark", "")).join(plan)


def saving_range(records: Records, terms: CutTerms) -> tuple[float, float]:
    """Return the least and most that the cheapest cuts would save, with times half or double."""
    hour = terms.costs.labour_hour
    found = [
        opening_plan(records, replace(terms, costs=replace(terms.costs, labour_hour=hour * times)))
        for times in (0.5, 1.0, 2.0)
    ]
    totals = [float(plan["saving_all"].sum()) for plan in found]
    return min(totals), max(totals)


def past_turns(records: Records, terms: CutTerms) -> pd.DataFrame:
    """Return at which prices or times another cut would draw level; see `turning_prices`."""
    if records.openings.empty:
        return pd.DataFrame()
    return turning_prices(_with_rolls(records), terms)


def cut_map(records: Records, terms: CutTerms) -> pd.DataFrame:
    """Return the cheapest cut over sizes and depths, for openings of the firm's usual shape."""
    return break_even_map(terms, usual_shape(records.openings))


def usual_shape(openings: pd.DataFrame) -> float:
    """Return the median width over height of all units."""
    if openings.empty:
        return USUAL_SHAPE
    count = openings["count"].to_numpy(dtype=int)
    return float(np.median(np.repeat(openings["width_mm"] / openings["height_mm"], count)))


def _with_rolls(records: Records) -> pd.DataFrame:
    rolls = records.jobs.set_index("job_id")[["roll_width_m", "lap_mm"]]
    return records.openings.join(rolls, on="job_id")
