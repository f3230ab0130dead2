"""Records in the tool's own columns, or a firm's own book: whichever a source holds."""

from __future__ import annotations

from pathlib import Path

from airstats.base.errors import RecordsError
from airstats.intake.pages import TEXTS
from airstats.records.reading import Records, read_records
from airstats.records.source import read_source


def read_any(
    path: str | Path,
    words: str | Path = "",
    set_aside_bad_rows: bool = False,
    dates: str = "ask",
) -> Records:
    """Read records, or a firm's own book where a words file for it is given.

    Parameters
    ----------
    path : str or Path
        Where the records are; those in the tool's own columns are read as such in any case.
    words : str or Path
        The words file of a book; "" for records in the tool's own columns.
    set_aside_bad_rows, dates
        As for `read_records`.

    Raises
    ------
    RecordsError
        As `read_records` and `read_book`.
    """
    if words and not _has_own_columns(Path(path)):
        # All that knows the words of books is loaded for none but them.
        from airstats.intake.book import read_book

        return read_book(path, words)
    return read_records(path, set_aside_bad_rows, dates)


def _has_own_columns(path: Path) -> bool:
    """Tell whether a source has the contract's tables, headed by job_id."""
    if path.is_file() and path.suffix.lower() in TEXTS:
        return False
    try:
        source = read_source(path)
    except RecordsError:
        return False
    jobs = source.tables.get("jobs")
    return jobs is not None and {"job_id", "surface_m2"} <= jobs.headers.keys()
