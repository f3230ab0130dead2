import re
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from airstats import reports
from airstats.analysis.between_firms import firm_spread, firm_table
from airstats.analysis.ewma_chart import drift_watch
from airstats.analysis.regressions import (
    find_influence,
    plain_regression,
    regression_frame,
    slopes_without,
)
from airstats.analysis.sensitivity import (
    AT_ONCE,
    PUBLISHED,
    leave_each_out,
    put_back,
    refit_without,
)
from airstats.backtests.forecast_checks import (
    group_departures,
    own_cost,
    quantile_calibration,
)
from airstats.backtests.rolling import backtest
from airstats.base.number_text import listed, number, signed
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.catalog.reader_names import reader_name
from airstats.model.posterior import with_depth_error
from airstats.model.prior import Prior
from airstats.reports import evidence_appendix as appendix
from airstats.reports import recording_text
from airstats.reports.desk import lay_out
from airstats.reports.evidence_text import back_tested
from airstats.reports.references import SOURCES, cite
from tests.benchmark.worlds import World, invent_firm
from tests.invented import WORLDS, desk_of, invent, texts


@pytest.fixture(scope="module")
def result():
    return backtest(desk_of(**WORLDS["reveals"]).records)


@pytest.fixture(scope="module")
def whole_rolls():
    firm = invent_firm(World("gross", jobs=24, quarters=2, gross_share=0.2), 3)
    return lay_out(firm.records)


def test_calibration_is_judged_as_far_as_whole_rolls_let_it(result):
    table = quantile_calibration(result)
    assert "blunt" not in appendix.calibration_words(table, result).text
    said = appendix.calibration_words(table.assign(surely=0.1, possibly=0.9), result).text
    assert "anything from 10 % to 90 % may lie below" in said
    assert "Of the uses of 72 jobs" in said
    off = appendix.calibration_words(table.assign(verdict="too few"), result).text
    assert "too few below 10 %" in off
    assert "further off than chance allows" in off


def test_too_many_orders_short_are_said(result):
    jobs = result.jobs.assign(airstats_rolls=0.0)
    said = appendix._short(replace(result, jobs=jobs))
    assert re.search(r"of 72 orders \(chance: \d+ to \d+\);", said)
    assert "72 orders did, more than chance allows: the orders are too small" in said


def test_one_quarter_and_few_jobs_are_true_short_sentences():
    few = desk_of(jobs=3, quarter="2025Q1")
    (words,) = appendix.chances(few, 60.0, 240.0)
    assert words.text.startswith("Not to be told yet: too few jobs follow")
    assert next(iter(appendix.regression(few))).text.startswith("Not fitted: ")
    assert appendix.group_words(pd.DataFrame()).text.startswith("Too few jobs")


def test_a_crew_that_departs_is_named():
    desk = desk_of(**WORLDS["crew"])
    watch = drift_watch(desk.jobs, desk.chain)
    known = group_departures(watch, desk.jobs)
    assert set(known["jobs_of"]) >= {"all jobs", "small jobs", "crew Damson"}
    damson = watch["job_id"].isin(desk.jobs.table.query("crew == 'Damson'")["job_id"])
    more = watch.assign(beyond_m2=watch["beyond_m2"] + 50.0 * damson)
    said = appendix.group_words(group_departures(more, desk.jobs)).text
    assert re.search(r"crew Damson more \([\d.]+ m² a job, \S+ to \S+ m²\)", said)
    assert "of 8 groups chance alone would make about 0.8 groups depart" in said


def test_beliefs_say_what_moves_most_and_what_is_common_practice():
    desk = desk_of(**WORLDS["small"])
    priors = pd.DataFrame(
        {
            "prior": ["ours", "another one"],
            "waste": [0.1, 0.11],
            "reveal.centre": [0.3, 0.5],
            "rolls": [100, 102],
        }
    )
    table = pd.DataFrame({"quantity": ["waste", "reveal.lined"], "learnt": [0.5, 0.05]})
    said = appendix.beliefs_words(table, priors, desk).text
    assert "2.0 % at most" in said
    assert "slit, by 0.200 m² a m²** (another one): the jobs settle" in said
    assert "taught nothing of: lined. There common practice stands." in said
    assert all(cite(source) in said for source in ("waste, Netherlands", "waste, Brazil"))
    known = appendix.beliefs_words(table.head(1), priors, desk).text
    assert "common practice." in known
    assert "taught nothing" not in known


def test_the_most_influential_job_is_named_with_its_move():
    def say(desk):
        influence = leave_each_out(desk.jobs)
        return appendix.leave_out_words(influence, refit_without(desk.jobs, influence, 1))

    found = texts(say)
    first = leave_each_out(desk_of(**WORLDS["small"]).jobs).iloc[0]
    moved = reader_name(first["moves_most"])
    assert f"{first['job_id']} ({first['quarter']}): without it {moved} moves" in found["small"]


