"""Which rows of a table are jobs, which go on with the job above, and which are neither."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from airstats.base.name_matching import name_key
from airstats.intake.columns import BookTable
from airstats.intake.layout import is_number, is_repeat
from airstats.intake.pages import text_of
from airstats.intake.questions import Findings, Place
from airstats.intake.trade_words import is_ditto, is_total
from airstats.records.raw_table import is_empty

JOB, MORE, TOTAL, NOTE, SECTION, UNCLEAR = "job", "more", "total", "note", "section", "unclear"
QUANTITIES = frozenset(
    {"finished_on", "surface_m2", "estimated_rolls", "used_rolls", "left_m", "left_diameter_mm"}
    | {"brought_m"}
)
_SUMMED = ("surface_m2", "estimated_rolls", "used_rolls")
_OPENINGS = """openings size opening_count opening_width_mm opening_height_mm reveal_mm cut_pattern
count width_mm height_mm sides mark"""
OPENINGS = frozenset(_OPENINGS.split())
"""Meanings that a further line of a job may repeat."""
_SAME = """job_id crew work_type roll_width_m roll_length_m roll_size lap_mm roll_price
finished_on"""
_SHARED = frozenset(_SAME.split())
"""Meanings for which a merged cell stands for several jobs."""
_YEAR = re.compile(r"(?:19[89]|20[0-4])\d")


@dataclass
class Row:
    """A row of a table: its kind, its number from 0, its cells by column.

    `of` is the number of the row of the job that it goes on with; `year` the one that a line above
    names; `merged` the columns whose cell is one that a row above begins; `shared` those whose cell
    several jobs share.
    """

    kind: str
    at: int
    cells: dict[int, object]
    of: int = -1
    year: int | None = None
    merged: frozenset[int] = frozenset()
    why: str = ""
    shared: frozenset[int] = frozenset()


def rows_of(table: BookTable, found: Findings) -> list[Row]:
    """Tell what each row of a table is; blank rows and headings once more are left out.

    Parameters
    ----------
    table : BookTable
        Its columns are known.
    found : Findings
        Takes what is told: repeated headings, ditto marks, notes.
    """
    block, year = table.block, None
    rows: list[Row] = []
    for at in block.rows:
        if all(is_empty(block.page.cell(at, c.at)) for c in table.columns):
            continue
        if is_repeat(block, at):
            found.tell("headings repeated, not read as jobs", found.place(block.page, at))
            continue
        row = _filled_in(table, at, rows, found)
        row.year = year
        _sort(table, row, rows)
        if row.kind == SECTION and (named := _YEAR.search(_only_text(row))):
            year = int(named[0])
        rows.append(row)
    _join_first_lines(table, rows)
    _share(table, rows)
    return rows


def _share(table: BookTable, rows: list[Row]) -> None:
    """Mark the jobs that one merged cell gives one figure together."""
    figures = {c.at for c in table.columns if c.means and c.means not in _SHARED}
    for first, last in table.block.page.merged:
        columns = figures & set(range(first[1], min(last[1], first[1] + 50) + 1))
        jobs = [row for row in rows if first[0] <= row.at <= last[0] and row.kind == JOB]
        if len(jobs) > 1:
            for row in jobs:
                row.shared |= columns


def _filled_in(table: BookTable, at: int, rows: list[Row], found: Findings) -> Row:
    """Take the cells of a row, with what a ditto mark or a merged cell stands for."""
    page, cells = table.block.page, {}
    covered = _merged_above(table, at)
    above = next((row for row in reversed(rows) if row.kind in (JOB, MORE, UNCLEAR)), None)
    for column in table.columns:
        cell = page.cell(at, column.at)
        if not is_empty(cell) and is_ditto(cell) and column.means != "notes":
            if above and column.at in above.cells:
                place = found.place(page, at, column.at)
                found.tell("ditto mark, read as what stands above", place)
                cell = above.cells[column.at]
            else:
                found.tell("ditto mark with nothing above it, read as not known",
                           found.place(page, at, column.at))  # fmt: skip
                cell = ""
        if is_empty(cell) and column.at in covered and column.means in ("", *_SHARED):
            cell = covered[column.at]
        if not is_empty(cell):
            cells[column.at] = cell
    return Row(UNCLEAR, at, cells, merged=frozenset(covered))


def _merged_above(table: BookTable, at: int) -> dict[int, object]:
    page = table.block.page
    return {
        column: page.cell(first[0], column)
        for first, last in page.merged
        if first[0] < at <= last[0] and first[0] >= table.block.rows[0]
        for column in range(first[1], min(last[1], first[1] + 50) + 1)
    }


def _sort(table: BookTable, row: Row, rows: list[Row]) -> None:
    """Decide what kind of row it is, from the rows above."""
    means = {c.at: c.means for c in table.columns}
    texts = [
        cell for at, cell in row.cells.items() if not is_number(cell) and means.get(at) != "notes"
    ]
    if any(is_total(cell) for cell in texts):
        row.kind = TOTAL
        return
    told = {at for at in row.cells if means.get(at) and means[at] != "notes"}
    own_id = _own(table, row, "job_id")
    current = next((each for each in reversed(rows) if each.kind == JOB), None)
    if table.kind == "openings":
        _sort_opening(table, row, rows, means)
    elif not told:
        row.kind = _of_text(row, means, current)
    elif own_id and told == set(own_id):
        row.kind = _of_text(row, means, None)
    elif own_id:
        goes_on = current is not None and _goes_on(table, row, current, rows)
        row.kind = MORE if goes_on else JOB
    else:
        _sort_nameless(table, row, rows, current)
    if row.kind == MORE and current:
        row.of = current.at


def _of_text(row: Row, means: Mapping[int, str], current: Row | None) -> str:
    """A row with hardly anything in it: a remark on the job above, a part's heading, a note."""
    if len(row.cells) > 1:
        return NOTE
    column, cell = next(iter(row.cells.items()))
    if means.get(column) == "notes" and current is not None:
        return MORE
    return SECTION if len(text_of(cell)) <= 40 else NOTE


