"""What each column of a book's tables means, and how its cells are to be read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from airstats.base.errors import RecordsError
from airstats.base.number_text import listing, shown
from airstats.catalog.units import units_read
from airstats.intake.cell_readers import OWN_COLUMNS
from airstats.intake.column_facts import facts_of
from airstats.intake.headings import meanings_of
from airstats.intake.layout import Block, blocks_of, is_number
from airstats.intake.pages import Page, letters, text_of
from airstats.intake.questions import Findings
from airstats.intake.readings import ColumnFacts, Doubt, Meaning
from airstats.intake.trade_words import is_ditto
from airstats.intake.words import OPEN, key_of
from airstats.records.raw_table import COLUMNS, is_empty

UNREAD = "not read"
TABLES = ("jobs", "openings", UNREAD)
_SEVERAL = ("openings", "notes")
"""Meanings that several columns of one table may have."""
_LISTED = ("openings", "size")
"""Meanings of a column that needs no other beside it."""
_OF_A_JOB = {"surface_m2", "used_rolls", "estimated_rolls", "finished_on"}
_OF_AN_OPENING = {"width_mm", "height_mm", "size", "openings"}
_FACTS = {
    "unit": ("mm", "cm", "m", "in", "ft"),
    "dates": ("day-first", "month-first"),
    "short_dates": ("month-year", "day-month"),
    "decimal": ("point", "comma"),
    "counted": ("opened", "half", "quarter", "exact"),
}
_AREAS = ("m2", "ft2", "yd2")
_WITNESSES = 3
_SAMPLE = 200
"""Cells of a column that tell what kind of table it stands in."""
_YEAR = re.compile(r"(?<!\d)(20\d\d|19[89]\d)(?!\d)")


@dataclass(frozen=True)
class Column:
    """One column of a table: where it stands, what it means ("" for nothing), its heading.

    `number` is that of the opening where there is a column for each of several; `candidates` are
    what it may mean while that is asked.
    """

    at: int
    means: str
    heading: str
    number: int = 0
    unit: str = ""
    currency: str = ""
    candidates: tuple[str, ...] = ()


@dataclass(frozen=True)
class BookTable:
    """A table of the book: `kind` is jobs or openings, or `OPEN` while that is asked."""

    kind: str
    block: Block
    columns: tuple[Column, ...]

    def at(self, means: str) -> list[Column]:
        """Return the columns with a meaning."""
        return [column for column in self.columns if column.means == means]

    def is_(self, *means: str) -> bool:
        """Tell whether any column has one of the meanings."""
        return any(column.means in means for column in self.columns)


@lru_cache(maxsize=20_000)
def _knows(heading: str) -> bool:
    return any(meanings_of([heading], [[]], table)[0] for table in ("jobs", "openings"))


def tables_of(pages: Sequence[Page], found: Findings) -> list[BookTable]:
    """Find the tables of all pages and what their headings mean.

    Parameters
    ----------
    pages : sequence of Page
        The book.
    found : Findings
        Takes what is asked and told.
    """
    known = {key for section, key in found.words.answers if section.startswith("headings")}
    tables = []
    for page in pages:
        blocks = blocks_of(page, lambda text: text in known or _knows(text))
        for place, block in enumerate(blocks):
            tables.append(_table(replace(block, is_further=place > 0), found))
        if not blocks and any(not is_empty(cell) for row in page.rows for cell in row):
            rows = sum(any(not is_empty(cell) for cell in row) for row in page.rows)
            found.words.ask("tables", page.title, UNREAD, "no headings found", (UNREAD,), free=True)
            found.tell(f"{page.file} is not read, no headings are found above its {rows} rows")
    return _without_summaries([table for table in tables if table.kind != UNREAD], found)


def _without_summaries(tables: list[BookTable], found: Findings) -> list[BookTable]:
    """Leave out tables that name no job, where others do: sums by year, crew or month."""
    nameless = [table for table in tables if table.kind == "jobs" and not _names_jobs(table)]
    if len(nameless) == sum(table.kind == "jobs" for table in tables):
        return tables
    for table in nameless:
        title = _title(table.block)
        if found.words.given("tables", title) is None:
            found.words.lines.pop(("tables", key_of(title)), None)
            found.words.ask("tables", title, UNREAD, "its rows name no job", TABLES)
            found.tell(f"{table.block.page.file} is not read, its rows do not name a job")
    return [t for t in tables if t not in nameless or found.words.given("tables", _title(t.block))]


def _names_jobs(table: BookTable) -> bool:
    texts = [
        cell
        for column in table.columns
        if not column.means
        for cell in _below(table.block, column.at)
        if not is_number(cell)
    ]
    return table.is_("job_id") or len({text_of(text) for text in texts}) > 1


def _title(block: Block) -> str:
    """Return what the words call a table: its page, and its row where that has several."""
    return block.page.title + (f" (row {block.head[0] + 1})" if block.is_further else "")


def _table(block: Block, found: Findings) -> BookTable:
    headings = {at: text or f"column {letters(at)}" for at, text in block.headings.items()}
    cells = {at: _below(block, at) for at in headings}
    title = _title(block)
    kind = found.words.given("tables", title) or _kind(block, headings, cells)
    shown_at = listing(text_of(block.page.cell(block.head[-1], at)) for at in list(headings)[:4])
    kind = found.words.ask("tables", title, kind, f"headings {shown_at}", TABLES)
    if kind == UNREAD:
        rows = sum(any(not is_empty(c) for c in block.page.rows[row]) for row in block.rows)
        found.tell(f"{block.page.file} is not read, its {rows} rows are no jobs and no openings")
        return BookTable(UNREAD, block, ())
    return BookTable(kind, block, _columns(kind, block, headings, cells, found))


def _below(block: Block, at: int) -> list[object]:
    return [cell for cell in block.cells(at) if not is_empty(cell)]


def _kind(block: Block, headings: dict[int, str], cells: dict[int, list[object]]) -> str:
    if not any(cells.values()):
        return UNREAD
    said = {}
    for kind in ("jobs", "openings"):
        some = [column[:_SAMPLE] for column in cells.values()]
        meanings = meanings_of(list(headings.values()), some, kind)
        said[kind] = {meaning.column for several in meanings for meaning in several[:1]}
    if len(said["jobs"] & _OF_A_JOB) >= 2 or (
        "surface_m2" in said["jobs"] and "job_id" in said["jobs"]
    ):
        return "jobs"
    if said["openings"] & _OF_AN_OPENING and "job_id" in said["openings"]:
        return "openings"
    return UNREAD


def _columns(
    kind: str,
    block: Block,
    headings: dict[int, str],
    cells: dict[int, list[object]],
    found: Findings,
) -> tuple[Column, ...]:
    plain = [at for at in headings if at not in block.numbers]
    meant = _meant(plain, headings, cells, kind)
    # Columns that stand once for each opening: what one says of them, all of its name say.
    alike: dict[str, list[int]] = {}
    for at in block.numbers:
        alike.setdefault(headings[at].casefold(), []).append(at)
    firsts = [group[0] for group in alike.values()]
    joined = {group[0]: [cell for at in group for cell in cells[at]] for group in alike.values()}
    of_each = _meant(firsts, headings, joined, "openings")
    meant |= {at: of_each[group[0]] for group in alike.values() for at in group}
    if kind == "openings":
        _settle_marks(meant, plain, _by_job(block, meant))
    for group in alike.values():
        rows = [[block.page.cell(row, at) for at in group] for row in block.rows]
        same_row = {group[0]: [[c for c in row if not is_empty(c)] for row in rows]}
        _settle_marks(meant, list(block.numbers), same_row)
        meant |= dict.fromkeys(group, meant[group[0]])
    columns, seen = [], set()
    for at, heading in headings.items():
        number = block.numbers.get(at, 0)
        if not number and heading.casefold() in seen:
            heading += f" (column {letters(at)})"
        seen |= set() if number else {heading.casefold()}
        of = "openings" if number else kind
        columns.append(_column(of, block, at, heading, meant[at], number, found))
    columns = _with_partners(kind, block, columns, found)
    _tell_unread(block, columns, found)
    return _without_doubles(kind, block, columns, found)


def _tell_unread(block: Block, columns: Sequence[Column], found: Findings) -> None:
    for column in columns:
        if not column.means and not column.candidates and _below(block, column.at):
            place = found.place(block.page, block.head[-1], column.at)
            heading = shown(column.heading)
            found.tell(f'column "{heading}", which nothing reads, kept as it stands', place)


def _by_job(block: Block, meant: dict[int, tuple[Meaning, ...]]) -> dict[int, list[list[object]]]:
    """Return the cells of each column in groups, those of one job together."""
    ids = [at for at, means in meant.items() if [m.column for m in means[:1]] == ["job_id"]]
    groups: dict[int, list[list[object]]] = {at: [] for at in meant}
    last = ""
    for row in block.rows:
        name = text_of(block.page.cell(row, ids[0])) if ids else ""
        begins = bool(name) and name != last and not is_ditto(name)
        last = name if begins else last
        for at, parts in groups.items():
            if begins or not parts:
                parts.append([])
            parts[-1] += [] if is_empty(cell := block.page.cell(row, at)) else [cell]
    return groups


def _settle_marks(
    meant: dict[int, tuple[Meaning, ...]],
    places: Sequence[int],
    groups: dict[int, list[list[object]]],
) -> None:
    """Tell marks from counts by their numbers: a mark never stands twice in one job."""
    if any([m.column for m in meant[at]] == ["count"] for at in places):
        return
    for at, parts in groups.items():
        names = {meaning.column for meaning in meant[at]}
        numbers = [[_small(cell) for cell in part] for part in parts]
        if "mark" not in names or not any(numbers) or None in [n for part in numbers for n in part]:
            continue
        if any(len(set(part)) < len(part) for part in numbers):
            meant[at] = (Meaning("count", 0.8, said="numbers that repeat within a job"),)
        elif all(part == [*range(1, len(part) + 1)] for part in numbers):
            meant[at] = (Meaning("mark", 0.8, said="numbers that run from 1 in each job"),)
        else:
            meant[at] = (Meaning("count", 0.5), Meaning("mark", 0.5))


def _small(cell: object) -> int | None:
    """Return a whole number from 1 to 99, None for anything else."""
    text = text_of(cell)
    return int(text) if text.isdecimal() and 1 <= int(text) <= 99 else None


def _shares_a_word(name: str, heading: str) -> bool:
    return any(len(word) > 3 and word in heading.casefold() for word in name.split("_")[-2:])


_PARTNERS = {
    "openings": ({"width_mm", "height_mm"}, {"count", "width_mm", "height_mm"}),
    "jobs": (
        {"opening_count", "opening_width_mm", "opening_height_mm"},
        {"opening_count", "opening_width_mm", "opening_height_mm"},
    ),
}
"""Columns of openings, any of which wants all of the second set beside it."""


def _with_partners(kind: str, block: Block, columns: list[Column], found: Findings) -> list[Column]:
    """Ask of numbers that nothing reads, where openings lack a count, a width or a height."""
    there = {name for c in columns for name in (c.means, *c.candidates)}
    some, wanted = _PARTNERS[kind]
    lacking = sorted(wanted - there)
    if not lacking or not some & there or there & set(_LISTED):
        return columns
    return [_partner(kind, block, column, lacking, found) for column in columns]


def _partner(
    kind: str, block: Block, column: Column, lacking: Sequence[str], found: Findings
) -> Column:
    cells, line = _below(block, column.at), (f"headings.{kind}", column.heading)
    if column.means or column.candidates or not cells or found.words.given(*line) is not None:
        return column
    numbers = [float(text) for text in map(text_of, cells) if text.replace(".", "").isdecimal()]
    small = all(1 <= number <= 99 and number % 1 == 0 for number in numbers)
    fit = tuple(name for name in lacking if small or "count" not in name)
    fit = tuple(sorted(fit, key=lambda name: not _shares_a_word(name, column.heading)))
    if len(numbers) < len(cells) or not fit:
        return column
    kind_of = f'numbers under "{shown(column.heading)}" that are not read, beside openings'
    place = found.place(block.page, block.head[-1], column.at)
    found.words.lines.pop((line[0], key_of(line[1])), None)
    asks = f"are they their {' or '.join(fit)}?"
    found.ask(kind_of, asks, line, (*fit, UNREAD), place)
    return replace(column, candidates=fit)


def _meant(
    places: Sequence[int], headings: dict[int, str], cells: dict[int, list[object]], kind: str
) -> dict[int, tuple[Meaning, ...]]:
    meanings = meanings_of([headings[at] for at in places], [cells[at] for at in places], kind)
    return dict(zip(places, meanings, strict=True))


def _choices(kind: str, meanings: Sequence[Meaning] = ()) -> tuple[str, ...]:
    names = [meaning.column for meaning in meanings]
    return tuple(dict.fromkeys([*names, UNREAD, *COLUMNS[kind], *OWN_COLUMNS]))


def _column(
    kind: str,
    block: Block,
    at: int,
    heading: str,
    meanings: tuple[Meaning, ...],
    number: int,
    found: Findings,
) -> Column:
    section, witness = f"headings.{kind}", _witness(block, at, meanings)
    if not meanings and not _below(block, at):
        return Column(at, "", heading, number)
    if len(meanings) < 2:
        understood = meanings[0].column if meanings else UNREAD
        choices = _choices(kind, meanings)
        before = found.words.lines.get((section, key_of(heading)))
        key = heading
        if before and before.value != understood and found.words.given(section, heading) is None:
            key = f"{heading} ({block.page.title})"
        answer = found.words.ask(section, key, understood, witness, choices)
    else:
        names = tuple(dict.fromkeys(meaning.column for meaning in meanings))
        place = found.place(block.page, block.head[-1], at)
        answer = found.words.given(section, heading) or OPEN
        if answer == OPEN:
            kind_of = f'heading "{shown(heading)}" can mean {" or ".join(names)}'
            asks = "which is it?"
            choices = tuple(dict.fromkeys([*names, UNREAD]))
            found.ask(kind_of, asks, (section, heading), choices, place)
        else:
            answer = found.words.ask(section, heading, OPEN, witness, _choices(kind, meanings))
    means = "" if answer in (UNREAD, OPEN) else answer
    chosen = next((each for each in meanings if each.column == means), None)
    unit, currency = (chosen.unit, chosen.currency) if chosen else ("", "")
    asked = tuple(m.column for m in meanings) if answer == OPEN else ()
    return Column(at, means, heading, number, unit, currency, asked)


def _witness(block: Block, at: int, meanings: tuple[Meaning, ...]) -> str:
    rows = [row for row in block.rows if not is_empty(block.page.cell(row, at))]
    shown_cells = [text_of(block.page.cell(row, at)) for row in rows[:_WITNESSES]]
    cells = ", ".join(f'{letters(at)}{row + 1} "{shown(text)[:24]}"'
                      for row, text in zip(rows, shown_cells, strict=False))  # fmt: skip
    why = f"{meanings[0].said}; " if len(meanings) == 1 and meanings[0].said else ""
    return f"{why}{len(rows)} cells, {cells}" if rows else "empty"


def _without_doubles(
    kind: str,
    block: Block,
    columns: list[Column],
    found: Findings,
) -> tuple[Column, ...]:
    """Ask where two columns of a table mean the same, unless one of them is empty."""
    out = list(columns)
    for means in dict.fromkeys(column.means for column in columns if column.means):
        same = [c for c in columns if c.means == means and not c.number and _below(block, c.at)]
        if means in _SEVERAL or len(same) < 2:
            continue
        given = [c for c in same if found.words.given(f"headings.{kind}", c.heading) == means]
        if len(given) > 1:
            raise RecordsError(_said_twice(kind, means, given, found))
        for column in (c for c in same if c not in given):
            out[out.index(column)] = _one_of_several(kind, block, column, same, given, found)
    return tuple(out)


def _said_twice(kind: str, means: str, given: Sequence[Column], found: Findings) -> str:
    lines = [(f"headings.{kind}", key_of(column.heading)) for column in given]
    places = " and ".join(f'{found.words.where(line)} "{shown(line[1])}"' for line in lines)
    return f"{places}: both say {means}. Only one can be it: correct the other."


def _one_of_several(
    kind: str,
    block: Block,
    column: Column,
    same: Sequence[Column],
    given: Sequence[Column],
    found: Findings,
) -> Column:
    """Ask whether a column is the one that others mean too; where one was named, it is not."""
    line = (f"headings.{kind}", column.heading)
    found.words.lines.pop((line[0], key_of(line[1])), None)
    if given:
        found.words.ask(*line, UNREAD, f"{column.means} stands elsewhere", _choices(kind))
        return replace(column, means="")
    heads = " and ".join(f'"{shown(other.heading)}"' for other in same)
    asks = f'which of them is it? Write "{UNREAD}" for the other.'
    place = found.place(block.page, block.head[-1], column.at)
    found.ask(f"{heads} both mean {column.means}", asks, line, (column.means, UNREAD), place)
    return replace(column, means="", candidates=(column.means,))


@dataclass(frozen=True)
class Facts:
    """How the cells of a column are read: as `chosen`, and as each of `others` while in doubt."""

    chosen: ColumnFacts
    others: tuple[ColumnFacts, ...] = ()
    doubts: tuple[tuple[str, str, tuple[str, str], tuple[str, ...]], ...] = ()


def facts_for(
    column: Column, cells: Sequence[object], base: ColumnFacts, title: str, found: Findings
) -> Facts:
    """Work out how a column is read; what is in doubt is asked with the first cell that differs.

    Parameters
    ----------
    column : Column
        Its meaning is known.
    cells : sequence
        Of the rows of jobs.
    base : ColumnFacts
        What the book tells as a whole.
    title : str
        Of the page, for a book of several; else "".
    found : Findings
        Takes what is asked.
    """
    lead = f"{title}, {column.heading}" if title else column.heading
    known = replace(base, unit=column.unit, currency=column.currency or base.currency)
    answers = {name: found.words.given("columns", f"{lead}: {name}") for name in _FACTS}
    answered: dict[str, Any] = {name: answer for name, answer in answers.items() if answer}
    known = replace(known, **answered)
    facts, doubts = facts_of(column.means, column.heading, cells, known)
    asked = []
    for doubt in doubts:
        key = f"{lead}: {_name_of(doubt)}"
        labels = {_label(doubt, choice): choice for choice in doubt.choices}
        if (given := found.words.given("columns", key)) in labels:
            found.words.ask("columns", key, OPEN, doubt.said, tuple(labels))
            differing = _differing(doubt)
            facts = replace(facts, **{n: getattr(labels[given], n) for n in differing})
        else:
            asked.append((doubt, key, labels))
    _note_facts(column, facts, lead, found)
    if not asked:
        return Facts(facts)
    others = tuple(
        replace(facts, **{name: getattr(choice, name) for name in _differing(doubt)})
        for doubt, _, labels in asked
        for choice in labels.values()
    )
    told = tuple(
        (f'column "{shown(column.heading)}": {doubt.said}', "which is it?", ("columns", key),
         tuple(labels))
        for doubt, key, labels in asked
    )  # fmt: skip
    return Facts(others[0], others, told)


def _differing(doubt: Doubt) -> list[str]:
    return [
        each.name
        for each in fields(ColumnFacts)
        if len({getattr(choice, each.name) for choice in doubt.choices}) > 1
    ]


def _name_of(doubt: Doubt) -> str:
    names = _differing(doubt)
    return names[0] if len(names) == 1 else doubt.kind


def _label(doubt: Doubt, choice: ColumnFacts) -> str:
    values = (getattr(choice, name) for name in _differing(doubt))
    return ", ".join(str(value) if value not in ("", None) else "as it stands" for value in values)


def _note_facts(column: Column, facts: ColumnFacts, lead: str, found: Findings) -> None:
    """Write down what was understood of a column, to be corrected."""
    for name, choices in _facts_told(column).items():
        value = getattr(facts, name)
        if value in choices and (name, value) != ("decimal", "point"):
            found.words.ask("columns", f"{lead}: {name}", value, "", choices)


def _facts_told(column: Column) -> dict[str, tuple[str, ...]]:
    """Return what is worth saying of a column of its meaning, with what it may be."""
    own = units_read(column.means)
    names = ["unit", "decimal"] if own else []
    names += ["dates", "short_dates"] if column.means == "finished_on" else []
    names += ["counted"] if column.means == "used_rolls" else []
    told = {name: _FACTS[name] for name in names}
    return told | ({"unit": _AREAS} if "m2" in own else {})


def year_of(page: Page, block: Block | None = None) -> int | None:
    """Return the one year that a page's title, or what stands above a table, names."""
    above = " ".join(
        text_of(cell) for row in page.rows[: block.head[0] if block else 0] for cell in row
    )
    for text in (page.title, above):
        years = {int(year) for year in _YEAR.findall(text)}
        if len(years) == 1:
            return years.pop()
    return None
