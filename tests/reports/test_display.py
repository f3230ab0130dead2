"""A part that cannot be worked out says so in its place, and costs a report nothing else."""

import base64
import io
import re
from unittest import mock

import IPython.display
import nbformat
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from PIL import Image as Pixels

from airstats.base.errors import AirstatsError
from airstats.documents.page import Image, Page
from airstats.documents.pdf import pdf_of
from airstats.documents.run_notebooks import run_quarter_notebooks
from airstats.reports.display import (
    DPI,
    STRICT,
    Picture,
    Words,
    pixels,
    show,
    show_table,
    told_csv,
    unpacked,
)
from tests.documents.test_run_notebooks import ROOT, write_notebook
from tests.pages import dot, jobs


@pytest.fixture
def lenient(monkeypatch):
    monkeypatch.delenv(STRICT)


@pytest.fixture
def shown(monkeypatch):
    parts = []
    monkeypatch.setattr(IPython.display, "display", lambda part, **_: parts.append(part))
    return parts


def section(fault):
    yield Words("Before.")
    if fault:
        raise fault
    yield None
    yield jobs()


SINGULAR = np.linalg.LinAlgError("Singular\nmatrix")
SAID = (
    "**This part could not be worked out** (LinAlgError: Singular matrix). That is a fault of"
    " airstats, not of your records; nothing else on this page rests on it."
)


def test_a_section_is_shown_part_by_part(shown):
    show(section, None)
    show(Words, "One part.")
    show(tuple, [Words("Two"), Words("parts.")])
    assert [str(part) for part in shown[:1] + shown[2:]] == [
        "Before.",
        "One part.",
        "Two",
        "parts.",
    ]
    assert "Jobs & <crews>" in shown[1]["text/plain"]


def test_what_fails_says_so_in_its_place(shown, lenient):
    show(section, SINGULAR)
    assert [str(part) for part in shown] == ["Before.", SAID]


def test_a_picture_that_cannot_be_drawn_says_so(shown, lenient):
    picture = dot()
    picture.figure.axes[0].set_xlabel("$\\nosuch$", parse_math=True)
    show(lambda: picture)
    assert len(shown) == 1
    assert str(shown[0]).startswith("**This part could not be worked out** (ValueError: ")


def test_what_the_user_can_mend_stops_the_notebook(shown, lenient):
    with pytest.raises(AirstatsError, match="no job J9"):
        show(section, AirstatsError("no job J9"))


def test_a_failure_is_fatal_in_tests(shown):
    with pytest.raises(np.linalg.LinAlgError):
        show(section, SINGULAR)


CELL = (
    f"import sys\nsys.path.insert(0, {str(ROOT)!r})\n"
    "from tests.reports.test_display import SINGULAR, section, show\n\nshow(section, {})"
)
# A kernel that is copied is as strict as what it is copied from.
AS_A_USER_HAS_IT = f"import os\ndel os.environ[{STRICT!r}]"


def run_part(folder, nursery, *code):
    write_notebook(folder, "part", *code)
    more = {"notebooks": folder, "nursery": nursery}
    run_quarter_notebooks({"part": {}}, folder / "out", progress=False, **more)


def test_a_report_is_written_all_the_same_and_the_run_tells(tmp_path, nursery, capsys):
    run_part(tmp_path, nursery, AS_A_USER_HAS_IT, CELL.format("SINGULAR"), CELL.format("None"))
    assert capsys.readouterr().err == f"part: {SAID}\n"
    kept = nbformat.read(tmp_path / "out" / "part.ipynb", as_version=4)
    assert SAID in str(kept.cells)
    page = (tmp_path / "out" / "part.html").read_text(encoding="utf-8")
    assert page.index("could not be worked out") < page.index("Jobs &amp; &lt;crews&gt;")
    assert (tmp_path / "out" / "part.pdf").exists()


def test_a_failure_in_a_run_of_tests_leaves_no_page(tmp_path, nursery):
    with pytest.raises(AirstatsError, match="LinAlgError: Singular"):
        run_part(tmp_path, nursery, CELL.format("SINGULAR"))


