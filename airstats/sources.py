"""Find the tables of a records source: a folder of CSV or Parquet files, or a workbook."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from airstats.errors import RecordsError
from airstats.tables import (
    COLUMNS,
    EMPTY,
    Fault,
    Table,
    UnreadableTableError,
    csv_table,
    parquet_table,
    sheet_table,
)

_EXPECTED = (
    "Expected: a folder with jobs.csv and, if wanted, openings.csv; a workbook (.xlsx) with the "
    "sheets jobs and openings; or a folder with jobs.parquet and openings.parquet."
)
_TABLE_FILES = {".csv": csv_table, ".parquet": parquet_table}
_OPTIONAL = ("openings", "materials")
_WORKBOOKS = (".xlsx", ".xlsm")


@dataclass(frozen=True)
class Source:
    """The tables that could be read, by name, and the faults of those that could not."""

    name: str
    digest: str
    tables: dict[str, Table]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]


def read_source(path: str | Path) -> Source:
    """Read every table of a records source, cells as they stand.

    Raises
    ------
    RecordsError
        If nothing can be read: no such path, no table of jobs, a damaged workbook.
    """
    path = Path(path)
    try:
        if path.is_dir():
            return _read_folder(path)
        if path.is_file():
            return _read_workbook(path)
    except OSError as error:
        raise RecordsError(
            f"{path} cannot be read ({error.strerror or error}). "
            "Close it in other programs and try again."
        ) from error
    raise RecordsError(f'There is no file or folder "{path}". {_EXPECTED}')


def _read_folder(folder: Path) -> Source:
    files = _table_files(folder)
    data = {name: file.read_bytes() for name, file in files.items()}
    readers = {
        name: partial(_TABLE_FILES[file.suffix.lower()], name, file.name, data[name])
        for name, file in files.items()
    }
    in_order = sorted(files, key=lambda name: files[name].name)
    digest = _digest(data[name] for name in in_order)
    return _source(folder.resolve().name, digest, readers, [])


def _source(
    name: str, digest: str, readers: Mapping[str, Callable[[], Table]], notes: list[str]
) -> Source:
    """Read all tables, so that the fault of one does not hide those of the other."""
    tables, faults = {}, []
    for table, read in readers.items():
        try:
            tables[table] = read()
            notes += tables[table].notes
        except UnreadableTableError as unreadable:
            fault: Fault = unreadable.args[0]
            if table in _OPTIONAL and fault.problem == EMPTY:
                notes.append(f"{fault.file}: {EMPTY}; read as no {table}.")
            else:
                faults.append(fault)
    return Source(name, digest, tables, tuple(faults), tuple(notes))


def _digest(contents: Iterable[bytes]) -> str:
    total = hashlib.sha256()
    for data in contents:
        total.update(data)
    return f"sha256:{total.hexdigest()}"


def _table_files(folder: Path) -> dict[str, Path]:
    everything = sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
    files = [entry for entry in everything if _table_name(entry) and entry.is_file()]
    named = {_table_name(file): file for file in files}
    if len({file.suffix.lower() for file in files}) > 1 or len(named) < len(files):
        raise RecordsError(
            f"{folder} holds {_listing(file.name for file in files)}: which is meant? "
            "Keep one kind, CSV or Parquet, and move the others away."
        )
    if "jobs" not in named:
        raise RecordsError(
            f"{folder} holds no table of jobs. It holds {_listing(e.name for e in everything)}. "
            f"{_EXPECTED}"
        )
    return {name: named[name] for name in COLUMNS if name in named}


def _table_name(entry: Path) -> str:
    name = entry.stem.strip().lower()
    return name if name in COLUMNS and entry.suffix.lower() in _TABLE_FILES else ""


def _listing(names: Iterable[str]) -> str:
    listed = list(names)
    more = f" and {len(listed) - 10} more" if len(listed) > 10 else ""
    return (", ".join(listed[:10]) or "nothing") + more


def _read_workbook(path: Path) -> Source:
    if path.suffix.lower() not in _WORKBOOKS:
        raise RecordsError(_not_a_workbook(path))
    data = path.read_bytes()
    titles, sheets, ignored = _sheets(path, data)
    readers = {name: partial(sheet_table, name, titles[name], sheets[name]) for name in sheets}
    notes = [f"{path.name}: sheets not read: {_listing(ignored)}."] if ignored else []
    return _source(path.name, _digest([data]), readers, notes)


def _not_a_workbook(path: Path) -> str:
    if path.suffix.lower() in _TABLE_FILES:
        return f"{path} is one table. Give the folder that holds it: {path.parent}. {_EXPECTED}"
    return f"{path} is not a workbook of the kind .xlsx. Save it as .xlsx. {_EXPECTED}"


def _sheets(path: Path, data: bytes) -> tuple[dict[str, str], dict[str, list], list[str]]:
    """Name and rows of the sheets jobs and openings, and the titles of all other sheets."""
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        titles = _wanted_titles(path, book.sheet_names)
        rows = {
            name: book.get_sheet_by_name(title).to_python(skip_empty_area=False)
            for name, title in titles.items()
        }
    except (CalamineError, OSError) as error:
        raise RecordsError(
            f"{path.name} cannot be read as a workbook ({error}). It may be damaged or locked "
            "with a password. Open it, save it as .xlsx and try again."
        ) from error
    files = {name: f"{path.name}, sheet {title.strip()}" for name, title in titles.items()}
    return files, rows, [title for title in book.sheet_names if title not in titles.values()]


def _wanted_titles(path: Path, titles: Sequence[str]) -> dict[str, str]:
    wanted = {}
    for name in COLUMNS:
        alike = [title for title in titles if title.strip().casefold() == name]
        if len(alike) > 1:
            raise RecordsError(f"{path.name} has two sheets called {name}. Rename one of them.")
        if alike:
            wanted[name] = alike[0]
    if "jobs" not in wanted:
        raise RecordsError(
            f"{path.name} has no sheet called jobs. Its sheets are {_listing(titles)}. "
            'Call the sheet with the jobs "jobs", and the one with the openings "openings".'
        )
    return wanted
