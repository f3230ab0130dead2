"""The owner's sentences on firms whose truth is known: they must say it, and change with it."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.analysis.overrun_split import NET
from airstats.analysis.overrun_views import overrun_by_reveals, usual_split
from airstats.analysis.sensitivity import counted_to_the_nearest, fit_at_once
from airstats.backtests.against_real_prices import look_back
from airstats.base.firm import Firm
from airstats.catalog.cut_patterns import CUTS
from airstats.pricing.cut_prices import CutCosts
from airstats.pricing.firm_cuts import cut_terms
from airstats.reports import owner_text
from airstats.reports.desk import lay_out
from airstats.reports.display import Table, Words
from tests.invented import (
    change,
    counted_whole,
    desk_of,
    invent,
    keep,
    used_more,
    without_openings,
)


def over(desk):
    return desk.jobs.table["used_rolls"] - desk.jobs.table["estimated_rolls"]


def test_headline_where_reveals_dominate(reveals):
    said = owner_text.headline(reveals).text
    total = over(reveals).sum()
    assert said.startswith(f"**You used {total:.1f} rolls more than priced over 48 jobs, about ")
    assert f"about {total * 150:,.0f} of your money at your roll prices; reveals account" in said
    rolls, money = re.search(
        r"reveals account for ([\d.]+) ± [\d.]+ rolls \(([\d,]+) ± [\d,]+\)", said
    ).groups()
    assert float(money.replace(",", "")) == pytest.approx(150 * float(rolls), rel=0.05)


def test_many_jobs_bring_the_reveals_near_the_truth():
    # The truth: prices held laps and waste, so reveals are the whole of it.
    desk = desk_of(jobs=192, factor=0.6)
    said = owner_text.headline(desk).text
    found = re.search(r"reveals account for ([\d.]+) ± ([\d.]+) rolls", said)
    assert abs(float(found[1]) - over(desk).sum()) < float(found[2]) < 10


def test_headline_where_a_crew_dominates(crew):
    said = owner_text.headline(crew).text
    found = re.search(r"; crew Damson accounts for ([\d.]+) ± ([\d.]+) rolls \(", said)
    damson = crew.jobs.table["crew"].eq("Damson")
    truth = 0.25 * crew.jobs.table.loc[damson, "laid_m2"].sum() / 75
    assert abs(float(found[1]) - truth) < 1.2 * float(found[2])
    assert "reveals account" not in said


def test_headline_where_there_is_nothing_to_find(nothing):
    said = owner_text.headline(nothing).text
    assert said.startswith("**Nothing to find: you used 0.1 rolls more than priced over 48 jobs")
    assert said.endswith("no more than chance makes.**")
    assert "account" not in said
    assert owner_text.headline(desk_of(jobs=1)).text.startswith("**Nothing to find: ")


def test_headline_where_prices_held_too_much():
    records = invent(jobs=12, priced_reveals=True)
    ample = change(records, estimated_rolls=records.jobs["estimated_rolls"] + 1)
    said = owner_text.headline(lay_out(ample)).text
    assert "rolls fewer than priced" in said
    assert "your prices held more than the jobs took" in said


def test_without_a_price_there_is_no_money():
    desk = lay_out(invent(jobs=12, price=np.nan))
    said = owner_text.headline(desk).text + owner_text.quarter_money(desk).text
    assert "no price of a roll in the records or in firm.toml, so no money" in said
    assert "nan" not in said
    assert "worth" not in said
    assert "overrun_money" not in owner_text.worst_table(desk)
    some = lay_out(invent(jobs=12, price=np.repeat([np.nan, 150.0], 6)))
    assert "in the 6 jobs with a price" in owner_text.headline(some).text


def test_whole_rolls_have_their_part_and_the_parts_add_up():
    desk = lay_out(counted_whole(invent(factor=0.6), "estimated_rolls"))
    split = usual_split(desk.jobs, desk.now).set_index("cause")
    assert split["mean"].sum() == pytest.approx(over(desk).sum())
    assert split.loc["whole_rolls", "high"] - split.loc["whole_rolls", "low"] > 2


def test_as_many_rolls_as_were_priced_are_said_so():
    records = invent(jobs=12)
    even = change(records, used_rolls=records.jobs["estimated_rolls"])
    said = owner_text.headline(lay_out(even)).text
    assert "you used as many rolls as were priced over 12 jobs" in said
    unpriced = lay_out(change(even, roll_price=np.nan))
    assert "were priced over 12 jobs; that" in owner_text.headline(unpriced).text


def test_a_quarter_over_and_a_quarter_under(reveals):
    said = owner_text.quarter_money(reveals).text
    assert re.fullmatch(r"In 2025Q4 alone: [\d.]+ rolls over in 12 jobs, worth \d+\.", said)
    less = change(reveals.records, used_rolls=1.0)
    assert "rolls under in 12 jobs" in owner_text.quarter_money(lay_out(less)).text


def looked_back(desk, **rival):
    """The look back on a desk's jobs, where the flat share fared as told."""
    found = look_back(desk.records)
    if not rival:
        return found
    flat = found.dearer["rule"].eq("flat_learnt")
    return replace(found, dearer=found.dearer.assign(**{
        end: found.dearer[end].mask(flat, value) for end, value in rival.items()
    }))  # fmt: skip