def _only_text(row: Row) -> str:
    return " ".join(text_of(cell) for cell in row.cells.values())


def _own(table: BookTable, row: Row, means: str) -> list[int]:
    """Return the columns of a meaning that the row itself fills, not a merged cell."""
    page = table.block.page
    return [
        column.at
        for column in table.at(means)
        if column.at in row.cells
        and column.at not in row.merged
        and not is_ditto(page.cell(row.at, column.at))
    ]


def _goes_on(table: BookTable, row: Row, current: Row, rows: list[Row]) -> bool:
    """Tell whether a row with the id of the job above only lists another of its openings."""
    ids = table.at("job_id")
    if any(name_key(text_of(row.cells.get(c.at))) != name_key(text_of(current.cells.get(c.at)))
           for c in ids):  # fmt: skip
        return False
    openings = [c.at for c in table.columns if c.means in OPENINGS and c.at in row.cells]
    if not openings:
        return not _clashes(table, row, [current, *_lines_of(rows, current)])
    rest = [c.at for c in table.columns if c.means and c.means not in OPENINGS]
    same = all(
        c not in row.cells or text_of(row.cells[c]) == text_of(current.cells.get(c)) for c in rest
    )
    differs = any(
        text_of(row.cells[c]) != text_of(current.cells.get(c)) for c in openings
    ) or any(c not in row.cells for c in rest if c in current.cells)  # fmt: skip
    return same and differs


def _lines_of(rows: list[Row], current: Row) -> list[Row]:
    return [row for row in rows if row.kind == MORE and row.of == current.at]


def _clashes(table: BookTable, row: Row, lines: list[Row]) -> bool:
    """Tell whether a row fills a column that the lines of the job fill already."""
    given = {at for line in lines for at in line.cells}
    return any(
        c.at in row.cells and c.at in given and c.at not in row.merged
        for c in table.columns
        if c.means and c.means not in OPENINGS and c.means not in ("notes", "job_id")
    )


