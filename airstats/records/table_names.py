"""Find a table that goes by a name like its own: Windows for openings, jobs copy for jobs."""

from __future__ import annotations

import re
from collections.abc import Sequence

from airstats.base.errors import RecordsError
from airstats.base.number_text import listing

_ALIKE = {
    "jobs": {"job", "jobs"},
    "openings": {"opening", "openings", "window", "windows", "door", "doors"},
}
_BESIDE = {"a", "all", "and", "copy", "data", "done", "export", "final", "finished", "list", "my"}
_BESIDE |= {"new", "of", "our", "table", "the", "v"}


def table_called(table: str, where: str, names: Sequence[str]) -> str:
    """Return the one of the names that a table goes by, "" where none may be meant.

    Parameters
    ----------
    table : str
        One of the contract's tables, which no name is.
    where : str
        The file or folder, for messages.
    names : sequence of str
        Titles of worksheets, or names of files without their ending.

    Raises
    ------
    RecordsError
        If several may be meant.
    """
    found = [name for name in names if _is_called(table, name)]
    if len(found) > 1:
        raise RecordsError(
            f"{where}: which is the table of {table}: {listing(found)}? Call it {table}, or bring"
            " them together in one table of that name."
        )
    return found[0] if found else ""


def _is_called(table: str, name: str) -> bool:
    words = {*re.findall(r"[^\W\d_]+", name.casefold())} - _BESIDE
    return bool(words) and words <= _ALIKE.get(table, set())
