import numpy as np
import pandas as pd
import pytest

from airstats.analysis.allowance_changes import belief_table
from airstats.analysis.between_firms import firm_table
from airstats.analysis.sensitivity import leave_each_out, pull_on_order
from airstats.backtests.forecast_checks import interval_checks, quantile_calibration
from airstats.backtests.rolling import backtest
from airstats.reports import evidence_charts
from airstats.reports.evidence_appendix import rank_table
from airstats.reports.invented_firms import found
from tests.invented import desk_of
from tests.pages import assert_drawn


@pytest.fixture(scope="module")
def checked(desk):
    return interval_checks(backtest(desk.records), desk.jobs)


@pytest.fixture(scope="module")
def pictures(desk, checked):
    firms = {"own": desk.jobs, "other": desk_of(factor=0.2, seed=4).jobs}
    made = [
        evidence_charts.every_job(checked),
        evidence_charts.beliefs(belief_table(desk.now)),
        evidence_charts.influence(pull_on_order(desk.jobs, desk.own, leave_each_out(desk.jobs))),
        evidence_charts.calibration(quantile_calibration(backtest(desk.records))),
        evidence_charts.firms(firm_table(firms)),
        evidence_charts.ranks(rank_table(found("simulation_based", "ranks"))),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    drawn = ["every_job", "beliefs", "influence", "calibration", "firms", "ranks"]
    assert list(pictures) == drawn
    for picture in pictures.values():
        assert_drawn(picture)


def written(picture):
    return [text.get_text() for axes in picture.figure.axes for text in axes.texts]


def test_misses_are_named_on_the_picture_and_each_kind_is_counted(checked, pictures):
    words = written(pictures["every_job"])
    missed = checked[checked["where"].isin(["above", "below"])]
    assert 0 < len(missed) < len(checked)
    assert set(missed["job_id"]) <= {*words, *missed["job_id"].iloc[8:-8]}
    assert f"{len(missed)} jobs surely outside" in words
    inside = int(checked["where"].eq("inside").sum())
    assert f"{inside} job{'s' * (inside != 1)} surely inside" in words


def test_of_many_jobs_all_misses_and_one_in_so_many_are_drawn():
    jobs = 1000
    middle = np.linspace(-60, 60, jobs)
    ends = {"used_low_m2": 250 + middle - 10, "used_high_m2": 250 + middle + 10}
    table = pd.DataFrame({"job_id": [f"J{n}" for n in range(jobs)], "quarter": "2025Q1"})
    table = table.assign(expected_m2=250.0, low_m2=200.0, high_m2=300.0, **ends, where="left open")
    table.loc[[3, 7], "where"] = "below"
    drawn = evidence_charts.drawn_jobs(table)
    assert {"J3", "J7"} <= set(drawn["job_id"])
    assert len(drawn) == 202
    assert len(evidence_charts.drawn_jobs(table.head(240))) == 240
    assert any(
        "every 5th of the rest" in text for text in written(evidence_charts.every_job(table))
    )


def test_what_was_not_learnt_is_common_practice(desk):
    table = belief_table(desk.now).assign(learnt=0.09)
    names = [
        label.get_text()
        for axes in evidence_charts.beliefs(table).figure.axes
        for label in axes.get_yticklabels()
    ]
    assert all("common practice" in name for name in names)
    assert not any("reveal." in name or "reuse." in name for name in names)


def test_the_jobs_that_pull_most_and_depart_most_are_named(desk):
    table = pull_on_order(desk.jobs, desk.own, leave_each_out(desk.jobs))
    table.loc[len(table) - 1, "departure_sd"] = -9.0
    words = written(evidence_charts.influence(table))
    assert set(table["job_id"].head(5)) <= set(words)
    assert f"{table['job_id'].iloc[-1]} (at −9 sd)" in words


def test_calibration_says_what_chance_allows(pictures):
    assert "below the 10 % point" in pictures["calibration"].alt
    assert "chance allows" in pictures["calibration"].alt


def test_every_firm_has_its_mark_in_every_panel(pictures):
    panels = pictures["firms"].figure.axes
    assert [axes.get_title(loc="left") for axes in panels] == [
        "waste", "corner to corner", "slit", "lined",
    ]  # fmt: skip
    assert all(len(axes.get_yticks()) == 2 for axes in panels)


def test_a_mean_outside_its_interval_is_drawn_all_the_same(desk):
    table = belief_table(desk.now)
    table.loc[table.index[-1], ["mean", "low", "high"]] = 0.02, 0.0, 0.015
    assert_drawn(evidence_charts.beliefs(table))
