from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from airstats.analysis.between_firms import firm_spread, firm_table
from airstats.analysis.ewma_chart import drift_watch
from airstats.analysis.regressions import (
    find_influence,
    mean_by_cluster,
    plain_regression,
    regression_frame,
    slopes_without,
)
from airstats.analysis.sensitivity import leave_each_out, put_back, refit_without, try_conclusion
from airstats.backtests.forecast_checks import NONE, group_departures, quantile_calibration
from airstats.backtests.rolling import backtest
from airstats.base.number_text import number
from airstats.model.posterior import with_depth_error
from airstats.reports import evidence_text
from airstats.reports.desk import lay_out
from tests.benchmark.worlds import World, invent_firm
from tests.invented import WORLDS, desk_of, invent, texts


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


def test_sensitivity_names_what_moves_most():
    table = pd.DataFrame(
        {"prior": [*"ab"], "waste": [0.1, 0.11], "reveal.centre": [0.3, 0.5], "rolls": [100, 102]}
    )
    said = evidence_text.sensitivity_words(table).text
    assert "2.0 % at most" in said
    assert "reveal.centre, by 0.200" in said


def test_the_most_influential_job_is_named_with_its_move():
    def say(desk):
        influence = leave_each_out(desk.jobs)
        return evidence_text.leave_out_words(influence, refit_without(desk.jobs, influence, 1))

    found = texts(say)
    first = leave_each_out(desk_of(**WORLDS["small"]).jobs).iloc[0]
    said = f"{first['job_id']} ({first['quarter']}): without it {first['moves_most']}"
    assert said in found["small"]


def test_the_conclusion_names_the_leading_cause():
    found = texts(lambda desk: evidence_text.conclusion_words(tried_on(desk)))
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
            "cause_half": [9.0, 9.0, 0.0],
            "next_half": [0.0, 0.0, 8.0],
            "close": [False, False, False],
        }
    )
    said = evidence_text.conclusion_words(table).text
    assert "waste leads the causes (40 ± 9.0 rolls; next laps, 36 rolls)" in said
    assert "no record wrong: 4 jobs ordered otherwise, 64 rolls in all" in said
    assert "flat factors only: laps would lead, with 36 rolls" in said
    close = evidence_text.conclusion_words(table.assign(close=True)).text
    assert "next laps, 36 rolls: too close to tell apart)" in close
    same = evidence_text.conclusion_words(table.assign(orders_changed=0, cause="waste")).text
    assert same.startswith("**Nothing tried here changes the conclusion**")


@pytest.fixture(scope="module")
def whole_rolls():
    firm = invent_firm(World("gross", jobs=24, quarters=2, gross_share=0.2), 3)
    return lay_out(firm.records)


def tried_on(desk):
    return try_conclusion(desk.jobs, desk.takeoff, leave_each_out(desk.jobs))


def test_the_way_of_counting_is_named_as_what_the_figures_hang_on(whole_rolls):
    tried = tried_on(whole_rolls)
    said = evidence_text.weakness_words(whole_rolls, tried).text
    usual, nearest = (
        f"{row['waste'] * 100:.1f} ± {row['waste_half'] * 100:.1f} %"
        for _, row in tried.iloc[[0, -1]].iterrows()
    )
    assert "24 of 24 jobs stand as opened rolls" in said
    assert f"waste would be {nearest} and not {usual} (90 %)" in said
    assert f"weight here {whole_rolls.now.form_weights()['reuse'] * 100:.0f} %" in said
    said = evidence_text.weakness_words(whole_rolls, tried_on(whole_rolls)).text
    fit = plain_regression(regression_frame(whole_rolls.jobs), "beyond_m2").table.iloc[0]
    recorded, rounded = (number(fit["coefficient"] + more, 0) for more in (0, 37.5))
    assert f"is {recorded} m² a job (95 %: {number(fit['low95'], 0)} to" in said
    assert f"as recorded and {rounded} m² a job" in said


def test_a_move_of_half_an_sd_is_counted_as_it_is_shown():
    influence = leave_each_out(desk_of(**WORLDS["small"]).jobs)
    none = influence.head(0).assign(move=0.0, move_refit=0.0)
    half = influence.assign(move_sd=[0.496, *[0.1] * (len(influence) - 1)])
    assert evidence_text.leave_out_words(half, none).text.startswith("1 of 12 jobs would")
    less = half.assign(move_sd=0.49)
    assert evidence_text.leave_out_words(less, none).text.startswith("No job would")