def test_advice_names_its_units_and_a_crew_that_stands_out(reveals, nothing, crew):
    said = owner_text.advice(reveals, looked_back(reveals)).text
    assert said.startswith("**Price the sheet as laid, laps included, with ")
    factor = reveals.now.table().loc["reveal.diagonal", "mean"]
    assert f"for each m² of reveal, these m² of sheet: {factor:.2f} ± " in said
    assert CUTS["lined"].words not in said  # No job was cut so.
    said = owner_text.advice(nothing, looked_back(nothing)).text
    assert said.startswith("**Nothing need change:** your records ask for the sheet as laid, ")
    said = owner_text.advice(crew, looked_back(crew)).text
    assert re.search(r"And see why crew Damson uses \d+\.\d ± \d+\.\d % of laid sheet more", said)
    assert "crew" not in owner_text.advice(reveals, looked_back(reveals)).text


@pytest.mark.parametrize(
    ("rival", "told", "interval"),
    [
        ({"mean": 9.0, "low": 4.0, "high": 14.0}, "**No flat share: a flat", "4 to 14 more"),
        ({"mean": 3.0, "low": -2.0, "high": 8.0}, "may do as well**", "2 less to 8 more"),
        (
            {"mean": 0.2, "low": -2.0, "high": 2.4},
            "would have cost the same over",
            "2 less to 2 more",
        ),
        ({"mean": -9.0, "low": -14.0, "high": -4.0}, "**Put a flat", "4 to 14 less"),
    ],
)
def test_the_advice_follows_the_flat_share_that_learns(reveals, rival, told, interval):
    found = looked_back(reveals, **rival)
    said = owner_text.advice(reveals, found).text
    assert told in said
    assert f"{100 * found.flat_share:.0f} % on the surface" in said
    assert f"over 36 jobs (90 %: {interval})" in said
    assert ("No flat share" in said) == (rival["low"] > 0)
    assert ("cheaper than our allowances" in said) == (rival["high"] < 0)
    assert ("cannot be told apart" in said) == (rival["low"] < 0 < rival["high"])


def test_before_anything_can_be_compared_no_rule_is_advised_against():
    one = desk_of("2025Q1", jobs=12)
    said = owner_text.advice(one, looked_back(one)).text
    assert "flat" not in said
    records = invent(jobs=12)
    quarters = records.jobs["quarter"]
    desk = lay_out(keep(records, quarters.eq("2025Q1") | (records.jobs.index == 3)))
    found = looked_back(desk)
    assert "flat" not in owner_text.advice(desk, found).text
    (words,) = owner_text.hindsight(desk, found)
    assert "whether a flat share would do as well, shows once 2 jobs follow" in words.text


def test_what_no_job_taught_is_common_practice():
    bare = lay_out(without_openings(invent(jobs=12)))
    said = owner_text.advice(bare, looked_back(bare)).text
    assert said.count("common practice; your jobs taught nothing of it") == len(CUTS)
    assert "for waste (common practice" not in said
    desk = desk_of(factor=0.6)
    assert "common practice" not in owner_text.advice(desk, looked_back(desk)).text


