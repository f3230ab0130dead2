from dataclasses import replace

import pandas as pd
import pytest

from airstats.analysis.regressions import plain_regression, regression_frame
from airstats.analysis.sensitivity import leave_each_out, put_back, refit_without, try_conclusion
from airstats.base.number_text import number
from airstats.reports import doubts_text
from airstats.reports.desk import lay_out
from tests.benchmark.worlds import World, invent_firm
from tests.invented import WORLDS, desk_of, invent, texts


def test_sensitivity_names_what_moves_most():
    table = pd.DataFrame(
        {"prior": [*"ab"], "waste": [0.1, 0.11], "reveal.centre": [0.3, 0.5], "rolls": [100, 102]}
    )
    said = doubts_text.sensitivity_words(table).text
    assert "2.0 % at most" in said
    assert "reveal.centre, by 0.200" in said


def test_the_most_influential_job_is_named_with_its_move():
    def say(desk):
        influence = leave_each_out(desk.jobs)
        return doubts_text.leave_out_words(influence, refit_without(desk.jobs, influence, 1))

    found = texts(say)
    first = leave_each_out(desk_of(**WORLDS["small"]).jobs).iloc[0]
    said = f"{first['job_id']} ({first['quarter']}): without it {first['moves_most']}"
    assert said in found["small"]


def test_the_conclusion_names_the_leading_cause():
    found = texts(lambda desk: doubts_text.conclusion_words(tried_on(desk)))
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
    said = doubts_text.conclusion_words(table).text
    assert "waste leads the causes (40 ± 9.0 rolls; next laps, 36 rolls)" in said
    assert "no record wrong: 4 jobs ordered otherwise, 64 rolls in all" in said
    assert "flat factors only: laps would lead, with 36 rolls" in said
    close = doubts_text.conclusion_words(table.assign(close=True)).text
    assert "next laps, 36 rolls: too close to tell apart)" in close
    same = doubts_text.conclusion_words(table.assign(orders_changed=0, cause="waste")).text
    assert same.startswith("**Nothing tried here changes the conclusion**")


@pytest.fixture(scope="module")
def whole_rolls():
    firm = invent_firm(World("gross", jobs=24, quarters=2, gross_share=0.2), 3)
    return lay_out(firm.records)


def tried_on(desk):
    return try_conclusion(desk.jobs, desk.takeoff, leave_each_out(desk.jobs))


def test_the_way_of_counting_is_named_as_what_the_figures_hang_on(whole_rolls):
    tried = tried_on(whole_rolls)
    said = doubts_text.weakness_words(whole_rolls, tried).text
    usual, nearest = (
        f"{row['waste'] * 100:.1f} ± {row['waste_half'] * 100:.1f} %"
        for _, row in tried.iloc[[0, -1]].iterrows()
    )
    assert "24 of 24 jobs stand as opened rolls" in said
    assert f"waste would be {nearest} and not {usual} (90 %)" in said
    assert f"weight here {whole_rolls.now.form_weights()['reuse'] * 100:.0f} %" in said
    said = doubts_text.weakness_words(whole_rolls, tried_on(whole_rolls)).text
    fit = plain_regression(regression_frame(whole_rolls.jobs), "beyond_m2").table.iloc[0]
    recorded, rounded = (number(fit["coefficient"] + more, 0) for more in (0, 37.5))
    assert f"is {recorded} m² a job (95 %: {number(fit['low95'], 0)} to" in said
    assert f"as recorded and {rounded} m² a job" in said


def test_a_move_of_half_an_sd_is_counted_as_it_is_shown():
    influence = leave_each_out(desk_of(**WORLDS["small"]).jobs)
    none = influence.head(0).assign(move=0.0, move_refit=0.0)
    half = influence.assign(move_sd=[0.496, *[0.1] * (len(influence) - 1)])
    assert doubts_text.leave_out_words(half, none).text.startswith("1 of 12 jobs would")
    less = half.assign(move_sd=0.49)
    assert doubts_text.leave_out_words(less, none).text.startswith("No job would")


def test_weaknesses_that_the_data_do_not_have_are_not_claimed():
    exact = desk_of(**WORLDS["small"])
    said = doubts_text.weakness_words(exact, tried_on(exact)).text
    assert "No job counts opened rolls whole" in said
    rough = replace(exact, depth_error_mm=15.0)
    assert "but for depths (± 15 mm, sd)" in (
        doubts_text.weakness_words(rough, tried_on(exact)).text
    )


def test_records_likely_wrong_are_named_and_kept(whole_rolls):
    said = doubts_text.doubtful_words(whole_rolls).text
    suspects = whole_rolls.suspects()
    assert len(suspects)
    assert all(f"{job} (" in said for job in suspects["job_id"])
    none = doubts_text.doubtful_words(desk_of(**WORLDS["small"])).text
    assert none.startswith("No record is likely wrong. The share of")


def test_a_job_set_apart_can_be_put_back():
    records = invent(jobs=12)
    assert put_back(records) is None
    records.jobs.loc[3, "exclude"] = "a roll was lent"
    assert len(put_back(records)) == 12
    assert len(lay_out(records).jobs) == 11
