"""Files as they come from real desks: each gives its own plain message, and no traceback."""

import io
import time
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from airstats.__main__ import main
from airstats.errors import RecordsError
from airstats.records import read_records
from airstats.sources import LARGEST_FILE

FILES = Path(__file__).with_name("ugly")
SHEET = "sheet jobs, row 3"
DEFINITIONS = "it holds definitions (DOCTYPE) that no spreadsheet program writes"
REFUSED = {
    "unit_in_cell": 'row 3, column surface_m2, value "80 m2": holds more than a number',
    "error_cell": 'row 3, column surface_m2, value "#REF!": is an error of the spreadsheet',
    "decimal_comma": "row 3: the row has more cells than the 5 of the header",
    "not_a_day": 'column finished_on, value "2026-02-30": is not a day of the calendar',
    "two_days": 'column finished_on, value "03/04/2026": may be 3 April or 4 March',
    "cut_off": "row 3: the file ends in the middle of the row, after 3 of 5 cells",
    "twice_headed": 'row 1, column surface_m2: two columns are headed surface_m2: "surface_m2"',
    "stray_quote": "jobs.csv: a quotation mark is opened and never closed",
    "zero_bytes": "jobs.csv: holds zero bytes, so it is no CSV file or damaged",
    "picture": "jobs.csv: holds zero bytes, so it is no CSV file or damaged",
    "undefined_byte": 'row 3, column job_id, value "A\ufffd": holds a character that cannot be',
    "damaged_utf8": 'row 3, column job_id, value "B\ufffd": holds a character that cannot be read',
    "turned_name": 'row 3, column job_id, value "A2<202E>gnp": holds signs that cannot be seen',
    "bell_in_name": 'row 3, column job_id, value "A2<0007>": holds signs that cannot be seen',
    "two_lines_in_name": 'row 3, column job_id, value "A<000A>2": holds signs that cannot be seen',
    "headings_again": 'row 3, column job_id, value "job_id": the row of headings stands here again',
    "line_of_totals": 'row 4, column job_id, value "Total": looks like a line of totals; take the',
    "long_name": f'row 3, column job_id, value "{"A" * 60}…": has 10,000 characters',
    "huge_price": 'row 2, column roll_price, value "1e300": is too much for a price',
    "empty": "jobs.csv: the table is empty",
    "openings_a_folder": "openings.csv is a folder or leads nowhere; a table is needed",
    "material_twice": 'materials.csv, row 3, column material, value "joint tape": this material',
    "cut_off_parquet": "jobs.parquet: cannot be read as Parquet, it may be damaged",
    "error.xlsx": f'{SHEET}, column lap_mm, value "#REF!": is an error of the spreadsheet',
    "formula.xlsx": f'{SHEET}, column lap_mm, value "=60*2": is a formula whose value is not in',
    "merged.xlsx": f"{SHEET}: cells of this row are merged with others",
    "from_1904.xlsx": f'{SHEET}, column finished_on, value "44650": is the number of a day',
    "far_cell.xlsx": "reaches to row 1,048,576, column 16,384; delete what stands far from the",
    "bomb.xlsx": "bomb.xlsx would unpack to 700 MB, and no more than 600 MB are read",
    "lying_size.xlsx": "cannot be read as a workbook (Bad CRC-32 for file 'xl/worksheets/sheet1",
    "entities.xlsx": DEFINITIONS,
    "outside.xlsx": DEFINITIONS,
    "cut_off.xlsx": "It may be damaged or cut off. Open it in the spreadsheet program, save it",
    "no_zip.xlsx": "It may be damaged or cut off. Open it in the spreadsheet program, save it",
    "locked.xlsx": "locked.xlsx is locked with a password. Open it, take the password off",
    "old_renamed.xlsx": "is an old workbook (.xls) whatever its name says. Open it in the",
    "old.xls": "old.xls is not a workbook of the kind .xlsx. Save it as .xlsx.",
}
"""What each file's only message says."""
NOTED = {
    "heading_alike": "columns not read: laps (mm) (write lap_mm if that is meant).",
    "openings_as_text": "openings_as_text: files not read: openings.txt; rename what is meant as",
    "hidden.xlsx": "sheet jobs: hidden rows and columns, read as well: 1.",
}
"""What is read, with a remark."""


