"""Days, months, quarters and weeks, however they are written."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, time, timedelta

from airstats.intake.plain_text import (
    LONGEST,
    asked,
    clear,
    is_truth,
    no_entry,
    plain,
    says_none,
    told,
    without_circa,
)
from airstats.intake.readings import ColumnFacts, Reading

YEARS = (1995, 2049)
"""The years that a job may lie in; a date outside is asked about."""
_ENGLISH = "january february march april may june july august september october november december"
_GERMAN = "januar februar märz april mai juni juli august september oktober november dezember"
_OTHERS = {"jänner": 1, "jän": 1, "feber": 2, "maerz": 3, "mrz": 3, "mär": 3, "sept": 9}
MONTHS = {
    name[:length]: place
    for names in (_ENGLISH, _GERMAN)
    for place, name in enumerate(names.split(), 1)
    for length in range(3, len(name) + 1)
} | _OTHERS
"""Names of months and what they are cut to, in English and German, in small letters."""
_MONTH = rf"(?P<month>{'|'.join(sorted(MONTHS, key=len, reverse=True))})\.?"
_SECOND_MONTH = _MONTH.replace("month", "until")
_YEAR = r"'?(?P<year>\d{4}|\d{2})"
_QUARTER_WORD = r"(?:q|quarter|qtr\.?|quartal|qu\.?|quart\.?)"
_FOURTH = r"(?P<quarter>[1-4]|iv|iii|ii|i|first|second|third|fourth|erstes|zweites|drittes|viertes)"
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "first": 1, "second": 2, "third": 3, "fourth": 4}
_ROMAN |= {"erstes": 1, "zweites": 2, "drittes": 3, "viertes": 4}
_WEEK_WORD = r"(?P<word>kw|cw|w|wk|week|woche|kalenderwoche)\.?"
_SEASONS = {
    "spring": (1, 2),
    "summer": (2, 3),
    "autumn": (3, 4),
    "fall": (3, 4),
    "frühjahr": (1, 2),
    "frühling": (1, 2),
    "sommer": (2, 3),
    "herbst": (3, 4),
    "winter": (1, 4),
    "h1": (1, 2),
    "h2": (3, 4),
    "first half": (1, 2),
    "second half": (3, 4),
    "1. halbjahr": (1, 2),
    "2. halbjahr": (3, 4),
}
_PART_OF = r"(?:(?:early|mid|late|end|beginning|start|anfang|mitte|ende|anf\.?)(?: of| in)?[ -]?)?"
_SINCE = r"(?:(?:in|im|on|am|by|at|completed|finished|done|fertig|done on|fertig am)[ :]*)?"
_DAYNAME = r"(?:(?:mon?|tues?|wed|thu(?:rs)?|fri|sat|sun|di|mi|do|fr|sa|so)[a-zö]{0,6}\.?,? )?"
_TIME = (
    r"(?:[t, ]+\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?: ?[ap]m)?(?: ?uhr)?(?: ?(?:z|[+-][\d:]+))?)?"
)
_ORDINAL = r"(?:st|nd|rd|th|\.)?"
_PATTERNS = {
    "iso": rf"(?P<year>\d{{4}})([-/.])(?P<month>\d{{1,2}})\2(?P<day>\d{{1,2}}){_TIME}",
    "compact": r"(?P<year>(?:19|20)\d\d)(?P<month>\d\d)(?P<day>\d\d)",
    "numeric": rf"(?P<first>\d{{1,2}}) ?(?P<mark>[-/.]) ?(?P<second>\d{{1,2}}) ?(?P=mark) ?"
    rf"{_YEAR}{_TIME}",
    "spaced": rf"(?P<first>\d{{1,2}}) (?P<second>\d{{1,2}}) {_YEAR}(?P<mark>)",
    "day month": rf"(?P<day>\d{{1,2}}){_ORDINAL}(?: of)?[-/. ]*{_MONTH}[-/., ]*{_YEAR}{_TIME}",
    "month day": rf"{_MONTH}[-/. ]*(?P<day>\d{{1,2}}){_ORDINAL},? (?P<year>\d{{4}}){_TIME}",
    "month": rf"{_PART_OF}{_MONTH}[-/., ]*(?:'(?P<short>\d{{2}})|(?P<year>\d{{4}}))",
    "short month": rf"{_PART_OF}{_MONTH}[-/., ]*(?P<year>\d{{2}})",
    "year month": rf"(?P<year>\d{{4}})[-/., ]*{_MONTH}",
    "months": rf"{_MONTH} ?(?:-|/|to|bis|and|und|&|\+|or|oder) ?{_SECOND_MONTH}[-/., ]*{_YEAR}",
    "number month": r"(?P<month>\d{1,2}) ?[-/.] ?(?P<year>\d{4})",
    "year number": r"(?P<year>\d{4}) ?[-/. ] ?(?P<month>\d{1,2})",
    "short": r"(?P<first>\d{1,2}) ?(?P<mark>[-/.]) ?(?P<second>\d{2}|\d)\.?",
    "quarter": rf"{_QUARTER_WORD} ?{_FOURTH}(?:[-/., ]| of )*{_YEAR}",
    "quarter word": rf"{_FOURTH}{_ORDINAL}[ /]?{_QUARTER_WORD}[-/., ]*{_YEAR}",
    "quarter roman": r"(?P<quarter>iv|iii|ii|i) ?[-/. ] ?(?P<year>\d{4}|\d{2})",
    "year quarter": rf"{_YEAR}[-/., ]*(?:{_QUARTER_WORD} ?{_FOURTH})",
    "year quarter word": rf"{_YEAR}[-/., ]+(?P<quarter>[1-4])\. ?quartal",
    "week": rf"{_WEEK_WORD} ?(?P<week>\d{{1,2}})[-/., ]*{_YEAR}",
    "week word": rf"(?P<week>\d{{1,2}})\. ?{_WEEK_WORD}[-/., ]*{_YEAR}",
    "iso week": r"(?P<year>\d{4})-?(?P<word>)w(?P<week>\d\d)",
    "year week": rf"(?P<year>\d{{4}})[-/., ]*{_WEEK_WORD} ?(?P<week>\d{{1,2}})",
    "season": rf"(?P<season>{'|'.join(map(re.escape, _SEASONS))})[-/., ]*{_YEAR}",
    "year": r"(?P<year>\d{4})",
    "day and month": rf"(?P<day>\d{{1,2}}){_ORDINAL}[-/. ]*{_MONTH}",
    "month alone": rf"{_PART_OF}{_MONTH}",
    "quarter alone": rf"q ?{_FOURTH}",
    "week alone": rf"{_WEEK_WORD} ?(?P<week>\d{{1,2}})",
}
_COMPILED = {kind: re.compile(f"{_SINCE}{_DAYNAME}{way}\\.?") for kind, way in _PATTERNS.items()}
_UNFINISHED = (
    "ongoing|in progress|running|not finished|not yet|unfinished|live|current|on site|wip|läuft|"
    "laufend|in arbeit|nicht fertig|noch nicht|noch nicht fertig|im bau|open|pending"
)
_OPEN = frozenset(_UNFINISHED.split("|"))
_SERIAL_ZERO = datetime(1899, 12, 30)
_SERIALS = tuple((datetime(year, 1, 1) - _SERIAL_ZERO).days for year in (YEARS[0], YEARS[1] + 1))


def read_date(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a date as the records take it: an ISO day, "2023-10" or "2023Q4".

    Only the quarter matters: a cell that may be two days of one quarter is read as the quarter.
    """
    if isinstance(cell, date):
        return _made_by_spreadsheet(cell, facts)
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return _number(cell, facts)
    text = plain(cell)
    if len(text) > LONGEST or is_truth(text) or isinstance(cell, (time, timedelta)):
        return ()
    if kind := no_entry(text) or ("none" if says_none(text) else ""):
        return clear(cell, None, kind)
    if text in _OPEN:
        return (Reading(None, "not finished", f"{told(cell, None)}, so not finished"),)
    bare, is_circa = without_circa(text)
    found = _in_text(cell, bare, facts)
    if is_circa and len(found) == 1:
        return asked(cell, [found[0].value], "circa")
    return found


