"""The verb that reads a firm's own book: what it writes and what it says."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from airstats.cli.shared import print_lines

if TYPE_CHECKING:
    from airstats.intake.understand import Understood

WORDS, MARKED = "words.toml", "marked.xlsx"
_OURS = ("jobs.csv", "openings.csv", WORDS, MARKED)


def intake(asked: argparse.Namespace) -> None:
    """Read a book that a firm keeps in its own way, and write it as records."""
    from airstats.intake.book import csv_files
    from airstats.intake.understand import headline, understand
    from airstats.intake.words import read_words

    given = read_words(asked.words) if asked.words else ""
    understood = understand(asked.records, given)
    folder = Path(asked.out)
    files: dict[str, str | bytes] = {}
    if len(understood.jobs):
        files |= {f"{name}.csv": text for name, text in csv_files(understood).items()}
    files[WORDS] = understood.words.to_text(understood.book.name)
    files[MARKED] = _marked(understood)
    notes = _write(folder, files, asked.words, understood.words.digest)
    print(headline(understood))
    _print_findings(understood)
    print_lines(tuple(notes))
    for name in files:
        print(f"written: {folder / name}")
    print(_next(asked, understood))


def _print_findings(understood: Understood) -> None:
    from airstats.intake.questions import by_kind

    told = [str(told) for told in understood.told]
    parts = {
        "Understood, and to be corrected in words.toml where it is wrong:": told,
        "Questions:": by_kind(understood.questions),
        "Totals in the book that do not agree:": list(understood.totals),
        "Answers that concern nothing any more:": list(understood.words.gone()),
    }
    for heading, lines in parts.items():
        if lines:
            print(heading)
        for number, line in enumerate(lines, start=1):
            print(f"  {number}. {line}")


def _write(folder: Path, files: dict[str, str | bytes], words: str, digest: str) -> list[str]:
    """Write all files; a words file that was read just now may be replaced, for it goes on."""
    from airstats.base.atomic_files import sha256, write_whole
    from airstats.base.result_folder import MAKING, WAIT_S, made_together

    own = folder / WORDS
    is_read = bool(words) and own.is_file() and own.samefile(words)
    carried = [WORDS] if is_read and sha256(own.read_bytes()) == digest else []
    with made_together(folder, ours=_OURS, wait_s=WAIT_S, carried=carried) as notes:
        for name, content in files.items():
            write_whole(folder / MAKING / name, content)
    return notes


def _marked(understood: Understood) -> bytes:
    from airstats.documents.marked_book import marked_book

    return marked_book(understood)


def _next(asked: argparse.Namespace, understood: Understood) -> str:
    """Say which command comes next: to answer, or to use the book."""
    words = Path(asked.out) / WORDS
    source = _quoted(asked.records)
    again = f"airstats intake {source} --words {_quoted(words)} --out {_quoted(asked.out)}"
    use = f"airstats check {source} --words {_quoted(words)}"
    if understood.questions:
        return (
            f'next: open {words}, write the answers in place of "?", save it, then: {again}\n'
            f"or go on without the jobs that wait: {use}"
        )
    return f"next: {use}"


def _quoted(path: str | Path) -> str:
    import shlex

    return shlex.quote(str(path))
