"""What would change the conclusion, and the known weaknesses, said before others say it."""

from __future__ import annotations

from typing import Any

import pandas as pd

from airstats.analysis.regressions import plain_regression, regression_frame
from airstats.analysis.sensitivity import counted_to_the_nearest
from airstats.base.number_text import chance, counted, each, listed, number, percent
from airstats.catalog.cut_patterns import reused_cuts
from airstats.reports.desk import Desk
from airstats.reports.display import Words
from airstats.takeoff.sheet_quantities import Takeoff

BENCHMARK = "`python -m tests.benchmark.bars --seeds 200 --first 20000`"
"""On invented firms whose truth is known; the shares below are its columns waste_90 and use_80."""
FAR = "`python -m tests.benchmark.far_reveals`"


def sensitivity_words(table: pd.DataFrame) -> Words:
    """Say how much the starting belief matters after the jobs seen."""
    usual = table["rolls"].iloc[0]
    away = (table["rolls"] - usual).abs().max() / usual
    most = (table.drop(columns=["prior", "rolls"]) - table.iloc[0, 1:-1]).abs().max().astype(float)
    return Words(
        f"Other starting beliefs change the sheet of all jobs by {percent(away, 1)} at most; the"
        f" allowance that moves most is {most.idxmax()}, by"
        f" {most.max():.3f} m² a m². So the jobs settle the sum; how it is shared among the"
        " allowances rests on the starting belief the more, the wider an allowance's interval"
        " still is."
    )


def leave_out_words(influence: pd.DataFrame, checked: pd.DataFrame) -> Words:
    """Say how far a single job can move an allowance, and how good the quick way was."""
    most = influence.iloc[0]
    over = int((influence["move_sd"].abs().round(2) >= 0.5).sum())
    many = f"{over} of {counted(len(influence), 'job')} would" if over else "No job would"
    quick = (checked["move"] - checked["move_refit"]).abs().max()
    check = f" True refits without the first {len(checked)} differ by {number(quick, 3)} at most."
    return Words(
        f"{many} move an allowance by half of its sd or more. The most influential is"
        f" {most['job_id']} ({most['quarter']}): without it {most['moves_most']} moves by"
        f" {most['move']:+.3f} m² a m², {number(abs(most['move_sd']), 2)} of its sd."
        f"{check if len(checked) else ''}".replace("-", "−")
    )


def conclusion_words(table: pd.DataFrame) -> Words:
    """Say which other assumption would change the order or the leading cause."""
    usual, others = table.iloc[0], table.iloc[1:]
    changed = others["orders_changed"].gt(0) | others["cause"].ne(usual["cause"])
    said = [_otherwise(row, usual["cause"]) for row in each(others[changed])]
    held = (
        f"{usual['cause']} lead{'s' if usual['cause'] == 'waste' else ''} the causes"
        f" ({_rolls(usual['cause_rolls'], usual['cause_half'])} rolls; next {usual['next_cause']},"
        f" {_rolls(usual['next_rolls'], usual['next_half'])} rolls"
        f"{': too close to tell apart' if usual['close'] else ''})"
        f" and the order is {usual['order_rolls']} rolls"
    )
    if not said:
        return Words(
            f"**Nothing tried here changes the conclusion**: {held}, under each of"
            f" {len(others)} other assumptions too."
        )
    return Words(f"As documented, {held}. **What would change it:** {'; '.join(said)}.")


def _otherwise(row: Any, cause: str) -> str:
    """What one other assumption changes: orders, the leading cause, or both."""
    parts = []
    if row.orders_changed:
        ordered = counted(row.orders_changed, "job")
        parts.append(f"{ordered} ordered otherwise, {row.order_rolls} rolls in all")
    if row.cause != cause:
        parts.append(
            f"{row.cause} would lead, with {_rolls(row.cause_rolls, row.cause_half)} rolls"
        )
    return f"{row.assumption}: {', and '.join(parts)}"


def _rolls(mean: float, half: float) -> str:
    """Return 42 ± 13, or 36 alone where it is known exactly."""
    return number(mean) + (f" ± {number(half)}" if half >= 0.05 else "")


