"""The appendix of the evidence: method, checks and tables for the reader who wants them all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

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
from airstats.analysis.sensitivity import count_in_doubt, counted_to_the_nearest
from airstats.backtests import forecast_checks
from airstats.backtests.forecast_checks import (
    group_departures,
    own_cost,
    pinball_difference,
    shortages,
)
from airstats.backtests.rolling import Backtest
from airstats.base.number_text import (
    between,
    counted,
    each,
    in_currency,
    listed,
    number,
    percent,
    signed,
)
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.catalog.reader_names import reader_name
from airstats.model.posterior import allowance_names
from airstats.model.prior import DRIFT_OF_FACTORS, Prior
from airstats.records.typed_table import DEFAULTS
from airstats.reports import evidence_charts, recording_text
from airstats.reports.desk import Desk
from airstats.reports.display import Beside, Section, Table, Words, show_table
from airstats.reports.evidence_text import (
    NAMED,
    back_tested,
    conclusion_table,
    fitted_at_once,
    left_out_each,
    tried,
)
from airstats.reports.invented_firms import found
from airstats.reports.references import cite, listed_sources
from airstats.reports.shared_text import counted_as_told, with_notes
from airstats.reports.update_text import watched
from airstats.takeoff.sheet_quantities import Takeoff

BENCHMARK = "`python -m tests.benchmark.hidden_firms`"
"""On invented firms whose truth is known: what it found is quoted from the file that it writes."""
SHORTAGES = {
    "as foretold": "as chance allows",
    "more": "more than chance allows: the orders are too small",
    "fewer": "fewer than chance allows: the orders are larger than they need be",
}
SIMULATED = "`python -m tests.benchmark.simulation_based`"
HEADING = "### Several firms\n\n"
NOTHING_FORETOLD = Words("Not to be told yet: too few jobs follow those of a first quarter.")


def method() -> Words:
    """Return the model in formulas, with the numbers of the starting belief."""
    prior = Prior()
    return Words(
        "Areas in m²; Φ is the standard normal distribution function.\n\n"
        "- cuts: corner to corner, the sheet over an opening cut along both diagonals, its flaps"
        " lining the reveal; slit, cut down the middle, its leaves lining two sides; lined, cut"
        " out, and strips line the reveal\n"
        "- laid = (surface − lined openings) × roll width ÷ (roll width − lap), the lap"
        f" {DEFAULTS['lap_mm']:g} mm where none is noted {cite('lap')}; reveal area ="
        " count × (2 × height + 2 × width, or one width with three sides) × depth\n"
        "- a count of r rolls is the interval (r − 1, r] where opened rolls count whole (also where"
        " nothing is said), r within ¼ counted in halves, within ⅛ in quarters, within 0.005 where"
        " it is called exact, within √3 sd of the gauge where what is left is measured; times the"
        " area of a roll it is low to high\n"
        "- openings or depths that nobody measured are as the firm's measured ones, by normal"
        " regression, and their variance is added to the job's"
        f" {cite('usual openings')}\n"
        "- expected use μ = laid × (1 + waste + crew) + Σ factor × reveal area; in the other form"
        f" {_names(reused_cuts())} take the sheet that the geometry leaves bare − share × off-cuts"
        " that fit\n"
        "- σ² = floor² + (spread × laid)²; crew ~ N(0, crew sd²), so a crew with few jobs is pulled"
        " to the firm\n"
        "- likelihood of a count: (1 − g) × [Φ((high − μ)/σ) − Φ((low − μ)/σ)] + g × the same with"
        f" σ² + ({prior.gross_packs:g} rolls)² {cite('contamination')}; g, the share of grossly"
        f" wrong records, is ({prior.gross_share:g} × {prior.gross_jobs:g} + the sum of the"
        f" probabilities of being wrong so far) ÷ ({prior.gross_jobs:g} + jobs so far)\n"
        "- belief: normal for each candidate, a choice of form, width of the starting belief,"
        " spread, difference between crews, drift and trend; the mode by steps with exact"
        " derivatives, the covariance from the curvature there; candidates are weighed by how well"
        f" each foretold the counts {cite('normal at the top')}\n"
        f"- starting belief (sd): waste {_pair(prior.waste)} m² a m² laid; reveals"
        f" {_pairs(prior.reveal_factors)} m² a m² of reveal ({_names(CUTS)} in turn); share"
        f" {_pairs(prior.reuse_shares)} of the off-cuts ({_names(reused_cuts())} in turn); with"
        f" {percent(prior.wide_weight)} a wider companion, waste {_pair(prior.wide_waste)} and"
        f" reveals {_pairs(prior.wide_factors)} m² a m² (the picture below shows both together);"
        f" floor {prior.floor:g} m²; trend of waste {prior.trend:g} m² a m² a quarter up, or down"
        f" to nothing, with {percent(prior.trend_weight)}\n"
        "- between quarters the variance grows by drift² (waste) and"
        f" ({DRIFT_OF_FACTORS:g} × drift)² (factors and shares)\n"
        "- what is read: waste averaged over all candidates, the factors over those with flat"
        " factors, the shares over the others\n"
        "- order: the least whole n with P(need ≤ n) ≥ short ÷ (short + left over)"
        f" {cite('least-cost order')}; what is needed holds no gross error; from one store the"
        " rolls of all jobs are added up case by case, the doubt about the allowances in common"
        f" {cite('pooling')}\n"
        "- pull of a job: it is taken out by one step from the fitted top, and the candidates are"
        f" weighed anew {cite('deletion', 'one step')}\n"
        "- drift: a job's departure is the mean of the standard normal between the foretold"
        f" probabilities of both ends of its count {cite('grouped residual')}; their moving average"
        " gives the newest job a weight of 0.2, its limits lie 3 sd away, exact for each job"
        f" {cite('moving average', 'handbook')}; records that are likely wrong are left out\n"
        "- rough depths pull a factor towards nothing by E/(V + E), V the variance of reveal area"
        " that the laid area does not foretell, E that of its measuring error"
        f" {cite('attenuation', 'measurement error')}\n"
        "- beside the model: intervals of means and costs by clusters, jobs of a quarter related"
        f" {cite('clusters')}; an open count spread as foretold {cite('open counts')}; pinball loss"
        f" of the foretold points {cite('pinball')}; the starting belief alone, set against the"
        f" counts {cite('prior predictive', 'Bayesian data analysis')}; several firms by random"
        f" effects {cite('between firms')}\n\n"
        "The engine is tested against published values of regression, credibility, filtering and"
        " censored data: `tests/README.md` lists each with its source and the difference."
    )


def _pair(pair: tuple[float, float]) -> str:
    return f"{pair[0]:g} ({pair[1]:g})"


def _pairs(pairs: Iterable[tuple[float, float]]) -> str:
    return listed([_pair(one) for one in pairs])


def _names(cuts: Iterable[str]) -> str:
    return listed([CUTS[cut].words for cut in cuts])


def beliefs(desk: Desk) -> Section:
    """Show what was believed before any job beside what is believed now."""
    table = allowance_changes.belief_table(desk.now)
    yield beliefs_words(table, allowance_changes.prior_sensitivity(desk.jobs, desk.quarter), desk)
    yield evidence_charts.beliefs(table)


def beliefs_words(table: pd.DataFrame, priors: pd.DataFrame, desk: Desk) -> Words:
    """Say which beliefs are our own, what the jobs taught, and how much the beliefs matter.

    Parameters
    ----------
    table : DataFrame
        Of `belief_table`: before any job and now.
    priors : DataFrame
        Of `try_priors`: the allowances and rolls under other starting beliefs, ours first.
    desk : Desk
        The firm's.
    """
    usual = priors["rolls"].iloc[0]
    away = (priors["rolls"] - usual).abs().max() / usual
    moved = (priors.drop(columns=["prior", "rolls"]) - priors.iloc[0, 1:-1]).abs().max()
    most = moved.astype(float)
    little = table[table["learnt"] < evidence_charts.LEARNT]["quantity"]
    rest = "; ".join(reader_name(name) for name in little)
    rest = f" The jobs taught nothing of: {rest}. There common practice stands." if rest else ""
    others = listed([str(name) for name in priors["prior"].iloc[1:]])
    return Words(
        f"**Other starting beliefs change the sheet of all jobs by {percent(away, 1)} at most, and"
        f" the allowance that moves most, {reader_name(str(most.idxmax()))}, by"
        f" {number(most.max(), 3)} m² a m²** ({others}): the jobs settle the sum, the belief how it"
        " is shared where an interval is wide still. Waste starts from other materials: 1 to 10 %"
        f" of what was bought left the sites as waste {cite('waste, Netherlands')}, budgets held 5"
        f" to 10 % and some studies found 15 to 30 % {cite('waste, Brazil')}; every other belief is"
        " our own, from the geometry of ordinary openings and common practice. Learnt is the share"
        f" of the first variance that the jobs took away.{rest} {_weights(desk)}"
    )


def _weights(desk: Desk) -> str:
    forms = desk.now.form_weights()
    return (
        f"The counts weigh flat factors {percent(forms['factor'])}, re-use of off-cuts"
        f" {percent(forms['reuse'])}."
    )


def simulated() -> Section:
    """Show whether the calculation finds what its own model holds."""
    ranks = found("simulation_based", "ranks")
    yield simulated_words(ranks, found("simulation_based", "importance sampling"))
    yield evidence_charts.ranks(rank_table(ranks))


def chances(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show whether the foretold chances came true.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    result = back_tested(desk, leftover_cost, short_cost)
    if result is None:
        yield NOTHING_FORETOLD
        return
    checked = forecast_checks.quantile_calibration(result)
    said = Words(f"{_short(result)} {calibration_words(checked, result).text}")
    yield Beside(said, evidence_charts.calibration(checked))


def _short(result: Backtest) -> str:
    told = shortages(result)
    return (
        f"**Foretold to run short: {number(told['foretold'], 1)} of {told['jobs']} orders (chance:"
        f" {told['low']} to {told['high']}); {counted(int(told['came']), 'order')} did,"
        f" {SHORTAGES[told['verdict']]}.**"
    )


def groups_and_single_jobs(desk: Desk) -> Section:
    """Show whether groups of jobs depart from what was foretold, and how far single jobs pull."""
    departures, pulls = group_departures(watched(desk), desk.jobs), left_out_each(desk)
    yield group_words(departures)
    fitted = fitted_at_once(desk)
    yield leave_out_words(pulls, sensitivity.refit_without(desk.jobs, pulls, fitted=fitted))
    pulled = sensitivity.pull_on_order(desk.jobs, desk.own, pulls, fitted)
    drawn = evidence_charts.influence(pulled)
    yield Beside(group_table(departures), drawn)


def other_forms(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show the conclusion under other forms of the model.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    table = tried(desk, leftover_cost, short_cost)
    base = table["assumption"].isin([sensitivity.PUBLISHED, sensitivity.AT_ONCE])
    shown = table[base | table["of_model"]].reset_index(drop=True)
    other = shown["of_model"]
    changed = int(shown.loc[other, "orders_changed"].gt(0).sum())
    yield Words(
        f"Of {counted(int(other.sum()), 'other assumption')} on the form of the model"
        f" {changed or 'none'} change{'s' * (changed < 2)} any order."
    )
    yield conclusion_table(shown, "The same under other forms of the model; ± holds 90 %")


@lru_cache(maxsize=1)
def _plain(desk: Desk) -> Regression:
    return plain_regression(regression_frame(desk.jobs))


def regression(desk: Desk) -> Section:
    """Show a plain regression beside the allowances, and which jobs it leans on."""
    beyond, now = plain_regression(regression_frame(desk.jobs), "beyond_m2"), desk.now.table()
    leaned = find_influence(_plain(desk))
    slopes = slopes_without(regression_frame(desk.jobs), leaned)
    yield regression_words(_plain(desk))
    if len(_plain(desk).table):
        yield Words(f"{agreement_words(beyond, now).text} {influence_words(leaned, slopes).text}")
        yield slope_table(_plain(desk), beyond, now)


def slope_table(over: Regression, beyond: Regression, allowances: pd.DataFrame) -> Table | Words:
    """Return the slopes of both regressions beside the allowances.

    Parameters
    ----------
    over, beyond : Regression
        Of the overrun, and of the sheet beyond the laid area.
    allowances : DataFrame
        From `Allowances.table`.
    """
    now = allowances.rename(index=dict(zip(allowance_names(), terms(), strict=True)))
    now = now.rename(columns={"mean": "coefficient"})
    sides = [one.table.set_index("term") if len(one.table) else None for one in (over, beyond)]
    columns = dict(zip(("of_overrun", "of_beyond", "of_allowance"), (*sides, now), strict=True))
    rows = [
        {"term": term, "unit": row["unit"]}
        | {name: _cell(table, term) for name, table in columns.items()}
        for term, row in over.table.set_index("term").iterrows()
    ]
    caption = "Least squares, 90 % in brackets; the slopes beyond the laid area compare"
    return show_table(pd.DataFrame(rows), caption, "term of_overrun of_beyond of_allowance unit")


def _cell(table: pd.DataFrame | None, term: Any) -> str:
    if table is None or term not in table.index:
        return ""
    row, digits = table.loc[term], 0 if term == "intercept" else 2
    return (
        f"{number(row['coefficient'], digits)} ({between(row['low'], row['high'], digits=digits)})"
    )


def weaknesses(desk: Desk) -> Section:
    """List what is weak in the method and in these data."""
    error = desk.depth_error_mm
    depths = f" but for depths ({error:g} mm, sd)" if error else ""
    points = (
        _constant(desk),
        _reveals(desk),
        _intervals_of_waste(),
        "An allowance's interval is narrower than all doubt: that of a reveal factor takes a flat"
        f" factor for granted (weight {percent(desk.now.form_weights()['factor'])}), the share of"
        " wrong records is put in as one number, and a normal curve at the top of the posterior"
        f" stands for the whole of it {cite('normal at the top')}.",
        "Assumed and not tested: independent jobs given the allowances; crews that do not drift; a"
        " spread that grows with laid sheet alone; openings measured without error"
        f"{depths}; records set apart that are like the others.",
        "" if desk.other_firms else "No other firm's records were given (`firms`): not compared.",
    )
    yield Words("\n".join(f"- {point}" for point in filter(None, points)))


def recording_method(desk: Desk, leftover_cost: float, short_cost: float) -> Words:
    """Say how the worth of finer records is worked out, and how its costs lie to the back-test's.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    result = back_tested(desk, leftover_cost, short_cost)
    beside = f" {_cost_beside(desk, result)}" if result else ""
    return Words(
        f"Expected value of sample information {cite('sample information')}: a truth is drawn from"
        " what is believed now, the jobs of a year from the truth; they are counted in each way and"
        " learnt from, and the year after is ordered for with what is then believed. An order's"
        " cost is that under the truth; all ways count the same draws, and the interval is for"
        f" their number.{beside}"
    )


