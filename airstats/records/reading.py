"""Read a firm's records or a takeoff: clean tables, and the rows that had to be set aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from airstats.base.errors import RecordsError
from airstats.base.number_text import counted, listing
from airstats.base.run_settings import DATE_ORDERS
from airstats.records.cell_values import are_days, cells_of
from airstats.records.consistency import SUMMARY, Links, check_sheets, is_finished, link
from airstats.records.doubts import doubts
from airstats.records.faults import Fault, told
from airstats.records.left_over import left_notes
from airstats.records.raw_table import COLUMNS, Table, as_text
from airstats.records.source import Source, read_source
from airstats.records.typed_table import TEXTS, Finding, Sheet, read_sheets

__all__ = ["Fault", "Records", "check_records", "read_records"]

_WHOLE_NUMBERS = ("count", "sides", "rolls")
_SET_ASIDE = ["table", "row", "reason"]


CODED = "coded:"
"""Stands before the digest of records with codes in place of names."""


@dataclass(frozen=True)
class Records:
    """Checked records of n jobs, m kinds of opening, k uses of other materials and a stock.

    Attributes
    ----------
    jobs : DataFrame
        n rows: the contract's columns with defaults filled in, `quarter` ("2026Q3", or None),
        `finished`, `openings_known` (whether rows of openings or a count tell of them, 0 being
        none), `count_told` (whether the source says how the rolls were counted), then the source's
        extra columns as text. `finished_on` is blank where only the
        month or the quarter is told.
    openings : DataFrame
        m rows: the contract's columns, `from_summary`, then extra columns as text. A job without
        rows in openings has its summary columns here, as one row with the mark "summary".
        `reveal_mm` is nan where the depth is unknown.
    set_aside : DataFrame
        The rows left out: `table`, `row`, `reason`, then the source's cells as text under the
        source's headings.
    faults : tuple of Fault
        The faults of the rows set aside.
    source : str
        Name of the file or folder.
    digest : str
        SHA-256 of the files read.
    notes : tuple of str
        Remarks that are no faults.
    materials : DataFrame
        k rows, the contract's columns and extra columns as text; no row where none are kept.
    stock : DataFrame
        A row each kind of roll on the shelf, `rolls` of them, or a begun roll with `left_m`; the
        other of the two is 0. The contract's columns and extra columns as text.
    """

    jobs: pd.DataFrame
    openings: pd.DataFrame
    set_aside: pd.DataFrame
    faults: tuple[Fault, ...]
    source: str
    digest: str
    notes: tuple[str, ...]
    materials: pd.DataFrame = field(
        default_factory=partial(pd.DataFrame, columns=COLUMNS["materials"])
    )
    stock: pd.DataFrame = field(default_factory=partial(pd.DataFrame, columns=COLUMNS["stock"]))

    @property
    def coded(self) -> bool:
        """Whether codes stand in place of names."""
        return self.digest.startswith(CODED)

    @property
    def remarks(self) -> tuple[str, ...]:
        """The notes, each with the name of the source."""
        return tuple(
            note if note.startswith(self.source) else f"{self.source}: {note}"
            for note in self.notes
        )


@dataclass(frozen=True)
class _Checked:
    """A source, understood and checked, good rows and bad."""

    source: Source
    sheets: dict[str, Sheet]
    links: Links
    found: list[Finding]

    @property
    def faults(self) -> tuple[Fault, ...]:
        return (*self.source.faults, *(finding.fault for finding in self.found))


def read_records(path: str | Path, set_aside_bad_rows: bool = False, dates: str = "ask") -> Records:
    """Read and check finished jobs, or a takeoff, from a folder or a workbook.

    Parameters
    ----------
    path : str or Path
        A folder with CSV or Parquet files, or an .xlsx workbook.
    set_aside_bad_rows : bool
        Whether to leave out the jobs with a fault instead of refusing the whole source. A job
        goes with all its openings, since a job short of an opening would mislead.
    dates : str
        How to read a date such as 03/04/2026 if the column does not tell: "ask" makes it a
        fault; or "day-first", "month-first".

    Raises
    ------
    RecordsError
        If anything is wrong; the message tells the faults by kind. With
        `set_aside_bad_rows`, only if a whole table cannot be used or no good job is left.
    """
    return _records(_check(path, dates), path, set_aside_bad_rows)


def records_of(source: Source) -> Records:
    """Check the tables of a source that is read already, and shape them; as `read_records`.

    Raises
    ------
    RecordsError
        If anything is wrong.
    """
    return _records(_checked(source, DATE_ORDERS[0]), source.name, False)


def findings_of(tables: dict[str, Table]) -> list[Finding]:
    """Find every fault of some tables, with the position of its row."""
    return _checked(Source("", "", tables, (), ()), DATE_ORDERS[0]).found


def _records(checked: _Checked, path: str | Path, set_aside_bad_rows: bool) -> Records:
    whole = checked.source.faults or any(finding.position < 0 for finding in checked.found)
    bad = _bad_rows(checked)
    if checked.faults and (
        whole or not set_aside_bad_rows or len(bad["jobs"]) == len(checked.links.jobs)
    ):
        raise RecordsError(told(checked.faults, checked.source.name, path))
    good = {
        name: np.delete(np.arange(len(sheet.frame)), list(bad[name]))
        for name, sheet in checked.sheets.items()
    }
    return Records(
        jobs=_jobs(checked, good["jobs"]),
        openings=_openings(checked, good["jobs"], good["openings"]),
        set_aside=_set_aside(checked, bad),
        faults=checked.faults,
        source=checked.source.name,
        digest=checked.source.digest,
        notes=_notes(checked),
        materials=_materials(checked, good["materials"]),
        stock=_stock(checked.sheets["stock"], good["stock"]),
    )


def check_records(path: str | Path, dates: str = "ask") -> tuple[Fault, ...]:
    """Find every fault of the records; none means that they are good.

    Raises
    ------
    RecordsError
        If nothing can be read: no such path, no table of jobs, a damaged workbook.
    """
    return _check(path, dates).faults


def faults_or_records(
    path: str | Path, dates: str = "ask"
) -> tuple[tuple[Fault, ...], Records | None]:
    """Find every fault, as `check_records`; without one, return the records too."""
    checked = _check(path, dates)
    return checked.faults, None if checked.faults else _records(checked, path, False)


def _check(path: str | Path, dates: str) -> _Checked:
    if dates not in DATE_ORDERS:
        raise RecordsError(f'dates is "{dates}"; it must be one of {", ".join(DATE_ORDERS)}.')
    return _checked(read_source(path), dates)


def _checked(source: Source, dates: str) -> _Checked:
    sheets = read_sheets(source.tables, dates)
    links = link(sheets)
    return _Checked(source, sheets, links, check_sheets(sheets, links))


def _bad_rows(checked: _Checked) -> dict[str, dict[int, str]]:
    """Position and reason of the rows of each table that cannot be used.

    One bad row of jobs or openings takes its whole job with it; a bad row of
    the other tables goes by itself.
    """
    own: dict[str, dict[int, list[str]]] = {name: {} for name in COLUMNS}
    owners = {name: getattr(checked.links, name) for name in COLUMNS}
    first: dict[int, Fault] = {}
    for table, row, fault in checked.found:
        if row >= 0:
            own[table].setdefault(row, []).append(str(fault))
            if table in ("jobs", "openings"):
                first.setdefault(int(owners[table][row]), fault)
    first.pop(-1, None)
    return {table: _reasons(own[table], owners[table], first) for table in COLUMNS}


def _reasons(
    own: dict[int, list[str]], owners: np.ndarray, first: dict[int, Fault]
) -> dict[int, str]:
    dragged = np.flatnonzero(np.isin(owners, list(first))).tolist()
    reasons = {row: f"its job is set aside: {first[int(owners[row])]}" for row in dragged}
    reasons |= {row: " ".join(faults) for row, faults in own.items()}
    return dict(sorted(reasons.items()))


def _jobs(checked: _Checked, rows: np.ndarray) -> pd.DataFrame:
    sheet = checked.sheets["jobs"]
    frame = _typed(sheet.frame.iloc[rows])
    day = frame["finished_on"]
    quarter = day.dt.to_period("Q").astype("str").astype(object).where(day.notna(), None)
    known = day.where(are_days(sheet.cells["finished_on"])[rows])
    frame = frame.assign(finished_on=known, quarter=quarter, finished=is_finished(sheet)[rows])
    told = ~sheet.blank["counted"].to_numpy(dtype=bool)[rows]
    frame = frame.assign(openings_known=~checked.links.unknown[rows], count_told=told)
    return _with_extras(frame, sheet, rows)


def _openings(checked: _Checked, jobs: np.ndarray, openings: np.ndarray) -> pd.DataFrame:
    """Return the rows of openings, under the jobs' spelling of the id, then the summaries."""
    in_jobs, in_openings = (checked.sheets[name].frame for name in ("jobs", "openings"))
    owners = checked.links.openings[openings]
    spelling = in_jobs["job_id"].array.take(owners)
    listed = in_openings.iloc[openings].assign(job_id=spelling, from_summary=False)
    listed = _with_extras(listed.reset_index(drop=True), checked.sheets["openings"], openings)
    kept = jobs[checked.links.in_summary[jobs]]
    if not len(kept):
        return _typed(listed)
    summary = in_jobs.iloc[kept][["job_id", *SUMMARY]].rename(columns=SUMMARY)
    summary = summary.assign(mark="summary", sides=4.0, from_summary=True)
    together = pd.concat([listed, summary], ignore_index=True)
    extras = together.columns.difference(summary.columns, sort=False)
    return _typed(together.fillna(dict.fromkeys(extras, "")))