def _in_text(cell: object, text: str, facts: ColumnFacts) -> tuple[Reading, ...]:
    if text.isdecimal() and len(text) == 5:
        return _number(int(text), facts)
    for kind, pattern in _COMPILED.items():
        if found := pattern.fullmatch(text):
            parts = found.groupdict()
            try:
                dates = _DATES[_READER_OF.get(kind, kind)](parts, facts)
            except ValueError:
                continue
            return _settled(cell, dates, kind, facts)
    return ()


def _settled(
    cell: object, dates: Sequence[str], kind: str, facts: ColumnFacts
) -> tuple[Reading, ...]:
    """Return one reading where all dates lie in one quarter, else one for each."""
    may_lack_year, dates = "" in dates, [d for d in dict.fromkeys(dates) if d and _is_likely(d)]
    if not dates:
        return ()
    if may_lack_year:
        return asked(cell, [*dates, None], _ASKED_AS["short"])
    low, high = facts.years or YEARS
    if not any(low <= int(each[:4]) <= high for each in dates):
        return asked(cell, [*dates, None], "far from the other dates")
    if len(dates) > 1 and len({quarter_of(each) for each in dates}) == 1:
        value = quarter_of(dates[0])
        return clear(cell, value, "one quarter either way")
    if len(dates) > 1:
        return asked(cell, dates, _ASKED_AS.get(kind, kind))
    name = _TOLD_AS.get(kind, kind)
    if kind == "short" and len(dates[0]) == 10:
        name = "year from its place"
    return clear(cell, dates[0], name)


