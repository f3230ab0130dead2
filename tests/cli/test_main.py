import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import airstats
from airstats.__main__ import main
from airstats.cli import quarter_run
from airstats.records import reading

pytestmark = pytest.mark.usefixtures("coarse")
DEMO = Path(__file__).parents[2] / "data" / "demo"
TAKEOFF = DEMO.parent / "demo_takeoff"
ORDERS = [
    *("job_id", "expected_m2", "low_m2", "high_m2", "rolls_p50", "rolls_p80", "rolls_p95"),
    *("order_rolls", "chance_short", "expected_left_over_rolls", "from_stock_rolls", "buy_rolls"),
    *("unmeasured", "width_if_measured_m2", "from_stock_m", "expected_left_on_last_m"),
    *("sheet_cost", "cost_a_m2", "all_in_percent"),
]


@pytest.fixture
def spoilt(tmp_path):
    """The demo records with one reveal of 3000 mm."""
    folder = tmp_path / "spoilt"
    folder.mkdir()
    (folder / "jobs.csv").write_bytes((DEMO / "jobs.csv").read_bytes())
    openings = pd.read_csv(DEMO / "openings.csv", dtype=str, keep_default_na=False)
    openings.loc[3, "reveal_mm"] = "3000"
    openings.to_csv(folder / "openings.csv", index=False)
    return folder


def test_check_reads_its_source_once(monkeypatch):
    read, asked = reading.read_source, []
    monkeypatch.setattr(reading, "read_source", lambda path: asked.append(path) or read(path))
    assert main(["check", str(DEMO)]) == 0
    assert asked == [str(DEMO)]


def test_check_calibrate_then_price(tmp_path, capsys):
    assert main(["check", str(DEMO)]) == 0
    assert "no fault in 175 jobs" in capsys.readouterr().out
    file, orders = tmp_path / "a.json", tmp_path / "orders.csv"
    assert main(["calibrate", str(DEMO), "--quarter", "2026Q3", "--out", str(file)]) == 0
    content = json.loads(file.read_text())
    said = capsys.readouterr().out
    assert "  corner to corner 0." in said
    assert "reveal." not in said
    assert content["quarter"] == "2026Q3"
    assert content["jobs_used"] == len(content["job_ids"]) == 174
    allowances = ["waste", "reveal.diagonal", "reveal.centre", "reveal.lined"]
    assert list(content["allowances"]) == allowances
    call = ["price", str(TAKEOFF), "--allowances", str(file), "--out", str(orders)]
    assert main(call) == 0
    assert list(pd.read_csv(orders).columns) == ORDERS
    assert "do not design the airtight layer" in capsys.readouterr().out


def test_csv_and_workbook_give_the_same_allowances_apart_from_the_digests(tmp_path):
    texts = []
    for source in (DEMO, DEMO.with_suffix(".xlsx")):
        file = tmp_path / f"{source.name}.json"
        assert main(["calibrate", str(source), "--out", str(file)]) == 0
        texts.append(file.read_text().splitlines())
    different = [a for a, b in zip(*texts, strict=True) if a != b]
    assert [line.split('"')[1] for line in different] == ["records", "digest"]


def test_bad_rows_stop_a_run_or_are_set_aside_unchanged(spoilt, tmp_path, capsys):
    file = tmp_path / "out" / "a.json"
    call = ["calibrate", str(spoilt), "--out", str(file)]
    assert main(call) == 1
    assert 'column reveal_mm, value "3000"' in capsys.readouterr().err
    assert not file.parent.exists()
    assert main([*call, "--set-aside-bad-rows"]) == 0
    aside = pd.read_csv(file.parent / "set_aside.csv", dtype=str)
    assert (aside[aside["row"] == "5"]["reveal_mm"] == "3000").any()
    assert aside["reason"].notna().all()


def test_backtest_writes_its_tables_and_a_closed_pipe_is_no_error(tmp_path, capsys):
    assert main(["backtest", str(DEMO), "--out", str(tmp_path)]) == 0
    assert (tmp_path / "backtest_summary.csv").exists()
    assert "priced with the allowances known then" in capsys.readouterr().out
    line = f"{sys.executable} -m airstats calibrate {DEMO} --out /dev/null/x | head -0"
    told = subprocess.run(line, shell=True, capture_output=True, text=True)
    assert "Traceback" not in told.stderr


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (["calibrate", "nowhere", "--out", "x.json"], "nowhere"),
        (["price", str(TAKEOFF), "--allowances", "none.json", "--out", "o.csv"], "none.json"),
        (["calibrate", str(TAKEOFF), "--out", "x.json"], "no finished job"),
    ],
)
def test_data_that_will_not_do(call, words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(call) == 1
    assert words in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "call",
    [
        ["mend", "x"],
        ["calibrate", str(DEMO), "--quarter", "2026-Q3", "--out", "x.json"],
        ["price", str(TAKEOFF), "--allowances", "a", "--out", "o", "--short-cost", "-1"],
    ],
)
def test_wrong_calls(call, capsys):
    with pytest.raises(SystemExit) as stop:
        main(call)
    assert stop.value.code == 2


@pytest.mark.parametrize("verb", ["check", "calibrate", "price", "backtest", "quarter"])
def test_help_has_an_example(verb, capsys):
    with pytest.raises(SystemExit) as stop:
        main([verb, "--help"])
    assert stop.value.code == 0
    assert "example: airstats" in capsys.readouterr().out


