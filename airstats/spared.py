"""No result takes the place of what it is made from: a firm's records exist only once."""

from __future__ import annotations

import argparse
from pathlib import Path

from airstats.errors import AirstatsError
from airstats.sources import table_name

READ = ("records", "takeoff", "previous", "allowances", "truth")
"""Arguments of the command line that name what is read."""
WRITTEN = ("out", "codes_key", "buying_list")
"""Arguments that name what is written, a file or a folder."""
OF_A_QUARTER = "allowances.json"


def spare_what_is_read(asked: argparse.Namespace) -> None:
    """Refuse a run that would write over what it reads.

    Raises
    ------
    AirstatsError
        If a file or folder to write is one to read, or a table of a folder to read.
    """
    for read in _named(asked, READ):
        for written in _named(asked, WRITTEN):
            for target in (written, written / OF_A_QUARTER):
                if _takes_place(target, read):
                    raise AirstatsError(
                        f"{target} would take the place of what is read from {read}. Nothing was"
                        " written: give the result a name of its own."
                    )


def _named(asked: argparse.Namespace, arguments: tuple[str, ...]) -> list[Path]:
    given = (getattr(asked, name, None) for name in arguments)
    return [Path(path).resolve() for path in given if path]


def _takes_place(target: Path, read: Path) -> bool:
    if target.exists() and read.exists() and target.samefile(read):
        return True
    return target.parent == read and bool(table_name(target))
