"""`check --out`: every fault in a list, and of a workbook a copy with the cells marked."""

import openpyxl
import pandas as pd
import pytest

from airstats.__main__ import main
from airstats.documents.marked_workbook import COLOUR, FRONT
from airstats.records.faults import Fault, by_kind

HEADINGS = ["Job ID", "Surface (m²)", "Finished on", "Estimated rolls", "Used rolls"]


def book_of(tmp_path, surfaces):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Jobs"
    sheet.append(["Our jobs"])
    sheet.append(HEADINGS)
    for number, surface in enumerate(surfaces):
        sheet.append([f"A{number}", surface, "2026-02-03", 3, 4])
    book.save(tmp_path / "book.xlsx")
    return tmp_path / "book.xlsx"


@pytest.mark.parametrize("bad", [5, 1])
def test_every_fault_stands_in_the_list_and_its_cell_is_marked(tmp_path, capsys, bad):
    source = book_of(tmp_path, [80, *(f"{n} m2" for n in range(90, 90 + bad)), "=1+1"])
    before, out = source.read_bytes(), tmp_path / "out"
    assert main(["check", str(source), "--out", str(out)]) == 1
    said = capsys.readouterr().err
    assert said.startswith(f"{bad + 1} faults")
    assert said.count("holds more than a number") == min(bad, 3)
    assert f"written: {out / 'faults.csv'}\nwritten: {out / 'marked.xlsx'}" in said
    listed = pd.read_csv(out / "faults.csv")
    assert listed["row"].tolist() == list(range(4, 5 + bad))
    assert listed["kind"].tolist() == [1] * bad + [2]
    assert listed["what_to_do"][0] == "write the number only, 90"
    book = openpyxl.load_workbook(out / "marked.xlsx")
    cells = [c for row in book["Jobs"] for c in row if c.fill.fgColor.rgb.endswith(COLOUR)]
    assert [cell.coordinate for cell in cells] == [f"B{row}" for row in range(4, 5 + bad)]
    assert cells[0].comment.text == "holds more than a number; write the number only, 90"
    fronts = [row[:2] for row in book[FRONT].iter_rows(values_only=True)]
    assert any(str(what).endswith("holds more than a number") and n == bad for what, n in fronts)
    assert source.read_bytes() == before


def test_without_a_fault_the_list_is_empty_and_an_older_copy_goes(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["check", str(book_of(tmp_path, ["80 m2"])), "--out", str(out)]) == 1
    assert (out / "marked.xlsx").exists()
    assert main(["check", str(book_of(tmp_path, [80])), "--out", str(out)]) == 0
    assert "no fault in 1 jobs" in capsys.readouterr().out
    assert pd.read_csv(out / "faults.csv").empty
    assert not (out / "marked.xlsx").exists()


def test_a_folder_has_a_list_and_no_copy_and_nothing_is_written_unasked(tmp_path, capsys):
    source = tmp_path / "mine"
    source.mkdir()
    (source / "jobs.csv").write_text("job_id,surface_m2\n" + "A1,80 m2\n" * 5)
    assert main(["check", str(source)]) == 1
    assert f"airstats check {source} --out FOLDER" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]
    assert main(["check", str(source), "--out", str(tmp_path / "out")]) == 1
    assert not (tmp_path / "out" / "marked.xlsx").exists()
    assert main(["check", str(source), "--out", str(source)]) == 1
    assert [path.name for path in source.iterdir()] == ["jobs.csv"]


def test_an_allowances_file_has_no_such_list(tmp_path, capsys):
    with pytest.raises(SystemExit) as left:
        main(["check", "a.json", "--out", str(tmp_path / "out")])
    assert left.value.code == 2
    assert "--out lists the faults of records" in capsys.readouterr().err


def test_faults_of_one_kind_differ_in_numbers_days_and_ids_only():
    def fault(problem, column="finished_on"):
        return Fault("jobs.csv", 3, column, "x", problem, "do it")

    faults = [fault("may be 3 April or 4 March"), fault("is no date"), fault("has 10,000 letters")]
    faults += [fault("may be 5 May or 1 June"), fault("is no date", "used_rolls")]
    assert [len(alike) for alike in by_kind(faults)] == [2, 1, 1, 1]