def _cost_beside(desk: Desk, result: Backtest) -> str:
    past = own_cost(result)
    now, then = (
        in_currency(number(cost), desk.firm.currency)
        for cost in (recording_text.cost_a_job(desk), past["mean"])
    )
    return (
        f"Foretold is a cost of {now} a job; in the back-test, when less was known, it was {then}"
        f" ({between(past['low'], past['high'])})."
    )


def references() -> Words:
    """Return the published sources of all pages, in full."""
    return Words(listed_sources())


def calibration_words(table: pd.DataFrame, result: Backtest | None = None) -> Words:
    """Say whether as many uses lay below each quantile as should, and how near the rolls came."""
    if table.empty:
        return NOTHING_FORETOLD
    off = each(table[table["verdict"].ne("as foretold")])
    which = listed([f"{row.verdict} below {row.percent} %" for row in off])
    judged = f"{which}, further off than chance allows"
    judged = judged if which else "as many lie below each foretold point as chance allows"
    return Words(
        f"Of the uses of {counted(int(table['jobs'].iloc[0]), 'job')} {judged}."
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
        " what is open is spread as foretold, which favours the forecast. The orders that ran short"
        " leave nothing open."
    )


def _pinball_said(table: pd.DataFrame, result: Backtest | None) -> str:
    ours, simple = table["pinball"].mean(), table["pinball_simple"].mean()
    way = "less" if ours < simple else "more"
    share = f"{percent(abs(1 - ours / simple))} {way}" if simple else "not less"
    said = (
        f" Pinball loss: {number(ours, 3)} rolls a job, {share} than with least squares"
        f" ({number(simple, 3)} rolls)"
    )
    if result is None:
        return f"{said}."
    less = pinball_difference(result)
    ends = between(less["low"], less["high"], digits=3)
    apart = "" if less["low"] > 0 or less["high"] < 0 else ": not told apart"
    return f"{said}; the difference is {number(less['mean'], 3)} rolls (90 %: {ends} rolls){apart}."