def test_a_move_of_half_an_sd_is_counted_as_it_is_shown():
    influence = leave_each_out(desk_of(**WORLDS["small"]).jobs)
    none = influence.head(0).assign(move=0.0, move_refit=0.0)
    half = influence.assign(move_sd=[0.496, *[0.1] * (len(influence) - 1)])
    assert appendix.leave_out_words(half, none).text.startswith("**1 of 12 jobs would")
    less = half.assign(move_sd=0.49)
    assert appendix.leave_out_words(less, none).text.startswith("**No job would")


def weak_points(desk):
    return next(iter(appendix.weaknesses(desk))).text


def test_the_way_of_counting_has_its_hint(whole_rolls):
    said = weak_points(whole_rolls)
    assert f"weight here {whole_rolls.now.form_weights()['reuse'] * 100:.0f} %" in said
    fit = plain_regression(regression_frame(whole_rolls.jobs), "beyond_m2").table.iloc[0]
    recorded, rounded = (number(fit["coefficient"] + more, 0) for more in (0, 37.5))
    assert f"is {recorded} m² a job (90 %: {number(fit['low'], 0)} to" in said
    assert f"as recorded and {rounded} m² a job" in said


def test_weaknesses_that_the_data_do_not_have_are_not_claimed():
    exact = desk_of(**WORLDS["small"])
    assert "How rolls were counted" not in weak_points(exact)
    known = replace(exact.now, belief=with_depth_error(exact.now.belief, 15.0))
    rough = replace(exact, chain=(*exact.chain[:-1], known))
    assert "but for depths (15 mm, sd)" in weak_points(rough)


def test_what_invented_firms_showed_stands_beside_what_chance_makes(whole_rolls):
    # Of 20 right 90 % intervals 16 to 20 hold the truth, in nine cases of ten (binomial).
    said = weak_points(whole_rolls)
    assert said.count("20 firms each, where chance makes 80 % to 100 %") == 2


def test_groups_stand_beside_single_jobs_with_each_interval_in_one_cell():
    desk = desk_of(**WORLDS["crew"])
    groups, pulls, both = appendix.groups_and_single_jobs(desk)
    row = group_departures(drift_watch(desk.jobs, desk.chain), desk.jobs).iloc[0]
    cell = f"{signed(row['departure_m2'], 1)} ({number(row['beyond_low'], 1)} to "
    assert both.left.frame["departed"].iloc[0].startswith(cell)
    assert both.right.name == "influence"
    assert "depart" in groups.text
    assert "move an allowance" in pulls.text
    assert "none" in appendix.group_table(pd.DataFrame()).text


def test_the_cost_of_a_year_to_come_stands_beside_that_of_the_back_test(monkeypatch):
    monkeypatch.setattr(recording_text, "cost_a_job", lambda _: 12.9)
    desk, costs = desk_of(**WORLDS["reveals"]), (60.0, 240.0)
    past = own_cost(back_tested(desk, *costs))
    said = appendix.recording_method(desk, *costs).text
    assert "Foretold is a cost of 13 a job; in the back-test, when less was known, it was" in said
    assert f" it was {number(past['mean'])} (" in said
    first = desk_of(jobs=3, quarter="2025Q1")
    assert "back-test" not in appendix.recording_method(first, *costs).text


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
    plain = appendix.regression_words(plain_regression(frame)).text
    assert "clearly different from nothing (90 %): " in plain
    assert "reveals corner to corner 0." in plain
    assert "Left out, as fewer than two jobs hold it: reveals lined." in plain
    assert "too few" in appendix.regression_words(plain_regression(frame.head(3))).text
    frame = regression_frame(desk_of(**WORLDS["small"]).jobs).head(3)
    influence = find_influence(plain_regression(frame))
    said = appendix.influence_words(influence, slopes_without(frame, influence)).text
    assert said == "No regression was fitted, so no job can stand out in it."


def test_slopes_stand_beside_the_allowances():
    desk = desk_of(**WORLDS["reveals"])
    *_, table = appendix.regression(desk)
    row = table.frame.set_index("term").loc["reveal_diagonal_m2"]
    known = desk.now.table().loc["reveal.diagonal"]
    assert row["of_allowance"].startswith(f"{known['mean']:.2f} ({known['low']:.2f} to ")
    beyond = plain_regression(regression_frame(desk.jobs), "beyond_m2").table.set_index("term")
    assert row["of_beyond"].startswith(f"{beyond.loc['reveal_diagonal_m2', 'coefficient']:.2f} (")


