"""A desk that was saved is the one that was laid out, to the last bit, and gives the same pages."""

import ast
import json
import re
import stat
import warnings
from contextlib import nullcontext
from dataclasses import asdict, replace
from functools import cache
from unittest import mock

import numpy as np
import pandas as pd
import pytest

from airstats.base.formula_guard import csv_of
from airstats.base.plain_data import load_plain, save_plain
from airstats.base.run_settings import SETTINGS, RunSettings
from airstats.documents.run_notebooks import NOTEBOOKS, notebooks_folder
from airstats.reports.desk import load_desk
from airstats.reports.display import Picture
from tests.benchmark.every_analysis import invent, laid_out, parameters, run_notebook, save
from tests.benchmark.work_once import COMMAND, count_work

FIRMS = {
    "all": (4, "materials takeoff firms previous crew mark codes exclude"),
    "rough depths": (9, "codes takeoff crew depth_error_mm"),
    "with names": (4, "materials firms previous crew"),
}
PAGES = [("all", name) for name in NOTEBOOKS] + [
    ("rough depths", name) for name in ("price_jobs", "update_allowances")
]

LONG = (
    "airstats.backtests.against_real_prices.backtest",
    "airstats.reports.evidence_text.backtest",
    "airstats.reports.recording_text.value_of_recording",
)


@pytest.fixture(scope="module")
def ask(tmp_path_factory):
    """Give the settings of a firm's run, the desk that they give, and a file of it: once a firm."""

    @cache
    def asked_of(name):
        seed, has = FIRMS[name]
        firm = replace(invent(seed), kind="usual", jobs=12, has=frozenset(has.split()))
        folder = tmp_path_factory.mktemp("firm")
        settings = RunSettings(**parameters(firm, save(firm, folder)))
        desk = laid_out(asdict(settings))
        desk.save(folder / "desk.json")
        return settings, desk, folder / "desk.json"

    return asked_of


@pytest.fixture(params=FIRMS)
def asked(request, ask):
    """What is asked of one of the firms."""
    return ask(request.param)


def test_every_number_table_and_name_of_a_desk_is_kept(asked):
    settings, desk, file = asked
    again = load_desk(file)
    save_plain(again, file.with_name("again.json"))
    assert file.with_name("again.json").read_bytes() == file.read_bytes()
    for name in ("jobs", "openings", "materials", "set_aside"):
        one, other = getattr(desk.records, name), getattr(again.records, name)
        pd.testing.assert_frame_equal(one, other, check_exact=True, check_column_type="exact")
    for step, kept in zip(desk.chain, again.chain, strict=True):
        assert np.array_equal(step.belief.covariance, kept.belief.covariance)
        assert kept.to_text() == step.to_text()
    assert list(again.firms) == list(desk.firms)
    if settings.codes:
        tables = [again.jobs.table, *(other.table for other in again.other_firms.values())]
        assert all(re.fullmatch(r"J\d{3}", job) for table in tables for job in table["job_id"])
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def pages(name, given):
    """All that a notebook shows: sentences, tables as cells, pictures as their numbers."""
    shown = []

    def drawn(self, *_, **__):
        return {"text/plain": repr(self)}, {"image/png": {"csv": csv_of(self.data)}}

    with (
        mock.patch("IPython.display.display", lambda *what, **how: shown.append((*what, how))),
        mock.patch.object(Picture, "_repr_mimebundle_", drawn),
        warnings.catch_warnings(action="error"),
    ):
        assert list(run_notebook(name, given)) == []
    assert len(shown) > 10
    return repr(shown)


@pytest.mark.parametrize(("asked", "name"), PAGES, indirect=["asked"])
def test_a_notebook_shows_the_same_of_a_saved_desk_as_of_the_sources(asked, name, monkeypatch):
    settings, _, file = asked
    # Of the sources nothing can be read: what is shown is the desk's.
    opened = asdict(settings) | {"records": "nowhere", "takeoff": "", "saved_desk": str(file)}
    shown = pages(name, asdict(settings))
    # What takes long is on the desk: nobody works it out again.
    for place in LONG:
        monkeypatch.setattr(place, mock.Mock(side_effect=AssertionError))
    assert pages(name, opened) == shown


def test_a_run_parses_each_source_once_and_calibrates_one_chain(tmp_path, monkeypatch):
    monkeypatch.setattr("airstats.documents.nursery.kernel_nursery", nullcontext)
    book = "airstats.documents.price_workbook.workbook.price_sheet"
    monkeypatch.setattr(book, lambda *_, **__: b"a book")
    firm = replace(invent(4), kind="usual", jobs=4, has=frozenset({"takeoff", "materials"}))
    records = save(firm, tmp_path)
    takeoff = records.with_name("records_takeoff")
    done = count_work(records, "2023Q4", takeoff, tmp_path / "out")
    assert done.loc[COMMAND, ["sources parsed", "chains"]].tolist() == [2, 1]
    notebooks = done.drop(COMMAND)
    assert sorted(notebooks.index) == sorted(NOTEBOOKS)
    assert not notebooks[["sources parsed", "chains"]].to_numpy().any()
    # Analyses that ask for what another assumption would give update all the same.
    assert notebooks.loc["evidence", "updates"] > 0


def test_no_desk_is_none():
    assert load_desk("") is None


def test_plain_data_keeps_kinds_apart_and_refuses_the_rest(tmp_path):
    table = pd.DataFrame(
        {
            "text": pd.Series(["a", "", "ü"], dtype="str"),
            "or none": pd.Series(["2026Q3", None, None], dtype=object),
            "day": pd.to_datetime(["2026-01-01", None, "2026-01-03"]).astype("datetime64[us]"),
            "number": [0.1 + 0.2, np.nan, -0.0],
            "whole": np.array([1, 2, 3], dtype="int64"),
            "yes": [True, False, True],
        }
    )
    value = {"tuple": (1, [2.5, None]), "array": np.eye(2), "table": table, "n": np.float64(0.1)}
    save_plain(value, tmp_path / "v.json")
    kept = load_plain(tmp_path / "v.json", ())
    assert (kept["tuple"], kept["n"]) == ((1, [2.5, None]), 0.1)
    assert np.array_equal(kept["array"], np.eye(2))
    pd.testing.assert_frame_equal(kept["table"], table, check_exact=True)
    assert kept["table"]["or none"].tolist() == ["2026Q3", None, None]
    for odd in ({1, 2}, np.array([{}], dtype=object), object()):
        with pytest.raises(TypeError, match="is no plain data"):
            save_plain(odd, tmp_path / "odd.json")
    assert not (tmp_path / "odd.json").exists()


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_the_parameters_of_a_notebook_are_the_settings_of_a_run(name):
    cells = json.loads((notebooks_folder() / f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]
    (cell,) = (c for c in cells if "parameters" in c["metadata"].get("tags", ()))
    lines = dict(line.rstrip().split(": ", 1) for line in cell["source"])
    shared = {name: line for name, line in lines.items() if name in SETTINGS}
    assert len(shared) >= 9
    for name, line in shared.items():
        setting, alone = SETTINGS[name], SETTINGS[name].metadata["alone"]
        kind, value = line.split("  # ")[0].split(" = ")
        assert kind == setting.type, name
        assert ast.literal_eval(value) == (setting.default if alone is None else alone), name
        assert line.split("  # ")[1] == setting.metadata["help"], name
    assert {"records", "quarter", "previous", "codes", "saved_desk"} <= set(lines)
