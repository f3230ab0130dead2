import os
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from airstats.__main__ import main
from airstats.model.allowances import unchanged
from airstats.model.posterior import admit_crews


@pytest.fixture
def desk(tmp_path, coarse, monkeypatch):
    """A folder of records, the same as a workbook, a takeoff and allowances, as a person has."""
    demo = Path(__file__).parents[2] / "data"
    for name in ("demo", "demo_takeoff"):
        shutil.copytree(demo / name, tmp_path / name)
    shutil.copy(demo / "demo.xlsx", tmp_path / "demo.xlsx")
    known = unchanged("2026Q3")
    met = admit_crews(known.belief, np.array(["Alder", "Birch", "Cedar", "Elm", "Oak"]))
    replace(known, belief=met).save(tmp_path / "allowances.json")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def everything(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


CALIBRATE = ("calibrate", "demo", "--quarter", "2026Q3", "--out")
QUARTER = ("quarter", "demo", "--quarter", "2026Q3", "--out")
PRICE = ("price", "demo_takeoff", "--allowances", "allowances.json", "--out")


@pytest.mark.parametrize(
    "arguments",
    [
        (*CALIBRATE, "allowances.json", "--previous", "allowances.json"),
        (*PRICE, "demo_takeoff/jobs.csv"),
        (*PRICE, "demo_takeoff/../demo_takeoff/openings.csv"),
        (*PRICE, "orders.csv", "--buying-list", "demo_takeoff"),
        ("backtest", "demo", "--out", "demo"),
        ("quarter", "demo", "--quarter", "2026Q3", "--out", "demo"),
        ("quarter", "demo", "--quarter", "2026Q3", "--out", ".", "--previous", "allowances.json"),
        (*QUARTER, "new", "--codes-key", "demo/jobs.csv"),
        (*QUARTER, "new", "--codes-key", "demo_takeoff/jobs.csv", "--firms", "x; demo_takeoff"),
        (*QUARTER, "new", "--codes-key", "demo_takeoff/jobs.csv", "--takeoff", "beside"),
    ],
)
def test_nothing_that_is_read_is_written_over(desk, capsys, arguments):
    before = everything(desk)
    assert main(list(arguments)) == 1
    assert "would take the place of what is read from" in capsys.readouterr().err
    assert everything(desk) == before


def test_a_link_to_the_records_is_the_records_and_a_result_may_stand_beside_them(desk, capsys):
    (desk / "link.json").symlink_to(desk / "demo.xlsx")
    before = (desk / "demo.xlsx").read_bytes()
    assert main(["calibrate", "demo.xlsx", "--quarter", "2026Q3", "--out", "link.json"]) == 1
    assert "give the result a name of its own" in capsys.readouterr().err
    assert (desk / "demo.xlsx").read_bytes() == before
    assert main([*PRICE, "demo_takeoff/orders.csv"]) == 0
    assert main([*PRICE, "demo_takeoff/orders.csv"]) == 0


@pytest.mark.parametrize(
    ("arguments", "fits"),
    [
        ((*CALIBRATE, "demo/jobs.csv"), ".json"),
        ((*CALIBRATE, "new"), ".json"),
        ((*PRICE, "quote.xlsx"), ".csv"),
        ((*PRICE, "allowances.json"), ".csv"),
        ((*PRICE, "o.csv", "--buying-list", "o.csv"), "a folder"),
        (("backtest", "demo", "--out", "table.csv"), "a folder"),
        ((*QUARTER, "report.pdf"), "a folder"),
        ((*QUARTER, "new", "--codes-key", "key"), ".csv"),
    ],
)
def test_an_ending_that_does_not_fit_is_a_wrong_call(desk, capsys, arguments, fits):
    before = everything(desk)
    with pytest.raises(SystemExit) as stop:
        main(list(arguments))
    assert stop.value.code == 2
    assert fits in capsys.readouterr().err.splitlines()[-1]
    assert everything(desk) == before


@pytest.mark.parametrize(
    "arguments",
    [
        (*PRICE, "list/buying_list.csv", "--buying-list", "list"),
        (*PRICE, "o.csv", "--buying-list", "o.csv/list"),
        (*PRICE, "set_aside.csv"),
        (*QUARTER, "new", "--codes-key", "new/orders.csv"),
    ],
)
def test_two_results_want_two_places(desk, capsys, arguments):
    before = everything(desk)
    assert main(list(arguments)) == 1
    assert re.search("place of its own|another name", capsys.readouterr().err)
    assert everything(desk) == before
    assert not (desk / "list").exists()
    assert not (desk / "new").exists()


@pytest.mark.parametrize(
    ("make", "arguments"),
    [
        (os.mkfifo, (*PRICE, "odd.csv")),
        (os.mkdir, (*PRICE, "odd.csv")),
        (os.mkfifo, (*CALIBRATE, "odd.json")),
        (os.mkfifo, ("backtest", "demo", "--out", "odd")),
        (os.mkfifo, (*QUARTER, "odd")),
        (os.mkfifo, (*QUARTER, "new", "--codes-key", "odd.csv")),
        (os.mkfifo, (*PRICE, "o.csv", "--buying-list", "odd")),
    ],
)
def test_what_is_no_ordinary_place_is_refused(desk, capsys, make, arguments):
    odd = next(word for word in arguments if word.startswith("odd"))
    make(odd)
    before = sorted(desk.rglob("*")), os.lstat(odd).st_ino
    assert main(list(arguments)) == 1
    assert re.search(r"is there and is no (ordinary file|folder)", capsys.readouterr().err)
    assert (sorted(desk.rglob("*")), os.lstat(odd).st_ino) == before


@pytest.mark.parametrize(
    ("own", "arguments"),
    [
        ("plans.json", (*CALIBRATE, "plans.json")),
        ("orders.csv", (*PRICE, "orders.csv")),
        ("list/buying_list.html", (*PRICE, "o.csv", "--buying-list", "list")),
        ("tests/backtest_jobs.csv", ("backtest", "demo", "--out", "tests")),
        ("new/evidence.html", (*QUARTER, "new")),
        ("keys/key.csv", (*QUARTER, "new", "--codes-key", "keys/key.csv")),
    ],
)
@pytest.mark.usefixtures("quick_files")
def test_a_persons_own_file_is_refused_as_a_place(desk, capsys, monkeypatch, own, arguments):
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", lambda *_, **__: [])
    (desk / own).parent.mkdir(exist_ok=True)
    (desk / own).write_text("job_id,mine\n")
    before = everything(desk)
    assert main(list(arguments)) == 1
    told = capsys.readouterr()
    assert f"take the place of {Path(own).name}, which airstats did not write" in told.err
    assert "written" not in told.out
    assert everything(desk) == before


def test_an_empty_file_of_the_name_holds_nothing_to_lose(desk):
    (desk / "new.json").touch()
    assert main(["calibrate", "demo", "--out", "new.json"]) == 0
    assert (desk / "new.json").stat().st_size > 0
