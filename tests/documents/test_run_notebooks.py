import html
import json
import os
import re
import shlex
import signal
import time
from pathlib import Path
from unittest import mock

import nbformat
import papermill
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from papermill.exceptions import PapermillExecutionError

from airstats.__main__ import _parser
from airstats.base.errors import AirstatsError
from airstats.documents.kernels import kernels_of
from airstats.documents.page import Plain, images, notebook_page
from airstats.documents.run_notebooks import NOTEBOOKS, notebooks_folder, run_quarter_notebooks
from tests.benchmark.every_analysis import run_notebook
from tests.forks import Copy

ROOT = Path(__file__).parents[2]
PARAMETERS = 'word: str = "good"  # what to say\nfail: bool = False  # whether to fail'


RECORDS = 'records: str = ""  # r\nquarter: str = ""  # q\ndates: str = "ask"  # d'
ORDERS = 'takeoff: str = ""  # t\nleftover_cost: float = 60.0  # l\nshort_cost: float = 240.0  # s'
DOT = f"import sys\nsys.path.insert(0, {str(ROOT)!r})\nfrom tests.pages import dot\ndot()"


def write_notebook(folder, name, *code, parameters=PARAMETERS):
    first = new_code_cell(parameters, metadata={"tags": ["parameters"]})
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
    for page in ("fails.html", "fails.pdf"):
        (out / page).write_text("of an earlier run", encoding="utf-8")
    wanted = {"works": {"word": "fine"}, "fails": {"fail": True}}
    here = Path.cwd()
    with pytest.raises(AirstatsError) as caught:
        run_quarter_notebooks(wanted, out, progress=False, notebooks=folder)
    assert Path.cwd() == here
    return out, str(caught.value)


def test_a_failure_names_cell_and_reason_and_leaves_its_half_run_copy(ran):
    assert ran[1] == ("fails, cell 4: ValueError: bad; rows (half-run copy: fails.failed.ipynb)")
    names = {path.name for path in ran[0].iterdir()}
    assert names == {"works.html", "works.pdf", "works.ipynb", "fails.failed.ipynb"}
    half = nbformat.read(ran[0] / "fails.failed.ipynb", as_version=4)
    assert any("'good!'" in str(cell.get("outputs")) for cell in half.cells)


def test_with_codes_no_half_run_copy_is_kept(tmp_path, nursery):
    parameters = f"{PARAMETERS}\ncodes: bool = False  # whether names are codes"
    write_notebook(tmp_path, "fails", "raise ValueError('bad')", parameters=parameters)
    wanted = {"fails": {"codes": True}}
    more = {"progress": False, "notebooks": tmp_path, "nursery": nursery}
    with pytest.raises(AirstatsError, match=r"bad \(with codes no half-run copy is kept\)$"):
        run_quarter_notebooks(wanted, tmp_path / "out", **more)
    assert not list((tmp_path / "out").iterdir())


def test_the_page_of_a_run_states_parameters_versions_and_a_command_without_folders(ran):
    page = (ran[0] / "works.html").read_text(encoding="utf-8")
    assert "<title>A &lt;small&gt; title · " in page
    assert "fine" in page
    assert ran[0].parent.name in page  # a notebook runs in its own folder
    assert re.search(r"python 3\.\d+\.\d+, airstats \d", page)
    assert "airstats quarter" in page
    assert str(ran[0].parent) not in page
    arguments = command_of(ran[0] / "works.html")
    assert arguments[-2:] == ["--out", "FOLDER/out"]


def test_unknown_parameters_and_notebooks_are_refused_by_name(tmp_path):
    write_notebook(tmp_path, "works", "word")
    with pytest.raises(AirstatsError, match="works has no parameter wrod: use one of word, fail"):
        run_quarter_notebooks({"works": {"wrod": 1}}, tmp_path / "out", False, tmp_path)
    assert not (tmp_path / "out").exists()
    with pytest.raises(AirstatsError, match="there is no notebook absent: use one of"):
        run_quarter_notebooks({"absent": {}}, tmp_path / "out", False, tmp_path)