def test_no_allowance_is_told_below_nothing():
    row = pd.Series({"mean": -0.03, "low": -0.2, "high": 0.14})
    assert owner_text.factor_of(row) == "nothing beyond the bare surface (at most 0.14)"
    assert owner_text.percent_of(row) == "nothing (at most 14.0 %)"
    row["mean"] = 0.02
    assert owner_text.factor_of(row) == "0.02 (0 to 0.14)"
    assert owner_text.percent_of(row) == "2.0 % (0 to 14.0 %)"
    row["low"] = 0.01
    assert "±" in owner_text.factor_of(row) + owner_text.percent_of(row)


def test_how_rolls_were_counted_is_asked_where_nobody_says_and_weighed_where_somebody_does():
    whole = counted_whole(invent(jobs=24))
    asked = owner_text.how_counted(lay_out(whole)).text
    assert asked.startswith("**How were your rolls counted?** Your records do not say, so each")
    desk = lay_out(whole)
    nearest = fit_at_once(counted_to_the_nearest(desk.jobs)).table().loc["waste", "mean"]
    found = re.search(r"nearest roll: waste ([\d.]+) ± [\d.]+ % instead of ([\d.]+) ", asked)
    assert float(found[1]) == pytest.approx(100 * nearest, abs=0.06)
    assert float(found[2]) == pytest.approx(100 * desk.now.table().loc["waste", "mean"], abs=0.06)
    assert float(found[1]) > float(found[2]) + 3
    told = whole.jobs.index < 20
    part = owner_text.how_counted(lay_out(change(whole, count_told=told))).text
    assert "do not say in 4 of 24 jobs, so" in part
    said = owner_text.how_counted(lay_out(change(whole, count_told=True))).text
    assert said.startswith("The records say that opened rolls count whole. If instead they ")
    assert f"waste is {found[1]} ±" in said
    assert f"not {found[2]} ±" in said
    assert owner_text.how_counted(desk_of()) is None  # Measured exactly, so it is told.


def test_overrun_against_reveals_is_told_as_the_counts_have_it(reveals, nothing):
    said = owner_text.reveal_words(overrun_by_reveals(reveals.jobs, reveals.now)).text
    found = re.match(r"\*\*A job's overrun rises with its reveals, by ([\d.]+) ± ([\d.]+) ", said)
    # The truth: 0.6 m² of sheet a m² of reveal, and the price holds none of it.
    assert abs(float(found[1]) - 10 * 0.6 / 75) < 1.5 * float(found[2])
    said = owner_text.reveal_words(overrun_by_reveals(nothing.jobs, nothing.now)).text
    assert said.startswith("A job's overrun shows no rise with its reveals: ")
    one = desk_of(jobs=1)
    said = owner_text.reveal_words(overrun_by_reveals(one.jobs, one.now)).text
    assert said.startswith("Too few jobs")


def test_few_jobs_left_out_are_named_and_many_stand_in_a_table():
    for count, kind in ((0, None), (2, Words), (5, Table)):
        records = invent(jobs=12)
        why = np.where(records.jobs.index < count, "roll lent", "")
        shown = list(owner_text.left_out(lay_out(change(records, exclude=why))))
        assert [type(part) for part in shown] == [kind] * (kind is not None)
    named = lay_out(change(records, exclude=np.where(records.jobs.index < 1, "roll lent", "")))
    (said,) = owner_text.left_out(named)
    assert said.text == "Left out, with the reason: J000 (roll lent)."


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Elm", "waste cannot be told from the crews' part, as crew Elm did every job"),
        ("", "waste holds what any crew wastes, as no crew is named"),
    ],
)
def test_one_crew_cannot_be_told_from_waste(reveals, name, told):
    assert "crew" not in owner_text.cannot_separate(reveals)
    desk = lay_out(change(invent(jobs=12), crew=name))
    assert told in owner_text.cannot_separate(desk)
    named = "crew" in owner_text.worst_table(desk)
    assert named is ("crew" in owner_text.job_split(desk)["cause"].tolist()) is bool(name)


def test_what_cannot_be_separated_follows_the_records(reveals, crew):
    assert "reveals and waste" not in owner_text.cannot_separate(crew)
    said = owner_text.cannot_separate(reveals)
    assert re.search(r"reveals and waste are surer together, \d+ ± \d+ rolls", said)


