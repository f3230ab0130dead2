"""`airstats intake`: what it writes and says, and how answers are taken."""

import shutil

import openpyxl
import pytest

from airstats import read_records
from airstats.__main__ import main
from airstats.documents.marked_workbook import COLOUR
from tests.intake.books import JOBS, plain_rows, read, text_of, truth, workbook

OURS = {"jobs.csv", "openings.csv", "words.toml", "marked.xlsx", "written_by_airstats.txt"}


def with_questions(path):
    """A book with a count of rolls as a range and a word for a cut that nobody knows."""
    rows = plain_rows()
    rows[2][6], rows[4][9] = "5-6", "the old way"
    return workbook(path / "our book.xlsx", Jobs=rows)


def run(capsys, *call):
    status = main([str(each) for each in call])
    return status, *capsys.readouterr()


@pytest.fixture(scope="module")
def asked_once(tmp_path_factory):
    folder = tmp_path_factory.mktemp("asked") / "own"
    folder.mkdir()
    assert main(["intake", str(with_questions(folder)), "--out", str(folder / "ours")]) == 0
    return folder


@pytest.fixture
def asked(asked_once, tmp_path):
    """A book with two questions and the folder where they were asked."""
    shutil.copytree(asked_once, tmp_path, dirs_exist_ok=True)
    return tmp_path / "our book.xlsx", tmp_path / "ours"


def answer(folder, key, value):
    file = folder / "words.toml"
    text = file.read_text(encoding="utf-8")
    old = next(line for line in text.splitlines() if line.startswith(f'"{key}'))
    assert '"?"' in old
    file.write_text(text.replace(old, old.replace('"?"', f'"{value}"')), encoding="utf-8")


def test_a_book_is_read_asked_about_answered_and_used(tmp_path, capsys):
    source, out = with_questions(tmp_path), tmp_path / "ours"
    status, said, _ = run(capsys, "intake", source, "--out", out)
    assert status == 0
    assert said.startswith("our book.xlsx: 4 of 6 jobs, from 6 rows, are read without a question")
    assert {file.name for file in out.iterdir()} == OURS
    waiting = {"J102", "J104"}
    assert read(read_records(out)) == {k: v for k, v in truth().items() if k not in waiting}

    answer(out, "J102 | Rolls used | 5-6", "lower")
    answer(out, "the old way", "diagonal")
    status, said, _ = run(capsys, "intake", source, "--words", out / "words.toml", "--out", out)
    assert status == 0
    assert "6 of 6 jobs" in said.splitlines()[0]
    assert "Questions:" not in said
    assert read(read_records(out)) == truth()


def test_a_cell_that_is_asked_about_is_coloured_and_says_why(asked_once):
    book = openpyxl.load_workbook(asked_once / "ours" / "marked.xlsx")
    coloured = {
        cell.coordinate: cell.comment.text
        for row in book["Jobs"].iter_rows()
        for cell in row
        if cell.fill.fgColor.rgb == f"00{COLOUR}"
    }
    assert set(coloured) == {"G3", "J5"}
    assert "In words.toml" in coloured["G3"]
    assert "the old way" in coloured["J5"]


def test_check_with_words_asks_until_all_is_answered(asked, capsys):
    source, out = asked
    status, said, wrong = run(capsys, "check", source, "--words", out / "words.toml")
    assert (status, said) == (1, "")
    assert "4 of 6 jobs" in wrong
    assert '"lower" or "higher"' in wrong


def test_every_verb_goes_by_the_book_and_tells_the_jobs_that_wait(asked, tmp_path, capsys):
    source, out = asked
    words = ("--words", out / "words.toml")
    result = tmp_path / "result" / "a.json"
    status, said, wrong = run(capsys, "calibrate", source, *words, "--out", result)
    assert (status, wrong) == (0, "")
    assert "waiting: J104, J102" in said or "waiting: J102, J104" in said
    aside = (result.parent / "set_aside.csv").read_text(encoding="utf-8")
    assert "5-6" in aside
    assert "the old way" in aside


