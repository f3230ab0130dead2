"""Sections on the other materials: there when records are, gone when not, and true to them."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from airstats import buying_list, price_materials
from airstats.model.allowances import material_table
from airstats.model.quarterly_update import calibrate
from airstats.reports.desk import after_decision, lay_out
from airstats.reports.display import Words
from airstats.reports.materials_evidence_text import evidence_section
from airstats.reports.materials_owner_text import owner_section
from airstats.reports.materials_text import (
    _in_packs,
    price_section,
    together_and_alone,
    update_section,
)
from tests.invented import firm, keep

SECTIONS = {
    "owner": owner_section,
    "update": update_section,
    "price": lambda desk: price_section(desk, 60, 240),
    "evidence": evidence_section,
}


def desk_of(records, packs=None):
    table = records.materials.assign(estimated=packs) if packs else records.materials
    return lay_out(replace(records, materials=table))


@pytest.fixture(scope="module")
def short():
    """A firm that prices two rolls of frame tape a job and uses far more."""
    return desk_of(firm(jobs=24, frame_tape=0.1), packs=2.0)


def texts(section):
    return " ".join(part.text for part in section if isinstance(part, Words))


@pytest.mark.parametrize("name", SECTIONS)
def test_a_section_starts_with_its_heading_and_is_none_without_records(name, short):
    section = SECTIONS[name](short)
    assert isinstance(section[0], Words)
    assert section[0].text.startswith(("## ", "### "))
    assert len(section) >= 2
    assert SECTIONS[name](desk_of(firm(jobs=8))) == ()


EDGES = "nobody counts the edges of the frames, as the price does not follow them"


@pytest.mark.parametrize(
    ("used", "packs", "told"),
    [
        ({"frame_tape": 0.1}, 2.0, ("over the price", EDGES)),
        # Priced with more than enough for what is counted; half as much again is used.
        ({"frame_tape": 0.5}, 4.0, ("over the price", "waste, ", "of it priced")),
        (
            {"corner_pieces": 0.0}, 12.0,
            ("below it", "the price held more than the jobs took"),
        ),
    ],
    ids=["not counted", "wasted", "priced amply"],
)  # fmt: skip
def test_the_owner_reads_why_packs_ran_over(used, packs, told):
    words, table = owner_section(desk_of(firm(jobs=24, **used), packs))
    said = f"{words.text} {table.frame['reason'].iloc[0]}"
    assert all(part in said for part in told), said


def test_a_plain_regression_says_what_it_shows(short):
    table = evidence_section(short)[1]
    shown = table.frame.iloc[0]
    (mean, low, high), (plain, *_) = (
        [float(part) for part in re.findall(r"-?[\d.]+", shown[name])]
        for name in ("of_counts", "of_plain")
    )
    assert low < mean < high
    assert plain == pytest.approx(mean, abs=2 * (high - low) + 0.1)


def test_what_new_jobs_alone_say_is_of_the_quarter_alone(short):
    shown = update_section(short)[1].frame.iloc[0]
    last = keep(short.records, short.records.jobs["quarter"].eq(short.quarter))
    alone = material_table(calibrate(last)).loc["frame tape"]
    half = (alone["high"] - alone["low"]) / 2
    assert shown["this_quarter"] == f"{100 * alone['mean']:.1f} ± {100 * half:.1f}"
    assert half > 1.2 * float(shown["new_value"].split(" ± ")[1]) / 100


def test_one_table_holds_what_to_buy_together_and_each_job_below(short):
    part = price_section(short, 60, 240)[1]
    table = part._shown()
    assert "sheet in rolls of 75 m² and frame tape in packs of 25 m;" in part.caption
    jobs, known = short.quarter_records(), short.now
    assert list(table) == ["job", "sheet", "frame tape"]
    assert table["job"].tolist() == ["all", *jobs.jobs["job_id"]][:10]
    bought, alone = buying_list(jobs, known), price_materials(jobs, known)
    assert table.iloc[0].tolist()[1:] == [f"{packs}" for packs in bought["order_packs"]]
    first = alone[alone["job_id"].eq(table["job"].iloc[1])]
    assert table.iloc[1].tolist()[1:] == [f"{packs}" for packs in first["order_packs"]]


def test_packs_of_two_sizes_are_added_up_and_both_are_named(short):
    jobs, known = short.quarter_records(), short.now
    alone = price_materials(jobs, known)
    bought = buying_list(jobs, known)
    two = pd.concat([bought, bought.iloc[1:].assign(pack=10.0)])
    table = together_and_alone(two, alone)
    assert "frame tape in packs of 25 and 10 m" in _in_packs(two)
    assert table.iloc[0, 2] == 2 * bought["order_packs"].iloc[1]


def test_kept_values_price_the_next_jobs(short):
    early = after_decision(short, "keep", "new crew", "XY")
    assert texts(price_section(short, 60, 240)) != ""
    assert early.now.decision["decision"] == "keep"
    said = [texts(price_section(desk, 60, 240)) for desk in (short, early)]
    assert all("packs of frame tape" in text for text in said)
    kept, before, new = (
        material_table(allowances).loc["frame tape"]
        for allowances in (early.now, short.before, short.now)
    )
    assert kept["mean"] == pytest.approx(before["mean"])
    assert before["mean"] != new["mean"]
    assert kept["jobs_used"] < new["jobs_used"] == 24
