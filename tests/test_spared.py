import shutil
from pathlib import Path

import pytest

from airstats.__main__ import main
from airstats.allowances import unchanged


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """A folder of records, the same as a workbook, a takeoff and allowances, as a person has."""
    demo = Path(__file__).parents[1] / "data"
    for name in ("demo", "demo_takeoff"):
        shutil.copytree(demo / name, tmp_path / name)
    shutil.copy(demo / "demo.xlsx", tmp_path / "demo.xlsx")
    unchanged("2026Q3").save(tmp_path / "allowances.json")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def everything(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


CALIBRATE = ("calibrate", "demo", "--quarter", "2026Q3", "--out")
PRICE = ("price", "demo_takeoff", "--allowances", "allowances.json", "--out")


@pytest.mark.parametrize(
    "arguments",
    [
        (*CALIBRATE, "demo/jobs.csv"),
        (*CALIBRATE, "demo/../demo/openings.csv"),
        (*CALIBRATE, "demo/jobs.parquet"),
        ("calibrate", "demo.xlsx", "--quarter", "2026Q3", "--out", "demo.xlsx"),
        (*CALIBRATE, "allowances.json", "--previous", "allowances.json"),
        (*PRICE, "allowances.json"),
        (*PRICE, "demo_takeoff/jobs.csv"),
        (*PRICE, "orders.csv", "--buying-list", "demo_takeoff"),
        ("backtest", "demo", "--out", "demo"),
        ("quarter", "demo", "--quarter", "2026Q3", "--out", "demo"),
        ("quarter", "demo", "--quarter", "2026Q3", "--out", ".", "--previous", "allowances.json"),
        ("quarter", "demo", "--quarter", "2026Q3", "--out", "new", "--codes-key", "demo/jobs.csv"),
    ],
)
def test_nothing_that_is_read_is_written_over(desk, capsys, arguments):
    before = everything(desk)
    assert main(list(arguments)) == 1
    assert "would take the place of what is read from" in capsys.readouterr().err
    assert everything(desk) == before


def test_a_link_to_the_records_is_the_records(desk, capsys):
    (desk / "link.xlsx").symlink_to(desk / "demo.xlsx")
    before = (desk / "demo.xlsx").read_bytes()
    assert main(["calibrate", "demo.xlsx", "--quarter", "2026Q3", "--out", "link.xlsx"]) == 1
    assert "give the result a name of its own" in capsys.readouterr().err
    assert (desk / "demo.xlsx").read_bytes() == before


def test_a_result_may_stand_beside_the_tables(desk):
    assert main([*PRICE, "demo_takeoff/orders.csv"]) == 0
    assert main([*PRICE, "demo_takeoff/orders.csv"]) == 0
