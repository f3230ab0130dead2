"""From the rows of a book's tables to jobs and openings in the words of the records."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from airstats.base.name_matching import name_key
from airstats.base.number_text import shown
from airstats.catalog.cut_patterns import CUTS
from airstats.intake.cell_readers import OWN_COLUMNS, read_cell
from airstats.intake.columns import BookTable, Column, Facts
from airstats.intake.layout import is_number
from airstats.intake.pages import Page, text_of
from airstats.intake.questions import Findings, Place
from airstats.intake.readings import OpeningText, Reading
from airstats.intake.rows import MORE, Row
from airstats.intake.words import OPEN, key_of
from airstats.records.raw_table import COLUMNS, Unread, column_name, is_empty

NOT_KNOWN = "not known"
_WORDS: dict[str, Callable[[], tuple[str, ...]]] = {
    "cut_pattern": lambda: (*CUTS, NOT_KNOWN),
    "counted": lambda: ("opened", "half", "quarter", "exact", NOT_KNOWN),
    "sides": lambda: ("3", "4", NOT_KNOWN),
}
_ONE_OPENING = {
    "opening_count": "count",
    "opening_width_mm": "width_mm",
    "opening_height_mm": "height_mm",
    "reveal_mm": "reveal_mm",
    "cut_pattern": "cut_pattern",
}
"""Columns of a row of jobs that say something of its openings, as a row of openings calls it."""
_LISTS = ("openings", "size")
_BY_RANK = {2: ("lower", "higher"), 3: ("lower", "middle", "higher")}
_CHOICES = ("the list", NOT_KNOWN)


@dataclass
class Draft:
    """A job as the book gives it, before it is checked.

    `label` is what questions call it; `given` goes by the contract's columns of jobs; `openings`
    are its rows of openings, `usual` what its own row says of all of them; `places` has the cell of
    each value, `asked` the columns in which a cell waits for an answer.
    """

    label: str
    job_id: str
    page: Page
    rows: tuple[int, ...]
    given: dict[str, Any] = field(default_factory=dict)
    openings: list[dict[str, Any]] = field(default_factory=list)
    listed: bool = False
    usual: dict[str, Any] = field(default_factory=dict)
    extras: dict[str, str] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    notes: list[tuple[str, Place]] = field(default_factory=list)
    asked: set[str] = field(default_factory=set)

    @property
    def place(self) -> tuple[Page, int]:
        """The page and the row that it begins in."""
        return self.page, self.rows[0]


class CellReader:
    """Reads the cells of one table, each as its column is read."""

    def __init__(self, table: BookTable, facts: Mapping[int, Facts], found: Findings) -> None:
        self.table, self.facts, self.found = table, facts, found
        self.known: dict[tuple, tuple[Reading, ...]] = {}

    def read(self, column: Column, row: Row, job: str, at: int | None = None) -> Reading | None:
        """Read a cell; None where it is blank or waits for an answer.

        Parameters
        ----------
        column : Column
            Of the table.
        row : Row
            Of the table.
        job : str
            What questions call the job.
        at : int, optional
            The row's number, where the cell's place is another.
        """
        cell = row.cells.get(column.at)
        if cell is None or is_empty(cell):
            return None
        place = self.found.place(
            self.table.block.page, row.at if at is None else at, column.at, text_of(cell)
        )
        line = ("cells", f"{job} | {column.heading} | {place.text}")
        given = self.found.words.given(*line)
        look = self.table.block.page.look(row.at, column.at)
        if given is None and look.partly:
            asks = "which part stands?"
            self.found.ask("text struck through in part", asks, line, (), place, job, True)
            return None
        if given is None and isinstance(cell, Unread):
            self._ask_unread(cell, line, place, job)
            return None
        if given is None:
            return self._read_plain(column, cell, row, line, place, job)
        self.found.words.ask(*line, OPEN, str(place), free=True)
        return self._read_given(column, given, row, line, place, job)

    def _ask_unread(self, cell: Unread, line: tuple[str, str], place: Place, job: str) -> None:
        asks = f"{cell.remedy}, or say what it is."
        self.found.ask(f"a cell {cell.problem}", asks, line, (), place, job, True)

    def _readings(self, column: Column, cell: object, row: Row) -> tuple[Reading, ...] | None:
        """All ways to read a cell, None where the column as a whole is in doubt and it matters."""
        facts = self.facts[column.at]
        key = (type(cell), cell, column.at, row.year)
        if key not in self.known:
            self.known[key] = self._all_readings(facts, cell, row)
        return self.known[key] if self.known[key] != _DOUBTED else None

    def _all_readings(self, facts: Facts, cell: object, row: Row) -> tuple[Reading, ...]:
        if row.year and facts.chosen.column == "finished_on":
            chosen = replace(facts.chosen, year=row.year)
            facts = replace(facts, chosen=chosen)
        if facts.others:
            ways = [read_cell(cell, other) for other in facts.others]
            if any([(w.value, w.also) for w in way] != [(w.value, w.also) for w in ways[0]]
                   for way in ways):  # fmt: skip
                return _DOUBTED
        is_day = facts.chosen.column == "finished_on"
        if self.table.block.page.from_1904 and is_day and is_number(cell):
            # A bare day number of such a book is no day counted from 1900.
            return ()
        return read_cell(cell, facts.chosen)

    def _read_plain(
        self,
        column: Column,
        cell: object,
        row: Row,
        line: tuple[str, str],
        place: Place,
        job: str,
    ) -> Reading | None:
        readings = self._readings(column, cell, row)
        if readings is None:
            for kind, asks, key, labels in self.facts[column.at].doubts:
                self.found.ask(kind, asks, key, labels, place, job)
            return None
        if column.means in _WORDS and not isinstance(cell, (int, float)):
            return self._word(column, readings, place, job)
        if len(readings) == 1:
            if readings[0].kind:
                kind = f"{shown(column.heading)}, {readings[0].kind}"
                self.found.tell(kind, place, readings[0].said)
            return readings[0]
        if not readings:
            kind = f"{shown(column.heading)}, cannot be read"
            self.found.ask(kind, "what is meant?", line, (), place, job, True)
            return None
        return self._choose(column, readings, line, place, job)

    def _choose(
        self,
        column: Column,
        readings: tuple[Reading, ...],
        line: tuple[str, str],
        place: Place,
        job: str,
    ) -> Reading | None:
        labels = _labels(readings)
        of_kind = " or ".join(dict.fromkeys(each.kind for each in readings if each.kind))
        kind = f"{shown(column.heading)}, can be read in {len(readings)} ways"
        kind += f" ({of_kind})" if of_kind else ""
        said = ", or ".join(each.said or text_of(each.value) for each in readings)
        asks = f"{said}: which?"
        answer = self.found.ask_each(kind, asks, line, labels, place, job)
        return readings[labels.index(answer)] if answer in labels else None

    def _read_given(
        self,
        column: Column,
        given: str,
        row: Row,
        line: tuple[str, str],
        place: Place,
        job: str,
    ) -> Reading | None:
        """Read an answer as if it stood in the cell, or as one of the choices."""
        cell = row.cells.get(column.at)
        if not isinstance(cell, Unread):
            readings = read_cell(cell, self.facts[column.at].chosen)
            labels = _labels(readings)
            if given in labels:
                self.found.words.ask(*line, OPEN, str(place), labels, free=True)
                return readings[labels.index(given)]
        if not given.strip() or given.strip().casefold() == NOT_KNOWN:
            return None
        readings = self._readings(column, given, row) or ()
        if len(readings) == 1:
            return readings[0]
        kind = f"{shown(column.heading)}, an answer that cannot be read"
        self.found.words.answers[line[0], key_of(line[1])] = OPEN
        self.found.ask(kind, f'"{shown(given)}" is not clear, what is meant?', line, (), place, job,
                       True)  # fmt: skip
        return None

    def _word(
        self, column: Column, readings: tuple[Reading, ...], place: Place, job: str
    ) -> Reading | None:
        """Read a word of a fixed list: what it means stands in the words for all its cells."""
        choices = _WORDS[column.means]()
        line = ("words", place.text.casefold())
        if len(readings) == 1 and readings[0].value is None:
            return readings[0]
        if len(readings) == 1:
            meant = text_of(readings[0].value)
            meant = meant.removesuffix(".0")
            if name_key(meant) == name_key(place.text):
                return readings[0]
            answer = self.found.words.ask(*line, meant, str(place), choices)
            if answer == meant:
                return readings[0]
        else:
            kind = f"{shown(column.heading)}, words that are not known"
            asks = f'"{shown(place.text)}": what does it mean?'
            answer = self.found.ask(kind, asks, line, choices, place, job)
        if answer in (OPEN, NOT_KNOWN):
            return Reading(None) if answer == NOT_KNOWN else None
        return Reading(float(answer) if column.means == "sides" else answer)


_DOUBTED: tuple[Reading, ...] = (Reading(None, "doubted"),)


def _labels(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Return what each of several readings is called in an answer; nothing for less than two."""
    if len(readings) < 2:
        return ()
    values = [each.value for each in readings]
    if all(isinstance(value, float) for value in values) and len(set(values)) == len(values) <= 3:
        names = _BY_RANK[len(values)]
        return tuple(names[sorted(values).index(value)] for value in values)
    kinds = [each.kind for each in readings]
    if all(kinds) and len(set(kinds)) == len(kinds):
        return tuple(kinds)
    texts = [text_of(value) if isinstance(value, str) else each.said or text_of(str(value))
             for value, each in zip(values, readings, strict=True)]  # fmt: skip
    if len(set(texts)) == len(texts):
        return tuple(texts)
    return tuple(f"{place}" for place in range(1, len(readings) + 1))


