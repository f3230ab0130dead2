from datetime import date, datetime, time

import numpy as np
import pandas as pd
import pytest

from airstats.records.cell_dates import read_dates
from airstats.records.cell_values import cells_of


def read(*values, order="ask"):
    return read_dates(cells_of(pd.Series(list(values), dtype=object)), order)


def iso(reading):
    return [str(day)[:10] for day in reading.result]


@pytest.mark.parametrize(
    "value",
    [
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


@pytest.mark.parametrize("value", ["31.02.2026", "2026-13-01", "31/31/2026", "30 Foo 2026"])
def test_no_day_of_the_calendar(value):
    assert read(value).troubles[0].problem == "is not a day of the calendar"


@pytest.mark.parametrize("value", ["soon", "2026", "Q3 2026", 2026, 9e9, True, time(3), "1/2/3/4"])
def test_no_date(value):
    assert read(value).troubles[0].problem == "is not a date"
