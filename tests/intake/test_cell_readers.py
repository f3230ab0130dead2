"""Every column of the contract is read, and a cell that is none of it is not."""

from airstats.intake.cell_readers import OWN_COLUMNS, read_cell
from airstats.intake.readings import ColumnFacts, OpeningText
from airstats.records.raw_table import COLUMNS
from tests.for_each import for_each

PLAIN = {
    "finished_on": ("2023-10-14", "2023-10-14"),
    "cut_pattern": ("lined", "lined"),
    "counted": ("half", "half"),
    "openings": ("900x1200", (OpeningText(900.0, 1200.0),)),
    "size": ("900x1200", (OpeningText(900.0, 1200.0),)),
    "roll_size": ("1.5 x 50", 1.5),
    "job_id": ("17 Mill Lane", "17 Mill Lane"),
    "crew": ("North", "North"),
    "sides": ("3", 3.0),
}


@for_each([*PLAIN, "surface_m2", "used_rolls", "roll_price", "count"])
def test_a_plain_cell_is_read_as_it_stands(column):
    cell, value = PLAIN.get(column, ("12", 12.0))
    assert [each.value for each in read_cell(cell, ColumnFacts(column))] == [value]


@for_each(sorted({*COLUMNS["jobs"], *COLUMNS["openings"], *OWN_COLUMNS}))
def test_a_word_is_never_read_as_a_number_nor_a_date(column):
    for each in read_cell("tomatoes", ColumnFacts(column)):
        assert not isinstance(each.value, float)
