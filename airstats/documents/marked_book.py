"""A copy of a firm's own book in which every cell that is asked about is coloured and says why."""

from __future__ import annotations

import re

import pandas as pd

from airstats.documents.marked_workbook import Mark, marked_copy
from airstats.intake.pages import Book, filled, text_of
from airstats.intake.questions import Question, answer_to, groups_of
from airstats.intake.understand import Understood, headline
from airstats.records.raw_table import Unread

_HEADINGS = ("question", "how often", "first at", "answer in words.toml")
_NONE = "Nothing is asked: every job is read."
_NO_TITLE = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
_LONGEST_TITLE = 31


def marked_book(understood: Understood) -> bytes:
    """Return the book as a workbook with its questions first and the cells asked about coloured.

    Raises
    ------
    RecordsError
        If a workbook cannot be copied with its looks.
    """
    titles = _titles(understood.book)
    marks = [
        Mark(titles[place.page], place.row + 1, _column(understood.book, place.page, place.row)
             if place.column < 0 else place.column + 1, _why(question))
        for question in understood.questions
        for place in question.places
    ]  # fmt: skip
    return marked_copy(_source(understood.book, titles), marks, _front(understood),
                       headline(understood))  # fmt: skip


def _why(question: Question) -> str:
    return f"{question.kind}: {question.asks}\nIn words.toml: {answer_to(question)}"


def _front(understood: Understood) -> pd.DataFrame:
    rows = [
        (f"{group.kind}: {group.asks}", len(group.places), str(group.places[0]) if group.places
         else "", group.write)
        for group in groups_of(understood.questions)
    ]  # fmt: skip
    return pd.DataFrame(rows or [(_NONE, 0, "", "")], columns=list(_HEADINGS))


def _titles(book: Book) -> dict[str, str]:
    """Return the title of the worksheet for each page: a file's name may be no title."""
    titles: dict[str, str] = {}
    for page in book.pages:
        plain = page.title
        if book.workbook is None:
            plain = _NO_TITLE.sub("_", plain).strip("'")[:_LONGEST_TITLE] or "book"
        while plain in titles.values():
            plain = f"{plain[:25]} ({len(titles) + 1})"
        titles[page.title] = plain
    return titles


def _source(book: Book, titles: dict[str, str]):  # type: ignore[no-untyped-def]
    if book.workbook:
        return book.workbook
    return {titles[page.title]: [[_plain(cell) for cell in row] for row in page.rows]
            for page in book.pages}  # fmt: skip


def _plain(cell: object) -> object:
    return text_of(cell) if isinstance(cell, Unread) else cell


def _column(book: Book, title: str, row: int) -> int:
    page = next(page for page in book.pages if page.title == title)
    cells = filled(page.rows[row]) if row < len(page.rows) else []
    return (cells[0] if cells else 0) + 1