def test_what_laps_and_waste_took_stands_beside_what_the_prices_held(reveals):
    said = next(iter(owner_text.causes(reveals))).text
    found = re.search(
        r"Laps and waste took ([\d.]+) ± [\d.]+ rolls; your prices held"
        r" ([\d.]+)(?: ± [\d.]+)? rolls beyond the bare surface\.",
        said,
    )
    split = usual_split(reveals.jobs, reveals.now).set_index("cause")["mean"]
    assert float(found[1]) == pytest.approx(split["laps"] + split["waste"], abs=1)
    assert float(found[2]) == pytest.approx(-split["already_priced"], abs=0.5)
    net = usual_split(reveals.jobs, reveals.now, causes=NET).set_index("cause")["mean"]
    assert float(found[1]) - float(found[2]) == round(net["laps_and_waste"])


def test_any_job_is_taken_apart_or_the_worst_one(reveals, crew):
    row = reveals.jobs.table.set_index("job_id").loc["J007"]
    said = owner_text.job_words(reveals, "j007").text
    assert said.startswith(f"**J007** ({row['quarter']}) was priced at")
    assert f"used {row['used_rolls']:g}: " in said
    split = owner_text.job_split(reveals, "J007")
    assert split["mean"].sum() == pytest.approx(row["used_rolls"] - row["estimated_rolls"])
    worst = reveals.jobs.table["job_id"][over(reveals).idxmax()]
    said = owner_text.job_words(reveals).text
    assert said.startswith(f"**{worst}** (")
    assert "the worst," in said
    assert said != owner_text.job_words(crew).text
    assert "near it are" in owner_text.job_words(reveals, "J0077").text
    assert owner_text.job_split(reveals, "J0077").empty
    said = owner_text.job_words(crew).text
    assert re.search(r"over\. The main cause: crews, 1\.\d ± 0\.1 rolls\.$", said)


def test_a_job_whose_record_looks_wrong_is_said_to():
    records = invent(priced_reveals=True)
    records.jobs.loc[5, "used_rolls"] += 3
    said = owner_text.job_words(lay_out(records)).text
    assert said.startswith("**J005**")
    assert " Mostly unexplained: " in said
    assert re.search(r" Check this record first: .*\d % that it is wrong\.$", said)


def test_worst_jobs_are_few_or_many_or_none(reveals, crew, nothing):
    said = [owner_text.worst_words(desk).text for desk in (reveals, crew, nothing)]
    assert "so it is spread over many jobs; their main causes: reveals in" in said[0]
    assert "so a few jobs make it; their main cause: crews." in said[1]
    assert re.search(r", and \d+ jobs? under, by [\d.]+ rolls: no more than chance makes", said[2])
    three = desk_of(jobs=3)
    assert "under" not in owner_text.worst_words(three).text
    desk = lay_out(change(invent(jobs=12), used_rolls=1.0))
    assert [part.text for part in owner_text.worst_jobs(desk)] == ["No job ran over."]
    assert len(list(owner_text.worst_jobs(desk, "J003"))) == 2


def test_overruns_all_alike_have_no_slope_to_a_thousandth():
    records = invent(jobs=12)
    jobs = change(records, used_rolls=5.0, estimated_rolls=5.0, counted="opened", roll_price=150.0)
    desk = lay_out(jobs)
    said = owner_text.reveal_words(overrun_by_reveals(desk.jobs, desk.now)).text
    assert said.startswith("The jobs' overruns are too much alike to rise with their reveals.")
    assert owner_text.trend_words(desk).text == (
        "Every job's overrun is the same, so there is no trend."
    )
    assert "as were priced over 12 jobs (a roll costs about 150 of your money);" in (
        owner_text.headline(desk).text
    )
    assert owner_text.quarter_money(desk).text == (
        "In 2025Q4 alone: as many rolls as were priced, in 3 jobs."
    )


def test_no_trend_where_there_is_none(reveals, nothing):
    for desk in (reveals, nothing):
        said = owner_text.trend_words(desk).text
        assert "shows no trend" in said
        assert said.endswith("no cause by itself rises or falls.")
    assert "No trend to be told" in owner_text.trend_words(desk_of("2025Q1")).text


