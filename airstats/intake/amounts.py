"""Lengths, areas, money, shares and plain numbers, with their units and signs in the cell."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from airstats.catalog.units import IN_METRES, IN_SQUARE_METRES, as_own, own_unit, units_read
from airstats.intake.plain_text import (
    LONGEST,
    NUMBER,
    Number,
    asked,
    clear,
    no_entry,
    number,
    plain,
    says_none,
    without_circa,
)
from airstats.intake.readings import ColumnFacts, Reading
from airstats.records.plausible_ranges import is_possible, is_typical

_METRE = r"met(?:re|er)s?"
UNITS = {
    "m2": rf"m2|m\^2|qm|sqm|sq\.? ?m(?:trs?)?|sq\.? ?{_METRE}|square {_METRE}|quadratmeter",
    "ft2": r"ft2|ft\^2|sqft|sq\.? ?f(?:ee)?t|sf|square f(?:ee|oo)t|quadratfuß|quadratfuss",
    "yd2": r"yd2|sq\.? ?yds?|square yards?",
    "mm": r"mm|millimet(?:re|er)s?",
    "cm": r"cm|centimet(?:re|er)s?|zentimeter",
    "in": r"inch(?:es)?|ins?|zoll|\"",
    "ft": r"ft|foot|feet|'",
    "yd": r"yds?|yards?",
    "m": rf"m|{_METRE}|lfm|lm|lfdm",
    "%": r"%|per ?cent|prozent|pct",
}
"""How each unit is written after a number, in small letters."""
CURRENCIES = {
    "GBP": r"£|gbp|pounds?|quid",
    "EUR": r"€|eur|euros?",
    "USD": r"\$|usd|dollars?",
    "CHF": r"chf|sfr\.?|fr\.",
}
"""How each currency is written, in small letters."""
_UNIT = re.compile("|".join(rf"(?P<{u.replace('%', 'pc')}>{way})" for u, way in UNITS.items()))
_MONEY = re.compile("|".join(rf"(?P<{code}>{way})" for code, way in CURRENCIES.items()))
_ANY_MONEY = "|".join(CURRENCIES.values())
_ANY_UNIT = "|".join(UNITS.values())
_ROLL = r"(?:a|per|je|pro|/|the)? ?(?:rolls?|rollen?|rl|r)"
_HARMLESS = (
    r"walls?|ceilings?|roof|total|in total|gross|brutto|wände|wand|decke|dach|gesamt|insgesamt|"
    rf"(?:\+|plus|ex|excl\.?|zzgl\.?|net(?:to)?|incl\.?|inkl\.?) ?(?:vat|mwst\.?|ust\.?)|{_ROLL}|"
    r"each|je|measured|gemessen|as built|on site|deep|tief|wide|breit|high|hoch|lap"
)
_ONE = re.compile(
    rf"(?:[@à] ?)?(?P<before>{_ANY_MONEY})? ?(?P<number>{NUMBER})(?:[.,] ?-{{1,2}}| ?-,)?"
    rf" ?(?P<unit>(?:{_ANY_UNIT})(?![a-z0-9]))?\.? ?(?P<after>(?:{_ANY_MONEY})(?![a-z]))?"
    rf"(?P<words>(?: ?[,;(]? ?(?:{_HARMLESS})\)?)*)(?P<doubt> ?\(?\?+\)?)?"
)
_FEET = re.compile(
    r"(?P<feet>\d+) ?(?:'|ft|feet|foot)[ -]?(?P<inches>\d+)?"
    r"(?: (?P<top>\d+)[/⁄](?P<bottom>[248]|16))? ?(?:\"|in|inch|inches|'')?"
)
_INCHES = re.compile(
    r"(?:(?P<inches>\d+)[ -])?(?P<top>\d+)[/⁄](?P<bottom>[248]|16) ?(?:\"|in|inch|inches)"
)
_BETWEEN = r" ?(?:-|to|bis|or|oder|/|\.\.+) ?"
_RANGE = re.compile(
    rf"(?:between |zwischen )?(?P<first>{NUMBER}) ?(?:{_ANY_UNIT})?"
    rf"(?:{_BETWEEN}| and | und )(?P<second>{NUMBER}) ?(?P<unit>{_ANY_UNIT})?"
)
_LIMIT = re.compile(
    r"(?:>|<|over|under|above|below|more than|less than|at least|at most|up to|max\.?|min\.?|über|"
    r"unter|mehr als|weniger als|mindestens|höchstens|bis(?: zu)?|nearly|almost|knapp|fast|gut)"
    rf"=? ?(?P<number>{NUMBER}) ?(?P<unit>{_ANY_UNIT})?"
)
_TWO = re.compile(
    rf"(?P<first>{NUMBER}) ?(?P<unit>{_ANY_UNIT})? ?(?P<how>\+|plus|&|and|und|\(|-)[^\d]{{0,30}}?"
    rf"(?P<second>{NUMBER}) ?(?:{_ANY_UNIT})?[^\d]{{0,30}}"
)
_WORDS_BESIDE = re.compile(
    rf"[^\d]{{0,60}}?(?P<number>{NUMBER}) ?(?P<unit>{_ANY_UNIT})?\b[^\d]{{0,60}}"
)
_NEVER_MEANT = (date, datetime, time, timedelta, bool)


def read_amount(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read an amount in the unit of the contract's column that `facts` names."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return _readings(cell, Number((float(cell),), True), "", facts, [])
    text = plain(cell)
    if isinstance(cell, _NEVER_MEANT) or len(text) > LONGEST:
        return ()
    if kind := no_entry(text):
        return clear(cell, None, kind)
    if says_none(text):
        return _none(cell, facts)
    bare, is_circa = without_circa(text)
    return _read_text(cell, bare, facts, ["circa"] if is_circa else [])


def _none(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read "none": nothing left over is 0 m, but a reveal of none may be one never measured."""
    if facts.column in ("left_m", "brought_m", "pretaped_share"):
        return asked(cell, [0.0], "none")
    return asked(cell, [0.0, None] if facts.column == "reveal_mm" else [None], "none")


