"""Sentences for the consultant, computed from the diagnostics."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.desk import Desk
from airstats.diagnostics import Influence
from airstats.evidence import Regression
from airstats.looking_back import RULES, Backtest
from airstats.phrases import counted, each, listed, number
from airstats.screen import Table, Words, show_table

NAMED = 5
"""So many jobs are named in a sentence; the others stand in the table."""
OUT_OF_REACH = "out of reach"


def evidence_headline(desk: Desk, result: Backtest | None) -> Words:
    """Say how well the method priced jobs that it had not seen."""
    if result is None:
        return Words(
            f"**One quarter only ({desk.quarter}, {counted(len(desk.jobs), 'job')}): a back-test"
            " needs two.**"
        )
    costs = result.summary.set_index("rule")["mean_cost"]
    others = [f"{RULES[str(rule)]} {number(costs[rule], 0)}" for rule in costs.index[1:]]
    return Words(
        f"**Priced from earlier quarters only, {counted(len(result.jobs), 'job')} cost"
        f" {number(costs['airstats'], 0)} money a job in rolls short and left over;"
        f" {listed(others)}. The 80 % intervals held {result.held_80:.0%} of the uses.**"
    )


def backtest_table(result: Backtest | None) -> Table | Words:
    """Return the back-test's table, the rules in words."""
    if result is None:
        return Words("No back-test: it needs finished jobs in two quarters or more.")
    summary = result.summary.assign(rule=result.summary["rule"].map(RULES))
    return show_table(summary, "Every way of pricing on the same jobs")


def regression_words(fit: Regression) -> Words:
    """Say what a plain regression sees, or why there is none."""
    if fit.reason and fit.table.empty:
        return Words(f"Not fitted: {fit.reason}.".replace("..", "."))
    slopes = fit.table[fit.table["term"].ne("intercept")]
    clear = slopes[slopes["p"] < 0.05]
    said = [
        f"{r.term} {r.coefficient:+.2f} ({r.low95:+.2f} to {r.high95:+.2f})" for r in each(clear)
    ]
    found = (
        f"clearly different from nothing (95 %): {listed(said)}" if said else "no slope is clear"
    )
    left = f" Left out, as no job holds it: {listed(list(fit.left_out))}." if fit.left_out else ""
    return Words(
        f"{counted(fit.jobs, 'job')}, R² {fit.r_squared:.2f}, residual spread {fit.sd_m2:.0f} m²;"
        f" {found}.{left}"
    )


def mixed_words(fit: Regression) -> Words:
    """Say whether the mixed model converged and how far crews differ."""
    if fit.table.empty:
        return Words(f"Mixed model by crew, converged: no. {fit.reason}")
    spread = fit.table["coefficient"].iloc[-1]
    told = f" The fit warns: {fit.reason}." if fit.reason else ""
    return Words(
        f"Mixed model by crew, converged: {'yes' if fit.converged else 'no'}. Crews differ by"
        f" {spread:.1f} m² a job (sd), jobs within a crew by {fit.sd_m2:.1f} m².{told}"
    )


def sensitivity_words(table: pd.DataFrame) -> Words:
    """Say how much the starting belief matters after the jobs seen."""
    usual = table["rolls"].iloc[0]
    away = (table["rolls"] - usual).abs().max() / usual
    most = (table.drop(columns=["prior", "rolls"]) - table.iloc[0, 1:-1]).abs().max().astype(float)
    return Words(
        f"Other starting beliefs change the sheet of all jobs by {away:.1%} at most; the allowance"
        f" that moves most is {most.idxmax()}, by {most.max():.3f}."
    )


def influence_words(influence: Influence, slopes: pd.DataFrame) -> Words:
    """Name the jobs that the plain regression leans on, and what its slopes are without them."""
    if influence.points.empty:
        return Words("No regression was fitted, so no job can stand out in it.")
    out = influence.standing_out
    jobs = counted(len(influence.points), "job")
    if out.empty:
        start = f"No job of {jobs} stands out (Cook's distance above {influence.cooks_limit:.3f})."
    else:
        named = [f"{row.job_id} ({row.cooks:.2f}, {row.why})" for row in each(out.head(NAMED))]
        more = f" and {len(out) - NAMED} more" if len(out) > NAMED else ""
        start = (
            f"{len(out)} of {jobs} stand out (Cook's distance above {influence.cooks_limit:.3f}):"
            f" {', '.join(named)}{more}."
        )
    return Words(f"{start} {_slopes_moved(slopes)}")


