"""One thing wrong in a source, worded for the person who can mend it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

_SHOWN = 60
# Control characters would reach the terminal; marks of direction would turn the sentence round.
_UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


@dataclass(frozen=True)
class Fault:
    """One thing wrong in the source: where it stands, what is wrong and what to do.

    `row` is the row number that the spreadsheet shows; None for the table as a whole.
    """

    file: str
    row: int | None
    column: str | None
    value: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        place = [shown(self.file)]
        place += [f"row {self.row}"] if self.row is not None else []
        place += [f"column {shown(self.column)}"] if self.column is not None else []
        place += [f'value "{shown(self.value)}"'] if self.value else []
        return f"{', '.join(place)}: {self.problem}; {self.remedy}."


class UnreadableTableError(Exception):
    """One table has no usable shape; its only argument is the fault that says why."""


def unreadable(file: str, problem: str, remedy: str) -> UnreadableTableError:
    """Return the error that says why a table as a whole cannot be read."""
    return UnreadableTableError(Fault(file, None, None, "", problem, remedy))


def shown(text: str) -> str:
    """Return a text fit for a message: cut if long, with signs that nobody sees as their codes."""
    cut = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
    return _UNSEEN.sub(lambda sign: f"<{ord(sign[0]):04X}>", cut)


def listing(names: Iterable[str]) -> str:
    """Return the first ten names, and how many more there are."""
    listed = [shown(name) for name in names]
    more = f" and {len(listed) - 10} more" if len(listed) > 10 else ""
    return (", ".join(listed[:10]) or "nothing") + more
