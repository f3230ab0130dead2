import re

import pytest

from tests.pages import COMMAND, MADE, RIGHT_TO_LEFT, SCRIPT, TYPST, page_html, shown


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
    assert re.findall(r">([^<>]+)</a>", contents) == [
        "The picture", "Its table", "How this report was made"
    ]  # fmt: skip


def test_a_page_says_how_it_was_made(html):
    for item, value in MADE.items():
        assert item.replace("'", "&#39;") in html
        assert value in html
    assert f"<code>{COMMAND}</code>" in html
    assert "FOLDER stands for" in html
    assert "FOLDER stands for" not in page_html("T", [], MADE, "airstats quarter demo")
