"""What the consultant's notebook shows, section by section: the evidence."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import pandas as pd

from airstats.analysis import allowance_changes, jobs_needed, sensitivity
from airstats.analysis import between_firms as others
from airstats.analysis.regressions import (
    Regression,
    find_influence,
    plain_regression,
    regression_frame,
    slopes_without,
)
from airstats.backtests import forecast_checks
from airstats.backtests.forecast_checks import group_departures
from airstats.backtests.rolling import Backtest, backtest
from airstats.reports import (
    doubts_text,
    evidence_charts,
    evidence_text,
    firms_text,
    information_text,
    regression_text,
)
from airstats.reports.desk import Desk
from airstats.reports.display import Section, show_table
from airstats.reports.update_sections import watched
from airstats.takeoff.sheet_quantities import Takeoff


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
        desk.jobs, desk.takeoff, _left_out(desk), *costs, desk.now, with_excluded
    )


@lru_cache(maxsize=1)
def _plain(desk: Desk) -> Regression:
    return plain_regression(regression_frame(desk.jobs))


def headline(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Say how well jobs were priced that the method had not seen."""
    costs = leftover_cost, short_cost
    yield evidence_text.evidence_headline(desk, _back_tested(desk, *costs), *costs)


def conclusion(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what would change the conclusion."""
    tried = _tried(desk, leftover_cost, short_cost)
    yield doubts_text.conclusion_words(tried)
    yield show_table(
        tried,
        "Order of the quarter's jobs and leading cause under other assumptions; waste in m² a m²"
        " laid",
        "assumption order_rolls orders_changed cause cause_rolls cause_half next_cause next_rolls"
        " next_half waste waste_half",
    )


def weaknesses(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """List what is weak in the method and in these data."""
    yield doubts_text.weakness_words(desk, _tried(desk, leftover_cost, short_cost))


def back_test(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Set what every way of pricing would have cost side by side."""
    result = _back_tested(desk, leftover_cost, short_cost)
    yield evidence_charts.backtest_costs(result) if result else None
    yield evidence_text.backtest_table(result)


def chances(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show whether the foretold chances came true."""
    result = _back_tested(desk, leftover_cost, short_cost)
    checked = forecast_checks.quantile_calibration(result) if result else forecast_checks.NONE
    yield evidence_text.calibration_words(checked, result)
    yield evidence_charts.calibration(checked) if len(checked) else None
    yield show_table(checked, "Uses below each foretold quantile")


def groups(desk: Desk) -> Section:
    """Show whether groups of jobs depart from what was foretold."""
    departures = group_departures(watched(desk), desk.jobs)
    yield evidence_text.group_words(departures)
    yield evidence_text.groups_shown(departures)


def set_apart(desk: Desk) -> Section:
    """List the jobs that are never fitted."""
    yield show_table(
        desk.excluded,
        "Jobs shown but never fitted",
        "job_id quarter crew estimated_rolls used_rolls exclude",
    )


def belief(desk: Desk) -> Section:
    """Show the starting belief, and how the candidates are weighed now."""
    start = allowance_changes.prior_table(desk.now.belief.prior)
    yield show_table(start, "The starting belief, number by number")
    yield show_table(
        allowance_changes.candidate_table(desk.now), "How the candidates are weighed now"
    )


def single_jobs(desk: Desk) -> Section:
    """Show how far single jobs move the allowances."""
    refitted = sensitivity.refit_without(desk.jobs, _left_out(desk))
    yield doubts_text.leave_out_words(_left_out(desk), refitted)
    yield evidence_charts.left_out(_left_out(desk))
    yield show_table(
        refitted,
        "The most influential jobs left out, in a step and in truth",
        "job_id quarter used_rolls moves_most move move_sd move_refit",
    )


def other_beliefs(desk: Desk) -> Section:
    """Show how much the starting belief matters."""
    priors = allowance_changes.prior_sensitivity(desk.jobs, desk.quarter)
    yield doubts_text.sensitivity_words(priors)
    yield show_table(
        priors, "Allowances under other starting beliefs, all jobs fitted at once, m² a m²"
    )


def more_jobs(desk: Desk) -> Section:
    """Show how many more jobs would halve each interval."""
    more = jobs_needed.jobs_to_halve(desk.now, desk.jobs)
    yield information_text.halving_words(more, jobs_needed.jobs_a_quarter(desk.jobs))
    yield information_text.halving_table(more)


def regression(desk: Desk) -> Section:
    """Show a plain regression of the overrun."""
    yield regression_text.regression_words(_plain(desk))
    yield show_table(_plain(desk).table, "Overrun, m²: least squares, HC3 errors")


def leaned_on(desk: Desk) -> Section:
    """Show which jobs the plain regression leans on."""
    found = find_influence(_plain(desk))
    slopes = slopes_without(regression_frame(desk.jobs), found)
    yield regression_text.influence_words(found, slopes)
    yield evidence_charts.residuals(found) if len(found.points) else None
    yield show_table(
        found.standing_out,
        "Jobs that stand out in the plain regression",
        "job_id fitted_m2 residual_m2 studentised leverage cooks why",
    )
    yield show_table(slopes, "Slopes with all jobs, and without the three most influential")


def agreement(desk: Desk) -> Section:
    """Set the slopes beyond the laid area beside the allowances."""
    beyond = plain_regression(regression_frame(desk.jobs), "beyond_m2")
    now = desk.now.table()
    yield regression_text.agreement_words(beyond, now)
    yield show_table(
        beyond.table, "Sheet beyond the laid area, m²: the slopes compare with the allowances"
    )
    yield show_table(now.rename_axis("allowance").reset_index(), "The allowances, to compare")


def several_firms(firms: Mapping[str, Takeoff]) -> Section:
    """Set several firms side by side; a sentence where there is one only."""
    each_firm = others.firm_table(firms)
    between = others.firm_spread(each_firm)
    yield firms_text.firm_words(between, firms)
    if len(firms) > 1:
        yield evidence_charts.firms(each_firm)
        yield firms_text.firms_shown(each_firm)
        yield firms_text.spread_shown(between)