@pytest.mark.parametrize(("step", "way"), [(0.2, "rises, by 0.2"), (-0.2, "falls, by 0.2")])
def test_a_trend_is_said_with_its_cause(step, way):
    records = invent(priced_reveals=True)
    quarter = records.jobs["quarter"].str[-1].astype(float)
    desk = lay_out(used_more(records, step * quarter))
    said = owner_text.trend_words(desk).text
    assert f"A job's overrun {way}" in said
    assert f"unexplained {way[:4]} by" in said


def test_a_crew_is_named_only_where_it_stands_out(crew, nothing):
    said = owner_text.crew_words(crew).text
    assert said.startswith("Crew Damson uses ")
    assert "Below the firm: " in said
    said = owner_text.crew_words(nothing).text
    assert said.startswith("No crew stands out: what each uses beside the firm, from ")
    assert re.search(r"from [−+]?[\d.]+ % \(crew \w+\) to [−+]?[\d.]+ % \(crew", said)


def test_a_crew_with_three_bad_jobs_is_not_blamed():
    records = used_more(invent(priced_reveals=True), 0.15 * (np.arange(48) < 3))
    rowan = records.jobs["crew"].where(records.jobs.index >= 3, "Rowan")
    said = owner_text.crew_words(lay_out(change(records, crew=rowan))).text
    assert said.startswith("No crew stands out: ")


@pytest.mark.parametrize(
    ("name", "told"), [("", "name no crew"), ("Elm", "Crew Elm did every job")]
)
def test_without_crews_or_with_one_it_says_so(name, told):
    desk = lay_out(change(invent(jobs=12), crew=name))
    assert told in owner_text.crew_words(desk).text
    assert "nan" not in owner_text.trend_words(desk).text


def test_cuts_alike_are_said_to_be_and_none_without_reveals(reveals, crew):
    said = owner_text.cut_words(reveals).text
    assert (
        "Not to be told apart in the sheet that their reveals took: corner to corner and slit."
        in said
    )
    table = owner_text.cut_table(reveals)
    assert table["cut"].tolist()[0] == "corner to corner"
    assert table["reveal_took"].iloc[0].startswith(f"{table['factor'].iloc[0]:.2f} ± ")
    assert "±" not in owner_text.cut_table(crew)["reveal_took"].iloc[0]  # Never below nothing.
    assert owner_text.cut_words(desk_of(jobs=1)) is None
    desk = lay_out(without_openings(invent(jobs=12)))
    assert owner_text.cut_words(desk).text.startswith("No job is known to have a reveal")


def test_a_cut_that_only_unknown_openings_may_hold_is_not_the_firms_own():
    records = invent(jobs=16)
    records = replace(records, openings=records.openings.iloc[::2])
    known = records.jobs.assign(openings_known=np.arange(16) % 2 == 0)
    desk = lay_out(replace(records, jobs=known))
    assert desk.jobs.table["reveal_lined_m2"].sum() > 0
    table = owner_text.cut_table(desk)
    assert table["cut"].tolist() == ["corner to corner"]
    assert table["jobs"].tolist() == [8]
    assert "lined" not in owner_text.advice(desk, looked_back(desk)).text


def test_hindsight_says_what_was_saved_at_which_costs_or_why_not(reveals, nothing):
    found = look_back(reveals.records)
    table = found.table.set_index("rule")
    saved = table.loc["estimated", "total_money"] - table.loc["airstats", "total_money"]
    said = owner_text.hindsight_words(found).text
    assert saved > 0
    assert f"would have cost {saved:,.0f} less** (90 %: " in said
    left = table.loc["airstats", "rolls_left_over"]
    assert (
        f"{left:.0f} rolls, bought for {float(f'{150 * left:.2g}'):,.0f}, would have been left over"
        in said
    )
    assert said.endswith("only what lying there loses counts as cost.")
    said = owner_text.hindsight_words(look_back(nothing.records), "CU").text
    assert "which chance explains**" in said
    _, table = owner_text.hindsight(reveals, look_back(reveals.records, 10, 1000))
    assert "(a roll short costs 1,000, wait and delivery included; one left over 10)" in (
        table.caption
    )
    _, table = owner_text.hindsight(reveals, look_back(reveals.records))
    assert table.caption.endswith("one left over 60; assumed)")
    own = replace(
        reveals, firm=Firm(delivery=90.0, idle_fitters=2, idle_hours=1.25, margin_hour=15)
    )
    _, table = owner_text.hindsight(own, look_back(reveals.records, 60, 240))
    assert table.caption.endswith("one left over 60)")
    said = owner_text.hindsight_words(look_back(desk_of("2025Q1").records)).text
    assert "shows once 2 jobs follow the quarter that they first learnt from" in said


