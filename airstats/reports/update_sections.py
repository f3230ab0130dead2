"""What the estimator's notebook of a new quarter shows, section by section."""

from __future__ import annotations

from functools import lru_cache

import pandas as pd

from airstats.analysis import case_deletion
from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.ewma_chart import crossings, drift_watch
from airstats.analysis.prior_predictive import prior_check
from airstats.model.allowances import Allowances
from airstats.reports import update_charts
from airstats.reports import update_text as said
from airstats.reports.desk import Desk
from airstats.reports.display import Section, show_table


@lru_cache(maxsize=1)
def _compared(desk: Desk) -> pd.DataFrame:
    return compare_allowances(desk.jobs, desk.before, desk.now, desk.depth_error_mm)


@lru_cache(maxsize=1)
def watched(desk: Desk) -> pd.DataFrame:
    """Return the desk's `drift_watch`, worked out once."""
    return drift_watch(desk.jobs, desk.chain, desk.previous, desk.depth_error_mm)


def headline(desk: Desk) -> Section:
    """Say what moved, and whether to accept."""
    yield said.allowance_headline(desk, _compared(desk), watched(desk))


def side_by_side(desk: Desk) -> Section:
    """Set the last value, this quarter's and the new one side by side."""
    yield update_charts.side_by_side(_compared(desk))
    yield show_table(
        _compared(desk),
        f"Allowances of {desk.quarter}; within ± one standard deviation (sd) lies the truth in"
        " about two cases of three",
        "allowance old old_sd alone alone_sd new new_sd unit verdict reason",
    )


def standing(decided: Allowances) -> Section:
    """Show the values that stand after the decision."""
    yield show_table(
        decided.table().rename_axis("allowance").reset_index(),
        f"What stands now in {decided.quarter}, with its 90 % interval",
        "allowance mean sd low high unit",
    )


def pulls(desk: Desk) -> Section:
    """Show which of the new jobs move the new values most."""
    found = case_deletion.pulls(desk.jobs, desk.before, desk.now, desk.depth_error_mm)
    yield said.pull_words(found)
    yield update_charts.pulls(found) if len(found) else None
    yield show_table(
        case_deletion.strongest(found),
        "The ten strongest pulls",
        "job_id crew quarter allowance pull unit pull_sds",
    )


def drift(desk: Desk) -> Section:
    """Show whether jobs depart from what was foretold."""
    yield said.watch_words(desk, watched(desk))
    yield update_charts.drift(watched(desk)) if len(watched(desk)) else None
    yield show_table(
        crossings(watched(desk), desk.quarter),
        "Lines that left their limits, where they last did",
        "line quarter job_id beyond_m2",
    )


def suspects(desk: Desk) -> Section:
    """List the records that are probably wrong."""
    yield show_table(desk.suspects(), "Records that are probably wrong")


def starting_belief(desk: Desk) -> Section:
    """Set the starting belief against the firm's jobs."""
    check = prior_check(desk.jobs, desk.now.belief.prior)
    yield said.prior_words(check)
    yield update_charts.prior_prediction(check)