def group_table(departures: pd.DataFrame) -> Table | Words:
    """Return `group_departures` with each interval in one cell."""
    departed = [
        f"{signed(row.departure_m2, 1)} ({between(row.beyond_low, row.beyond_high, digits=1)})"
        for row in each(departures)
    ]
    caption = (
        "Use beyond what was foretold before the quarter, of the first from the starting belief;"
        " without records that are likely wrong"
    )
    shown = departures.assign(departed=departed)
    return show_table(shown, caption, "jobs_of jobs departed" if departed else "")


def group_words(table: pd.DataFrame) -> Words:
    """Say which groups of jobs used more or less than was foretold before their quarter."""
    if table.empty:
        return Words("Too few jobs to look at groups of them.")
    off = table[table["verdict"].ne("as foretold")]
    said = [
        f"{row.jobs_of} {row.verdict} ({number(row.departure_m2, 1)} m² a job,"
        f" {between(row.beyond_low, row.beyond_high, 'm²', 1)})"
        for row in each(off)
    ]
    found = f"Departing (90 %): {listed(said)}" if said else "No group departs (90 %)"
    if len(table) == 1:
        return Words(f"{found}.")
    return Words(
        f"{found}; of {counted(len(table), 'group')} chance alone would make about"
        f" {number(0.1 * len(table), 1)} groups depart."
    )


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
        f"{ranks['firms']} truths were drawn"
        " from the starting belief, 24 jobs of whole rolls from each, and the truth put in rank"
        f" among draws of what was then believed. The ranks should be even: {within} of"
        f" {len(table)} bars lie within what chance allows (99 % each, so that chance alone leaves"
        f" {number(0.01 * len(table), 1)} bars outside) {cite('simulated ranks')}."
        f" Beside importance sampling from the model itself, on {apart['firms']} firms, the mean of"
        f" waste lay {number(apart['shift of waste, sds'], 2)} of its sd away, its sd was"
        f" {number(apart['sd of waste, times'], 2)} times the exact one (medians), and"
        f" {number(apart['orders changed'], 0)} of {number(apart['orders'], 0)} orders changed."
        f" {SIMULATED}."
    )