def draft_of(
    table: BookTable, lines: Sequence[Row], label: str, job_id: str, reader: CellReader
) -> Draft:
    """Read a job from its rows, the first and those that go on with it.

    Parameters
    ----------
    table : BookTable
        A table of jobs.
    lines : sequence of Row
        The job's rows.
    label, job_id : str
        What questions call it, and its id in the records.
    reader : CellReader
        Of the table.
    """
    draft = Draft(label, job_id, table.block.page, tuple(line.at for line in lines))
    parts: list[dict[int, dict[str, Any]]] = []
    also: dict[str, Any] = {}
    for line in lines:
        parts.append({})
        _ask_shared(draft, table, line, reader.found)
        for column in table.columns:
            _take(draft, column, line, reader, parts[-1], also)
    for name, value in also.items():
        draft.given.setdefault(name, value)
    if "used_rolls" in draft.given and "counted" not in draft.given:
        facts = [reader.facts[column.at].chosen for column in table.at("used_rolls")]
        counted = [each.counted for each in facts if each.counted]
        draft.given |= {"counted": counted[0]} if counted else {}
    _take_openings(draft, table, parts, reader.found)
    return draft


def _ask_shared(draft: Draft, table: BookTable, line: Row, found: Findings) -> None:
    """Ask for the job's own figure where one merged cell gives it for several jobs."""
    for column in (column for column in table.columns if column.at in line.shared):
        place = found.place(draft.page, line.at, column.at)
        asks = "what is this job's own part? Take the merging off in the book, or leave it out."
        kind, line_of = "one merged cell for several jobs", f"{column.heading} merged"
        of_row = ("rows", f"{draft.label}: {line_of}")
        choices = ("leave out",)
        answer = found.ask_each(kind, asks, of_row, choices, place, draft.label, free=False)
        if answer in choices:
            found.left_out[draft.label] = kind