_ASKED_AS = {
    "numeric": "day or month first",
    "spaced": "day or month first",
    "year": "a year alone",
    "short": "month and year, or day and month",
}
_TOLD_AS = {"iso": "", "numeric": "", "day month": "", "compact": ""}
_TOLD_AS |= {"short": "month"}
_TOLD_AS |= dict.fromkeys(("short month", "year month", "number month", "year number"), "month")
_TOLD_AS |= dict.fromkeys(("month alone", "day and month"), "year from its place")
_TOLD_AS |= dict.fromkeys(("quarter alone", "week alone"), "year from its place")
_TOLD_AS |= {"quarter word": "quarter", "year quarter": "quarter", "quarter roman": "quarter"}
_TOLD_AS |= {
    "year quarter word": "quarter",
    "week word": "week",
    "year week": "week",
    "iso week": "week",
}
_TOLD_AS |= {"month day": "", "spaced": ""}


def quarter_of(value: str) -> str:
    """Return the quarter of a date as the records take it: "2023-10" lies in "2023Q4"."""
    if "Q" in value:
        return value
    return f"{value[:4]}Q{(int(value[5:7]) + 2) // 3}"


def _is_likely(value: str) -> bool:
    return YEARS[0] <= int(value[:4]) <= YEARS[1]


def year_of(digits: str) -> int:
    """Return the year that four or two digits mean; 70 to 99 lie in the last century."""
    year = int(digits)
    return year if len(digits) == 4 else year + (1900 if year >= 70 else 2000)


def _month_of(text: str) -> int:
    month = MONTHS[text] if text in MONTHS else int(text)
    if not 1 <= month <= 12:
        raise ValueError(text)
    return month


