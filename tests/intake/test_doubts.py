"""What can be read two ways, or is no job, is asked or left out with a word: never in silence."""

from datetime import date

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill

from airstats import RecordsError
from airstats.intake.book import read_book, records_of_book
from airstats.intake.questions import by_kind
from airstats.intake.understand import understand
from airstats.intake.words import read_words
from tests.intake.books import HEADINGS, JOBS, plain_row, plain_rows, read, truth, workbook

SURFACE, ESTIMATED, USED, OPENINGS, REVEAL, CUT = 4, 5, 6, 7, 8, 9


def changed(path, *changes, extra=(), looks=None):
    """The plain book with some cells changed, as (row of a job, column, value), and more rows."""
    rows = plain_rows()
    for row, column, value in changes:
        rows[row][column] = value
    return workbook(path / "book.xlsx", Jobs=[*rows, *extra], looks=looks)


def told(understood):
    return "\n".join(map(str, understood.told))


def only_waits(understood, *ids):
    """Tell whether just these jobs wait, and all others are read as they are."""
    assert set(understood.waiting) == set(ids), by_kind(understood.questions)
    others = [job for job in JOBS if job.job_id not in ids]
    records = records_of_book(understood)
    assert read(records) == truth(others)
    assert all(any(name in row for row in records.set_aside["reason"]) for name in ids)
    return True


def struck(place):
    """Strike a cell, or a row, through."""

    def look(sheet, row):
        cells = sheet[place.format(row)]
        for cell in cells if isinstance(cells, tuple) else (cells,):
            cell.font = Font(strike=True)

    return look


def commented(place, text):
    def look(sheet, row):
        sheet[place.format(row)].comment = Comment(text, "office")

    return look


def of_book(look):
    """A look of a worksheet as one of the whole workbook."""
    return lambda book: look(book.worksheets[0], 3)


def merged(cells):
    return of_book(lambda sheet, _: sheet.merge_cells(cells))


LENT = "not ours, lent to another firm"
DOUBTS = {
    "a range of rolls": ((USED, "5-6"), None, 'can be read in 3 ways (range), G{} "5-6"'),
    "a cell of words": ((SURFACE, "see plan"), None, 'cannot be read, E{} "see plan"'),
    "a row struck through": (None, struck("{}"), "rows struck through, row {} "),
    "a cell struck through": (None, struck("G{}"), "cells struck through, G{} "),
    "a remark that may exclude": (None, commented("A{}", LENT), f'it says "{LENT}"'),
    "a formula without a value": ((USED, "=F3+1"), None, 'not in the file, G{} "=F3+1"'),
    "an error of the spreadsheet": ((SURFACE, "#REF!"), None, 'spreadsheet, E{} "#REF!"'),
    "an unknown word for a cut": ((CUT, "the usual"), None, 'not known, J{} "the usual"'),
    "a crew spelled otherwise": ((3, "Sou th"), None, 'of crews, D{} "Sou th"'),
    "no surface": ((SURFACE, None), None, "surface_m2: a value is needed here, "),
    "a surface of a toy house": ((SURFACE, 0.02), None, 'cannot be read, E{} "0.02"'),
    "rolls beyond reason": ((USED, 5000), None, 'hold 375,000 m² for a job of 256 m², G{} "5000"'),
    "an impossible date": ((2, "31.02.2023"), None, 'cannot be read, C{} "31.02.2023"'),
}
"""A cell's column and value or its look, and what is asked of it; {} is its row."""


@pytest.mark.parametrize("doubts", [list(DOUBTS)[at::4] for at in range(4)], ids=", ".join)
def test_a_doubt_lets_its_job_wait_and_no_other(doubts, tmp_path):
    rows = {row: DOUBTS[doubt] for row, doubt in enumerate(doubts, 2)}
    changes = [(row, *cell) for row, (cell, _, _) in rows.items() if cell]

    def looks(book):
        for row, (_, look, _) in rows.items():
            if look:
                look(book.worksheets[0], row + 1)

    understood = understand(changed(tmp_path, *changes, looks=looks))
    assert only_waits(understood, *(f"J10{row}" for row in rows))
    for row, (_, _, asked) in rows.items():
        (why,) = understood.waiting[f"J10{row}"]
        assert asked.format(row + 1) in why


