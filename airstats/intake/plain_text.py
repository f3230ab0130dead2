"""A cell's text in one spelling, the numbers in it, and the words that stand for no entry."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from airstats.intake.readings import Reading
from airstats.records.raw_table import as_text

LONGEST = 300
"""Characters; a longer cell is a text, and no entry."""
FRACTION_SIGN = "⁄"
"""Stands for the stroke of ½; a typed 1/2 keeps its own."""
_SIGNS = str.maketrans(
    dict.fromkeys("–—−‐‑‒", "-")
    | dict.fromkeys("“”„″‟«»", '"')
    | dict.fromkeys("’‘′‛´`", "'")
    | dict.fromkeys("×✕✖⨯", "x")
    | dict.fromkeys("≈∼≃", "~")
    | {"⌀": "ø", "≥": ">", "≤": "<"}
)
_SQUARE = re.compile(r"(?<=[a-zA-Z])²")
NUMBER = r"(?:\d{1,3}(?:[ '.,]\d{3})+(?:[.,]\d+)?|\d+(?:[.,]\d+)?)"
SOLID_NUMBER = r"(?:\d+(?:[.,]\d+)*)"
"""Without spaces inside, where another number may stand before it."""
CIRCA = r"(?:ca|circa|approx(?:imately)?|about|around|roughly|rund|etwa|ungefähr|zirka|c|ungef|say)"
_CIRCA_BEFORE = re.compile(rf"^(?:{CIRCA}\b\.?|~)\s*(?=[\d£€$'a-z])")
_CIRCA_AFTER = re.compile(rf"(?<=[\w)'\"])\s*\(?\s*(?:{CIRCA}\.?|~)\)?$")
_UNKNOWN = """? ?? ??? n/a na n.a. n.a n/k nk k.a. k.a ka unknown unbekannt tbc tba tbd
t.b.c. t.b.d. missing fehlt fehlend offen ausstehend folgt nan unclear unklar"""
_UNKNOWN_PHRASES = (
    "not known|not measured|not recorded|no record|not available|to follow|to be confirmed|"
    "nicht bekannt|nicht gemessen|nicht erfasst|keine angabe|noch offen|no entry|don't know|"
    "not counted|nicht gezählt|lost|forgotten|vergessen|no idea"
)
_UNKNOWN_WORDS = {*_UNKNOWN.split(), *_UNKNOWN_PHRASES.split("|")}
_NO_THING = "none nil no nothing keine kein keiner keins nichts ohne nein"
_NONE_WORDS = frozenset(_NO_THING.split())
_DASHES = {"-", "--", "---", "/", "./.", ".", "_", "\\"}
_BOOLEANS = {"true", "false", "wahr", "falsch"}


@lru_cache(maxsize=1 << 16, typed=True)
def plain(cell: Hashable) -> str:
    """Return a cell's text in small letters, with one sign for each dash, quote, cross and space.

    A sign such as ½ becomes " 1⁄2"; a raised figure stays only as the 2 of a unit.
    """
    text = _SQUARE.sub("2", as_text(cell))
    spelled = (_spelled(sign) for sign in text)
    text = unicodedata.normalize("NFC", "".join(spelled)).casefold().translate(_SIGNS)
    return " ".join(text.split())


def _spelled(sign: str) -> str:
    how = unicodedata.decomposition(sign)
    if how.startswith("<fraction>"):
        return " " + unicodedata.normalize("NFKC", sign)
    # A raised figure is a footnote or a power: never a digit of the number before it.
    return sign if how.startswith(("<super>", "<sub>")) else unicodedata.normalize("NFKC", sign)


def no_entry(text: str) -> str:
    """Name the way in which a plain text stands for no entry; "" if it holds one."""
    if not text:
        return "blank"
    if text in _DASHES:
        return "dash"
    return "not known" if text.strip("() ") in _UNKNOWN_WORDS else ""


def says_none(text: str) -> bool:
    """Tell whether a plain text says that there are none."""
    return text.strip(".() ") in _NONE_WORDS


def is_truth(text: str) -> bool:
    """Tell whether a plain text is what a spreadsheet shows for true or false."""
    return text in _BOOLEANS


def without_circa(text: str) -> tuple[str, bool]:
    """Take "ca." and the like off a plain text; tell whether there was any."""
    bare = _CIRCA_AFTER.sub("", _CIRCA_BEFORE.sub("", text)).strip()
    return (bare, True) if bare != text and any(c.isdigit() for c in bare) else (text, False)


@dataclass(frozen=True)
class Number:
    """What the digits of one number may mean; the first is what the decimal mark makes of them.

    `settled` tells that the mark is known, or that they mean one thing alone; `kind` how.
    """

    values: tuple[float, ...]
    settled: bool
    kind: str = ""


_GROUPED = re.compile(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?")


@lru_cache(maxsize=1 << 14)
def number(token: str, decimal: str) -> Number | None:
    """Read digits with marks in them; None if they are no number.

    Parameters
    ----------
    token
        A match of `NUMBER`.
    decimal
        "point", "comma", or "" where nothing tells.
    """
    if _GROUPED.fullmatch(token):
        bare = re.sub("[ ']", "", token).replace(",", ".")
        return Number((float(bare),), True, "thousands by spaces")
    marks = [sign for sign in token if sign in ".,"]
    if not marks:
        return Number((float(token),), True) if token.isdecimal() else None
    if len(marks) > 1:
        return _many_marks(token, marks)
    return _one_mark(token, marks[0], decimal)


def _many_marks(token: str, marks: list[str]) -> Number | None:
    """Read 1.234.567, 1.234,5 or 1,234.5: the last mark is decimal where it is another one."""
    has_decimals = len(set(marks)) == 2
    whole, _, tail = token.rpartition(marks[-1]) if has_decimals else (token, "", "")
    first, *groups = re.split("[.,]", whole)
    ordered = len(set(marks[: -1 if has_decimals else None])) == 1
    if not ordered or not 1 <= len(first) <= 3 or any(len(group) != 3 for group in groups):
        return None
    return Number(
        (float(first + "".join(groups) + (f".{tail}" if tail else "")),), True, "thousands"
    )


def _one_mark(token: str, mark: str, decimal: str) -> Number | None:
    head, _, tail = token.partition(mark)
    if not (head.isdecimal() and tail.isdecimal()):
        return None
    as_decimal, name = float(f"{head}.{tail}"), "point" if mark == "." else "comma"
    kind = "decimal comma" if mark == "," else ""
    if len(tail) != 3 or len(head) > 3 or head.startswith("0"):
        return Number((as_decimal,), True, kind)
    both = (as_decimal, float(head + tail))
    if decimal and decimal != name:
        return Number(both[::-1], True, "thousands")
    return Number(both, bool(decimal), kind)


def told(cell: object, value: object, unit: str = "") -> str:
    """Say what a cell was read as: "5½ read as 5.5".

    Parameters
    ----------
    cell, value : object
        As it stands, and what it was read as.
    unit : str
        Of the value.
    """
    shown = f"{value:.10g}" if isinstance(value, float) else str(value)
    if value is None:
        return f'"{as_text(cell)[:60]}" read as not known'
    return f'"{as_text(cell)[:60]}" read as {shown}{f" {unit}" if unit else ""}'


def clear(cell: object, value: object, kind: str = "", unit: str = "") -> tuple[Reading, ...]:
    """Return the one reading of a clear cell; what is plain or blank says nothing.

    Parameters
    ----------
    cell, value, unit
        As for `told`.
    kind : str
        As in `Reading`.
    """
    return (Reading(value, kind, told(cell, value, unit) if kind not in ("", "blank") else ""),)


def asked(cell: object, values: Iterable[object], kind: str, unit: str = "") -> tuple[Reading, ...]:
    """Return one reading for each distinct value, all of one kind.

    Parameters
    ----------
    cell : object
        As it stands.
    values : iterable
        The likeliest first.
    kind, unit : str
        As in `Reading`, and as for `told`.
    """
    return tuple(each for value in dict.fromkeys(values) for each in clear(cell, value, kind, unit))