def _day(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    year, month = year_of(parts["year"]), _month_of(parts["month"])
    return [date(year, month, int(parts["day"])).isoformat()]


def _numeric(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    """Read 03/04/2023 by the column's order; between dots the day comes first."""
    first, second, year = int(parts["first"]), int(parts["second"]), year_of(parts["year"])
    orders = {"day-first": (second, first), "month-first": (first, second)}
    order = facts.dates or ("day-first" if parts["mark"] == "." else "")
    if parts["mark"] == "." and facts.dates == "month-first" and first <= 12:
        order = ""
    tried = [orders[order]] if order and orders[order][0] <= 12 else list(orders.values())
    return list(dict.fromkeys(date(year, *each).isoformat() for each in tried if each[0] <= 12))


def _month(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    year = year_of(parts.get("short") or parts["year"])
    return [f"{year}-{_month_of(parts['month']):02d}"]


def _short_month(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    """Read "Oct 23": the year 2023, or the 23rd where the place tells another year."""
    by_year = _month(parts, facts) if facts.short_dates != "day-month" else []
    other = (
        facts.short_dates != "month-year"
        and facts.year
        and facts.year != year_of(parts["year"])
        and int(parts["year"]) <= 31
    )
    return by_year + (
        _day({**parts, "day": parts["year"], "year": str(facts.year)}, facts) if other else []
    )


def _months(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    year = year_of(parts["year"])
    first, last = _month_of(parts["month"]), _month_of(parts["until"])
    if first > last:
        return [f"{year - 1}-{first:02d}", f"{year}-{first:02d}", f"{year}-{last:02d}"]
    return [f"{year}-{month:02d}" for month in range(first, last + 1)]


def _short(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    """Read "10/23": a month and a year, or a day and a month of the year that the place tells."""
    first, second = int(parts["first"]), parts["second"]
    found: list[str] = []
    if len(second) == 2 and facts.short_dates != "day-month":
        found += [f"{year_of(second)}-{first:02d}"] if 1 <= first <= 12 else []
    if facts.year and facts.short_dates != "month-year":
        given = {**parts, "year": str(facts.year)}
        found += _tried(_numeric, given, facts)
    # A day and a month without a year are no date, yet they may be what stands there.
    return found if facts.year or facts.short_dates else [*found, ""]


def _tried(
    reader: Callable[[dict[str, str], ColumnFacts], list[str]],
    parts: dict[str, str],
    facts: ColumnFacts,
) -> Iterable[str]:
    try:
        return reader(parts, facts)
    except ValueError:
        return ()


def _quarter(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    written = parts["quarter"]
    return [f"{year_of(parts['year'])}Q{_ROMAN.get(written) or int(written)}"]


def _week(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    """Read a week by ISO 8601; "week 14" may be counted otherwise, so a week either side too."""
    year, week = year_of(parts["year"]), int(parts["week"])
    monday = date.fromisocalendar(year, week, 1)
    slack = 0 if parts["word"] in ("", "kw", "kalenderwoche", "woche") else 7
    days = (monday - timedelta(days=slack), monday, monday + timedelta(days=6 + slack))
    return list(dict.fromkeys(quarter_of(each.isoformat()) for each in days))


def _season(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    year, quarters = year_of(parts["year"]), _SEASONS[parts["season"]]
    after = [f"{year + 1}Q1"] if parts["season"] == "winter" else []
    return [f"{year}Q{each}" for each in quarters] + after


def _year(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
    return [f"{year_of(parts['year'])}Q{each}" for each in (1, 2, 3, 4)]


def _in_its_year(
    reader: Callable[[dict[str, str], ColumnFacts], list[str]],
) -> Callable[[dict[str, str], ColumnFacts], list[str]]:
    """Read a date without a year by the year that its place tells; nothing without one."""

    def read(parts: dict[str, str], facts: ColumnFacts) -> list[str]:
        return reader({**parts, "year": str(facts.year)}, facts) if facts.year else []

    return read


_DATES: dict[str, Callable[[dict[str, str], ColumnFacts], list[str]]] = {
    "day": _day,
    "numeric": _numeric,
    "month": _month,
    "short month": _short_month,
    "months": _months,
    "short": _short,
    "quarter": _quarter,
    "week": _week,
    "season": _season,
    "year": _year,
    "day and month": _in_its_year(_day),
    "month alone": _in_its_year(_month),
    "quarter alone": _in_its_year(_quarter),
    "week alone": _in_its_year(_week),
}
_READER_OF = dict.fromkeys(("iso", "compact", "day month", "month day"), "day")
_READER_OF |= dict.fromkeys(("year month", "number month", "year number"), "month")
_READER_OF |= {"spaced": "numeric", "week word": "week", "year week": "week", "iso week": "week"}
_READER_OF |= dict.fromkeys(
    ("quarter word", "quarter roman", "year quarter", "year quarter word"), "quarter"
)


def _made_by_spreadsheet(cell: date, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a date that the spreadsheet holds as one; day and month may have changed places."""
    day = cell.date() if isinstance(cell, datetime) else cell
    turned = day.replace(day=day.month, month=day.day) if day.day <= 12 else day
    kept = [turned if facts.swapped else day]
    name = "iso" if kept == [day] else "day and month changed back"
    return _settled(cell, [each.isoformat() for each in kept], name, facts)


def _number(cell: float, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a number: a day's, 202310, 20231014, 10.2023 that lost its text, or a year."""
    if not math.isfinite(cell) or cell <= 0:
        return ()
    if _SERIALS[0] <= cell < _SERIALS[1]:
        day = (_SERIAL_ZERO + timedelta(days=int(cell))).date().isoformat()
        return _settled(cell, [day], "number of a day", facts)
    year = round(cell % 1 * 10_000)
    if (
        1 <= cell < 13
        and _is_likely(f"{year:04d}")
        and math.isclose(cell * 10_000, round(cell * 10_000))
    ):
        return _settled(cell, [f"{year}-{int(cell):02d}"], "number month", facts)
    text = f"{cell:.10g}"
    if re.fullmatch(r"(19|20)\d\d(0[1-9]|1[0-2])", text):
        return _settled(cell, [f"{text[:4]}-{text[4:]}"], "number month", facts)
    return _in_text(cell, text, facts) if text.isdecimal() and len(text) in (4, 8) else ()
