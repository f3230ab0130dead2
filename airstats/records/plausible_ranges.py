"""What a number of the records may be, and what a number outside probably was meant to be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from airstats.catalog.units import WORDS, as_declared, as_own, converted, own_unit, units_read
from airstats.records.typed_table import Finding, Sheet


@dataclass(frozen=True)
class Rule:
    """One limit of a number: where it is broken, what to say, the factor of the value meant.

    In what is said, {value} stands for the value meant, {unit} and {words} for its unit.
    """

    broken: Callable[[np.ndarray], np.ndarray]
    problem: str
    remedy: str
    factor: float = 1.0


Limits = Mapping[str, tuple[Rule, ...]]
USUAL = {
    "roll_width_m": 1.5,
    "roll_length_m": 50.0,
    "lap_mm": 100.0,
    "width_mm": 1200.0,
    "height_mm": 1200.0,
    "reveal_mm": 250.0,
    "opening_width_mm": 1200.0,
    "opening_height_mm": 1200.0,
    "left_diameter_mm": 130.0,
    "full_diameter_mm": 170.0,
    "core_mm": 80.0,
}
"""A middling length: of two units that a number may be in, the likelier one is nearer to it."""
CHECK = "check the entry"
_METRES = "looks like metres"
_WRITE = "write {words}, {value}"
_LENGTHS = ("m", "cm", "mm")


def _above_0(remedy: str) -> Rule:
    return Rule(lambda v: v <= 0, "must be above 0", remedy)


def _not_below_0(remedy: str) -> Rule:
    return Rule(lambda v: v < 0, "must not be below 0", remedy)


def _most(limit: float) -> Rule:
    return Rule(lambda v: v > limit, "is too many for one job", CHECK)


def _length(metres: float, centimetres: float, too_much: Rule) -> tuple[Rule, ...]:
    """Return the rules of a length in mm; numbers so small look like metres or centimetres."""
    return (
        _above_0("write the size in {words}"),
        Rule(lambda v: v <= metres, _METRES, _WRITE, 1000),
        Rule(lambda v: v < centimetres, "looks like centimetres", _WRITE, 10),
        too_much,
    )


_SIZE = _length(20, 100, Rule(lambda v: v > 20_000, "is too large for an opening", CHECK))
_DEEP = "a reveal of {value} {unit} is too deep, and may be mistyped"
_REVEAL = _length(3, 10, Rule(lambda v: v > 1000, _DEEP, CHECK))
_WHOLE = Rule(lambda v: v % 1 > 0, "is not a whole number", "write how many there are")
_ROLLS = (
    _above_0("write the number of rolls"),
    Rule(lambda v: v < 0.01, "is too few for a job", CHECK),
    _most(10_000),
)
_BEGUN = "write the whole rolls, and the metres left on a begun one in left_m of a row of its own"
_SHELF = Rule(lambda v: v > 10_000, "is too many for one store", CHECK)
_PRICE = (_not_below_0(CHECK), Rule(lambda v: v > 1e9, "is too much for a price", CHECK))
_EDGE = (
    _not_below_0("write the length in {words}"),
    Rule(lambda v: v >= 20_000, "is too long for one job", "write the length in {words}"),
)
_METRES_OF_ROLLS = (
    _not_below_0("write the length in {words}"),
    Rule(lambda v: v >= 5_000, "is too long for what part-rolls hold", "write {words}"),
)
_DIAMETER = (
    _above_0("write the diameter in {words}; where nothing was left, write 0 in left_m"),
    Rule(lambda v: v <= 1, _METRES, _WRITE, 1000),
    Rule(lambda v: v < 50, "looks like centimetres", _WRITE, 10),
    Rule(lambda v: v > 1000, "is too wide for a roll", CHECK),
)
JOB_LIMITS: Limits = {
    "surface_m2": (
        _above_0("write the surface in {words}"),
        Rule(lambda v: v < 0.1, "is too small for a job", "write {words}"),
        Rule(lambda v: v >= 100_000, "is too large for one job", "write {words}"),
    ),
    "estimated_rolls": _ROLLS,
    "left_m": _METRES_OF_ROLLS,
    "brought_m": _METRES_OF_ROLLS,
    "left_diameter_mm": _DIAMETER,
    "full_diameter_mm": _DIAMETER,
    "core_mm": (
        _above_0("write the outside of the core in {words}"),
        Rule(lambda v: v < 20, "looks like centimetres", _WRITE, 10),
        Rule(lambda v: v > 300, "is too wide for a core", CHECK),
    ),
    "roll_width_m": (
        Rule(lambda v: v >= 300, "looks like millimetres", _WRITE, 0.001),
        Rule(lambda v: (v < 0.3) | (v > 6), "is no width of a roll (0.3 to 6 m)", CHECK),
    ),
    "roll_length_m": (
        Rule(lambda v: (v < 2) | (v > 500), "is no length of a roll (2 to 500 m)", CHECK),
    ),
    "lap_mm": (
        _not_below_0("write the lap in {words}"),
        Rule(lambda v: (v > 0) & (v < 1), _METRES, _WRITE, 1000),
        Rule(lambda v: (v > 0) & (v < 30), "looks like centimetres", _WRITE, 10),
        Rule(lambda v: v > 500, "is too wide for a lap", "write the lap in {words}"),
    ),
    "roll_price": _PRICE,
    "perimeter_m": _EDGE,
    "sealant_m": _EDGE,
    "pretaped_share": (
        _not_below_0("write a share from 0 to 1"),
        Rule(lambda v: (v > 1) & (v <= 100), "looks like per cent", "write a share, {value}", 0.01),
        Rule(lambda v: v > 100, "is no share", "write a share from 0 to 1"),
    ),
    "opening_count": (_not_below_0(CHECK), _WHOLE, _most(10_000)),
}
OPENING_LIMITS: Limits = {
    "count": (Rule(lambda v: v < 1, "must be 1 or more", CHECK), _WHOLE, _most(10_000)),
    "width_mm": _SIZE,
    "height_mm": _SIZE,
    "reveal_mm": _REVEAL,
    "sides": (
        Rule(
            lambda v: (v < 3) | (v > 4) | (v % 1 > 0),
            "is not 3 or 4",
            "write 4, or 3 for an opening without a lined threshold",
        ),
    ),
}
MATERIAL_LIMITS: Limits = {
    "estimated": (_not_below_0("write the number of packs"), _most(1_000_000)),
    "used": (_above_0("write the number of packs, or remove the row"), _most(1_000_000)),
    "pack": (
        _above_0("write what one pack holds"),
        Rule(lambda v: (v < 0.001) | (v > 1e6), "is no size of a pack", CHECK),
    ),
    "pack_price": _PRICE,
}
STOCK_LIMITS: Limits = {
    "roll_width_m": JOB_LIMITS["roll_width_m"],
    "roll_length_m": JOB_LIMITS["roll_length_m"],
    "rolls": (_not_below_0(CHECK), Rule(_WHOLE.broken, _WHOLE.problem, _BEGUN), _SHELF),
    "left_m": (
        _not_below_0(CHECK),
        Rule(lambda v: v > 500, "is more than a roll holds", CHECK),
    ),
}
USED_LIMITS: Limits = {"used_rolls": _ROLLS}
SUMMARY_LIMITS: Limits = {
    "opening_width_mm": _SIZE,
    "opening_height_mm": _SIZE,
    "reveal_mm": _REVEAL,
}
TYPICAL = {
    "surface_m2": (15.0, 3000.0),
    "estimated_rolls": (0.25, 60.0),
    "used_rolls": (0.25, 60.0),
    "roll_width_m": (0.5, 4.0),
    "roll_length_m": (10.0, 200.0),
    "lap_mm": (40.0, 300.0),
    "width_mm": (350.0, 6000.0),
    "height_mm": (350.0, 6000.0),
    "reveal_mm": (40.0, 700.0),
    "roll_price": (15.0, 600.0),
    "opening_count": (0.0, 150.0),
    "count": (1.0, 150.0),
    "perimeter_m": (5.0, 2000.0),
    "sealant_m": (5.0, 2000.0),
    "left_m": (0.0, 200.0),
    "brought_m": (0.0, 200.0),
    "left_diameter_mm": (40.0, 500.0),
    "full_diameter_mm": (100.0, 300.0),
    "core_mm": (40.0, 150.0),
    "pretaped_share": (0.0, 1.0),
}
"""What nearly all entries lie in: one outside may be in another unit, or have another mark."""
_SUMMARY_OF = "opening_"


def is_typical(column: str, value: float) -> bool:
    """Tell whether a number, in the contract's unit, lies where nearly all of its column lie."""
    name = column if column in TYPICAL else column.removeprefix(_SUMMARY_OF)
    low, high = TYPICAL.get(name, (-np.inf, np.inf))
    return low <= value <= high