def test_a_cell_struck_through_in_part_is_asked(tmp_path):
    from openpyxl.cell.rich_text import CellRichText, TextBlock
    from openpyxl.cell.text import InlineFont

    half = CellRichText(TextBlock(InlineFont(strike=True), "5"), " 6")
    assert only_waits(understand(changed(tmp_path, (2, USED, half))), "J102")


def test_two_jobs_that_share_one_merged_count_wait(tmp_path):
    source = changed(tmp_path, (3, USED, None), looks=merged("G3:G4"))
    understood = understand(source)
    assert set(understood.waiting) == {"J102", "J103"}


def test_a_job_listed_twice_is_asked_and_can_be_left_out(tmp_path):
    source = changed(tmp_path, extra=[plain_row(JOBS[1])])
    understood = understand(source)
    assert set(understood.waiting) == {"J102", "J102 (row 8 of Jobs)"}
    words = tmp_path / "words.toml"
    text = understood.words.to_text("book").replace('= "?"', '= "the same job"')
    words.write_text(text, encoding="utf-8")
    assert read(read_book(source, words)) == truth()


def test_the_same_job_under_two_numbers_is_asked(tmp_path):
    twin = ["J999", *plain_row(JOBS[1])[1:]]
    understood = understand(changed(tmp_path, extra=[twin]))
    assert set(understood.waiting) == {"J102", "J999"}


def test_lines_of_totals_are_no_jobs(tmp_path):
    words = ("Total", "Summe 2024", "Subtotal", "Sum", "Average", "gesamt:")
    sums = [sum(job.surface for job in JOBS), 34, 38]
    understood = understand(
        changed(tmp_path, extra=[[word, None, None, None, *sums] for word in words])
    )
    assert understood.waiting == {}
    assert list(understood.jobs["job_id"]) == [job.job_id for job in JOBS]
    assert "totals, not read as jobs, 6 times" in told(understood)


def test_sums_without_a_word_are_no_job(tmp_path):
    total = [None, None, None, None, sum(j.surface for j in JOBS),
             sum(j.estimated for j in JOBS), sum(j.used for j in JOBS)]  # fmt: skip
    understood = understand(changed(tmp_path, extra=[[], total]))
    assert understood.waiting == {}
    assert len(understood.jobs) == len(JOBS)


def test_figures_without_a_name_that_add_up_to_nothing_are_asked(tmp_path):
    understood = understand(changed(tmp_path, extra=[[], [None] * 4 + [133, 3, 4]]))
    assert len(understood.jobs) == len(JOBS)
    assert len(understood.waiting) == 1
    assert "a job of its own" in str(by_kind(understood.questions))


def test_a_total_that_does_not_agree_is_said(tmp_path):
    total = ["Total", None, None, None, 1500, sum(j.estimated for j in JOBS), 38]
    (said,) = understand(changed(tmp_path, extra=[total])).totals
    assert "E8" in said
    assert "1500 stands there, the rows above come to 1458.5" in said


def test_one_crew_in_other_capitals_is_told_and_two_spellings_are_asked(tmp_path):
    source = changed(tmp_path, (1, 3, "north"), (2, 3, "Team South"))
    understood = understand(source)
    assert set(understood.waiting) == {"J102"}
    assert "crews' names in other capitals" in told(understood)


@pytest.mark.parametrize("crews", [("Team 1", "Team 2"), ("A", "B"), ("North 1", "North 2")])
def test_different_crews_are_not_asked_about(crews, tmp_path):
    changes = [(row, 3, crews[row % 2]) for row in range(1, 7)]
    understood = understand(changed(tmp_path, *changes))
    assert understood.waiting == {}


def test_hidden_rows_columns_and_colours_are_told(tmp_path):
    def look(book):
        sheet = book.worksheets[0]
        sheet.row_dimensions[3].hidden = True
        sheet.column_dimensions["G"].hidden = True
        sheet["E4"].fill = PatternFill("solid", fgColor="FF0000")

    understood = understand(changed(tmp_path, looks=look))
    assert understood.waiting == {}
    for word in ("hidden rows", "hidden columns", "coloured cells"):
        assert word in told(understood)


def test_a_harmless_remark_is_told(tmp_path):
    look = of_book(commented("A{}", "two storeys"))
    understood = understand(changed(tmp_path, looks=look))
    assert understood.waiting == {}
    assert "two storeys" in told(understood)


