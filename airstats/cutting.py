"""Which cut pays at the openings of a firm's jobs, at the firm's own price and re-use."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from airstats.allowances import Allowances
from airstats.cut_choice import STANDARD_COSTS, CutCosts, break_even_map, cheapest_cut, job_savings
from airstats.records import Records


@dataclass(frozen=True)
class CutTerms:
    """Prices and times, and the share of usable off-cuts that is used (0 to 1)."""

    costs: CutCosts
    reuse_share: float
    priced: bool


def cut_terms(records: Records, allowances: Allowances) -> CutTerms:
    """Return the sheet's price from the records, if they hold one, and the learnt re-use."""
    share = float(np.clip(allowances.reuse_table()["mean"].mean(), 0, 1))
    jobs = records.jobs
    price = jobs["roll_price"] if "roll_price" in jobs else pd.Series(dtype=float)
    each = (price / (jobs["roll_width_m"] * jobs["roll_length_m"])).dropna()
    if each.empty:
        return CutTerms(STANDARD_COSTS, share, False)
    costs = replace(STANDARD_COSTS, sheet_price_m2=float(each.iloc[-1]))
    return CutTerms(costs, share, True)


def opening_plan(records: Records, terms: CutTerms) -> pd.DataFrame:
    """Return one row a kind of opening with the cut to choose and what it saves."""
    openings = records.openings
    if openings.empty:
        return openings.assign(recommended_cut="", saving_all=0.0)
    roll = _roll_widths(records)
    plan = cheapest_cut(openings, terms.costs, reuse_share=terms.reuse_share, roll_width_m=roll)
    extra = ["recommended_cut", "cost_as_cut", "cost_recommended", "saving", "saving_all"]
    mark = openings.get("mark", "")
    return openings.assign(mark=mark).join(plan[extra])


def past_savings(records: Records, terms: CutTerms) -> pd.DataFrame:
    """Return one row a job with what the recommended cuts would have saved, most first."""
    if records.openings.empty:
        return pd.DataFrame(columns=["job_id", "openings", "cut_otherwise", "saving"])
    roll = _roll_widths(records)
    table = job_savings(
        records.openings, terms.costs, reuse_share=terms.reuse_share, roll_width_m=roll
    )
    return table.sort_values("saving", ascending=False, ignore_index=True)


def cut_map(terms: CutTerms) -> pd.DataFrame:
    """Return the break-even of the two cuts across the opening, over shapes and depths."""
    shapes, depths = np.geomspace(0.4, 2.5, 81), np.arange(50.0, 601.0, 10.0)
    return break_even_map(
        "diagonal",
        "centre",
        aspects=shapes,
        reveals_mm=depths,
        costs=terms.costs,
        reuse_share=terms.reuse_share,
    )


def _roll_widths(records: Records) -> np.ndarray:
    widths = records.jobs.set_index("job_id")["roll_width_m"]
    return records.openings["job_id"].map(widths).to_numpy(dtype=float)
