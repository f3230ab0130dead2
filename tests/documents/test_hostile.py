"""Names that try to run: in pages, spreadsheets, notebooks, file names and the typesetter."""

import ast
import csv
import io
import re
from pathlib import Path

import nbformat
import openpyxl
import pandas as pd
import pytest
from matplotlib.figure import Figure

from airstats.__main__ import main
from airstats.base.formula_guard import csv_of, harmless
from airstats.documents.price_workbook import quote_page
from airstats.documents.price_workbook.workbook import price_sheet
from airstats.documents.purchase_files import buying_page, buying_workbook
from airstats.documents.run_notebooks import run_quarter_notebooks
from airstats.documents.wall_card import allowance_card
from airstats.model.allowances import load_allowances
from airstats.pricing.purchases import buying_list
from airstats.records.reading import read_records
from airstats.reports.display import Picture, Words
from tests.for_each import for_each
from tests.hostile import MARK, NAMES, STARTS, Tags, hostile_firm, named, runs_in_a_spreadsheet
from tests.invented import few_candidates
from tests.test_imports import PACKAGE, imports, tree

FOLDER = 'it\'s "so" \\ {x}\n$y <b>'
REASON = f'a "quoted" \\ reason\n\'\'\'""" + open("{MARK}", "w").name + """\\'
ROOT = Path(__file__).parents[2]


NEVER_IMPORTED = {
    "pickle", "cPickle", "dill", "joblib", "shelve", "marshal", "subprocess", "pty", "socket",
    "ssl", "http", "urllib", "requests", "ftplib", "smtplib", "telnetlib", "webbrowser", "ctypes",
}  # fmt: skip
NEVER_CALLED = {
    "eval", "exec", "compile", "__import__", "system", "popen", "read_pickle", "to_pickle",
    "urlopen", "urlretrieve", "spawnl", "spawnv", "execv", "execl", "from_string", "read_html",
}  # fmt: skip


def never_imported(module):
    """Two processes of one run speak through a pair of sockets that has no address."""
    return NEVER_IMPORTED - ({"socket"} if module.stem in ("kernels", "nursery") else set())


@pytest.mark.parametrize("name", ["kernels", "nursery"])
def test_a_pair_of_sockets_has_no_address(name):
    used = {
        node.attr
        for node in ast.walk(tree(PACKAGE / "documents" / f"{name}.py"))
        if isinstance(node, ast.Attribute) and getattr(node.value, "id", "") == "socket"
    }
    assert used <= {"socket", "socketpair", "send_fds", "recv_fds"}
    nodes = list(ast.walk(tree(PACKAGE / "documents" / f"{name}.py")))
    assert not {_name(node) for node in nodes} & {"connect", "bind", "listen", "create_connection"}


@for_each(sorted(PACKAGE.rglob("*.py")))
def test_no_pickle_no_shell_no_network_and_no_text_is_run(module):
    assert not {name.split(".")[0] for name in imports(module)} & never_imported(module)
    calls = [node for node in ast.walk(tree(module)) if isinstance(node, ast.Call)]
    # Compiling a pattern of text, or a page, runs nothing of it.
    harmless = [call for call in calls if _is_no_code(call.func)]
    assert not {_name(call.func) for call in calls if call not in harmless} & NEVER_CALLED
    assert not [
        word for call in calls for word in call.keywords
        if word.arg in ("shell", "allow_pickle") and getattr(word.value, "value", 1) is not False
    ]  # fmt: skip


def _name(function):
    return getattr(function, "attr", getattr(function, "id", ""))


def _is_no_code(function):
    """Whether a `compile` belongs to patterns or to the typesetter."""
    owner = getattr(getattr(function, "value", None), "id", "")
    return _name(function) == "compile" and owner in ("re", "typst")


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(1)", "\tx", "\rx", "＝1"])
def test_a_text_that_would_run_gets_an_apostrophe(text):
    assert harmless(text) == f"'{text}"
    frame = pd.DataFrame({"job_id": [text, "-5"], "rolls": [-1.5, 2.0], text: ["x", "y"]})
    told = list(csv.reader(io.StringIO(csv_of(frame), newline="")))
    assert told == [["job_id", "rolls", f"'{text}"], [f"'{text}", "-1.5", "x"], ["-5", "2.0", "y"]]
    assert frame["job_id"][0] == text


@pytest.mark.parametrize("value", ["-5", "+3.5", "1e5", "House 1", "", -5.0, None])
def test_numbers_and_plain_names_stay(value):
    assert harmless(value) == value


@pytest.mark.parametrize("name", NAMES)
def test_sentences_and_pictures_take_any_name_as_a_name(name):
    shown = Words(f"**Crew {name}** used more")._repr_markdown_()
    assert not set("<[") & set(re.sub(r"\\.", "", shown))
    figure = Figure(figsize=(3, 2))
    figure.add_subplot().set_xlabel(name)
    picture = Picture("dot", figure, name, pd.DataFrame({"crew": [name]}))
    assert picture.png().startswith(b"\x89PNG")
    assert "<script>" not in picture.svg()
    assert runs_in_a_spreadsheet(picture._repr_mimebundle_()[1]["image/png"]["csv"]) == []


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return hostile_firm(tmp_path_factory.mktemp("hostile") / FOLDER)


@pytest.fixture(scope="module")
def made(records, tmp_path_factory):
    """The files of the commands that need no notebook."""
    out = tmp_path_factory.mktemp("made")
    allowances = str(out / "a.json")
    call = ["price", str(records), "--allowances", allowances, "--out", str(out / "orders.csv")]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("airstats.model.allowances.Prior", few_candidates)
        assert main(["calibrate", str(records), "--out", allowances]) == 0
        assert main([*call, "--buying-list", str(out)]) == 0
        assert main(["backtest", str(records), "--out", str(out)]) == 0
    return out


