"""Check jobs and openings against the contract and against each other; find every fault."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from airstats.base.name_matching import name_key
from airstats.catalog.materials import MATERIALS, plural
from airstats.records.cell_values import NO_RECORD, is_blank
from airstats.records.left_over import check_left
from airstats.records.misunderstood import check_misunderstood, check_units
from airstats.records.plausible_ranges import (
    CHECK,
    JOB_LIMITS,
    MATERIAL_LIMITS,
    OPENING_LIMITS,
    STOCK_LIMITS,
    SUMMARY_LIMITS,
    USED_LIMITS,
    check_limits,
)
from airstats.records.raw_table import COLUMNS, Table, as_text, meant_by
from airstats.records.typed_table import TEXTS, Finding, Sheet


@dataclass(frozen=True)
class Links:
    """How the rows of n jobs, m openings and k materials belong together, by place of the job.

    `jobs` (n,) is the first row with the same id; `openings` (m,) and `materials` (k,) are -1 where
    no job has the id, and all of `stock` is; `listed` (n,) tells which jobs have rows in openings;
    `in_summary` (n,) which of the others have openings in their summary columns; `unknown` (n,)
    which have neither rows nor a count of openings.
    """

    jobs: np.ndarray
    openings: np.ndarray
    listed: np.ndarray
    in_summary: np.ndarray
    unknown: np.ndarray
    materials: np.ndarray
    stock: np.ndarray


def link(sheets: Mapping[str, Sheet]) -> Links:
    """Match openings and materials to jobs by id, whichever way a name is spelled."""
    jobs = sheets["jobs"]
    first: dict[str, int] = {}
    ids = _ids(jobs)
    own = [
        first.setdefault(ids[code], row) if ids[code] else row
        for row, code in enumerate(jobs.cells["job_id"].codes.tolist())
    ]
    owners, users = (_owners(sheets[name], first) for name in ("openings", "materials"))
    listed = np.isin(own, owners)
    in_summary = ~listed & (jobs.frame["opening_count"] > 0).to_numpy()
    unknown = ~listed & jobs.blank["opening_count"].to_numpy()
    nobody = np.full(len(sheets["stock"].frame), -1)
    return Links(np.array(own, dtype=int), owners, listed, in_summary, unknown, users, nobody)


def _owners(sheet: Sheet, first: dict[str, int]) -> np.ndarray:
    places = np.array([first.get(key, -1) for key in _ids(sheet)], dtype=int)
    return np.asarray(places[sheet.cells["job_id"].codes])


def _ids(sheet: Sheet) -> list[str]:
    ids = sheet.cells["job_id"].distinct
    return ["" if is_blank(value) else name_key(as_text(value)) for value in ids]


FINISHED = ["finished_on", "estimated_rolls", "used_rolls"]
SUMMARY = {
    "opening_count": "count",
    "opening_width_mm": "width_mm",
    "opening_height_mm": "height_mm",
    "reveal_mm": "reveal_mm",
    "cut_pattern": "cut_pattern",
}
_NEEDED = {
    "jobs": ["job_id", "surface_m2"],
    "openings": ["job_id", "count", "width_mm", "height_mm", "reveal_mm", "cut_pattern"],
    "materials": ["job_id", "material"],
    "stock": [],
}
_MAY_BE_UNKNOWN = ("reveal_mm",)
"""Where a cell of it is blank nobody knows the value."""
_STEPS = {"opened": 1.0, "half": 0.5, "quarter": 0.25}
_FILL_IN = "fill it in, or remove the row"
_OPENING = "fill it in; if nobody knows it, take out all rows of the job: its openings are unknown"
_JOB_OF_IT = "fill in the id of the job that the opening belongs to, in every row"
_ONE_OF_THEM = "take one of the rows out; for two jobs, give each an id of its own"
_COUNTED = "fill it in, or clear opening_count too: then the job's openings count as unknown"
_IN_A_WORKBOOK = (
    "; if it holds a formula, the workbook must be saved with its values: open it in the"
    " spreadsheet program and save it"
)
_ONE_ROW = "write one row a job below the headings, save, and check again"
_CHECK_YEAR = "check the year"
_COUNT_OTHERWISE = "correct it, or say in counted how the {} were counted"
_ACROSS = "measure the surface straight across every opening, and check the openings' sizes"


def is_finished(jobs: Sheet) -> np.ndarray:
    """Tell which jobs have all that a finished job has."""
    return np.asarray(~jobs.blank[FINISHED].any(axis=1))


def check_sheets(sheets: Mapping[str, Sheet], links: Links) -> list[Finding]:
    """Find every fault, in the order of the tables, their rows and their columns."""
    jobs, openings, materials = (sheets[name] for name in ("jobs", "openings", "materials"))
    found = [finding for s in sheets.values() if s.is_read for finding in _check_columns(s)]
    found += _check_finished(jobs) + _check_twice(jobs, links)
    found += _check_strays(jobs, openings, links.openings)
    found += _check_strays(jobs, materials, links.materials)
    found += _check_summary(jobs, links) + _check_dates(jobs)
    found += _check_counted(jobs, "used_rolls", "rolls") + _check_materials(materials, links)
    all_brought = (jobs.frame["used_rolls"] == 0) & (jobs.frame["brought_m"] > 0)
    found += check_limits(jobs, USED_LIMITS, ~all_brought.to_numpy())
    found += check_limits(jobs, JOB_LIMITS) + check_limits(openings, OPENING_LIMITS)
    found += _check_stock(sheets["stock"])
    found += [finding for sheet in sheets.values() for finding in sheet.unreadable]
    found += check_misunderstood(jobs, openings, links.openings, links.listed)
    sound = {sheet.table.name: _sound(sheet, found) for sheet in (jobs, openings)}
    sums = _opening_sums(sound, links)
    found += _check_areas(jobs, sound["jobs"], sums) + check_units(jobs, openings, sound, sums)
    found += check_left(jobs, sound["jobs"])
    found = sorted(_without_shifted(found, list(sheets.values())), key=_place)
    return [_as_headed(finding, sheets[finding.table].table) for finding in found]


def _as_headed(finding: Finding, table: Table) -> Finding:
    """Name a column in another unit as the person headed it, and say which cell it is."""
    fault, column = finding.fault, finding.fault.column
    named = table.as_headed(column) if column else column
    cell = table.cell(fault.row, column)
    return finding._replace(fault=replace(fault, column=named, cell=cell))


def _place(finding: Finding) -> tuple[int, int, int]:
    order = COLUMNS[finding.table]
    column = finding.fault.column
    where = order.index(column) if column in order else -1
    return list(COLUMNS).index(finding.table), finding.position, where


def _without_shifted(found: list[Finding], sheets: Sequence[Sheet]) -> list[Finding]:
    """Where a row's cells have shifted or are no job's, leave only the fault that says so."""
    shifted = [
        Finding(sheet.table.name, position, fault)
        for sheet in sheets
        for position, fault in sheet.table.row_faults
    ]
    alone = [finding for finding in found if finding.fault.problem in NO_RECORD]
    told = {finding[:2] for finding in shifted}
    alone = shifted + [finding for finding in alone if finding[:2] not in told]
    rows = {finding[:2] for finding in alone}
    return alone + [finding for finding in found if finding[:2] not in rows]


def _check_columns(sheet: Sheet) -> list[Finding]:
    """Find headings that stand twice or not at all, and needed cells that are blank."""
    name = sheet.table.name
    found = [Finding(name, -1, fault) for fault in sheet.table.faults]
    if sheet.is_read and name == "jobs" and sheet.frame.empty:
        found.append(sheet.table_finding(None, "there are no jobs yet", _ONE_ROW))
    remedy = _OPENING if name == "openings" else _FILL_IN
    return found + _check_needed(sheet, _NEEDED[name], True, remedy)


def _check_needed(
    sheet: Sheet, columns: Iterable[str], where: np.ndarray | bool, remedy: str
) -> list[Finding]:
    """Find columns that are missing, and blank cells of the others in the rows of `where`."""
    of_openings = {"job_id": _JOB_OF_IT} if sheet.table.name == "openings" else {}
    found = []
    for column in columns:
        if sheet.lacks(column):
            found += _missing_column(sheet, column)
        else:
            empty = sheet.blank[column] & where & (column not in _MAY_BE_UNKNOWN)
            what = of_openings.get(column, remedy) + (_IN_A_WORKBOOK if sheet.table.title else "")
            found += sheet.flag(empty, column, "a value is needed here", what)
    return found


def _missing_column(sheet: Sheet, column: str) -> list[Finding]:
    """State that a column is missing, unless its heading was told to have a strange unit."""
    if column in sheet.table.unit_unread:
        return []
    headings = ", ".join(heading.strip() for heading in sheet.table.headers.values())
    meant = meant_by(sheet.table, column)
    remedy = f"{meant and f'{meant}, or '}add it; the headings found are {headings}"
    return [sheet.table_finding(column, "the column is missing", remedy)]


def _check_finished(jobs: Sheet) -> list[Finding]:
    """Ask for all of what a finished job has, or for none of it."""
    blank = jobs.blank[FINISHED]
    some = ~blank.all(axis=1)
    lacking = [column for column in FINISHED if jobs.lacks(column)]
    if lacking:
        told = [finding for column in lacking for finding in _missing_column(jobs, column)]
        return told if some.any() else []
    problem = "is blank in a job with other entries of a finished job"
    remedy = "fill it in, or clear finished_on, estimated_rolls and used_rolls for a job to price"
    return [
        finding
        for column in FINISHED
        for finding in jobs.flag(some & blank[column], column, problem, remedy)
    ]


def _check_twice(jobs: Sheet, links: Links) -> list[Finding]:
    """Find jobs that stand twice."""
    found = []
    for row in np.flatnonzero(links.jobs != np.arange(len(links.jobs))).tolist():
        first = int(jobs.table.rows[links.jobs[row]])
        problem = f"the same job_id stands in row {first}"
        found.append(jobs.finding(row, "job_id", problem, _ONE_OF_THEM))
    return found


def _check_strays(jobs: Sheet, sheet: Sheet, owners: np.ndarray) -> list[Finding]:
    """Find openings or materials of no job."""
    if not jobs.is_read:
        return []
    found = []
    told = [f.position for f in sheet.unreadable if f.fault.column == "job_id"]
    readable = ~np.isin(np.arange(len(owners)), told) & ~sheet.blank["job_id"].to_numpy(dtype=bool)
    strays = np.flatnonzero((owners < 0) & readable)
    if not strays.size:
        return []
    loose = jobs.frame["job_id"].map(_loosely)
    alike = dict(zip(loose, jobs.frame["job_id"], strict=True))
    several = set(loose[loose.duplicated()])
    for row in strays.tolist():
        key = _loosely(sheet.frame["job_id"].iloc[row])
        meant = alike.get(key) if key not in several else None
        remedy = f"write {meant}, as in jobs" if meant else "correct it, or add the job to jobs"
        found.append(sheet.finding(row, "job_id", "no job has this id", remedy))
    return found


def _loosely(job_id: str) -> str:
    return job_id.casefold().removesuffix(".0").lstrip("0")


def _check_summary(jobs: Sheet, links: Links) -> list[Finding]:
    """Check the summary columns of the jobs whose openings they stand for."""
    if not links.in_summary.any():
        return []
    found = check_limits(jobs, SUMMARY_LIMITS, links.in_summary)
    return found + _check_needed(jobs, SUMMARY, links.in_summary, _COUNTED)


def _check_dates(jobs: Sheet) -> list[Finding]:
    day = jobs.frame["finished_on"]
    latest = pd.Timestamp(date.today() + timedelta(days=366))
    old = jobs.flag(day < pd.Timestamp(1990, 1, 1), "finished_on", "is before 1990", _CHECK_YEAR)
    return old + jobs.flag(day > latest, "finished_on", "is more than a year from now", _CHECK_YEAR)


def _check_counted(sheet: Sheet, column: str, what: str) -> list[Finding]:
    """Compare what was used with the steps in which it is said to be counted."""
    found = []
    used, counted = sheet.frame[column].to_numpy(), sheet.frame["counted"].to_numpy(dtype=object)
    for word, step in _STEPS.items():
        off = (counted == word) & (np.abs(used / step - np.round(used / step)) > 1e-9)
        problem = f'does not fit counted "{word}", which goes in steps of {step:g}'
        found += sheet.flag(off, column, problem, _COUNT_OTHERWISE.format(what))
    return found


def _check_materials(materials: Sheet, links: Links) -> list[Finding]:
    """Check numbers, counts and units of the materials; one material stands once a job."""
    if not materials.is_read:
        return []
    found = check_limits(materials, MATERIAL_LIMITS)
    found += _check_counted(materials, "used", "packs")
    names, units = materials.frame["material"], materials.frame["unit"]
    for name, material in MATERIALS.items():
        known = ["", material.unit.casefold(), plural(material.unit).casefold()]
        other = (names == name) & ~units.str.casefold().isin(known)
        problem = f"{name} is counted in another unit, {material.unit}"
        found += materials.flag(other, "unit", problem, f"write {material.unit} or leave it blank")
    pair = pd.DataFrame({"job": links.materials, "material": names.to_numpy()})
    twice = pair.duplicated() & (pair["job"] >= 0) & pair["material"].ne("")
    problem = "this material of this job stands in a row above"
    return found + materials.flag(twice, "material", problem, "add the two up in one row")


def _check_stock(stock: Sheet) -> list[Finding]:
    """Check what is on the shelf: a row holds whole rolls, or what is left on a begun one."""
    if not stock.is_read:
        return []
    found = check_limits(stock, STOCK_LIMITS)
    neither = stock.blank[["rolls", "left_m"]].all(axis=1)
    both = (stock.frame["rolls"] > 0) & (stock.frame["left_m"] > 0)
    remedy = "write the whole rolls here, or in left_m the metres left on a begun one"
    found += stock.flag(neither, "rolls", "a value is needed here", remedy)
    problem = "stands beside rolls, so it may be of one more roll or of the last of them"
    remedy = "give every begun roll a row of its own, with left_m alone"
    found += stock.flag(both, "left_m", problem, remedy)
    long = ~both & (stock.frame["left_m"] > stock.frame["roll_length_m"])
    problem = "is more than a whole roll of the kind holds"
    return found + stock.flag(long, "left_m", problem, "correct it, or roll_length_m")


def _sound(sheet: Sheet, found: list[Finding]) -> pd.DataFrame:
    """Return the numbers, with nan for those at fault, so that no fault is told twice."""
    numbers = sheet.frame.drop(columns=[*TEXTS, "finished_on"], errors="ignore")
    rows: dict[str, list[int]] = {}
    for table, row, fault in found:
        if table == sheet.table.name and row >= 0 and fault.column in numbers:
            rows.setdefault(str(fault.column), []).append(row)
    for column, faulty in rows.items():
        numbers.loc[faulty, column] = np.nan
    if sheet.table.row_faults:
        numbers.loc[[row for row, _ in sheet.table.row_faults]] = np.nan
    return numbers


def _opening_sums(sound: dict[str, pd.DataFrame], links: Links) -> pd.DataFrame:
    """Sum each job's openings, m²: `area` of those without fault, `reveal` nan if not known."""
    rows = np.flatnonzero(links.in_summary)
    owners = np.concatenate([links.openings, rows])
    summary = sound["jobs"].rename(columns=SUMMARY).assign(sides=4.0)
    count, width, height, sides, depth = (
        np.concatenate([sound["openings"][name], summary[name].to_numpy()[rows]])
        for name in ("count", "width_mm", "height_mm", "sides", "reveal_mm")
    )
    m2 = count / 1e6
    area = m2 * width * height
    area[np.isnan(area)] = 0
    reveal = m2 * (2 * height + (sides - 2) * width) * depth
    known, n = owners >= 0, len(links.jobs)
    sums = {
        name: np.bincount(owners[known], weights=values[known], minlength=n)
        for name, values in (("area", area), ("reveal", reveal))
    }
    return pd.DataFrame(sums | {"reveal": np.where(links.unknown, np.nan, sums["reveal"])})


