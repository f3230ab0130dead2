"""No result takes the place of what it is made from, or of anything that is no result."""

from __future__ import annotations

import argparse
from pathlib import Path

from airstats.base.errors import AirstatsError
from airstats.base.result_folder import SET_ASIDE
from airstats.base.run_settings import paths_of, takeoff_path
from airstats.records.source import table_name

READ = ("records", "words", "takeoff", "previous", "allowances", "truth", "firm", "firms")
"""Arguments of the command line that name what is read; firms are several, parted by ";"."""
WRITTEN = ("out", "codes_key", "buying_list")
"""Arguments that name what is written, a file or a folder."""
FILES = (".csv", ".json", ".xlsx", ".html", ".pdf", ".ipynb", ".parquet", ".toml")
"""Endings of what airstats reads and writes: a folder of results has none of them."""
OF_A_QUARTER = "allowances.json"


def spare_what_is_there(asked: argparse.Namespace) -> None:
    """Refuse a run that would write over what it reads, or into places that cannot be.

    Raises
    ------
    AirstatsError
        If a file or folder to write is one to read, or a table of a folder to read; if it is no
        ordinary file or folder; if two results would have one place.
    """
    for read in _named(asked, READ):
        for written in _named(asked, WRITTEN):
            for target in (written, written / OF_A_QUARTER):
                if _takes_place(target, read):
                    raise AirstatsError(
                        f"{target} would take the place of what is read from {read}. Nothing was"
                        " written: give the result a name of its own."
                    )
    places = _named(asked, WRITTEN)
    for place in places:
        _refuse_no_place(place)
    _refuse_one_place(*places)


def _named(asked: argparse.Namespace, arguments: tuple[str, ...]) -> list[Path]:
    given = {name: getattr(asked, name, None) or "" for name in arguments}
    firms = paths_of(given.pop("firms", ""))
    if given.get("takeoff"):
        given["takeoff"] = takeoff_path(asked.records, given["takeoff"]) or ""
    return [Path(path).resolve() for path in (*given.values(), *firms) if path]


def _refuse_no_place(written: Path) -> None:
    is_file = written.suffix.lower() in FILES
    if written.exists() and not (written.is_file() if is_file else written.is_dir()):
        kind = "ordinary file" if is_file else "folder"
        raise AirstatsError(
            f"{written} is there and is no {kind}. Nothing was written: give another name."
        )


def _refuse_one_place(out: Path, *others: Path) -> None:
    """A key must stay apart from the reports that it undoes, too."""
    for other in others:
        if other.is_relative_to(out) or (out.parent == other and out.stem == "buying_list"):
            raise AirstatsError(
                f"{out} and {other} would be one result in the other's place, or a key among the"
                " reports that it undoes. Nothing was written: give each a place of its own."
            )
    if out.name.lower() == SET_ASIDE:
        raise AirstatsError(f"{out} is for the rows set aside: give the result another name.")


def _takes_place(target: Path, read: Path) -> bool:
    if target.exists() and read.exists() and target.samefile(read):
        return True
    return target.parent == read and bool(table_name(target))