def test_an_allowance_outside_its_slope_is_named():
    desk = desk_of(**WORLDS["reveals"])
    beyond = plain_regression(regression_frame(desk.jobs), "beyond_m2")
    table = desk.now.table()
    assert "No allowance lies outside" in appendix.agreement_words(beyond, table).text
    table.loc["waste", "mean"] = 5.0
    said = appendix.agreement_words(beyond, table).text
    assert said.startswith("waste lies outside the 90 % interval of its slope")
    assert "(3 values compared)" in said


def test_jobs_that_stand_out_are_named_with_a_reason():
    found = texts(lambda desk: appendix.influence_words(*leaned_on(desk)))
    influence, slopes = leaned_on(desk_of(**WORLDS["reveals"]))
    first = influence.standing_out.iloc[0]
    assert f"{first['job_id']} ({first['cooks']:.2f}, {first['why']})" in found["reveals"]
    rows = slopes[slopes["term"].ne("intercept")]
    most = rows.loc[rows["change"].abs().idxmax(), "term"]
    assert f"the slope that moves most is {appendix._term(most)}, from" in found["reveals"]


def test_a_slope_that_turns_is_said():
    slopes = pd.DataFrame(
        {"term": ["laid_m2", "reveal_centre_m2"], "coefficient": [0.1, 0.5], "se": [0.1, 0.1],
         "without": [-0.1, 0.4], "change": [-2.0, -1.0], "unit": "m² a m²"}
    )  # fmt: skip
    influence, _ = leaned_on(desk_of(jobs=12))
    assert "laid changes sign." in appendix.influence_words(influence, slopes).text
    kept = appendix.influence_words(influence, slopes.assign(without=[0.2, 0.4])).text
    assert "no slope changes its sign." in kept


def test_firms_alike_and_firms_apart():
    little = WORLDS["reveals"] | {"factor": 0.2}
    own, twin, *others = (
        desk_of(**world).jobs
        for world in (WORLDS["reveals"], WORLDS["reveals"] | {"seed": 4}, little, WORLDS["crew"])
    )
    alike = {"own": own, "other": twin}
    said = appendix.firm_words(firm_spread(firm_table(alike)), alike).text
    assert "The 2 firms do not differ by more than chance" in said
    for other in others:
        apart = {"own": own, "other": other}
        said = appendix.firm_words(firm_spread(firm_table(apart)), apart).text
        assert "The 2 firms differ in" in said
        assert "lined" in said.partition("not enough to tell: ")[2]
    assert list(appendix.several_firms(desk_of(**WORLDS["reveals"]))) == []
    assert "No other firm's records" in weak_points(desk_of(**WORLDS["reveals"]))


def test_what_is_noted_of_a_firm_is_said():
    jobs = desk_of(**WORLDS["reveals"]).jobs
    firms = {"own": jobs, "other": replace(jobs, notes=("other: columns not read: hue.",))}
    said = appendix.firm_words(firm_spread(firm_table(firms)), firms).text
    assert said.endswith("\n\nNote: other: columns not read: hue.")


def test_sources_are_cited_by_their_place_in_the_list():
    listed = appendix.references().text.splitlines()
    assert len(listed) == len(SOURCES)
    assert listed == sorted(listed, key=lambda line: line.partition(". ")[2].casefold())
    number_of = cite("simulated ranks").strip("[]")
    assert listed[int(number_of) - 1].startswith(f"{number_of}. Talts")


def test_every_source_is_cited():
    code = "".join(path.read_text("utf-8") for path in Path(reports.__file__).parent.glob("*.py"))
    cited = " ".join(re.findall(r"cite\(([^)]*)\)", code))
    assert [name for name in SOURCES if f"'{name}'" not in cited] == []


def test_the_starting_belief_names_its_cuts_in_their_order():
    said, prior = appendix.method().text, Prior()
    names = listed([cut.words for cut in CUTS.values()])
    for pairs in (prior.reveal_factors, prior.wide_factors):
        values = listed([f"{mean:g} ({sd:g})" for mean, sd in pairs])
        assert f"reveals {values} m² a m²" in said
    assert f"m² a m² of reveal ({names} in turn)" in said
    assert f"of the off-cuts ({listed([CUTS[cut].words for cut in reused_cuts()])} in turn)" in said


def test_other_forms_stand_beside_what_their_orders_are_compared_with():
    desk = desk_of(**WORLDS["small"])
    words, table = appendix.other_forms(desk, 60.0, 240.0)
    names = table.frame["assumption"].to_list()
    assert names[:2] == [PUBLISHED, AT_ONCE]
    assert words.text.startswith(f"Of {len(names) - 2} other assumptions")
    assert words.text.endswith(" any order.")
