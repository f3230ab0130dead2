"""Numbers as people read them: rounded alike everywhere, with sign, interval and unit."""

from __future__ import annotations

import re
from collections import namedtuple
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

_SHOWN = 60
# Control characters would reach the terminal; marks of direction would turn the sentence round.
_UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


def each(frame: pd.DataFrame) -> Iterator[Any]:
    """Yield the rows of a frame, the columns as attributes."""
    row = namedtuple("row", map(str, frame), rename=True)  # type: ignore[misc]
    yield from map(row._make, zip(*(column.tolist() for _, column in frame.items()), strict=True))


def number(value: float, digits: int | None = None) -> str:
    """Return a number with so many decimals; without `digits`, one below ten and none above."""
    places = (1 if abs(value) < 9.95 else 0) if digits is None else digits
    text = f"{value:,.{places}f}"
    return text.lstrip("-") if float(text.replace(",", "")) == 0 else text.replace("-", "−")


def that_add_up(parts: ArrayLike, digits: int = 0, loosest: int | None = None) -> np.ndarray:
    """Return parts rounded so that they add up to their own sum, rounded.

    Parameters
    ----------
    parts : array_like
        Numbers.
    digits : int
        Decimals of each and of the sum.
    loosest : int, optional
        Place of the part that takes all that rounding leaves, as it is known least; without it
        those with the largest remainders take it.
    """
    scaled = np.asarray(parts, dtype=float) * 10.0**digits
    rounded = np.floor(scaled) if loosest is None else scaled.round()
    left = int(scaled.sum().round() - rounded.sum())
    if loosest is None:
        rounded[np.argsort(rounded - scaled, kind="stable")[:left]] += 1
    else:
        rounded[loosest] += left
    return np.asarray(rounded / 10.0**digits)


def signed(value: float, digits: int | None = None) -> str:
    """Return "+1.2" or "−0.4"; what rounds to nothing has no sign. `digits` as for `number`."""
    text = number(value, digits)
    return f"+{text}" if value > 0 and float(text.replace(",", "")) else text


def give_or_take(row: pd.Series, unit: str = "", digits: int | None = None) -> str:
    """Return "19 ± 4 rolls" from `mean, low, high`: half the 90 % interval either side.

    What is known exactly stands without "±".

    Parameters
    ----------
    row : Series
        With `mean, low, high`.
    unit : str
        Stands behind.
    digits : int, optional
        Decimals of both numbers; without it one, or none where both are large.
    """
    half, unit = (row["high"] - row["low"]) / 2, unit and f" {unit}"
    if half < 0.5 * 10.0 ** -(1 if digits is None else digits):
        return number(row["mean"], digits) + unit
    if digits is None:
        digits = 0 if abs(row["mean"]) >= 9.95 and half >= 0.95 else 1
    return f"{number(row['mean'], digits)} ± {number(half, digits)}{unit}"


def between(low: float, high: float, unit: str = "", digits: int | None = None) -> str:
    """Return "0.20 to 0.70 m²"; `digits` as for `number`.

    Parameters
    ----------
    low, high : float
        Ends of an interval; which one is said where ± is explained.
    unit : str
        Stands behind.
    digits : int, optional
        Decimals of both.
    """
    return f"{number(low, digits)} to {number(high, digits)}{unit and f' {unit}'}"


def in_percent(row: pd.Series) -> str:
    """Return "6.0 ± 3.3 %" from `mean, low, high`, which are shares."""
    half = (row["high"] - row["low"]) / 2
    return f"{number(row['mean'] * 100, 1)} ± {number(half * 100, 1)} %"


def by_chance(row: pd.Series) -> bool:
    """Return whether nothing lies between `low` and `high`, so that chance explains the mean."""
    return bool(row["low"] <= 0 <= row["high"])


def percent(share: float, digits: int = 0) -> str:
    """Return "59 %", or "58.7 %" with one digit."""
    return f"{number(share * 100, digits)} %"


def chance(share: float) -> str:
    """Return "59 %"; nearly one stands as "over 99 %"."""
    return "over 99 %" if share > 0.99 else percent(share)


def small_chance(share: float) -> str:
    """Return "12 %", or "below 1 %" where there is a small chance still."""
    return "below 1 %" if share < 0.01 else percent(share)


def roughly(value: float) -> str:
    """Return a number that is not known closely, with two digits that count: "9,200"."""
    near = float(f"{value:.2g}")
    return number(near, max(1 - int(np.floor(np.log10(abs(near)))), 0) if near else 0)


def in_currency(text: str, currency: str) -> str:
    """Return a sum of money, as text, with its currency; "" is one that nobody has named."""
    return f"{text} {currency}".rstrip()


def own_money(text: str, currency: str) -> str:
    """Return a sum with its currency, or "of your money" where nobody has named it."""
    return f"{text} {currency or 'of your money'}"


def rolls(value: float) -> str:
    """Return "1 roll" or "12 rolls"; parts of rolls keep their decimals."""
    return f"{value:g} roll{'' if abs(value) == 1 else 's'}".replace("-", "−")


def counted(value: int, thing: str) -> str:
    """Return "1 job" or "12 jobs"."""
    return f"{value:,} {thing}{'' if value == 1 else 's'}"


def capital(text: str) -> str:
    """Return a text that begins with a capital."""
    return text[:1].upper() + text[1:]


def listed(items: list[str]) -> str:
    """Return "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def shown(text: str, most: int = _SHOWN) -> str:
    """Return a text fit for a message: cut if long, with signs that nobody sees as their codes."""
    cut = text if len(text) <= most else f"{text[:most]}…"
    return _UNSEEN.sub(lambda sign: f"<{ord(sign[0]):04X}>", cut)


def listing(names: Iterable[str], most: int = _SHOWN) -> str:
    """Return the first ten names, each of `most` signs at the most, and how many more there are."""
    listed = [shown(name, most) for name in names]
    more = f" and {len(listed) - 10} more" if len(listed) > 10 else ""
    return (", ".join(listed[:10]) or "nothing") + more
