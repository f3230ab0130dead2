"""Reports and card in a browser: from disk, without a network, by eye, by ear, by keyboard."""

import base64
import io
import json

import nbformat
import pypdf
import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium_axe_python import Axe

from airstats.documents.html import html_of
from airstats.documents.page import notebook_page
from airstats.documents.pdf import pdf_of
from airstats.documents.run_notebooks import NOTEBOOKS, notebooks_folder
from airstats.documents.wall_card import allowance_card
from tests.browser import set_width
from tests.documents.test_wall_card import crowded, learnt
from tests.pages import COMMAND, MADE, SCRIPT, page_html, shown

NAMES = (*NOTEBOOKS, "names")
WIDTHS_PX = (1280, 390)
AXE = "4.9.1"
"""The axe-core that selenium-axe-python 2.2.0 carries."""

FOCUSED = """
const at = document.activeElement, box = at.getBoundingClientRect();
return [at.tagName, at.id || at.getAttribute('aria-label') || at.textContent,
        box.right > 0 && box.bottom > 0 && box.left < innerWidth && box.top < innerHeight];
"""
FOLLOWED = f"""
window.reached = [];
addEventListener('keydown', () => reached.push((() => {{ {FOCUSED} }})()));
"""
"""Keeps what each key leaves."""
FOCUSABLE = """
return [...document.querySelectorAll('a[href], summary, [tabindex="0"]')]
  .filter(part => part.checkVisibility()).length;
"""
PICTURES = """
return [...document.images].map(image => [image.complete, image.naturalWidth, image.alt]);
"""
TOO_WIDE = """
return [...document.querySelectorAll('body *')]
  .filter(part => !part.closest('.box') || part.matches('.box'))
  .filter(part => !part.closest('.skip'))
  .filter(part => part.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map(part => part.outerHTML.slice(0, 80));
"""

CUT_OFF = """
return [...document.querySelectorAll('main .box')]
  .filter(box => box.scrollWidth > box.clientWidth + 1)
  .map(box => box.getAttribute('aria-label'));
"""
UNSAID = """
return [...document.querySelectorAll('main .box')]
  .filter(box => box.querySelector('table') && box.scrollWidth > box.clientWidth + 1)
  .filter(box => !box.nextElementSibling.matches('.hint'))
  .map(box => box.getAttribute('aria-label'));
"""
SHADOWS = """
return [...document.querySelectorAll('main .box')]
  .filter(box => box.scrollWidth > box.clientWidth + 1)
  .map(box => getComputedStyle(box).backgroundAttachment);
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Export the project's own notebooks, with their results, and a page of hostile names."""
    folder = tmp_path_factory.mktemp("reports")
    for name in NOTEBOOKS:
        notebook = nbformat.read(notebooks_folder() / f"{name}.ipynb", as_version=4)
        page = html_of(notebook_page(notebook, MADE, COMMAND))
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
    page = page_html("Names", shown(), MADE, COMMAND)
    (folder / "names.html").write_text(page, encoding="utf-8")
    return folder


def open_page(browser, path, width_px=1280):
    set_width(browser, width_px)
    for kind in ("browser", "performance"):
        browser.get_log(kind)
    browser.get(path.as_uri())


def printed(browser):
    """The page as PDF."""
    made = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    return base64.b64decode(made["data"])


def requested(browser):
    """Return the addresses that the page asked for, but its own file and what it carries."""
    entries = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [e["params"] for e in entries if e["method"] == "Network.requestWillBeSent"]
    urls = [params["request"]["url"] for params in asked]
    assert urls, "the browser did not even report the page itself"
    return [url for url in urls if not url.startswith(("file:", "data:"))]


@pytest.fixture(scope="module", params=NAMES)
def page(request, browser, folder):
    """A page that is opened once for all tests: loading costs more than most of them."""
    open_page(browser, folder / f"{request.param}.html")
    return folder / f"{request.param}.html"