def _sort_nameless(table: BookTable, row: Row, rows: list[Row], current: Row | None) -> None:
    """Decide on a row without an id: more of the job above, a job without one, a sum, unclear."""
    figures = [c for c in table.columns if c.means in QUANTITIES and c.at in row.cells
               and c.at not in row.merged]  # fmt: skip
    if not figures and current is not None:
        row.kind = MORE
        return
    if _adds_up(table, row, rows):
        row.kind, row.why = TOTAL, "adds up the rows above"
        return
    if not table.is_("job_id"):
        row.kind = JOB if len(figures) >= 2 else NOTE
        return
    name = [c for c in table.columns if not c.means and c.at in row.cells
            and not is_number(row.cells[c.at])]  # fmt: skip
    shared = bool(set(row.merged) & {c.at for c in table.at("job_id")})
    by_ditto = bool([c for c in table.at("job_id") if c.at in row.cells])
    if current is not None and (shared or by_ditto or not name):
        if not _clashes(table, row, [current, *_lines_of(rows, current)]):
            row.kind = MORE
            return
        if (shared or by_ditto) and _goes_on(table, row, current, rows):
            row.kind = MORE
            return
    whole = {c.means for c in figures} >= {"surface_m2", "used_rolls"}
    row.kind = JOB if name and whole else UNCLEAR


def _adds_up(table: BookTable, row: Row, rows: list[Row]) -> bool:
    """Tell whether the plain numbers of a row are the sums of those above, with no word for it."""
    jobs = [each for each in rows if each.kind == JOB]
    sums = 0
    for column in (c for c in table.columns if c.means in _SUMMED and c.at in row.cells):
        above = [each.cells.get(column.at, 0) for each in jobs]
        value = row.cells[column.at]
        if not is_number(value) or len(jobs) < 2:
            return False
        total = sum(float(cell) for cell in above if is_number(cell))
        if abs(total - float(value)) > 0.005 * abs(total) + 1e-9:
            return False
        sums += 1
    return sums > 0 and not any(c.at in row.cells for c in table.at("finished_on"))


def _sort_opening(table: BookTable, row: Row, rows: list[Row], means: Mapping[int, str]) -> None:
    """A row of a table of openings: one with a size or a count; a blank id is that above."""
    says = {means.get(at) for at in row.cells} & {"width_mm", "height_mm", "size", "openings",
                                                  "count"}  # fmt: skip
    if not says:
        row.kind = _of_text(row, means, None)
        return
    row.kind = JOB
    ids = [c.at for c in table.at("job_id")]
    above = next((each for each in reversed(rows) if each.kind == JOB), None)
    if above and not any(at in row.cells for at in ids):
        row.cells |= {at: above.cells[at] for at in ids if at in above.cells}
        row.why = "id as above"


def _join_first_lines(table: BookTable, rows: list[Row]) -> None:
    """Let a line with nothing but a name begin the job whose figures stand in the next line."""
    if table.kind == "openings":
        return
    ids = {c.at for c in table.at("job_id")}
    for place, row in enumerate(rows[:-1]):
        follows = rows[place + 1]
        if row.kind not in (SECTION, NOTE) or not set(row.cells) & ids:
            continue
        if (
            follows.kind in (MORE, UNCLEAR, JOB)
            and not set(follows.cells) & ids
            and follows.at <= row.at + 2
        ):
            if _YEAR.fullmatch(_only_text(row)):
                continue
            row.kind, follows.kind, follows.of = JOB, MORE, row.at
            for other in rows[place + 2 :]:
                if other.kind != MORE:
                    break
                other.of = row.at


def total_words(row: Row, place: Place) -> str:
    """Return how a row of totals is called."""
    return next((text_of(c) for c in row.cells.values() if not is_number(c)), "") or place.name
