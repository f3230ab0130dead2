"""What a reading of a book asks and tells, gathered by kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from airstats.base.number_text import listing, shown
from airstats.intake.pages import Page, address, text_of
from airstats.intake.words import OPEN, Words, key_of


@dataclass(frozen=True)
class Place:
    """A cell of a page, places from 0, or a row of it where `column` is -1; `text` stands there."""

    page: str
    row: int
    column: int
    text: str
    is_only_page: bool = False

    @property
    def name(self) -> str:
        """The place as a spreadsheet names it: E14, or 2023!E14 in a book of several pages."""
        cell = address(self.row, self.column) if self.column >= 0 else f"row {self.row + 1}"
        return cell if self.is_only_page else f"{self.page}!{cell}"

    def __str__(self) -> str:
        return f'{self.name} "{shown(self.text)}"' if self.text else self.name


@dataclass(frozen=True)
class Question:
    """One line of the words file that wants an answer, and the jobs that wait for it.

    `kind` is shared by questions that are told together; `asks` says what is asked.
    """

    kind: str
    asks: str
    section: str
    key: str
    choices: tuple[str, ...]
    places: tuple[Place, ...]
    jobs: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """Something that was understood, or left out, by kind."""

    kind: str
    places: tuple[Place, ...]
    said: str = ""

    def __str__(self) -> str:
        return _often(self.kind, self.places) + (f": {self.said}" if self.said else "")


def _often(kind: str, places: Sequence[Place]) -> str:
    """Say a kind with how often and where first."""
    if not places:
        return kind
    if len(places) > 1:
        return f"{kind}, {len(places)} times, first {places[0]}"
    return f"{kind}, {places[0]}"


@dataclass
class Findings:
    """Gathers what one reading asks and tells; `words` answers, and takes a line for each.

    `waiting` holds why each job waits, `left_out` why each job is left out, by name.
    """

    words: Words
    told: dict[str, list[Place]] = field(default_factory=dict)
    said: dict[str, str] = field(default_factory=dict)
    asked: dict[tuple[str, str], Question] = field(default_factory=dict)
    waiting: dict[str, list[str]] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)
    only_page: bool = False

    def place(self, page: Page, row: int, column: int = -1, text: str | None = None) -> Place:
        """Return a place with what stands there.

        Parameters
        ----------
        page : Page
            Of the book.
        row, column : int
            From 0; column -1 for a row as a whole.
        text : str, optional
            What to show; by default the cell, or the first filled cells of the row.
        """
        if text is None and column >= 0:
            text = text_of(page.cell(row, column))
        elif text is None:
            texts = [text_of(cell) for cell in page.rows[row]]
            text = ", ".join([each for each in texts if each][:4])
        return Place(page.title, row, column, text, self.only_page)

    def tell(self, kind: str, place: Place | None = None, said: str = "") -> None:
        """Tell of something understood or left out.

        Parameters
        ----------
        kind : str
            Told together.
        place : Place, optional
            A cell of the kind.
        said : str
            How the first was understood.
        """
        self.said.setdefault(kind, said)
        places = self.told.setdefault(kind, [])
        if place is not None and place not in places[-1:]:
            places.append(place)

    def ask(
        self,
        kind: str,
        asks: str,
        line: tuple[str, str],
        choices: Sequence[str] = (),
        place: Place | None = None,
        job: str = "",
        free: bool = False,
    ) -> str:
        """Return the answer that the words give; where they give none, the job waits.

        Parameters
        ----------
        kind, asks : str
            Of the question.
        line : tuple of str
            Section and key of the line in the words file.
        choices : sequence of str
            What may be answered.
        place : Place, optional
            A cell that shows it.
        job : str
            The job concerned; "" for none yet.
        free : bool
            Whether other answers will do too.
        """
        answer = self.words.ask(*line, OPEN, str(place or ""), choices, free)
        if answer == OPEN:
            self._wait(kind, asks, line, choices, place, job)
        return answer

    def ask_each(
        self,
        kind: str,
        asks: str,
        line: tuple[str, str],
        choices: Sequence[str],
        place: Place,
        job: str,
        free: bool = True,
    ) -> str:
        """Ask of one cell or row, where an answer for all of the kind will do as well.

        Parameters
        ----------
        kind, asks, line, choices, place, job, free
            As for `ask`.
        """
        for_all = ("kinds", kind)
        is_another = any(q.kind == kind and other != line for other, q in self.asked.items())
        is_answered = self.words.given(*for_all) is not None
        if self.words.given(*line) is None and choices and (is_another or is_answered):
            answer = self.words.ask(*for_all, OPEN, "for all of this kind", choices)
            if answer != OPEN:
                return answer
        return self.ask(kind, asks, line, choices, place, job, free)

    def wait(self, job: str, why: str) -> None:
        """Let a job wait, and say why."""
        reasons = self.waiting.setdefault(job, [])
        if why not in reasons:
            reasons.append(why)

    def _wait(
        self,
        kind: str,
        asks: str,
        line: tuple[str, str],
        choices: Sequence[str],
        place: Place | None,
        job: str,
    ) -> None:
        before = self.asked.get(line)
        places, jobs = (before.places, before.jobs) if before else ((), ())
        places += (place,) if place else ()
        jobs += (job,) if job and job not in jobs else ()
        self.asked[line] = Question(kind, asks, *line, tuple(choices), places, jobs)
        if job:
            self.wait(job, f"{_often(kind, [place] if place else [])}: {asks}")

    def as_told(self) -> tuple[Told, ...]:
        """Return what was told, by kind."""
        return tuple(
            Told(kind, tuple(places), self.said[kind]) for kind, places in self.told.items()
        )


@dataclass(frozen=True)
class Group:
    """The questions of one kind: what is asked, where, what to write, and which jobs wait."""

    kind: str
    asks: str
    places: tuple[Place, ...]
    write: str
    jobs: tuple[str, ...]

    def __str__(self) -> str:
        waits = f" Waiting: {listing(self.jobs)}." if self.jobs else ""
        return f"{_often(self.kind, self.places)}: {self.asks} Write {self.write}.{waits}"


def groups_of(questions: Sequence[Question]) -> list[Group]:
    """Gather questions by kind, in the order in which they were asked."""
    kinds: dict[str, list[Question]] = {}
    for question in questions:
        kinds.setdefault(question.kind, []).append(question)
    return [
        Group(
            kind,
            group[0].asks if len({q.asks for q in group}) == 1 else f"such as: {group[0].asks}",
            tuple(dict.fromkeys(place for question in group for place in question.places)),
            _what_to_write(kind, group),
            tuple(dict.fromkeys(job for question in group for job in question.jobs)),
        )
        for kind, group in kinds.items()
    ]


def by_kind(questions: Sequence[Question]) -> list[str]:
    """Return one line for each kind of question: how often, where first, what to write where."""
    return [str(group) for group in groups_of(questions)]


def answer_to(question: Question) -> str:
    """Return the line of the words file that answers a question."""
    choices = " or ".join(f'"{shown(choice)}"' for choice in question.choices[:8])
    free = "what is meant, in quotation marks"
    return f'[{question.section}] "{key_of(question.key)}" = {choices or free}'


def _what_to_write(kind: str, group: Sequence[Question]) -> str:
    first = group[0]
    if len(group) == 1:
        return f"in words.toml {answer_to(first)}"
    if first.section in ("cells", "rows") and first.choices:
        choices = " or ".join(f'"{shown(choice)}"' for choice in first.choices)
        for_all = f'[kinds] "{shown(kind)}" = {choices} for all'
        return f"in words.toml {for_all}, or a line each under [{first.section}]"
    return f"in words.toml {answer_to(first)}, and {len(group) - 1} more lines there"