@pytest.fixture(scope="module")
def costed(tmp_path_factory, nursery):
    """Run two notebooks, one with a takeoff, from the folder that holds records and output."""
    folder = tmp_path_factory.mktemp("firm's own")
    for name in ("records", "next jobs"):
        (folder / name).mkdir()
        (folder / name / "jobs.csv").write_text("job_id,surface_m2\nA,100\n", encoding="utf-8")
    for name, lines in {"first": RECORDS, "second": f"{RECORDS}\n{ORDERS}"}.items():
        write_notebook(folder, name, DOT, parameters=lines)
    common = {"records": str(folder / "records"), "quarter": "2026Q3", "dates": "day-first"}
    costs = {"takeoff": str(folder / "next jobs"), "leftover_cost": 61.25, "short_cost": 240.0}
    wanted = {"first": common, "second": common | costs}
    here = Path.cwd()
    os.chdir(folder)
    try:
        more = {"notebooks": folder, "nursery": nursery}
        run_quarter_notebooks(wanted, folder / "out", progress=False, **more)
    finally:
        os.chdir(here)
    return folder


def command_of(page):
    command = re.search("To make it again: <code>(.*?)</code>", page.read_text(encoding="utf-8"))[1]
    program, *arguments = shlex.split(html.unescape(command))
    assert program == "airstats"
    return arguments


@pytest.mark.parametrize("name", ["first", "second"])
def test_every_report_of_a_run_states_the_whole_command(costed, name):
    asked = _parser().parse_args(command_of(costed / "out" / f"{name}.html"))
    assert (asked.records, asked.takeoff, asked.out) == ("records", "next jobs", "out")
    assert (asked.quarter, asked.dates, asked.previous) == ("2026Q3", "day-first", "")
    assert (asked.leftover_cost, asked.short_cost) == (61.25, 240.0)
    assert not asked.set_aside_bad_rows


def test_pages_and_pictures_stand_beside_the_notebook(costed):
    out = costed / "out"
    for name in ("first", "second"):
        assert (out / f"{name}.pdf").read_bytes().startswith(b"%PDF-")
        assert (out / "data" / f"{name}-dot.png").read_bytes().startswith(b"\x89PNG")
        assert "</svg>" in (out / "data" / f"{name}-dot.svg").read_text(encoding="utf-8")
        assert (out / "data" / f"{name}-dot.csv").read_text(encoding="utf-8") == "x,y\n1,3\n2,5\n"


@pytest.mark.parametrize("name", NOTEBOOKS)
class TestNotebooks:
    @pytest.fixture
    def notebook(self, name):
        return nbformat.read(notebooks_folder() / f"{name}.ipynb", as_version=4)

    def test_cells_are_short_and_define_nothing(self, notebook, name):
        code = [cell.source for cell in notebook.cells if cell.cell_type == "code"]
        parameters = [c.source for c in notebook.cells if c.metadata.get("tags") == ["parameters"]]
        assert all(len(s.splitlines()) <= 10 for s in code if s not in parameters)
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
        assert kinds <= {"execute_result", "display_data"}

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

    def test_every_kept_table_and_picture_can_be_exported(self, notebook, name):
        page = notebook_page(notebook, {}, "")
        assert not [part for part in page.blocks if isinstance(part, Plain)]
        assert all(picture.svg for picture in images(page))


def test_notebooks_open_the_desk_of_the_run_and_what_is_kept_does_not_name_it(
    tmp_path, desk, nursery
):
    given = 'records: str = ""  # r\nsaved_desk: str = ""  # d'
    opened = "from airstats.reports.desk import load_desk\nload_desk(saved_desk).quarter"
    write_notebook(tmp_path, "works", opened, parameters=given)
    write_notebook(tmp_path, "fails", f"{opened}\nraise ValueError", parameters=given)
    out, asked = tmp_path / "out", {"records": "nowhere"}
    more = {"notebooks": tmp_path, "desk": desk, "nursery": nursery}
    with pytest.raises(AirstatsError, match="fails, cell 3: ValueError"):
        run_quarter_notebooks({"works": asked, "fails": asked}, out, False, **more)
    page = (out / "works.html").read_text(encoding="utf-8")
    assert desk.quarter in page
    assert desk.records.digest in page
    for name in ("works", "fails.failed"):
        kept = nbformat.read(out / f"{name}.ipynb", as_version=4)
        assert kept.metadata.papermill.parameters == asked
        (injected,) = (c for c in kept.cells if "injected-parameters" in c.metadata.get("tags", []))
        assert injected.source == "records = 'nowhere'"
    assert {path.name for path in out.iterdir()} == {
        "works.html", "works.pdf", "works.ipynb", "fails.failed.ipynb",
    }  # fmt: skip


def test_a_notebook_is_written_at_its_end_not_at_every_cell(tmp_path, monkeypatch, nursery):
    saved = mock.Mock()
    monkeypatch.setattr(papermill.engines, "write_ipynb", saved)
    write_notebook(tmp_path, "works", "word", "word", "word")
    more = {"notebooks": tmp_path, "nursery": nursery}
    run_quarter_notebooks({"works": {}}, tmp_path / "out", progress=False, **more)
    saved.assert_not_called()
    assert (tmp_path / "out" / "works.ipynb").is_file()


