"""Understand a whole book: jobs and openings as the records take them, and what is asked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from airstats.base.errors import RecordsError
from airstats.base.name_matching import name_key
from airstats.base.number_text import shown
from airstats.catalog.cut_patterns import CUTS
from airstats.intake.column_facts import book_facts
from airstats.intake.columns import BookTable, Facts, facts_for, tables_of, year_of
from airstats.intake.doubtful_rows import ask_crews, ask_looks, ask_twice, check_totals
from airstats.intake.jobs import NOT_KNOWN, CellReader, Draft, draft_of
from airstats.intake.openings import attach_openings
from airstats.intake.pages import Book, read_pages, text_of
from airstats.intake.questions import Findings, Question, Told
from airstats.intake.record_checks import ask_of_faults
from airstats.intake.record_tables import jobs_table, openings_table
from airstats.intake.rows import JOB, MORE, NOTE, SECTION, TOTAL, UNCLEAR, Row, rows_of
from airstats.intake.words import Words, no_words, read_words
from airstats.records.consistency import SUMMARY


@dataclass(frozen=True)
class Understood:
    """A book of n jobs that were read and w that wait.

    Attributes
    ----------
    book : Book
        As it stands.
    jobs, openings : DataFrame
        Of the n jobs: the contract's columns, None where a value is not known, then the book's
        other columns as text.
    waiting : dict
        Name of each of the w jobs to why it waits.
    places : dict
        Name of each job, read or waiting, to its page and row numbers as the spreadsheet has them.
    questions : tuple of Question
        What is asked; `told` is what was understood, or left out, by kind.
    rows : int
        Rows of the book that hold jobs.
    totals : tuple of str
        The rows of totals that do not agree with the rows above them.
    words : Words
        All that was understood, for the words file.
    """

    book: Book
    jobs: pd.DataFrame
    openings: pd.DataFrame
    waiting: dict[str, tuple[str, ...]]
    places: dict[str, tuple[str, tuple[int, ...]]]
    questions: tuple[Question, ...]
    told: tuple[Told, ...]
    rows: int
    totals: tuple[str, ...]
    words: Words


def understand(path: str | Path, words: str | Path | Words = "") -> Understood:
    """Read a book that a firm keeps in its own way.

    Parameters
    ----------
    path : str or Path
        A workbook, a CSV file, or a folder of them.
    words : str, Path or Words
        The words file of an earlier reading, or what `read_words` gave; "" for none.

    Raises
    ------
    RecordsError
        If nothing can be read, or the words file holds what it must not.
    """
    if not isinstance(words, Words):
        words = read_words(words) if words else no_words()
    words = Words(words.name, words.digest, dict(words.answers), dict(words.numbers))
    book = read_pages(path)
    found = Findings(words, only_page=len(book.pages) == 1)
    for page in book.pages:
        for note in page.notes:
            found.tell(note)
    tables = tables_of(book.pages, found)
    if not any(table.kind == "jobs" for table in tables):
        raise RecordsError(_no_jobs(book, found))
    sorted_rows = [rows_of(table, found) for table in tables]
    facts = _facts(tables, sorted_rows, found)
    drafts = _drafts(tables, sorted_rows, facts, found)
    attach_openings(tables, sorted_rows, facts, drafts, found)
    ask_twice(drafts, found)
    ask_crews(drafts, found)
    ask_looks(book.pages, tables, sorted_rows, drafts, found)
    kept = [draft for draft in drafts if draft.label not in found.left_out]
    totals = check_totals(tables, sorted_rows, facts, drafts, found)
    _ask_cuts(kept, found)
    _tell_unknown(kept, found)
    ask_of_faults(kept, found)
    for draft in drafts:
        if why := found.left_out.get(draft.label):
            found.tell(f"jobs left out ({why}), as the words file says", found.place(*draft.place))
    return _understood(book, drafts, found, totals)


def _no_jobs(book: Book, found: Findings) -> str:
    told = [str(told) for told in found.as_told()]
    return "\n".join([
        f"{book.name}: no table of jobs is found, with headings such as job number, surface (m²),"
        " rolls estimated, rolls used and date above its columns.", *told,
    ])  # fmt: skip


def _understood(
    book: Book,
    drafts: Sequence[Draft],
    found: Findings,
    totals: Sequence[str],
) -> Understood:
    drafts = [draft for draft in drafts if draft.label not in found.left_out]
    there = {draft.label for draft in drafts}
    waiting = {label: tuple(why) for label, why in found.waiting.items() if label in there}
    read = [draft for draft in drafts if draft.label not in waiting]
    places = {d.label: (d.page.title, tuple(row + 1 for row in d.rows)) for d in drafts}
    questions = tuple(
        replace(question, jobs=tuple(job for job in question.jobs if job in there))
        for question in found.asked.values()
        if not question.jobs or there & set(question.jobs) or question.section == "rows"
    )
    rows = sum(len(draft.rows) for draft in drafts)
    tables = jobs_table(read), openings_table(read)
    return Understood(book, *tables, waiting, places, questions, found.as_told(), rows,
                      tuple(totals), found.words)  # fmt: skip


_TOGETHER = ("finished_on", "openings")
"""Columns whose cells tell a firm's habit, which is one for all worksheets."""

