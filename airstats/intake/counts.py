"""Counts: of rolls, whole and in parts, and of openings."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from fractions import Fraction

from airstats.intake.plain_text import (
    LONGEST,
    NUMBER,
    asked,
    clear,
    is_truth,
    no_entry,
    number,
    plain,
    says_none,
    told,
    without_circa,
)
from airstats.intake.readings import ColumnFacts, Reading
from airstats.records.plausible_ranges import is_possible, is_typical

_NUMERALS = """zero null|one a an ein eine einen|two zwei zwo|three drei|four vier|five fünf fuenf|
six sechs|seven sieben|eight acht|nine neun|ten zehn|eleven elf|twelve zwölf zwoelf"""
ONES = {word: n for n, words in enumerate(_NUMERALS.split("|")) for word in words.split()}
"""Small numbers in words."""
_PARTS = {
    "half": Fraction(1, 2),
    "a half": Fraction(1, 2),
    "halbe": Fraction(1, 2),
    "ein halb": Fraction(1, 2),
    "eine halbe": Fraction(1, 2),
    "einhalb": Fraction(1, 2),
    "quarter": Fraction(1, 4),
    "a quarter": Fraction(1, 4),
    "viertel": Fraction(1, 4),
    "ein viertel": Fraction(1, 4),
    "three quarters": Fraction(3, 4),
    "dreiviertel": Fraction(3, 4),
    "drei viertel": Fraction(3, 4),
    "one and a half": Fraction(3, 2),
    "anderthalb": Fraction(3, 2),
    "eineinhalb": Fraction(3, 2),
} | {f"{word}einhalb": ONES[word] + Fraction(1, 2) for word in ("zwei", "drei", "vier", "fünf")}
_ROLL = (
    r"(?:full |whole |ganze |volle )?(?:rolls?|rollen?|rls?|no\.?|nr\.?|st\.?|stk\.?|stück|pcs?)"
)
_DONE = r"(?:opened|used|taken|verbraucht|angebrochen|geöffnet|gebraucht|quoted|priced|full|ganze)"
_N = rf"(?:{NUMBER}|{'|'.join(sorted(ONES, key=len, reverse=True))})"
_FRACTION = r"\d+[/⁄]\d+"
_BEGUN = (
    r"(?:part(?:ial|ly)?(?:[- ]used)?|begun|started|opened|broken|angefangene?|angebrochene?|open)"
)
_LITTLE = (
    r"(?:a |ein |eine )?(?:little |wee |small )?(?:bit|some|little|tad|touch|more|etwas|bisschen|"
    rf"wenig|rest|stück|piece|part(?: of (?:a(?:nother)?|one))?|{_BEGUN}(?: one)?)"
    r"(?: more| over| extra)?"
)
_PLUS = r"(?:\+|&|and|plus|und|u\.)"
_SHAPES = {
    "plain": rf"(?P<n>{_N})",
    "parts": rf"(?P<n>{_N}) ?{_PLUS} ?(?P<part>{'|'.join(_PARTS)}|{_FRACTION})",
    "mixed": rf"(?P<n>\d+)[ -](?P<part>{_FRACTION})",
    "part": rf"(?P<part>{'|'.join(_PARTS)}|\d+⁄\d+)",
    "stroke": rf"(?P<part>{_FRACTION})",
    "above": rf"(?P<n>{_N}) ?{_PLUS} ?{_LITTLE}",
    "just above": rf"(?:just over|a (?:bit|little) (?:over|more than)|etwas über|knapp über|gut|"
    rf"etwas mehr als|slightly over|slightly more than) (?P<n>{_N})",
    "just below": rf"(?:just under|nearly|almost|not quite|a (?:bit|little) (?:under|less than)|"
    rf"knapp|fast|beinahe|etwas unter|slightly under|slightly less than) (?P<n>{_N})",
    "begun": rf"(?P<n>{_N}) (?:full|whole|ganze|volle) ?(?:,|{_PLUS}) ?(?:1|one|a|eine?) {_BEGUN}",
    "range": rf"(?:between |zwischen )?(?P<n>{_N}) ?(?:-|to|bis|or|oder|\.\.+|and|und) ?"
    rf"(?P<m>{_N})",
    "plus": rf"(?P<n>{_N}) ?\+",
    "sum": rf"(?P<n>{_N}) ?{_PLUS} ?(?P<m>{_N})(?: (?:extra|more|spare|nachbestellt|mehr))?",
    "limit": rf"(?:>|<|over|under|above|below|more than|less than|at least|at most|up to|max\.?|"
    rf"min\.?|über|unter|mehr als|weniger als|mindestens|höchstens|bis(?: zu)?)=? ?(?P<n>{_N})",
    "doubt": rf"(?P<n>{_N}) ?\(?\?+\)?",
    "area": rf"(?P<n>{NUMBER}) ?(?P<unit>m2|qm|sqm|sq\.? ?m|m\^2)",
    "two numbers": rf"(?P<n>{_N})[^\d]{{1,30}}(?P<m>{NUMBER})[^\d]{{0,30}}",
}
_PATTERNS = {kind: re.compile(shape) for kind, shape in _SHAPES.items()}
_UNITS_OFF = re.compile(
    rf"(?<=[\d\w½⁄]) ?\b{_ROLL}(?: of)?(?: {_DONE})?(?![a-z0-9])\.?|(?<=\d) {_DONE}$"
)
_ROLL_FIRST = re.compile(r"^(?:rolls?|rollen?|opened|used|taken):? (?=\d)")
_ONE_ROLL = re.compile(r"\b(?:roll|rolle)\b")
_OF_ONE = re.compile(r"^(.+?) (?:of )?(?:a|an|eine|einer) (?:roll|rolle)$")
_OPENED = (("counted", "opened"),)


def read_roll_count(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a number of rolls; what tells how they were counted stands in `Reading.also`."""
    if isinstance(cell, (datetime, date, time, timedelta)):
        return _from_date(cell, facts)
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return _counted_as(cell, _rolls(cell, [float(cell)], "", facts), facts)
    text = plain(cell)
    if len(text) > LONGEST or is_truth(text):
        return ()
    if kind := no_entry(text):
        return clear(cell, None, kind)
    if says_none(text):
        return asked(cell, [None, 0.0], "none", "rolls")
    text, is_circa = without_circa(text)
    text = _OF_ONE.sub(r"\1 roll", text)
    single = bool(_ONE_ROLL.search(text))
    bare = " ".join(_UNITS_OFF.sub("", _ROLL_FIRST.sub("", text)).split()).rstrip(".")
    return _counted_as(
        cell, _in_text(cell, bare, single, "circa" if is_circa else "", facts), facts
    )


