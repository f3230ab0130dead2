"""The evidence: what the consultant's notebook shows, section by section, with its sentences."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import binom

from airstats.analysis import allowance_changes, sensitivity
from airstats.analysis import between_firms as others
from airstats.analysis.regressions import (
    Influence,
    Regression,
    find_influence,
    plain_regression,
    regression_frame,
    slopes_without,
    terms,
)
from airstats.analysis.sensitivity import counted_to_the_nearest
from airstats.backtests import forecast_checks
from airstats.backtests.forecast_checks import (
    CHANCE,
    cost_differences,
    group_departures,
    own_cost,
    pinball_difference,
    shortages,
)
from airstats.backtests.rolling import WORDS_OF_RULES, Backtest, backtest
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.number_text import counted, each, listed, number, percent
from airstats.catalog.cut_patterns import reused_cuts
from airstats.model.posterior import allowance_names
from airstats.reports import evidence_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Table, Words, show_table
from airstats.reports.invented_firms import found
from airstats.reports.shared_text import excluded_table, named_suspects, with_notes
from airstats.reports.update_text import watched
from airstats.takeoff.sheet_quantities import Takeoff

NO_BACKTEST = Words("No back-test: it needs finished jobs in two quarters or more.")
HELD = 0.8
"""Share of the uses that the stated intervals should hold."""
BENCHMARK = "`python -m tests.benchmark.hidden_firms`"
"""On invented firms whose truth is known: what it found is quoted from the file that it writes."""
SHORTAGES = {
    "as foretold": "as chance allows",
    "more": "more than chance allows: the orders are too small",
    "fewer": "fewer than chance allows: the orders are larger than they need be",
}
SIMULATED = "`python -m tests.benchmark.simulation_based`"
NAMED = 5
"""So many jobs are named in a sentence; the others stand in the table."""
HEADING = "## Several firms\n\n"


@lru_cache(maxsize=1)
def _back_tested(desk: Desk, leftover_cost: float, short_cost: float) -> Backtest | None:
    """The back-test, None where there is one quarter only."""
    several = len(set(desk.jobs.table["quarter"])) > 1
    return backtest(desk.records, leftover_cost, short_cost) if several else None


@lru_cache(maxsize=1)
def _left_out(desk: Desk) -> pd.DataFrame:
    return sensitivity.leave_each_out(desk.jobs)


@lru_cache(maxsize=1)
def _tried(desk: Desk, leftover_cost: float, short_cost: float) -> pd.DataFrame:
    costs, with_excluded = (leftover_cost, short_cost), sensitivity.put_back(desk.records)
    return sensitivity.try_conclusion(
        desk.jobs, desk.own, _left_out(desk), *costs, desk.now, with_excluded
    )


@lru_cache(maxsize=1)
def _plain(desk: Desk) -> Regression:
    return plain_regression(regression_frame(desk.jobs))


def headline(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Say how well jobs were priced that the method had not seen.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    leftover_cost, short_cost : float
        As for `price`.
    """
    costs = leftover_cost, short_cost
    yield evidence_headline(desk, _back_tested(desk, *costs), *costs)


def evidence_headline(
    desk: Desk,
    result: Backtest | None,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
) -> Words:
    """Say how well the method priced jobs that it had not seen, and what that cannot tell.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `headline`.
    result : Backtest or None
        None where there is one quarter only.
    """
    if result is None:
        return Words(
            f"**One quarter only ({desk.quarter}, {counted(len(desk.jobs), 'job')}): a back-test"
            " needs two.**"
        )
    jobs = len(result.jobs)
    cost = own_cost(result)
    low, high = binom.interval(CHANCE, jobs, HELD)
    return Words(
        f"**Priced from earlier quarters only, {counted(jobs, 'job')} cost"
        f" {number(cost['mean'], 0)} {desk.firm.currency or 'money'} a job ({_ends(cost)}; every"
        " interval here: 90 %) at"
        f" {short_cost:g} a roll short and {leftover_cost:g} a roll left over."
        f" {_compared(cost_differences(result), desk.firm.currency)}** The 80 % intervals held"
        f" {percent(result.held_80)} of the uses, what counts leave open spread as foretold (chance"
        f" alone: {percent(low / jobs)} to {percent(high / jobs)}). {_short(result)}"
    )


