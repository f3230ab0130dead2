import math
from datetime import date, datetime, time, timedelta
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from airstats.base.errors import RecordsError
from airstats.catalog.units import own_unit
from airstats.records.cell_values import (
    are_days,
    cells_of,
    decimal_marks,
    is_blank,
    read_dates,
    read_ids,
    read_names,
    read_numbers,
    read_texts,
    read_words,
)
from airstats.records.reading import read_records
from tests.for_each import for_each
from tests.invented import invent, save


def cells(*values):
    return cells_of(pd.Series(list(values), dtype=object))


def number(value, *others, separator=""):
    column = cells(value, *others)
    reading = read_numbers(column, decimal_marks([column]), separator)
    return reading.troubles[0] if 0 in reading.troubles else reading.result[0]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1200", 1200), (" 12.5 ", 12.5), ("12,5", 12.5), ("-3,25", -3.25), ("−3", -3),
        (".5", 0.5), ("0,300", 0.3), ("1.234,5", 1234.5), ("1,234.5", 1234.5),
        ("1,234,567", 1234567), ("1.234.567", 1234567), ("1 234,5", 1234.5), ("1\u00a0234", 1234),
        ("1\u202f234.5", 1234.5), ("1'234.50", 1234.5), ("1e3", 1000), ("2.5E-05", 2.5e-5),
        ("007", 7), (12.5, 12.5), (12, 12), (Decimal("1.5"), 1.5),
    ],
)  # fmt: skip
def test_numbers_that_mean_one_thing(text, value):
    assert number(text) == value


@pytest.mark.parametrize(
    ("text", "other", "separator", "value"),
    [
        ("1,234", "12.5", "", 1234), ("1,234", "12.5", ";", 1234), ("1,234", "12,5", "", 1.234),
        ("1,234", "5", ";", 1.234), ("1.234", "5", "", 1.234), ("1.234", "5", ";", 1.234),
        ("1.234", "12.5", ";", 1.234), ("1.234", "12,5", "", 1234),
        (1.234, "12,5", "", 1.234),  # The spreadsheet's own number is never doubtful.
    ],
)  # fmt: skip
def test_numbers_that_mean_two_things_go_by_the_rest_of_the_table(text, other, separator, value):
    assert number(text, other, separator=separator) == value


@pytest.mark.parametrize("others", [[], ["12,5", "12.5"]])
def test_number_is_asked_for_when_nothing_settles_it(others):
    trouble = number("1,234", *others)
    assert trouble.problem == "may be 1234 or 1.234"
    assert trouble.remedy == "write 1234 or 1.234, without a mark between thousands"
    assert number("1.234", "12,5", "12.5").problem == "may be 1.234 or 1234"


BESIDE = {
    ("1200 mm", "width_mm"): "write the number only, 1200",
    ("€ 45,50", "roll_price"): "write the number only, 45,50",
    ("12 m²", "surface_m2"): "write the number only, 12",
    ("20cm", "reveal_mm"): "write the number only, in millimetres: 200",
    ("8 in", "reveal_mm"): "write the number only, in millimetres: 203.2",
    ("1700 sq ft", "surface_m2"): "write the number only, in square metres: 157.935",
    ("1,5 m", "width_mm"): "write the number only, in millimetres: 1500",
    ("5½", "used_rolls"): "write 5.5",
    ("3 1/2 rolls", "used_rolls"): "write 3.5",
    ("½", "used_rolls"): "write 0.5",
    ("3 no.", "count"): "write the number only, 3",
    ("2 rolls + a bit", "used_rolls"): "write how many rolls were counted; of opened ones, 2 and a",
    ("4-5", "used_rolls"): "write how many rolls were counted",
    ("3/4", "used_rolls"): "write how many rolls were counted",
    ("3 x 900x1200", "width_mm"): "write one number, in the unit of the heading",
    ("10%", "pretaped_share"): "write a share from 0 to 1",
    ("20 m²", "reveal_mm"): "write one number, in the unit of the heading",
}


@pytest.mark.parametrize(("cell", "remedy"), BESIDE.items())
def test_what_stands_beside_a_number_is_refused_with_what_to_write(cell, remedy):
    text, column = cell
    column_cells = cells(text)
    reading = read_numbers(column_cells, frozenset(), "", column, own_unit(column))
    assert reading.troubles[0].problem == "holds more than a number"
    assert reading.troubles[0].remedy.startswith(remedy)