def _take(
    draft: Draft,
    column: Column,
    line: Row,
    reader: CellReader,
    part: dict[int, dict[str, Any]],
    also: dict[str, Any],
) -> None:
    """Read one cell of a job into its values, or into the openings of its line."""
    cell = line.cells.get(column.at)
    if cell is None or is_empty(cell):
        return
    page, found = draft.page, reader.found
    if line.kind == MORE and column.at in line.merged and column.means not in _ONE_OPENING:
        return
    if column.candidates:
        wait_for_heading(page, column, line, draft.label, found)
        return
    if not column.means or column.means == "notes":
        text = text_of(cell)
        if column.means == "notes":
            draft.notes.append((text, found.place(page, line.at, column.at)))
        name = column.heading
        name = f"{name} (as written)" if _means_something(name, column.at) else name
        before = draft.extras.get(name, "")
        draft.extras[name] = text if before in ("", text) else f"{before}; {text}"
        return
    if column.means == "job_id":
        return
    reading = reader.read(column, line, draft.label)
    if reading is None:
        draft.asked.add(column.means)
    if reading is None or reading.value is None:
        return
    place = found.place(page, line.at, column.at, text_of(cell))
    also.update(reading.also)
    if column.means in OWN_COLUMNS or column.means in _ONE_OPENING or column.number:
        _put(part.setdefault(column.number, {}), column.means, reading.value)
        draft.places.setdefault(column.means, place)
        return
    if column.means not in COLUMNS["jobs"]:
        _put(part.setdefault(column.number, {}), column.means, reading.value)
        return
    held = draft.given.get(column.means)
    if held is not None and held != reading.value and line.kind == MORE:
        line_of = ("cells", f"{draft.label} | {column.heading} | {place.text}")
        asks = f"the first line of the job says {held}, which one holds?"
        found.ask("two lines of a job differ", asks, line_of, (), place, draft.label, True)
        return
    draft.given[column.means] = reading.value
    draft.places[column.means] = place


def _put(part: dict[str, Any], means: str, value: Any) -> None:
    if means in _LISTS:
        part["openings"] = (*part.get("openings", ()), *value)
    elif means == "roll_size":
        part.setdefault("roll_width_m", value)
    else:
        part.setdefault(_ONE_OPENING.get(means, means), value)


