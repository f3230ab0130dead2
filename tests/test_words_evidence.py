import numpy as np
import pandas as pd
import pytest

from airstats import words_evidence
from airstats.desk import lay_out
from airstats.diagnostics import NONE, find_influence, quantile_calibration, slopes_without
from airstats.evidence import mixed_regression, plain_regression, regression_frame
from airstats.firms import firm_spread, firm_table
from airstats.information import jobs_a_quarter, jobs_to_halve
from airstats.looking_back import backtest
from airstats.sensitivity import leave_each_out, refit_without, try_conclusion
from tests.invented import invent

WORLDS = {
    "reveals": {"factor": 0.8, "reveal_mm": 600.0, "jobs": 96},
    "crew": {"factor": 0.2, "reveal_mm": 100.0, "crew_extra": 0.25},
    "small": {"factor": 0.5, "jobs": 12},
}


@pytest.fixture(scope="module")
def desks():
    return {name: lay_out(invent(**world)) for name, world in WORLDS.items()}


def texts(say, desks):
    found = {name: say(desk).text for name, desk in desks.items()}
    assert len(set(found.values())) == len(WORLDS), "the words must follow the data"
    return found


def leaned_on(desk):
    frame = regression_frame(desk.jobs)
    influence = find_influence(plain_regression(frame))
    return influence, slopes_without(frame, influence)


def test_evidence_words_follow_the_fits(desks):
    reveals = desks["reveals"]
    result = backtest(reveals.records)
    said = words_evidence.evidence_headline(reveals, result).text
    assert f"held {result.held_80:.0%}" in said
    assert "needs two" in words_evidence.evidence_headline(reveals, None).text
    frame = regression_frame(reveals.jobs)
    plain = words_evidence.regression_words(plain_regression(frame)).text
    assert "reveal_diagonal_m2 +" in plain
    assert "Left out, as no job holds it: reveal_lined_m2" in plain
    assert "too few" in words_evidence.regression_words(plain_regression(frame.head(3))).text
    assert "converged: " in words_evidence.mixed_words(mixed_regression(frame)).text


def test_sensitivity_names_what_moves_most():
    table = pd.DataFrame(
        {
            "prior": ["a", "b"],
            "waste": [0.1, 0.11],
            "reveal.centre": [0.3, 0.5],
            "rolls": [100, 102],
        }
    )
    said = words_evidence.sensitivity_words(table).text
    assert "2.0% at most" in said
    assert "reveal.centre, by 0.200" in said


def test_jobs_that_stand_out_are_named_with_a_reason(desks):
    found = texts(lambda desk: words_evidence.influence_words(*leaned_on(desk)), desks)
    influence, slopes = leaned_on(desks["reveals"])
    first = influence.standing_out.iloc[0]
    assert f"{first['job_id']} ({first['cooks']:.2f}, {first['why']})" in found["reveals"]
    rows = slopes[slopes["term"].ne("intercept")]
    most = rows.loc[rows["change"].abs().idxmax(), "term"]
    assert f"the slope that moves most is {most}, from" in found["reveals"]


def test_a_slope_that_turns_is_said():
    slopes = pd.DataFrame(
        {
            "term": ["laid_m2", "reveal_centre_m2"],
            "coefficient": [0.1, 0.5],
            "se": [0.1, 0.1],
            "without": [-0.1, 0.4],
            "change": [-2.0, -1.0],
            "unit": "m² a m²",
        }
    )
    influence, _ = leaned_on(lay_out(invent(jobs=12)))
    assert "laid_m2 changes sign." in words_evidence.influence_words(influence, slopes).text
    kept = words_evidence.influence_words(influence, slopes.assign(without=[0.2, 0.4])).text
    assert "no slope changes its sign." in kept


def test_no_regression_means_no_influence(desks):
    frame = regression_frame(desks["small"].jobs).head(3)
    influence = find_influence(plain_regression(frame))
    said = words_evidence.influence_words(influence, slopes_without(frame, influence)).text
    assert said == "No regression was fitted, so no job can stand out in it."


def test_the_most_influential_job_is_named_with_its_move(desks):
    def say(desk):
        influence = leave_each_out(desk.jobs)
        return words_evidence.leave_out_words(influence, refit_without(desk.jobs, influence, 1))

    found = texts(say, desks)
    first = leave_each_out(desks["small"].jobs).iloc[0]
    assert (
        f"{first['job_id']} ({first['quarter']}): without it {first['moves_most']}"
        in (found["small"])
    )