def test_older_jobs_without_openings_are_not_known_never_none(tmp_path):
    understood = understand(changed(tmp_path, (1, OPENINGS, None), (2, REVEAL, None)))
    assert understood.waiting == {}
    jobs = understood.jobs.set_index("job_id")
    assert "opening_count" not in jobs or jobs.loc["J101", "opening_count"] is None
    openings = understood.openings.set_index("job_id")
    assert "J101" not in openings.index
    assert openings.loc["J102", "reveal_mm"] is None
    assert "read as not known" in told(understood)


def test_a_book_that_says_none_means_none(tmp_path):
    said = enumerate(["none", 0, "0", "keine"], 1)
    understood = understand(changed(tmp_path, *((row, OPENINGS, word) for row, word in said)))
    assert understood.waiting == {}
    assert list(understood.jobs["opening_count"]) == [0, 0, 0, 0, None, None]


def test_a_worksheet_that_holds_no_jobs_is_told(tmp_path):
    yearly = [["Year", "m²", "Rolls used"], [2023, 740.5, 19], [2024, 718, 19]]
    source = workbook(tmp_path / "book.xlsx", Jobs=plain_rows(), Per_year=yearly)
    understood = understand(source)
    assert understood.waiting == {}
    assert len(understood.jobs) == len(JOBS)
    assert "Per year is not read" in told(understood)


def test_running_numbers_that_begin_anew_each_year_are_told_apart(tmp_path):
    rows = {}
    for year in ("2023", "2024"):
        own = [job for job in JOBS if str(job.day.year) == year]
        rows[year] = [list(HEADINGS), *([n, *plain_row(job)[1:]] for n, job in enumerate(own, 1))]
    understood = understand(workbook(tmp_path / "book.xlsx", **rows))
    assert understood.waiting == {}
    assert list(understood.jobs["job_id"]) == ["2023-1", "2023-2", "2023-3",
                                               "2024-1", "2024-2", "2024-3"]  # fmt: skip
    assert "running numbers" in told(understood)


def test_jobs_without_a_number_are_named_after_their_house(tmp_path):
    understood = understand(changed(tmp_path, (1, 0, None), (2, 0, None)))
    assert understood.waiting == {}
    assert list(understood.jobs["job_id"])[:2] == ["Hill Farm 2023-02-14", "Mill Lane 2023-05-23"]
    assert "jobs without a number" in told(understood)


def test_openings_of_a_job_that_is_not_there_are_asked(tmp_path):
    sizes = [["Job no", "Count", "Width mm", "Height mm"], ["J777", 2, 900, 1200]]
    source = workbook(tmp_path / "book.xlsx", Jobs=plain_rows(), Sizes=sizes)
    assert "not there" in str(by_kind(understand(source).questions))


def test_openings_that_stand_twice_and_differ_are_asked(tmp_path):
    sizes = [["Job no", "Count", "Width mm", "Height mm"], ["J102", 2, 900, 1200]]
    source = workbook(tmp_path / "book.xlsx", Jobs=plain_rows(), Sizes=sizes)
    assert only_waits(understand(source), "J102")


def test_openings_of_which_no_cut_is_said_wait_for_one_answer(tmp_path):
    source = workbook(tmp_path / "book.xlsx", Jobs=[row[:9] for row in plain_rows()])
    understood = understand(source)
    assert len(understood.questions) == 1
    assert len(understood.waiting) == len(JOBS)
    words = tmp_path / "words.toml"
    text = understood.words.to_text("book").replace('name none" = "?"', 'name none" = "centre"')
    words.write_text(text, encoding="utf-8")
    assert set(read_book(source, words).openings["cut_pattern"]) == {"centre"}


def test_a_heading_that_a_person_corrects_is_read_so(tmp_path):
    rows = plain_rows()
    rows[0][1] = "Remarks"
    source = workbook(tmp_path / "book.xlsx", Jobs=rows)
    words = tmp_path / "words.toml"
    understood = understand(source)
    text = understood.words.to_text("book").replace('"Crew" = "crew"', '"Crew" = "work_type"')
    words.write_text(text, encoding="utf-8")
    again = understand(source, read_words(words))
    assert list(again.jobs["work_type"])[:2] == ["North", "South"]
    assert "crew" not in again.jobs


