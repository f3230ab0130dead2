"""The words file: written, corrected by hand, read again."""

import pytest

from airstats import RecordsError
from airstats.intake.words import OPEN, Words, read_words


def asked():
    words = Words()
    words.ask("headings.jobs", "Sheet m²", "surface_m2", '40 cells, B5 "212.5"', ["surface_m2"])
    words.ask("words", "corner", OPEN, "12 cells", ["diagonal", "lined"])
    words.ask("cells", 'J7 | Used | 4-5 "about"\t', OPEN, "E14", ["4", "5"], free=True)
    return words


def written(tmp_path, old="", new=""):
    file = tmp_path / "words.toml"
    file.write_text(asked().to_text("our book.xlsx").replace(old, new), encoding="utf-8")
    return read_words(file)


def test_what_was_understood_is_written_and_read_again(tmp_path):
    words = written(tmp_path)
    assert words.given("headings.jobs", "Sheet m²") == "surface_m2"
    assert words.given("words", "corner") is None
    assert list(words.answers) == list(asked().lines)


def test_an_answer_in_place_of_a_question_mark_is_taken(tmp_path):
    words = written(tmp_path, '"corner" = "?"', '"corner" = "Diagonal"')
    assert words.ask("words", "corner", OPEN, "", ["diagonal", "lined"]) == "diagonal"


def test_a_line_is_readable_and_shows_its_choices():
    line = next(line for line in asked().to_text("b").splitlines() if line.startswith('"corner"'))
    assert line == '"corner" = "?"  # answer "diagonal" or "lined": 12 cells'


def test_a_wrong_answer_is_refused_with_its_line_and_what_is_near(tmp_path):
    words = written(tmp_path, '"corner" = "?"', '"corner" = "diagnal"')
    with pytest.raises(RecordsError, match=r'line \d+, \[words\]: "diagnal".*is "diagonal" meant'):
        words.ask("words", "corner", OPEN, "", ["diagonal", "lined"])


def test_a_number_without_quotation_marks_is_an_answer(tmp_path):
    words = written(tmp_path, 'about\\"" = "?"', 'about\\"" = 4.5')
    assert words.given("cells", 'J7 | Used | 4-5 "about"') == "4.5"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[words]", "[wordz]", r"\[wordz\] is not known, perhaps \[words\]"),
        ('= "?"', "= ?", "line"),
        ('"corner" = "?"', '"corner" = ["a"]', "no text"),
        ("airstats-words/1", "airstats-words/9", "is no words file"),
        ("[headings.jobs]", "[headings]", r"\[headings.*\] is not known"),
    ],
)
def test_what_no_words_file_holds_is_refused(tmp_path, old, new, said):
    with pytest.raises(RecordsError, match=said):
        written(tmp_path, old, new)


def test_an_answer_whose_cell_is_gone_is_told_with_its_line(tmp_path):
    words = written(tmp_path, '"corner" = "?"', '"corner" = "lined"')
    words.ask("headings.jobs", "Sheet m²", "surface_m2")
    (told,) = words.gone()
    assert 'nothing in the book is "corner" any more' in told
    assert f"line {words.numbers['words', 'corner']}" in told
    assert '"corner" = "lined"  # not in this book' in words.to_text("b")


def test_no_words_file_is_refused(tmp_path):
    with pytest.raises(RecordsError, match="There is no file"):
        read_words(tmp_path / "words.toml")
    (tmp_path / "words.toml").write_bytes(bytes(range(256)))
    with pytest.raises(RecordsError, match="zero bytes"):
        read_words(tmp_path / "words.toml")