NO_NUMBERS = ["about", "1,2,3", "12 34", "1.2.3", "inf", "1e999", "--5", math.inf, True, b"x", "١٢"]


@for_each(NO_NUMBERS)
def test_what_is_no_number(value):
    assert number(value).problem in ("is not a number", "holds more than a number")


@for_each(["#REF!", "#DIV/0!", "#NAME?", "#N/A", "#NV", "Err:502"])
def test_errors_of_a_spreadsheet_are_neither_blank_nor_a_name(value):
    for read in (lambda c: read_numbers(c, frozenset()), read_texts, read_names, read_dates):
        assert read(cells(value)).troubles[0].problem == "is an error of the spreadsheet"


@for_each([date(2026, 5, 12), pd.Timestamp(2026, 5, 12), timedelta(1)])
def test_spreadsheet_that_turned_a_number_into_a_date(value):
    assert number(value).problem == "is a date where a number belongs"


@for_each(["", "  ", "\u00a0", "-", "–", "n/a", "N/A", "NaN", None, math.nan, pd.NA, pd.NaT])
def test_blank_cells(value):
    assert is_blank(value)
    assert math.isnan(number(value))


def test_a_doubtful_number_is_noted_and_true_is_not_taken_for_one():
    column = cells("1.234", "12,5")
    assert read_numbers(column, frozenset({"comma"})).note == '"1.234" read as 1234.'
    assert read_numbers(column, frozenset({"point"})).note == ""
    reading = read_numbers(cells(1.0, True, 1, "1"), frozenset())
    assert list(reading.troubles) == [1]
    assert reading.result[[0, 2, 3]].tolist() == [1, 1, 1]


@pytest.mark.parametrize("dtype", ["int64", "float64", "Int64", "str", "category", object])
def test_columns_of_any_type_read_alike(dtype):
    column = pd.Series(["3", "1", "3"] if dtype in ("str", "category") else [3, 1, 3], dtype=dtype)
    assert read_numbers(cells_of(column), frozenset()).result.tolist() == [3, 1, 3]


def test_cells_that_cannot_be_compared_and_names_by_the_spelling_seen_first():
    column = cells_of(pd.Series([np.array([1]), [2], "x"], dtype=object))
    assert [column.text(row) for row in range(3)] == ["[1]", "[2]", "x"]
    reading = read_names(cells("North  Crew", "north\u00a0crew ", "South", "NORTH CREW", "-"))
    assert reading.result.tolist() == ["North Crew", "North Crew", "South", "North Crew", ""]


def test_words_and_texts_from_numbers():
    spellings = {"lined": "lined", "centre": "centre", "center": "centre"}
    reading = read_words(cells(" Lined ", "CENTER", "", "cross"), spellings)
    assert reading.result.tolist() == ["lined", "centre", "", ""]
    assert reading.blank.tolist() == [False, False, True, False]
    assert reading.troubles[3].problem == "is not one of lined, centre"
    reading = read_texts(cells(101.0, "007 ", "n/a", "No"), frozenset({"no"}))
    assert reading.result.tolist() == ["101", "007", "", ""]
    assert reading.blank.tolist() == [False, False, True, True]


@for_each(
    ["Summe", "GESAMT:", "Total", "Somme", "Totaal", "sum", "Total général", "Sum of all jobs",
     "Total 2026", "Grand total", "Subtotal 3", "Σ"],
)  # fmt: skip
def test_a_line_of_totals_is_no_job(text):
    reading = read_ids(cells("H1", text))
    assert {row: trouble.problem for row, trouble in reading.troubles.items()} == {
        1: "looks like a line of totals"
    }


@for_each(["Summer house", "Total refit", "7", "Jobs 3", "all"])
def test_an_id_with_a_word_of_its_own_is_a_job(text):
    assert not read_ids(cells("H1", text)).troubles


def read(*values, order="ask"):
    return read_dates(cells_of(pd.Series(list(values), dtype=object)), order)


def iso(reading):
    return [str(day)[:10] for day in reading.result]


