"""A copy of a firm's workbook keeps all of it, and shows every cell that wants a look."""

import io
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import Font

from airstats.base.errors import RecordsError
from airstats.documents.marked_workbook import COLOUR, FRONT, Mark, marked_copy

KINDS = pd.DataFrame({"what": ["=1+1"], "how often": [2], "where": ["B3, B4"], "to do": ["ask"]})
UGLY = Path(__file__).parents[1] / "records" / "ugly"


@pytest.fixture
def source(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "our jobs"
    for row in [["No", "m²"], ["A1", "80 m²"], ["A2", "=40+41"], ["A3", date(2026, 2, 3)]]:
        sheet.append(row)
    sheet["A2"].font = Font("Georgia", bold=True, color="FF0000")
    sheet["B4"].number_format = "dd.mm.yyyy"
    sheet["B2"].comment = Comment("ask Ada", "a person")
    sheet.merge_cells("C2:D3")
    sheet["C2"] = "2 rolls"
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions.group("B", "D", hidden=True)
    book.create_sheet("notes").sheet_state = "hidden"
    path = tmp_path / "book.xlsx"
    book.save(path)
    return path


def copied(source, marks):
    return openpyxl.load_workbook(io.BytesIO(marked_copy(source, marks, KINDS, "Faults")))


def test_marked_cells_are_coloured_and_say_why_and_all_else_stays(source):
    before = source.read_bytes()
    why = [Mark("our jobs", 2, 2, "holds a unit"), Mark("our jobs", 2, 2, "too\x07 large")]
    book = copied(source, [*why, Mark("our jobs", 3, 2, "a sum")])
    sheet = book["our jobs"]
    assert sheet["B2"].fill.fgColor.rgb.endswith(COLOUR)
    assert sheet["B2"].comment.text == "holds a unit\ntoo large\n\nask Ada"
    assert [sheet["B2"].value, sheet["B3"].value] == ["80 m²", "=40+41"]
    assert (sheet["A2"].font.name, sheet["A2"].font.b) == ("Georgia", True)
    assert sheet["B4"].value.date() == date(2026, 2, 3)
    assert sheet["B4"].number_format == "dd.mm.yyyy"
    marked = [c.coordinate for row in sheet for c in row if c.fill.fgColor.rgb.endswith(COLOUR)]
    assert marked == ["B2", "B3"]
    assert source.read_bytes() == before


def test_what_is_hidden_or_merged_is_shown_where_it_is_marked(source):
    book = copied(source, [Mark("our jobs", 3, 4, "half a cell"), Mark("notes", 1, 1, "look")])
    sheet = book["our jobs"]
    assert sheet["C2"].comment.text == "half a cell"
    assert not any(column.hidden for column in sheet.column_dimensions.values())
    assert book["notes"].sheet_state == "visible"
    assert sheet.row_dimensions[3].hidden
    assert not copied(source, [Mark("our jobs", 3, 1, "x")])["our jobs"].row_dimensions[3].hidden


def test_the_first_worksheet_tells_the_kinds_and_leads_to_every_cell(source):
    book = copied(source, [Mark("our jobs", 2, 2, "=2+2"), Mark("our jobs", 3, 2, "a sum")])
    assert book.active.title == book.sheetnames[0] == FRONT
    rows = [row for row in book[FRONT].iter_rows(values_only=True) if any(row)]
    assert rows[0][0] == "Faults"
    assert tuple(KINDS) in rows
    assert ("'=1+1", 2, "B3, B4", "ask") in rows
    assert ("our jobs", "B2", "'=2+2", None) in rows
    links = [c.hyperlink.location for row in book[FRONT] for c in row if c.hyperlink]
    assert links == ["'our jobs'!B2", "'our jobs'!B3"]
    assert [sheet.sheet_view.tabSelected for sheet in book].count(True) <= 1


def test_the_same_book_gives_the_same_bytes(source):
    marks = [Mark("our jobs", 2, 2, "why")]
    assert marked_copy(source, marks, KINDS, "a") == marked_copy(source, marks, KINDS, "a")


@pytest.mark.parametrize(
    "name",
    ["bomb", "lying_size", "entities", "outside", "cut_off", "no_zip", "locked", "old_renamed"],
)
def test_a_workbook_that_is_not_read_is_not_copied(name):
    with pytest.raises(RecordsError, match=name):
        marked_copy(UGLY / f"{name}.xlsx", [], KINDS, "a")


def test_a_part_that_only_a_copy_reads_is_looked_at_too(source, tmp_path):
    """Nothing but a reader of looks opens the styles, and a range may span every cell."""
    entity = b'<!DOCTYPE s [<!ENTITY a "b">]><styleSheet/>'
    for part, change, said in (
        ("xl/styles.xml", lambda _: entity, "DOCTYPE"),
        ("xl/worksheets/sheet1.xml", lambda c: c.replace(b"C2:D3", b"A1:XFD1048576"), "1,000,000"),
    ):
        path = tmp_path / "hostile.xlsx"
        with zipfile.ZipFile(source) as old, zipfile.ZipFile(path, "w", 8) as new:
            for name in old.namelist():
                content = old.read(name)
                new.writestr(name, change(content) if name == part else content)
        with pytest.raises(RecordsError, match=said):
            marked_copy(path, [], KINDS, "a")


def test_a_long_reason_takes_the_width_of_two_columns_and_no_more_lines_than_it_needs(source):
    sheet = copied(source, [Mark("our jobs", 2, 2, "w " * 90)])[FRONT]
    assert "C9:D9" in sheet.merged_cells
    assert sheet.row_dimensions[9].height == 2 * 15
    assert sheet["B5"].alignment.horizontal == "center"
