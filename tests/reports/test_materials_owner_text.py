"""What the owner reads of tape and corners: true to the records, and changed with them."""

import re
from dataclasses import replace

import numpy as np
import pytest

from airstats.catalog.materials import CORNER_PACK
from airstats.reports.desk import lay_out
from airstats.reports.display import Words
from airstats.reports.materials_owner_text import owner_section
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.invented import firm


@pytest.fixture(scope="module")
def corners():
    """A firm that keeps its corner pieces, and throws one in twenty away."""
    return firm(jobs=24, corner_pieces=0.05)


def section(records, packs, **columns):
    """The owner's section where so many packs a job were priced."""
    table = records.materials.assign(estimated=packs, **columns)
    return owner_section(lay_out(replace(records, materials=table)))


def needed(records):
    """The packs that the openings' corners ask for, job by job."""
    jobs = take_off(records)
    return material_quantities(jobs, records.openings)["corner_pieces"].to_numpy() / CORNER_PACK


def said(shown):
    return " ".join(part.text for part in shown if isinstance(part, Words))


def test_a_firm_without_records_or_without_estimates_sees_no_section(corners):
    assert owner_section(lay_out(firm(jobs=8))) == ()
    assert section(corners, np.nan) == ()


def test_the_section_is_a_heading_with_a_sentence_and_a_row_for_each_material(corners):
    words, table = section(corners, 5.0)
    assert words.text.startswith("## Tape, corners and the rest\n\n**Corner pieces ")
    row = table.frame.iloc[0]
    assert row["estimated_packs"] == 5.0 * 24
    assert row["used_packs"] == corners.materials["used"].sum()
    over = row["used_packs"] - row["estimated_packs"]
    assert row["over"].startswith(f"{over:.0f} ± ")
    assert f"{over:.0f} packs over the price" in words.text
    assert "money" in " ".join(str(name) for name in table.frame)


def reason(shown):
    return shown[1].frame["reason"].iloc[0]


def test_nobody_counts_the_corners_only_where_the_price_does_not_follow_them(corners):
    flat = reason(section(corners, 5.0))
    missing = (needed(corners) - 5.0).sum()
    found = re.fullmatch(
        r"nobody counts the corners, as the price does not follow them: (\d+) ± (\d+) packs", flat
    )
    # A price in whole packs is taken as rounded up by half a pack on average.
    assert float(found[1]) == pytest.approx(missing + 0.5 * 24, abs=float(found[2]) + 1)
    half = reason(section(corners, np.ceil(needed(corners) / 2)))
    assert half.startswith("the price held too little for the corners: ")


def test_waste_is_the_reason_where_the_price_holds_the_corners():
    records = firm(jobs=24, corner_pieces=0.3)
    shown = section(records, np.ceil(1.05 * needed(records)))
    assert re.fullmatch(r"waste, \d+ ± \d+ packs, \d+ ± \d+ of it priced", reason(shown))
    waste, half = re.search(
        r"Price for waste: corner pieces ([\d.]+) ± ([\d.]+) %", said(shown)
    ).groups()
    # The truth: 30 %.
    assert abs(float(waste) - 30) < 1.5 * float(half)


def test_a_good_price_leaves_nothing_to_find_and_an_ample_one_is_said(corners):
    shown = section(corners, np.ceil(1.05 * needed(corners)))
    assert "Corner pieces: no more than chance makes." in said(shown)
    assert reason(shown) == "chance"
    shown = section(corners, np.ceil(1.5 * needed(corners)))
    assert "below it" in said(shown)
    assert reason(shown) == "the price held more than the jobs took"


def test_money_follows_the_price_of_a_pack_and_is_left_out_without_one(corners):
    over = corners.materials["used"].sum() - 5.0 * 24
    for price in (12.0, 20.0):
        words, table = section(corners, 5.0, pack_price=price)
        assert f"(worth {over * price:,.0f}).**" in words.text
        assert table.frame["mean_money"].iloc[0] == pytest.approx(over * price)
    words, table = section(corners, 5.0, pack_price=np.nan)
    assert "about" not in words.text
    assert not [name for name in table.frame if "money" in name]
    assert "nan" not in words.text + repr(table)