def wait_for_heading(page: Page, column: Column, line: Row, job: str, found: Findings) -> None:
    """Let a job wait for what a heading means, where it has a cell in that column.

    Parameters
    ----------
    page : Page
        Of the cell.
    column : Column
        Whose heading is asked about.
    line : Row
        Of the cell.
    job : str
        What questions call the job.
    found : Findings
        Holds the question.
    """
    place = found.place(page, line.at, column.at)
    key = key_of(column.heading)
    asked = [q for q in found.asked.values() if q.section.startswith("headings") and q.key == key]
    for question in asked:
        said = (question.kind, question.asks, (question.section, question.key))
        found.ask(*said, question.choices, place, job)
    if not asked:
        found.wait(job, f'what "{shown(column.heading)}" means is not known')


def _means_something(heading: str, at: int) -> bool:
    return column_name("jobs", heading, at) in COLUMNS["jobs"]


def _take_openings(
    draft: Draft, table: BookTable, parts: list[dict[int, dict[str, Any]]], found: Findings
) -> None:
    """Put the openings that stand in a job's own rows together."""
    for line in parts:
        if "roll_width_m" in line.get(0, {}):
            draft.given.setdefault("roll_width_m", line[0].pop("roll_width_m"))
    usual = draft.usual = parts[0].get(0, {}) if parts else {}
    rows: list[dict[str, Any]] = []
    for line in parts:
        for number, part in sorted(line.items()):
            base = {name: usual.get(name) for name in ("reveal_mm", "cut_pattern", "sides")}
            base |= {name: part[name] for name in base if name in part}
            if "openings" in part:
                draft.listed = True
                rows += [_opening(text, base) for text in part["openings"]]
            elif {"width_mm", "height_mm"} & set(part) and (
                number or line is not parts[0] or _sizes_go_on(parts)
            ):
                rows.append(base | {"count": None} | part)
    if rows:
        # A first line that is itself one of the list counts no others.
        total = None if parts and _sizes_go_on(parts) else usual.get("count")
        _listed(draft, rows, total, found)
    elif draft.listed or usual.get("count") == 0:
        draft.given["opening_count"] = 0.0
        draft.listed = True
    else:
        _summed_up(draft, usual, table, found)


def _sizes_go_on(parts: list[dict[int, dict[str, Any]]]) -> bool:
    """Tell whether further lines of a job give sizes too, so that its first is one of a list."""
    return any("width_mm" in part.get(0, {}) for part in parts[1:])


def _opening(text: OpeningText, base: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "mark": text.mark,
        "count": text.count,
        "width_mm": text.width_mm,
        "height_mm": text.height_mm,
        "reveal_mm": base.get("reveal_mm") if text.reveal_mm is None else text.reveal_mm,
        "sides": base.get("sides") if text.sides is None else text.sides,
        "cut_pattern": base.get("cut_pattern") if text.cut_pattern is None else text.cut_pattern,
    }


def _listed(draft: Draft, rows: list[dict[str, Any]], count: float | None, found: Findings) -> None:
    """Take a list of openings, with the count of all beside it as a check."""
    place = draft.places.get("opening_count") or draft.places.get("openings")
    place = place or found.place(*draft.place)
    if count is not None and len(rows) == 1 and rows[0]["count"] is None:
        rows[0]["count"] = count
    for row in rows:
        row["count"] = 1 if row["count"] is None else row["count"]
    total = sum(row["count"] for row in rows)
    if count is not None and total != count and len(rows) > 1:
        line = ("cells", f"{draft.label} | openings | {count:g} and {total:g}")
        asks, choices = f"the count says {count:g}, the list holds {total:g}: which?", _CHOICES
        answer = found.ask_each("count and list of openings differ", asks, line,
                                choices, place, draft.label, free=False)  # fmt: skip
        rows = rows if answer == "the list" else []
    draft.listed = bool(rows)
    draft.openings = [row for row in rows if row["count"]]
    if rows and not draft.openings:
        draft.given["opening_count"] = 0.0
    draft.places.setdefault("openings", place)


def _summed_up(draft: Draft, usual: Mapping[str, Any], table: BookTable, found: Findings) -> None:
    """Take openings in summary: a count with one typical size."""
    if usual.get("count") is not None and {"width_mm", "height_mm"} <= usual.keys():
        for column, name in _ONE_OPENING.items():
            if usual.get(name) is not None:
                draft.given[column] = usual[name]
        return
    place = next((draft.places[c] for c in _ONE_OPENING if c in draft.places), None)
    if usual.get("count") is not None:
        found.tell("openings counted without their sizes, read as not known", place)
    elif {"width_mm", "height_mm"} <= usual.keys():
        line = ("cells", f"{draft.label} | openings | one size")
        asks = "how many openings of this size are there? Write the number."
        shown_at = place or found.place(*draft.place)
        answer = found.ask("a size of openings without a count", asks, line, (), shown_at,
                           draft.label, True)  # fmt: skip
        if answer.strip().isdigit():
            draft.openings = [dict(usual) | {"count": int(answer)}]
            draft.listed = True