def _compared(more: pd.DataFrame, currency: str) -> str:
    """What the other ways cost more or less, those not told apart by themselves."""
    sure = more[(more["low"] > 0) | (more["high"] < 0)]
    same = more[~more.index.isin(sure.index)]
    said = [
        f"{WORDS_OF_RULES[row.rule]} cost {number(abs(row.mean), 0)}"
        f" {'more' if row.mean > 0 else 'less'} ({_ends(row)})"
        for row in each(sure)
    ]
    alike = [
        f"{WORDS_OF_RULES[row.rule]}"
        f" ({'the same on every job' if row.low == row.high == 0 else f'{_ends(row)} more'})"
        for row in each(same)
    ]
    first = f"On the same jobs, {currency or 'money'} a job: {listed(said)}." if said else ""
    rest = f" These jobs do not tell our cost apart from {listed(alike)}." if alike else ""
    return (first + rest).strip()


def _ends(row: Any) -> str:
    known = np.isfinite([row.low, row.high]).all()
    return _interval(row.low, row.high) if known else "one job gives no interval"


def _interval(low: float, high: float, digits: int = 0) -> str:
    return f"{number(low, digits)} to {number(high, digits)}"


def _short(result: Backtest) -> str:
    told = shortages(result)
    return (
        f"Foretold to run short: {number(told['foretold'], 1)} of {told['jobs']} orders (chance:"
        f" {told['low']} to {told['high']}); {told['came']} did, {SHORTAGES[told['verdict']]}."
    )


