"""Openings as one cell gives them, one kind or several, and the size of a roll."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, time, timedelta
from functools import lru_cache
from itertools import product

from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.units import IN_METRES, as_own
from airstats.intake.amounts import UNITS, unit_of
from airstats.intake.counts import ONES
from airstats.intake.plain_text import (
    LONGEST,
    clear,
    is_truth,
    no_entry,
    number,
    plain,
    says_none,
    told,
    without_circa,
)
from airstats.intake.readings import ColumnFacts, OpeningText, Reading
from airstats.intake.trade_words import (
    DOOR,
    FOUR_SIDES,
    NO_THRESHOLD,
    WINDOW,
    cut_named,
    sides_named,
)
from airstats.records.plausible_ranges import is_possible, is_typical
from airstats.records.raw_table import as_text

_WIDEST_IN_CM = 3500
"""Where nothing says cm, "600 x 600" is not 6 m."""
FOR_ALL = "for all of them"
"""The kind of a reveal or cut behind the last of several openings, taken for all of them."""
ANOTHER_UNIT = "another unit"
"""The kind of a size that is odd in the column's unit, and read in the one that makes it usual."""
MOST_ALIKE = 150
"""More openings of one kind than that are no count."""
_LENGTH = "|".join(UNITS[unit] for unit in ("mm", "cm", "in", "ft", "m"))
_NUM = r"\d+(?:[.,]\d+)?"
_TURNING = frozenset({"not", "nicht", "no", "ohne", "without", "or", "oder", "less", "minus"})
"""Words that turn round what stands beside them."""
_FEET = r"\d+ ?(?:'|ft) ?(?:\d+ ?(?:\"|in\b)?)?"
_DIM = rf"(?:{_FEET}|{_NUM} ?(?:(?:{_LENGTH})(?![a-wyz]))?)"
_WIDE, _HIGH = r"(?:width|wide|w|breite?|b)", r"(?:height|high|tall|h|höhe|hoch)"
_JOIN = r"(?: |,|x|\*|/|by|mal|and|und)*"
_SIDE = rf"(?: ?\(?(?:{_WIDE}|{_HIGH})\)?(?![a-z]))?"
_SIZES = {
    "wide_high": rf"(?P<w>{_DIM}) ?\(?{_WIDE}\)?{_JOIN}(?P<h>{_DIM}) ?\(?{_HIGH}\)?(?![a-z])",
    "high_wide": rf"(?P<h>{_DIM}) ?\(?{_HIGH}\)?{_JOIN}(?P<w>{_DIM}) ?\(?{_WIDE}\)?(?![a-z])",
    "w_h": rf"{_WIDE}[ .:=]*(?P<w>{_DIM}){_JOIN}{_HIGH}[ .:=]*(?P<h>{_DIM})",
    "h_w": rf"{_HIGH}[ .:=]*(?P<h>{_DIM}){_JOIN}{_WIDE}[ .:=]*(?P<w>{_DIM})",
    # What is called wide ends no chain of bare numbers: "4 x 1100 wide" counts four.
    "chain": rf"(?P<chain>{_DIM}(?: ?(?:x|\*|/|by|mal) ?{_DIM}){{1,3}})"
    rf"(?![\d.,]*\d)(?! ?\(?{_WIDE}(?![a-zäöü]))(?! ?\(?{_HIGH}\)?{_JOIN}{_DIM} ?\(?{_WIDE})",
}
_REVEAL_WORD = r"(?:reveals?|revs?\.?|laibung(?:en|stiefe)?|leibung(?:en|stiefe)?|depth|tiefe|deep)"
_APART = re.compile(rf"(?<![a-zäöü]){_REVEAL_WORD}.*(?<![a-zäöü]){_REVEAL_WORD}")
_SHALLOW = re.compile(rf"{_REVEAL_WORD}[ .:=]*[1-3]\d(?![\d.,])(?! ?(?:{_LENGTH}))")
_COUNTER = r"(?:nos?|nr|st|stk|stck|stück|pcs?|pieces?|off|mal|x|\*|@|à|je|each|times)"
_WORD_COUNT = "|".join(sorted((w for w in ONES if w != "null"), key=len, reverse=True))
_HARMLESS = rf"""each|je|à|@|of|at|in|im|am|the|size|sizes|clear|opening|openings|all|alle|with|mit|
kitchen|bath|bathroom|bed|bedroom|lounge|living|room|hall|landing|stairs?|study|dining|wc|toilet|
utility|garage|attic|cellar|basement|ground|first|second|top|floor|gf|ff|sf|front|rear|back|side|
left|right|north|south|east|west|n|s|e|gable|küche|bad|schlafzimmer|wohnzimmer|kinderzimmer|flur|
diele|büro|keller|eg|og|dg|ug|kg|nord|süd|ost|links|rechts|vorne|hinten|giebel|zimmer|treppe|
new|neu|upstairs|downstairs|size:|approx|both|{WINDOW}""".replace("\n", "")
_EVENTS = {
    "reveal": rf"(?:all |alle )?(?:(?P<many>reveals|laibungen|leibungen|all|alle)|{_REVEAL_WORD}|"
    rf"(?:r|d|t)(?=[ =:]*\d\d))[ .:=]*(?:all |alle |each |je )?(?P<depth>{_DIM})"
    rf"(?! ?[x*/] ?\d)(?: ?(?:all round|deep|tief))?",
    "depth": rf"(?P<deep>{_DIM}) ?(?P<all>{_REVEAL_WORD}|tief)(?![a-z])",
    **_SIZES,
    "sides": rf"(?:{NO_THRESHOLD}|{FOUR_SIDES})(?![a-zäöü])",
    "bracket": rf"\((?P<inside>\d{{1,3}})(?: ?{_COUNTER}\.?)?\)|"
    r"[x*] ?(?P<times>\d{1,3})(?![\d.,]| ?[x*/])",
    "count": rf"(?P<count>\d{{1,3}}|(?:{_WORD_COUNT})(?![a-zäöü]))(?: ?{_COUNTER}(?![a-z])\.?)?"
    r"(?= ?(?:[^\d\s]|$)|(?<=[a-z.@à*]) ?\d)",
    "door": rf"(?:{DOOR})(?![a-zäöü])",
    "mark": r"(?P<mark>[a-zäöü]{1,2}[- ]?\d{1,2}[a-z]?)(?![\w.,]*\d| ?[x*/])",
    "harmless": rf"(?:{_HARMLESS})(?![a-zäöü])",
    "cut": r"(?P<cut>[a-zäöü][a-zäöü -]*[a-zäöü]|[xh](?![a-z]))",
    "word": r"(?P<word>[a-zäöüß]+)",
    "nothing": r"[\s().:=@à\-]+",
}
_COMPILED = [(kind, re.compile(way)) for kind, way in _EVENTS.items()]
_SEPARATORS = re.compile(
    r"[;|]|,(?!\d)|(?<=\d{3}),(?=\d{2,4} ?[x/])|\+|&|\band\b|\bund\b|\bu\.|\bplus\b|: "
)