_FEW = 8
"""Counts of rolls: fewer, all of them whole, may by chance be counts to the half."""


def _facts(
    tables: Sequence[BookTable], rows: Sequence[Sequence[Row]], found: Findings
) -> list[dict[int, Facts]]:
    """Work out how each column is read; some from all tables that head them alike together."""
    headings = [c.heading for table in tables for c in table.columns]
    cells = [_cells(pair, c.at) for pair in zip(tables, rows, strict=True) for c in pair[0].columns]
    base = book_facts(headings, cells)
    answers = {key: value for (section, key), value in found.words.answers.items()
               if section == "words" and value in CUTS}  # fmt: skip
    base = replace(base, words=(*base.words, *answers.items()))
    several = len([table for table in tables if table.kind == "jobs"]) > 1
    by_heading: dict[tuple[str, str], list[object]] = {}
    for pair in zip(tables, rows, strict=True):
        for column in pair[0].columns:
            if column.means in (*_TOGETHER, "used_rolls"):
                key = (column.means, column.heading.casefold())
                by_heading.setdefault(key, []).extend(_cells(pair, column.at))
    facts: list[dict[int, Facts]] = []
    done: dict[tuple[str, str], Facts] = {}
    for table, own in zip(tables, rows, strict=True):
        year = year_of(table.block.page, table.block)
        facts.append({})
        for column in (c for c in table.columns if c.means):
            key = (column.means, column.heading.casefold())
            cells_of_it = _cells((table, own), column.at)
            if column.means in _TOGETHER or len(cells_of_it) < _FEW:
                cells_of_it = by_heading.get(key, cells_of_it)
            alone = "" if column.means in _TOGETHER or not several else table.block.page.title
            known = replace(base, year=year) if column.means in _TOGETHER else base
            if key not in done or column.means != "openings":
                done[key] = facts_for(column, cells_of_it, known, alone, found)
            facts[-1][column.at] = done[key]
    return facts


def _cells(pair: tuple[BookTable, Sequence[Row]], at: int) -> list[object]:
    rows = (row for row in pair[1] if row.kind in (JOB, MORE))
    return [row.cells[at] for row in rows if at in row.cells]


def _drafts(
    tables: Sequence[BookTable],
    rows: Sequence[Sequence[Row]],
    facts: Sequence[Mapping[int, Facts]],
    found: Findings,
) -> list[Draft]:
    drafts: list[Draft] = []
    named = _Names(tables, rows)
    for table, own, read_as in zip(tables, rows, facts, strict=True):
        if table.kind != "jobs":
            continue
        reader = CellReader(table, read_as, found)
        for row in own:
            _tell_row(table, row, found)
        further: dict[int, list[Row]] = {}
        for row in own:
            if row.kind == MORE:
                further.setdefault(row.of, []).append(row)
        for first in (row for row in own if row.kind in (JOB, UNCLEAR)):
            lines = [first, *further.get(first.at, [])]
            label = named.label(table, first, found)
            draft = draft_of(table, lines, label, label, reader)
            if first.kind == UNCLEAR and not _is_job(draft, table, first, found):
                continue
            drafts.append(draft)
    return drafts


def _tell_row(table: BookTable, row: Row, found: Findings) -> None:
    said = {
        TOTAL: "totals, not read as jobs",
        NOTE: "notes and rows without figures, not read as jobs",
        SECTION: "headings of parts, not read as jobs",
        MORE: "further lines of the job above",
    }
    if row.kind in said:
        found.tell(said[row.kind], found.place(table.block.page, row.at))


def _is_job(draft: Draft, table: BookTable, row: Row, found: Findings) -> bool:
    """Ask what a row is that has figures and no id, and belongs to no job plainly."""
    place = found.place(table.block.page, row.at)
    line = ("rows", place.text)
    asks = "is it a job of its own, or to be left out (a sum, a remark)?"
    answer = found.ask_each("rows without a name", asks, line, ("a job", "leave out"), place,
                            draft.label, free=False)  # fmt: skip
    return answer != "leave out"