def _read_text(
    cell: object, text: str, facts: ColumnFacts, kinds: list[str]
) -> tuple[Reading, ...]:
    is_length = own_unit(facts.column) in IN_METRES
    if is_length and (found := _FEET.fullmatch(text) or _INCHES.fullmatch(text)):
        return _feet(cell, found.groupdict(), facts)
    if found := _ONE.fullmatch(text):
        return _one(cell, found, facts, kinds)
    if found := _RANGE.fullmatch(text):
        return _pair(cell, found, facts, "range")
    if found := _LIMIT.fullmatch(text):
        return _perhaps(cell, found, facts, "limit")
    if found := _TWO.fullmatch(text):
        return _pair(cell, found, facts, "two numbers")
    found = _WORDS_BESIDE.fullmatch(text)
    return _perhaps(cell, found, facts, "words beside") if found else ()


def _one(
    cell: object, found: re.Match, facts: ColumnFacts, kinds: list[str]
) -> tuple[Reading, ...]:
    if found["doubt"]:
        return _perhaps(cell, found, facts, "question mark")
    if facts.column != "roll_price" and re.search(r"\b(?:each|je)\b", found["words"]):
        return _perhaps(cell, found, facts, "words beside")
    money = currency_of(found["before"] or found["after"] or "")
    if money and (facts.column != "roll_price" or facts.currency not in ("", money)):
        return _perhaps(cell, found, facts, "another currency" if facts.currency else "money sign")
    read = number(found["number"], facts.decimal)
    kinds = kinds + (["money sign"] if money else [])
    kinds += ["words in cell"] if found["words"].strip() else []
    return _readings(cell, read, unit_of(found["unit"] or ""), facts, kinds) if read else ()


def _perhaps(cell: object, found: re.Match, facts: ColumnFacts, kind: str) -> tuple[Reading, ...]:
    """Ask whether the number in a cell is meant, or nothing is known."""
    read = number(found["number"], facts.decimal)
    each = _readings(cell, read, unit_of(found["unit"] or ""), facts, []) if read else ()
    values = [reading.value for reading in each]
    return asked(cell, [*values, None], kind, own_unit(facts.column)) if values else ()


def _pair(cell: object, found: re.Match, facts: ColumnFacts, kind: str) -> tuple[Reading, ...]:
    """Ask which of two numbers is meant, or what they make together."""
    unit = unit_of(found["unit"] or "")
    both = [number(found[name], facts.decimal) for name in ("first", "second")]
    read = [_readings(cell, each, unit, facts, []) if each else () for each in both]
    if not all(read):
        return ()
    first, second = (each[0].value for each in read)
    if kind == "range":
        values = [first, second, (first + second) / 2] if first < second else [first, second]
    else:
        values = [first, first + second, *([first - second] if second < first else [])]
    return asked(cell, values, kind, own_unit(facts.column))


def _feet(cell: object, parts: dict[str, str], facts: ColumnFacts) -> tuple[Reading, ...]:
    inches = Decimal(parts["inches"] or 0)
    if parts["top"]:
        inches += Decimal(parts["top"]) / Decimal(parts["bottom"])
    if inches >= 12 and parts.get("feet"):
        return ()
    total = float(12 * Decimal(parts.get("feet") or 0) + inches)
    return _readings(cell, Number((total,), True), "in", facts, [])


def unit_of(written: str) -> str:
    """Return the unit that is written so, in small letters; "" for none."""
    found = _UNIT.fullmatch(written.strip())
    return (found.lastgroup or "").replace("pc", "%") if found else ""