def weakness_words(desk: Desk, tried: pd.DataFrame) -> Words:
    """List what is weak in the method and in these data, with figures where there are any."""
    points = (
        _counting(desk, tried),
        _reveals(desk),
        "The 90 % intervals of waste are too wide where nothing drifts and a little too narrow"
        " under strong drift: on invented firms with 48 jobs they held the truth in 98 of 100"
        " without drift, in 88 where waste rose by 1.5 points a quarter, and in 85 where crews"
        " differ by 5 points (sd). The 80 % intervals of a job's use held 81 % without drift and"
        f" 75 % with it. 200 firms each: {BENCHMARK}.",
        "An allowance's interval is narrower than all doubt: that of a reveal factor takes a flat"
        f" factor for granted (weight {percent(desk.now.form_weights()['factor'])}), the share of"
        " wrong records is put in as one number, and the normal curve at the top of the posterior"
        " stands for the whole of it (Laplace).",
        "Assumed and not tested: independent jobs given the allowances; crews that do not drift; a"
        " spread that grows with laid sheet alone; openings measured without error"
        f"{_depths(desk)}; records set apart that are like the others.",
        "These are records, not an experiment: which crew and which cut a job got was not drawn by"
        " lot, so a cut's factor says what was used with it, not what another cut would have used.",
    )
    return Words("\n".join(f"- {point}" for point in points))


def _counting(desk: Desk, tried: pd.DataFrame) -> str:
    whole = int(desk.jobs.table["counted"].eq("opened").sum())
    if not whole:
        return "No job counts opened rolls whole, so the rounding of counts decides nothing here."
    start = (
        f"**How rolls were counted.** {whole} of {counted(len(desk.jobs), 'job')} stand as opened"
        " rolls (also the default where nothing is said), so the use lay up to a roll below the"
        " count."
    )
    nearest = tried[tried["assumption"].str.startswith("rolls counted to the nearest")]
    if nearest.empty:
        return start
    row, usual = nearest.iloc[0], tried.iloc[0]
    return (
        f"{start} Had they been rounded to the nearest roll, waste would be {_waste(row)} and not"
        f" {_waste(usual)} (90 %); the table above shows what else.{_constant(desk)} Ask those who"
        " counted."
    )


def _waste(row: pd.Series) -> str:
    return f"{number(row['waste'] * 100, 1)} ± {number(row['waste_half'] * 100, 1)} %"


def _constant(desk: Desk) -> str:
    """What a regression sees that goes with no area: half a roll a job if the reading is wrong."""
    ends = [_intercept(jobs) for jobs in (desk.jobs, counted_to_the_nearest(desk.jobs))]
    if not all(ends):
        return ""
    return (
        " The regression of the sheet beyond the laid area, below, gives a hint, no proof: what"
        f" goes with no area should be near nothing, and is {ends[0]} as recorded and"
        f" {ends[1]} if rounded."
    )


def _intercept(jobs: Takeoff) -> str:
    table = plain_regression(regression_frame(jobs), "beyond_m2").table
    if table.empty:
        return ""
    row = next(each(table[table["term"].eq("intercept")]))
    ends = f"{number(row.low95, 0)} to {number(row.high95, 0)}"
    return f"{number(row.coefficient, 0)} m² a job (95 %: {ends})"


def _reveals(desk: Desk) -> str:
    weight = desk.now.form_weights()["reuse"]
    if not desk.jobs.columns([f"reveal_{cut}_m2" for cut in reused_cuts()]).any():
        return "No reveal was cut across the opening, so how off-cuts are used plays no part."
    return (
        "**Reveals that take more than was believed.** One form of the model says that reveals take"
        " the sheet that the geometry leaves bare, less a share of the off-cuts (weight here"
        f" {percent(weight)}). If crews use more than the geometry allows it holds the reveals too"
        " low, the more so with few jobs; waste then takes up the difference. Nor does the flat"
        " factor get there fast: at a true 0.80 m² a m² of reveal, two sd above the starting"
        " belief, invented firms with 12, 48 and 96 jobs of whole rolls came to 0.34, 0.42 and"
        " 0.46, and to 0.34 to 0.35 with the re-use form; the 90 % interval held the truth in 8, 32"
        f" and 36 of 100 (25 firms each: {FAR})."
    )


def _depths(desk: Desk) -> str:
    error = desk.depth_error_mm
    return f" but for depths (± {error:g} mm, sd)" if error else ""


def doubtful_words(desk: Desk) -> Words:
    """Name the records of the whole chain that are likely wrong, and what is done with them."""
    named = [
        f"{row.job_id} ({row.quarter}, {chance(row.probability)})" for row in each(desk.suspects())
    ]
    share = desk.now.spread()["gross_share"]
    start = (
        f"Likely wrong: {listed(named)}. None is taken out: such a record counts little, by itself,"
        " in the likelihood."
        if named
        else "No record is likely wrong."
    )
    return Words(f"{start} The share of grossly wrong records is put at {percent(share, 1)} now.")
