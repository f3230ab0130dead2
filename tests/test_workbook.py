import json
import re
from pathlib import Path

import nbformat
import pandas as pd
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from airstats.errors import AirstatsError
from airstats.export import picture_tables, report_html
from airstats.screen import Table
from airstats.workbook import NOTEBOOKS, notebooks_folder, run_quarter_notebooks

ROOT = Path(__file__).parent.parent
PARAMETERS = 'word: str = "good"  # what to say\nfail: bool = False  # whether to fail'


def write_notebook(folder, name, *code):
    first = new_code_cell(PARAMETERS, metadata={"tags": ["parameters"]})
    cells = [new_markdown_cell("# A <small> title"), first, *map(new_code_cell, code)]
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    nbformat.write(new_notebook(cells=cells, metadata=kernel), folder / f"{name}.ipynb")


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """Run one notebook that works and one that fails, together."""
    folder = tmp_path_factory.mktemp("notebooks")
    write_notebook(folder, "works", "word", "import os; os.path.basename(os.getcwd())")
    write_notebook(folder, "fails", 'word + "!"', "if fail:\n    raise ValueError('bad\\nrows')")
    out = folder / "out"
    out.mkdir()
    (out / "fails.html").write_text("of an earlier run", encoding="utf-8")
    wanted = {"works": {"word": "fine"}, "fails": {"fail": True}}
    here = Path.cwd()
    with pytest.raises(AirstatsError) as caught:
        run_quarter_notebooks(wanted, out, progress=False, notebooks=folder)
    assert Path.cwd() == here
    return out, str(caught.value)


def test_a_failure_names_notebook_cell_and_reason_in_one_line(ran):
    assert ran[1] == ("fails, cell 4: ValueError: bad; rows (half-run copy: fails.failed.ipynb)")


def test_a_failed_notebook_leaves_its_half_run_copy_and_no_page(ran):
    names = {path.name for path in ran[0].iterdir()}
    assert names == {"works.html", "works.ipynb", "fails.failed.ipynb"}
    half = nbformat.read(ran[0] / "fails.failed.ipynb", as_version=4)
    assert any("'good!'" in str(cell.get("outputs")) for cell in half.cells)


def test_the_page_of_a_run_states_parameters_versions_and_command(ran):
    page = (ran[0] / "works.html").read_text(encoding="utf-8")
    assert "<title>A &lt;small&gt; title</title>" in page
    assert "fine" in page
    assert ran[0].parent.name in page  # a notebook runs in its own folder
    assert re.search(r"python 3\.\d+\.\d+, airstats \d", page)
    assert "airstats quarter" in page
    assert str(ran[0].parent) not in page


def test_unknown_parameters_are_refused_by_name(tmp_path):
    write_notebook(tmp_path, "works", "word")
    with pytest.raises(AirstatsError, match="works has no parameter wrod: use one of word, fail"):
        run_quarter_notebooks({"works": {"wrod": 1}}, tmp_path / "out", False, tmp_path)
    assert not (tmp_path / "out").exists()


def test_an_unknown_notebook_is_refused_by_name(tmp_path):
    with pytest.raises(AirstatsError, match="there is no notebook absent: use one of"):
        run_quarter_notebooks({"absent": {}}, tmp_path / "out", False, tmp_path)


@pytest.fixture(scope="module")
def page():
    table = Table(pd.DataFrame({"job_id": ["A"], "saving": [1.0]}), "Jobs")
    about = {"image/png": {"alt": 'A "small" dot', "name": "dot", "csv": "x\n1\n"}}
    outputs = [
        new_output("display_data", {"text/html": table._repr_html_()}),
        new_output("display_data", {"text/html": table._repr_html_()}),
        new_output("display_data", {"image/png": "AAAA", "text/plain": "dot"}, metadata=about),
        new_output("display_data", {"text/markdown": "**bold** words"}),
        new_output("display_data", {"text/markdown": "crew <script>x</script>"}),
        new_output("stream", name="stderr", text="a warning"),
    ]
    cells = [new_markdown_cell("# Title"), new_code_cell("secret_code()", outputs=outputs)]
    notebook = new_notebook(cells=cells)
    return notebook, report_html(notebook, {"quarter": "2026Q3"}, "airstats quarter demo")


def test_a_page_stands_alone_without_script_or_code(page):
    html = page[1]
    assert "<script" not in html
    assert not re.search(r"(src|href)=\"(?!data:)", html)
    assert not re.search(r"url\(|@import|https?://", html)
    assert "secret_code" not in html
    assert "a warning" not in html


def test_a_page_serves_readers_who_cannot_see(page):
    html = page[1]
    assert '<html lang="en">' in html
    assert "<title>Title</title>" in html
    assert 'alt="A &#34;small&#34; dot"' in html
    assert all("scope=" in cell for cell in re.findall(r"<th\b[^>]*>", html))
    assert 'aria-label="Jobs"' in html
    assert "<strong>bold</strong> words" in html


def test_ids_of_a_page_are_unique(page):
    ids = re.findall(r'\bid="([^"]+)"', page[1])
    assert len(ids) == len(set(ids)) > 0


def test_numbers_of_pictures_are_handed_over_by_name(page):
    assert picture_tables(page[0]) == {"dot": "x\n1\n"}


@pytest.mark.parametrize("name", NOTEBOOKS)
class TestNotebooks:
    @pytest.fixture
    def notebook(self, name):
        return nbformat.read(notebooks_folder() / f"{name}.ipynb", as_version=4)

    def test_cells_are_short_and_define_nothing(self, notebook, name):
        code = [cell.source for cell in notebook.cells if cell.cell_type == "code"]
        assert all(len(source.splitlines()) <= 10 for source in code)
        assert not any(re.search(r"^\s*(def|class|lambda)\b", s, re.MULTILINE) for s in code)

    def test_one_cell_of_parameters_each_with_its_help(self, notebook, name):
        tagged = [c for c in notebook.cells if "parameters" in c.metadata.get("tags", [])]
        assert len(tagged) == 1
        lines = tagged[0].source.splitlines()
        assert all(re.fullmatch(r"\w+: \w+ = \S+  # [^=]+", line) for line in lines)
        assert {"records", "quarter", "previous"} <= {line.split(":")[0] for line in lines}

    def test_kept_outputs_are_those_of_a_whole_run(self, notebook, name):
        code = [cell for cell in notebook.cells if cell.cell_type == "code"]
        assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))
        kinds = {output.output_type for cell in code for output in cell.outputs}
        assert kinds == {"execute_result"}

    def test_nothing_of_the_machine_is_kept(self, notebook, name):
        text = json.dumps(notebook)
        assert str(ROOT) not in text
        assert "0x7f" not in text
        assert "iopub" not in text

    def test_every_kept_picture_has_words(self, notebook, name):
        outputs = [o for cell in notebook.cells for o in cell.get("outputs", [])]
        pictures = [o for o in outputs if "image/png" in o.data]
        assert pictures
        assert all(len(o.metadata["image/png"]["alt"]) > 30 for o in pictures)


def test_a_notebook_of_the_project_runs_on_given_records(tmp_path):
    records = str((ROOT / "data" / "demo").resolve())
    wanted = {"update_allowances": {"records": records, "quarter": "2024Q2"}}
    (page,) = run_quarter_notebooks(wanted, tmp_path, progress=False)
    html = page.read_text(encoding="utf-8")
    assert "<strong>2024Q2, " in html
    assert "sha256:" in html
    assert str(ROOT) not in html
    assert (tmp_path / "data" / "update_allowances-allowances.csv").is_file()