@dataclass
class _Item:
    """One segment of a cell while it is read: what it says, sizes with all that they may be."""

    count: int | None = None
    sizes: list[tuple[OpeningText, ...]] = field(default_factory=list)
    reveal: tuple[float, ...] = ()
    is_for_all: bool = False
    sides: int | None = None
    cut: str | None = None
    mark: str = ""
    is_door: bool = False
    names: bool = False
    words: list[str] = field(default_factory=list)
    loose: int | None = None


class _UnreadError(ValueError):
    """A segment that is no opening."""


def read_openings(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read the openings of a cell; the value is a tuple of `OpeningText`, empty for none."""
    if isinstance(cell, (date, time, timedelta, bool)):
        return ()
    text = plain(re.sub(r"[\r\n]+", " ; ", as_text(cell)))
    if len(text) > LONGEST or is_truth(text):
        return ()
    if kind := no_entry(text):
        return clear(cell, None, kind)
    if says_none(text) or text == "0" or re.fullmatch(rf"(?:no|keine|0) (?:{WINDOW})", text):
        return (Reading((), "none", f'"{text}" read as no openings'),)
    text, is_circa = without_circa(text)
    if text.isdecimal():
        return _count_alone(cell, int(text))
    try:
        items = [_segment(part, facts) for part in _SEPARATORS.split(text) if part.strip(" .()-:")]
        found, words = _openings(_joined(items))
    except _UnreadError:
        return ()
    if _SHALLOW.search(text):
        found = [_perhaps_shallow(each, text) for each in found]
    return _readings(cell, found, words, is_circa, facts)


def _perhaps_shallow(each: tuple[OpeningText, ...], text: str) -> tuple[OpeningText, ...]:
    """Add that "rev 20" beside sizes in mm may be 20 mm, where it was read as 20 cm."""
    deep = (one for one in each if one.reveal_mm and f"{one.width_mm or 0:.10g}" in text)
    return (*each, *(replace(one, reveal_mm=(one.reveal_mm or 0) / 10) for one in deep))


def _count_alone(cell: object, count: int) -> tuple[Reading, ...]:
    if count > MOST_ALIKE:
        return ()
    said = f"{told(cell, count)} openings of unknown size"
    return (Reading((OpeningText(None, None, count),), "count alone", said),)


def _segment(text: str, facts: ColumnFacts) -> _Item:
    """Read one segment from left to right.

    Raises
    ------
    _UnreadError
        If digits in it are understood as nothing.
    """
    item, at, text = _Item(), 0, text.strip()
    while at < len(text):
        matches = ((kind, way.match(text, at)) for kind, way in _COMPILED)
        kind, found = next(((kind, m) for kind, m in matches if m and m[0]), ("", None))
        if found is None:
            raise _UnreadError(text)
        at = found.end() if kind != "cut" else at + _cut(item, found["cut"], facts)
        _take(item, kind, found, facts)
    return item


def _cut(item: _Item, words: str, facts: ColumnFacts) -> int:
    """Take the longest run of words that names a cut, else the first word; return its length."""
    parts = words.split(" ")
    for many in range(len(parts), 0, -1):
        run = " ".join(parts[:many])
        if name := cut_named(run.strip("- "), facts):
            item.cut = name
            return len(run)
    if dict(facts.words).get(parts[0]) is None:
        item.words.append(parts[0].strip("-"))
    return len(parts[0])


def _take(item: _Item, kind: str, found: re.Match, facts: ColumnFacts) -> None:
    """Put what was found into the item."""
    parts = found.groupdict()
    if kind in _SIZES:
        item.sizes.append(_sizes(parts, kind, facts))
        if not item.sizes[-1]:
            raise _UnreadError(found[0])
    elif kind in ("reveal", "depth"):
        item.reveal = tuple(_lengths(parts.get("depth") or parts["deep"], "reveal_mm", facts))
        plural = str(parts.get("many") or parts.get("all") or "")
        item.is_for_all |= found[0].startswith("all") or plural.endswith(("s", "en"))
        if not item.reveal:
            raise _UnreadError(found[0])
    elif kind == "bracket" or kind == "count":
        _take_count(item, parts, found[0])
    elif kind in ("sides", "door"):
        item.sides = sides_named(found[0])
        item.is_door |= kind == "door"
        item.names |= kind == "door"
    elif kind == "mark":
        if item.mark:
            raise _UnreadError(found[0])
        item.mark = parts["mark"].upper()
    elif kind == "harmless":
        item.names |= bool(re.fullmatch(WINDOW, found[0]))
        item.is_for_all |= found[0] in ("all", "alle")
    elif kind == "word":
        item.words.append(found[0])
    if _TURNING.intersection(item.words):
        raise _UnreadError(found[0])


def _take_count(item: _Item, parts: dict[str, str], text: str) -> None:
    written = parts.get("inside") or parts.get("times") or parts["count"]
    count = ONES[written] if written in ONES else int(written)
    if item.count is not None or not 1 <= count <= MOST_ALIKE:
        raise _UnreadError(text)
    item.count = count


def _sizes(parts: dict[str, str], kind: str, facts: ColumnFacts) -> tuple[OpeningText, ...]:
    """Return all that a size may be."""
    if kind != "chain":
        return tuple(_two(parts["w"], parts["h"], facts))
    dims = [each.strip() for each in re.split(r"x|\*|/|by|mal", parts["chain"])]
    found: dict[OpeningText, None] = {}
    for order in _ORDERS[len(dims)]:
        found |= dict.fromkeys(_ordered(dict(zip(order, dims, strict=True)), facts))
    return tuple(found)


_ORDERS = {
    2: ("wh",),
    3: ("cwh", "whr", "whc"),
    4: ("cwhr", "whrc"),
}
"""What a chain of numbers may be: count, width, height, reveal."""


def _ordered(dims: dict[str, str], facts: ColumnFacts) -> Iterator[OpeningText]:
    width, height = ("h", "w") if facts.height_first else ("w", "h")
    count = dims.get("c", "1")
    if not count.isdecimal() or not 1 <= int(count) <= MOST_ALIKE:
        return
    for size in _two(dims[width], dims[height], facts, is_chain=len(dims) > 2):
        counted = replace(size, count=int(count)) if "c" in dims else size
        if "r" not in dims:
            yield counted
            continue
        for depth in _lengths(dims["r"], "reveal_mm", facts):
            yield replace(counted, reveal_mm=depth)


def _two(
    width: str, height: str, facts: ColumnFacts, is_chain: bool = False
) -> Iterator[OpeningText]:
    """Yield the sizes that two numbers may be, both in one unit where one of them has none."""
    own = _split(width)[1] or _split(height)[1]
    bare = not own and not all(re.search("[.,]", each) for each in (width, height))
    for unit in [own] if own else _units(width, height, facts, is_chain):
        # "2 x 1.2" may as well be two of something: metres show their decimals.
        if unit == "m" and bare:
            continue
        is_said = bool(own or facts.unit) and not is_chain
        wide = _in_mm(width, "width_mm", unit, facts.decimal, is_said)
        high = _in_mm(height, "height_mm", unit, facts.decimal, is_said)
        yield from (OpeningText(*size) for size in _pairs(wide, high))


def _pairs(wide: Sequence[float], high: Sequence[float]) -> list[tuple[float, float]]:
    return [(w, h) for w in wide for h in high]


def _units(width: str, height: str, facts: ColumnFacts, is_chain: bool) -> Iterable[str]:
    """Return the units that two bare numbers may be in; inches only where cm would be odd."""
    if facts.unit in IN_METRES:
        return _as_column(width, height, facts, is_chain)
    metric = ["mm", "cm", "m"]
    least = min(float(n) for n in re.findall(r"\d+", f"{width} {height}"))
    return [*metric, "in"] if 20 <= least < 50 and facts.language != "de" else metric


def _as_column(width: str, height: str, facts: ColumnFacts, is_chain: bool) -> list[str]:
    """Return the column's unit, and where it makes an odd size those that make a typical one."""
    units = {}
    for unit in dict.fromkeys((facts.unit, "mm", "cm", "m")):
        wide = _in_mm(width, "width_mm", unit, facts.decimal, False)
        units[unit] = bool(wide and _in_mm(height, "height_mm", unit, facts.decimal, False))
    if units[facts.unit] or is_chain:
        return [facts.unit]
    return [facts.unit, *(unit for unit, fits in units.items() if fits)]


@lru_cache(maxsize=1 << 14)
def _split(dim: str) -> tuple[str, str]:
    """Return a number and its unit; feet and inches as inches."""
    if found := re.fullmatch(r"(\d+) ?(?:'|ft) ?(\d+) ?(?:\"|in)?", dim):
        return str(12 * int(found[1]) + int(found[2])), "in"
    found = re.fullmatch(rf"({_NUM}) ?(.*)", dim.strip())
    return (found[1], unit_of(found[2])) if found else (dim, "")


@lru_cache(maxsize=1 << 14)
def _in_mm(dim: str, column: str, unit: str, decimal: str, is_said: bool) -> tuple[float, ...]:
    """Return the lengths that a number may be, in mm; metric ones whole or half.

    Where its unit is said they are any that may be, else typical ones; mm also somewhat less, so
    that "300 x 300" is asked about, which in cm would be 3 m.
    """
    digits, own = _split(dim)
    read, unit = number(digits, decimal), own or unit
    lengths = sorted({as_own(column, value, unit) for value in (read.values if read else ())})
    fits = [
        (is_typical(column, each) and (each <= _WIDEST_IN_CM or unit != "cm" or is_said))
        or ((is_said or own != "") and is_possible(column, each))
        or (unit == "mm" and column != "reveal_mm" and each >= 200)
        for each in lengths
    ]
    whole = [unit in ("in", "ft") or (2 * each).is_integer() for each in lengths]
    return tuple(each for each, *ok in zip(lengths, fits, whole, strict=True) if all(ok))


def _lengths(dim: str, column: str, facts: ColumnFacts) -> list[float]:
    """Return the reveals that a number may be, in mm: in its unit, the column's, or any typical."""
    own = _split(dim)[1]
    first = [own] if own else [facts.unit] if facts.unit in ("mm", "cm", "m") else []
    found = [each for unit in first for each in _in_mm(dim, column, unit, facts.decimal, False)]
    if found or own:
        return found
    every = (
        each for u in ("mm", "cm", "m") for each in _in_mm(dim, column, u, facts.decimal, False)
    )
    return list(dict.fromkeys(every))


def _joined(items: Sequence[_Item]) -> list[_Item]:
    """Bring what stands in segments of its own to the openings that it belongs to.

    Raises
    ------
    _UnreadError
        If a count or a mark belongs to no opening.
    """
    kept: list[_Item] = []
    before, for_all = _Item(), _Item()
    for item in items:
        if item.sizes or (item.count and item.names):
            kept.append(_with(item, before))
            before = _Item()
        elif item.count or item.mark:
            before = _headed(kept, item)
        elif kept:
            _add_to(kept if item.is_for_all else kept[-1:], item)
        else:
            for_all = before = item
    if before.count or before.mark or not kept:
        raise _UnreadError("nothing that it could belong to")
    _add_to(kept, replace(for_all, words=[]))
    return _without_total(kept)


def _headed(kept: Sequence[_Item], item: _Item) -> _Item:
    """Give a count or mark that stands alone to the size before it, else to what follows."""
    if kept and item.count and kept[-1].sizes and kept[-1].count is None and not item.mark:
        kept[-1].count = item.count
        return _Item()
    if kept and item.count:
        raise _UnreadError("a count without an opening")
    return item


def _with(item: _Item, before: _Item) -> _Item:
    item.count = item.count or before.count
    item.mark = item.mark or before.mark
    item.sides = item.sides or before.sides
    item.reveal = item.reveal or before.reveal
    item.cut = item.cut or before.cut
    item.words = [*before.words, *item.words]
    return item


def _add_to(those: Sequence[_Item], item: _Item) -> None:
    """Give what a segment of its own tells of reveal, cut and sides to those that tell none."""
    for each in those:
        each.reveal, each.cut = each.reveal or item.reveal, each.cut or item.cut
        each.sides = each.sides or item.sides
    those[-1].words += item.words


def _without_total(kept: list[_Item]) -> list[_Item]:
    """Leave out "4 windows" where the sizes after it add up to it, or give it to the one size."""
    alone = [each for each in kept if not each.sizes]
    sized = [each for each in kept if each.sizes]
    if not alone or not sized:
        return kept
    counts = [each.count or each.sizes[0][0].count for each in sized]
    total = sum(count or 1 for count in counts)
    if len(alone) == 1 and alone[0] is kept[0]:
        if counts == [None]:
            return [_with(sized[0], alone[0])]
        if total == alone[0].count:
            return sized
    if None in counts or alone[0] is kept[0]:
        raise _UnreadError("a count that does not fit the sizes")
    return kept


def _openings(items: Sequence[_Item]) -> tuple[list[tuple[OpeningText, ...]], list[str]]:
    """Return for each opening all that it may be, and the words that were not understood."""
    found, words = [], []
    for item in items:
        if len(item.sizes) > 1 and (item.count is not None or item.mark):
            raise _UnreadError("one count before several sizes")
        for sizes in item.sizes or [(OpeningText(None, None),)]:
            found.append(tuple(dict.fromkeys(_completed(item, sizes))))
        words += item.words
    return found, words


def _completed(item: _Item, sizes: Iterable[OpeningText]) -> Iterator[OpeningText]:
    for size, reveal in product(sizes, item.reveal or (None,)):
        if item.count is not None and size.count is not None:
            raise _UnreadError("two counts")
        full = replace(
            size,
            count=item.count or size.count,
            reveal_mm=reveal or size.reveal_mm,
            sides=item.sides,
            cut_pattern=item.cut,
            mark=item.mark,
        )
        yield full
        if item.is_door and full.width_mm and full.height_mm and _lies_on_its_side(full):
            yield replace(full, width_mm=full.height_mm, height_mm=full.width_mm)


def _lies_on_its_side(door: OpeningText) -> bool:
    """Tell whether a door is given as wide as doors are high, and as high as they are wide."""
    return 1900 <= (door.width_mm or 0) <= 2500 and (door.height_mm or 0) <= 1300


def _readings(
    cell: object,
    found: Sequence[tuple[OpeningText, ...]],
    words: Sequence[str],
    is_circa: bool,
    facts: ColumnFacts,
) -> tuple[Reading, ...]:
    """Return one reading where each opening is clear, else one for each way to take them all."""
    many = max(map(len, found))
    values = [tuple(each[min(way, len(each) - 1)] for each in found) for way in range(many)]
    if words:
        return _several(cell, [*values, None], "words beside a size")
    if many == 1 and (every := _for_all(values[0])) != values[0]:
        if facts.last_for_all:
            return _several(cell, [every], "reveal or cut at the end, for all openings")
        return tuple(
            Reading(value, kind, told(cell, in_words(value)))
            for kind, value in ((FOR_ALL, every), ("for the last", values[0]))
        )
    if many > 1:
        return _several(cell, values, "unit of a size")
    kind = "circa" if is_circa else _kind(cell, values[0], facts)
    return (Reading(values[0], kind, f"{told(cell, in_words(values[0]))}" if kind else ""),)


def is_apart(cell: object, openings: Sequence[OpeningText]) -> bool:
    """Tell whether a cell says reveal or cut of each of its openings, or of some."""
    return bool(_APART.search(plain(cell))) or any(
        len({getattr(each, name) for each in openings}) > 1 for name in ("reveal_mm", "cut_pattern")
    )


def _for_all(openings: tuple[OpeningText, ...]) -> tuple[OpeningText, ...]:
    """Give a reveal or a cut that only the last of several tells to all of them."""
    last, others = openings[-1], openings[:-1]
    if not any(each.reveal_mm for each in others):
        openings = tuple(replace(each, reveal_mm=last.reveal_mm) for each in openings)
    if not any(each.cut_pattern for each in others):
        openings = tuple(replace(each, cut_pattern=last.cut_pattern) for each in openings)
    return openings


def _several(
    cell: object, values: Iterable[tuple[OpeningText, ...] | None], kind: str
) -> tuple[Reading, ...]:
    return tuple(
        Reading(v, kind, told(cell, None if v is None else in_words(v)))
        for v in dict.fromkeys(values)
    )


def _kind(cell: object, openings: Sequence[OpeningText], facts: ColumnFacts) -> str:
    """Name how a clear cell was understood: by the unit that was settled by size, if so."""
    if any(each.width_mm is None for each in openings):
        return "count alone"
    text = plain(cell)
    if not facts.unit and not re.search(rf"\d ?(?:{_LENGTH})(?![a-wyz])", text):
        largest = max(float(n) for n in re.findall(r"\d+", text))
        return "sizes in mm" if largest >= 300 else "sizes in cm or m, by size"
    if facts.unit and not _is_in_unit(text, openings[0], facts):
        return ANOTHER_UNIT
    return "several openings" if len(openings) > 1 or openings[0].count else "size in a cell"


def _is_in_unit(text: str, opening: OpeningText, facts: ColumnFacts) -> bool:
    """Tell whether a number of the text is the width in the column's unit, or a unit is said."""
    if re.search(rf"\d ?(?:{_LENGTH})(?![a-wyz])", text):
        return True
    read = (number(digits, facts.decimal) for digits in re.findall(_NUM, text))
    values = (value for each in read if each for value in each.values)
    return opening.width_mm in {as_own("width_mm", value, facts.unit) for value in values}


def in_words(openings: Sequence[OpeningText]) -> str:
    """Say what openings are: "3 of 900 × 1200 mm, reveal 200 mm"."""
    return "; ".join(map(_one_in_words, openings)) or "no openings"


def _one_in_words(each: OpeningText) -> str:
    size = f"{each.width_mm:.10g} × {each.height_mm:.10g} mm" if each.width_mm else "unknown size"
    return (
        f"{each.count or 1} of {size}"
        + (f", reveal {each.reveal_mm:.10g} mm" if each.reveal_mm else "")
        + (f", {each.sides} sides" if each.sides else "")
        + (f", {CUTS[each.cut_pattern].words}" if each.cut_pattern else "")
    )


_ROLL = re.compile(
    rf"({_NUM}) ?(mm|cm|m)? ?(?:x|\*|/|by) ?({_NUM}) ?(mm|cm|m)?(?: ?(?:rolls?|rollen?))?"
)


def read_roll_size(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read "1.5 x 50 m"; the value is the width in m, the length stands in `Reading.also`."""
    text = plain(cell)
    if kind := no_entry(text):
        return clear(cell, None, kind)
    found = _ROLL.fullmatch(text)
    if isinstance(cell, (date, time, timedelta)) or not found:
        return ()
    one, two = (found[1], found[2] or ""), (found[3], found[4] or "")
    pairs = {
        (width, length): None
        for first, second in ((one, two), (two, one))
        for width in _metres(*first, "roll_width_m", facts)
        for length in _metres(*second, "roll_length_m", facts)
    }
    return tuple(
        Reading(w, "size of a roll", f"{told(cell, w, 'm')} wide", (("roll_length_m", length),))
        for w, length in pairs
    )


def _metres(digits: str, unit: str, column: str, facts: ColumnFacts) -> list[float]:
    read = number(digits, facts.decimal)
    units = [unit] if unit else ["m", "cm", "mm"]
    found = {as_own(column, v, u) for u in units for v in (read.values if read else ())}
    return [each for each in sorted(found) if is_typical(column, each)]