def leave_out_words(influence: pd.DataFrame, checked: pd.DataFrame) -> Words:
    """Say how far a single job can move an allowance, and how good the quick way was."""
    most = influence.iloc[0]
    over = int((influence["move_sd"].abs().round(2) >= 0.5).sum())
    many = f"{over} of {counted(len(influence), 'job')} would" if over else "No job would"
    quick = (checked["move"] - checked["move_refit"]).abs().max()
    first = counted(len(checked), "job")
    check = (
        f" Refitted without the first {first} in turn, moves differ by {number(quick, 3)} m² a m²"
        " at most."
    )
    return Words(
        f"**{many} move an allowance by half of its sd or more.** The most influential is"
        f" {most['job_id']} ({most['quarter']}): without it {reader_name(most['moves_most'])} moves"
        f" by {signed(most['move'], 3)} m² a m², {number(abs(most['move_sd']), 2)} of its sd"
        f" {cite('deletion', 'one step')}.{check if len(checked) else ''}"
    )


def _term(name: str) -> str:
    """Return what readers call a term, its unit left out."""
    return reader_name(name).removesuffix(", m²")


def regression_words(fit: Regression) -> Words:
    """Say what a plain regression sees, or why there is none."""
    if fit.reason and fit.table.empty:
        return Words(f"Not fitted: {fit.reason}.".replace("..", "."))
    slopes = fit.table[fit.table["term"].ne("intercept")]
    clear = slopes[(slopes["low"] > 0) | (slopes["high"] < 0)]
    said = [
        f"{_term(r.term)} {number(r.coefficient, 2)} ({between(r.low, r.high, digits=2)})"
        for r in each(clear)
    ]
    clearly = f"clearly different from nothing (90 %): {listed(said)}"
    found = clearly if said else "no slope is clear"
    rest = listed([_term(one) for one in fit.left_out])
    left = f" Left out, as fewer than two jobs hold it: {rest}."
    left = left if fit.left_out else ""
    return Words(
        "The overrun (middle of the count − priced, m²) by least squares with robust errors"
        f" {cite('robust errors')}, {counted(fit.jobs, 'job')}: R² {fit.r_squared:.2f}, residual sd"
        f" {fit.sd_m2:.0f} m²; {found}.{left} Where prices rose with an area its slope is lower by"
        " as much: these slopes say where prices missed, and are no allowances. The intercept holds"
        " half a roll a job by which the middle of a count of opened rolls lies below it."
    )


