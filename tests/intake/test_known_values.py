"""A known value in any of many styles is read as that value or asked about, never as another."""

import os
from datetime import date
from decimal import Decimal

import pytest
from babel.dates import format_date, get_month_names
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from airstats.catalog.units import as_own
from airstats.intake.cell_readers import read_cell
from airstats.intake.column_facts import facts_of
from airstats.intake.dates import MONTHS, quarter_of
from airstats.intake.readings import ColumnFacts, OpeningText

often = settings(
    max_examples=int(os.environ.get("AIRSTATS_EXAMPLES", "") or 60), derandomize=True, deadline=None
)
BEFORE_AND_AFTER = [
    ("", ""),
    ("ca. ", ""),
    ("~", ""),
    ("", " ca."),
    (" ", " "),
    ("", "?"),
    ("c. ", ""),
]
MARKS = [(".", ""), (",", ""), (".", ","), (",", "."), (",", " "), (".", "'"), (",", "\u00a0")]
WORDS = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]


def in_figures(value, marks, places):
    decimal, group = marks
    text = f"{value:,.{places}f}"
    return text.replace(",", "\0").replace(".", decimal).replace("\0", group)


def agree(cell, facts, value):
    found = read_cell(cell, facts)
    if len(found) == 1:
        assert found[0].value == pytest.approx(value, rel=1e-12), (cell, facts, found)
    return found


decimals = st.sampled_from(["", "point", "comma"])
marked = st.sampled_from(MARKS)
beside = st.sampled_from(BEFORE_AND_AFTER)


def of(marks):
    return "point" if marks[0] == "." else "comma"