def test_a_kernel_that_dies_leaves_what_it_had_shown(tmp_path):
    write_notebook(tmp_path, "dies", "word", "import os, signal; os.kill(os.getpid(), 9)", "word")
    with pytest.raises(AirstatsError, match="dies, kernel: DeadKernelError"):
        run_quarter_notebooks({"dies": {}}, tmp_path / "out", progress=False, notebooks=tmp_path)
    half = nbformat.read(tmp_path / "out" / "dies.failed.ipynb", as_version=4)
    assert "'good'" in str(half.cells[2].outputs)
    assert not half.cells[3].outputs


def test_braces_in_a_path_are_signs_like_any_other(tmp_path, nursery):
    folder = tmp_path / "a{0}b {"
    out = folder / "{word} out"
    folder.mkdir()
    write_notebook(folder, "works", "word")
    more = {"notebooks": folder, "nursery": nursery}
    run_quarter_notebooks({"works": {"word": "{x}"}}, out, progress=False, **more)
    assert (out / "works.pdf").is_file()


def test_a_path_that_is_no_text_is_refused(tmp_path):
    write_notebook(tmp_path, "works", "word")
    with pytest.raises(AirstatsError, match=r"rec<DCFF>: the path holds a byte that is no text"):
        run_quarter_notebooks({"works": {"word": "rec\udcff"}}, tmp_path / "out", False, tmp_path)
    assert not (tmp_path / "out").exists()


def test_an_interrupted_run_ends_its_kernels_and_says_so(tmp_path):
    pids, out = tmp_path / "pids", tmp_path / "out"
    stay = f"import os, time; open({str(pids)!r}, 'a').write(f'{{os.getpid()}}\\n'); time.sleep(99)"
    for name in ("first", "second", "third"):
        write_notebook(tmp_path, name, stay)
    out.mkdir()
    (out / "first.html").write_text("of an earlier run", encoding="utf-8")
    run = f"""
import signal
from pathlib import Path
from airstats import __main__
from airstats.base import result_folder
from airstats.cli import commands
from airstats.documents import run_notebooks
def backtest(asked):
    making = Path(asked.out) / result_folder.MAKING
    with result_folder.made_together(Path(asked.out), of_failure="*.failed.ipynb"):
        names = dict.fromkeys(["first", "second", "third"], {{}})
        run_notebooks.run_quarter_notebooks(names, making, notebooks=Path({str(tmp_path)!r}))
commands.backtest = backtest
# Whoever began the tests may have told them to ignore it.
signal.signal(signal.SIGINT, signal.default_int_handler)
raise SystemExit(__main__.main(["backtest", "x", "--out", {str(out)!r}]))
"""
    process = Copy(run, tmp_path)
    while not pids.exists() or len(pids.read_text().splitlines()) < 2:
        assert process.poll() is None
        time.sleep(0.1)
    os.kill(process.pid, signal.SIGINT)
    status, _, said = process.end(within_s=60)
    assert status == 130
    assert said.splitlines()[-1].startswith("stopped by Ctrl-C: no file is half-written.")
    assert "Traceback" not in said
    assert [path.name for path in out.iterdir()] == ["first.html"]
    for pid in pids.read_text().split():
        with pytest.raises(ProcessLookupError):
            os.kill(int(pid), 0)


NOWHERE = 'RecordsError: There is no file or folder "nowhere". Expected: a folder'


def test_by_hand_the_last_line_is_the_sentence_for_people(tmp_path, nursery):
    files = notebooks_folder() / f"{NOTEBOOKS[0]}.ipynb", tmp_path / "o.ipynb"
    more = {"progress_bar": False, "resources": {"metadata": {"path": str(tmp_path)}}}
    more["kernel_manager_class"] = kernels_of(nursery)
    with pytest.raises(PapermillExecutionError) as caught:
        papermill.execute_notebook(*files, {"records": "nowhere"}, **more)
    assert str(caught.value).rstrip().splitlines()[-1].startswith(NOWHERE)


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_each_notebook_stops_with_this_sentence_alone(name):
    """In this process: what a run by hand prints last is what the cell raises."""
    (fault,) = run_notebook(name, {"records": "nowhere"})
    assert re.fullmatch(rf"{name}, code cell [23]: {re.escape(NOWHERE)}[^\n]*", fault)