def _slopes_moved(slopes: pd.DataFrame) -> str:
    rows = slopes[slopes["term"].ne("intercept")] if len(slopes) else slopes
    if rows.empty:
        return "Without them too few jobs are left for the slopes."
    most = rows.iloc[int(rows["change"].abs().to_numpy().argmax())]
    turned = rows[rows["coefficient"] * rows["without"] < 0]["term"].tolist()
    sign = (
        f"{listed(turned)} change{'s' if len(turned) == 1 else ''} sign"
        if turned
        else ("no slope changes its sign")
    )
    return (
        f"Without the three most influential the slope that moves most is {most['term']}, from"
        f" {number(most['coefficient'], 2)} to {number(most['without'], 2)} {most['unit']}"
        f" ({number(abs(most['change']), 1)} standard errors); {sign}."
    )


def leave_out_words(influence: pd.DataFrame, checked: pd.DataFrame) -> Words:
    """Say how far a single job can move an allowance, and how good the quick way was."""
    most = influence.iloc[0]
    over = int((influence["move_sd"].abs() > 0.5).sum())
    many = f"{over} of {counted(len(influence), 'job')} would" if over else "No job would"
    quick = (checked["move"] - checked["move_refit"]).abs().max()
    check = f" True refits without the first {len(checked)} differ by {number(quick, 3)} at most."
    return Words(
        f"{many} move an allowance by more than half of its sd. The most influential is"
        f" {most['job_id']} ({most['quarter']}): without it {most['moves_most']} moves by"
        f" {most['move']:+.3f}, {number(abs(most['move_sd']), 2)} of its sd."
        f"{check if len(checked) else ''}".replace("-", "−")
    )


def conclusion_words(table: pd.DataFrame) -> Words:
    """Say which other assumption would change the order or the leading cause."""
    usual, others = table.iloc[0], table.iloc[1:]
    orders = others[others["orders_changed"] > 0]
    causes = others[others["cause"].ne(usual["cause"])]
    held = (
        f"{usual['cause']} lead{'s' if usual['cause'] == 'waste' else ''} the causes"
        f" ({number(usual['cause_rolls'])} rolls; next {usual['next_cause']},"
        f" {number(usual['next_rolls'])}{': too close to tell apart' if usual['close'] else ''})"
        f" and the order is {usual['order_rolls']} rolls"
    )
    said = [
        f"{row.assumption}: {counted(row.orders_changed, 'job')} ordered otherwise,"
        f" {row.order_rolls} rolls in all"
        for row in each(orders)
    ]
    said += [f"{row.assumption}: {row.cause} would lead" for row in each(causes)]
    if not said:
        return Words(
            f"**Nothing tried here changes the conclusion**: {held}, under each of"
            f" {len(others)} other assumptions too."
        )
    return Words(f"As documented, {held}. **What would change it:** {'; '.join(said)}.")


def halving_words(table: pd.DataFrame, a_quarter: float) -> Words:
    """Say how many more jobs would halve each interval, and where that cannot be."""
    reach = table[np.isfinite(table["jobs_still"])]
    still = [
        f"{row.allowance} {number(row.jobs_still, 0)} jobs"
        f" ({number(row.jobs_still / a_quarter / 4, 0)} years)"
        for row in each(reach)
    ]
    start = f"At {number(a_quarter, 1)} jobs a quarter like those so far, with the same crews"
    halved = (
        f"if nothing drifts, an interval is half as wide after: {listed(still)}"
        if still
        else ("no interval can be halved even if nothing drifts")
    )
    never = table[~np.isfinite(table["jobs_still"])]["allowance"].tolist()
    barred = (
        f"; not {listed(never)}: more jobs of the same crews do not tell it"
        if (never and still)
        else ""
    )
    return Words(f"{start}, {halved}{barred}. {_with_drift(table)}")