@often
@given(
    st.integers(150, 30_000),
    st.integers(0, 3),
    marked,
    beside,
    st.booleans(),
    st.sampled_from(["", " m²", "m2", " qm", " sqm"]),
)
def test_a_surface(tenths, places, marks, around, is_mark_known, unit):
    value = tenths / 10 if places else float(tenths // 10)
    assume(value >= 15)
    cell = f"{around[0]}{in_figures(value, marks, places)}{unit}{around[1]}"
    facts = ColumnFacts("surface_m2", unit="m2", decimal=of(marks) if is_mark_known else "")
    agree(cell, facts, value)


@often
@given(
    st.integers(350, 6000),
    st.sampled_from(["mm", "cm", "m"]),
    st.booleans(),
    marked,
    st.sampled_from(["mm", "cm", "m", ""]),
    decimals,
)
def test_a_width(mm, unit, is_said, marks, column, decimal):
    places = {"mm": 0, "cm": 1, "m": 3}[unit]
    shown = in_figures(float(Decimal(mm).scaleb(-places)), (marks[0], ""), places)
    assume(decimal in ("", of(marks)) and (is_said or unit == column or not column))
    facts = ColumnFacts("width_mm", unit=column, decimal=decimal)
    agree(f"{shown} {unit}" if is_said else shown, facts, mm)


@often
@given(st.integers(14, 236))
def test_a_width_in_inches_and_feet(inches):
    facts = ColumnFacts("width_mm", unit="mm")
    mm = inches * 25.4
    for cell in (
        f'{inches}"',
        f"{inches} in",
        f"{inches} inches",
        f"{inches // 12}'{inches % 12}\"",
        f"{inches // 12} ft {inches % 12} in",
    ):
        agree(cell, facts, mm)
    assert len(read_cell(f'{inches}"', facts)) == 1


@often
@given(st.integers(1, 40), st.sampled_from([0, 0.25, 0.5, 0.75]), st.booleans())
def test_a_count_of_rolls(whole, part, is_used):
    facts = ColumnFacts("used_rolls" if is_used else "estimated_rolls")
    value = whole + part
    sign = {0.25: "¼", 0.5: "½", 0.75: "¾", 0: ""}[part]
    fraction = {0.25: " 1/4", 0.5: " 1/2", 0.75: " 3/4", 0: ""}[part]
    cells = [
        f"{value:g}",
        f"{value:g}".replace(".", ","),
        f"{whole}{sign}",
        f"{whole} {sign}",
        f"{whole}{fraction}",
    ]
    cells += [
        f"{whole}{fraction.replace(' ', '-')}",
        f"ca. {value:g}",
        f"{whole}{fraction} rolls",
        f"{whole}{sign} Rollen",
    ]
    cells += [
        f"{whole}{fraction.strip()}",
        f"{value:.2f}",
        f"{value:.3f}",
        f"{value:.2f} rolls",
        f"rolls: {value:g}",
    ]
    for cell in cells:
        agree(cell, facts, value)
    assert all(len(read_cell(cell, facts)) == 1 for cell in cells[:5])


@often
@given(st.integers(1, 9))
def test_a_count_of_rolls_in_words_and_above(whole):
    word, facts = WORDS[whole - 1], ColumnFacts("used_rolls")
    assert read_cell(word, facts)[0].value == whole
    assert read_cell(f"{word} and a half", facts)[0].value == whole + 0.5
    for more in ("+ a bit", "rolls + a bit", "and a bit", "+ some", "rolls plus part of another"):
        [above] = read_cell(f"{whole} {more}", facts)
        assert (above.value, above.also) == (whole + 1, (("counted", "opened"),))


days = st.dates(date(2018, 1, 1), date(2027, 12, 31))
ORDERS = {
    "day-first": ["%d/%m/%Y", "%d-%m-%Y", "%d/%m/%y"],
    "month-first": ["%m/%d/%Y", "%m/%d/%y"],
}


@often
@given(
    st.lists(days, min_size=12, max_size=12),
    st.sampled_from([(o, w) for o, ways in ORDERS.items() for w in ways]),
    st.randoms(use_true_random=False),
)
def test_dates_of_one_column(each, way, chance):
    """Some are text in one order, others in words; every one is read right, or asked about."""
    order, written = way
    others = ["%Y-%m-%d", "%d %b %Y", "%B %Y", "%b %Y", written, written]
    cells = [day.strftime(chance.choice(others)) for day in each]
    facts, doubts = facts_of("finished_on", "finished", cells)
    assert facts.dates in ("", order)
    if any(
        day.day > 12 and cell == day.strftime(written)
        for cell, day in zip(cells, each, strict=True)
    ):
        assert facts.dates == order
        assert not [doubt for doubt in doubts if doubt.kind == "day or month first"]
    for cell, day in zip(cells, each, strict=True):
        found = read_cell(cell, facts)
        quarters = {quarter_of(reading.value) for reading in found if reading.value}
        right = quarter_of(day.isoformat())
        assert quarters == {right} if len(found) == 1 else right in quarters, (cell, facts)


@often
@given(
    days,
    st.sampled_from(["en_GB", "en_US", "de_DE", "de_AT"]),
    st.sampled_from(["medium", "long", "full"]),
)
def test_dates_as_the_locale_data_write_them(day, locale, length):
    """CLDR 46 by way of babel: written-out months of any length; "1/2/23" is another matter."""
    found = read_cell(format_date(day, length, locale), ColumnFacts("finished_on"))
    assert not found or [reading.value for reading in found] == [day.isoformat()]
    if length == "long":
        assert found


@pytest.mark.parametrize("locale", ["en_GB", "en_US", "de_DE", "de_AT", "de_CH"])
@pytest.mark.parametrize("width", ["wide", "abbreviated"])
@pytest.mark.parametrize("context", ["format", "stand-alone"])
def test_every_month_of_the_locale_data_is_known(locale, width, context):
    for place, name in get_month_names(width, context, locale).items():
        assert MONTHS[name.casefold().rstrip(".")] == place


KINDS = st.tuples(
    st.integers(1, 12),
    st.integers(8, 40),
    st.integers(8, 42),
    st.sampled_from([None, 100, 200, 240, 350]),
)
COUNTS = [
    "{n} no. {s}",
    "{n} x {s}",
    "{n}no {s}",
    "{n} St. {s}",
    "{s} ({n})",
    "{n}x{s}",
    "{n} windows {s}",
    "{n} off {s}",
]
SIZES = ["{w}x{h}", "{w} x {h}", "{w}/{h}", "{w} × {h}", "W{w} H{h}", "{w} wide {h} high"]
REVEALS = [", reveal {r} mm", " rev {r} mm", " ({r} mm deep)", ", Laibung {c} cm"]


@often
@given(
    st.lists(KINDS, min_size=1, max_size=3),
    st.sampled_from(COUNTS),
    st.sampled_from(SIZES),
    st.sampled_from(REVEALS),
    st.sampled_from(["mm", "cm", "m"]),
    st.booleans(),
    st.sampled_from([", ", "; ", " + ", "\n", " and "]),
)
def test_openings_of_a_cell(kinds, count, size, reveal, unit, is_said, between):
    def shown(mm):
        return {"mm": f"{mm}", "cm": f"{mm / 10:g}", "m": f"{mm / 1000:.2f}"}[unit]

    parts, truth = [], []
    for n, w, h, r in kinds:
        sized = size.format(w=shown(w * 50), h=shown(h * 50)) + (
            f" {unit}" if is_said and "high" not in size else ""
        )
        told = reveal.format(r=r, c=(r or 0) / 10) if r else ""
        parts.append(count.format(n=n, s=sized) + told)
        truth.append(OpeningText(w * 50.0, h * 50.0, n, float(r) if r else None))
    for facts in (ColumnFacts("openings"), ColumnFacts("openings", unit=unit)):
        found = read_cell(between.join(parts), facts)
        if len(found) == 1:
            assert found[0].value == tuple(truth), (parts, facts)


@pytest.mark.parametrize(
    ("cell", "quarters"),
    [
        ("KW 53 2004", {"2004Q4", "2005Q1"}),
        ("2009-W01", {"2008Q4", "2009Q1"}),
        ("KW 53 2021", set()),
    ],
)
def test_weeks_are_those_of_iso_8601(cell, quarters):
    """ISO 8601: 2005-01-01 lies in 2004-W53, 2008-12-29 in 2009-W01; 2021 has 52 weeks."""
    assert {r.value for r in read_cell(cell, ColumnFacts("finished_on"))} == quarters


def test_inch_foot_and_yard_are_those_of_1959():
    """International yard and pound agreement: a yard is 0.9144 m, exactly."""
    assert as_own("width_mm", 1.0, "in") == 25.4
    assert as_own("width_mm", 1.0, "ft") == 304.8
    assert as_own("width_mm", 1.0, "yd") == 914.4
    assert as_own("surface_m2", 1.0, "ft2") == 0.09290304
    assert as_own("surface_m2", 1.0, "yd2") == 0.83612736


@often
@given(
    st.text(max_size=40),
    st.sampled_from(
        [
            "surface_m2",
            "width_mm",
            "used_rolls",
            "finished_on",
            "openings",
            "roll_price",
            "cut_pattern",
            "count",
            "sides",
            "roll_size",
            "pretaped_share",
        ]
    ),
)
def test_any_text_is_read_or_not_without_a_fault(text, column):
    for reading in read_cell(text, ColumnFacts(column)):
        assert hash(reading) is not None