def _in_text(
    cell: object, text: str, is_part_of_one: bool, circa: str, facts: ColumnFacts
) -> tuple[Reading, ...]:
    for kind, pattern in _PATTERNS.items():
        if found := pattern.fullmatch(text):
            return _shape(cell, kind, found.groupdict(), is_part_of_one, circa, facts)
    return ()


def _shape(
    cell: object,
    kind: str,
    parts: dict[str, str],
    is_part_of_one: bool,
    circa: str,
    facts: ColumnFacts,
) -> tuple[Reading, ...]:
    """Read a count by the shape of its text; `is_part_of_one` where "roll" follows "1/2"."""
    ns = _values(parts.get("n") or "0", facts)
    ms = _values(parts.get("m") or "0", facts)
    part = _part(parts["part"]) if parts.get("part") else Fraction(0)
    if not ns or not ms or part is None:
        return ()
    n, m = ns[0], ms[0]
    if kind == "plain":
        how = circa or ("in words" if parts["n"] in ONES else _mark(parts["n"]))
        return _rolls(cell, ns, how, facts)
    if kind == "stroke" and not (is_part_of_one and part < 1):
        return _stroke(cell, parts["part"], facts)
    if kind in ("parts", "mixed", "part", "stroke"):
        value = float(Fraction(n) + part)
        return _rolls(cell, [value], circa or "fraction", facts) if part < 1 or not n else ()
    if kind in ("above", "just above", "just below", "begun"):
        return _opened(cell, n, kind, facts)
    if kind == "area":
        return _from_area(cell, n, facts)
    several: dict[str, list[float | None]] = {
        "range": [n, m, (n + m) / 2],
        "plus": [math.floor(n) + 1.0, n],
        "sum": [n + m, n],
        "limit": [n, None],
        "doubt": [n, None],
        "two numbers": [n, m, n - m] if n > m else [n, m],
    }
    kept = [v for v in several[kind] if v is None or is_possible(facts.column, v)]
    return asked(cell, kept, {"plus": "above", "doubt": "question mark"}.get(kind, kind), "rolls")


def _values(text: str, facts: ColumnFacts) -> list[float]:
    """Return what a number may mean, where the mark tells nothing the usual one alone."""
    if text in ONES:
        return [float(ONES[text])]
    read = number(text, facts.decimal)
    if read is None:
        return []
    usual = [value for value in read.values if is_typical(facts.column, value)]
    if read.settled and (len(read.values) == 1 or is_typical(facts.column, read.values[0])):
        return [read.values[0]]
    return usual if len(usual) == 1 and not read.settled else list(read.values)


def _mark(text: str) -> str:
    return "decimal comma" if "," in text else ""


def _part(text: str) -> Fraction | None:
    if text in _PARTS:
        return _PARTS[text]
    top, bottom = re.split("[/⁄]", text)
    return Fraction(int(top), int(bottom)) if int(bottom) in (2, 3, 4, 5, 8, 10) else None


