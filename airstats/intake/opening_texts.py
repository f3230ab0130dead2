"""Openings as one cell gives them, one kind or several, and the size of a roll."""

from __future__ import annotations

import re

from airstats.intake.readings import ColumnFacts, OpeningText, Reading

_PLAIN = re.compile(r"([0-9]{3,4}) ?x ?([0-9]{3,4})")


def read_openings(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read the openings of a cell; the value is a tuple of `OpeningText`, empty for none."""
    found = _PLAIN.fullmatch(str(cell).strip())
    return (Reading((OpeningText(float(found[1]), float(found[2])),)),) if found else ()


def read_roll_size(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read "1.5 x 50 m"; the value is the width in m, the length stands in `Reading.also`."""
    found = re.fullmatch(r"([0-9.]+) ?m? ?x ?([0-9.]+) ?m?", str(cell).strip())
    return (Reading(float(found[1]), also=(("roll_length_m", float(found[2])),)),) if found else ()