def currency_of(written: str) -> str:
    """Return the code of the currency that is written so, in small letters; "" for none."""
    found = _MONEY.fullmatch(written.strip())
    return found.lastgroup or "" if found else ""


def _readings(
    cell: object, read: Number, unit: str, facts: ColumnFacts, kinds: list[str]
) -> tuple[Reading, ...]:
    """Bring what a number may mean to the column's unit, and keep what may be."""
    if facts.column == "pretaped_share":
        return _shares(cell, read, unit, facts)
    if unit and unit not in _same_dimension(facts.column):
        return _other_dimension(cell, read, unit, facts)
    kinds = kinds + (["unit in cell"] if unit and unit != facts.unit else [])
    found = _may_be(read, unit, facts)
    if len(found) > 1:
        kind = next((each for each in found.values() if each), "thousands or decimals")
        return asked(cell, found, kind, own_unit(facts.column))
    for value, how in found.items():
        is_usual = is_typical(facts.column, value)
        if read.kind == "thousands by spaces" and not is_usual:
            return asked(cell, [value, None], read.kind, own_unit(facts.column))
        odd = "" if is_usual else "outside the usual"
        kind = next((each for each in (*kinds, how, _mark(cell, read), odd) if each), "")
        return clear(cell, value, kind, own_unit(facts.column))
    return ()


def _may_be(read: Number, unit: str, facts: ColumnFacts) -> dict[float, str]:
    """Return the values that a number may have in the column's unit, each with its kind."""
    column, trusted = facts.column, read.values[:1] if read.settled else read.values
    found = {v: kind for value in trusted for v, kind in _in_own_unit(value, unit, facts)}
    usual = {value: kind for value, kind in found.items() if is_typical(column, value)}
    if not usual and len(trusted) < len(read.values):
        other = _in_own_unit(read.values[1], unit, facts)
        found |= {v: "thousands or decimals" for v, _ in other if is_typical(column, v)}
    return usual if len(usual) == 1 and not read.settled else found


def _mark(cell: object, read: Number) -> str:
    """Name the mark in a number of text, unless it is a plain decimal point."""
    if read.settled or not isinstance(cell, str):
        return read.kind
    return "thousands or decimals by size"


def _same_dimension(column: str) -> Iterable[str]:
    own = own_unit(column)
    return IN_METRES if own in IN_METRES else IN_SQUARE_METRES if own in IN_SQUARE_METRES else ()


def _in_own_unit(value: float, unit: str, facts: ColumnFacts) -> list[tuple[float, str]]:
    """Bring a number to the column's unit, from the cell's, the column's, or any that it fits."""
    column = facts.column
    if not own_unit(column):
        return [(value, "")] if is_possible(column, value) else []
    if unit or facts.unit not in _same_dimension(column):
        units = [unit] if unit else units_read(column)
        found = [_own(column, value, each) for each in units]
        usual = [each for each in found if is_typical(column, each)] if not unit else []
        kept = usual or [each for each in found if is_possible(column, each)]
        return [(each, "" if unit else "unit by size") for each in kept]
    own = _own(column, value, facts.unit)
    if is_typical(column, own):
        return [(own, "")]
    others = (_own(column, value, each) for each in units_read(column) if each != facts.unit)
    better = [(each, "another unit") for each in others if is_typical(column, each)]
    alone = [(own, "another unit" if better else "")]
    return alone + better if is_possible(column, own) else better


def _own(column: str, value: float, unit: str) -> float:
    """Bring a number to the column's unit; an area to 0.1 m², no house is measured more finely."""
    own = as_own(column, value, unit)
    return round(own, 1) if own_unit(column) == "m2" and unit != "m2" else own


def _other_dimension(
    cell: object, read: Number, unit: str, facts: ColumnFacts
) -> tuple[Reading, ...]:
    """Ask about "240 m" under an area; nothing else may stand for another quantity."""
    if unit == "m" and own_unit(facts.column) == "m2":
        values = [each.value for each in _readings(cell, read, "", facts, [])]
        return asked(cell, [*values, None], "m for m²", "m²") if values else ()
    return ()


def _shares(cell: object, read: Number, unit: str, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a share from 0 to 1; per cent where the cell or the column says so."""
    value = read.values[0]
    as_share, as_percent = value, value / 100
    if unit == "%" or (facts.unit == "%" and value > 1):
        values = [as_percent]
    elif facts.unit == "share":
        values = [as_share] if value <= 1 else [as_percent]
    else:
        values = [as_share, as_percent] if 0 < value <= 1 else [as_percent]
    kind = "per cent" if as_share not in values or len(values) > 1 else ""
    return asked(cell, [v for v in values if 0 <= v <= 1], kind)
