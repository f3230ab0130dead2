import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from airstats.analysis.overrun_split import NET, SHORT_WORDS, overrun_table
from airstats.analysis.overrun_views import overrun_by_reveals, usual_split
from airstats.analysis.sensitivity import AT_ONCE, TO_THE_NEAREST, leave_each_out, try_conclusion
from airstats.backtests.forecast_checks import ABOVE, INSIDE, OPEN, cost_differences, own_cost
from airstats.backtests.rolling import backtest, measures
from airstats.base.number_text import between, give_or_take, signed
from airstats.reports import evidence_text, owner_text
from airstats.reports.desk import lay_out
from airstats.reports.display import Picture, Table
from airstats.reports.invented_firms import found
from airstats.reports.shared_text import counted_as_told
from tests.benchmark.worlds import World, invent_firm
from tests.invented import WORLDS, change, counted_whole, desk_of, invent, keep, texts
from tests.reports.five_firms import FIRMS, five_desk, truth_of

COSTS = (60.0, 240.0)


def said_of(desk):
    """The first sentences of the page."""
    return next(iter(evidence_text.answer(desk, *COSTS))).text


@pytest.mark.parametrize("name", FIRMS)
def test_the_first_sentences_are_true_of_each_firm(name):
    said, truth = said_of(five_desk(name)), truth_of(name)
    bold, _, rest = said.removeprefix("**").partition("**")
    over = float(bold.partition(" used ")[2].partition(" ")[0].replace(",", ""))
    way = 1 if "more than priced" in bold.partition(";")[0] else -1
    assert way * over == pytest.approx(truth["over"], abs=0.06)
    told = {
        "reveals dominate": "; reveals account for ",
        "a crew wastes": "; crew Damson accounts for ",
        "nothing to find": "which chance explains",
        "a flat share is as good": "; reveals account for ",
        "three jobs only": "cannot be tested before 2 jobs follow a first quarter",
    }[name]
    assert told in bold
    if " for " in told:
        mean, half = bold.partition(told)[2].partition(" rolls")[0].split(" ± ")
        true = truth["crew" if "crew" in told else "reveals"]
        assert abs(float(mean) - true) <= 1.5 * float(half)
    rival = {
        "reveals dominate": "would have cost ",
        "a crew wastes": "would have cost ",
        "a flat share is as good": "it may do as well.",
        "three jobs only": "A flat share cannot be compared",
    }
    assert rival.get(name, "The fairest rival") in rest
    if rival.get(name) == "would have cost ":
        assert " a job more (" in rest
        assert "may do as well" not in rest


@pytest.fixture(scope="module")
def desk_of_reveals():
    return desk_of(**WORLDS["reveals"])


@pytest.fixture(scope="module")
def result(desk_of_reveals):
    return evidence_text.back_tested(desk_of_reveals, *COSTS)


def test_the_answer_gives_cost_and_difference_with_their_intervals(desk_of_reveals, result):
    said = said_of(desk_of_reveals)
    really = cost_differences(result).set_index("rule").loc["estimated"]
    mean = own_cost(result)["mean"]
    assert f"72 jobs would have cost {mean:.0f} of your money each in rolls short and" in said
    ends = f"{really['low']:.0f} to {really['high']:.0f}"
    assert f", {really['mean']:.0f} less than at their real prices ({ends} less, 90 %)" in said


@pytest.mark.parametrize(
    ("ours", "really", "told"),
    [
        (0.0, 0.0, "would have cost nothing in rolls short and left over, as much as at their"),
        (9.0, 9.0, "cost 9 of your money each in rolls short and left over, as much as at"),
        (0.0, 7.0, "7 less than at their real prices (7 to 7 less, 90 %)"),
        (7.0, 0.0, "7 more than at their real prices (7 to 7 more, 90 %)"),
        (9.0, None, "left over, which cannot be told from what they cost at their real prices ("),
    ],
)
def test_what_costs_nothing_or_the_same_is_said_so(result, ours, really, told):
    turn = 30.0 * np.sin(np.arange(len(result.jobs)))
    jobs = result.jobs.assign(airstats_cost=ours)
    jobs["estimated_cost"] = ours + turn if really is None else really
    said = evidence_text._priced(desk_of(**WORLDS["reveals"]), replace(result, jobs=jobs))
    assert told in said