def _with_drift(table: pd.DataFrame) -> str:
    rows = table[np.isfinite(table["jobs_drift"])]
    if rows.empty:
        first = table.iloc[0]
        return (
            "With the drift as learnt none is ever halved: what a quarter teaches grows old;"
            f" {first['allowance']} settles at ± {number(first['sd_drift'], 3)} (sd), now"
            f" ± {number(first['sd'], 3)}."
        )
    said = [f"{row.allowance} {number(row.jobs_drift, 0)} jobs" for row in each(rows)]
    never = table[~np.isfinite(table["jobs_drift"])]["allowance"].tolist()
    rest = f"; {listed(never)} never" if never else ""
    return f"With the drift as learnt: {listed(said)}{rest}."


def halving_table(table: pd.DataFrame) -> Table | Words:
    """Return the table of `jobs_to_halve`, words where a number of jobs has no end."""
    columns = ("jobs_still", "jobs_drift")
    worded = {
        name: [number(v, 0) if np.isfinite(v) else OUT_OF_REACH for v in table[name]]
        for name in columns
    }
    return show_table(
        table.assign(**worded),
        "More jobs that would halve each interval",
        "allowance sd jobs_still sd_still jobs_drift sd_drift unit",
    )


def calibration_words(table: pd.DataFrame) -> Words:
    """Say whether as many uses lay below each quantile as should, and how near the rolls came."""
    if table.empty:
        return Words("Not to be told from one quarter: nothing was foretold from earlier jobs.")
    said = [f"{row.below:.0%} below the {row.percent} % point" for row in each(table)]
    off = table[table["verdict"].ne("as foretold")]
    judged = (
        "all within what chance allows"
        if off.empty
        else (
            f"{listed([f'{row.verdict} below {row.percent} %' for row in each(off)])}, further off"
            " than chance allows"
        )
    )
    ours, simple = table["pinball"].mean(), table["pinball_simple"].mean()
    share = f"{abs(1 - ours / simple):.0%} {'less' if ours < simple else 'more'}" if simple else ""
    return Words(
        f"Of {counted(int(table['jobs'].iloc[0]), 'job')} {listed(said)}: {judged}. Pinball loss:"
        f" {number(ours, 3)} rolls a job, {share} than with least squares"
        f" ({number(simple, 3)})."
    )


def firm_words(spread: pd.DataFrame, firms: int) -> Words:
    """Say in which allowances the firms differ; one sentence where there is only one firm."""
    if firms < 2:
        return Words("No other firm's records were given (`firms`), so firms are not compared.")
    differ = spread[spread["verdict"].eq("differ")]
    alike = spread[spread["verdict"].eq("alike within chance")]["allowance"].tolist()
    dark = spread[spread["verdict"].eq("not enough to tell")]["allowance"].tolist()
    said = [
        f"{row.allowance}, by ± {number(row.between_sd, 2)} {row.unit} from firm to firm (sd)"
        for row in each(differ)
    ]
    parts = [
        f"The {firms} firms differ in {listed(said)}"
        if said
        else (f"The {firms} firms do not differ by more than chance")
    ]
    parts += [f"alike within chance: {listed(alike)}"] if alike and said else []
    parts += [f"not enough to tell: {listed(dark)}"] if dark else []
    advice = (
        "each firm's own allowances stand"
        if said
        else ("nothing here speaks against common allowances")
    )
    return Words(f"## Several firms\n\n{'; '.join(parts)}. So {advice}.")


def firms_shown(table: pd.DataFrame) -> Table | Words:
    """Return each firm's allowances as a table."""
    named = table.assign(allowance=table["allowance"].astype(str))
    columns = "allowance firm jobs mean low high own own_sd unit"
    return show_table(named, "Each firm by itself, from the same starting belief", columns)


def spread_shown(spread: pd.DataFrame) -> Table | Words:
    """Return what lies between the firms as a table."""
    return show_table(spread, "Between the firms: random effects (DerSimonian & Laird)")
