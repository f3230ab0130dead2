import pandas as pd
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from airstats.documents.page import Grid, Image, Plain, images, notebook_page
from airstats.reports.display import Words
from tests.pages import block, dot, jobs


def displayed(shown):
    data, metadata = shown._repr_mimebundle_()
    return new_output("display_data", data, metadata=metadata)


def executed():
    picture, table = dot(), jobs()
    outputs = [
        displayed(picture),
        displayed(table),
        new_output("display_data", {"text/markdown": "**words**", "text/plain": "words"}),
        new_output("display_data", {"text/html": "<b>odd</b>", "text/plain": "odd"}),
        new_output("stream", name="stderr", text="a warning"),
    ]
    cells = [
        new_markdown_cell("# A title\n\nFor the owner."),
        new_code_cell("secret_code()", outputs=outputs),
        new_markdown_cell("## How"),
    ]
    return new_notebook(cells=cells), picture, table


def test_a_page_holds_what_a_reader_sees_in_its_order():
    notebook, picture, table = executed()
    page = notebook_page(notebook, {"quarter": "2026Q3"}, "airstats quarter")
    assert page.title == "A title"
    assert page.blocks == (
        Words("For the owner."),
        block(picture),
        block(table),
        Words("**words**"),
        Plain("odd"),
        Words("## How"),
    )


def test_a_table_keeps_its_words_knows_its_numbers_and_sets_headings_apart():
    grid = block(jobs())
    assert isinstance(grid, Grid)
    assert grid.headings == ("job", "crew", "saving, money")
    assert grid.numbers == (False, False, True)
    assert [row[2] for row in grid.rows] == ["1", "1234"]
    frame = pd.DataFrame({"old_sd": [1.0], "new_sd": [2.0]})
    grid = block(type(jobs())(frame, "Two"))
    assert [heading.strip("\N{ZERO WIDTH SPACE}") for heading in grid.headings] == ["sd"] * 2


def test_a_picture_keeps_its_files_the_same_in_any_order():
    image = block(dot())
    assert image.png.startswith(b"\x89PNG")
    assert "rolls used" in image.svg
    assert 'A "small" dot &amp; a &lt;line&gt;' in image.svg
    assert image.csv == "x,y\n1,3\n2,5\n"
    one, other = dot(), dot()
    assert (one.png(), one.svg()) == (other.svg(), other.png())[::-1]
    assert one.svg() == one.svg()
    assert "date>" not in one.svg()


def test_a_picture_from_elsewhere_is_shown_as_it_is():
    data = {"image/png": "AAAA", "text/plain": "<Figure>"}
    cell = new_code_cell("", outputs=[new_output("display_data", data)])
    page = notebook_page(new_notebook(cells=[cell]), {}, "")
    assert page.title == "Report"
    assert images(page) == [Image("picture", "<Figure>", b"\x00\x00\x00", "", "")]


def test_no_line_ends_between_a_number_its_reach_and_its_per_cent_sign():
    said = "Waste is 18.8 ± 4.1 % of 1,000 m² (90 %), **42 ± 15 rolls**, a ± b"
    output = new_output("display_data", {"text/markdown": said})
    page = notebook_page(new_notebook(cells=[new_code_cell(outputs=[output])]), {}, "")
    assert page.blocks[0].text == (
        "Waste is 18.8\xa0±\xa04.1\xa0% of 1,000 m² (90\xa0%), **42\xa0±\xa015 rolls**, a ± b"
    )