def test_a_table_shows_nothing_without_a_sign():
    shown = repr(show_table(pd.DataFrame({"saved_cost": [-0.3, -3.0]}), "Saved"))
    assert re.findall(r"[-−]?\d+$", shown, re.M) == ["0", "−3"]


def test_packs_have_a_comma_at_the_thousand():
    frame = pd.DataFrame({"estimated_packs": [1614.0], "used_packs": [12.5]})
    rows = show_table(frame, "Packs")._repr_mimebundle_()[1]["text/html"]["rows"]
    assert rows == [["1,614", "12.5"]]


def test_a_table_calls_a_code_by_what_readers_call_it():
    frame = pd.DataFrame(
        {
            "allowance": ["waste", "reveal.diagonal", "frame tape"],
            "cut_pattern": ["centre", "lined", ""],
            "crew": ["centre", "reveal.lined", "a_b"],
            "pull": [-0.033, 0.004, 0.0],
        }
    )
    rows = show_table(frame, "Pulls")._repr_mimebundle_()[1]["text/html"]["rows"]
    assert rows == [
        ["waste", "slit", "centre", "−0.033"],
        ["corner to corner", "lined", "reveal.lined", "+0.004"],
        ["frame tape", "–", "a_b", "0.000"],
    ]


def test_a_picture_is_laid_out_and_drawn_once_for_all_its_files(monkeypatch):
    picture, drawn = dot(), []
    layouts, draw = mock.Mock(wraps=picture.figure.get_layout_engine().execute), Figure.draw
    monkeypatch.setattr(picture.figure.get_layout_engine(), "execute", layouts)
    monkeypatch.setattr(Figure, "draw", lambda *given: (drawn.append(1), draw(*given)))
    (shown, about) = picture._repr_mimebundle_()
    assert (layouts.call_count, len(drawn)) == (1, 1)
    svg = unpacked(about["image/png"]["svg"])
    assert base64.b64decode(shown["image/png"]) == pixels(svg) == picture.png()
    # As many pixels as its inches hold.
    wide, high = picture.figure.get_size_inches() * DPI
    assert Pixels.open(io.BytesIO(pixels(svg))).size == pytest.approx((wide, high), abs=1)


def labelled(text):
    figure = Figure(figsize=(3, 2), layout="constrained")
    figure.add_subplot().set_xlabel(text)
    return Picture("x", figure, "A picture", pd.DataFrame({"a": [1]}))


@pytest.mark.filterwarnings("ignore:Glyph .* missing from font")
def test_a_sign_that_the_typeface_lacks_is_a_box_and_the_rest_of_its_text_stays():
    picture = labelled("crew 日")
    svg = picture.svg()
    # A browser may well have the sign.
    assert "crew 日" in svg
    assert picture.png() == pixels(svg.replace("日", "□")) != pixels(svg.replace("crew 日", ""))
    page = Page("Report", (Image("x", "A picture", picture.png(), svg, ""),), {}, "")
    with mock.patch("airstats.documents.pdf.typeset", return_value=b"") as typeset:
        pdf_of(page)
    assert typeset.call_args.args[0]["picture-0.svg"] == svg.replace("日", "□")


def test_the_numbers_beside_a_picture_are_headed_and_worded_for_readers():
    frame = pd.DataFrame(
        {
            "job_id": ["a_b"],
            "reveal_mm": [-350.0],
            "new_low": [0.1],
            "reveal.diagonal": [0.45],
            "cause": ["crew X_1"],
            "cut_pattern": ["centre"],
            "from_summary": [True],
        }
    )
    assert told_csv(frame).splitlines() == [
        'job,"reveal, mm","new value, low (90 %)",corner to corner,cause,cut as noted,from summary',
        "a_b,-350,0.1,0.45,crew X_1,slit,yes",
    ]


def test_figures_with_their_reach_stand_at_the_right_as_numbers_do():
    frame = pd.DataFrame(
        {"over": ["32 ± 9", "−1,100 ± 14.5"], "reveal_took": ["0.44 ± 0.24", "0.23 (0 to 0.64)"]}
    )
    about = show_table(frame, "Packs")._repr_mimebundle_()[1]["text/html"]
    assert about["numbers"] == [True, False]
