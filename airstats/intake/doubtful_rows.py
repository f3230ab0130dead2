"""Rows that may be no job, or not the firm's own, and names and sums that do not agree."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher

from airstats.base.name_matching import name_key
from airstats.base.number_text import shown
from airstats.catalog.units import own_unit
from airstats.intake.cell_readers import read_cell
from airstats.intake.columns import BookTable, Facts
from airstats.intake.jobs import Draft
from airstats.intake.layout import is_number
from airstats.intake.pages import Page, text_of
from airstats.intake.questions import Findings, Place
from airstats.intake.rows import JOB, MORE, QUANTITIES, SECTION, TOTAL, Row, total_words
from airstats.intake.words import OPEN
from airstats.records.raw_table import is_empty

KEEP, LEAVE_OUT, EXCLUDE = "keep", "leave out", "exclude"
_SUSPECT = re.compile(
    r"not ours|not our|another firm|other firm|lost|stolen|missing|wrong|mistake|damaged|spoil"
    r"|exclude|ignore|don.?t count|not count|do not use|void|cancel|unsure|doubt|guess|redone|twice"
    r"|fremd|nicht unser|verloren|gestohlen|fehl|falsch|beschädigt|storn|nicht (mit)?zähl|unsicher"
    r"|geschätzt|ausschl|ignorier|doppelt",
    re.I,
)
_SUMS = ("surface_m2", "estimated_rolls", "used_rolls")
_BESIDE_CREW = re.compile(r"\b(team|crew|gang|squad|kolonne|trupp|mannschaft)\b", re.I)


def ask_twice(drafts: Sequence[Draft], found: Findings) -> None:
    """Ask of jobs that are listed twice: under one id, or alike in all their figures."""
    by_id: dict[str, list[Draft]] = {}
    by_figures: dict[tuple, list[Draft]] = {}
    for draft in drafts:
        bare = draft.label.split(" (row ")[0] if " (row " in draft.label else draft.label
        by_id.setdefault(name_key(bare), []).append(draft)
        figures = tuple(draft.given.get(name) for name in sorted(QUANTITIES))
        if sum(value is not None for value in figures) >= 3:
            by_figures.setdefault(figures, []).append(draft)
    groups = [group for group in by_id.values() if len(group) > 1]
    told = {draft.label for group in groups for draft in group}
    alike = [
        [draft for draft in group if _may_be(draft, group[0])] for group in by_figures.values()
    ]
    groups += [group for group in alike
               if len(group) > 1 and not told & {draft.label for draft in group}]  # fmt: skip
    for group in groups:
        _ask_group(group, found)


def _may_be(draft: Draft, other: Draft) -> bool:
    """Tell whether two jobs under two ids may be one: crew and openings do not tell them apart."""
    crews = {name_key(str(each.given["crew"])) for each in (draft, other) if "crew" in each.given}
    known = [each.openings for each in (draft, other) if each.openings]
    return len(crews) < 2 and (len(known) < 2 or known[0] == known[1])


def _ask_group(group: Sequence[Draft], found: Findings) -> None:
    first = found.place(*group[0].place)
    for draft in group[1:]:
        place = found.place(*draft.place)
        line = ("rows", f"{place.text} beside {first.text}")
        asks = f"it looks like {first.name}: is it the same job, or another?"
        choices = ("the same job", "another job")
        kind = "jobs listed twice"
        answer = found.ask_each(kind, asks, line, choices, place, draft.label, free=False)
        if answer == OPEN:
            found.wait(group[0].label, f"{kind}, {place}: {asks}")
        elif answer == choices[0]:
            found.left_out[draft.label] = "listed twice"


def ask_crews(drafts: Sequence[Draft], found: Findings) -> None:
    """Ask whether two spellings are one crew; the rarer spelling's jobs wait."""
    spelled: dict[str, list[Draft]] = {}
    for draft in drafts:
        if crew := draft.given.get("crew"):
            crew = " ".join(str(crew).split())
            draft.given["crew"] = crew
            spelled.setdefault(crew, []).append(draft)
    first: dict[str, str] = {}
    order = sorted(spelled, key=lambda crew: -len(spelled[crew]))
    for crew in order:
        known = first.get(name_key(crew))
        like = known or next((o for o in first.values() if _alike(crew, o)), None)
        if like is None or like == crew:
            first[name_key(crew)] = crew
            continue
        if known:
            for draft in spelled[crew]:
                found.tell("crews' names in other capitals, read as one crew",
                           draft.places.get("crew"), f'"{crew}" read as "{known}"')  # fmt: skip
                draft.given["crew"] = known
            continue
        answer = OPEN
        for draft in spelled[crew]:
            asks = f'is "{shown(crew)}" the same crew as "{shown(like)}"? Write the crew\'s name.'
            answer = found.ask("spellings of crews", asks, ("crews", crew), (like, crew),
                               draft.places.get("crew"), draft.label, free=True)  # fmt: skip
            if answer != OPEN:
                draft.given["crew"] = answer
        if answer in (OPEN, crew):
            first[name_key(crew)] = crew


