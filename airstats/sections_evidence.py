"""What the consultant's notebook shows, section by section: the evidence."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import pandas as pd

from airstats import (
    came_true,
    charts_evidence,
    comparison,
    diagnostics,
    information,
    sensitivity,
    words_doubts,
    words_evidence,
    words_firms,
    words_information,
    words_regression,
)
from airstats import firms as others
from airstats.came_true import group_departures
from airstats.desk import Desk
from airstats.evidence import Regression, plain_regression, regression_frame
from airstats.looking_back import Backtest, backtest
from airstats.screen import Section, show_table
from airstats.sections_update import watched
from airstats.takeoff import Takeoff


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
    yield words_evidence.evidence_headline(desk, _back_tested(desk, *costs), *costs)


def conclusion(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what would change the conclusion."""
    tried = _tried(desk, leftover_cost, short_cost)
    yield words_doubts.conclusion_words(tried)
    yield show_table(
        tried,
        "Order of the quarter's jobs and leading cause under other assumptions; waste in m² a m²"
        " laid",
        "assumption order_rolls orders_changed cause cause_rolls cause_half next_cause next_rolls"
        " next_half waste waste_half",
    )


def weaknesses(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """List what is weak in the method and in these data."""
    yield words_doubts.weakness_words(desk, _tried(desk, leftover_cost, short_cost))


def back_test(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Set what every way of pricing would have cost side by side."""
    result = _back_tested(desk, leftover_cost, short_cost)
    yield charts_evidence.backtest_costs(result) if result else None
    yield words_evidence.backtest_table(result)


def chances(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show whether the foretold chances came true."""
    result = _back_tested(desk, leftover_cost, short_cost)
    checked = came_true.quantile_calibration(result) if result else came_true.NONE
    yield words_evidence.calibration_words(checked, result)
    yield charts_evidence.calibration(checked) if len(checked) else None
    yield show_table(checked, "Uses below each foretold quantile")


def groups(desk: Desk) -> Section:
    """Show whether groups of jobs depart from what was foretold."""
    departures = group_departures(watched(desk), desk.jobs)
    yield words_evidence.group_words(departures)
    yield words_evidence.groups_shown(departures)


def set_apart(desk: Desk) -> Section:
    """List the jobs that are never fitted."""
    yield show_table(
        desk.excluded,
        "Jobs shown but never fitted",
        "job_id quarter crew estimated_rolls used_rolls exclude",
    )


def belief(desk: Desk) -> Section:
    """Show the starting belief, and how the candidates are weighed now."""
    start = comparison.prior_table(desk.now.belief.prior)
    yield show_table(start, "The starting belief, number by number")
    yield show_table(comparison.candidate_table(desk.now), "How the candidates are weighed now")


def single_jobs(desk: Desk) -> Section:
    """Show how far single jobs move the allowances."""
    refitted = sensitivity.refit_without(desk.jobs, _left_out(desk))
    yield words_doubts.leave_out_words(_left_out(desk), refitted)
    yield charts_evidence.left_out(_left_out(desk))
    yield show_table(
        refitted,
        "The most influential jobs left out, in a step and in truth",
        "job_id quarter used_rolls moves_most move move_sd move_refit",
    )


def other_beliefs(desk: Desk) -> Section:
    """Show how much the starting belief matters."""
    priors = comparison.prior_sensitivity(desk.jobs, desk.quarter)
    yield words_doubts.sensitivity_words(priors)
    yield show_table(
        priors, "Allowances under other starting beliefs, all jobs fitted at once, m² a m²"
    )


def more_jobs(desk: Desk) -> Section:
    """Show how many more jobs would halve each interval."""
    more = information.jobs_to_halve(desk.now, desk.jobs)
    yield words_information.halving_words(more, information.jobs_a_quarter(desk.jobs))
    yield words_information.halving_table(more)


def regression(desk: Desk) -> Section:
    """Show a plain regression of the overrun."""
    yield words_regression.regression_words(_plain(desk))
    yield show_table(_plain(desk).table, "Overrun, m²: least squares, HC3 errors")


def leaned_on(desk: Desk) -> Section:
    """Show which jobs the plain regression leans on."""
    found = diagnostics.find_influence(_plain(desk))
    slopes = diagnostics.slopes_without(regression_frame(desk.jobs), found)
    yield words_regression.influence_words(found, slopes)
    yield charts_evidence.residuals(found) if len(found.points) else None
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
    yield words_regression.agreement_words(beyond, now)
    yield show_table(
        beyond.table, "Sheet beyond the laid area, m²: the slopes compare with the allowances"
    )
    yield show_table(now.rename_axis("allowance").reset_index(), "The allowances, to compare")


def several_firms(firms: Mapping[str, Takeoff]) -> Section:
    """Set several firms side by side; a sentence where there is one only."""
    each_firm = others.firm_table(firms)
    between = others.firm_spread(each_firm)
    yield words_firms.firm_words(between, firms)
    if len(firms) > 1:
        yield charts_evidence.firms(each_firm)
        yield words_firms.firms_shown(each_firm)
        yield words_firms.spread_shown(between)
