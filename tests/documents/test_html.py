import base64
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.documents.html import html_of
from airstats.reports.display import Table, Words
from tests.pages import COMMAND, MADE, RIGHT_TO_LEFT, SCRIPT, TYPST, page_html, page_of, shown


@pytest.fixture(scope="module")
def html():
    return page_html("A <small> title", shown(), MADE, COMMAND)


def test_a_page_stands_alone_and_forbids_all_but_its_own_style_and_pictures(html):
    assert not re.search(r'<script|(src|href)="(?!data:|#)|url\(|@import|style=', html)
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html)[1]
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; img-src data:")


def test_names_from_the_records_stay_names(html):
    quoted = SCRIPT.replace("<", "&lt;").replace(">", "&gt;").replace("'", "&#39;")
    assert f'<th scope="row" dir="auto">{quoted}</th>' in html
    assert f'<td dir="auto">{RIGHT_TO_LEFT}</td>' in html
    assert "<title>A &lt;small&gt; title</title>" in html
    assert TYPST.replace('"', "&#34;") in html
    assert "a link (https://example.org/x)" in html
    assert "x (https://example.org/y.png)" in html


def test_a_page_serves_readers_who_cannot_see_or_print(html):
    assert '<html lang="en-GB">' in html
    assert 'alt="A &#34;small&#34; dot &amp; a &lt;line&gt;"' in html
    assert all("scope=" in cell for cell in re.findall(r"<th\b[^>]*>", html))
    assert len(re.findall("<table", html)) == len(re.findall("<caption", html)) == 3
    assert '<a class="skip" href="#report">' in html
    printed = html[html.index("@media print") : html.index("</style>")]
    assert "table-header-group" in printed
    assert "break-inside: avoid" in printed
    assert "@page { size: A4;" in html


def test_ids_are_unique_links_lead_somewhere_and_the_contents_name_every_section(html):
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'href="#([^"]+)"', html)) <= set(ids)
    contents = re.search(r"<nav.*?</nav>", html, re.DOTALL)[0]
    assert re.findall(r">([^<>]+)</a>", contents) == ["The picture", "Its table"]


def test_a_page_says_whose_it_is_of_which_quarter_and_day():
    html = html_of(replace(page_of("Title", [], {}, ""), about="Firm & Co · 2026Q3 · 1 May 2026"))
    assert "<title>Title · Firm &amp; Co · 2026Q3 · 1 May 2026</title>" in html
    assert '<p class="about" dir="auto">Firm &amp; Co · 2026Q3 · 1 May 2026</p>' in html


def test_all_rows_of_a_long_table_can_be_taken_along():
    frame = pd.DataFrame({"job_id": [f"J{n:02}" for n in range(12)], "saving": np.arange(12.0)})
    long = Table(frame, "What could be saved, by job", "EUR")
    html = page_html("Title", [long], {"notebook": "price"}, "")
    assert "J09" in html
    assert "J10" not in html
    name, csv = re.search(
        r'download="([^"]+)" href="data:text/csv;charset=utf-8;base64,(\S+)"', html
    ).groups()
    assert name == "price-what_could_be_saved.csv"
    assert f">All 12 rows: data/{name}</a>" in html
    assert base64.b64decode(csv).decode().splitlines() == [
        "job,\"saving, EUR\"", *(f"J{n:02},{n}" for n in range(12))
    ]  # fmt: skip
    assert "The first 10 of 12 rows" in long._repr_html_()
    assert "The first 10 of 12 rows" in repr(long)
    assert "All 10 rows" not in page_html("Title", [Table(frame.head(10), "Ten")], {}, "")


def test_an_appendix_is_marked_and_how_a_page_was_made_is_closed(html):
    assert '<h2 id="part-1" class="appendix">Appendix</h2>' in page_html(
        "Title", [Words("## Appendix")], {}, ""
    )
    assert 'appendix">' not in html
    footer = html[html.index("<footer>") :]
    assert re.match(r"<footer>\s*<details>\s*<summary>How this report was made</summary>", footer)


def test_a_page_says_how_it_was_made(html):
    for item, value in MADE.items():
        assert item.replace("'", "&#39;") in html
        assert value in html
    assert f"<code>{COMMAND}</code>" in html
    assert "FOLDER stands for" in html
    assert "FOLDER stands for" not in page_html("T", [], MADE, "airstats quarter demo")