def test_the_conclusion_names_the_leading_cause(desks):
    def say(desk):
        influence = leave_each_out(desk.jobs)
        return words_evidence.conclusion_words(try_conclusion(desk.jobs, desk.takeoff, influence))

    found = texts(say, desks)
    assert "reveals lead the causes" in found["reveals"]
    assert "reveals lead the causes" not in found["crew"]


def test_what_would_change_the_conclusion_is_said():
    table = pd.DataFrame(
        {
            "assumption": ["as documented", "no record wrong", "flat factors only"],
            "order_rolls": [60, 64, 60],
            "orders_changed": [0, 4, 0],
            "cause": ["waste", "waste", "laps"],
            "cause_rolls": [40.0, 41.0, 36.0],
            "next_cause": ["laps", "laps", "waste"],
            "next_rolls": [36.0, 36.0, 35.0],
            "close": [False, False, False],
        }
    )
    said = words_evidence.conclusion_words(table).text
    assert "waste leads the causes (40 rolls; next laps, 36)" in said
    assert "no record wrong: 4 jobs ordered otherwise, 64 rolls in all" in said
    assert "flat factors only: laps would lead" in said
    close = words_evidence.conclusion_words(table.assign(close=True)).text
    assert "next laps, 36: too close to tell apart)" in close
    same = words_evidence.conclusion_words(table.assign(orders_changed=0, cause="waste")).text
    assert same.startswith("**Nothing tried here changes the conclusion**")


def test_jobs_to_halve_follow_the_firm(desks):
    def say(desk):
        table = jobs_to_halve(desk.now, desk.jobs)
        return words_evidence.halving_words(table, jobs_a_quarter(desk.jobs))

    found = texts(say, desks)
    assert found["reveals"].startswith("At 24.0 jobs a quarter")
    assert found["small"].startswith("At 3.0 jobs a quarter")
    never = found["reveals"].split("; not ")[1].split(":")[0]
    assert "reveal.lined" in never  # the jobs hold no lined opening


def test_out_of_reach_is_said_in_words_and_table():
    table = pd.DataFrame(
        {
            "allowance": ["waste", "reveal.centre"],
            "sd": [0.02, 0.1],
            "jobs_still": [np.inf, 100.0],
            "sd_still": [0.015, 0.01],
            "quarters_drift": [np.inf, np.inf],
            "jobs_drift": [np.inf, np.inf],
            "sd_drift": [0.018, 0.08],
            "unit": "m²",
        }
    )
    said = words_evidence.halving_words(table, 10.0).text
    assert "reveal.centre 100 jobs (2 years); not waste" in said
    assert "none is ever halved" in said
    assert "waste settles at ± 0.018 (sd), now ± 0.020" in said
    shown = words_evidence.halving_table(table)
    assert shown.frame["jobs_drift"].to_list() == ["out of reach"] * 2
    reached = words_evidence.halving_words(table.assign(jobs_drift=[np.inf, 150.0]), 10.0).text
    assert "With the drift as learnt: reveal.centre 150 jobs; waste never." in reached


def test_calibration_is_judged(desks):
    found = texts(
        lambda desk: words_evidence.calibration_words(quantile_calibration(backtest(desk.records))),
        desks,
    )
    assert "Of 72 jobs" in found["reveals"]
    table = quantile_calibration(backtest(desks["reveals"].records))
    off = words_evidence.calibration_words(table.assign(verdict="too few")).text
    assert "too few below 10 %" in off
    assert "further off than chance allows" in off
    assert "one quarter" in words_evidence.calibration_words(NONE).text


def test_firms_alike_and_firms_apart(desks):
    alike = {
        "own": desks["reveals"].jobs,
        "twin": lay_out(invent(**WORLDS["reveals"], seed=4)).jobs,
    }
    apart = {"own": desks["reveals"].jobs, "other": desks["crew"].jobs}
    said = []
    for firms in (alike, apart):
        said.append(words_evidence.firm_words(firm_spread(firm_table(firms)), len(firms)).text)
    assert "The 2 firms do not differ by more than chance" in said[0]
    assert "The 2 firms differ in" in said[1]
    assert "not enough to tell: reveal.lined" in said[1]
    assert "## " not in words_evidence.firm_words(firm_spread(firm_table(alike)), 1).text
