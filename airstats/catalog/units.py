"""The metric unit that a heading declares, and numbers brought from it to the contract's unit."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache

import numpy as np

_LENGTHS = {"m": 0, "cm": -2, "mm": -3}
_AREAS = {"m2": 0, "cm2": -4, "mm2": -6}
_POWERS = _LENGTHS | _AREAS
_PREFIXES = {"m": "", "cm": "centi", "mm": "milli"}
WORDS = {unit: f"{prefix}metres" for unit, prefix in _PREFIXES.items()} | {
    f"{unit}2": f"square {prefix}metres" for unit, prefix in _PREFIXES.items()
}
"""What a unit is called in a sentence."""
IN_METRES = {unit: Decimal(1).scaleb(power) for unit, power in _LENGTHS.items()} | {
    "in": Decimal("0.0254"),
    "ft": Decimal("0.3048"),
    "yd": Decimal("0.9144"),
}
"""Metres in a unit of length; inch, foot and yard by the agreement of 1959, exactly."""
IN_SQUARE_METRES = {f"{unit}2": metres**2 for unit, metres in IN_METRES.items()}
_SPELLINGS = {unit: unit for unit in _POWERS} | {
    f"{prefix}{spelling}": unit
    for unit, prefix in _PREFIXES.items()
    for spelling in ("metre", "metres", "meter", "meters")
}
_IMPERIAL = "in inch inches ft foot feet yd yard yards mil thou in2 sqin ft2 sqft yd2 sqyd"
_OTHER_METRIC = "dm km um dm2 km2 ha"
_STRANGE = frozenset(f"{_IMPERIAL} {_OTHER_METRIC}".split())
"""Units that somebody may keep records in, and that are not read."""


_WRITTEN = _SPELLINGS | {
    spelling: unit
    for unit, spellings in {
        "in": "in inch inches \" ''",
        "ft": "ft foot feet '",
        "yd": "yd yard yards",
        "in2": "in2 sqin",
        "ft2": "ft2 sqft sqfeet squarefeet sf",
        "yd2": "yd2 sqyd",
        "m2": "qm sqm squaremetres squaremeters",
    }.items()
    for spelling in spellings.split()
}
"""How a unit is written beside a number, without spaces and points."""


def unit_written(text: str) -> str:
    """Return the unit that is written so beside a number; "" for none that is known."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return _WRITTEN.get(re.sub(r"[\s.^]", "", plain), "")


def same_dimension(column: str) -> tuple[str, ...]:
    """Return every unit that numbers of a column may be brought from."""
    return tuple(next((s for s in (IN_METRES, IN_SQUARE_METRES) if own_unit(column) in s), ()))


def own_unit(column: str) -> str:
    """Return the unit that the contract's name of a column ends in; "" if it has none."""
    end = column.rpartition("_")[2]
    return end if end in _POWERS else ""


def units_read(column: str) -> tuple[str, ...]:
    """Return the units in which a column may be given, its own among them."""
    own = own_unit(column)
    return tuple(next((kind for kind in (_LENGTHS, _AREAS) if own in kind), ()))


def name_in(column: str, unit: str) -> str:
    """Return the name of a column in another unit: reveal_mm in m is reveal_m."""
    return f"{column.removesuffix(own_unit(column))}{unit}"


def declared(columns: Iterable[str], key: str) -> tuple[str, str] | None:
    """Find the column and the unit that a heading declares.

    Parameters
    ----------
    columns : iterable of str
        The contract's columns.
    key : str
        The heading's letters and digits, lower case.

    Returns
    -------
    tuple of str, or None
        Column and unit; the unit is not one of `units_read` where it is known but not read. None
        if the heading is no quantity of the contract with a unit after it.
    """
    for column in columns:
        stem = name_in(column, "").replace("_", "")
        end = key.removeprefix(stem)
        if not own_unit(column) or not key.startswith(stem):
            continue
        if unit := _SPELLINGS.get(end) or _SPELLINGS.get(end.removeprefix("in")):
            return column, unit
        if end in _STRANGE:
            return column, end
    return None


def converted(column: str, values: np.ndarray, unit: str) -> np.ndarray:
    """Bring numbers (n,) of a declared unit to the unit of the contract's column.

    Parameters
    ----------
    column : str
        A column of the contract that has a unit.
    values : (n,) array
        Numbers in `unit`.
    unit : str
        One of `units_read(column)`.

    Notes
    -----
    The decimal point of the shortest text of each number is moved, so 0.105 m gives the very
    number that "105" gives; multiplying would give 104.99999999999999 for some such lengths.
    """
    return _moved(values, _POWERS[unit] - _POWERS[own_unit(column)])


def as_declared(column: str, value: float, unit: str) -> float:
    """Return a number of the contract's column as it was written in the declared unit.

    Parameters
    ----------
    column, unit : str
        As for `converted`.
    value : float
        In the column's own unit.
    """
    return float(_moved(np.array([value]), _POWERS[own_unit(column)] - _POWERS[unit])[0])


@lru_cache(maxsize=1 << 14)
def as_own(column: str, value: float, unit: str) -> float:
    """Bring one number of any unit of `IN_METRES` or `IN_SQUARE_METRES` to the contract's unit.

    Parameters
    ----------
    column : str
        A column of the contract that has a unit.
    value : float
        In `unit`.
    unit : str
        Of a length for a length, of an area for an area.
    """
    sizes = IN_METRES if own_unit(column) in IN_METRES else IN_SQUARE_METRES
    return float(Decimal(repr(value)) * sizes[unit] / sizes[own_unit(column)])


def _moved(values: np.ndarray, places: int) -> np.ndarray:
    if not places:
        return values
    distinct, codes = np.unique(values, return_inverse=True)
    return np.array([_shifted(number, places) for number in distinct.tolist()])[codes]


def _shifted(number: float, places: int) -> float:
    return float(Decimal(repr(number)).scaleb(places))
