"""What is wrong in a source, worded for the person who can mend it, one by one and by kind."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from airstats.base.number_text import counted, shown

_SHOWN = 3
"""Faults of one kind that are told one by one."""
# What differs between faults of one kind: numbers, days, ids.
_SPECIFIC = re.compile(r"[0-9][\w.,:/-]*|\b[A-Z]\w+")


@dataclass(frozen=True)
class Fault:
    """One thing wrong in the source: where it stands, what is wrong and what to do.

    `row` is the row number that the spreadsheet shows; None for the table as a whole. `cell` is
    the title of the worksheet, the row and the column from 1; None without a cell of a workbook.
    """

    file: str
    row: int | None
    column: str | None
    value: str
    problem: str
    remedy: str
    cell: tuple[str, int, int] | None = None

    def __str__(self) -> str:
        place = [shown(self.file)]
        place += [f"row {self.row}"] if self.row is not None else []
        place += [f"column {shown(self.column)}"] if self.column is not None else []
        place += [f'value "{shown(self.value)}"'] if self.value else []
        return f"{', '.join(place)}: {self.why}."

    @property
    def why(self) -> str:
        """What is wrong, and what to do."""
        return f"{self.problem}; {self.remedy}"

    @property
    def kind(self) -> tuple[str, str, str]:
        """What faults of one kind have in common: file, column, and the problem in general."""
        return self.file, self.column or "", _SPECIFIC.sub("…", self.problem)


class UnreadableTableError(Exception):
    """One table has no usable shape; its only argument is the fault that says why."""


def unreadable(file: str, problem: str, remedy: str) -> UnreadableTableError:
    """Return the error that says why a table as a whole cannot be read.

    Parameters
    ----------
    file, problem, remedy : str
        The file, what is wrong with it, and what to do.
    """
    return UnreadableTableError(Fault(file, None, None, "", problem, remedy))


def by_kind(faults: Sequence[Fault]) -> list[list[Fault]]:
    """Bring faults of one kind together, in the order of the first of each kind."""
    kinds: dict[tuple[str, str, str], list[Fault]] = {}
    for fault in faults:
        kinds.setdefault(fault.kind, []).append(fault)
    return list(kinds.values())


def told(faults: Sequence[Fault], source: str, path: object) -> str:
    """Tell faults by kind: how many, the first three places, what to do there.

    Parameters
    ----------
    faults : sequence of Fault
        At least one.
    source : str
        What the source is called.
    path : path or str
        Where it is, for the command that lists every fault.
    """
    kinds = by_kind(faults)
    of_kinds = f" of {counted(len(kinds), 'kind')}" if len(kinds) < len(faults) else ""
    lines = [f"{counted(len(faults), 'fault')}{of_kinds} in {source}:"]
    for alike in kinds:
        lines += _of_one_kind(alike)
    if any(len(alike) > _SHOWN for alike in kinds):
        lines.append(f"Every one, in a list to work through: airstats check {path} --out FOLDER")
    return "\n".join(lines)


def _of_one_kind(alike: Sequence[Fault]) -> list[str]:
    if len(alike) <= _SHOWN:
        return [str(fault) for fault in alike]
    first = alike[0]
    column = f", column {shown(first.column)}" if first.column else ""
    lines = [f"{shown(first.file)}{column}, {len(alike):,} times, first:"]
    return lines + [f"  {_in_its_kind(fault)}" for fault in alike[:_SHOWN]]


def _in_its_kind(fault: Fault) -> str:
    value = f', value "{shown(fault.value)}"' if fault.value else ""
    return f"row {fault.row}{value}: {fault.why}."


def fault_table(faults: Sequence[Fault]) -> pd.DataFrame:
    """Return every fault, a row each, those of one kind together."""
    rows = [
        (number, f.file, f.row, f.column or "", f.value, f.problem, f.remedy)
        for number, alike in enumerate(by_kind(faults), start=1)
        for f in alike
    ]
    headings = ["kind", "file", "row", "column", "value", "problem", "what_to_do"]
    return pd.DataFrame(rows, columns=headings).astype({"row": "Int64"})


def kind_table(faults: Sequence[Fault]) -> pd.DataFrame:
    """Return the kinds of fault, a row each, for the front of a marked workbook."""
    rows = []
    for alike in by_kind(faults):
        first = alike[0]
        where = ", ".join(f"row {f.row}" for f in alike[:_SHOWN] if f.row is not None)
        same = len({fault.remedy for fault in alike}) == 1
        what = f"{first.file}{f', column {first.column}' if first.column else ''}: {first.problem}"
        rows.append((what, len(alike), where, first.remedy if same else "as each cell says"))
    return pd.DataFrame(rows, columns=["kind of fault", "how often", "first", "what to do"])
