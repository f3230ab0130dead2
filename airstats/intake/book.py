"""A firm's own book as the source of records: what was understood, and the jobs that wait."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd

from airstats.base.errors import RecordsError
from airstats.base.number_text import counted, listing
from airstats.intake.pages import Page, letters, text_of
from airstats.intake.questions import by_kind
from airstats.intake.record_tables import as_csv
from airstats.intake.understand import Understood, headline, understand
from airstats.records.csv_reader import csv_table
from airstats.records.faults import Fault
from airstats.records.reading import Records, records_of
from airstats.records.source import Source

_ANSWER = "answer in the words file, as `airstats intake` says"


def read_book(path: str | Path, words: str | Path = "") -> Records:
    """Read a firm's own book; the jobs that wait for an answer are set aside, and told.

    Parameters
    ----------
    path : str or Path
        A workbook, a CSV file, or a folder of them.
    words : str or Path
        The words file of an earlier reading; "" for none.

    Raises
    ------
    RecordsError
        If nothing can be read, or no job can be read without an answer.
    """
    return records_of_book(understand(path, words))


def records_of_book(understood: Understood) -> Records:
    """Return the records that a book comes to; as `read_book`.

    Raises
    ------
    RecordsError
        If no job can be read without an answer.
    """
    if understood.jobs.empty:
        said = [headline(understood), *by_kind(understood.questions)]
        raise RecordsError("\n".join([*said, "Answer them in words.toml: airstats intake."]))
    book = understood.book
    files = csv_files(understood)
    tables = {name: csv_table(name, name, text.encode()) for name, text in files.items()}
    both = f"{book.digest} {understood.words.digest}".encode()
    digest = f"sha256:{hashlib.sha256(both).hexdigest()}"
    records = records_of(Source(book.name, digest, tables, (), _notes(understood)))
    faults, aside = _waiting(understood)
    return Records(
        jobs=records.jobs,
        openings=records.openings,
        set_aside=aside,
        faults=faults,
        source=book.name,
        digest=digest,
        notes=records.notes,
        materials=records.materials,
        stock=records.stock,
    )


def csv_files(understood: Understood) -> dict[str, str]:
    """Return the text of each table of the records, by its name."""
    files = {"jobs": as_csv(understood.jobs)}
    if len(understood.openings):
        files["openings"] = as_csv(understood.openings)
    return files


def _notes(understood: Understood) -> tuple[str, ...]:
    notes = [headline(understood)] if understood.waiting else []
    notes += [f"waiting: {listing(understood.waiting)}."] if understood.waiting else []
    notes += [f"{told}." for told in understood.told if not told.said]
    if kinds := sum(bool(told.said) for told in understood.told):
        said = "read as airstats intake tells and words.toml shows"
        notes.append(f"{counted(kinds, 'kind')} of cells that are no plain values, {said}.")
    notes += [f"a total does not agree: {total}." for total in understood.totals]
    return (*notes, *(f"{gone}." for gone in understood.words.gone()))


def _waiting(understood: Understood) -> tuple[tuple[Fault, ...], pd.DataFrame]:
    """Return the faults and the rows, as they stand, of the jobs that wait."""
    pages = {page.title: page for page in understood.book.pages}
    faults, rows = [], []
    for label, why in understood.waiting.items():
        title, numbers = understood.places[label]
        reason = f"job {label} waits: {' '.join(why)}"
        faults.append(Fault(pages[title].file, numbers[0], None, "", reason, _ANSWER))
        rows += [_row(pages[title], number, reason) for number in numbers]
    if not rows:
        return (), pd.DataFrame({"table": [], "row": [], "reason": []})
    return tuple(faults), pd.DataFrame(rows).fillna("")


def _row(page: Page, number: int, reason: str) -> dict[str, object]:
    row = enumerate(page.rows[number - 1])
    cells = {f"column {letters(at)}": text_of(cell) for at, cell in row}
    return {"table": "jobs", "row": number, "reason": f"{page.file}: {reason}"} | cells