def test_every_file_has_its_message():
    assert {path.name for path in FILES.iterdir()} == {*REFUSED, *NOTED}


@pytest.mark.parametrize("name", REFUSED)
def test_the_message_and_nothing_else(name, capsys):
    assert main(["check", str(FILES / name)]) == 1
    told = capsys.readouterr().err.strip().splitlines()
    assert REFUSED[name] in told[-1]
    assert told[:-1] in ([], [f"1 fault in {name}:"], ["1 fault found:"])


@pytest.mark.parametrize("name", NOTED)
def test_the_remark(name, capsys):
    assert main(["check", str(FILES / name)]) == 0
    assert NOTED[name] in capsys.readouterr().out


def test_nothing_of_another_file_is_let_in():
    """The entity points to a file that every Linux machine has."""
    with pytest.raises(RecordsError) as caught:
        read_records(FILES / "outside.xlsx")
    assert Path("/etc/hostname").read_text().strip() not in str(caught.value)


def refused_soon(path):
    """The refusal of a source, which takes hardly any time and memory."""
    tracemalloc.start()
    begun = time.perf_counter()
    try:
        with pytest.raises(RecordsError) as caught:
            read_records(path)
        held = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert time.perf_counter() - begun < 5
    assert held < 40e6
    return str(caught.value)


def test_a_cell_without_end(tmp_path):
    with (tmp_path / "jobs.csv").open("wb") as file:
        file.write(b"job_id,surface_m2\n1,80\n")
        for _ in range(60):
            file.write(b"x" * 1_000_000)
    assert "has a line of more than 1,048,576 characters" in refused_soon(tmp_path)


def test_a_cell_of_many_lines_without_end(tmp_path):
    text = b'job_id,surface_m2,note\n1,80,"' + b"words of a remark\n" * 300_000
    (tmp_path / "jobs.csv").write_bytes(text)
    assert "jobs.csv: a cell holds more than 1,000,000 characters" in refused_soon(tmp_path)


def test_a_file_larger_than_any_records(tmp_path):
    with (tmp_path / "jobs.csv").open("wb") as file:
        file.truncate(LARGEST_FILE + 1)
    assert "has 300 MB, and no more than 300 MB are read" in refused_soon(tmp_path)


def test_a_cell_without_end_in_a_workbook(tmp_path):
    cell = (
        b'<row r="9"><c r="A9" t="inlineStr"><is><t>' + b"x" * 30_000_000 + b"</t></is></c></row>"
    )
    path = tmp_path / "a.xlsx"
    path.write_bytes(
        with_sheet(lambda sheet: sheet.replace(b"</sheetData>", cell + b"</sheetData>"))
    )
    assert "a cell holds more than 1,000,000 characters" in refused_soon(path)


def with_sheet(change):
    """The good workbook of the corpus with another sheet XML."""
    held = io.BytesIO()
    with zipfile.ZipFile(FILES / "hidden.xlsx") as old, zipfile.ZipFile(held, "w", 8) as new:
        for part in old.infolist():
            content = old.read(part)
            is_sheet = part.filename == "xl/worksheets/sheet1.xml"
            new.writestr(part.filename, change(content) if is_sheet else content)
    return held.getvalue()


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_a_folder_where_a_table_should_be(tmp_path, kind):
    (tmp_path / f"jobs.{kind}").mkdir()
    with pytest.raises(RecordsError, match=r"is a folder or leads nowhere|holds no table of jobs"):
        read_records(tmp_path)