@lru_cache(maxsize=1 << 14)
def is_possible(column: str, value: float) -> bool:
    """Tell whether a number, in the contract's unit, breaks none of its column's limits."""
    limits = {c: rules for table in reversed(list(LIMITS)) for c, rules in LIMITS[table].items()}
    return not any(rule.broken(np.array([value]))[0] for rule in limits.get(column, ()))


def check_limits(sheet: Sheet, limits: Limits, where: np.ndarray | bool = True) -> list[Finding]:
    """Apply the limits to the rows of `where` (n,); the first that is broken is the fault.

    Parameters
    ----------
    sheet : Sheet
        n rows.
    limits : mapping of str to tuple of Rule
        By column; the values are in the contract's units.
    where : (n,) bool array, or True
        The rows to check.
    """
    found = []
    for column in (column for column in limits if column in sheet.frame):
        values = sheet.frame[column].to_numpy()
        left = where & ~np.isnan(values)
        for rule in limits[column]:
            broken = left & rule.broken(values)
            left &= ~broken
            for row in np.flatnonzero(broken).tolist():
                said = _said(rule, limits, column, values[row], sheet.unit(column))
                found.append(sheet.finding(row, column, *said))
    return found


def _said(rule: Rule, limits: Limits, column: str, value: float, unit: str) -> tuple[str, str]:
    """Say what is wrong with a number and what to do, in the unit that it is written in."""
    if unit == own_unit(column):
        if unit in _LENGTHS and rule.factor != 1:
            return _other_unit(column, float(value), unit)
        return _filled_in(rule, value * rule.factor, unit)
    written = as_declared(column, value, unit)
    if meant := _unit_meant(limits, column, written):
        value = as_declared(column, float(_in_own(column, written, meant)), unit)
        looks = Rule(rule.broken, f"looks like {WORDS[meant]}", _WRITE)
        return _filled_in(looks, value, unit)
    if rule.factor != 1:
        return "is too small", CHECK
    return _filled_in(rule, written, unit)