def _materials(checked: _Checked, good: np.ndarray) -> pd.DataFrame:
    """Return the good rows of materials, under the jobs' spelling of the id."""
    sheet = checked.sheets["materials"]
    in_jobs = checked.sheets["jobs"].frame["job_id"].array
    spelling = in_jobs.take(checked.links.materials[good])
    return _with_extras(_typed(sheet.frame.iloc[good].assign(job_id=spelling)), sheet, good)


def _stock(sheet: Sheet, good: np.ndarray) -> pd.DataFrame:
    """Return the good rows of stock; a row of whole rolls has no begun one, and the reverse."""
    frame = sheet.frame.iloc[good].fillna({"rolls": 0, "left_m": 0.0})
    return _with_extras(_typed(frame), sheet, good)


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """Give every column the type it has whatever the kind of file."""
    kinds = dict.fromkeys(TEXTS, "str") | dict.fromkeys(_WHOLE_NUMBERS, "int64")
    kinds["from_summary"] = "bool"
    found = frame.dtypes
    other = {name: kind for name, kind in kinds.items() if name in found and found[name] != kind}
    return (frame.astype(other) if other else frame).reset_index(drop=True)


def _with_extras(frame: pd.DataFrame, sheet: Sheet, rows: np.ndarray) -> pd.DataFrame:
    """Add the source's other columns of these rows, as text."""
    cells = sheet.table.cells
    extras = [column for column in cells if column not in COLUMNS[sheet.table.name]]
    return frame.join(_texts(cells[extras].iloc[rows])) if extras else frame


