"""Openings that a book lists in a table of their own, brought to their jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from airstats.base.name_matching import name_key
from airstats.base.number_text import shown
from airstats.intake.columns import BookTable, Facts
from airstats.intake.jobs import NOT_KNOWN, CellReader, Draft, wait_for_heading
from airstats.intake.pages import text_of
from airstats.intake.questions import Findings, Place
from airstats.intake.rows import JOB, NOTE, SECTION, TOTAL, Row
from airstats.records.consistency import SUMMARY

_NUMBERS = ("count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern", "mark")
_NEITHER = {
    TOTAL: "totals, not read as openings",
    NOTE: "notes, not read as openings",
    SECTION: "headings of parts, not read as openings",
}


def attach_openings(
    tables: Sequence[BookTable],
    rows: Sequence[Sequence[Row]],
    facts: Sequence[Mapping[int, Facts]],
    drafts: Sequence[Draft],
    found: Findings,
) -> None:
    """Give each job the rows of the tables of openings that name it.

    Parameters
    ----------
    tables, rows, facts : sequences
        Of the same length: each table, its rows, and how its columns are read.
    drafts : sequence of Draft
        The jobs; they take their openings.
    found : Findings
        Takes what is asked and told.
    """
    owners = _owners(drafts)
    listed: dict[str, list[dict[str, Any]]] = {}
    for table, own, read_as in zip(tables, rows, facts, strict=True):
        if table.kind != "openings":
            continue
        reader = CellReader(table, read_as, found)
        for row in own:
            place = found.place(table.block.page, row.at)
            if row.kind != JOB:
                found.tell(_NEITHER.get(row.kind, "not read as openings"), place)
                continue
            if row.why:
                found.tell("openings without a job, read as those of the row above", place)
            draft = _owner(table, row, owners, place, found)
            if draft:
                listed.setdefault(draft.label, []).extend(_read(table, row, draft, reader))
    for draft in drafts:
        if draft.label in listed:
            _give(draft, listed[draft.label], found)


def _owners(drafts: Sequence[Draft]) -> dict[str, list[Draft]]:
    """Find jobs by their id, by a running number without the page before it, or by a name."""
    owners: dict[str, list[Draft]] = {}
    for draft in drafts:
        bare = draft.job_id.removeprefix(f"{draft.page.title}-")
        names = {name_key(name) for name in (draft.job_id, bare, *draft.extras.values()) if name}
        for name in names:
            owners.setdefault(name, []).append(draft)
    exact: dict[str, list[Draft]] = {}
    for draft in drafts:
        exact.setdefault(name_key(draft.job_id), []).append(draft)
    return owners | exact


def _owner(
    table: BookTable, row: Row, owners: Mapping[str, list[Draft]], place: Place, found: Findings
) -> Draft | None:
    names = [text_of(row.cells[c.at]) for c in table.at("job_id") if c.at in row.cells]
    name = names[0] if names else ""
    choices = owners.get(name_key(name), [])
    if len(choices) == 1:
        return choices[0]
    kind = "openings of several jobs alike" if choices else "openings of a job that is not there"
    asks = "to which job do they belong? Write its number, or leave out."
    answer = found.ask(kind, asks, ("rows", f"openings of {name}"), (), place, "", free=True)
    given = owners.get(name_key(answer), [])
    for draft in choices:
        found.wait(draft.label, f"{kind}, {place}: {asks}")
    return given[0] if len(given) == 1 else None


def _read(table: BookTable, row: Row, draft: Draft, reader: CellReader) -> list[dict[str, Any]]:
    part: dict[str, Any] = {}
    texts: list[Any] = []
    for column in (c for c in table.columns if c.candidates and c.at in row.cells):
        wait_for_heading(table.block.page, column, row, draft.label, reader.found)
    for column in (c for c in table.columns if c.means and c.means not in ("job_id", "notes")):
        reading = reader.read(column, row, draft.label)
        if reading is None and column.at in row.cells:
            draft.asked.add(column.means)
        if reading is None or reading.value is None:
            continue
        if column.means in ("size", "openings"):
            texts += list(reading.value)
        else:
            part.setdefault(column.means, reading.value)
    base: dict[str, Any] = {name: part.get(name) for name in _NUMBERS}
    if not texts:
        return [base | {"count": 1 if base["count"] is None else base["count"]}]
    rows = [base | {k: v for k, v in vars(text).items() if v not in (None, "")} for text in texts]
    for each in rows:
        each["count"] = 1 if each["count"] is None else each["count"]
    return rows


def _give(draft: Draft, rows: list[dict[str, Any]], found: Findings) -> None:
    """Take the listed openings; what the job's own row says of them must agree."""
    count = draft.given.get("opening_count")
    total = sum(row["count"] for row in rows)
    own = sum(row["count"] for row in draft.openings) if draft.openings else count
    place = draft.places.get("openings") or draft.places.get("opening_count")
    place = place or found.place(*draft.place)
    if own is not None and own != total:
        line = ("cells", f"{draft.label} | openings | {own:g} and {total:g}")
        asks = f"the job's row says {own:g}, the list holds {total:g}: which?"
        kind = f'"{shown("openings")}" of the row and of the list differ'
        answer = found.ask_each(kind, asks, line, ("the list", "the row", NOT_KNOWN), place,
                                draft.label, free=False)  # fmt: skip
        if answer != "the list":
            return
    for name in SUMMARY:
        draft.given.pop(name, None)
    for name in ("cut_pattern", "reveal_mm", "sides"):
        for row in rows:
            row[name] = draft.usual.get(name) if row[name] is None else row[name]
    draft.openings, draft.listed = rows, True