def conclusion(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what would change the conclusion.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `headline`.
    """
    tried = _tried(desk, leftover_cost, short_cost)
    yield conclusion_words(tried)
    yield show_table(
        tried,
        "Order of the quarter's jobs and leading cause under other assumptions; waste in m² a m²"
        " laid",
        "assumption order_rolls orders_changed cause cause_rolls cause_half next_cause next_rolls"
        " next_half waste waste_half",
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
        took = _rolls(row.cause_rolls, row.cause_half)
        parts.append(f"{row.cause} would lead, with {took} rolls")
    return f"{row.assumption}: {', and '.join(parts)}"


def _rolls(mean: float, half: float) -> str:
    """Return 42 ± 13, or 36 alone where it is known exactly."""
    return number(mean) + (f" ± {number(half)}" if half >= 0.05 else "")


def weaknesses(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """List what is weak in the method and in these data.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `headline`.
    """
    yield weakness_words(desk, _tried(desk, leftover_cost, short_cost))


def weakness_words(desk: Desk, tried: pd.DataFrame) -> Words:
    """List what is weak in the method and in these data, with figures where there are any."""
    error = desk.depth_error_mm
    depths = f" but for depths (± {error:g} mm, sd)" if error else ""
    points = (
        _counting(desk, tried),
        _reveals(desk),
        _intervals_of_waste(),
        "An allowance's interval is narrower than all doubt: that of a reveal factor takes a flat"
        f" factor for granted (weight {percent(desk.now.form_weights()['factor'])}), the share of"
        " wrong records is put in as one number, and the normal curve at the top of the posterior"
        " stands for the whole of it (Laplace).",
        "Assumed and not tested: independent jobs given the allowances; crews that do not drift; a"
        " spread that grows with laid sheet alone; openings measured without error"
        f"{depths}; records set apart that are like the others.",
        "These are records, not an experiment: which crew and which cut a job got was not drawn by"
        " lot, so a cut's factor says what was used with it, not what another cut would have used.",
    )
    return Words("\n".join(f"- {point}" for point in points))


def _intervals_of_waste() -> str:
    kinds = {
        "": "as others",
        " where waste rose by 1.5 points a quarter": "waste rises",
        " where crews differ by 5 points (sd)": "crews differ",
    }
    told = {words: found("hidden_firms", f"{row}, 48 jobs") for words, row in kinds.items()}
    waste, uses = (
        listed([f"{percent(row[f'now: {name}'])}{words}" for words, row in told.items()])
        for name in ("waste_90", "use_80")
    )
    return (
        f"On invented firms with 48 jobs the 90 % intervals of waste held the truth in {waste}; the"
        f" 80 % intervals of a job's use held {uses}. {told['']['firms']} firms each: {BENCHMARK}."
    )


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
    rounded, usual = (
        f"{number(row['waste'] * 100, 1)} ± {number(row['waste_half'] * 100, 1)} %"
        for row in (nearest.iloc[0], tried.iloc[0])
    )
    return (
        f"{start} Had they been rounded to the nearest roll, waste would be {rounded} and not"
        f" {usual} (90 %); the table above shows what else.{_constant(desk)} Ask those who"
        " counted."
    )


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
    return f"{number(row.coefficient, 0)} m² a job (95 %: {_interval(row.low95, row.high95)})"


def _reveals(desk: Desk) -> str:
    weight = desk.now.form_weights()["reuse"]
    if not desk.jobs.columns([f"reveal_{cut}_m2" for cut in reused_cuts()]).any():
        return "No reveal was cut across the opening, so how off-cuts are used plays no part."
    return (
        "**Reveals that take more than was believed.** One form of the model says that reveals take"
        " the sheet that the geometry leaves bare, less a share of the off-cuts (weight here"
        f" {percent(weight)}). If crews use more than the geometry allows it holds the reveals too"
        f" low, the more so with few jobs; waste then takes up the difference. {_far_reveals()}"
    )


def _far_reveals() -> str:
    few, many = (found("hidden_firms", f"reveals 0.8, {jobs} jobs") for jobs in (24, 96))
    means, shares = (
        " and ".join(said(row[f"now: reveal.diagonal{end}"]) for row in (few, many))
        for end, said in (("", lambda value: number(value, 2)), ("_90", percent))
    )
    return (
        "The flat factor gets there by and by: at a true 0.80 m² a m² of reveal, two sd above what"
        f" is commonly believed, invented firms with 24 and 96 jobs of whole rolls came to {means};"
        f" the 90 % interval held the truth in {shares} ({few['firms']} firms each: {BENCHMARK})."
    )


def back_test(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Set what every way of pricing would have cost side by side.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `headline`.
    """
    result = _back_tested(desk, leftover_cost, short_cost)
    yield evidence_charts.backtest_costs(result, desk.firm.currency) if result else None
    yield backtest_table(result, desk.firm.currency)


def backtest_table(result: Backtest | None, currency: str = "") -> Table | Words:
    """Return the back-test's table, the rules in words."""
    if result is None:
        return NO_BACKTEST
    names = {"mean": "dearer", "low": "dearer_low", "high": "dearer_high"}
    more = cost_differences(result).rename(columns=names)
    table = result.summary.merge(more, on="rule", how="left")
    table = table.assign(rule=table["rule"].map(WORDS_OF_RULES))
    return show_table(
        table,
        "Every way of pricing on the same jobs; dearer than the allowances known then (90 %, jobs"
        " of a quarter counted as related)",
        "rule jobs mean_cost dearer dearer_low dearer_high jobs_short rolls_short rolls_left_over",
        currency=currency,
    )


def chances(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show whether the foretold chances came true.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `headline`.
    """
    result = _back_tested(desk, leftover_cost, short_cost)
    checked = forecast_checks.quantile_calibration(result) if result else forecast_checks.NONE
    yield calibration_words(checked, result)
    yield evidence_charts.calibration(checked) if len(checked) else None
    yield show_table(checked, "Uses below each foretold quantile")


def calibration_words(table: pd.DataFrame, result: Backtest | None = None) -> Words:
    """Say whether as many uses lay below each quantile as should, and how near the rolls came."""
    if table.empty:
        return Words("Not to be told from one quarter: nothing was foretold from earlier jobs.")
    said = [f"{percent(row.below)} below the {row.percent} % point" for row in each(table)]
    off = each(table[table["verdict"].ne("as foretold")])
    which = listed([f"{row.verdict} below {row.percent} %" for row in off])
    judged = f"{which}, further off than chance allows"
    judged = judged if which else "none further off than chance allows"
    return Words(
        f"Of {counted(int(table['jobs'].iloc[0]), 'job')} {listed(said)}: {judged}."
        f"{_blunt(table)}{_pinball_said(table, result)}"
    )


def _blunt(table: pd.DataFrame) -> str:
    """How much the counts leave open: a test on them can find only gross faults."""
    middle = table.iloc[(table["percent"] - 50).abs().argmin()]
    if middle["possibly"] - middle["surely"] < 0.1:
        return ""
    return (
        f" The counts blunt this test: anything from {percent(middle['surely'])} to"
        f" {percent(middle['possibly'])} may lie below the {middle['percent']:.0f} % point, and"
        " what is open is spread as foretold, which favours the forecast. The number of orders"
        " that ran short, above, leaves nothing open."
    )


def _pinball_said(table: pd.DataFrame, result: Backtest | None) -> str:
    ours, simple = table["pinball"].mean(), table["pinball_simple"].mean()
    way = "less" if ours < simple else "more"
    share = f"{percent(abs(1 - ours / simple))} {way}" if simple else ""
    said = (
        f" Pinball loss: {number(ours, 3)} rolls a job, {share} than with least squares"
        f" ({number(simple, 3)})"
    )
    if result is None:
        return f"{said}."
    less = pinball_difference(result)
    ends = _interval(less["low"], less["high"], 3)
    apart = "" if less["low"] > 0 or less["high"] < 0 else ": not told apart"
    return f"{said}; the difference is {number(less['mean'], 3)} rolls (90 %: {ends}){apart}."


def groups(desk: Desk) -> Section:
    """Show whether groups of jobs depart from what was foretold."""
    departures = group_departures(watched(desk), desk.jobs)
    yield group_words(departures)
    caption = "Use beyond what was foretold before the quarter, by group of jobs"
    yield show_table(departures, caption)


def group_words(table: pd.DataFrame) -> Words:
    """Say which groups of jobs used more or less than was foretold before their quarter."""
    if table.empty:
        return Words("Too few jobs to look at groups of them.")
    off = table[table["verdict"].ne("as foretold")]
    said = [
        f"{row.jobs_of} {row.verdict} ({number(row.departure_m2, 1)} m² a job,"
        f" {_interval(row.beyond_low, row.beyond_high, 1)})"
        for row in each(off)
    ]
    found = f"Departing (90 %): {listed(said)}" if said else "No group departs (90 %)"
    return Words(
        f"{found}; of {counted(len(table), 'group')} chance alone would make about"
        f" {number(0.1 * len(table), 1)} depart."
    )


def set_apart(desk: Desk) -> Section:
    """List the jobs that are never fitted."""
    yield excluded_table(desk, "Jobs shown but never fitted")


def doubtful_words(desk: Desk) -> Words:
    """Name the records of the whole chain that are likely wrong, and what is done with them."""
    named, share = named_suspects(desk), desk.now.spread()["gross_share"]
    start = "No record is likely wrong."
    if named:
        start = (
            f"Likely wrong: {named}. None is taken out: such a record counts little, by itself, in"
            " the likelihood."
        )
    return Words(f"{start} The share of grossly wrong records is put at {percent(share, 1)} now.")


def belief(desk: Desk) -> Section:
    """Show the starting belief, and how the candidates are weighed now."""
    start = allowance_changes.prior_table(desk.now.belief.prior)
    yield show_table(start, "The starting belief, number by number")
    weights = allowance_changes.candidate_table(desk.now)
    yield show_table(weights, "How the candidates are weighed now")
    ranks = found("simulation_based", "ranks")
    yield simulated_words(ranks, found("simulation_based", "importance sampling"))
    yield evidence_charts.ranks(rank_table(ranks))


def rank_table(ranks: dict[str, Any]) -> pd.DataFrame:
    """Return one row a bar: `quantity, bar, firms, low, high` (what chance allows, 99 %)."""
    bars = {name: values for name, values in ranks.items() if isinstance(values, list)}
    table = pd.DataFrame(bars).rename_axis("bar").reset_index()
    table = table.melt("bar", var_name="quantity", value_name="firms")
    return table.assign(low=ranks["low"], high=ranks["high"])


def simulated_words(ranks: dict[str, Any], apart: dict[str, Any]) -> Words:
    """Say whether the calculation finds what its own model holds, as far as simulation shows."""
    table = rank_table(ranks)
    within = int(table["firms"].between(table["low"], table["high"]).sum())
    return Words(
        f"Does the calculation find what its own model holds? {ranks['firms']} truths were drawn"
        " from the starting belief, 24 jobs of whole rolls from each, and the truth put in rank"
        f" among draws of what was then believed. The ranks should be even: {within} of"
        f" {len(table)} bars lie within what chance allows (99 % each; Talts and others 2018)."
        f" Beside importance sampling from the model itself, on {apart['firms']} firms, the mean of"
        f" waste lay {number(apart['shift of waste, sds'], 2)} of its sd away, its sd was"
        f" {number(apart['sd of waste, times'], 2)} times the exact one (medians), and"
        f" {number(apart['orders changed'], 0)} of {number(apart['orders'], 0)} orders changed."
        f" {SIMULATED}."
    )


def single_jobs(desk: Desk) -> Section:
    """Show how far single jobs move the allowances."""
    refitted = sensitivity.refit_without(desk.jobs, _left_out(desk))
    yield leave_out_words(_left_out(desk), refitted)
    yield evidence_charts.left_out(_left_out(desk))
    yield show_table(
        refitted,
        "The most influential jobs left out, in a step and in truth",
        "job_id quarter used_rolls moves_most move move_sd move_refit",
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


def other_beliefs(desk: Desk) -> Section:
    """Show how much the starting belief matters."""
    priors = allowance_changes.prior_sensitivity(desk.jobs, desk.quarter)
    yield sensitivity_words(priors)
    caption = "Allowances under other starting beliefs, all jobs fitted at once, m² a m²"
    yield show_table(priors, caption)


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


def regression(desk: Desk) -> Section:
    """Show a plain regression of the overrun."""
    yield regression_words(_plain(desk))
    yield show_table(_plain(desk).table, "Overrun, m²: least squares, HC3 errors")


def regression_words(fit: Regression) -> Words:
    """Say what a plain regression sees, or why there is none."""
    if fit.reason and fit.table.empty:
        return Words(f"Not fitted: {fit.reason}.".replace("..", "."))
    slopes = fit.table[fit.table["term"].ne("intercept")]
    clear = slopes[slopes["p"] < 0.05]
    said = [
        f"{r.term} {number(r.coefficient, 2)} {r.unit} ({_interval(r.low95, r.high95, 2)})"
        for r in each(clear)
    ]
    clearly = f"clearly different from nothing (95 %): {listed(said)}"
    found = clearly if said else "no slope is clear"
    left = f" Left out, as fewer than two jobs hold it: {listed(list(fit.left_out))}."
    left = left if fit.left_out else ""
    return Words(
        f"{counted(fit.jobs, 'job')}, R² {fit.r_squared:.2f}, residual spread {fit.sd_m2:.0f} m²;"
        f" {found}.{left}"
    )


def leaned_on(desk: Desk) -> Section:
    """Show which jobs the plain regression leans on."""
    found = find_influence(_plain(desk))
    slopes = slopes_without(regression_frame(desk.jobs), found)
    yield influence_words(found, slopes)
    yield evidence_charts.residuals(found) if len(found.points) else None
    yield show_table(
        found.standing_out,
        "Jobs that stand out in the plain regression",
        "job_id fitted_m2 residual_m2 studentised leverage cooks why",
    )
    yield show_table(slopes, "Slopes with all jobs, and without the three most influential")


def influence_words(influence: Influence, slopes: pd.DataFrame) -> Words:
    """Name the jobs that the plain regression leans on, and what its slopes are without them."""
    if influence.points.empty:
        return Words("No regression was fitted, so no job can stand out in it.")
    out = influence.standing_out
    jobs = counted(len(influence.points), "job")
    named = [f"{row.job_id} ({row.cooks:.2f}, {row.why})" for row in each(out.head(NAMED))]
    more = f" and {len(out) - NAMED} more" if len(out) > NAMED else ""
    stand = f"{len(out)} of {jobs} {'stands' if len(out) == 1 else 'stand'}"
    which = f": {', '.join(named)}{more}" if named else ""
    return Words(
        f"{stand if named else f'No job of {jobs} stands'} out (Cook's distance above"
        f" {influence.cooks_limit:.3f}){which}. {_slopes_moved(slopes)}"
    )


def _slopes_moved(slopes: pd.DataFrame) -> str:
    rows = slopes[slopes["term"].ne("intercept")].dropna(subset=["change"])
    if rows.empty:
        return "Without them too few jobs are left for the slopes."
    most = rows.iloc[int(rows["change"].abs().to_numpy().argmax())]
    turned = rows[rows["coefficient"] * rows["without"] < 0]["term"].tolist()
    sign = f"{listed(turned)} change{'s' if len(turned) == 1 else ''} sign"
    sign = sign if turned else "no slope changes its sign"
    return (
        f"Without the three most influential the slope that moves most is {most['term']}, from"
        f" {number(most['coefficient'], 2)} to {number(most['without'], 2)} {most['unit']}"
        f" ({number(abs(most['change']), 1)} standard errors); {sign}."
    )


def agreement(desk: Desk) -> Section:
    """Set the slopes beyond the laid area beside the allowances."""
    beyond = plain_regression(regression_frame(desk.jobs), "beyond_m2")
    now = desk.now.table()
    yield agreement_words(beyond, now)
    caption = "Sheet beyond the laid area, m²: the slopes compare with the allowances"
    yield show_table(beyond.table, caption)
    yield show_table(now.rename_axis("allowance").reset_index(), "The allowances, to compare")


def agreement_words(beyond: Regression, allowances: pd.DataFrame) -> Words:
    """Say whether a plain regression, with no starting belief, contradicts the allowances."""
    if beyond.table.empty:
        return Words(f"Nothing to compare with: {beyond.reason}.")
    compared = dict(zip(terms(), allowance_names(), strict=True))
    ends = beyond.table.set_index("term")[["low95", "high95"]].rename(index=compared)
    both = ends.join(allowances["mean"], how="inner")
    apart = both.index[~both["mean"].between(both["low95"], both["high95"])].tolist()
    lie, slopes = ("lies", "its slope") if len(apart) < 2 else ("lie", "their slopes")
    which = listed(apart) or "No allowance"
    return Words(
        f"{which} {lie} outside the 95 % interval of {slopes} ({len(both)} compared)."
        " The regression knows no starting belief and has an"
        " intercept, which the calibration has not; its intervals are wide, so that agreement is a"
        " weak proof."
    )


def several_firms(desk: Desk) -> Section:
    """Set several firms side by side; a sentence where there is one only."""
    each_firm = others.firm_table(desk.firms)
    between = others.firm_spread(each_firm)
    yield firm_words(between, desk.firms)
    if desk.other_firms:
        yield evidence_charts.firms(each_firm)
        named = each_firm.assign(allowance=each_firm["allowance"].astype(str))
        columns = "allowance firm jobs mean low high own own_sd unit"
        yield show_table(named, "Each firm by itself, from the same starting belief", columns)
        yield show_table(between, "Between the firms: random effects (DerSimonian & Laird)")


def firm_words(spread: pd.DataFrame, firms: Mapping[str, Takeoff]) -> Words:
    """Say in which allowances the firms differ; one sentence where there is only one firm."""
    if len(firms) < 2:
        return Words(f"{HEADING}No other firm's records were given (`firms`): not compared.")
    differ = spread[spread["verdict"].eq("differ")]
    alike, dark = (
        spread[spread["verdict"].eq(verdict)]["allowance"].tolist()
        for verdict in ("alike within chance", "not enough to tell")
    )
    said = [
        f"{row.allowance}, by ± {number(row.between_sd, 2)} {row.unit} from firm to firm (sd)"
        for row in each(differ)
    ]
    if said:
        parts = [f"The {len(firms)} firms differ in {listed(said)}"]
        parts += [f"alike within chance: {listed(alike)}"] if alike else []
        advice = "each firm's own allowances stand"
    else:
        parts = [f"The {len(firms)} firms do not differ by more than chance"]
        advice = "nothing here speaks against common allowances"
    parts += [f"not enough to tell: {listed(dark)}"] if dark else []
    notes = tuple(note for jobs in firms.values() for note in jobs.notes)
    return with_notes(f"{HEADING}{'; '.join(parts)}. So {advice}.", notes)