def _texts(cells: pd.DataFrame) -> pd.DataFrame:
    """Write every cell as text, as the spreadsheet shows it."""
    written = {}
    for column in cells:
        read = cells_of(cells[column])
        texts = pd.array([as_text(value) for value in read.distinct], dtype="str")
        written[column] = texts.take(read.codes)
    return pd.DataFrame(written, index=range(len(cells)))


def _set_aside(checked: _Checked, bad: dict[str, dict[int, str]]) -> pd.DataFrame:
    parts = [
        _set_aside_of(sheet.table, bad[name]) for name, sheet in checked.sheets.items() if bad[name]
    ]
    if not parts:
        return pd.DataFrame({"table": [], "row": [], "reason": []})
    return pd.concat(parts, ignore_index=True).fillna("")


def _set_aside_of(table: Table, reasons: dict[int, str]) -> pd.DataFrame:
    rows = list(reasons)
    cells = _texts(table.cells.iloc[rows]).set_axis(_headings(table), axis=1)
    told = {"table": table.name, "row": table.rows[rows], "reason": list(reasons.values())}
    return pd.DataFrame(told, index=cells.index).join(cells)


def _headings(table: Table) -> list[str]:
    """Return the source's own headings, made different where two would be the same."""
    headings = list(_SET_ASIDE)
    for column, heading in table.headers.items():
        if not heading.strip() or heading in headings:
            heading = column if column not in headings else f"{column} (as written)"
        headings.append(heading)
    return headings[len(_SET_ASIDE) :]


def _notes(checked: _Checked) -> tuple[str, ...]:
    jobs, links = checked.sheets["jobs"], checked.links
    notes = [*checked.source.notes]
    notes += [note for sheet in checked.sheets.values() for note in sheet.notes]
    notes += doubts(jobs, checked.sheets["openings"], links.openings) + left_notes(jobs)
    ignored = int((links.listed & (jobs.frame["opening_count"] > 0)).sum())
    if ignored:
        notes.append(
            f"Jobs whose summary columns are ignored, as openings has their rows: {ignored}."
        )
    ids = jobs.frame["job_id"]
    rows = checked.sheets["openings"].blank["reveal_mm"].to_numpy(dtype=bool)
    depths = np.isin(np.arange(len(ids)), links.openings[rows])
    depths |= links.in_summary & jobs.blank["reveal_mm"].to_numpy(dtype=bool)
    for which, what in ((links.unknown, "openings"), (depths, "depths of reveals")):
        if which.any():
            notes.append(_unknown_note(ids[which].tolist(), what))
    return tuple(notes)


def _unknown_note(ids: list[str], what: str) -> str:
    """Say which jobs' openings or depths nobody knows; that there are none must be written."""
    none = "; where there are none, write a count of 0" if what == "openings" else ""
    return (
        f"{counted(len(ids), 'job')} with unknown {what}, reckoned as usual: {listing(ids)}{none}."
    )