class _Names:
    """Gives every job its own name: its id, or one made from what the row says."""

    def __init__(self, tables: Sequence[BookTable], rows: Sequence[Sequence[Row]]) -> None:
        self.seen: Counter[str] = Counter()
        self.restarts = self._restarts(tables, rows)

    def _restarts(self, tables: Sequence[BookTable], rows: Sequence[Sequence[Row]]) -> bool:
        """Tell whether running numbers begin anew in each table, so that they name no job alone."""
        lists = []
        for table, own in zip(tables, rows, strict=True):
            if table.kind == "jobs" and table.at("job_id"):
                at = table.at("job_id")[0].at
                lists.append([text_of(row.cells[at]) for row in own
                              if row.kind == JOB and at in row.cells])  # fmt: skip
        every = [name for names in lists for name in set(names)]
        small = all(name.isdigit() and len(name) <= 3 for name in every)
        return len(lists) > 1 and small and len(set(every)) < len(every)

    def label(self, table: BookTable, row: Row, found: Findings) -> str:
        """Return the name of the job that begins in a row."""
        page = table.block.page
        at = next((c.at for c in table.at("job_id") if c.at in row.cells), None)
        name = text_of(row.cells[at]) if at is not None else ""
        if name and self.restarts:
            found.tell("running numbers that begin anew, the worksheet's name put before them",
                       found.place(page, row.at, at or 0))  # fmt: skip
            name = f"{page.title}-{name}"
        if not name:
            name = self._made(table, row)
            found.tell(f'jobs without a number, named after what stands there, such as "{name}"',
                       found.place(page, row.at))  # fmt: skip
        self.seen[name_key(name)] += 1
        number = self.seen[name_key(name)]
        return name if number == 1 else f"{name} (row {row.at + 1} of {page.title})"

    def _made(self, table: BookTable, row: Row) -> str:
        texts = [
            text_of(row.cells[c.at])
            for c in table.columns
            if not c.means and c.at in row.cells and any(map(str.isalpha, text_of(row.cells[c.at])))
        ]
        dates = [text_of(row.cells[c.at]) for c in table.at("finished_on") if c.at in row.cells]
        made = " ".join([*texts[:1], *dates[:1]])
        return made[:100] if texts else f"row {row.at + 1} of {table.block.page.title}"


def _ask_cuts(drafts: Sequence[Draft], found: Findings) -> None:
    """Ask for the cut of openings that name none: one answer holds for the whole book."""
    for draft in drafts:
        without = [row for row in draft.openings if row.get("cut_pattern") is None]
        summary = (draft.given.get("opening_count") or 0) > 0
        lacks = summary and draft.given.get("cut_pattern") is None
        if (not without and not lacks) or "cut_pattern" in draft.asked:
            continue
        place = draft.places.get("openings") or draft.places.get("opening_count")
        place = place or found.place(*draft.place)
        line = ("columns", "cut of openings that name none")
        asks = "how are they cut as a rule?"
        choices = (*CUTS, NOT_KNOWN)
        cut = found.ask("openings whose cut stands nowhere", asks, line, choices, place,
                        draft.label)  # fmt: skip
        if cut in CUTS:
            for row in without:
                row["cut_pattern"] = cut
            if lacks:
                draft.given["cut_pattern"] = cut
        elif cut == NOT_KNOWN:
            _forget_openings(draft)


def _tell_unknown(drafts: Sequence[Draft], found: Findings) -> None:
    """Say which jobs have no openings, sizes or depths: they are not known, never none."""
    for draft in drafts:
        place = found.place(*draft.place)
        if any(row.get("width_mm") is None or row.get("height_mm") is None
               for row in draft.openings):  # fmt: skip
            found.tell("openings without their sizes, read as not known", place)
            _forget_openings(draft)
        if not draft.openings and draft.given.get("opening_count") is None:
            found.tell("jobs whose openings stand nowhere, read as not known", place)
        rows = [row.get("reveal_mm") for row in draft.openings]
        if None in rows:
            found.tell("openings without a depth, read as not known", place)
        _as_still_to_do(draft, found)


def _as_still_to_do(draft: Draft, found: Findings) -> None:
    """A job without rolls used and without a date is not finished: its estimate is of no use."""
    used, day = draft.given.get("used_rolls"), draft.given.get("finished_on")
    waits = draft.label in found.waiting
    if used is None and day is None and not waits and "estimated_rolls" in draft.given:
        draft.extras["estimated_rolls (as written)"] = str(draft.given.pop("estimated_rolls"))
        draft.given.pop("counted", None)
        found.tell("jobs without rolls used and without a date, read as still to be done",
                   found.place(*draft.place))  # fmt: skip


def _forget_openings(draft: Draft) -> None:
    draft.openings = []
    for name in SUMMARY:
        draft.given.pop(name, None)


def headline(understood: Understood) -> str:
    """Say in one sentence how many jobs were read without a question, and how many wait."""
    read, waits = len(understood.jobs), len(understood.waiting)
    waiting = f"{waits} wait for an answer" if waits != 1 else "1 waits for an answer"
    return (
        f"{shown(understood.book.name)}: {read} of {read + waits} jobs, from {understood.rows}"
        f" rows, are read without a question; {waiting if waits else 'none waits'}."
    )
