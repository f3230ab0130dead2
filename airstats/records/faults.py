"""One thing wrong in a source, worded for the person who can mend it."""

from __future__ import annotations

from dataclasses import dataclass

from airstats.base.number_text import shown


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
    """Return the error that says why a table as a whole cannot be read.

    Parameters
    ----------
    file, problem, remedy : str
        The file, what is wrong with it, and what to do.
    """
    return UnreadableTableError(Fault(file, None, None, "", problem, remedy))
