"""A page to export, with names that try to be more than names."""

import base64
import io
from dataclasses import replace
from unittest.mock import patch

import matplotlib.image
import pandas as pd
from matplotlib.figure import Figure
from nbformat import v4

from airstats.documents.html import html_of
from airstats.documents.page import notebook_page
from airstats.documents.pdf import pdf_of
from airstats.reports.display import Picture, Table, Words, show, unpacked
from tests.text_on_pictures import text_faults

SCRIPT = "<script>document.title='gone'</script>"
TYPST = '#panic("run") $x$ \\ *not bold* @ref'
RIGHT_TO_LEFT = "צוות א"
MADE = {"quarter": "2026Q3", "records": "demo", "records' digest": "sha256:0123456789abcdef"}
COMMAND = "airstats quarter FOLDER/demo --quarter 2026Q3 --out FOLDER/reports"


def dot(name="dot", alt='A "small" dot & a <line>'):
    figure = Figure(figsize=(4, 2), layout="constrained")
    axes = figure.add_subplot()
    axes.plot([1, 2], [3, 5], "o")
    axes.set_xlabel("rolls used")
    return Picture(name, figure, alt, pd.DataFrame({"x": [1, 2], "y": [3, 5]}))


def jobs(**more):
    frame = {"job_id": ["A", SCRIPT], "crew": [TYPST, RIGHT_TO_LEFT], "saving": [1.0, 1234.0]}
    return Table(pd.DataFrame(frame | more), "Jobs & <crews>")


def shown():
    """Return what a notebook of three sections would show."""
    return [
        Words(f"**Two jobs** of crew {SCRIPT} and {RIGHT_TO_LEFT}"),
        Words("## The picture"),
        dot(),
        Words(
            "### Its table\n\n- [a link](https://example.org/x) and `code`\n- ![x](https://example.org/y.png)"
        ),
        jobs(),
        jobs(),
    ]


def assert_drawn(picture):
    """A picture has words and numbers, is wide enough, not blank, and its words can be read."""
    assert len(picture.alt) > 30
    shown, about = picture._repr_mimebundle_()
    assert about["image/png"]["csv"].count("\n") == len(picture.data) + 1 > 1
    pixels = matplotlib.image.imread(io.BytesIO(base64.b64decode(shown["image/png"])))
    assert pixels.shape[1] > 450
    assert pixels[:, :, :3].std() > 0.05
    faults = text_faults(unpacked(about["image/png"]["svg"]))
    assert not faults, (picture.name, faults)


def words_on(figure):
    """Every text in the panels of a figure and beside them."""
    texts = [text for axes in figure.axes for text in axes.texts]
    return [text.get_text() for text in [*texts, *figure.texts]]


def outputs_of(part):
    """The outputs of a cell that shows one part."""
    with patch("IPython.display.display") as display:
        show(lambda: part)
    return [
        v4.new_output("display_data", *call.args, metadata=call.kwargs["metadata"])
        for call in display.call_args_list
    ]


def page_of(title, shown, made, command):
    """The page of a notebook that shows these parts."""
    cells = []
    for part in shown:
        if isinstance(part, Words):
            cells.append(v4.new_markdown_cell(part.text))
        else:
            cells.append(v4.new_code_cell(outputs=outputs_of(part)))
    return replace(notebook_page(v4.new_notebook(cells=cells), made, command), title=title)


def block(part):
    """The block of one part."""
    return page_of("", [part], {}, "").blocks[0]


def page_html(*page):
    return html_of(page_of(*page))


def page_pdf(*page):
    return pdf_of(page_of(*page))
