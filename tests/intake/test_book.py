"""One set of jobs in many layouts comes to the same records, without a question."""

from functools import cache

import pytest

from airstats import read_records
from airstats.intake.book import csv_files, read_book, records_of_book
from airstats.intake.understand import understand
from tests.intake.books import (
    HEADINGS,
    JOBS,
    plain_row,
    plain_rows,
    read,
    text_of,
    truth,
    workbook,
)


def titles_and_totals(path):
    rows = [["Sheet use"], ["kept by the office since 2023"], []]
    rows += [list(HEADINGS)]
    for year in (2023, 2024):
        own = [job for job in JOBS if job.day.year == year]
        rows += [plain_row(job) for job in own]
        sums = [sum(getattr(job, name) for job in own) for name in ("surface", "estimated", "used")]
        rows += [[f"Total {year}", None, None, None, *sums], []]
    rows += [["all surfaces measured across the openings"]]
    return workbook(path / "book.xlsx", Jobs=rows)


def headings_again(path):
    rows = [*plain_rows(JOBS[:3]), [], *plain_rows(JOBS[3:])]
    return workbook(path / "book.xlsx", Jobs=rows)


def two_rows_of_headings(path):
    upper = ["Job", None, "Finished", "Crew", "Surface", "Rolls", None, "Openings", None, None]
    lower = ["no", "client", None, None, "m²", "estimated", "used", None, "reveal mm", "cut"]

    def merge(book):
        sheet = book.active
        for cells in ("A1:B1", "C1:C2", "D1:D2", "F1:G1", "H1:J1"):
            sheet.merge_cells(cells)

    return workbook(path / "book.xlsx", Jobs=[upper, lower, *map(plain_row, JOBS)], looks=merge)


def a_sheet_a_year(path):
    order = [0, 2, 5, 6, 4, 3, 7, 8, 9, 1]
    later = [[row[at] for at in order] for row in plain_rows(JOBS[3:])]
    return workbook(path / "book.xlsx", **{"2024": later, "2023": plain_rows(JOBS[:3])})


def list_of_openings(jobs=JOBS):
    rows = [["Job no", "Count", "Width mm", "Height mm", "Reveal mm", "Cut"]]
    rows += [[job.job_id, *one, job.reveal, job.cut] for job in jobs for one in job.openings]
    return rows


def without_openings(jobs=JOBS):
    return [row[:7] for row in plain_rows(jobs)]


def openings_on_a_second_sheet(path):
    return workbook(path / "book.xlsx", Work=without_openings(), Sizes=list_of_openings())


def openings_named_once(path):
    """The id of a job stands beside its first opening only."""
    rows, seen = [], set()
    for row in list_of_openings():
        rows.append([None if row[0] in seen else row[0], *row[1:]])
        seen.add(row[0])
    return workbook(path / "book.xlsx", Jobs=without_openings(), Window_list=rows)


def folder_of_csv(path):
    folder = path / "book"
    folder.mkdir()
    (folder / "our jobs.csv").write_text(text_of(without_openings()), encoding="utf-8")
    (folder / "openings (1).csv").write_text(text_of(list_of_openings()), encoding="utf-8")
    return folder


def openings_in_columns(path):
    heads = [*HEADINGS[:7], *(f"W{n} {what}" for n in (1, 2) for what in ("count", "width mm",
             "height mm")), *HEADINGS[8:]]  # fmt: skip
    rows = [heads]
    for job in JOBS:
        sizes = [size for one in job.openings for size in one]
        rows.append([*plain_row(job)[:7], *sizes, *[None] * (6 - len(sizes)), job.reveal, job.cut])
    return workbook(path / "book.xlsx", Jobs=rows)


def a_line_an_opening(path):
    heads = [*HEADINGS[:7], "Count", "Width mm", "Height mm", *HEADINGS[8:]]
    rows = [heads]
    for job in JOBS:
        for place, one in enumerate(job.openings):
            first = plain_row(job)[:7] if place == 0 else [None] * 7
            rows.append([*first, *one, job.reveal, job.cut])
    return workbook(path / "book.xlsx", Jobs=rows)


def two_lines_a_job(path):
    rows = [list(HEADINGS)]
    for job in JOBS:
        row = plain_row(job)
        rows += [[*row[:5], *[None] * 5], [None] * 5 + row[5:]]
    return workbook(path / "book.xlsx", Jobs=rows)


def ditto_marks(path):
    rows = plain_rows()
    for row, above in zip(rows[:1:-1], rows[-2:0:-1], strict=True):
        for at in (3, 8, 9):
            row[at] = '"' if row[at] == above[at] else row[at]
    return workbook(path / "book.xlsx", Jobs=rows)


def german_text(path):
    heads = ["Auftrag", "Kunde", "Fertig am", "Kolonne", "Fläche m²", "Rollen geplant",
             "Rollen verbraucht", "Fenster", "Leibung mm", "Schnitt"]  # fmt: skip
    rows = [["Folienverbrauch"], heads]
    for job in JOBS:
        row = plain_row(job)
        row[2], row[4] = job.day.strftime("%d.%m.%Y"), str(float(job.surface)).replace(".", ",")
        rows.append(row)
    file = path / "Aufträge.csv"
    file.write_bytes(text_of(rows, ";").encode("cp1252"))
    return file


def months_and_quarters(path):
    rows = plain_rows()
    for row in rows[1:4]:
        row[2] = row[2].strftime("%b %Y")
    for row in rows[4:]:
        row[2] = f"Q{(row[2].month + 2) // 3} {row[2].year}"
    return workbook(path / "book.xlsx", Jobs=rows)


def headings_far_down(path):
    rows = [[f"note {line}"] for line in range(30)]
    return workbook(path / "book.xlsx", Jobs=[*rows, *plain_rows()])


LAYOUTS = (
    titles_and_totals, headings_again, two_rows_of_headings, a_sheet_a_year,
    openings_on_a_second_sheet, openings_named_once, folder_of_csv, openings_in_columns,
    a_line_an_opening, two_lines_a_job, ditto_marks, german_text, months_and_quarters,
    headings_far_down,
)  # fmt: skip


@pytest.fixture(scope="module")
def understood_of(tmp_path_factory):
    """What each layout is understood as, worked out once."""
    return cache(lambda layout: understand(layout(tmp_path_factory.mktemp(layout.__name__))))


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.__name__)
def test_a_layout_is_read_without_a_question(layout, understood_of):
    understood = understood_of(layout)
    assert [str(question) for question in understood.questions] == []
    assert understood.waiting == {}
    assert understood.totals == ()
    assert read(records_of_book(understood)) == truth()


@pytest.mark.parametrize("layout", LAYOUTS[:6], ids=lambda layout: layout.__name__)
def test_the_files_that_are_written_read_as_the_book_does(layout, understood_of, tmp_path):
    for name, text in csv_files(understood_of(layout)).items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    assert read(read_records(tmp_path)) == truth()


def test_a_book_is_read_from_its_file(tmp_path):
    assert read(read_book(titles_and_totals(tmp_path))) == truth()
