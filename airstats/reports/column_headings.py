"""What heads each column of a table on a reader's screen."""

from __future__ import annotations

from typing import Any

import numpy as np

from airstats.catalog.reader_names import reader_name

OWN_NAMES = (
    "quarter crew cause unit material driver reason allowance verdict line mark term "
    "candidate value quantity cut assumption firm"
)
"""Columns of words that are headed by their own names."""
ENDS = {"low": "low (90 %)", "high": "high (90 %)", "sd": "sd", "half": "± (90 %)"}
"""Heads COLUMN_low, COLUMN_high, COLUMN_sd and COLUMN_half (half of the 90 % interval), with the
number format of COLUMN."""
CODES = (
    "allowance moves_most cut other_cut cut_pattern recommended_cut cheapest_cut term driver cause"
    " way rule bar"
)
"""Columns whose words are codes: readers see `reader_name` of them."""
PACKS = "packs: "
"""Begins the names of columns that hold packs of a material, which the rest of the name says."""
HEADINGS: dict[str, tuple[str, str]] = {
    **{name: (name, "{}") for name in OWN_NAMES.split()},
    "job_id": ("job", "{}"),
    "jobs": ("jobs", "{:.0f}"),
    "estimated_rolls": ("priced, rolls", "{:g}"),
    "used_rolls": ("used, rolls", "{:g}"),
    "overrun_rolls": ("over, rolls", "{:+g}"),
    "overrun_m2": ("over, m²", "{:+.0f}"),
    "overrun_money": ("over, money", "{:+,.0f}"),
    "mean": ("mean", "{:.3f}"),
    "sd": ("sd", "{:.3f}"),
    "low": ("low (90 %)", "{:.3f}"),
    "high": ("high (90 %)", "{:.3f}"),
    "mean_rolls": ("rolls", "{:+.1f}"),
    "low_rolls": ("low, rolls (90 %)", "{:+.1f}"),
    "high_rolls": ("high, rolls (90 %)", "{:+.1f}"),
    "pooled": ("departure, % of laid sheet", "{:+.1%}"),
    "raw": ("its own jobs alone", "{:+.1%}"),
    "pack": ("each holds", "{:g}"),
    "expected": ("used on average", "{:,.0f}"),
    "low_amount": ("low (80 %)", "{:,.0f}"),
    "high_amount": ("high (80 %)", "{:,.0f}"),
    "low_packs": ("low, packs", "{:+.1f}"),
    "high_packs": ("high, packs", "{:+.1f}"),
    "mean_packs": ("over, packs", "{:+.1f}"),
    "mean_money": ("money", "{:+,.0f}"),
    "low_money": ("low, money", "{:+,.0f}"),
    "high_money": ("high, money", "{:+,.0f}"),
    "estimated_packs": ("priced, packs", "{:,g}"),
    "used_packs": ("used, packs", "{:,g}"),
    "total_money": ("cost, money", "{:,.0f}"),
    "priced": ("priced", "{:g}"),
    "used": ("used", "{:g}"),
    "over": ("over, packs", "{}"),
    "reveal_took": ("sheet a m² of reveal, m²", "{}"),
    "cost": ("rolls short and left over cost, money", "{:,.0f}"),
    "not_known": ("of it for not knowing, money", "{:,.0f}"),
    "worst": ("at worst, money (one truth in 20)", "{:+,.0f}"),
    "best": ("at best, money (one in 20)", "{:+,.0f}"),
    "minutes": ("minutes of work a year", "{:.0f}"),
    "saves": ("saving, money (90 %)", "{}"),
    "truths": ("nine truths in ten, money", "{}"),
    "departed": ("beyond what was foretold, m² a job (90 %)", "{}"),
    "of_counts": ("allowance (90 %)", "{}"),
    "of_plain": ("plain regression (90 %)", "{}"),
    "plain": ("plain regression", "{:.3f}"),
    "packs_short": ("packs short", "{:.0f}"),
    "packs_left_over": ("packs left over", "{:.0f}"),
    "old": ("last value", "{:.3f}"),
    "alone": ("this quarter alone", "{:.3f}"),
    "new": ("new value", "{:.3f}"),
    "last_value": ("last value", "{}"),
    "common_practice": ("common practice", "{}"),
    "this_quarter": ("this quarter alone", "{}"),
    "new_value": ("new value", "{}"),
    "moved_by": ("moved by", "{}"),
    "chance_moves": ("by chance, up to", "{}"),
    "waste_points": ("waste, points", "{:+.1f}"),
    "most_share": ("largest, of its ±", "{:.0%}"),
    "probability": ("record is wrong with", "{:.0%}"),
    "pull": ("pulls the new value by", "{:+.3f}"),
    "pull_sds": ("in its sd", "{:+.2f}"),
    "beyond_m2": ("beyond what was foretold, m² a job", "{:+.0f}"),
    "laid_m2": ("laid, m²", "{:.0f}"),
    "expected_m2": ("sheet, m²", "{:,.0f}"),
    "low_m2": ("low, m² (80 %)", "{:,.0f}"),
    "high_m2": ("high, m² (80 %)", "{:,.0f}"),
    "rolls_p50": ("rolls enough in 50 %", "{:.0f}"),
    "rolls_p80": ("in 80 %", "{:.0f}"),
    "rolls_p95": ("in 95 %", "{:.0f}"),
    "order_rolls": ("order, rolls", "{:.0f}"),
    "chance_short": ("chance short", "{:.1%}"),
    "expected_left_over_rolls": ("unopened on average, rolls", "{:.1f}"),
    "expected_left_on_last_m": ("left on the last one, m", "{:.0f}"),
    "from_stock_packs": ("besides from the shelf", "{:.0f}"),
    "from_stock_rolls": ("from the shelf, rolls", "{:.0f}"),
    "from_stock_m": ("on begun rolls, m", "{:.0f}"),
    "buy_rolls": ("to buy, rolls", "{:.0f}"),
    "sheet_cost": ("sheet, money", "{:,.0f}"),
    "cost_a_m2": ("money a m² of surface", "{:.2f}"),
    "all_in_percent": ("above the bare surface, %", "{:.0f}"),
    "short_to": ("to, money", "{:,.0f}"),
    "left_from": ("or a roll left over from, money", "{:,.0f}"),
    "left_to": ("to, money", "{:,.0f}"),
    "unmeasured": ("unknown", "{}"),
    "width_if_measured_m2": ("80 % interval if measured, m² wide", "{:.0f}"),
    "cost_order": ("left over or short, money", "{:,.0f}"),
    "roll_size": ("roll", "{}"),
    "single_rolls": ("ordered job by job, rolls", "{:.0f}"),
    "pooled_rolls": ("ordered together, rolls", "{:.0f}"),
    "single_cost": ("cost job by job, money", "{:.0f}"),
    "pooled_cost": ("cost together, money", "{:.0f}"),
    "saved_cost": ("saved, money", "{:.0f}"),
    "from_rolls": ("rolls opened, low (80 %)", "{:.0f}"),
    "to_rolls": ("rolls opened, high", "{:.0f}"),
    "count": ("count", "{:.0f}"),
    "width_mm": ("width, mm", "{:.0f}"),
    "height_mm": ("height, mm", "{:.0f}"),
    "reveal_mm": ("reveal, mm", "{:.0f}"),
    "sides": ("sides", "{:.0f}"),
    "cut_pattern": ("cut as noted", "{}"),
    "recommended_cut": ("cut to choose", "{}"),
    "cut_way": ("how to cut it", "{}"),
    "condition": ("would do as well if", "{}"),
    "present": ("now", "{}"),
    "extra_cost": ("dearer by, money", "{:,.0f}"),
    "saving_all": ("saving, money", "{:.0f}"),
    "saving": ("saving, money", "{:.0f}"),
    "openings": ("openings", "{:.0f}"),
    "cut_otherwise": ("to be cut otherwise", "{:.0f}"),
    "rule": ("priced by", "{}"),
    "mean_cost": ("cost a job, money", "{:.0f}"),
    "jobs_short": ("jobs short", "{:.0f}"),
    "rolls_short": ("rolls short", "{:.0f}"),
    "rolls_left_over": ("left over", "{:.0f}"),
    "dearer": ("dearer by, money a job", "{:+.0f}"),
    "jobs_of": ("group", "{}"),
    "departure_m2": ("beyond what was foretold, m² a job", "{:+.1f}"),
    "beyond_low": ("low (90 %)", "{:+.1f}"),
    "beyond_high": ("high (90 %)", "{:+.1f}"),
    "took": ("rolls (90 %)", "{}"),
    "waste_percent": ("waste, % (90 %)", "{}"),
    "pull_rolls": ("pull on the order, rolls", "{:+.2f}"),
    "departure_sd": ("departure, sd", "{:+.1f}"),
    "used_low_m2": ("the count can stand for, from m²", "{:.0f}"),
    "used_high_m2": ("to m²", "{:.0f}"),
    "where": ("the count lies", "{}"),
    "way": ("recorded for a year", "{}"),
    "conclusion": ("what changes", "{}"),
    "of_overrun": ("slope of the overrun", "{}"),
    "of_beyond": ("slope beyond the laid area", "{}"),
    "of_allowance": ("allowance", "{}"),
    "cause_half": ("± (90 %)", "{:.1f}"),
    "next_half": ("± (90 %)", "{:.1f}"),
    "waste_half": ("± (90 %)", "{:.3f}"),
    "coefficient": ("coefficient", "{:.3f}"),
    "se": ("standard error", "{:.3f}"),
    "t": ("t", "{:.2f}"),
    "p": ("p", "{:.3f}"),
    "fitted_m2": ("fitted, m²", "{:.1f}"),
    "residual_m2": ("residual, m²", "{:+.1f}"),
    "studentised": ("studentised residual", "{:+.2f}"),
    "leverage": ("leverage", "{:.3f}"),
    "cooks": ("Cook's distance", "{:.3f}"),
    "weight": ("weight", "{:.3f}"),
    "prior": ("starting belief", "{}"),
    "waste": ("waste", "{:.3f}"),
    "rolls": ("rolls for all jobs", "{:.1f}"),
    "surface_m2": ("surface, m²", "{:.0f}"),
    "exclude": ("why it is left out", "{}"),
    "reveal_m2": ("reveals, m²", "{:,.0f}"),
    "factor": ("sheet a m² of reveal", "{:.2f}"),
    "start": ("before any job", "{:.2f}"),
    "learnt": ("learnt from your jobs", "{:.0%}"),
    "measure": ("what came of it", "{}"),
    "really": ("as really priced", "{:,.0f}"),
    "foretold": ("with the allowances known then", "{:,.0f}"),
    "difference": ("difference", "{:+,.0f}"),
    "why": ("why it stands out", "{}"),
    "without": ("without the three", "{:.3f}"),
    "change": ("change, standard errors", "{:+.2f}"),
    "moves_most": ("moves most", "{}"),
    "move": ("move without the job", "{:+.3f}"),
    "move_sd": ("move, in its sd", "{:+.2f}"),
    "move_refit": ("move by a true refit", "{:+.3f}"),
    "percent": ("quantile, %", "{:.0f}"),
    "below": ("uses below it", "{:.0%}"),
    "surely": ("surely below", "{:.0%}"),
    "possibly": ("possibly below", "{:.0%}"),
    "chance_low": ("chance allows from", "{:.0%}"),
    "chance_high": ("to", "{:.0%}"),
    "pinball": ("pinball loss, rolls", "{:.3f}"),
    "pinball_simple": ("pinball loss of least squares, rolls", "{:.3f}"),
    "orders_changed": ("jobs ordered otherwise", "{:.0f}"),
    "cause_rolls": ("it took, rolls", "{:.1f}"),
    "next_cause": ("next cause", "{}"),
    "next_rolls": ("it took, rolls", "{:.1f}"),
    "firms": ("firms that tell", "{:.0f}"),
    "own": ("its own jobs alone", "{:.3f}"),
    "between_sd": ("between firms, sd", "{:.3f}"),
    "chance": ("chance of such a spread if alike", "{:.3f}"),
}
"""Heading with unit and number format of each column that a table may show."""


