"""Sentences for the consultant, computed from the diagnostics."""

from __future__ import annotations

import pandas as pd

from airstats.backtest import RULES, Backtest
from airstats.desk import Desk
from airstats.evidence import Regression
from airstats.phrases import counted, each, listed, number
from airstats.screen import Table, Words, show_table


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
