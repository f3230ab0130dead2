from types import SimpleNamespace

import pandas as pd
import pytest

from airstats.analysis.ewma_chart import drift_watch
from airstats.analysis.regressions import mean_by_cluster
from airstats.backtests.forecast_checks import NONE, group_departures, quantile_calibration
from airstats.backtests.rolling import backtest
from airstats.reports import evidence_text
from tests.invented import WORLDS, desk_of, texts


@pytest.fixture(scope="module")
def result():
    return backtest(desk_of(**WORLDS["reveals"]).records)


def headline(result, **columns):
    """What is said where the jobs of the back-test were otherwise."""
    jobs = result.jobs.assign(**columns)
    told = SimpleNamespace(jobs=jobs, summary=result.summary, held_80=result.held_80)
    return evidence_text.evidence_headline(desk_of(**WORLDS["reveals"]), told).text


def test_the_headline_gives_every_difference_with_its_interval(result):
    desk = desk_of(**WORLDS["reveals"])
    said = evidence_text.evidence_headline(desk, result).text
    assert f"held {result.held_80 * 100:.0f} % of the uses" in said
    assert "(chance alone: 72 % to 88 %)" in said
    own = mean_by_cluster(result.jobs["airstats_cost"], result.jobs["quarter"])
    paid = f"{own['mean']:.0f} money a job ({own['low']:.0f} to {own['high']:.0f};"
    assert f"cost {paid} every interval here: 90 %) at 240 a roll short and 60" in said
    assert "needs two" in evidence_text.evidence_headline(desk, None).text
    assert "Foretold to run short: " in said
    table = evidence_text.backtest_table(result).frame.set_index("rule")
    flat = table.loc["surface and a flat 10 %"]
    ends = f"{flat['dearer_low']:.0f} to {flat['dearer_high']:.0f}"
    assert f"surface and a flat 10 % cost {flat['dearer']:.0f} more ({ends})" in said


def test_ways_not_told_apart_and_too_many_short_are_said(result):
    alike = result.jobs["airstats_cost"] + (result.jobs.index == 0)
    said = headline(result, least_squares_cost=alike)
    apart = said.split("do not tell our cost apart from ")[1].split("**")[0]
    assert "least squares on the middle of each count (" in apart
    said = headline(result, estimated_cost=result.jobs["airstats_cost"])
    assert "what was really priced (the same on every job)" in said
    said = headline(result, airstats_rolls=0.0)
    assert "72 did, more than chance allows: the orders are too small" in said


def test_calibration_is_judged_as_far_as_whole_rolls_let_it(result):
    table = quantile_calibration(result)
    assert "blunt" not in evidence_text.calibration_words(table).text
    said = evidence_text.calibration_words(table.assign(surely=0.1, possibly=0.9)).text
    assert "anything from 10 % to 90 % may lie below" in said

    def say(desk):
        return evidence_text.calibration_words(quantile_calibration(backtest(desk.records)))

    assert "Of 72 jobs" in texts(say)["reveals"]
    table = quantile_calibration(result)
    off = evidence_text.calibration_words(table.assign(verdict="too few")).text
    assert "too few below 10 %" in off
    assert "further off than chance allows" in off
    assert "one quarter" in evidence_text.calibration_words(NONE).text


def test_a_crew_that_departs_is_named():
    desk = desk_of(**WORLDS["crew"])
    watch = drift_watch(desk.jobs, desk.chain)
    known = group_departures(watch, desk.jobs)
    assert set(known["jobs_of"]) >= {"all jobs", "small jobs", "crew Damson"}
    damson = watch["job_id"].isin(desk.jobs.table.query("crew == 'Damson'")["job_id"])
    more = watch.assign(beyond_m2=watch["beyond_m2"] + 50.0 * damson)
    said = evidence_text.group_words(group_departures(more, desk.jobs)).text
    assert "crew Damson more (" in said
    assert "of 8 groups chance alone would make about 0.8 depart" in said
    assert evidence_text.group_words(pd.DataFrame()).text.startswith("Too few jobs")