def influence_words(influence: Influence, slopes: pd.DataFrame) -> Words:
    """Name the jobs that the plain regression leans on, and what its slopes are without them."""
    if influence.points.empty:
        return Words("No regression was fitted, so no job can stand out in it.")
    out = influence.standing_out
    jobs = counted(len(influence.points), "job")
    named = [f"{row.job_id} ({row.cooks:.2f}, {row.why})" for row in each(out.head(NAMED))]
    more = f" and {counted(len(out) - NAMED, 'job')} more" if len(out) > NAMED else ""
    stand = f"{len(out)} of {jobs} {'stands' if len(out) == 1 else 'stand'}"
    which = f": {', '.join(named)}{more}" if named else ""
    return Words(
        f"{stand if named else f'No job of {jobs} stands'} out (influence above"
        f" {influence.cooks_limit:.3f}, 4 ÷ jobs by rule of thumb {cite('deletion')}; unusual: over"
        f" twice the mean leverage {cite('regression diagnostics')}){which}."
        f" {_slopes_moved(slopes)}"
    )


def _slopes_moved(slopes: pd.DataFrame) -> str:
    rows = slopes[slopes["term"].ne("intercept")].dropna(subset=["change"])
    if rows.empty:
        return "Without them too few jobs are left for the slopes."
    most = rows.iloc[int(rows["change"].abs().to_numpy().argmax())]
    turned = rows[rows["coefficient"] * rows["without"] < 0]["term"].map(_term).tolist()
    sign = f"{listed(turned)} change{'s' if len(turned) == 1 else ''} sign"
    sign = sign if turned else "no slope changes its sign"
    return (
        f"Without the three most influential the slope that moves most is"
        f" {_term(most['term'])}, from"
        f" {number(most['coefficient'], 2)} to {number(most['without'], 2)} {most['unit']}"
        f" ({number(abs(most['change']), 1)} standard errors); {sign}."
    )


