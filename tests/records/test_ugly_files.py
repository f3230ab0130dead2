"""Files as they come from real desks: each gives its own plain message, and no traceback."""

import io
import time
import tracemalloc
import zipfile
from pathlib import Path

import pandas as pd
import pytest

from airstats.__main__ import main
from airstats.base.errors import RecordsError
from airstats.records import csv_reader
from airstats.records.reading import faults_or_records, read_records
from airstats.records.source import LARGEST_FILE

FILES = Path(__file__).with_name("ugly")


TOLD = pd.read_csv(Path(__file__).with_name("ugly_files.csv"))
"""What each file's only message says; or a remark, where it can be read: status 0."""


def test_every_file_has_its_message():
    assert {path.name for path in FILES.iterdir()} == set(TOLD["file"])


@pytest.mark.parametrize(tuple(TOLD), TOLD.to_numpy().tolist())
def test_the_message_and_nothing_else(file, status, message, capsys):
    assert main(["check", str(FILES / file)]) == status
    said, errors = capsys.readouterr()
    *before, told = errors.strip().splitlines() if status else [said]
    assert message in told
    assert before in ([], [f"1 fault in {file}:"])


def test_a_large_file_reads_as_a_small_one(monkeypatch):
    """Cells that are alike are kept once in a large file."""
    folders = [Path("data/demo"), *(path for path in FILES.iterdir() if path.is_dir())]
    small = [told_of(folder) for folder in folders]
    monkeypatch.setattr(csv_reader, "_SMALL", 0)
    assert [told_of(folder) for folder in folders] == small
    assert small[0][0] == ()


def told_of(folder):
    """The faults of some records, and their tables if there are none."""
    try:
        faults, records = faults_or_records(folder)
    except RecordsError as error:
        return (str(error),)
    tables = [records.jobs, records.openings, records.materials] if records else []
    return (faults, *((table.to_csv(), table.dtypes.astype(str).tolist()) for table in tables))


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


def test_cells_and_lines_without_end(tmp_path):
    with (tmp_path / "jobs.csv").open("wb") as file:
        file.write(b"job_id,surface_m2\n1,80\n")
        for _ in range(60):
            file.write(b"x" * 1_000_000)
    assert "has a line of more than 1,048,576 characters" in refused_soon(tmp_path)
    text = b'job_id,surface_m2,note\n1,80,"' + b"words of a remark\n" * 300_000
    (tmp_path / "jobs.csv").write_bytes(text)
    assert "jobs.csv: a cell holds more than 1,000,000 characters" in refused_soon(tmp_path)
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
