"""Where the tables of a page stand: their headings, over one row or two, and the rows below."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time
from typing import TypeGuard

from airstats.intake.pages import Page, filled, text_of
from airstats.records.raw_table import Unread, is_empty

Knows = Callable[[str], bool]
"""Whether a heading means anything."""
LONGEST_HEADING = 60
_UNITS = re.compile(
    r"[(\[]?\s*(m|cm|mm|m²|m2|qm|sqm|ft²|ft2|ft|in|st(ü|ue)?c?k\.?|no\.?|nr\.?|rolls?|rollen|pcs|%|£|€"
    r"|\$|eur|gbp|each|£/roll|€/rolle|x|n)\s*[)\]]?",
    re.I,
)
_NUMBER = re.compile(r"(?<![\d.,])(\d{1,2})(?![\d.,²³])")


@dataclass(frozen=True)
class Block:
    """One table of a page: the rows of its headings, each column's heading, the rows below.

    `numbers` holds, for the columns that stand once for each of several openings, the number of
    the opening; their `headings` are without it. `is_further` tells whether the page has another
    table above it.
    """

    page: Page
    head: tuple[int, ...]
    headings: dict[int, str]
    rows: tuple[int, ...]
    numbers: dict[int, int]
    is_further: bool = False

    def cells(self, column: int) -> list[object]:
        """Return the column's cells below the headings."""
        return [self.page.cell(row, column) for row in self.rows]


def blocks_of(page: Page, knows: Knows) -> tuple[Block, ...]:
    """Find the tables of a page, from the top down; none where no row looks like headings."""
    heads: list[tuple[int, ...]] = []
    row, told = 0, _Texts(page)
    while row < len(page.rows):
        head = _head_at(told, row, knows)
        if head and not (heads and _same(told, heads[-1], head)):
            heads.append(head)
        row = head[-1] + 1 if head else row + 1
    ends = [*(_top(told, head) for head in heads[1:]), len(page.rows)][: len(heads)]
    return tuple(_block(told, head, end) for head, end in zip(heads, ends, strict=True))


class _Texts:
    """The texts of a page, a merged range's in each of its columns for headings."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.wide = {
            (first[0], column): first
            for first, last in page.merged
            if last[1] > first[1] and last[1] - first[1] < 100
            for column in range(first[1], last[1] + 1)
        }

    def __getitem__(self, row: int) -> dict[int, str]:
        cells = self.page.rows[row] if 0 <= row < len(self.page.rows) else []
        return {column: text_of(cells[column]) for column in filled(cells)}

    def spread(self, row: int) -> dict[int, str]:
        """Return a row's texts, those of merged cells in all the columns that they cover."""
        texts = self[row]
        over = {c: texts.get(first[1], "") for (r, c), first in self.wide.items() if r == row}
        return texts | {column: text for column, text in over.items() if text}


def is_number(cell: object) -> TypeGuard[float]:
    """Tell whether a cell is a number as such, no text."""
    return isinstance(cell, (int, float)) and not isinstance(cell, bool) and not is_empty(cell)


def _is_heading(cell: object) -> bool:
    if isinstance(cell, Unread) or is_number(cell) or isinstance(cell, (date, time, bool)):
        return False
    text = text_of(cell)
    return len(text) <= LONGEST_HEADING and any(map(str.isalpha, text.replace("x", "")))


def _all_headings(page: Page, row: int) -> bool:
    cells = [page.rows[row][column] for column in filled(page.rows[row])]
    sound = sum(_is_heading(cell) or bool(_UNITS.fullmatch(text_of(cell))) for cell in cells)
    return (bool(cells) and sound == len(cells)) or (sound >= 6 and sound >= 0.85 * len(cells))


def _head_at(told: _Texts, row: int, knows: Knows) -> tuple[int, ...]:
    """Return the rows of headings that begin in a row; none where it holds something else."""
    texts = told[row]
    if len(texts) < 2 or not _all_headings(told.page, row):
        return ()
    below = _is_second(told, row)
    both = _joined(told, (row, row + 1)) if below else texts
    known = {text for text in both.values() if knows(text)}
    if len(known) < 2 or len(known) < 0.25 * len(both):
        return ()
    if below and len({t for t in texts.values() if knows(t)}) > len(known):
        below = False
    return (row, row + 1) if below else (row,)


def _is_second(told: _Texts, row: int) -> bool:
    """Tell whether the row below a row of headings goes on with them."""
    if row + 1 >= len(told.page.rows):
        return False
    upper, lower = told[row], told[row + 1]
    if not lower or not _all_headings(told.page, row + 1):
        return False
    units = sum(bool(_UNITS.fullmatch(text)) for text in lower.values())
    if units == len(lower):
        return True
    has_digits = sum(any(map(str.isdecimal, _NUMBER.sub("", text))) for text in lower.values())
    short = all(len(text) <= 25 for text in lower.values())
    follows = told[row + 2] if row + 2 < len(told.page.rows) else {}
    numbers = any(map(str.isdecimal, "".join(follows.values())))
    wide = any(first[0] == row for first in told.wide.values())
    gaps = set(lower) - set(upper)
    return short and not has_digits and numbers and (wide or bool(gaps) or len(lower) >= 3)