def test_a_later_quarter_asks_only_about_what_is_new(asked, capsys):
    source, out = asked
    answer(out, "J102 | Rolls used | 5-6", "5")
    answer(out, "the old way", "diagonal")
    later = plain_rows()
    later[2][6], later[4][9] = "5-6", "the old way"
    later.append(["J107", "New House", *later[6][2:]])
    later[-1][4], later[-1][6] = 233, "6 or 7"
    workbook(source, Jobs=later)
    _, said, _ = run(capsys, "intake", source, "--words", out / "words.toml", "--out", out)
    questions = said.split("Questions:")[1].split("written:")[0]
    assert "J107" in questions
    assert "J102" not in questions
    assert "6 of 7 jobs" in said


def test_an_answer_whose_cell_is_gone_is_said(asked, capsys):
    source, out = asked
    answer(out, "J102 | Rolls used | 5-6", "5")
    workbook(source, Jobs=plain_rows())
    _, said, _ = run(capsys, "intake", source, "--words", out / "words.toml", "--out", out)
    assert 'nothing in the book is "J102 | Rolls used | 5-6" any more' in said
    assert "6 of 6 jobs" in said


def test_answers_that_were_not_read_are_never_written_over(asked, capsys):
    source, out = asked
    answer(out, "the old way", "diagonal")
    before = {file.name: file.read_bytes() for file in out.iterdir()}
    status, said, wrong = run(capsys, "intake", source, "--out", out)
    assert (status, said) == (1, "")
    assert "words.toml" in wrong
    assert {file.name: file.read_bytes() for file in out.iterdir()} == before


def test_a_book_of_text_is_marked_as_a_workbook(tmp_path, capsys):
    rows = plain_rows()
    rows[2][6] = "5-6"
    (tmp_path / "jobs: ours.csv").write_text(text_of(rows), encoding="utf-8")
    status, _, _ = run(capsys, "intake", tmp_path / "jobs: ours.csv", "--out", tmp_path / "ours")
    assert status == 0
    book = openpyxl.load_workbook(tmp_path / "ours" / "marked.xlsx")
    assert book["jobs_ ours"]["G3"].fill.fgColor.rgb == f"00{COLOUR}"


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"])
def test_what_is_no_book_is_refused_and_nothing_is_written(content, tmp_path, capsys):
    (tmp_path / "book.xlsx").write_bytes(content)
    status, said, wrong = run(capsys, "intake", tmp_path / "book.xlsx", "--out", tmp_path / "ours")
    assert (status, said) == (1, "")
    assert "book.xlsx" in wrong
    assert not (tmp_path / "ours").exists()


def test_a_book_without_jobs_is_refused(tmp_path, capsys):
    source = workbook(tmp_path / "book.xlsx", Prices=[["what", "each"], ["tape", 12]])
    status, _, wrong = run(capsys, "intake", source, "--out", tmp_path / "ours")
    assert status == 1
    assert "no table of jobs" in wrong
    assert not (tmp_path / "ours").exists()


def test_the_source_is_spared(tmp_path, capsys):
    folder = tmp_path / "book"
    folder.mkdir()
    (folder / "jobs.csv").write_text(text_of(plain_rows()), encoding="utf-8")
    status, _, wrong = run(capsys, "intake", folder, "--out", folder)
    assert status == 1
    assert "would take the place" in wrong
    shutil.rmtree(folder)


def test_a_folder_of_results_is_told_from_a_book(tmp_path, capsys):
    source, out = workbook(tmp_path / "book.xlsx", Jobs=plain_rows()), tmp_path / "ours"
    assert run(capsys, "intake", source, "--out", out)[0] == 0
    status, _, wrong = run(capsys, "intake", out, "--out", tmp_path / "again")
    assert status == 1
    assert "holds no book, but what airstats wrote there (jobs.csv, " in wrong
    assert f"airstats check {out}" in wrong
    assert not (tmp_path / "again").exists()


def test_the_jobs_of_the_tests_are_all_there():
    assert len(truth()) == len(JOBS)