def several_firms(desk: Desk) -> Section:
    """Set several firms side by side; nothing where there is one only."""
    if not desk.other_firms:
        return
    each_firm = others.firm_table(desk.firms)
    spread = others.firm_spread(each_firm)
    yield firm_words(spread, desk.firms)
    yield evidence_charts.firms(each_firm)
    named = each_firm.assign(allowance=each_firm["allowance"].astype(str))
    columns = "allowance firm jobs mean low high own own_sd unit"
    yield show_table(named, "Each firm by itself, from the same starting belief", columns)
    yield show_table(spread, f"Between the firms: random effects {cite('between firms')}")


def firm_words(spread: pd.DataFrame, firms: Mapping[str, Takeoff]) -> Words:
    """Say in which allowances the firms differ."""
    differ = spread[spread["verdict"].eq("differ")]
    alike, dark = (
        spread[spread["verdict"].eq(verdict)]["allowance"].map(reader_name).tolist()
        for verdict in ("alike within chance", "not enough to tell")
    )
    said = [
        f"{reader_name(row.allowance)}, by an sd of {number(row.between_sd, 2)} {row.unit}"
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


def _intervals_of_waste() -> str:
    kinds = {
        "of ordinary firms": "as others",
        "where waste rose by 1.5 points a quarter": "waste rises",
        "where crews differ by 5 points (sd)": "crews differ",
    }
    told = {words: found("hidden_firms", f"{row}, 48 jobs") for words, row in kinds.items()}
    waste = [f"{percent(row['now: waste_90'])} {words}" for words, row in told.items()]
    uses = [percent(row["now: use_80"]) for row in told.values()]
    firms = int(told["of ordinary firms"]["firms"])
    return (
        "**Intervals on invented firms with 48 jobs.** The 90 % intervals of waste held the truth"
        f" in {listed(waste)} ({_by_chance(firms)}); the 80 % intervals of a job's use in"
        f" {listed(uses)} in turn."
    )


def _by_chance(firms: int) -> str:
    """What chance makes of a right 90 % interval on so many firms."""
    low, high = (edge / firms for edge in binom.interval(forecast_checks.CHANCE, firms, 0.9))
    return f"{firms} firms each, where chance makes {percent(low)} to {percent(high)}; {BENCHMARK}"


def _constant(desk: Desk) -> str:
    """What a regression sees that goes with no area: half a roll a job if the reading is wrong."""
    nearest = counted_to_the_nearest(desk.jobs, count_in_doubt(desk.jobs))
    ends = [_intercept(jobs) for jobs in (desk.jobs, nearest)]
    if not all(ends) or not desk.jobs.table["counted"].eq("opened").any():
        return ""
    return (
        "**How rolls were counted**: a hint, no proof. What goes with no area, in the regression of"
        f" the sheet beyond the laid area, should be near nothing, and is {ends[0]} as recorded and"
        f" {ends[1]} if rolls were counted to the nearest. {counted_as_told(desk.jobs)}: ask those"
        " who counted."
    )


def _intercept(jobs: Takeoff) -> str:
    table = plain_regression(regression_frame(jobs), "beyond_m2").table
    if table.empty:
        return ""
    row = next(each(table[table["term"].eq("intercept")]))
    return f"{number(row.coefficient, 0)} m² a job (90 %: {between(row.low, row.high, digits=0)})"


def _far_reveals() -> str:
    few, many = (found("hidden_firms", f"reveals 0.8, {jobs} jobs") for jobs in (24, 96))
    means, shares = (
        " and ".join(said(row[f"now: reveal.diagonal{end}"]) for row in (few, many))
        for end, said in (("", lambda value: number(value, 2)), ("_90", percent))
    )
    return (
        "The flat factor gets there by and by: at a true 0.80 m² a m² of reveal, two sd above what"
        " is commonly believed, invented firms with 24 and 96 jobs of whole rolls came to"
        f" {means} m² a m²; the 90 % interval held the truth in {shares}"
        f" ({_by_chance(few['firms'])})."
    )


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


def agreement_words(beyond: Regression, allowances: pd.DataFrame) -> Words:
    """Say whether a plain regression, with no starting belief, contradicts the allowances."""
    if beyond.table.empty:
        return Words(f"Nothing to compare with: {beyond.reason}.")
    compared = dict(zip(terms(), allowance_names(), strict=True))
    ends = beyond.table.set_index("term")[["low", "high"]].rename(index=compared)
    both = ends.join(allowances["mean"], how="inner")
    apart = both.index[~both["mean"].between(both["low"], both["high"])]
    lie, slopes = ("lies", "its slope") if len(apart) < 2 else ("lie", "their slopes")
    which = listed([reader_name(one) for one in apart]) or "No allowance"
    return Words(
        f"{which} {lie} outside the 90 % interval of {slopes} beyond the laid area"
        f" ({counted(len(both), 'value')} compared); the regression knows no starting"
        " belief and has an intercept, so that agreement is a weak proof."
    )
