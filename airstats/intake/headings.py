"""Which column of the records a heading means, and the cells that show it."""

from __future__ import annotations

from collections.abc import Sequence

from airstats.intake.readings import Meaning
from airstats.records.raw_table import COLUMNS


def meanings_of(
    headings: Sequence[str], columns: Sequence[Sequence[object]], table: str = "jobs"
) -> tuple[tuple[Meaning, ...], ...]:
    """Find for each heading what it means beside the others.

    Parameters
    ----------
    headings : sequence of str
        Of one table, those of two rows joined by a space.
    columns : sequence of sequences
        The cells below each heading.
    table : str
        "jobs" or "openings".

    Returns
    -------
    tuple of tuple of Meaning
        One a heading. Empty: nothing of the records, the column is carried along. One: clear.
        Several: asked, the likeliest first.
    """
    known = COLUMNS[table]
    return tuple(
        (Meaning(heading.strip(), 1.0),) if heading.strip() in known else () for heading in headings
    )