def test_weaknesses_that_the_data_do_not_have_are_not_claimed():
    exact = desk_of(**WORLDS["small"])
    said = evidence_text.weakness_words(exact, tried_on(exact)).text
    assert "No job counts opened rolls whole" in said
    known = replace(exact.now, belief=with_depth_error(exact.now.belief, 15.0))
    rough = replace(exact, chain=(*exact.chain[:-1], known))
    assert "but for depths (± 15 mm, sd)" in (
        evidence_text.weakness_words(rough, tried_on(exact)).text
    )


def test_records_likely_wrong_are_named_and_kept(whole_rolls):
    said = evidence_text.doubtful_words(whole_rolls).text
    suspects = whole_rolls.suspects()
    assert len(suspects)
    assert all(f"{job} (" in said for job in suspects["job_id"])
    none = evidence_text.doubtful_words(desk_of(**WORLDS["small"])).text
    assert none.startswith("No record is likely wrong. The share of")


def test_a_job_set_apart_can_be_put_back():
    records = invent(jobs=12)
    assert put_back(records) is None
    records.jobs.loc[3, "exclude"] = "a roll was lent"
    assert len(put_back(records)) == 12
    assert len(lay_out(records).jobs) == 11


def leaned_on(desk):
    frame = regression_frame(desk.jobs)
    influence = find_influence(plain_regression(frame))
    return influence, slopes_without(frame, influence)


def test_regression_words_follow_the_fits_or_say_that_there_is_none():
    desk = desk_of(**WORLDS["reveals"])
    frame = regression_frame(desk.jobs)
    plain = evidence_text.regression_words(plain_regression(frame)).text
    assert "clearly different from nothing (95 %): " in plain
    assert "reveal_diagonal_m2 0." in plain
    assert "Left out, as fewer than two jobs hold it: reveal_lined_m2" in plain
    assert "too few" in evidence_text.regression_words(plain_regression(frame.head(3))).text
    frame = regression_frame(desk_of(**WORLDS["small"]).jobs).head(3)
    influence = find_influence(plain_regression(frame))
    said = evidence_text.influence_words(influence, slopes_without(frame, influence)).text
    assert said == "No regression was fitted, so no job can stand out in it."


def test_an_allowance_outside_its_slope_is_named():
    desk = desk_of(**WORLDS["reveals"])
    beyond = plain_regression(regression_frame(desk.jobs), "beyond_m2")
    table = desk.now.table()
    assert "No allowance lies outside" in evidence_text.agreement_words(beyond, table).text
    table.loc["waste", "mean"] = 5.0
    said = evidence_text.agreement_words(beyond, table).text
    assert said.startswith("waste lies outside the 95 % interval of its slope (3 compared)")


def test_jobs_that_stand_out_are_named_with_a_reason():
    found = texts(lambda desk: evidence_text.influence_words(*leaned_on(desk)))
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
    assert "laid_m2 changes sign." in evidence_text.influence_words(influence, slopes).text
    kept = evidence_text.influence_words(influence, slopes.assign(without=[0.2, 0.4])).text
    assert "no slope changes its sign." in kept


def test_firms_alike_and_firms_apart():
    own, twin, other = (
        desk_of(**world).jobs
        for world in (WORLDS["reveals"], WORLDS["reveals"] | {"seed": 4}, WORLDS["crew"])
    )
    alike, apart = ({"own": own, "other": jobs} for jobs in (twin, other))
    said = evidence_text.firm_words(firm_spread(firm_table(alike)), alike).text
    assert "The 2 firms do not differ by more than chance" in said
    said = evidence_text.firm_words(firm_spread(firm_table(apart)), apart).text
    assert "The 2 firms differ in" in said
    assert "reveal.lined" in said.partition("not enough to tell: ")[2]
    alone = evidence_text.firm_words(pd.DataFrame(), {"own": own}).text
    assert "No other firm's records" in alone


def test_what_is_noted_of_a_firm_is_said():
    jobs = desk_of(**WORLDS["reveals"]).jobs
    firms = {"own": jobs, "other": replace(jobs, notes=("other: columns not read: hue.",))}
    said = evidence_text.firm_words(firm_spread(firm_table(firms)), firms).text
    assert said.endswith("\n\nNote: other: columns not read: hue.")
