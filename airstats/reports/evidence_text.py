"""Sentences for the consultant on the back-test: what it cost, and whether chances came true."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import binom

from airstats.backtests.forecast_checks import (
    CHANCE,
    cost_differences,
    own_cost,
    pinball_difference,
    shortages,
)
from airstats.backtests.rolling import WORDS_OF_RULES, Backtest
from airstats.base.number_text import counted, each, listed, number, percent
from airstats.pricing.newsvendor import LEFTOVER_COST, SHORT_COST
from airstats.reports.desk import Desk
from airstats.reports.display import Table, Words, show_table

NO_BACKTEST = Words("No back-test: it needs finished jobs in two quarters or more.")
HELD = 0.8
"""Share of the uses that the stated intervals should hold."""


def evidence_headline(
    desk: Desk,
    result: Backtest | None,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
) -> Words:
    """Say how well the method priced jobs that it had not seen, and what that cannot tell."""
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
        f" {number(cost['mean'], 0)} money a job ({_ends(cost)}; every interval here: 90 %) at"
        f" {short_cost:g} a roll short and {leftover_cost:g} a roll left over."
        f" {_compared(cost_differences(result))}** The 80 % intervals held"
        f" {percent(result.held_80)} of the uses, what counts leave open spread as foretold (chance"
        f" alone: {percent(low / jobs)} to {percent(high / jobs)}). {_short(result)}"
    )


def _compared(more: pd.DataFrame) -> str:
    """What the other ways cost more or less, those not told apart by themselves."""
    sure = more[(more["low"] > 0) | (more["high"] < 0)]
    same = more[~more.index.isin(sure.index)]
    said = [
        f"{WORDS_OF_RULES[row.rule]} cost {number(abs(row.mean), 0)}"
        f" {'more' if row.mean > 0 else 'less'} ({_ends(row)})"
        for row in each(sure)
    ]
    alike = [f"{WORDS_OF_RULES[row.rule]} ({_more(row)})" for row in each(same)]
    first = f"On the same jobs, money a job: {listed(said)}." if said else ""
    rest = f" These jobs do not tell our cost apart from {listed(alike)}." if alike else ""
    return (first + rest).strip()


def _more(row: Any) -> str:
    return "the same on every job" if row.low == row.high == 0 else f"{_ends(row)} more"


def _ends(row: Any) -> str:
    ends = (row.low, row.high)
    if not np.isfinite(ends).all():
        return "one job gives no interval"
    return " to ".join(number(end, 0) for end in ends)


def _short(result: Backtest) -> str:
    told = shortages(result)
    judged = {
        "as foretold": "as chance allows",
        "more": "more than chance allows: the orders are too small",
        "fewer": "fewer than chance allows: the orders are larger than they need be",
    }[told["verdict"]]
    return (
        f"Foretold to run short: {number(told['foretold'], 1)} of {told['jobs']} orders (chance:"
        f" {told['low']} to {told['high']}); {told['came']} did, {judged}."
    )


def backtest_table(result: Backtest | None) -> Table | Words:
    """Return the back-test's table, the rules in words."""
    if result is None:
        return NO_BACKTEST
    more = cost_differences(result).rename(
        columns={"mean": "dearer", "low": "dearer_low", "high": "dearer_high"}
    )
    table = result.summary.merge(more, on="rule", how="left")
    table = table.assign(rule=table["rule"].map(WORDS_OF_RULES))
    return show_table(
        table,
        "Every way of pricing on the same jobs; dearer than the allowances known then (90 %, jobs"
        " of a quarter counted as related)",
        "rule jobs mean_cost dearer dearer_low dearer_high jobs_short rolls_short rolls_left_over",
    )


def calibration_words(table: pd.DataFrame, result: Backtest | None = None) -> Words:
    """Say whether as many uses lay below each quantile as should, and how near the rolls came."""
    if table.empty:
        return Words("Not to be told from one quarter: nothing was foretold from earlier jobs.")
    said = [f"{percent(row.below)} below the {row.percent} % point" for row in each(table)]
    off = table[table["verdict"].ne("as foretold")]
    judged = (
        "none further off than chance allows"
        if off.empty
        else (
            f"{listed([f'{row.verdict} below {row.percent} %' for row in each(off)])}, further off"
            " than chance allows"
        )
    )
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
    share = (
        f"{percent(abs(1 - ours / simple))} {'less' if ours < simple else 'more'}" if simple else ""
    )
    said = (
        f" Pinball loss: {number(ours, 3)} rolls a job, {share} than with least squares"
        f" ({number(simple, 3)})"
    )
    if result is None:
        return f"{said}."
    less = pinball_difference(result)
    ends = f"{number(less['low'], 3)} to {number(less['high'], 3)}"
    apart = "" if less["low"] > 0 or less["high"] < 0 else ": not told apart"
    return f"{said}; the difference is {number(less['mean'], 3)} rolls (90 %: {ends}){apart}."


def group_words(table: pd.DataFrame) -> Words:
    """Say which groups of jobs used more or less than was foretold before their quarter."""
    if table.empty:
        return Words("Too few jobs to look at groups of them.")
    off = table[table["verdict"].ne("as foretold")]
    said = [
        f"{row.jobs_of} {row.verdict} ({number(row.departure_m2, 1)} m² a job,"
        f" {number(row.beyond_low, 1)} to {number(row.beyond_high, 1)})"
        for row in each(off)
    ]
    found = f"Departing (90 %): {listed(said)}" if said else "No group departs (90 %)"
    return Words(
        f"{found}; of {counted(len(table), 'group')} chance alone would make about"
        f" {number(0.1 * len(table), 1)} depart."
    )


def groups_shown(table: pd.DataFrame) -> Table | Words:
    """Return the table of `group_departures`."""
    return show_table(table, "Use beyond what was foretold before the quarter, by group of jobs")
