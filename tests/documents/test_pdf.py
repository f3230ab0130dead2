import io

import pandas as pd
import pypdfium2
import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output
from pypdf import PdfReader

from airstats.documents.page import notebook_page
from airstats.documents.pdf import pdf_of
from airstats.reports.display import Table, Words
from tests.pages import COMMAND, MADE, RIGHT_TO_LEFT, SCRIPT, TYPST, dot, jobs, page_pdf, shown

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
        "/H1", "/H2", "/H3", "/H2"
    ]  # fmt: skip
    assert 'A "small" dot & a <line>' in [alt for _, alt in found]
    assert names.count("/TH") == 3 + 3 + 2
    assert names.count("/TD") == 6 + 6 + 2 * len(MADE)
    assert names.count("/Caption") == 3


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
    many = [dot(str(n)) for n in range(4)]
    reader = PdfReader(io.BytesIO(page_pdf("Title", many, MADE, COMMAND)))
    assert len(reader.pages) == 2
    for number, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert "2026Q3" in text
        assert MADE["records' digest"] in text
        assert f"page {number} of 2" in text
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


def test_headings_of_a_long_table_stand_on_every_page():
    reader = PdfReader(io.BytesIO(page_pdf("Title", [Table(columns(2, "x"), "Long")], {}, "")))
    full = [page for page in reader.pages if page.extract_text().count("x") > 5]
    assert len(full) > 1
    assert all("reason" in page.extract_text() for page in full)


def test_a_table_without_rows_still_has_headings_and_skipped_levels_are_brought_in_step():
    empty = Table(pd.DataFrame({"job_id": [], "saving": []}), "None")
    reader = PdfReader(io.BytesIO(page_pdf("T", [Words("#### Deep"), empty, jobs()], {}, "")))
    assert "saving" in text_of(reader)
    names = [name for name, _ in tags(reader.trailer["/Root"]["/StructTreeRoot"])]
    assert [name for name in names if name in ("/H1", "/H2", "/H3", "/H4")] == ["/H1", "/H2", "/H2"]


def test_a_picture_from_elsewhere_is_set_from_its_png():
    data, _ = dot()._repr_mimebundle_()
    cell = new_code_cell("", outputs=[new_output("display_data", data)])
    page = notebook_page(new_notebook(cells=[cell]), {}, "")
    found = tags(PdfReader(io.BytesIO(pdf_of(page))).trailer["/Root"]["/StructTreeRoot"])
    assert data["text/plain"] in [alt for name, alt in found if name == "/Figure"]
