"""`words.toml`: how each heading, unit, word and doubtful cell of a book was understood.

One line each, with the cells that showed it behind "#". A person corrects a line, or writes an
answer in place of "?", and the next run goes by it.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from airstats.base.atomic_files import sha256
from airstats.base.errors import RecordsError
from airstats.base.name_matching import name_key
from airstats.base.number_text import listing, shown
from airstats.records.csv_reader import decoded
from airstats.records.faults import UnreadableTableError
from airstats.records.source import content_of

FORMAT = "airstats-words/1"
OPEN = "?"
"""Stands for an answer that is not given yet."""
SECTIONS = {
    "tables": "What each worksheet or file holds: jobs, openings, or not read.",
    "headings.jobs": "What each heading of the tables of jobs means: a column of the records, or"
    " not read.",
    "headings.openings": "The same for tables of openings.",
    "columns": "How a whole column is to be read: its unit, the order of its dates and the like.",
    "words": "Words of the book, and what they mean in the records.",
    "crews": "Names of crews: one name for all spellings of one crew.",
    "kinds": "Answers for all cells of one kind; a line of its own, below, comes before it.",
    "cells": "Cells that can be read two ways: write what should have stood there."
    ' "" leaves it open: unknown.',
    "rows": "Rows that may be no job, or not one of yours.",
}
LARGEST = 10_000_000
"""Bytes of words.toml: some 100,000 lines."""
_KEPT_IF_GONE = ("tables", "headings.jobs", "headings.openings", "columns", "words", "crews")
_HEAD = """# How airstats reads {book}. One line each; behind "#" stands what showed it.
# Correct a line, or write an answer in place of "?", save the file, and run the command again.
# Keep the straight quotation marks. Lines with "?" are questions: only the jobs that they
# concern wait.
"""


@dataclass(frozen=True)
class Line:
    """One thing understood, or asked where `value` is `OPEN`."""

    section: str
    key: str
    value: str
    witness: str = ""
    choices: tuple[str, ...] = ()


@dataclass
class Words:
    """The answers of a words file, and the lines of the next one.

    `answers` go by section and key; `lines` holds what this reading asked for, in order.
    """

    name: str = ""
    digest: str = ""
    answers: dict[tuple[str, str], str] = field(default_factory=dict)
    numbers: dict[tuple[str, str], int] = field(default_factory=dict)
    lines: dict[tuple[str, str], Line] = field(default_factory=dict)

    def ask(
        self,
        section: str,
        key: str,
        understood: str = OPEN,
        witness: str = "",
        choices: Sequence[str] = (),
        free: bool = False,
    ) -> str:
        """Return the answer of the file, else what was understood; it becomes a line.

        Parameters
        ----------
        section, key : str
            The line's place; the key is shortened and freed of signs that nobody sees.
        understood : str
            What the reading took it for, `OPEN` where it has to be asked.
        witness : str
            The cells that show it; those of the first call stand in the file.
        choices : sequence of str
            What may be answered.
        free : bool
            Whether other answers will do too.

        Raises
        ------
        RecordsError
            If the file gives an answer that is none of the choices.
        """
        place = (section, key_of(key))
        given = self.answers.get(place)
        value = understood if given is None or given.strip() == OPEN else given
        if choices and not free and value != OPEN:
            value = self._one_of(place, value, choices)
        before = self.lines.get(place)
        witness = before.witness if before else witness
        self.lines[place] = Line(*place, value, witness, tuple(choices))
        return value

    def given(self, section: str, key: str) -> str | None:
        """Return the answer that the file gives, None where it gives none."""
        answer = self.answers.get((section, key_of(key)))
        return None if answer is None or answer.strip() == OPEN else answer

    def _one_of(self, place: tuple[str, str], value: str, choices: Sequence[str]) -> str:
        same = {name_key(choice): choice for choice in choices}
        if name_key(value) in same:
            return same[name_key(value)]
        near = get_close_matches(value, choices, 1)
        meant = f' (is "{near[0]}" meant?)' if near else ""
        raise RecordsError(
            f'{self.where(place)}: "{shown(value)}" is no answer for "{shown(place[1])}"{meant}.'
            f" Write one of {listing(choices)}, or {OPEN}."
        )

    def where(self, place: tuple[str, str]) -> str:
        """Name the line of the file that gives an answer."""
        return f"{self.name}, line {self.numbers.get(place, 0)}, [{place[0]}]"

    def gone(self) -> tuple[str, ...]:
        """Say which answers concern nothing that the book still holds."""
        told = []
        given = {place for place, answer in self.answers.items() if answer.strip() != OPEN}
        for place in given - self.lines.keys():
            section, key = place
            known = [line.key for line in self.lines.values() if line.section == section]
            near = get_close_matches(key, known, 1, 0.8)
            meant = f'; is "{shown(near[0])}" meant?' if near else ""
            kept = "kept for later books" if section in _KEPT_IF_GONE else "left out from now on"
            gone = f'nothing in the book is "{shown(key)}" any more'
            told.append((self.numbers.get(place, 0), f"{self.where(place)}: {gone}, {kept}{meant}"))
        return tuple(text for _, text in sorted(told))

    def to_text(self, book: str) -> str:
        """Return the words file: what this reading understood, then what is kept for others."""
        parts = [_HEAD.format(book=shown(book)) + f"format = {_quoted(FORMAT)}\n"]
        for section, told in SECTIONS.items():
            lines = [line for line in self.lines.values() if line.section == section]
            lines += [
                Line(*place, value, "not in this book")
                for place, value in self.answers.items()
                if place[0] == section
                and place not in self.lines
                and section in _KEPT_IF_GONE
                and value.strip() != OPEN
            ]
            if lines:
                parts.append(f"\n# {told}\n[{section}]\n" + "".join(map(_written, lines)))
        return "".join(parts)


def key_of(text: str) -> str:
    """Return a text as a key: on one line, not too long, without signs that nobody sees."""
    plain = " ".join(text.split())
    return shown(plain) if len(plain) <= 60 else f"{shown(plain[:60])}… ({len(plain)} signs)"


def _written(line: Line) -> str:
    asked = f"answer {' or '.join(map(_quoted, line.choices))}: " if line.value == OPEN else ""
    asked = asked if line.choices else asked and "write the answer: "
    told = shown_long(asked + line.witness)
    return f"{_quoted(line.key)} = {_quoted(line.value)}" + (f"  # {told}\n" if told else "\n")


def shown_long(text: str) -> str:
    """Return a text for a comment: signs that nobody sees as their codes, at most 300 long."""
    return "".join(shown(text[at : at + 50]) for at in range(0, min(len(text), 300), 50))


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def no_words() -> Words:
    """Return words that answer nothing."""
    return Words()


def read_words(path: str | Path) -> Words:
    """Read a words file.

    Raises
    ------
    RecordsError
        If there is none, it is damaged, or it holds what a words file does not; the message names
        the line and what to do.
    """
    path = Path(path)
    if not path.is_file():
        raise RecordsError(
            f'There is no file "{path}". `airstats intake` writes a words.toml; give its path.'
        )
    if path.stat().st_size > LARGEST:
        raise RecordsError(f"{path} has more than {LARGEST / 1e6:.0f} MB, so it is no words file.")
    data = content_of(path)
    try:
        text = decoded(path.name, data)[0]
        content = tomllib.loads(text)
    except UnreadableTableError as error:
        raise RecordsError(str(error.args[0])) from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise RecordsError(
            f"{path.name} cannot be read: {shown(str(error))}. Each line is "
            '"what stands in the book" = "what it means", both between straight quotation marks.'
        ) from error
    if content.pop("format", None) != FORMAT:
        raise RecordsError(f'{path.name} is no words file: format = "{FORMAT}" is not in it.')
    words = Words(path.name, sha256(data))
    words.answers.update(_flat(path.name, content))
    words.numbers.update(_line_numbers(text))
    return words


def _flat(name: str, content: dict) -> dict[tuple[str, str], str]:
    found = dict(_entries(content))
    for section, key in found:
        if section not in SECTIONS:
            near = get_close_matches(section, SECTIONS, 1, 0.4)
            meant = f", perhaps [{near[0]}]" if near else ""
            where = f"[{shown(section)}]" if section else f'"{shown(key)}"'
            known = ", ".join(f"[{known}]" for known in SECTIONS)
            raise RecordsError(f"{name}: {where} is not known{meant}. Write lines under {known}.")
    answers = {}
    for place, value in found.items():
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            raise RecordsError(
                f'{name}, [{place[0]}]: what stands behind "{shown(place[1])}" is no text. '
                "Write it between quotation marks."
            )
        answers[place[0], place[1]] = str(value)
    return answers


def _entries(content: dict) -> Iterable[tuple[tuple[str, str], object]]:
    for section, entries in content.items():
        if not isinstance(entries, dict):
            yield ("", section), entries
        elif section == "headings":
            for table, headings in entries.items():
                inner = headings if isinstance(headings, dict) else {"": headings}
                yield from (((f"headings.{table}", key), value) for key, value in inner.items())
        else:
            yield from (((section, key), value) for key, value in entries.items())


def _line_numbers(text: str) -> dict[tuple[str, str], int]:
    """Find each key's line, where it is written as it is by us: one a line."""
    section = ""
    found: dict[tuple[str, str], int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("["):
            section = line.split("]")[0].strip("[ ")
        elif "=" in line and not line.startswith("#"):
            try:
                found |= {(section, key): number for key in tomllib.loads(line)}
            except tomllib.TOMLDecodeError:
                continue
    return found