def test_the_table_of_hindsight_adds_up_by_eye(reveals):
    _, table = owner_text.hindsight(reveals, look_back(reveals.records))
    frame = table.frame
    assert frame["rule"].tolist() == [
        "what was really priced",
        "the best flat share so far, on the surface",
        "priced with the allowances known then",
    ]
    together = 240 * frame["rolls_short"] + 60 * frame["rolls_left_over"]
    np.testing.assert_allclose(frame["total_money"], together)


def test_the_firms_roll_price_stands_where_jobs_name_none():
    priced = lay_out(invent(jobs=12, price=np.nan), firm=Firm(roll_price=150.0, currency="CU"))
    said = owner_text.headline(priced).text
    over = (priced.jobs.table["used_rolls"] - priced.jobs.table["estimated_rolls"]).sum()
    assert f"about {abs(150 * over):,.0f} CU at your roll prices;" in said
    assert cut_terms(priced.records, priced.now, CutCosts(), "").own_price


def test_where_a_quarter_ran_neither_over_nor_under_no_sum_stands_alone(reveals):
    # One job over by what another is under, at another price: rolls of nothing, money of 50.
    records = invent(jobs=12)
    over = np.where(records.jobs.index == 11, 1.0, 0.0) - (records.jobs.index == 10)
    price = np.where(records.jobs.index == 11, 200.0, 150.0)
    used = records.jobs["estimated_rolls"] + over
    even = lay_out(change(records, used_rolls=used, roll_price=price))
    said = owner_text.quarter_money(even).text
    assert re.fullmatch(r"In 2025Q4 alone: as many rolls as were priced, in \d jobs?\.", said)
    said = owner_text.headline(even).text
    assert (
        "as many rolls as were priced over 12 jobs (a roll costs about 154 of your money);" in said
    )


def test_money_has_the_sign_that_the_rolls_leave_it():
    records = invent(jobs=12)
    last = records.jobs["quarter"].eq("2025Q4")
    first = last & ~last.shift(fill_value=False)
    dear = change(
        records,
        used_rolls=records.jobs["estimated_rolls"] + np.where(first, -1.0, np.where(last, 1.0, 0)),
        roll_price=np.where(first, 900.0, 100.0),
    )
    said = owner_text.quarter_money(lay_out(dear)).text
    assert re.fullmatch(r"In 2025Q4 alone: 1 roll over in 3 jobs, worth −700\.", said)


def test_a_reveal_of_which_jobs_taught_nothing_is_marked_in_the_table_too(reveals, monkeypatch):
    plain = owner_text.cut_table(reveals)["reveal_took"].iloc[0]
    assert "common practice" not in plain
    monkeypatch.setattr(owner_text, "LEARNT", 1.0)
    assert owner_text.cut_table(reveals)["reveal_took"].iloc[0] == f"{plain} (common practice)"


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (7369.0, 10511.0, "7,400 to 10,500 more"),
        (-10511.0, -7369.0, "7,400 to 10,500 less"),
        (-2.3, 8.1, "2 less to 8 more"),
        (0.0, 0.0, "no change"),
    ],
)
def test_an_interval_is_told_no_finer_than_it_is_wide(low, high, told):
    assert owner_text._change(pd.Series({"low": low, "high": high}), "less", "more") == told


def test_misses_stand_beside_how_many_chance_alone_would_make(reveals):
    table = overrun_by_reveals(reveals.jobs, reveals.now)
    assert table["missed"].any()
    said = owner_text.reveal_words(table).text
    assert said.endswith(" (by chance: up to 4 jobs).")  # A tenth of 48.
    few = owner_text.reveal_words(table.assign(missed=True).head(3)).text
    assert "by chance" not in few
