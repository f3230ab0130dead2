"""What a workbook's formulas come to, so that every cell is written with its value.

A preview, or a reader that does not reckon, then sees numbers. Only what the price sheet's formulas
use is known here; the tests hold every value to two spreadsheet engines.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache, reduce
from math import ceil, floor, sqrt
from typing import Any

import numpy as np
from openpyxl.utils.cell import range_boundaries
from openpyxl.workbook import Workbook
from scipy.special import ndtr

Place = tuple[str, int, int]
"""Title of the sheet, row and column."""
Node = Callable[[Sequence[Any]], Any]
"""A formula, or a part of one, as a function of the values of its references in their order."""

_TEXTS_AND_REFERENCES = re.compile(
    r"""("[^"]*"
      |(?:'[^']*'!)?\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?(?!\w|\()
      |\b[a-z]\w*)""",
    re.VERBOSE,
)
_REFERENCE = "@"
"""Stands for each in the shape of a formula, which those of all jobs and candidates share."""
_TOKENS = re.compile(
    r"""(?P<text>"[^"]*")
      |(?P<reference>@)
      |(?P<call>[A-Z]+\()
      |(?P<number>\d+\.?\d*)
      |(?P<sign><=|>=|<>|[-+*/^&=<>(),])""",
    re.VERBOSE,
)


def formula_values(book: Workbook) -> dict[Place, Any]:
    """Return the value of every cell of the book that holds a formula."""
    # Going through the rows would make a cell of every empty place between.
    texts = {
        (sheet.title, row, column): cell
        for sheet in book
        for (row, column), cell in sheet._cells.items()
        if cell.value is not None
    }
    values = {place: cell.value for place, cell in texts.items() if cell.data_type != "f"}
    todo = {place: cell.value for place, cell in texts.items() if cell.data_type == "f"}
    names = {name: str(one.attr_text) for name, one in book.defined_names.items()}
    _Reckoner(values, todo, names).all()
    return {place: values[place] for place in todo}


class _Reckoner:
    """Works the formulas out, each after those that it refers to."""

    def __init__(
        self, values: dict[Place, Any], todo: dict[Place, str], names: dict[str, str]
    ) -> None:
        self.values, self.todo, self.names = values, todo, names
        self.parsed: dict[Place, tuple[Node, list[_Cells]]] = {}
        self.ranges: dict[str, _Cells] = {}

    def all(self) -> None:
        for place in self.todo:
            waiting = [place]
            while waiting:
                if waiting[-1] in self.values:
                    waiting.pop()
                elif missing := self._missing(waiting[-1]):
                    waiting += missing
                else:
                    self._work_out(waiting.pop())

    def _missing(self, place: Place) -> list[Place]:
        """The cells that must be worked out first."""
        if place not in self.parsed:
            self.parsed[place] = self._read(place)
        cells = [cells for cells in self.parsed[place][1] if not cells.done]
        return [one for part in cells for one in part.missing(self.values, self.todo)]

    def _work_out(self, place: Place) -> None:
        node, cells = self.parsed.pop(place)
        self.values[place] = _plain(node([part.value(self.values) for part in cells]))

    def _read(self, place: Place) -> tuple[Node, list[_Cells]]:
        # What stands between them, then one of them, and so on.
        parts = _TEXTS_AND_REFERENCES.split(self.todo[place][1:])
        refers = [part for part in parts[1::2] if part[0] != '"']
        parts[1::2] = [part if part[0] == '"' else _REFERENCE for part in parts[1::2]]
        cells = [self._cells(self.names.get(text, text), place[0]) for text in refers]
        return _parsed("".join(parts)), cells

    def _cells(self, text: str, sheet: str) -> _Cells:
        full = text if "!" in text else f"'{sheet}'!{text}"
        if full not in self.ranges:
            self.ranges[full] = _Cells(full)
        return self.ranges[full]


class _Cells:
    """One cell or a range: its places and, once all are worked out, its value."""

    def __init__(self, text: str) -> None:
        title, _, cells = text.rpartition("!")
        left, top, right, bottom = range_boundaries(cells.replace("$", ""))
        title = title.strip("'")
        self.shape = (bottom - top + 1, right - left + 1)
        self.places = [
            (title, row, column)
            for row in range(top, bottom + 1)
            for column in range(left, right + 1)
        ]
        self.done = False
        self.held: Any = None

    def missing(self, values: dict[Place, Any], todo: dict[Place, str]) -> list[Place]:
        return [place for place in self.places if place not in values and place in todo]

    def value(self, values: dict[Place, Any]) -> Any:
        if not self.done:
            held = [values.get(place) for place in self.places]
            self.held = held[0] if len(held) == 1 else _array(held, self.shape)
            self.done = True
        return self.held


def _array(held: list[Any], shape: tuple[int, int]) -> np.ndarray:
    if any(isinstance(value, str) for value in held):
        return np.array(held, dtype=object).reshape(shape)
    return np.array([0.0 if v is None else float(v) for v in held]).reshape(shape)


def _plain(value: Any) -> float | str | bool:
    """A cell's value: an empty reference shows 0."""
    if isinstance(value, bool | np.bool_):
        return bool(value)
    return value if isinstance(value, str) else float(0 if value is None else value)


@cache
def _parsed(shape: str) -> Node:
    tokens = [(str(found.lastgroup), found[0]) for found in _TOKENS.finditer(shape)]
    return _Parser([*tokens, ("end", "")]).whole()


class _Parser:
    """Reads the tokens of one formula; those that refer to cells stand for the next value."""

    def __init__(self, tokens: list[tuple[str, str]]) -> None:
        self.tokens, self.at, self.refers = tokens, 0, 0

    def whole(self) -> Node:
        node = self.expression(0)
        if self.tokens[self.at][0] != "end":
            raise ValueError(f"a formula goes on after its end: {self.tokens[self.at :]}")
        return node

    def take(self) -> tuple[str, str]:
        self.at += 1
        return self.tokens[self.at - 1]

    def expression(self, least: int) -> Node:
        left = self.operand()
        while (power := _POWERS.get(self.tokens[self.at][1], 0)) > least:
            left = _joined(_SIGNS[self.take()[1]], left, self.expression(power))
        return left

    def operand(self) -> Node:
        kind, text = self.take()
        if kind == "reference":
            self.refers += 1
            return _reference(self.refers - 1)
        if kind == "call":
            return _called(text[:-1], list(self.arguments()))
        if text == "-":
            return _joined(_SIGNS["-"], _constant(0.0), self.operand())
        if text == "(":
            inner = self.expression(0)
            self.at += 1
            return inner
        return _constant(text[1:-1] if kind == "text" else float(text))

    def arguments(self) -> Iterator[Node]:
        while self.tokens[self.at - 1][1] != ")":
            yield self.expression(0)
            self.at += 1


def _constant(value: float | str) -> Node:
    return lambda refers: value


def _reference(place: int) -> Node:
    return lambda refers: refers[place]


def _joined(sign: Callable[[Any, Any], Any], left: Node, right: Node) -> Node:
    return lambda refers: sign(left(refers), right(refers))


def _called(name: str, arguments: list[Node]) -> Node:
    if name == "IF":
        condition, then, other = arguments
        return lambda refers: then(refers) if condition(refers) else other(refers)
    function = _FUNCTIONS[name]
    return lambda refers: function(*[argument(refers) for argument in arguments])


def _number(value: Any) -> Any:
    """Nothing is 0; truth is 1."""
    return 0.0 if value is None else value * 1.0


def _text(value: Any) -> str:
    if isinstance(value, float | int) and not isinstance(value, bool):
        return f"{value:.15g}"
    return "" if value is None else str(value)


def _alike(left: Any, right: Any) -> Any:
    """Whether two are equal: capitals make no difference, nothing is 0 and no text."""
    if isinstance(left, np.ndarray) and left.dtype == object:
        return np.array([_alike(one, right) for one in left.flat]).reshape(left.shape)
    if isinstance(left, str) or isinstance(right, str):
        texts = [one for one in (left, right) if isinstance(one, str) or one is None]
        return len(texts) == 2 and _text(left).lower() == _text(right).lower()
    return _number(left) == _number(right)


def _compared(sign: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    """An order of numbers; a text is above every number."""

    def compare(left: Any, right: Any) -> Any:
        if isinstance(left, str) or isinstance(right, str):
            return sign(isinstance(left, str), isinstance(right, str))
        return sign(_number(left), _number(right))

    return compare


_SIGNS: dict[str, Callable[[Any, Any], Any]] = {
    "=": _alike,
    "<>": lambda a, b: np.logical_not(_alike(a, b)),
    "<": _compared(lambda a, b: a < b),
    "<=": _compared(lambda a, b: a <= b),
    ">": _compared(lambda a, b: a > b),
    ">=": _compared(lambda a, b: a >= b),
    "&": lambda a, b: _text(a) + _text(b),
    "+": lambda a, b: _number(a) + _number(b),
    "-": lambda a, b: _number(a) - _number(b),
    "*": lambda a, b: _number(a) * _number(b),
    "/": lambda a, b: _number(a) / _number(b),
    "^": lambda a, b: _number(a) ** _number(b),
}
_POWERS = dict.fromkeys(("=", "<>", "<", "<=", ">", ">="), 1) | {
    "&": 2, "+": 3, "-": 3, "*": 4, "/": 4, "^": 5,
}  # fmt: skip


def _is_number(value: Any) -> bool:
    return isinstance(value, float | int) and not isinstance(value, bool)


def _each(values: Sequence[Any]) -> list[Any]:
    return [one for part in values for one in (part.flat if np.ndim(part) else [part])]


def _rounded_up(value: Any, digits: float) -> float:
    scaled = _number(value) * 10**digits
    return (ceil(scaled) if scaled > 0 else floor(scaled)) / 10**digits


def _exact(one: Any, other: Any) -> Any:
    if np.ndim(one):
        return np.array([_text(part) == _text(other) for part in one.flat]).reshape(one.shape)
    return _text(one) == _text(other)


_FUNCTIONS: dict[str, Callable[..., Any]] = {
    "ABS": lambda value: abs(_number(value)),
    "AND": lambda *values: all(_each(values)),
    "EXACT": _exact,
    "INT": lambda value: float(floor(_number(value))),
    "ISNUMBER": _is_number,
    "LOWER": lambda value: _text(value).lower(),
    "MAX": lambda *values: max(_number(one) for one in _each(values)),
    "MIN": lambda *values: min(_number(one) for one in _each(values)),
    "N": lambda value: value * 1.0 if isinstance(value, float | int) else 0.0,
    "NORMSDIST": ndtr,
    "NOT": lambda value: not value,
    "OR": lambda *values: any(_each(values)),
    "REPT": lambda text, times: text * int(times),
    "ROUND": lambda value, digits: floor(_number(value) * 10**digits + 0.5) / 10**digits,
    "ROUNDUP": _rounded_up,
    "SQRT": lambda value: sqrt(_number(value)),
    "SUBSTITUTE": lambda text, old, new: _text(text).replace(old, new),
    "SUMPRODUCT": lambda *arrays: float(np.sum(reduce(np.multiply, map(_number, arrays)))),
    "TRIM": lambda text: " ".join(part for part in _text(text).split(" ") if part),
}