def test_the_parts_of_the_overrun_are_those_of_the_owners_picture(desk_of_reveals):
    _, parts = evidence_text.answer(desk_of_reveals, *COSTS)
    split = usual_split(desk_of_reveals.jobs, desk_of_reveals.now, causes=NET).set_index("cause")
    for name, words in (("reveals", "reveals"), ("laps_and_waste", "laps and waste beyond the")):
        assert f"{words} " in parts.text
        assert f" {give_or_take(split.loc[name])}, " in parts.text
    over = float(overrun_table(desk_of_reveals.jobs)["overrun_rolls"].sum())
    assert split["mean"].sum() == pytest.approx(over)
    assert f", together {signed(over)}. " in parts.text


def test_a_known_weakness_of_the_reveals_stands_on_the_first_page():
    few, many = (found("hidden_firms", f"reveals 0.8, {jobs} jobs") for jobs in (24, 96))
    for name, far in (("three jobs only", few), ("reveals dominate", many)):
        said = evidence_text._read_low(five_desk(name))
        assert f"came to {far['now: reveal.diagonal']:.2f} m² a m² on average" in said
        assert f"in {100 * far['now: reveal.diagonal_90']:.0f} % of them" in said
    lined = invent(jobs=12)
    lined.openings["cut_pattern"] = "lined"
    assert evidence_text._read_low(lay_out(lined)) == ""


def rival(result, more):
    """What is said of a flat share that costs so much more on every job."""
    jobs = result.jobs.assign(flat_learnt_cost=result.jobs["airstats_cost"] + more)
    return evidence_text._rival(desk_of(**WORLDS["reveals"]), SimpleNamespace(jobs=jobs), 0.2)


def test_a_flat_share_is_dearer_cheaper_or_not_told_apart(result):
    turn = 30.0 * np.sin(np.arange(len(result.jobs)))
    assert "would have cost 20 a job more (20 to 20, 90 %)" in rival(result, 20.0)
    assert "that cost least so far (20 % by now), would" in rival(result, 20.0)
    cheaper = rival(result, -20.0)
    assert "would have cost 20 a job less" in cheaper
    assert cheaper.endswith("a flat share does better here.")
    assert re.search(r" less to \d+ more, 90 %\): it may do as well\.$", rival(result, turn))
    assert "costs the same on every job" in rival(result, 0.0)


def test_ours_is_judged_at_every_ratio_of_the_costs(result):
    table = pd.DataFrame(
        {"rule": ["flat", "least_squares"], "mean": [5, -5], "low": [1, -9], "high": [9, -1]}
    ).set_index("rule")
    same = table.assign(low=-1, high=1)
    said = evidence_text.back_test_words({1.0: table, 4.0: same}).text
    assert said.startswith("**Ours is clearly cheaper than surface and a flat 10 % at 1 : 1**; ")
    assert "clearly dearer than least squares on the middle of each count at 1 : 1. Clearly" in said
    assert "of 4 intervals chance alone makes 0.4 intervals clear" in said
    said = evidence_text.back_test_words({1.0: table, 4.0: table}).text
    assert "clearly cheaper than surface and a flat 10 % at every ratio**" in said
    none = evidence_text.back_test_words({1.0: same, 4.0: same}).text
    assert "not told apart from any other way" in none


def test_the_table_holds_every_ratio_and_the_firms_own(desk_of_reveals):
    words, table = evidence_text.back_test(desk_of_reveals, 60.0, 180.0)
    assert isinstance(table, Table)
    headings = ["1 : 1", "2 : 1", "3 : 1 (yours)", "4 : 1", "8 : 1"]
    assert list(table.frame) == ["rule", *headings]
    tried = evidence_text.back_tested(desk_of_reveals, 60.0, 180.0)
    flat = cost_differences(tried).set_index("rule").loc["flat"]
    cell = table.frame.set_index("rule").loc["a flat 10 %", "3 : 1 (yours)"]
    assert cell == f"{signed(flat['mean'])} ({between(flat['low'], flat['high'])})"
    assert "(yours: 180 to 60)" in table.caption
    own = measures(tried.jobs, "airstats", "rolls").sum()
    held = f"ours {own['rolls_left_over']:.0f} and {own['rolls_short']:.0f}, the flat"
    assert f"In rolls left over and short at your ratio: {held}" in words.text
    assert "money a job, by what a roll short costs" in table.caption
    assert words.text.startswith("**Ours is clearly cheaper than ")


