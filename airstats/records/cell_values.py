"""Turn the cells of a column into numbers, dates, words or texts; say which will not turn."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from difflib import SequenceMatcher
from functools import lru_cache
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from pandas.api.types import infer_dtype

from airstats.base.name_matching import name_key
from airstats.base.number_text import shown
from airstats.catalog.units import WORDS, as_declared, as_own, same_dimension, unit_written
from airstats.records.raw_table import LOST, Unread, as_text, is_empty, is_heading

_BLANK_WORDS = {"-", "–", "—", "n/a", "n.a.", "na", "nan", "none", "null"}
# In any language, such as #REF!, #DIV/0!, #NAME?, #N/A, Err:502.
_ERROR = re.compile(r"#[^\W\d_][\w/]*[!?]|#N/[ADV]|#NV|Err:[0-9]{3}", re.I)
_SUMS = """total totals sum sums subtotal average summe gesamt gesamtsumme zwischensumme insgesamt
durchschnitt mittelwert somme totaux moyenne totaal subtotaal som gemiddelde totale somma suma summa
soma razem celkem σ ∑"""
_TOTALS = frozenset(_SUMS.split())
"""Words for a sum or an average, as lines below a table begin."""
_BETWEEN_WORDS = re.compile(r"[\s.,:;=()\[\]/-]+")
_BESIDE = "grand sub sous general général of all jobs rolls m m² m2"
_BESIDE_TOTALS = frozenset(_BESIDE.split())
_NAME_LENGTH, _TEXT_LENGTH, _ENTRY_LENGTH = 200, 1000, 100
_NAMES_COMPARED, _CLOSE = 60, 0.8
# Signs that no keyboard writes: controls, and marks that turn the direction of what follows.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)
_BREAKS = re.compile("[\t\r\n]")


class Trouble(NamedTuple):
    """Why a cell cannot be read, and what to write instead."""

    problem: str
    remedy: str


_A_TOTAL = Trouble(
    "looks like a line of totals", "take the line out of the table, or give the job another id"
)
_A_HEADING = Trouble("the row of headings stands here again", "take the row out of the table")
_NO_REASON = Trouble(
    "is no reason to leave a job out",
    "clear the cell if the job counts, or write why it must not be counted",
)
_YES_OR_NO = "n nein non nee ok okay k x y j ja + 1 keep kept included include in good fine done"
_NO_REASONS = frozenset(_YES_OR_NO.split())
_DITTO = Trouble("stands for what is written above it", "write that out here")
_DITTO_WORDS = "\" '' `` „ “ ” 〃 do. ditto dito dto dto. idem"
_DITTOS = frozenset(_DITTO_WORDS.split())
A_UNIT_ROW = Trouble("looks like a row of units", "take the row out of the table")
NO_RECORD = (_A_TOTAL.problem, _A_HEADING.problem, A_UNIT_ROW.problem)
"""What is said of a row that is no job at all, so that its other cells do not matter."""


@dataclass(frozen=True)
class Cells:
    """One column of n cells: `codes` (n,) point at its `distinct` values, first seen first."""

    codes: np.ndarray
    distinct: list

    def text(self, row: int) -> str:
        """Write the cell of one row as its spreadsheet would show it."""
        return as_text(self.distinct[self.codes[row]])


@dataclass(frozen=True)
class Reading:
    """One column of n cells understood.

    `result` (n,), with the kind's empty value where `blank` (n,) or in trouble; `troubles` by
    row; `note` tells how cells that could mean two things were settled.
    """

    result: np.ndarray | pd.api.extensions.ExtensionArray
    blank: np.ndarray
    troubles: dict[int, Trouble]
    note: str = ""


def cells_of(column: pd.Series) -> Cells:
    """Find the distinct values of a column, so that each is read only once."""
    are_texts = column.dtype == object and infer_dtype(column, skipna=False) == "string"
    if column.dtype != object or are_texts:
        # Among texts only, nothing needs to be sought that is missing.
        codes, values = pd.factorize(column, use_na_sentinel=are_texts)
        return Cells(codes, values.tolist())
    # The type belongs to the key because True equals 1.0.
    seen: dict[tuple, int] = {}
    try:
        places = [seen.setdefault((type(cell), cell), len(seen)) for cell in column]
    except TypeError:
        return cells_of(column.map(as_text).astype(object))
    return Cells(np.array(places, dtype=int), [value for _, value in seen])


def is_blank(value: object) -> bool:
    """Tell whether a cell holds nothing, or a word or dash that stands for nothing."""
    return is_empty(value) or (isinstance(value, str) and value.strip().casefold() in _BLANK_WORDS)


def _reading_of(cells: Cells, results: list, empty: object, dtype: str, note: str = "") -> Reading:
    """Spread the results, one a distinct value, over the rows; None stands for blank."""
    results = [_unread(v) or r for v, r in zip(cells.distinct, results, strict=True)]
    usable: list[Any] = [empty if r is None or isinstance(r, Trouble) else r for r in results]
    blank = np.array([r is None for r in results], dtype=bool)
    wrong = np.array([isinstance(r, Trouble) for r in results], dtype=bool)
    rows = np.flatnonzero(wrong[cells.codes]).tolist()
    troubles = {row: results[cells.codes[row]] for row in rows}
    values: Any = pd.array(usable, dtype="str") if dtype == "str" else np.array(usable, dtype=dtype)
    return Reading(values.take(cells.codes), blank[cells.codes], troubles, note)


def _unread(value: object) -> Trouble | None:
    """Say why a cell is no entry: an error, a formula, or what a spreadsheet writes for one."""
    if isinstance(value, Unread):
        return Trouble(value.problem, value.remedy)
    if isinstance(value, str) and _ERROR.fullmatch(value.strip()):
        return Trouble("is an error of the spreadsheet", "mend the formula, or type the value")
    return None


def _number_pattern(mark: str, group: str) -> re.Pattern:
    whole = rf"([0-9]+|[1-9][0-9]{{0,2}}({group}[0-9]{{3}})+)"
    return re.compile(rf"[+-]?(?={mark}?[0-9]){whole}?({mark}[0-9]+)?(e[+-]?[0-9]+)?", re.I)


_POINT = _number_pattern(r"\.", ",")
_COMMA = _number_pattern(",", r"\.")
_SPACED_GROUPS = re.compile(r"[+-]?[0-9]{1,3}([ '’][0-9]{3})+([.,].*)?")
_BESIDE_A_NUMBER = re.compile(
    r"(?:(?:ca|about|approx|c|circa|rund|etwa|[@~€£$])\.? ?)?"
    r"(?P<number>[+-]?[0-9](?:[0-9.,’']*[0-9])?) ?(?P<after>[^0-9½¼¾⅓⅔⅛]*[23²³]?)"
)
_THINGS = "rolls roll rollen rolle rl no nos pcs pc piece pieces off st stk x € £ $"
_HALVES = re.compile(r"([0-9]+)? ?([½¼¾]|(?<=[0-9] )[13]/[24])(?P<after>[^0-9]*)")
_PARTS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "1/2": 0.5, "1/4": 0.25, "3/4": 0.75}
_NOT_A_NUMBER = Trouble(
    "is not a number", "write digits only, such as 12.5, or clear the cell if nobody knows it"
)
_MORE = "holds more than a number"
_ONE_ONLY = "write one number, in the unit of the heading"
_SHARE_ONLY = "write a share from 0 to 1: for 35 %, 0.35"
_ROLLS_ONLY = "write how many rolls were counted; of opened ones, 2 and a bit of another are 3"
_DATE_AS_NUMBER = Trouble(
    "is a date where a number belongs", "format the cell as a number and type the entry again"
)


def _both_ways(text: str) -> tuple[float | None, float | None]:
    """Read a text with a decimal point and with a decimal comma; None where it cannot be."""
    if len(text) > _ENTRY_LENGTH:
        return None, None
    text = " ".join(text.split()).replace("−", "-")
    if _SPACED_GROUPS.fullmatch(text):
        text = re.sub("[ '’]", "", text)
    point = float(text.replace(",", "")) if _POINT.fullmatch(text) else None
    comma = text.replace(".", "").replace(",", ".") if _COMMA.fullmatch(text) else None
    return point, None if comma is None else float(comma)


def decimal_marks(columns: Iterable[Cells]) -> frozenset[str]:
    """Collect the decimal marks, "point" and "comma", that the numbers typed as text show."""
    marks = set()
    for value in (value for cells in columns for value in cells.distinct):
        point, comma = _both_ways(value) if isinstance(value, str) else (None, None)
        if (point is None) != (comma is None):
            marks.add("comma" if point is None else "point")
    return frozenset(marks)


def read_numbers(
    cells: Cells, marks: frozenset[str], separator: str = "", column: str = "", unit: str = ""
) -> Reading:
    """Read numbers of any common spelling.

    Parameters
    ----------
    cells : Cells
        The column.
    marks : frozenset of str
        What `decimal_marks` found in all the number columns of the source.
    separator : str
        What separates the cells of a CSV file; "" for other files.
    column, unit : str
        The contract's column and its unit, to say what to write in place of another unit.
    """
    results = [_number(value, marks, separator) for value in cells.distinct]
    results = [
        _no_number(str(value), marks, column, unit) if result == _NOT_A_NUMBER else result
        for value, result in zip(cells.distinct, results, strict=True)
    ]
    return _reading_of(cells, results, math.nan, "float", _number_note(cells, results, marks))


def _number(value: object, marks: frozenset[str], separator: str) -> float | Trouble | None:
    if is_blank(value):
        return None
    if isinstance(value, (date, time, timedelta)):
        return _DATE_AS_NUMBER
    if isinstance(value, str):
        return _number_in_text(value, marks, separator)
    try:
        number = math.nan if isinstance(value, bool) else float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return _NOT_A_NUMBER
    return number if math.isfinite(number) else _NOT_A_NUMBER


def _number_in_text(text: str, marks: frozenset[str], separator: str) -> float | Trouble:
    point, comma = _both_ways(text)
    if point is None and comma is None:
        return _NOT_A_NUMBER
    number = _settle(point, comma, marks, separator == ";" or "." in text)
    if number is None:
        remedy = f"write {point:.10g} or {comma:.10g}, without a mark between thousands"
        return Trouble(f"may be {point:.10g} or {comma:.10g}", remedy)
    return number if math.isfinite(number) else _NOT_A_NUMBER


def _settle(
    point: float | None, comma: float | None, marks: frozenset[str], as_decimal: bool
) -> float | None:
    """Choose between the two readings by the marks seen elsewhere, else as a decimal if told."""
    if point == comma or comma is None:
        return point
    if point is None or marks == {"comma"}:
        return comma
    if marks == {"point"}:
        return point
    return min(point, comma, key=abs) if as_decimal and not marks else None


def _no_number(text: str, marks: frozenset[str], column: str, unit: str) -> Trouble:
    """Say what to write where a cell holds more than a number, if that is beyond doubt."""
    text = " ".join(text.split()).casefold()
    if len(text) > _ENTRY_LENGTH or not re.search("[0-9½¼¾]", text):
        return _NOT_A_NUMBER
    if (halves := _HALVES.fullmatch(text)) and _is_thing(halves["after"]):
        return Trouble(_MORE, f"write {int(halves[1] or 0) + _PARTS[halves[2]]:g}")
    found = _BESIDE_A_NUMBER.fullmatch(text)
    number = _number_in_text(found["number"], marks, "") if found else _NOT_A_NUMBER
    only = {"rolls": _ROLLS_ONLY, "share": _SHARE_ONLY}.get(column.rpartition("_")[2], _ONE_ONLY)
    unclear = Trouble(_MORE, only)
    if found is None or isinstance(number, Trouble):
        return unclear
    written = unit_written(found["after"])
    if _is_thing(found["after"]) or (written and written == unit):
        return Trouble(_MORE, f"write the number only, {found['number']}")
    if unit and written in same_dimension(column):
        value = f"{as_declared(column, as_own(column, number, written), unit):.6g}"
        value = value.replace(".", ",") if marks == {"comma"} else value
        return Trouble(_MORE, f"write the number only, in {WORDS[unit]}: {value}")
    return unclear


def _is_thing(after: str) -> bool:
    return after.strip(" .-,)") in {"", *_THINGS.split()}


def _number_note(cells: Cells, results: list, marks: frozenset[str]) -> str:
    """Say how the first number that could mean two things was read, unless it is plain."""
    for value, result in zip(cells.distinct, results, strict=True):
        if not isinstance(value, str) or not isinstance(result, float):
            continue
        point, comma = _both_ways(value)
        if (
            None not in (point, comma)
            and point != comma
            and not (marks == {"point"} and "." in value)
        ):
            return f'"{value}" read as {result:.10g}.'
    return ""


def read_words(cells: Cells, spellings: dict[str, str], meant: str = "") -> Reading:
    """Read words of a fixed list; `spellings` maps what may be written to what is meant.

    Parameters
    ----------
    cells : Cells
        What is written.
    spellings : dict
        Text as written, in small letters, to the word of the contract.
    meant : str
        What the words stand for on the pages, told to who wrote another.
    """
    known = ", ".join(dict.fromkeys(spellings.values()))
    strange = Trouble(f"is not one of {known}", f"write one of these words{meant}")
    results = [
        None if is_blank(value) else spellings.get(as_text(value).strip().casefold(), strange)
        for value in cells.distinct
    ]
    return _reading_of(cells, results, "", "str")


def read_texts(
    cells: Cells, also_blank: frozenset[str] = frozenset(), is_name: bool = True
) -> Reading:
    """Read free text, stripped; blank words count as none.

    Parameters
    ----------
    cells : Cells
        One column.
    also_blank : frozenset of str
        Other texts that count as none, in small letters.
    is_name : bool
        A name stands on one line and is shorter than other text.
    """
    texts = [as_text(value).strip() for value in cells.distinct]
    none = {"", *_BLANK_WORDS, *also_blank}
    results = [None if text.casefold() in none else _plain(text, is_name) for text in texts]
    return _reading_of(cells, results, "", "str")


def read_ids(cells: Cells) -> Reading:
    """Read ids: names, but for a line that adds the others up and for headings once more."""
    return _refused(read_texts(cells), cells, _no_id)


@lru_cache(maxsize=1 << 16)
def _no_id(text: str) -> Trouble | None:
    """Say why a text is no id; remembered, for every table has the same ones."""
    if is_heading(text):
        return _A_HEADING
    return _A_TOTAL if is_sum(text) else _no_ditto(text)


def read_reasons(cells: Cells, also_blank: frozenset[str]) -> Reading:
    """Read reasons, as `read_texts`; a word that only says yes or no, or less, is none."""
    reading = read_texts(cells, also_blank, is_name=False)
    return _refused(reading, cells, _no_reason)


def _no_reason(text: str) -> Trouble | None:
    return _NO_REASON if text.casefold() in _NO_REASONS else None


def _no_ditto(text: str) -> Trouble | None:
    return _DITTO if text.casefold() in _DITTOS else None


def _refused(reading: Reading, cells: Cells, refusal: Callable[[str], Trouble | None]) -> Reading:
    """Add the trouble of every row whose text is refused."""
    found = [refusal(as_text(value).strip()) for value in cells.distinct]
    wrong = np.array([trouble is not None for trouble in found], dtype=bool)
    rows = np.flatnonzero(wrong[cells.codes]).tolist()
    refused = {row: trouble for row in rows if (trouble := found[cells.codes[row]])}
    return replace(reading, troubles=reading.troubles | refused)


def is_sum(text: str) -> bool:
    """Tell whether a text is a word for a sum, alone or with a year or a count beside it."""
    words = _BETWEEN_WORDS.split(text[:_ENTRY_LENGTH].casefold())
    return not _TOTALS.isdisjoint(words) and all(
        not word or word.isdigit() or word in _TOTALS or word in _BESIDE_TOTALS for word in words
    )


def read_names(cells: Cells) -> Reading:
    """Read names; one name in other capitals or spacing takes the spelling seen first."""
    texts = [" ".join(as_text(value).split()) for value in cells.distinct]
    first: dict[str, str] = {}
    results = [
        None if is_blank(text) else _plain(first.setdefault(name_key(text), text), True)
        for text in texts
    ]
    reading = _reading_of(cells, results, "", "str", _alike_note(list(first.values())))
    return _refused(reading, cells, _no_ditto)


def _alike_note(names: list[str]) -> str:
    """Name the names that may be one: nearly the same, but for a word that is a letter long."""
    pairs = [pair for pair in combinations(names[:_NAMES_COMPARED], 2) if _are_alike(*pair)]
    told = "; ".join(f"{shown(one)} and {shown(other)}" for one, other in pairs[:3])
    more = f" and {len(pairs) - 3} more pairs" if len(pairs) > 3 else ""
    return f"read as different though nearly alike: {told}{more}." if pairs else ""


def _are_alike(one: str, other: str) -> bool:
    first, second = (re.findall(r"\w+", name.casefold()) for name in (one, other))
    return len(first) == len(second) and all(
        a == b or (min(len(a), len(b)) > 2 and not any(map(str.isdigit, a + b)) and _is_close(a, b))
        for a, b in zip(first, second, strict=True)
    )


def _is_close(one: str, other: str) -> bool:
    return SequenceMatcher(None, one, other, autojunk=False).ratio() > _CLOSE


def _plain(text: str, is_name: bool) -> str | Trouble:
    """Return a text that can be shown anywhere, or say why it is none."""
    longest = _NAME_LENGTH if is_name else _TEXT_LENGTH
    if len(text) > longest:
        return Trouble(f"has {len(text):,} characters", f"write no more than {longest:,}")
    if text and text.isascii() and text.isprintable():
        return text
    if LOST in text:
        return Trouble("holds a character that cannot be read", "type it again")
    if _UNSEEN.search(text) or (is_name and (_BREAKS.search(text) or not name_key(text))):
        return Trouble("holds signs that cannot be seen", "type it again, on one line")
    return text


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
_QUARTER = re.compile(
    "([0-9]{4})[-/ ]?q([1-4])|q([1-4])[-/ ]?([0-9]{4})|([1-4])q[-/ ]?([0-9]{4})", re.I
)
_MONTH = re.compile(
    "([0-9]{4})[-/]([0-9]{1,2})|([0-9]{1,2})[-/.]([0-9]{4})|([a-z]{3,9})[-/. ]+([0-9]{4})", re.I
)
_WRITE_DATE = "write it as year-month-day, such as 2026-03-31, or only 2026-03 or 2026Q1"
_NOT_A_DATE = Trouble("is not a date", _WRITE_DATE)


def read_dates(cells: Cells, order: str = "ask") -> Reading:
    """Read dates; a month or a quarter as its first day, see `are_days`.

    Parameters
    ----------
    cells : Cells
        The column.
    order : str
        "ask", "day-first" or "month-first" for dates that could be both.
    """
    shown = {order_shown(value) for value in cells.distinct} - {None}
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
    return _reading_of(cells, results, None, "datetime64[us]", note)


def are_days(cells: Cells) -> np.ndarray:
    """Tell of each cell (n,) whether it names no more than a month or a quarter: false there."""
    texts = [" ".join(v.split()) if isinstance(v, str) else "" for v in cells.distinct]
    days = [not (_QUARTER.fullmatch(text) or _MONTH.fullmatch(text)) for text in texts]
    return np.array(days, dtype=bool)[cells.codes]


def _first_of_period(text: str) -> date | None:
    """Return the first day of a month or quarter; None where the text names neither.

    Raises
    ------
    ValueError
        If there is no such month.
    """
    if parts := _QUARTER.fullmatch(text):
        year, quarter = (parts[1] or parts[4] or parts[6], parts[2] or parts[3] or parts[5])
        return date(int(year), 3 * int(quarter) - 2, 1)
    if parts := _MONTH.fullmatch(text):
        month = _month(parts[5]) if parts[5] else int(parts[2] or parts[3])
        return date(int(parts[1] or parts[4] or parts[6]), month, 1)
    return None


def _month(word: str) -> int:
    names = [name[: len(word)].casefold() for name in _MONTH_NAMES]
    return names.index(word.casefold()) + 1


def order_shown(value: object) -> str | None:
    """Return "day-first" or "month-first" where a text such as 03/25/2026 shows it."""
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
        return date(_year(parts[3]), _month(parts[2]), int(parts[1]))
    if parts := _NUMERIC.fullmatch(text):
        return _numeric_date(int(parts[1]), int(parts[3]), _year(parts[4]), order)
    return _first_of_period(text) or _NOT_A_DATE


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
