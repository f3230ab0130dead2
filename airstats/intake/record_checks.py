"""The checks of the records on what was understood: a job with a fault waits, and is asked."""

from __future__ import annotations

from collections.abc import Sequence

from airstats.base.name_matching import name_key
from airstats.intake.jobs import Draft
from airstats.intake.questions import Findings
from airstats.intake.record_tables import as_csv, jobs_table, openings_table
from airstats.records.csv_reader import csv_table
from airstats.records.raw_table import Table
from airstats.records.reading import findings_of
from airstats.records.typed_table import Finding


def tables_of_records(drafts: Sequence[Draft]) -> dict[str, Table]:
    """Return the tables of some jobs as the records read them from their files."""
    texts = {"jobs": as_csv(jobs_table(drafts))}
    openings = openings_table(drafts)
    if len(openings):
        texts["openings"] = as_csv(openings)
    return {name: csv_table(name, f"{name}.csv", text.encode()) for name, text in texts.items()}


def ask_of_faults(drafts: Sequence[Draft], found: Findings) -> None:
    """Let the records check all jobs that do not wait; a job with a fault waits from then on."""
    ready = [draft for draft in drafts if draft.label not in found.waiting]
    if not ready:
        return
    tables = tables_of_records(ready)
    by_id = {name_key(draft.job_id): draft for draft in ready}
    for finding in findings_of(tables):
        draft = _owner(finding, tables, ready, by_id)
        for each in [draft] if draft else ready:
            _ask(finding, each, found)


def _owner(
    finding: Finding, tables: dict[str, Table], ready: Sequence[Draft], by_id: dict[str, Draft]
) -> Draft | None:
    if finding.position < 0:
        return None
    if finding.table == "jobs":
        return ready[finding.position]
    cell = tables[finding.table].cells["job_id"].iloc[finding.position]
    return by_id.get(name_key(str(cell)))


def _ask(finding: Finding, draft: Draft, found: Findings) -> None:
    fault = finding.fault
    column = fault.column or ""
    place = draft.places.get(column) or draft.places.get("openings")
    place = place if place and column else found.place(*draft.place)
    kind = f"{column}: {fault.problem}" if not fault.value else f"{column} that {fault.problem}"
    stands = f'{column} "{fault.value}" {fault.problem}; ' if fault.value else ""
    asks = f"{stands}{fault.remedy}."
    line = ("rows", f"{draft.label}: {column} {fault.value}".strip())
    choices = ("leave out",)
    answer = found.ask_each(kind, asks, line, choices, place, draft.label, free=False)
    if answer == "leave out":
        found.left_out[draft.label] = kind