def _other_unit(column: str, value: float, own: str) -> tuple[str, str]:
    """Say in which other units a length may be written, and what it then is in its own."""
    low, high = TYPICAL[column.removeprefix(_SUMMARY_OF)]
    units = {unit: WORDS.get(unit, "inches") for unit in ("m", "cm", "mm", "in") if unit != own}
    read = {words: as_own(column, value, unit) for unit, words in units.items()}
    may_be = {words: size for words, size in read.items() if low / 2 <= size <= 2 * high}
    if len(may_be) == 1:
        ((words, size),) = may_be.items()
        return f"looks like {words}", f"write {WORDS[own]}, {size:.10g}"
    said = " or ".join(f"{size:.10g} if it is in {words}" for words, size in may_be.items())
    problem = "is too small" if own == "mm" else "is too large"
    return f"{problem} for {WORDS[own]}", f"write {WORDS[own]}{said and f', {said}'}"


def _filled_in(rule: Rule, value: float, unit: str) -> tuple[str, str]:
    words = {"value": f"{value:.10g}", "unit": unit, "words": WORDS.get(unit, "")}
    return rule.problem.format(**words), rule.remedy.format(**words)


def _unit_meant(limits: Limits, column: str, written: float) -> str:
    """Return the unit in which a number as written is no fault and most usual; "" if none."""
    readings = {unit: _in_own(column, written, unit) for unit in units_read(column)}
    sound = [
        unit
        for unit, value in readings.items()
        if column in USUAL and not any(rule.broken(value) for rule in limits[column])
    ]
    return min(sound, key=lambda u: abs(np.log(readings[u] / USUAL[column])), default="")


def _in_own(column: str, written: float, unit: str) -> np.ndarray:
    return converted(column, np.array([written]), unit)[0]


LIMITS: Mapping[str, Limits] = {
    "jobs": {**JOB_LIMITS, **USED_LIMITS, **SUMMARY_LIMITS},
    "openings": OPENING_LIMITS,
    "materials": MATERIAL_LIMITS,
    "stock": STOCK_LIMITS,
}
"""The limits of every table."""
_TRIED = (1.0, 0.5, 3.0, 100.0)


def sound_range(column: str, rules: tuple[Rule, ...]) -> tuple[float, float]:
    """Return the least and the most that a number may be, to six digits.

    Parameters
    ----------
    column : str
        In its own unit.
    rules : tuple of Rule
        Its limits; what lies between two sound numbers is sound, but for numbers next to 0.
    """
    usual = next(v for v in (*_usual(column), *_TRIED) if _is_sound(rules, v))
    low = 0.0 if _is_sound(rules, 0.0) else _edge(rules, usual, 0.0)
    return low, _edge(rules, usual, 1e12)


def only_whole(rules: tuple[Rule, ...]) -> bool:
    """Tell whether a number must be whole."""
    return any(rule.problem == _WHOLE.problem for rule in rules)


def _usual(column: str) -> tuple[float, ...]:
    return (USUAL[column],) if column in USUAL else ()


def _is_sound(rules: tuple[Rule, ...], value: float) -> bool:
    return not any(rule.broken(np.array([value]))[0] for rule in rules)


def _edge(rules: tuple[Rule, ...], sound: float, broken: float) -> float:
    """Return the last sound number on the way to one that is not."""
    for _ in range(100):
        middle = (sound + broken) / 2
        sound, broken = (middle, broken) if _is_sound(rules, middle) else (sound, middle)
    return float(f"{sound:.6g}")