def test_a_job_without_rolls_used_and_date_is_still_to_be_done(tmp_path):
    understood = understand(changed(tmp_path, (6, 2, None), (6, USED, None)))
    assert understood.waiting == {}
    assert "still to be done" in told(understood)
    jobs = records_of_book(understood).jobs.set_index("job_id")
    assert list(jobs["finished"]) == [True] * 5 + [False]


def test_a_job_number_without_figures_is_left_out_with_a_word(tmp_path):
    understood = understand(changed(tmp_path, extra=[["J108", "Never built", None, "North"]]))
    assert len(understood.jobs) == len(JOBS)
    assert "J108" in told(understood) or "J108" in understood.waiting


def test_the_source_stays_as_it_is(tmp_path):
    source = changed(tmp_path, (2, USED, "5-6"))
    before = source.read_bytes()
    understand(source)
    assert source.read_bytes() == before
    assert openpyxl.load_workbook(source).active["C2"].value.date() == date(2023, 2, 14)


@pytest.mark.parametrize(
    ("numbers", "count"), [((3, 2, 4, 6, 2, 5, 5, 3), None), ((1, 2, 1, 1, 1, 1, 2, 1), 1)]
)
def test_numbers_that_run_from_1_in_each_job_are_marks(numbers, count, tmp_path):
    """The first repeat within a job, as counts do; the second run from 1, as marks do."""
    sizes = [["Job no", "No.", "Width mm", "Height mm", "Reveal mm", "Cut"]]
    places = [(job, size) for job in JOBS for size in job.openings]
    for (job, size), number in zip(places, numbers, strict=True):
        sizes.append([job.job_id, number, *size[1:], job.reveal, job.cut])
    rows = [row[:7] for row in plain_rows()]
    understood = understand(workbook(tmp_path / "book.xlsx", Jobs=rows, Sizes=sizes))
    assert understood.waiting == {}
    assert list(understood.openings["count"]) == [count or number for number in numbers]


def test_a_size_that_nothing_reads_is_asked_and_not_taken_for_unknown(tmp_path):
    rows = [[*row[:7], *last] for row, last in zip(
        plain_rows(), [["Windows", "Opening width mm", "Zzz", "Reveal mm", "Cut"],
                       *([4, 900, 1200, 200, "diagonal"] for _ in JOBS)], strict=True)]  # fmt: skip
    rows[0][7] = "Number of windows"
    source = workbook(tmp_path / "book.xlsx", Jobs=rows)
    understood = understand(source)
    assert set(understood.waiting) == {job.job_id for job in JOBS}
    (said,) = by_kind(understood.questions)
    assert "Zzz" in said
    assert "opening_height_mm" in said


def test_two_headings_that_mean_the_same_are_asked_and_one_answer_settles_both(tmp_path):
    rows = plain_rows()
    rows = [[*row, "Rolls used"] if at == 0 else [*row, 9] for at, row in enumerate(rows)]
    source = workbook(tmp_path / "book.xlsx", Jobs=rows)
    understood = understand(source)
    assert len(understood.waiting) == len(JOBS)
    words, text = tmp_path / "words.toml", understood.words.to_text("book")
    words.write_text(text.replace('"Rolls used" = "?"', '"Rolls used" = "used_rolls"'), "utf-8")
    assert read(read_book(source, words)) == truth()
    twice = text.replace('"Rolls used" = "?"', '"Rolls used" = "used_rolls"')
    twice = twice.replace('(column K)" = "?"', '(column K)" = "used_rolls"')
    words.write_text(twice, encoding="utf-8")
    with pytest.raises(RecordsError, match=r"line \d+.*both say used_rolls"):
        understand(source, words)


ANSWERS = (
    (SURFACE, "see plan", "150", "surface_m2", 150),
    (USED, "partly struck", "6", "used_rolls", 6),
    (USED, "#REF!", "6", "used_rolls", 6),
    (USED, "5-6", "6", "used_rolls", 6),
    (USED, "5-6", "lower", "used_rolls", 5),
)
"""The column of a cell, what stands there, the answer, and what the records hold then."""


