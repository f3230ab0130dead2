"""Find the tables of a records source: a folder of CSV or Parquet files, or a workbook."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from airstats.base.errors import RecordsError
from airstats.base.number_text import listing, shown
from airstats.records.csv_reader import csv_table
from airstats.records.faults import Fault, UnreadableTableError
from airstats.records.raw_table import COLUMNS, EMPTY, Table, parquet_table
from airstats.records.table_names import table_called
from airstats.records.xlsx_reader import open_workbook, workbook_table

_EXPECTED = (
    "Expected: a folder with jobs.csv and, if wanted, openings.csv; a workbook (.xlsx) with the "
    "sheets jobs and openings; or a folder with jobs.parquet and openings.parquet."
)
_TABLE_FILES = {".csv": csv_table, ".parquet": parquet_table}
_OPTIONAL = ("openings", "materials", "stock")
_WORKBOOKS = (".xlsx", ".xlsm")
_TABLES = (*_TABLE_FILES, *_WORKBOOKS, ".xls", ".ods", ".tsv")
_CALLED = "rename what is meant as jobs, openings, materials or stock"
LARGEST_FILE = 300_000_000
"""Bytes; a million openings are about 50 million as CSV."""
_CHUNK = 1 << 20


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
    if not isinstance(path, (str, Path)):
        raise RecordsError(f"records is {path!r}, which is no path. {_EXPECTED}")
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
    data = {name: content_of(file) for name, file in files.items()}
    readers = {
        name: partial(_TABLE_FILES[file.suffix.lower()], name, file.name, data[name])
        for name, file in files.items()
    }
    read = set(files.values())
    stray = [e.name for e in sorted(folder.iterdir()) if _is_stray(e) and e not in read]
    notes = [f"files not read: {listing(stray)}; {_CALLED}."] if stray else []
    alike = {name: file.name for name, file in files.items() if not table_name(file)}
    notes += [f"{file} is read as {name}." for name, file in alike.items()]
    in_order = sorted(files, key=lambda name: files[name].name)
    digest = _digest(data[name] for name in in_order)
    return _source(folder.resolve().name, digest, readers, notes, alike)


def content_of(file: Path) -> bytes:
    """Return the bytes of a file; one too large, or with a line without end, is never held.

    Raises
    ------
    RecordsError
        If it is too large, or no table.
    """
    size = file.stat().st_size
    if size > LARGEST_FILE:
        raise RecordsError(
            f"{file.name} has {size / 1e6:,.0f} MB, and no more than {LARGEST_FILE / 1e6:,.0f} MB"
            " are read. Split it by years."
        )
    if file.suffix.lower() == ".csv" and _has_endless_line(file):
        raise RecordsError(
            f"{file.name} has a line of more than {_CHUNK:,} characters, so it is no table or"
            " damaged. Open it in the spreadsheet program and save it as CSV once more."
        )
    return file.read_bytes()


def _has_endless_line(file: Path) -> bool:
    with file.open("rb") as content:
        while len(chunk := content.read(_CHUNK)) == _CHUNK:
            if b"\n" not in chunk and b"\r" not in chunk:
                return True
    return False


def _source(
    name: str,
    digest: str,
    readers: Mapping[str, Callable[[], Table]],
    notes: list[str],
    alike: Collection[str],
) -> Source:
    """Read all tables, so that the fault of one does not hide those of the other.

    Those of `alike` only go by a name like their own, and need not be tables.
    """
    tables, faults = {}, []
    for table, read in readers.items():
        try:
            tables[table] = read()
            notes += tables[table].notes
        except UnreadableTableError as unreadable:
            fault: Fault = unreadable.args[0]
            if table in _OPTIONAL and fault.problem == EMPTY:
                notes.append(f"{fault.file}: {EMPTY}; read as no {table}.")
            elif table in _OPTIONAL and table in alike:
                notes.append(f"{fault.file}: not read as {table} after all: {fault.problem}.")
            else:
                faults.append(fault)
    return Source(name, digest, tables, tuple(faults), tuple(notes))


def _digest(contents: Iterable[bytes]) -> str:
    total = hashlib.sha256()
    for data in contents:
        total.update(data)
    return f"sha256:{total.hexdigest()}"


def source_digest(path: str | Path) -> str:
    """Return the digest of a source, or of any one file, without reading what it says.

    Raises
    ------
    RecordsError
        If it cannot be read.
    """
    path = Path(path)
    if not path.is_dir() and not path.is_file():
        raise RecordsError(f'There is no file or folder "{path}". {_EXPECTED}')
    try:
        files = _table_files(path).values() if path.is_dir() else [path]
        return _digest(file.read_bytes() for file in sorted(files, key=lambda file: file.name))
    except OSError as error:
        raise RecordsError(f"{path} cannot be read ({error.strerror or error}).") from error


def _table_files(folder: Path) -> dict[str, Path]:
    everything = sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
    files = [entry for entry in everything if table_name(entry) and entry.is_file()]
    named = {table_name(file): file for file in files}
    if len({file.suffix.lower() for file in files}) > 1 or len(named) < len(files):
        raise RecordsError(
            f"{folder} holds {listing(file.name for file in files)}: which is meant? "
            "Keep one kind, CSV or Parquet, and move the others away."
        )
    for entry in everything:
        if table_name(entry) and not entry.is_file():
            raise RecordsError(
                f"{entry} is a folder or leads nowhere; a table is needed. {_EXPECTED}"
            )
    kinds = {file.suffix.lower() for file in files} or {*_TABLE_FILES}
    others = {e.stem: e for e in everything if e.suffix.lower() in kinds and e.is_file()}
    for table in COLUMNS:
        if table not in named and (found := table_called(table, str(folder), list(others))):
            named[table] = others[found]
    if "jobs" not in named:
        raise RecordsError(
            f"{folder} holds no table of jobs. It holds {listing(e.name for e in everything)}. "
            f"{_EXPECTED}"
        )
    return {name: named[name] for name in COLUMNS if name in named}


def _is_stray(entry: Path) -> bool:
    """Tell whether an entry looks like a table, by its name or its kind, but is not read."""
    if entry.name.startswith((".", "~")) or table_name(entry):
        return False
    return entry.name.lower().startswith(tuple(COLUMNS)) or entry.suffix.lower() in _TABLES


def table_name(entry: Path) -> str:
    """Return the name of the table that a file of this name in a folder would be, "" for none."""
    name = entry.stem.strip().lower()
    return name if name in COLUMNS and entry.suffix.lower() in _TABLE_FILES else ""


def _read_workbook(path: Path) -> Source:
    if path.suffix.lower() not in _WORKBOOKS:
        if path.suffix.lower() in _TABLE_FILES:
            remedy = f"Give the folder that holds it: {path.parent}. {_EXPECTED}"
            raise RecordsError(f"{path} is one table. {remedy}")
        raise RecordsError(
            f"{path} is not a workbook of the kind .xlsx. Save it as .xlsx. {_EXPECTED}"
        )
    data = content_of(path)
    sheets, ignored = open_workbook(path.name, data)
    readers = {name: partial(workbook_table, name, sheet) for name, sheet in sheets.items()}
    notes = [f"{path.name}: sheets not read: {listing(ignored)}; {_CALLED}."] if ignored else []
    titles = {name: sheet.title for name, sheet in sheets.items()}
    alike = {name: title for name, title in titles.items() if title.strip().casefold() != name}
    notes += [f"{path.name}: the sheet {shown(t)} is read as {name}." for name, t in alike.items()]
    notes += [note for sheet in sheets.values() for note in sheet.notes]
    return _source(path.name, _digest([data]), readers, notes, alike)