def test_every_csv_file_can_be_opened(made, quarter):
    files = sorted(made.rglob("*.csv"))
    assert {"orders.csv", "backtest_jobs.csv", "buying_list.csv"} <= {file.name for file in files}
    pictures = sorted((quarter[0] / "data").glob("*.csv"))
    assert pictures
    for file in (*files, *pictures):
        assert runs_in_a_spreadsheet(file.read_text(encoding="utf-8")) == []
    assert sorted(pd.read_csv(made / "orders.csv")["job_id"]) == sorted(map(harmless, named(24)))


def cells_of(book):
    return [cell for sheet in openpyxl.load_workbook(book) for row in sheet for cell in row]


def test_the_buying_list_defuses_jobs_materials_and_units(records, made):
    known = load_allowances(made / "a.json")
    bought = buying_list(read_records(records), known, 60.0, 240.0)
    for start in range(0, len(NAMES), len(bought)):
        some = (NAMES * 2)[start : start + len(bought)]
        told = bought.assign(material=some, unit=some), named(24), "2026Q3"
        assert Tags(buying_page(*told)).dangerous() == []
        cells = cells_of(io.BytesIO(buying_workbook(*told)))
        assert not [cell.value for cell in cells if cell.data_type == "f"]
        assert not [cell.value for cell in cells if str(cell.value).startswith(STARTS)]


def test_price_sheet_and_card_run_nothing_of_the_records(made, monkeypatch):
    known = load_allowances(made / "a.json")
    monkeypatch.setattr(quote_page, "LEAST_ROWS", 3)
    books = io.BytesIO(price_sheet(known, 60.0, 240.0)), made / "buying_list.xlsx"
    formulas = [c.value for book in books for c in cells_of(book) if c.data_type == "f"]
    assert not [formula for formula in formulas for name in NAMES if name in str(formula)]
    assert Tags(allowance_card(known, 60.0, 240.0)).dangerous() == []


def test_what_is_set_aside_stays_as_it_was_and_its_reason_does_not_run(tmp_path):
    rows = [{"job_id": name, "surface_m2": "80 m2", "crew": name} for name in NAMES]
    good = {"job_id": "A1", "surface_m2": "80", "crew": "North"}
    done = {"finished_on": "2026-03-31", "estimated_rolls": "2", "used_rolls": "2"}
    (tmp_path / "r").mkdir()
    pd.DataFrame([good, *rows]).assign(**done).to_csv(tmp_path / "r" / "jobs.csv", index=False)
    call = ["calibrate", str(tmp_path / "r"), "--set-aside-bad-rows", "--out"]
    assert main([*call, str(tmp_path / "o" / "a.json")]) == 0
    aside = pd.read_csv(tmp_path / "o" / "set_aside.csv", dtype=str, keep_default_na=False)
    assert aside["job_id"].tolist() == aside["crew"].tolist() == NAMES
    assert not aside["reason"].str.startswith(STARTS).any()


@pytest.fixture(scope="module")
def quarter(records, tmp_path_factory, nursery):
    """A notebook run over the hostile firm, from a hostile folder, with a hostile reason."""
    out = tmp_path_factory.mktemp("quarter")
    parameters = {"records": str(records), "quarter": "2025Q4", "decision": "keep",
                  "decision_reason": REASON, "decided_by": NAMES[13]}  # fmt: skip
    wanted = {"update_allowances": parameters}
    run_quarter_notebooks(wanted, out, progress=False, nursery=nursery)
    return out, parameters


def test_a_notebook_of_the_project_runs_on_given_records(quarter, records):
    out, _ = quarter
    text = (out / "update_allowances.html").read_text(encoding="utf-8")
    assert "<strong>2025Q4: " in text
    assert read_records(records).digest in text
    assert str(ROOT) not in text
    assert (out / "data" / "update_allowances-allowances.csv").is_file()


def test_parameters_go_in_as_data(quarter):
    out, parameters = quarter
    notebook = nbformat.read(out / "update_allowances.ipynb", as_version=4)
    cell = next(c for c in notebook.cells if "injected-parameters" in c.metadata.get("tags", []))
    body = ast.parse(cell.source).body
    lines = [line for line in body if isinstance(line, ast.Assign)]
    assert {line.targets[0].id: ast.literal_eval(line.value) for line in lines} == parameters
    assert len(lines) == len(body)


def test_nothing_ran_and_nothing_left_its_folder(quarter):
    out, _ = quarter
    for place in (Path.cwd(), ROOT, ROOT / "notebooks", out, out.parent):
        assert not (place / MARK).exists()
    names = {path.relative_to(out).as_posix() for path in out.rglob("*")}
    assert all(re.fullmatch(r"[\w./-]+", name) for name in names)
    assert {"update_allowances.html", "update_allowances.pdf", "data"} <= names


def test_the_page_holds_names_as_text_and_a_policy(quarter):
    text = (quarter[0] / "update_allowances.html").read_text(encoding="utf-8")
    tags = Tags(text)
    assert tags.dangerous() == []
    policies = [a["content"] for t, a in tags.found if a.get("http-equiv")]
    assert policies[0].startswith("default-src 'none'; style-src")
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_outputs_kept_in_the_notebook_hold_no_tag_either(quarter):
    notebook = nbformat.read(quarter[0] / "update_allowances.ipynb", 4)
    for output in [out for cell in notebook.cells for out in cell.get("outputs", [])]:
        data = output.get("data", {})
        assert Tags(data.get("text/html", "")).dangerous() == []
        assert not set("<[") & set(re.sub(r"\\.", "", data.get("text/markdown", "")))
