"""Headings of the trade in English and German: what each means, and beside which others."""

import csv
from datetime import date
from pathlib import Path

import pytest

from airstats.intake.cell_readers import read_cell
from airstats.intake.column_facts import book_facts, facts_of
from airstats.intake.heading_words import words_of
from airstats.intake.headings import NOT_READ, meanings_of
from airstats.intake.readings import ColumnFacts
from tests.for_each import for_each

AREAS = [180 + 7 * n for n in range(20)]
CELLS = {
    "job_id": [f"{n} Mill Lane" for n in range(20)],
    "finished_on": [date(2022 + n // 8, 1 + n % 12, 1 + n) for n in range(20)],
    "surface_m2": AREAS,
    "estimated_rolls": [2 + n % 5 for n in range(20)],
    "used_rolls": [3 + n % 5 for n in range(20)],
    "crew": ["North", "South"] * 10,
    "work_type": ["new", "old"] * 10,
    "roll_price": [92, 92, 95, 95] * 5,
    "openings": ["3 x 900x1200", "2 x 600x900"] * 10,
    "opening_count": [4, 7] * 10,
    "reveal_mm": [200, 240] * 10,
    "cut_pattern": ["X cut", "lined"] * 10,
    "lap_mm": [100, 120] * 10,
    "roll_width_m": [1.5] * 20,
    "roll_length_m": [50] * 20,
    "roll_size": ["1.5 x 50"] * 20,
    "notes": ["wet", ""] * 10,
    "mark": ["W1", "D1"] * 10,
    "count": [2, 3] * 10,
    "width_mm": [900, 1200] * 10,
    "height_mm": [1200, 1050] * 10,
    "size": ["900 x 1200"] * 20,
    "sides": [4, 3] * 10,
    "left_m": [12, 7.5] * 10,
}
with Path(__file__).with_name("headings.csv").open(encoding="utf-8", newline="") as lines:
    HEADINGS = list(csv.DictReader(lines))


def columns(headings, cells, table="jobs"):
    return [[each.column for each in several] for several in meanings_of(headings, cells, table)]


@for_each(HEADINGS, name=lambda row: f"{row['table']}:{row['heading']}")
def test_a_heading_means_its_column_and_a_false_friend_none(row):
    column = row["column"]
    found = columns([row["heading"]], [CELLS.get(column, [])], row["table"])
    assert found == [[column] if column else []]


def beside(**headings):
    """Return what several headings mean together; each argument is a heading and its cells."""
    names = list(headings)
    return dict(zip(names, columns(names, [CELLS[c] for c in headings.values()]), strict=True))


def test_plain_rolls_are_what_no_other_heading_means():
    both = beside(rolls="used_rolls")
    assert both["rolls"] == ["estimated_rolls", "used_rolls"]
    assert beside(rolls="used_rolls", quoted="estimated_rolls")["rolls"] == ["used_rolls"]
    assert beside(rolls="estimated_rolls", used="used_rolls")["rolls"] == ["estimated_rolls"]


def test_a_plain_date_gives_way_to_the_day_that_a_job_was_finished():
    assert beside(date="finished_on", handover="finished_on") == {
        "date": [],
        "handover": ["finished_on"],
    }
    assert beside(date="finished_on", start="finished_on")["date"] == ["finished_on"]


def test_a_plain_width_is_that_of_what_has_a_height_or_a_length():
    assert columns(["width", "height"], [[900] * 9, [1200] * 9]) == [
        ["opening_width_mm"],
        ["opening_height_mm"],
    ]
    assert columns(["width", "roll length"], [[1.5] * 9, [50] * 9]) == [
        ["roll_width_m"],
        ["roll_length_m"],
    ]
    assert columns(["width"], [[1.5] * 9]) == [["roll_width_m", "opening_width_mm"]]


def test_what_may_be_another_quantity_is_asked():
    assert columns(["net area"], [AREAS]) == [["surface_m2", NOT_READ]]
    assert columns(["rolls left"], [[1, 0, 2] * 5]) == [["left_m", NOT_READ]]


@pytest.mark.parametrize(
    ("heading", "cells"),
    [("price", AREAS), ("length", AREAS), ("cost", [300 + n for n in range(20)])],
)
def test_what_is_said_of_a_roll_repeats_itself(heading, cells):
    assert columns([heading], [cells]) == [[]]


def test_cells_that_contradict_a_plain_heading_take_it_its_meaning():
    assert columns(["date"], [["wet", "dry"] * 5]) == [[]]
    assert columns(["quoted"], [[12_500, 8_900, 23_000] * 5]) == [[]]


@pytest.mark.parametrize(
    ("heading", "unit", "currency"),
    [
        ("width (mm)", "mm", ""),
        ("Breite [cm]", "cm", ""),
        ("area sq ft", "ft2", ""),
        ("width (in)", "in", ""),
        ("Fläche qm", "m2", ""),
        ("in use", "", ""),
        ("£/roll", "", "GBP"),
        ("Preis €", "", "EUR"),
        ("reveal_cm", "cm", ""),
        ("share %", "%", ""),
        ("surface (m²)", "m2", ""),
        ("width in inches", "in", ""),
    ],
)
def test_the_unit_and_the_currency_of_a_heading(heading, unit, currency):
    assert words_of(heading)[2:4] == (unit, currency)


def test_m2_under_a_count_of_rolls_are_told_by_the_heading():
    [[meaning]] = meanings_of(["used m²"], [[225.0, 300.0] * 5])
    assert (meaning.column, meaning.unit) == ("used_rolls", "m2")
    [[meaning]] = meanings_of(["sheet m²"], [AREAS])
    assert (meaning.column, meaning.unit) == ("surface_m2", "m2")


def doubts(column, heading, cells, **known):
    facts, found = facts_of(column, heading, cells, ColumnFacts(**known))
    return facts, [(doubt.kind, doubt.choices) for doubt in found]


@pytest.mark.parametrize(
    ("column", "heading", "cells", "unit"),
    [
        ("surface_m2", "area", AREAS, "m2"),
        ("surface_m2", "area sq ft", [a * 10.76 for a in AREAS], "ft2"),
        ("width_mm", "width", [900, 1200], "mm"),
        ("width_mm", "width", [90, 120, 60], "cm"),
        ("width_mm", "width", ["0.9", "1.2"], "m"),
        ("reveal_mm", "reveal", [20, 24], "cm"),
        ("reveal_mm", "reveal", [0.2, 0.25], "m"),
        ("openings", "Fenster", ["90/120", "2 St. 120/150"], "cm"),
        ("openings", "windows", ["900x1200", "3 x 600x900"], "mm"),
        ("width_mm", "width", [900, 1.2, 90, 120], ""),
        ("roll_width_m", "roll width", [150, 150], "cm"),
        ("pretaped_share", "pretaped", [0.2, 0.5], "share"),
        ("pretaped_share", "pretaped", [20, 50], "%"),
        ("left_m", "left m", [12, 7], "m"),
    ],
)
def test_a_unit_is_settled_by_what_only_it_makes_likely(column, heading, cells, unit):
    facts, asked = doubts(column, heading, cells)
    assert (facts.unit, asked) == (unit, [])


@pytest.mark.parametrize(
    ("column", "heading", "cells", "known", "field", "choices"),
    [
        (
            "surface_m2",
            "area m²",
            [a * 10.76 for a in AREAS],
            {"unit": "m2"},
            "unit",
            ["ft2", "m2"],
        ),
        ("width_mm", "width mm", [90, 120, 60], {"unit": "mm"}, "unit", ["cm", "in", "mm"]),
        ("width_mm", "width", [36, 48, 24], {}, "unit", ["in", "mm"]),
        ("reveal_mm", "reveal cm", [150, 200], {"unit": "cm"}, "unit", ["mm", "cm"]),
        ("used_rolls", "used", [225, 300], {}, "unit", ["m2", "rolls"]),
        ("used_rolls", "used", [3] * 7 + [4.5], {}, "counted", ["opened", "half"]),
        ("pretaped_share", "pretaped %", [0.2, 0.5], {"unit": "%"}, "unit", ["share", "%"]),
        ("roll_price", "price €", ["£92", "95"], {}, "currency", ["EUR", "GBP"]),
        (
            "finished_on",
            "date",
            ["03/04/2023", "05/07/2023"],
            {},
            "dates",
            ["day-first", "month-first"],
        ),
        (
            "finished_on",
            "date",
            ["14/04/2023", date(2023, 4, 3), date(2023, 5, 7)],
            {},
            "swapped",
            [True, False],
        ),
    ],
)
def test_what_a_column_leaves_in_doubt_is_asked(column, heading, cells, known, field, choices):
    facts, [(_, asked)] = doubts(column, heading, cells, **known)
    assert [getattr(choice, field) for choice in asked] == choices
    assert getattr(facts, field) in ("", None)


@pytest.mark.parametrize(
    ("cells", "counted"),
    [
        ([3, 4, 5] * 5, "opened"),
        ([3, 4.5, 5, 2.5] * 5, "half"),
        ([3] * 39 + [4.5], "opened"),
        ([3.25, 4.5, 5, 2.75], "quarter"),
        ([3.2, 4.7, 3.1], "exact"),
        (["3", "5½", "4 1/2"], "half"),
        (["3", "2 rolls + a bit", "5"], "opened"),
        ([4.5, 3.5, 5.5, 2.5, 3.5, 3.2], "half"),
    ],
)
def test_a_column_tells_how_rolls_were_counted(cells, counted):
    assert doubts("used_rolls", "used", cells)[0].counted == counted


def test_a_book_tells_its_decimal_mark_language_and_currency():
    german = book_facts(
        ["Fläche", "Rollen verbraucht", "Datum"], [["240,5", "92,00 €"], ["3,5"], ["10.2023"]]
    )
    assert (german.decimal, german.language, german.currency) == ("comma", "de", "EUR")
    english = book_facts(["area", "rolls used", "£/roll"], [["240.5"], ["3"], ["£92"]])
    assert (english.decimal, english.language, english.currency) == ("point", "en", "GBP")
    assert book_facts(["area"], [["240,5", "240.5"]]).decimal == ""


def test_short_dates_are_months_and_years_only_where_the_years_fit_one_another():
    assert doubts("finished_on", "date", ["10/22", "11/22", "1/23"])[0].short_dates == "month-year"
    assert (
        doubts("finished_on", "date", ["Oct 23", "Nov 12", "Dec 5"])[0].short_dates == "day-month"
    )
    assert doubts("finished_on", "date", ["10/23"])[0].short_dates == ""


@pytest.mark.parametrize(
    ("cells", "is_habit"),
    [
        (["900x1200, 600x900, reveal 200"] * 3, False),
        ([f"900x1200, 600x900, reveal {depth}" for depth in (200, 210, 220)], True),
        ([f"900x1200, 600x900, reveal {depth}" for depth in (200, 210)], False),
        (
            [f"900x1200, 600x900, reveal {depth}" for depth in (200, 210, 220)]
            + ["900x1200 reveal 200, 600x900 reveal 150"],
            False,
        ),
        (
            [f"900x1200, 600x900, reveal {depth}" for depth in (200, 210, 220)]
            + ["900x1200 reveal 200, 600x900"],
            False,
        ),
        ([f"900x1200, {w}x900, slit" for w in (600, 650, 700)], True),
    ],
)
def test_a_reveal_at_the_end_is_for_all_where_it_is_the_habit(cells, is_habit):
    facts, _ = doubts("openings", "windows", cells)
    assert facts.last_for_all is is_habit
    assert len(read_cell(cells[0], facts)) == (1 if is_habit else 2)


def test_columns_of_typical_sizes_are_no_lists_of_openings():
    counts, sizes = [4, 5, 8] * 5, [100, 120, 110.0] * 5
    found = columns(["Anzahl Fenster", "Breite (cm)", "Fensterhöhe (cm)"], [counts, sizes, sizes])
    assert found == [["opening_count"], ["opening_width_mm"], ["opening_height_mm"]]