@pytest.mark.usefixtures("page")
class TestPages:
    @pytest.fixture(autouse=True)
    def wide(self, browser):
        set_width(browser, 1280)

    def test_nothing_is_fetched_and_nothing_complained_of(self, browser):
        assert requested(browser) == []
        assert browser.get_log("browser") == []

    def test_every_picture_is_there_with_its_words(self, browser):
        pictures = browser.execute_script(PICTURES)
        assert pictures
        assert all(done and width > 100 and len(alt) > 10 for done, width, alt in pictures)

    @pytest.mark.parametrize("width_px", WIDTHS_PX)
    def test_no_text_runs_over_the_edge(self, browser, width_px):
        set_width(browser, width_px)
        assert browser.execute_script("return innerWidth") == width_px
        wide = browser.execute_script("return document.documentElement.scrollWidth")
        assert wide <= width_px
        assert browser.execute_script(TOO_WIDE) == []

    @pytest.mark.parametrize("width_px", [1280, 1024, 961])
    def test_no_column_is_lost_on_a_screen(self, browser, width_px):
        set_width(browser, width_px)
        assert browser.execute_script(CUT_OFF) == []

    @pytest.mark.parametrize("width_px", [360, 390])
    def test_a_table_that_slides_on_a_telephone_says_so(self, browser, width_px):
        set_width(browser, width_px)
        assert browser.execute_script(UNSAID) == []

    def test_the_keyboard_reaches_everything_in_order(self, browser):
        count = browser.execute_script(FOCUSABLE)
        browser.execute_script(FOLLOWED)
        browser.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB * count)
        _, *reached = browser.execute_script("return reached")
        reached.append(browser.execute_script(FOCUSED))
        assert len(reached) == count
        assert reached[0][1] == "Skip to the report"
        assert reached[-1][1] == "How this report was made"
        assert all(visible for _, _, visible in reached)
        assert "BODY" not in [tag for tag, _, _ in reached]

    def test_the_first_key_skips_to_the_report(self, browser, page):
        open_page(browser, page)
        browser.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB)
        browser.switch_to.active_element.send_keys(Keys.ENTER)
        assert browser.execute_script(FOCUSED)[1] == "report"

    def test_the_accessibility_scan_finds_nothing_serious(self, browser):
        axe = Axe(browser)
        axe.inject()
        # Of what is well one place each is told: listing all takes longer than looking.
        result = axe.run(options={"resultTypes": ["violations"]})
        assert result["testEngine"]["version"] == AXE
        assert len(result["passes"]) > 10
        found = [rule for rule in result["violations"] if rule["impact"] in ("serious", "critical")]
        assert found == [], axe.report(found)

    def test_it_prints_on_upright_a4_without_cutting_a_picture(self, browser):
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        set_width(browser, 680)  # 180 mm of A4 between the margins
        wide = browser.execute_script("return document.documentElement.scrollWidth")
        height = browser.execute_script(
            "return Math.max(...[...document.images].map(image => image.height))"
        )
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        assert wide <= 680
        assert height <= 240 / 25.4 * 96
        assert printed(browser).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("name", "most"), [("why_jobs_run_over", 2), ("update_allowances", 3), ("price_jobs", 3)]
)
def test_the_demo_takes_no_more_paper_than_its_reader_has_time_for(name, most):
    notebook = nbformat.read(notebooks_folder() / f"{name}.ipynb", as_version=4)
    page = notebook_page(notebook, MADE, COMMAND)
    assert len(pypdf.PdfReader(io.BytesIO(pdf_of(page))).pages) <= most


def test_a_telephone_breaks_words_into_lines_before_it_hides_a_column(browser, folder):
    open_page(browser, folder / "why_jobs_run_over.html", 390)
    assert "All openings cut alike" not in browser.execute_script(CUT_OFF)


def test_a_script_that_got_in_would_not_run(browser, folder):
    html = (folder / "names.html").read_text(encoding="utf-8")
    spoilt = folder / "spoilt.html"
    outside = '<img src="https://example.org/seen.png">'
    spoilt.write_text(html.replace("</main>", f"{SCRIPT}{outside}</main>"), encoding="utf-8")
    open_page(browser, spoilt)
    assert browser.title == "Names"
    refused = [entry["message"] for entry in browser.get_log("browser")]
    assert len(refused) == 2
    assert all("Content Security Policy" in message for message in refused)


def test_what_slides_has_a_shadow_at_its_edge_also_where_no_words_say_so(browser, folder):
    open_page(browser, folder / "price_jobs.html", 700)
    assert browser.execute_script(
        "return [...document.querySelectorAll('.hint')].every(part => !part.checkVisibility())"
    )
    # Stands for a table wider than those of the demo, which all fit at this width.
    browser.execute_script("document.querySelector('main').style.maxWidth = '24rem'")
    slides = browser.execute_script(SHADOWS)
    assert slides
    assert set(slides) == {"local, local, scroll, scroll"}


@pytest.mark.parametrize("known", [learnt, crowded])
def test_the_card_prints_on_one_sheet_of_a4_and_fits_a_telephone(browser, tmp_path, known):
    (tmp_path / "card.html").write_text(allowance_card(known()), encoding="utf-8")
    open_page(browser, tmp_path / "card.html", 390)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
    (sheet,) = pypdf.PdfReader(io.BytesIO(printed(browser))).pages
    size = [float(side) / 72 * 25.4 for side in sheet.mediabox[2:]]
    assert size == pytest.approx([210, 297], abs=1)