def _alike(one: str, other: str) -> bool:
    """Tell whether two names may be spellings of one: the same but for a word such as team."""
    bare = [_letters(_BESIDE_CREW.sub(" ", name)) for name in (one, other)]
    if bare[0] == bare[1]:
        return True
    if min(map(len, bare)) < 4:
        return False
    if set(bare[0].split()) & set(bare[1].split()) and any(len(b.split()) == 1 for b in bare):
        return True
    digits = [re.sub(r"\D", "", each) for each in bare]
    return digits[0] == digits[1] and SequenceMatcher(None, bare[0], bare[1]).ratio() >= 0.8


def _letters(name: str) -> str:
    return " ".join(re.sub(r"[^\w]+", " ", name.casefold()).split())


def ask_looks(
    pages: Sequence[Page],
    tables: Sequence[BookTable],
    rows: Sequence[Sequence[Row]],
    drafts: Sequence[Draft],
    found: Findings,
) -> None:
    """Ask of struck-out rows and of remarks, tell of what is hidden or coloured.

    Parameters
    ----------
    pages, tables, rows, drafts
        The book, its tables with their rows, and the jobs read from them.
    found : Findings
        Takes what is asked and told.
    """
    for page in pages:
        _tell_hidden(page, found)
    for table, own in zip(tables, rows, strict=True):
        _tell_coloured(table, own, found)
    for draft in drafts:
        if _is_struck(draft):
            place = found.place(*draft.place)
            asks = "is it to be kept, or left out?"
            answer = found.ask_each("rows struck through", asks, ("rows", place.text),
                                    (LEAVE_OUT, KEEP), place, draft.label, free=False)  # fmt: skip
            if answer == LEAVE_OUT:
                found.left_out[draft.label] = "struck through"
        else:
            _ask_struck_cells(draft, tables, found)
        for text, place in [*_comments(draft, found), *draft.notes]:
            _ask_remark(draft, text, place, found)


def _is_struck(draft: Draft) -> bool:
    page, row = draft.place
    cells = [at for at, cell in enumerate(page.rows[row]) if not is_empty(cell)]
    struck = [at for at in cells if page.look(row, at).struck]
    return bool(struck) and (len(struck) >= 0.5 * len(cells))


def _ask_struck_cells(draft: Draft, tables: Sequence[BookTable], found: Findings) -> None:
    columns = {c.at: c for t in tables if t.block.page is draft.page for c in t.columns if c.means}
    for row in draft.rows:
        for at, column in columns.items():
            if draft.page.look(row, at).struck:
                place = found.place(draft.page, row, at)
                line = ("cells", f"{draft.label} | {column.heading} | {place.text}")
                asks = "does it stand, or what should stand there?"
                if found.words.given(*line) is None:
                    found.ask("cells struck through", asks, line, (place.text,), place,
                              draft.label, True)  # fmt: skip


def _comments(draft: Draft, found: Findings) -> list[tuple[str, Place]]:
    return [
        (comment, found.place(draft.page, row, at))
        for row in draft.rows
        for at in range(len(draft.page.rows[row]))
        if (comment := draft.page.look(row, at).comment)
    ]


def _ask_remark(draft: Draft, text: str, place: Place, found: Findings) -> None:
    if not _SUSPECT.search(text):
        found.tell("remarks beside jobs, not read", place, f'"{shown(" ".join(text.split()))}"')
        return
    said = shown(" ".join(text.split()))
    asks = f'it says "{said}": is the job to be shown but never learnt from, or kept as it is?'
    answer = found.ask_each("remarks that may exclude a job", asks,
                            ("rows", f"{draft.label}: {said}"), (EXCLUDE, KEEP), place, draft.label,
                            free=False)  # fmt: skip
    if answer == EXCLUDE:
        draft.given.setdefault("exclude", said)