def heading(column: str) -> tuple[str, str]:
    """Return heading and number format of a column; one of reveals is headed by its cut.

    Raises
    ------
    KeyError
        If a column has none.
    """
    if column in HEADINGS:
        return HEADINGS[column]
    if column.startswith(PACKS):
        return column.removeprefix(PACKS), "{:.0f}"
    if column.startswith("pull."):
        return reader_name(column), "{:+.3f}"
    if " : " in column:  # a ratio, which heads what it gives
        return column, "{}"
    if column.startswith("reveal."):
        return reader_name(column), "{:.3f}"
    base, _, end = column.rpartition("_")
    return ENDS[end], HEADINGS[base][1]


def full_heading(column: str) -> str:
    """Return the heading of a column that stands by itself in a file: "new value, low (90 %)"."""
    base, _, end = column.rpartition("_")
    if column in HEADINGS or column.startswith(("reveal.", PACKS)):
        return heading(column)[0]
    whose = HEADINGS[base][0] if base in HEADINGS else reader_name(base)
    return f"{whose}, {ENDS[end]}" if base and end in ENDS else reader_name(column)


def in_words(column: str, value: Any) -> Any:
    """Return a cell as readers know it: a code by its name, yes or no for true and false."""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return reader_name(value) if column in CODES.split() and isinstance(value, str) else value
