"""Calendar quarters as text like `2026Q3`."""

from __future__ import annotations

import re

from airstats.base.errors import AirstatsError


def quarter_number(quarter: str) -> int:
    """Return the running number of a quarter, so that differences count quarters.

    Raises
    ------
    AirstatsError
        If the text is not a year, the letter Q and 1 to 4.
    """
    found = re.fullmatch(r"([0-9]{4})Q([1-4])", str(quarter))
    if not found:
        raise AirstatsError(f'quarter "{quarter}" is not understood: write it like 2026Q3.')
    return 4 * int(found[1]) + int(found[2]) - 1


def quarters_between(earlier: str, later: str) -> int:
    """Return how many quarters `later` lies after `earlier`."""
    return quarter_number(later) - quarter_number(earlier)
