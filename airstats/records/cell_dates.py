"""Turn the cells of a column into dates, whichever way round they are written."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from airstats.records.cell_values import Cells, Reading, Trouble, is_blank, reading_of

DATE_ORDERS = ("ask", "day-first", "month-first")
_TIME = r"([t ,]+[0-9]{1,2}:[0-9]{2}(:[0-9]{2}([.,][0-9]+)?)?( ?[ap]m)?( ?(z|[+-][0-9:]+))?)?"
_ISO = re.compile(rf"([0-9]{{4}})([-/.])([0-9]{{1,2}})\2([0-9]{{1,2}}){_TIME}", re.I)
_NUMERIC = re.compile(
    rf"([0-9]{{1,2}}) ?([-/.]) ?([0-9]{{1,2}}) ?\2 ?([0-9]{{4}}|[0-9]{{2}}){_TIME}", re.I
)
_NAMED = re.compile(
    rf"([0-9]{{1,2}})[-/. ]+([a-z]{{3,9}})[-/., ]+([0-9]{{4}}|[0-9]{{2}}){_TIME}", re.I
)
_MONTHS = "January February March April May June July August September October November December"
_MONTH_NAMES = _MONTHS.split()
_SERIAL_ZERO = date(1899, 12, 30)
_WRITE_DATE = "write it as year-month-day, such as 2026-03-31"
_NOT_A_DATE = Trouble("is not a date", _WRITE_DATE)


def read_dates(cells: Cells, order: str = "ask") -> Reading:
    """Read dates; `order` is "ask", "day-first" or "month-first" for those that could be both."""
    shown = {_order_shown(value) for value in cells.distinct} - {None}
    settled = order if order != "ask" else (shown.pop() if len(shown) == 1 else None)
    results = [_date(value, settled) for value in cells.distinct]
    note = next(
        (
            f'"{value}" read as {result} ({settled}).'
            for value, result in zip(cells.distinct, results, strict=True)
            if isinstance(result, date) and isinstance(_date(value, None), Trouble)
        ),
        "",
    )
    return reading_of(cells, results, None, "datetime64[us]", note)


def _order_shown(value: object) -> str | None:
    parts = _NUMERIC.fullmatch(" ".join(value.split())) if isinstance(value, str) else None
    first, second = (int(parts[1]), int(parts[3])) if parts else (0, 0)
    if first <= 12 < second:
        return "month-first"
    return "day-first" if second <= 12 < first else None


def _date(value: object, order: str | None) -> date | Trouble | None:
    if is_blank(value):
        return None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        if isinstance(value, str):
            return _date_in_text(" ".join(value.split()), order)
        return _serial_date(value)
    except ValueError:
        return Trouble("is not a day of the calendar", _WRITE_DATE)


def _serial_date(value: object) -> date | Trouble:
    """Read the day number that spreadsheets keep; only those of 1927 to 2173 are likely dates."""
    if isinstance(value, (int, float)) and 10_000 <= value < 100_000:
        return _SERIAL_ZERO + timedelta(days=int(value))
    return _NOT_A_DATE


def _date_in_text(text: str, order: str | None) -> date | Trouble:
    if re.fullmatch("[0-9]{5}", text):
        return _serial_date(int(text))
    if re.fullmatch("[0-9]{8}", text):
        return date(int(text[:4]), int(text[4:6]), int(text[6:]))
    if parts := _ISO.fullmatch(text):
        return date(int(parts[1]), int(parts[3]), int(parts[4]))
    if parts := _NAMED.fullmatch(text):
        names = [name[: len(parts[2])].casefold() for name in _MONTH_NAMES]
        return date(_year(parts[3]), names.index(parts[2].casefold()) + 1, int(parts[1]))
    if parts := _NUMERIC.fullmatch(text):
        return _numeric_date(int(parts[1]), int(parts[3]), _year(parts[4]), order)
    return _NOT_A_DATE


def _year(digits: str) -> int:
    # Two digits: 70 to 99 lie in the last century, as spreadsheets commonly have it.
    year = int(digits)
    return year if len(digits) == 4 else year + (1900 if year >= 70 else 2000)


def _numeric_date(first: int, second: int, year: int, order: str | None) -> date | Trouble:
    if first > 12 or first == second or (order == "day-first" and second <= 12):
        return date(year, second, first)
    if second > 12 or order == "month-first":
        return date(year, first, second)
    by_day, by_month = date(year, second, first), date(year, first, second)
    return Trouble(
        f"may be {_spoken(by_day)} or {_spoken(by_month)}",
        f"write {by_day} or {by_month}, or call again with --dates day-first or month-first",
    )


def _spoken(day: date) -> str:
    return f"{day.day} {_MONTH_NAMES[day.month - 1]}"