def test_records_with_every_job_excluded_say_so(tmp_path, capsys):
    jobs = pd.read_csv(DEMO / "jobs.csv", dtype=str, keep_default_na=False).assign(exclude="flood")
    (tmp_path / "jobs.csv").write_text(jobs.to_csv(index=False))
    (tmp_path / "openings.csv").write_bytes((DEMO / "openings.csv").read_bytes())
    assert main(["calibrate", str(tmp_path), "--out", str(tmp_path / "a.json")]) == 1
    assert "every finished job is excluded" in capsys.readouterr().err


def test_a_name_that_the_terminal_cannot_show_is_shown_otherwise(tmp_path):
    folder = tmp_path / "rec\udcff"
    shutil.copytree(DEMO, folder)
    call = [sys.executable, "-m", "airstats", "check", str(folder)]
    strict = os.environ | {"PYTHONIOENCODING": "utf-8:strict"}
    done = subprocess.run(call, capture_output=True, text=True, check=False, env=strict)
    assert (done.returncode, done.stderr) == (0, "")
    assert r"rec\udcff: no fault in 175 jobs" in done.stdout


@pytest.fixture
def remarkable(tmp_path):
    """The demo's records and takeoff, each with a heading that only looks like a known one."""
    for name in ("demo", "demo_takeoff"):
        folder = tmp_path / name
        shutil.copytree(DEMO.with_name(name), folder)
        jobs = (folder / "jobs.csv").read_text(encoding="utf-8")
        (folder / "jobs.csv").write_text(jobs.replace("roll_width_m", "roll width"))
    return tmp_path


@pytest.mark.parametrize("verb", ["check", "calibrate", "price", "backtest", "quarter"])
@pytest.mark.usefixtures("quick_files")
def test_every_verb_says_what_is_to_be_noted_of_what_it_reads(
    verb, remarkable, monkeypatch, capsys
):
    demo, takeoff, out = (remarkable / name for name in ("demo", "demo_takeoff", "out"))
    known = remarkable / "known.json"
    call = {
        "check": [demo],
        "calibrate": [demo, "--quarter", "2023Q4", "--out", out / "a.json"],
        "price": [takeoff, "--allowances", known, "--out", out / "o.csv"],
        "backtest": [demo, "--out", out],
        "quarter": [demo, "--quarter", "2023Q4", "--takeoff", takeoff, "--out", out,
                    "--firms", remarkable / "other"],
    }[verb]  # fmt: skip
    monkeypatch.setattr(quarter_run, "_make_quarter", lambda *_: ([], "", []))
    shutil.copytree(demo, remarkable / "other")
    if verb == "price":
        airstats.calibrate(airstats.read_records(DEMO), quarter="2023Q4").save(known)
    assert main([verb, *map(str, call)]) == 0
    read = {"price": ["demo_takeoff"], "quarter": ["demo", "demo_takeoff", "other"]}
    said = capsys.readouterr().out
    for source in read.get(verb, ["demo"]):
        note = (
            f"note: {source}: jobs.csv: columns not read: roll width (write roll_width_m,"
            " roll_width_cm or roll_width_mm if that is meant)."
        )
        assert said.count(note) == 1


def test_a_firms_costs_set_the_order_and_options_win(tmp_path, capsys):
    allowances, told = tmp_path / "a.json", tmp_path / "firm.toml"
    assert main(["calibrate", str(DEMO), "--quarter", "2024Q1", "--out", str(allowances)]) == 0

    def ordered(name, *options):
        out = tmp_path / name
        call = ["price", str(TAKEOFF), "--allowances", str(allowances), "--out", str(out)]
        assert main([*call, *options]) == 0
        return pd.read_csv(out)["order_rolls"].sum()

    told.write_text("leftover_cost = 100\nshort_cost = 20\n", encoding="utf-8")
    few = ordered("few.csv", "--firm", str(told))
    assert few < ordered("usual.csv")
    dear = ("--short-cost", "5000")
    assert ordered("many.csv", "--firm", str(told), *dear, "--leftover-cost", "60") == ordered(
        "alone.csv", *dear
    )
    told.write_text("short_cots = 20\n", encoding="utf-8")
    call = ["price", str(TAKEOFF), "--allowances", str(allowances), "--firm", str(told)]
    assert main([*call, "--out", str(tmp_path / "no.csv")]) == 1
    assert "line 1, short_cots: no such key; short_cost is meant" in capsys.readouterr().err
    assert not (tmp_path / "no.csv").exists()
    assert main([*call, "--out", str(tmp_path / "few.csv")]) == 1


def test_an_empty_file_of_the_firm_is_written_read_and_never_over_another(tmp_path, capsys):
    told = tmp_path / "firm.toml"
    assert main(["blank", str(told)]) == 0
    assert f"name it with --firm {told}" in capsys.readouterr().out
    assert airstats.read_firm(told) == airstats.Firm()
    told.write_text("roll_price = 150\n", encoding="utf-8")
    assert main(["blank", str(told)]) == 1
    assert told.read_text(encoding="utf-8") == "roll_price = 150\n"
    with pytest.raises(SystemExit):
        main(["blank", str(tmp_path / "firm.txt")])
    assert "a file is written that ends in .xlsx or .toml" in capsys.readouterr().err