def _stroke(cell: object, text: str, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Ask about "3/4" and "51/2", which may be a part, two numbers or a whole and a part."""
    top, bottom = (int(each) for each in re.split("[/⁄]", text))
    values = [top / bottom] if bottom in (2, 4) else []
    digits = str(top)
    if len(digits) > 1 and bottom in (2, 4) and int(digits[-1]) < bottom:
        values.insert(0, int(digits[:-1]) + int(digits[-1]) / bottom)
    values += [float(top), float(bottom)] if len(digits) == 1 else []
    return _rolls(cell, values, "stroke", facts)


def _rolls(
    cell: object, values: Iterable[float], kind: str, facts: ColumnFacts
) -> tuple[Reading, ...]:
    kept = [v for v in dict.fromkeys(values) if v >= 0 and is_possible(facts.column, v)]
    if len(kept) == 1 and facts.unit in ("m2", "ft2"):
        return _from_area(cell, kept[0], facts)
    return asked(cell, kept, kind or ("thousands or decimals" if len(kept) > 1 else ""), "rolls")


def _opened(cell: object, n: float, kind: str, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read "3 + a bit": the fourth was opened. What was priced so may be either."""
    whole = math.floor(n) + 1.0 if kind != "just below" else math.ceil(n) * 1.0
    name = "below" if kind == "just below" else "above"
    if facts.column != "used_rolls":
        return asked(cell, [whole, n], name, "rolls")
    return (Reading(whole, name, f"{told(cell, whole)} opened rolls", _OPENED),)


def _from_area(cell: object, area: float, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Turn m² of sheet into rolls, where it is known what a roll holds."""
    if not facts.roll_m2 or facts.unit == "ft2":
        return ()
    value = area / facts.roll_m2
    said = f"{told(cell, value, 'rolls')} of {facts.roll_m2:g} m²"
    return (Reading(value, "m² for rolls", said, (("counted", "exact"),)),)


def _from_date(cell: date | time | timedelta, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a number that a spreadsheet shows as a date; ask about 3/4 that it made one of."""
    if isinstance(cell, time):
        cell = timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second)
    if isinstance(cell, timedelta):
        return _counted_as(
            cell, _rolls(cell, [cell / timedelta(days=1)], "shown as a date", facts), facts
        )
    at = cell if isinstance(cell, datetime) else datetime(cell.year, cell.month, cell.day)
    if at.year == 1900 and at.month < 3:
        value = (at - datetime(1899, 12, 31)) / timedelta(days=1)
        return _counted_as(cell, _rolls(cell, [value], "shown as a date", facts), facts)
    day, month = at.day, at.month
    pairs = [(day, month), (month, day)]
    parts = [a / b for a, b in pairs if a < b and b in (2, 4)]
    decimals = [float(f"{a}.{b}") for a, b in pairs if b in (25, 5, 75)]
    wholes = [float(each) for each in (day, month) if is_typical(facts.column, each)]
    return asked(cell, [*parts, *decimals, *wholes], "date in a count", "rolls")


def _part_by_itself(cell: object, each: Reading, step: str) -> Reading:
    [told_of] = clear(cell, each.value, each.kind or "part of a roll", "rolls")
    return replace(told_of, also=(("counted", step),))


def _counted_as(
    cell: object, found: tuple[Reading, ...], facts: ColumnFacts
) -> tuple[Reading, ...]:
    """Say of a part of a roll, finer than its column counts, that it was counted by itself."""
    if facts.column != "used_rolls":
        return found
    usual = STEPS.index(facts.counted or STEPS[0])
    return tuple(
        each
        if each.also or each.value is None or STEPS.index(step := step_of([each.value])) <= usual
        else _part_by_itself(cell, each, step)
        for each in found
    )


STEPS = ("opened", "half", "quarter", "exact")
"""The ways to count rolls, the coarsest first."""


def step_of(values: Iterable[float]) -> str:
    """Name the coarsest of the ways to count that gives all these counts of rolls."""
    each = list(values)
    parts = zip(STEPS, (1, 2, 4), strict=False)
    fits = (name for name, part in parts if all((v * part) % 1 == 0 for v in each))
    return next(fits, "exact")


_THINGS = r"(?:no|nr|st|stk|stück|pcs?|off|x|windows?|fenster|openings?|öffnungen|doors?|türen)"
_WHOLE = re.compile(rf"(?P<n>{_N}) ?{_THINGS}?\.?")


def read_count(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a whole number of things."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return _whole(cell, float(cell), "", facts)
    text = plain(cell)
    if len(text) > LONGEST or is_truth(text) or isinstance(cell, (date, time, timedelta)):
        return ()
    if kind := no_entry(text):
        return clear(cell, None, kind)
    if says_none(text):
        return _whole(cell, 0.0, "none", facts)
    text, is_circa = without_circa(text)
    found = _WHOLE.fullmatch(text)
    values = _values(found["n"], facts) if found else []
    if is_circa or len(values) != 1:
        return asked(cell, [*values, None], "circa") if values else ()
    return _whole(cell, values[0], "" if text.isdecimal() else "words in cell", facts)


def _whole(cell: object, value: float, kind: str, facts: ColumnFacts) -> tuple[Reading, ...]:
    if not value.is_integer() or not is_possible(facts.column, value):
        return ()
    return clear(cell, value, kind)