def _check_areas(jobs: Sheet, sound: pd.DataFrame, sums: pd.DataFrame) -> list[Finding]:
    """Compare laps with rolls, surfaces with openings, and rolls used with what is to cover."""
    wide = sound["lap_mm"] >= sound["roll_width_m"] * 500
    found = jobs.flag(wide, "lap_mm", "is half the roll's width or more", CHECK)
    surface, area = sound["surface_m2"], sums["area"]
    for row in np.flatnonzero(surface < area * (1 - 1e-9)).tolist():
        problem = f"is less than the area of the job's openings, {area[row]:,.1f} m²"
        found.append(jobs.finding(row, "surface_m2", problem, _ACROSS))
    roll = sound["roll_width_m"] * sound["roll_length_m"]
    used = sound["used_rolls"] * roll
    # Where the reveals are not known yet, as much again as the surface is ample.
    absurd = used > 5 * (surface + sums["reveal"].fillna(surface)) + 3 * roll
    for row in np.flatnonzero(absurd).tolist():
        rolls, held = sound["used_rolls"][row], used[row]
        problem = f"{rolls:,g} rolls hold {held:,.0f} m² for a job of {surface[row]:,.0f} m²"
        remedy = f"write rolls; if {rolls:g} are square metres, {rolls / roll[row]:.3g} rolls"
        found.append(jobs.finding(row, "used_rolls", problem, remedy))
    return found