def test_every_job_is_drawn_and_misses_are_named(desk_of_reveals, result):
    words, picture = evidence_text.every_job(desk_of_reveals, *COSTS)
    assert isinstance(picture, Picture)
    missed = picture.data[picture.data["where"].isin(["above", "below"])]
    assert f"**{len(missed)} of 72 jobs surely lie outside" in words.text
    assert all(job in words.text for job in missed["job_id"].head(10))
    assert f"held {result.held_80 * 100:.0f} % of the uses" in words.text
    assert "chance alone makes 72 % to 88 %" in words.text
    by_now = overrun_by_reveals(desk_of_reveals.jobs, desk_of_reveals.now)
    far = by_now.loc[by_now["missed"], "job_id"].tolist()
    assert all(job in words.text.partition("on the owner's page: ")[2] for job in far)
    assert "sorted" in picture.figure.axes[0].get_xlabel()


@pytest.mark.parametrize("section", [evidence_text.every_job, evidence_text.back_test])
def test_one_quarter_is_one_true_sentence(section):
    for desk in (five_desk("three jobs only"), second_quarter_of_one_job()):
        (words,) = section(desk, *COSTS)
        assert "needs 2 jobs that follow a first quarter" in words.text


def second_quarter_of_one_job():
    records = invent(jobs=12)
    table = records.jobs["quarter"].eq(records.jobs["quarter"].iloc[0]).to_numpy()
    return lay_out(keep(records, table | (np.arange(12) == 11)))


def test_one_job_that_follows_is_no_back_test():
    said = said_of(second_quarter_of_one_job())
    assert "cannot be tested before 2 jobs follow a first quarter" in said
    assert "inf" not in said
    even = change(invent(jobs=12), used_rolls=4.0, estimated_rolls=4.0)
    assert "12 jobs used as many rolls as were priced, which chance explains" in (
        evidence_text._overrun(lay_out(even))
    )


def test_where_chance_explains_the_whole_the_cause_that_may_turn_is_named():
    small, plain = (
        list(evidence_text.answer(five_desk(name), *COSTS))[1].text
        for name in ("nothing to find", "reveals dominate")
    )
    assert re.search(r"Though chance explains the whole, [\w ]+ leads?\. ", small)
    assert "Though chance" not in plain


def test_the_data_name_what_is_left_out_and_what_is_doubtful(whole_rolls):
    (words,) = evidence_text.data(whole_rolls)
    suspects = whole_rolls.suspects()
    assert len(suspects)
    assert all(f"{job} (" in words.text for job in suspects["job_id"])
    records = invent(jobs=12)
    records.jobs.loc[3, "exclude"] = "a roll was lent"
    (words,) = evidence_text.data(lay_out(records))
    assert words.text.startswith("11 jobs of 2025Q1 to 2025Q4 are used; left out with a reason:")
    assert "J003 (a roll was lent). No record is likely wrong." in words.text
    first = int(records.jobs.drop(index=3)["quarter"].eq("2025Q1").sum())
    assert f"A roll is 75 m² of sheet. The first quarter's {first} jobs cannot be" in words.text
    (words,) = evidence_text.data(five_desk("three jobs only"))
    assert "cannot be foretold" not in words.text


def tried_on(desk):
    return try_conclusion(desk.jobs, desk.takeoff, leave_each_out(desk.jobs))


@pytest.fixture(scope="module")
def whole_rolls():
    firm = invent_firm(World("gross", jobs=24, quarters=2, gross_share=0.2), 3)
    return lay_out(firm.records)


def test_the_conclusion_names_the_leading_cause():
    found = texts(lambda desk: evidence_text.conclusion_words(tried_on(desk), len(desk.takeoff)))
    assert "reveals lead (" in found["reveals"]
    assert "crew Damson leads (" in found["crew"]
    assert evidence_text._leads(SHORT_WORDS["whole_rolls"]) == "whole-roll rounding leads"


TRIED = pd.DataFrame(
    {
        "assumption": [AT_ONCE, TO_THE_NEAREST, "no record grossly wrong"],
        "order_rolls": [60, 66, 64],
        "orders_changed": [0, 5, 1],
        "cause": ["reveals", "laps and waste beyond the price", "reveals"],
        "cause_rolls": [40.0, 84.0, 36.0],
        "cause_half": [9.0, 24.0, 8.0],
        "waste": [0.06, 0.186, 0.061],
        "waste_half": [0.03, 0.043, 0.031],
        "of_model": False,
    }
)


