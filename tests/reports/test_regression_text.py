import pandas as pd

from airstats.analysis.regressions import (
    find_influence,
    plain_regression,
    regression_frame,
    slopes_without,
)
from airstats.reports import regression_text
from tests.invented import WORLDS, desk_of, texts


def leaned_on(desk):
    frame = regression_frame(desk.jobs)
    influence = find_influence(plain_regression(frame))
    return influence, slopes_without(frame, influence)


def test_regression_words_follow_the_fits_or_say_that_there_is_none():
    desk = desk_of(**WORLDS["reveals"])
    frame = regression_frame(desk.jobs)
    plain = regression_text.regression_words(plain_regression(frame)).text
    assert "clearly different from nothing (95 %): " in plain
    assert "reveal_diagonal_m2 0." in plain
    assert "Left out, as fewer than two jobs hold it: reveal_lined_m2" in plain
    assert "too few" in regression_text.regression_words(plain_regression(frame.head(3))).text
    frame = regression_frame(desk_of(**WORLDS["small"]).jobs).head(3)
    influence = find_influence(plain_regression(frame))
    said = regression_text.influence_words(influence, slopes_without(frame, influence)).text
    assert said == "No regression was fitted, so no job can stand out in it."


def test_an_allowance_outside_its_slope_is_named():
    desk = desk_of(**WORLDS["reveals"])
    beyond = plain_regression(regression_frame(desk.jobs), "beyond_m2")
    table = desk.now.table()
    assert "No allowance lies outside" in regression_text.agreement_words(beyond, table).text
    table.loc["waste", "mean"] = 5.0
    said = regression_text.agreement_words(beyond, table).text
    assert said.startswith("waste lies outside the 95 % interval of its slope (3 compared)")


def test_jobs_that_stand_out_are_named_with_a_reason():
    found = texts(lambda desk: regression_text.influence_words(*leaned_on(desk)))
    influence, slopes = leaned_on(desk_of(**WORLDS["reveals"]))
    first = influence.standing_out.iloc[0]
    assert f"{first['job_id']} ({first['cooks']:.2f}, {first['why']})" in found["reveals"]
    rows = slopes[slopes["term"].ne("intercept")]
    most = rows.loc[rows["change"].abs().idxmax(), "term"]
    assert f"the slope that moves most is {most}, from" in found["reveals"]


def test_a_slope_that_turns_is_said():
    slopes = pd.DataFrame(
        {"term": ["laid_m2", "reveal_centre_m2"], "coefficient": [0.1, 0.5], "se": [0.1, 0.1],
         "without": [-0.1, 0.4], "change": [-2.0, -1.0], "unit": "m² a m²"}
    )  # fmt: skip
    influence, _ = leaned_on(desk_of(jobs=12))
    assert "laid_m2 changes sign." in regression_text.influence_words(influence, slopes).text
    kept = regression_text.influence_words(influence, slopes.assign(without=[0.2, 0.4])).text
    assert "no slope changes its sign." in kept