def test_what_a_person_writes_in_place_of_a_cell_is_taken(tmp_path):
    from openpyxl.cell.rich_text import CellRichText, TextBlock
    from openpyxl.cell.text import InlineFont

    part = CellRichText(TextBlock(InlineFont(strike=True), "5"), " 6")
    changes = [(row, column, part if cell == "partly struck" else cell)
               for row, (column, cell, *_) in enumerate(ANSWERS, 1)]  # fmt: skip
    source = changed(tmp_path, *changes)
    answers = {f'"J10{row} |': case[2] for row, case in enumerate(ANSWERS, 1)}
    lines = []
    for line in understand(source).words.to_text("book").splitlines():
        answer = next((answers[start] for start in answers if line.startswith(start)), None)
        lines.append(f'{line.split(" = ")[0]} = "{answer}"' if answer else line)
    words = tmp_path / "words.toml"
    words.write_text("\n".join(lines), encoding="utf-8")
    understood = understand(source, words)
    assert understood.waiting == {}
    for row, (_, cell, answer, field, value) in enumerate(ANSWERS):
        assert understood.jobs[field][row] == value, (cell, answer)


def questions_in(understood):
    lines = understood.words.to_text("book").splitlines()
    return [line for line in lines if '= "?"' in line]


def test_one_doubt_is_one_line_and_two_of_a_kind_have_one_for_both(tmp_path):
    assert len(questions_in(understand(changed(tmp_path, (2, USED, "5-6"))))) == 1
    two = understand(changed(tmp_path, (2, USED, "5-6"), (3, USED, "7-8")))
    lines = questions_in(two)
    assert len(lines) == 3
    words = tmp_path / "words.toml"
    answered = two.words.to_text("book").replace(lines[0], lines[0].replace("?", "lower"))
    words.write_text(answered, encoding="utf-8")
    assert understand(tmp_path / "book.xlsx", words).waiting == {}


def test_a_line_shows_the_first_cell_that_asks_for_it(tmp_path):
    understood = understand(changed(tmp_path, (2, CUT, "the usual"), (4, CUT, "the usual")))
    assert questions_in(understood)[0].endswith('J3 "the usual"')


def test_a_long_line_is_named_as_it_stands_in_the_file(tmp_path):
    understood = understand(changed(tmp_path, (2, SURFACE, "as on the drawing of the " * 4)))
    key = questions_in(understood)[0].split(" = ")[0]
    assert key in by_kind(understood.questions)[0]
    assert "… (" in key


def test_a_ditto_mark_below_the_headings_is_told(tmp_path):
    understood = understand(changed(tmp_path, (1, 3, '"')))
    assert 'ditto mark with nothing above it, read as not known, D2 """' in told(understood)


def test_what_the_records_miss_is_said_once(tmp_path):
    understood = understand(changed(tmp_path, (2, SURFACE, None)))
    assert by_kind(understood.questions)[0].count("a value is needed here") == 1


def test_a_column_that_nothing_reads_is_told(tmp_path):
    rows = [[*row, 7 if at else "Flurbs"] for at, row in enumerate(plain_rows())]
    understood = understand(workbook(tmp_path / "book.xlsx", Jobs=rows))
    assert '"Flurbs", which nothing reads' in told(understood)


def test_a_reveal_at_the_end_is_a_habit_of_the_whole_book(tmp_path):
    head, *jobs = plain_rows()
    for place, job in enumerate(jobs):
        job[7], job[8] = f"2 x 900x1200, 1 x 600x900, reveal {200 + 10 * place} mm", ""
    pages = {"2022": [head, *jobs[:1]], "2023": [head, *jobs[1:]]}
    understood = understand(workbook(tmp_path / "book.xlsx", **pages))
    assert understood.questions == ()


def test_the_records_tell_what_needs_a_look_and_count_what_was_understood(tmp_path):
    source = changed(tmp_path, (2, SURFACE, "ca. 150"), (3, USED, "5-6"))
    understood = understand(source)
    notes = records_of_book(understood).notes
    assert any(note.startswith("waiting: J103") for note in notes)
    assert not any("circa" in note for note in notes)
    kinds = sum(bool(told.said) for told in understood.told)
    assert any(note.startswith(f"{kinds} kinds of cells") for note in notes)


def test_a_worksheet_of_few_jobs_is_counted_as_the_others_are(tmp_path):
    head, *jobs = plain_rows()
    for place, job in enumerate(jobs[:-1]):
        job[USED] += place % 2 / 2
    pages = {"2023": [head, *jobs[:-1]], "2024": [head, *jobs[-1:]]}
    understood = understand(workbook(tmp_path / "book.xlsx", **pages))
    assert list(understood.jobs["counted"]) == ["half"] * len(JOBS)
