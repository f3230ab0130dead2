import io
from dataclasses import replace

import pandas as pd
import pypdfium2
import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output
from pypdf import PdfReader

from airstats.documents.page import notebook_page
from airstats.documents.pdf import pdf_of
from airstats.reports.display import MOST_ROWS, Beside, Picture, Table, Words
from airstats.reports.house_style import HALF
from airstats.reports.shared_charts import paper
from tests.pages import (
    COMMAND,
    MADE,
    RIGHT_TO_LEFT,
    SCRIPT,
    TYPST,
    block,
    dot,
    jobs,
    page_of,
    page_pdf,
    shown,
)

A4_PT = (595, 842)
MARGIN_PT = 15 / 25.4 * 72


@pytest.fixture(scope="module")
def pdf():
    return page_pdf("A <small> title", shown(), MADE, COMMAND)


@pytest.fixture(scope="module")
def reader(pdf):
    return PdfReader(io.BytesIO(pdf))


def text_of(reader):
    return " ".join(" ".join(page.extract_text().split()) for page in reader.pages)


def tags(element):
    """Every tag of a structure tree below an element, with its alternative text."""
    children = element.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        child = child.get_object()
        if hasattr(child, "get") and "/S" in child:
            yield child["/S"], child.get("/Alt")
            yield from tags(child)


def test_the_same_page_gives_the_same_bytes_and_claims_the_standard_of_accessible_pdf(pdf, reader):
    assert page_pdf("A <small> title", shown(), MADE, COMMAND) == pdf
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data()
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == "A <small> title"
    assert "/CreationDate" not in reader.metadata


def test_headings_pictures_and_tables_are_tagged(reader):
    found = list(tags(reader.trailer["/Root"]["/StructTreeRoot"]))
    names = [name for name, _ in found]
    assert [name for name in names if name[:2] in ("/H", "/H1", "/H2", "/H3")] == [
        "/H1", "/H2", "/H3"
    ]  # fmt: skip
    assert 'A "small" dot & a <line>' in [alt for _, alt in found]
    assert names.count("/TH") == 3 + 3
    assert names.count("/TD") == 6 + 6
    assert names.count("/Caption") == 2


def test_names_from_the_records_never_run(reader):
    text = text_of(reader)
    assert SCRIPT in text.replace("’", "'")
    assert TYPST in text
    word = RIGHT_TO_LEFT.split()[0]
    assert word in text or word[::-1] in text
    assert "a link" in text
    assert not [page for page in reader.pages if "/Annots" in page]


@pytest.mark.parametrize("name", ["#[", "$", "\\", "```", "*/", '"', "\x00\x01", "北京 😀", "`#`"])
def test_any_name_can_be_set(name):
    table = Table(pd.DataFrame({"job_id": [name]}), name)
    assert page_pdf(name, [Words(name), table], {name: name}, name).startswith(b"%PDF-1.7")


def test_every_page_says_quarter_digest_and_number():
    many = [dot(str(n)) for n in range(6)]
    page = replace(page_of("Title", many, MADE, COMMAND), about="Firm · 2026Q3 · 26 November 2026")
    reader = PdfReader(io.BytesIO(pdf_of(page)))
    assert reader.metadata.title == "Title · Firm · 2026Q3 · 26 November 2026"
    assert len(reader.pages) == 2
    for number, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert "Firm · 2026Q3 · 26 November 2026" in text
        assert MADE["records' digest"] in text
        assert f"page {number} of 2" in text
        assert text.count("Title") == 1
        assert tuple(map(round, page.mediabox[2:])) == A4_PT


def columns(count, cell):
    names = ["reason", "unit", "verdict", "allowance", "term", "rule", "cause", "crew", "mark"]
    return pd.DataFrame({name: [cell] * 60 for name in names[:count]})


def outside_margins(pdf):
    """Characters of a PDF that stand in a margin at the side."""
    for page in pypdfium2.PdfDocument(pdf):
        words = page.get_textpage()
        for place in range(words.count_chars()):
            left, _, right, _ = words.get_charbox(place)
            if left < MARGIN_PT - 1 or right > page.get_width() - MARGIN_PT + 1:
                yield words.get_text_range(place, 1)


@pytest.mark.parametrize(
    ("count", "cell", "on_its_side"),
    [(3, "short", False), (4, "a reason of more than thirty characters, or so", False),
     (8, "a reason of more than thirty characters, or so", True)],
)  # fmt: skip
def test_wide_tables_fit(count, cell, on_its_side):
    pdf = page_pdf("Title", [Table(columns(count, cell), "Wide")], MADE, COMMAND)
    sizes = [page.get_size() for page in pypdfium2.PdfDocument(pdf)]
    assert any(width > height for width, height in sizes) == on_its_side
    assert list(outside_margins(pdf)) == []


