import hashlib

import openpyxl
import pandas as pd
import pytest

from airstats.base.errors import RecordsError
from airstats.records.source import read_source

JOBS = "job_id,surface_m2\n1,80\n"

RENAME = "rename what is meant as jobs, openings, materials or stock"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "jobs.csv").write_text(JOBS)
    return tmp_path


def workbook(path, *titles):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title in titles:
        sheet = book.create_sheet(title)
        sheet.append(["job_id", "surface_m2"])
        sheet.append([1, 80])
    book.save(path)
    return path


def refusal(path):
    with pytest.raises(RecordsError) as caught:
        read_source(path)
    return str(caught.value)


def test_a_folder_s_tables_and_the_digest_of_its_files(folder):
    source = read_source(folder)
    assert list(source.tables) == ["jobs"]
    assert source.name == folder.name
    assert source.digest == "sha256:" + hashlib.sha256(JOBS.encode()).hexdigest()
    (folder / "Openings.CSV").write_text("job_id\n")
    (folder / "notes.txt").write_text("not part of it")
    both = ("job_id\n" + JOBS).encode()
    assert read_source(folder).digest == "sha256:" + hashlib.sha256(both).hexdigest()


def test_what_is_no_source_says_what_is_expected(tmp_path):
    message = refusal(tmp_path / "nowhere")
    assert "There is no file or folder" in message
    assert "a folder with jobs.csv" in message
    (tmp_path / "orders.xlsx").write_text("")
    assert "holds no table of jobs. It holds orders.xlsx." in refusal(tmp_path)
    path = tmp_path / "jobs.ods"
    path.write_text("")
    assert "Save it as .xlsx" in refusal(path)


def test_a_table_for_its_folder_and_two_kinds_together_are_refused(folder):
    assert f"Give the folder that holds it: {folder}" in refusal(folder / "jobs.csv")
    pd.DataFrame({"job_id": ["1"]}).to_parquet(folder / "openings.parquet")
    assert "which is meant? Keep one kind, CSV or Parquet" in refusal(folder)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 and then rubbish", b"job_id,surface_m2"])
def test_damaged_workbook(tmp_path, data):
    path = tmp_path / "jobs.xlsx"
    path.write_bytes(data)
    assert "cannot be read as a workbook" in refusal(path)


def test_sheets_are_found_by_name_and_asked_for(tmp_path):
    source = read_source(workbook(tmp_path / "a.xlsx", "Jobs ", "OPENINGS", "Prices"))
    assert sorted(source.tables) == ["jobs", "openings"]
    assert source.tables["jobs"].file == "a.xlsx, sheet Jobs"
    assert source.notes == (f"a.xlsx: sheets not read: Prices; {RENAME}.",)
    message = refusal(workbook(tmp_path / "a.xlsx", "Sheet1", "openings"))
    assert "no sheet called jobs. Its sheets are Sheet1, openings." in message
    assert "kept in another way: airstats intake a.xlsx --out FOLDER" in message
    assert "two sheets called jobs" in refusal(workbook(tmp_path / "a.xlsx", "jobs", "jobs "))


def test_openings_that_cannot_be_read_or_are_empty_leave_the_jobs_readable(folder):
    (folder / "openings.csv").write_text("number,width\n1,2\n")
    source = read_source(folder)
    assert list(source.tables) == ["jobs"]
    assert "openings.csv: no column job_id" in str(source.faults[0])
    (folder / "openings.csv").write_text("\n")
    source = read_source(folder)
    assert source.faults == ()
    assert source.notes == ("openings.csv: the table is empty; read as no openings.",)


@pytest.mark.parametrize("path", [5, None, ["data"]])
def test_what_is_no_path(path):
    with pytest.raises(RecordsError, match=r"which is no path\. Expected: a folder with jobs"):
        read_source(path)


def test_files_that_look_like_tables_and_are_not_read_are_named(folder):
    for name in ("openings old.csv", "prices.xlsx", "Jobs old.txt", "plan.pdf", "~$jobs.xlsx"):
        (folder / name).write_text("job_id")
    named = "Jobs old.txt, openings old.csv, prices.xlsx"
    assert read_source(folder).notes == (f"files not read: {named}; {RENAME}.",)


@pytest.mark.parametrize("name", ["openings (1).csv", "my windows.csv", "Openings 2026.csv"])
def test_the_only_table_of_a_like_name_is_read_and_told(folder, name):
    (folder / name).write_text("job_id\n")
    source = read_source(folder)
    assert list(source.tables) == ["jobs", "openings"]
    assert f"{name} is read as openings." in source.notes
    (folder / "windows.csv").write_text("job_id\n")
    assert "which is the table of openings: " in refusal(folder)


def test_a_like_name_without_such_a_table_is_told(folder, tmp_path):
    (folder / "windows.csv").write_text("kind,price\nA,3\n")
    source = read_source(folder)
    assert (list(source.tables), source.faults) == (["jobs"], ())
    assert "windows.csv: not read as openings after all: no column job_id" in source.notes[1]
    book = workbook(tmp_path / "book.xlsx", "Finished jobs", "Windows", "prices")
    assert list(read_source(book).tables) == ["jobs", "openings"]
    book = workbook(tmp_path / "book.xlsx", "Jobs 2025", "Jobs 2026")
    assert "which is the table of jobs: Jobs 2025, Jobs 2026?" in refusal(book)