@for_each([
        "2026-12-31", "2026/12/31", "20261231", "2026-12-31 17:30", "2026-12-31T17:30:00.5+01:00",
        "31/12/2026", "31.12.2026", "31. 12. 2026", "31-12-26", " 31.12.26 08:00", "12/31/2026",
        "31 December 2026", "31-Dec-26", "46387", 46387, 46387.75, date(2026, 12, 31),
        datetime(2026, 12, 31, 23), pd.Timestamp("2026-12-31", tz="Europe/Paris"),
    ],
)  # fmt: skip
def test_one_day_in_many_spellings(value):
    # The serial number is checked by hand: 46023 is 1 January 2026 in the 1900 system.
    reading = read(value)
    assert reading.troubles == {}
    assert iso(reading) == ["2026-12-31"]
    assert reading.result.dtype == np.dtype("datetime64[us]")


@for_each(
    ["2023-10", "2023/10", "10/2023", "10.2023", "Oct 2023", "october 2023", "2023Q4", "2023-Q4",
     "Q4 2023", "q4-2023", "4Q 2023", " 2023 Q4 "],
)  # fmt: skip
def test_a_month_or_a_quarter_is_enough(value):
    reading = read(value, "2023-11-05", None)
    assert reading.troubles == {}
    assert iso(reading)[:2] == ["2023-10-01", "2023-11-05"]
    cells = cells_of(pd.Series([value, "2023-11-05", None, 45000], dtype=object))
    assert are_days(cells).tolist() == [False, True, True, True]


@for_each(["2023Q5", "2023-13", "Q4", "Q4 23", "Foo 2023", "2023-1-"])
def test_what_is_no_period_is_told_how_to_write_one(value):
    assert "or only 2026-03 or 2026Q1" in read(value).troubles[0].remedy
    are_days(cells_of(pd.Series([value], dtype=object)))


def test_years_of_two_digits_and_columns_of_time_stamps():
    assert iso(read("31.12.69", "31.12.70")) == ["2069-12-31", "1970-12-31"]
    reading = read("", None, "-", pd.NaT)
    assert reading.troubles == {}
    assert reading.blank.all()
    assert np.isnat(reading.result).all()
    column = pd.Series(pd.to_datetime(["2026-12-31", None]))
    reading = read_dates(cells_of(column))
    assert iso(reading)[0] == "2026-12-31"
    assert reading.blank.tolist() == [False, True]


def test_day_or_month_is_asked_for_only_where_doubtful():
    trouble = read("03/04/2026").troubles[0]
    assert trouble.problem == "may be 3 April or 4 March"
    assert trouble.remedy == (
        "write 2026-04-03 or 2026-03-04, or call again with --dates day-first or month-first"
    )
    reading = read("13/05/2026", "05/13/2026", "03/04/2026", "05/05/2026")
    assert list(reading.troubles) == [2]
    assert iso(reading)[:2] == ["2026-05-13", "2026-05-13"]
    told = read("13/05/2026", "05/13/2026", "03/04/2026", order="day-first")
    assert iso(told) == ["2026-05-13", "2026-05-13", "2026-04-03"]


@pytest.mark.parametrize(
    ("other", "order", "day"),
    [("13/05/2026", "day-first", "2026-04-03"), ("05/13/2026", "month-first", "2026-03-04")],
)
def test_another_date_of_the_column_or_the_caller_settles_it(other, order, day):
    reading = read("03/04/2026", other)
    assert iso(reading)[0] == day
    assert reading.note.startswith(f'"03/04/2026" read as {day}')
    assert iso(read("03/04/2026", order=order)) == [day]


@for_each(["31.02.2026", "2026-13-01", "31/31/2026", "30 Foo 2026"])
def test_no_day_of_the_calendar(value):
    assert read(value).troubles[0].problem == "is not a day of the calendar"


@for_each(["soon", "2026", "Q3 26", 2026, 9e9, True, time(3), "1/2/3/4"])
def test_no_date(value):
    assert read(value).troubles[0].problem == "is not a date"


def test_who_writes_another_word_for_a_cut_is_told_what_each_means(tmp_path):
    places = save(tmp_path / "firm", invent(jobs=3))
    openings = pd.read_csv(places / "openings.csv")
    openings.loc[0, "cut_pattern"] = "crosswise"
    openings.to_csv(places / "openings.csv", index=False)
    told = r"write one of these words \(diagonal is corner to corner and centre is slit\)"
    with pytest.raises(RecordsError, match=told):
        read_records(places)
