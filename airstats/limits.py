"""What a number of the records may be, and what a number outside probably was meant to be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from airstats.sheets import Finding, Sheet


@dataclass(frozen=True)
class Rule:
    """One limit of a number: where it is broken, what to say, the factor of the value meant."""

    broken: Callable[[np.ndarray], np.ndarray]
    problem: str
    remedy: str
    factor: float = 1.0


Limits = Mapping[str, tuple[Rule, ...]]
CHECK = "check the entry"
_METRES = "looks like metres"
_CENTIMETRES = "looks like centimetres"
_WRITE_MM = "write millimetres, {}"
_WRITE_M = "write metres, {}"
_NO_SIZE = Rule(lambda v: v <= 0, "must be above 0", "write the size in millimetres")
_SIZE = (
    _NO_SIZE,
    Rule(lambda v: v <= 20, _METRES, _WRITE_MM, 1000),
    Rule(lambda v: v < 100, _CENTIMETRES, _WRITE_MM, 10),
    Rule(lambda v: v > 20_000, "is too large for an opening", CHECK),
)
_REVEAL = (
    _NO_SIZE,
    Rule(lambda v: v <= 3, _METRES, _WRITE_MM, 1000),
    Rule(lambda v: v < 10, _CENTIMETRES, _WRITE_MM, 10),
    Rule(lambda v: v > 1500, "a reveal of {} mm is too deep, and may be mistyped", CHECK),
)
_WHOLE = Rule(lambda v: v % 1 > 0, "is not a whole number", "write how many there are")
_TOO_MANY = Rule(lambda v: v > 10_000, "is too many for one job", CHECK)
_ROLLS = (
    Rule(lambda v: v <= 0, "must be above 0", "write the number of rolls"),
    Rule(lambda v: v < 0.01, "is too few for a job", CHECK),
    Rule(lambda v: v > 10_000, "is too many for one job", CHECK),
)
_PRICE = (
    Rule(lambda v: v < 0, "must not be below 0", CHECK),
    Rule(lambda v: v > 1e9, "is too much for a price", CHECK),
)
_TOO_MANY_PACKS = Rule(lambda v: v > 1_000_000, "is too many for one job", CHECK)
_METRES_OF_EDGE = (
    Rule(lambda v: v < 0, "must not be below 0", "write the length in metres"),
    Rule(lambda v: v >= 20_000, "is too long for one job", "write the length in metres"),
)
JOB_LIMITS: Limits = {
    "surface_m2": (
        Rule(lambda v: v <= 0, "must be above 0", "write the surface in square metres"),
        Rule(lambda v: v < 0.1, "is too small for a job", "write square metres"),
        Rule(lambda v: v >= 100_000, "is too large for one job", "write square metres"),
    ),
    "estimated_rolls": _ROLLS,
    "used_rolls": _ROLLS,
    "roll_width_m": (
        Rule(lambda v: v >= 300, "looks like millimetres", _WRITE_M, 0.001),
        Rule(lambda v: (v < 0.3) | (v > 6), "is no width of a roll (0.3 to 6 m)", CHECK),
    ),
    "roll_length_m": (
        Rule(lambda v: (v < 2) | (v > 500), "is no length of a roll (2 to 500 m)", CHECK),
    ),
    "lap_mm": (
        Rule(lambda v: v < 0, "must not be below 0", "write the lap in millimetres"),
        Rule(lambda v: (v > 0) & (v < 1), _METRES, _WRITE_MM, 1000),
        Rule(lambda v: v > 500, "is too wide for a lap", "write the lap in millimetres"),
    ),
    "roll_price": _PRICE,
    "perimeter_m": _METRES_OF_EDGE,
    "sealant_m": _METRES_OF_EDGE,
    "pretaped_share": (
        Rule(lambda v: v < 0, "must not be below 0", "write a share from 0 to 1"),
        Rule(lambda v: (v > 1) & (v <= 100), "looks like per cent", "write a share, {}", 0.01),
        Rule(lambda v: v > 100, "is no share", "write a share from 0 to 1"),
    ),
    "opening_count": (Rule(lambda v: v < 0, "must not be below 0", CHECK), _WHOLE, _TOO_MANY),
}
OPENING_LIMITS: Limits = {
    "count": (Rule(lambda v: v < 1, "must be 1 or more", CHECK), _WHOLE, _TOO_MANY),
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
    "estimated": (
        Rule(lambda v: v < 0, "must not be below 0", "write the number of packs"),
        _TOO_MANY_PACKS,
    ),
    "used": (
        Rule(lambda v: v <= 0, "must be above 0", "write the number of packs, or remove the row"),
        _TOO_MANY_PACKS,
    ),
    "pack": (
        Rule(lambda v: v <= 0, "must be above 0", "write what one pack holds"),
        Rule(lambda v: (v < 0.001) | (v > 1e6), "is no size of a pack", CHECK),
    ),
    "pack_price": _PRICE,
}
SUMMARY_LIMITS: Limits = {
    "opening_width_mm": _SIZE,
    "opening_height_mm": _SIZE,
    "reveal_mm": _REVEAL,
}


def check_limits(sheet: Sheet, limits: Limits, where: np.ndarray) -> list[Finding]:
    """Apply the limits to the rows of `where` (n,); the first that is broken is the fault."""
    found = []
    for column in sheet.frame.columns.intersection(list(limits)):
        values = sheet.frame[column].to_numpy()
        left = where & ~np.isnan(values)
        for rule in limits[column]:
            broken = left & rule.broken(values)
            left &= ~broken
            for row in np.flatnonzero(broken).tolist():
                shown = f"{values[row] * rule.factor:.10g}"
                problem, remedy = rule.problem.format(shown), rule.remedy.format(shown)
                found.append(sheet.finding(row, column, problem, remedy))
    return found
