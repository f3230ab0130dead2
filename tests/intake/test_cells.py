"""Hundreds of cells as people write them, each with all that it may mean.

In `cells.csv`, "unknown" is a cell that says that nothing is known, "or" stands between readings
that are asked about, no reading is a cell that cannot be read. An opening is n(umber), w(idth),
h(eight), r(eveal) in mm, s(ides), cut and mark.
"""

import csv
from datetime import datetime, time
from pathlib import Path

from airstats.intake.cell_readers import read_cell
from airstats.intake.readings import ColumnFacts
from tests.for_each import for_each

TABLE = Path(__file__).with_name("cells.csv")
with TABLE.open(encoding="utf-8", newline="") as lines:
    ROWS = list(csv.DictReader(lines))
CELLS = {
    "text": lambda text: text.replace("\\n", "\n"),
    "number": float,
    "date": datetime.fromisoformat,
    "time": time.fromisoformat,
}
KINDS_OF_FACT = {
    "roll_m2": float,
    "year": int,
    "years": lambda text: tuple(map(int, text.split("-"))),
    "swapped": lambda text: text == "yes",
    "height_first": lambda text: text == "yes",
}


def facts(column, text):
    told = dict(part.split("=") for part in text.split())
    return ColumnFacts(column, **{k: KINDS_OF_FACT.get(k, str)(v) for k, v in told.items()})


def opening(each):
    parts = {"n": each.count, "w": each.width_mm, "h": each.height_mm, "r": each.reveal_mm}
    parts |= {"s": each.sides}
    numbers = [f"{name}{value:g}" for name, value in parts.items() if value is not None]
    return " ".join([*numbers, *(text for text in (each.cut_pattern, each.mark) if text)])


def written(value):
    if value is None:
        return "unknown"
    if isinstance(value, tuple):
        return " + ".join(map(opening, value)) or "none"
    return f"{value:.10g}" if isinstance(value, float) else value


def reading(each):
    also = (
        f" [{name} {value if isinstance(value, str) else f'{value:g}'}]"
        for name, value in each.also
    )
    return written(each.value) + "".join(also)


@for_each(ROWS, name=lambda row: f"{row['column']}:{row['facts']}:{row['cell']}")
def test_a_cell_has_the_readings_of_the_table(row):
    found = read_cell(CELLS[row["type"]](row["cell"]), facts(row["column"], row["facts"]))
    assert " or ".join(map(reading, found)) == row["readings"]
    assert " or ".join(dict.fromkeys(each.kind for each in found)) == row["kind"]


@for_each(ROWS, name=lambda row: f"{row['column']}:{row['facts']}:{row['cell']}")
def test_what_is_not_plain_says_what_it_was_read_as(row):
    found = read_cell(CELLS[row["type"]](row["cell"]), facts(row["column"], row["facts"]))
    for each in found:
        assert bool(each.said) == (each.kind not in ("", "blank"))
    # One kind for all, or a name for each, which is then what is answered.
    assert len({each.kind for each in found}) in (0, 1, len(found))
    assert len({each.value for each in found}) == len(found)