def _joined(told: _Texts, head: tuple[int, ...]) -> dict[int, str]:
    """Return each column's heading, an upper one before the lower one."""
    if len(head) == 1:
        return told[head[0]] if not _group_above(told, head[0]) else _grouped(told, head[0])
    upper, lower = told.spread(head[0]), told.spread(head[1])
    if not _is_units(lower):
        upper = _carried(upper, lower, told, head[0])
    columns = sorted({*told[head[0]], *lower})
    texts = {column: " ".join([upper.get(column, ""), lower.get(column, "")]) for column in columns}
    return {column: text.strip() for column, text in texts.items() if text.strip()}


def _is_units(texts: dict[int, str]) -> bool:
    return all(_UNITS.fullmatch(text) for text in texts.values())


def _carried(
    upper: dict[int, str], lower: dict[int, str], told: _Texts, row: int
) -> dict[int, str]:
    """Let an upper heading reach over the columns right of it, where the lower ones repeat."""
    repeated = {text for text, count in Counter(lower.values()).items() if count > 1}
    last, out = "", dict(upper)
    for column in range(min([*upper, *lower]), max([*upper, *lower]) + 1):
        last = upper.get(column, last)
        if column not in upper and lower.get(column) in repeated and last:
            out[column] = last
    return out


def _group_above(told: _Texts, row: int) -> bool:
    """Tell whether the row above holds headings of groups of columns, and no title."""
    if row == 0:
        return False
    above = told[row - 1]
    if not above or not _all_headings(told.page, row - 1):
        return False
    covered = {c for (r, c) in told.wide if r == row - 1 and told.spread(row - 1).get(c)}
    width = len(told[row])
    if len(above) == 1:
        return 1 < len(covered) < 0.7 * width and min(covered) > min(told[row])
    repeats = len(set(told[row].values())) < width
    return bool(covered) or repeats


def _grouped(told: _Texts, row: int) -> dict[int, str]:
    lower = told[row]
    upper = _carried(told.spread(row - 1), lower, told, row - 1)
    return {column: f"{upper.get(column, '')} {text}".strip() for column, text in lower.items()}


def _top(told: _Texts, head: tuple[int, ...]) -> int:
    above = len(head) == 1 and _group_above(told, head[0])
    return head[0] - 1 if above else head[0]


def _same(told: _Texts, one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    first, second = _joined(told, one), _joined(told, other)
    return {c: t.casefold() for c, t in first.items()} == {
        c: t.casefold() for c, t in second.items()
    }


def _block(told: _Texts, head: tuple[int, ...], end: int) -> Block:
    headings = _joined(told, head)
    numbered = _numbered(headings)
    plain = headings | {column: base for column, (base, _) in numbered.items()}
    first = next(iter(numbered.values()), ("", 0))
    numbers = {column: number for column, (_, number) in numbered.items()} if first else {}
    rows = tuple(range(head[-1] + 1, end))
    unheaded = {
        column for row in rows for column in filled(told.page.rows[row]) if column not in plain
    }
    plain |= dict.fromkeys(sorted(unheaded), "")
    return Block(told.page, head, plain, rows, numbers)


def _numbered(headings: dict[int, str]) -> dict[int, tuple[str, int]]:
    """Find the columns that stand once for each of several openings, such as W1 w, W1 h, W2 w."""
    found = {}
    for column, text in headings.items():
        apart = re.sub(r"(?<=[A-Za-z])(?=\d)", " ", text)
        if (number := _NUMBER.search(apart)) and int(number[1]):
            before, after = apart[: number.start()].split(), apart[number.end() :].split()
            # What the number is of, such as the W of W1, says nothing of the column itself.
            rest = [*before[:-1], *after]
            says = any(any(map(str.isalpha, word)) and not _UNITS.fullmatch(word) for word in rest)
            found[column] = (" ".join(rest if says else [*before, *after]), int(number[1]))
    numbers: dict[str, set[int]] = {}
    for base, value in found.values():
        numbers.setdefault(base.casefold(), set()).add(value)
    several = {base for base, values in numbers.items() if {1, 2} <= values}
    return {c: (base, n) for c, (base, n) in found.items() if base.casefold() in several}


def is_repeat(block: Block, row: int) -> bool:
    """Tell whether a row below holds the headings once more, on a new printed page."""
    cells = [
        cell for column in block.headings if not is_empty(cell := block.page.cell(row, column))
    ]
    if sum(map(is_number, cells)) > 0.2 * len(cells):
        return False
    heads = {text_of(block.page.cell(at, column)).casefold()
             for at in block.head for column in block.headings} - {""}  # fmt: skip
    there = [text for text in (text_of(cell).casefold() for cell in cells) if text]
    return len(there) > 1 and sum(text in heads for text in there) >= 0.8 * len(there)