def test_what_would_change_the_conclusion_is_said():
    said = evidence_text.conclusion_words(TRIED, 16).text
    assert "reveals lead (40 ± 9 rolls), and the quarter's 16 jobs take 60 rolls." in said
    turned = "with rolls counted to the nearest, laps and waste beyond the price"
    assert f"{turned} would lead (84 ± 24 rolls), and waste would be 18.6 ± 4.3 %, not" in said
    jobs = desk_of(**WORLDS["small"]).jobs
    assert f"{turned} would lead." in evidence_text._hangs_on(TRIED, jobs)
    kept = TRIED.assign(cause="reveals")
    said = evidence_text.conclusion_words(kept, 16).text
    assert said.endswith("No assumption tried turns the cause; 2 of 3 change an order.")
    assert "some orders change with: rolls counted" in evidence_text._hangs_on(kept, jobs)
    still = kept.assign(orders_changed=0)
    assert "Nothing tried below changes" in evidence_text._hangs_on(still, jobs)


def test_the_table_says_what_each_assumption_changes():
    table = evidence_text.conclusion_table(TRIED, "x").frame
    assert table["conclusion"].to_list() == [
        "nothing", "the cause and 5 orders", "1 order"
    ]  # fmt: skip
    assert table["waste_percent"].to_list() == ["6.0 ± 3.0", "18.6 ± 4.3", "6.1 ± 3.1"]


def test_what_nobody_can_tell_is_five_lines_at_most(whole_rolls):
    lines = next(iter(evidence_text.cannot_tell(whole_rolls))).text.splitlines()
    assert len(lines) == 5
    untold = "24 of 24 jobs count opened rolls whole, 24 of them since the records do not say."
    assert lines[1].endswith(untold)
    exact = next(iter(evidence_text.cannot_tell(desk_of(**WORLDS["small"])))).text
    assert "opened rolls whole" not in exact


def test_other_ratios_are_as_back_tests_of_their_own(result):
    jobs = result.jobs
    alone = backtest(desk_of(**WORLDS["reveals"]).records, 60.0, 60.0).jobs
    for rule in ("airstats", "flat", "flat_learnt", "estimated", "least_squares"):
        assert (jobs[f"{rule}_cost_at_1"] == alone[f"{rule}_cost"]).all()
        assert (jobs[f"{rule}_cost_at_4"] == jobs[f"{rule}_cost"]).all()


@pytest.mark.parametrize("count", [12, 24])
def test_owner_and_evidence_tell_one_story_of_how_rolls_were_counted(count):
    laid = lay_out(counted_whole(invent(jobs=count)))
    for told in (False, np.arange(count) < count - 4, True):
        jobs = replace(laid.jobs, table=laid.jobs.table.assign(count_told=told))
        desk = replace(laid, jobs=jobs)
        row = evidence_text.tried(desk, *COSTS).set_index("assumption").loc[TO_THE_NEAREST]
        waste = f"{100 * row['waste']:.1f} ± {100 * row['waste_half']:.1f} %"
        owner = owner_text.how_counted(desk)
        assert waste in owner.text
        word = counted_as_told(desk.jobs)
        assert (told is True) == word.startswith("The records say")
        assert word in evidence_text._hangs_on(TRIED, desk.jobs)
        line = evidence_text._cannot_tell(desk)[1]
        assert line.endswith("as the records say." if told is True else "the records do not say.")
    assert row["cause"] in owner.text or "no single cause" in owner.text


def test_intervals_that_most_counts_leave_open_are_said_to_favour_the_forecast():
    rows = pd.DataFrame({"job_id": list("abcd"), "where": [ABOVE, OPEN, OPEN, OPEN]})
    none, one = pd.Series([], dtype=str), pd.Series(["c"])
    said = evidence_text.every_job_words(rows, 0.8, none).text
    assert said.endswith(" 3 counts leave that open, which favours the forecast.")
    assert "(1 job above it, none below: a)" in said
    clear = evidence_text.every_job_words(rows.assign(where=INSIDE), 0.8, one).text
    assert "favours" not in clear
    assert clear.endswith("Outside 90 % of what all jobs foretell, as on the owner's page: c.")