def _tell_hidden(page: Page, found: Findings) -> None:
    if page.is_hidden:
        found.tell("hidden worksheets, read as well", found.place(page, 0, -1, page.title))
    for row in sorted(page.hidden_rows):
        if row < len(page.rows) and any(not is_empty(cell) for cell in page.rows[row]):
            found.tell("hidden rows, read as well", found.place(page, row))
    for at in sorted(page.hidden_columns):
        if any(at < len(row) and not is_empty(row[at]) for row in page.rows):
            found.tell("hidden columns, read as well", found.place(page, 0, at))


def _tell_coloured(table: BookTable, rows: Sequence[Row], found: Findings) -> None:
    """Tell of colours that a few cells have; bands over half of the table are decoration."""
    page = table.block.page
    cells = [(row.at, c.at) for row in rows if row.kind in (JOB, MORE) for c in table.columns]
    of_colour: dict[str, list[tuple[int, int]]] = {}
    for place in cells:
        if colour := page.look(*place).colour:
            of_colour.setdefault(colour, []).append(place)
    for places in of_colour.values():
        if len(places) < 0.3 * len(cells):
            for place in places:
                found.tell("coloured cells, the colour is not read", found.place(page, *place))


def check_totals(
    tables: Sequence[BookTable],
    rows: Sequence[Sequence[Row]],
    facts: Sequence[Mapping[int, Facts]],
    drafts: Sequence[Draft],
    found: Findings,
) -> list[str]:
    """Compare the book's own totals with the jobs above them; say which do not agree.

    Parameters
    ----------
    tables, rows, facts, drafts, found
        As for `ask_looks` and `attach_openings`; a total may hold the jobs that are left out.
    """
    there = {(id(draft.page), draft.rows[0]): draft for draft in drafts}
    told = []
    for table, own, read_as in zip(tables, rows, facts, strict=True):
        for place, row in enumerate(own):
            if row.kind == TOTAL and table.kind == "jobs":
                told += _disagreeing(table, own[:place], row, read_as, there, found)
    return told


def _disagreeing(
    table: BookTable,
    above: Sequence[Row],
    row: Row,
    facts: Mapping[int, Facts],
    there: Mapping[tuple[int, int], Draft],
    found: Findings,
) -> list[str]:
    """Compare a total with all jobs above it, and with those since the total before it."""
    page, told = table.block.page, []
    last = max((at for at, each in enumerate(above) if each.kind == TOTAL), default=-1)
    starts = [0, last + 1, *(at for at, each in enumerate(above) if each.kind == SECTION)]
    parts = [
        [there[id(page), r.at] for r in above[start:] if (id(page), r.at) in there]
        for start in starts
    ]
    for column in (c for c in table.columns if c.means in _SUMS and c.at in row.cells):
        total = _figure(row.cells[column.at], facts[column.at])
        sums = [each for part in parts for each in _sums(part, column.means, found)]
        # As near as the figure is written.
        if total is None or any(abs(total - each) <= _within(total) for each in sums) or not sums:
            continue
        place = found.place(page, row.at, column.at)
        nearest = min(sums, key=lambda each: abs(total - each))
        told.append(
            f'{place.name}, "{shown(total_words(row, place))}" under "{shown(column.heading)}":'
            f" {text_of(row.cells[column.at])} stands there, the rows above come to {nearest:.10g}"
        )
    return told


def _figure(cell: object, facts: Facts) -> float | None:
    """Return a sum as its column is read; one too large for a job is no less a sum."""
    if is_number(cell) and facts.chosen.unit in ("", own_unit(facts.chosen.column)):
        return float(cell)
    readings = read_cell(cell, facts.chosen)
    is_clear = len(readings) == 1 and is_number(readings[0].value)
    return float(readings[0].value) if is_clear else None


def _within(total: float) -> float:
    return 0.51 if total.is_integer() else 0.051


def _sums(jobs: Sequence[Draft], means: str, found: Findings) -> list[float]:
    """Return sum and mean of a column, with and without what is left out; none if any waits."""
    sums = []
    for part in (jobs, [job for job in jobs if job.label not in found.left_out]):
        numbers = [job.given.get(means) for job in part]
        known = [float(number) for number in numbers if number is not None]
        if known and len(known) == len(numbers):
            sums += [sum(known), sum(known) / len(known)]
    return sums