def test_a_table_stands_on_one_page_and_says_where_all_its_rows_are():
    above = Words("\n\n".join(["A line."] * 42))
    table = Table(columns(2, "cell"), "Long", name="long")
    reader = PdfReader(io.BytesIO(page_pdf("Title", [above, table], MADE, "")))
    counts = [page.extract_text().count("cell") for page in reader.pages]
    assert counts == [0, 2 * MOST_ROWS]
    assert "All 60 rows: data/report-long.csv" in text_of(reader)


def places(pdf, text):
    """Where a text stands in a PDF: page, and distance from the left and the bottom, pt."""
    for number, page in enumerate(pypdfium2.PdfDocument(pdf)):
        words = page.get_textpage()
        finder = words.search(text)
        while found := finder.get_next():
            left, bottom, _, _ = words.get_charbox(found[0])
            yield number, left, bottom


def test_a_number_is_not_parted_from_its_sign_at_the_end_of_a_line():
    said = [
        f"{'a' * n} {'word ' * 12}and then 6.1 ± 3.3 % of it. {'more ' * 30}" for n in range(40)
    ]
    pages = PdfReader(
        io.BytesIO(page_pdf("T", [Words(text) for text in said], MADE, COMMAND))
    ).pages
    lines = [line for page in pages for line in page.extract_text().splitlines()]
    assert sum("6.1 ± 3.3 %" in line for line in lines) == len(said)


def test_two_parts_stand_side_by_side():
    pdf = page_pdf("Title", [Beside(Words("Left sentence."), Words("Right sentence."))], {}, "")
    (_, left, level), (_, right, beside) = (
        *places(pdf, "Left sentence"),
        *places(pdf, "Right sentence"),
    )
    assert abs(level - beside) < 2
    assert right - left == pytest.approx(93 / 25.4 * 72, abs=2)


def test_a_picture_stands_at_the_size_at_which_it_was_drawn():
    half, _ = paper(2.0, HALF)
    picture = Picture("half", half, "A half picture", pd.DataFrame({"x": [1]}))
    page = pypdfium2.PdfDocument(page_pdf("Title", [picture, dot()], {}, ""))[0]
    assert block(picture).is_half
    assert not block(Picture("full", paper(2.0)[0], "Full", pd.DataFrame({"x": [1]}))).is_half
    size = 9 * 72 / 72
    words = page.get_textpage()
    finder = words.search("0.0")
    found = finder.get_next()
    assert words.get_charbox(found[0])[3] - words.get_charbox(found[0])[1] == pytest.approx(
        0.73 * size, abs=0.6
    )


def test_no_sentence_is_parted_from_its_picture_and_no_heading_stands_last():
    above = Words("\n\n".join(["A line."] * 33))
    section = [Words("## The section\n\nFor whom."), Words("Its sentence."), dot()]
    pdf = page_pdf("Title", [above, *section], {}, "")
    pages = {text: {page for page, *_ in places(pdf, text)} for text in
             ("The section", "For whom", "Its sentence", "rolls used")}  # fmt: skip
    assert list(pages.values()) == [{1}] * 4


def test_a_long_numbered_list_stands_in_two_columns_and_keeps_its_numbers():
    def listed(count):
        return Words("\n".join(f"{place}. Source{place}." for place in range(1, count + 1)))

    pdf = page_pdf("Title", [listed(25)], {}, "")
    (_, left, first), (_, right, beside) = (
        next(places(pdf, f"Source{place}.")) for place in (1, 14)
    )
    assert abs(first - beside) < 2
    assert right > left + 200
    assert "14. Source14." in text_of(PdfReader(io.BytesIO(pdf)))
    short = page_pdf("Title", [listed(9)], {}, "")
    assert len({left for _, left, _ in (next(places(short, f"Source{n}.")) for n in (1, 9))}) == 1


def test_an_appendix_begins_on_a_new_page():
    pdf = page_pdf("Title", [Words("Before."), Words("## Appendix\n\nAfter.")], {}, "")
    assert [page for page, *_ in places(pdf, "Before.")] == [0]
    assert [page for page, *_ in places(pdf, "After.")] == [1]


def test_a_table_without_rows_still_has_headings_and_skipped_levels_are_brought_in_step():
    empty = Table(pd.DataFrame({"job_id": [], "saving": []}), "None")
    reader = PdfReader(io.BytesIO(page_pdf("T", [Words("#### Deep"), empty, jobs()], {}, "")))
    assert "saving" in text_of(reader)
    names = [name for name, _ in tags(reader.trailer["/Root"]["/StructTreeRoot"])]
    assert [name for name in names if name in ("/H1", "/H2", "/H3", "/H4")] == ["/H1", "/H2"]


def test_a_picture_from_elsewhere_is_set_from_its_png():
    data, _ = dot()._repr_mimebundle_()
    cell = new_code_cell("", outputs=[new_output("display_data", data)])
    page = notebook_page(new_notebook(cells=[cell]), {}, "")
    found = tags(PdfReader(io.BytesIO(pdf_of(page))).trailer["/Root"]["/StructTreeRoot"])
    assert data["text/plain"] in [alt for name, alt in found if name == "/Figure"]
