"""A length gives the same tables in whichever unit its heading declares."""

import os
import tempfile
from decimal import Decimal
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from airstats.__main__ import main
from airstats.catalog.units import WORDS, converted, declared, name_in, own_unit, units_read
from airstats.records.reading import check_records, read_records
from tests.corruption import KINDS, csv_bytes, parquet_bytes, rows_of, workbook_bytes

DEMO = Path(__file__).parents[2] / "data" / "demo"
TAKEOFF = DEMO.parent / "demo_takeoff"
POWER = {"m": 0, "cm": -2, "mm": -3}
LENGTHS = {
    "jobs": {
        "roll_width_m": ("0.3", "6"),
        "roll_length_m": ("2", "500"),
        "lap_mm": ("30", "149"),
        "perimeter_m": ("0", "19999"),
        "sealant_m": ("0", "19999"),
    },
    "openings": {
        "width_mm": ("100", "2000"),
        "height_mm": ("100", "2000"),
        "reveal_mm": ("10", "1000"),
    },
}
"""Columns of lengths and what is plausible in each, in the contract's unit."""
JOB = {"job_id": "A1", "surface_m2": "3000"}
OPENING = {"job_id": "A1", "count": "2", "cut_pattern": "diagonal", "Width of frame": "1,2 m"}
CONSTANT = {"jobs": JOB, "openings": OPENING}


def in_unit(text, column, unit):
    """Write a length of the contract's column in another unit, digit for digit."""
    return f"{Decimal(text).scaleb(POWER[own_unit(column)] - POWER[unit]):f}"


def lengths(column, low, high):
    """Lengths to a millionth of a millimetre, as texts in the contract's unit."""
    places = 6 if own_unit(column) == "mm" else 9
    some = st.decimals(low, high, places=places) | st.decimals(low, high, places=places - 6)
    return some.map(lambda number: f"{number:f}")


@st.composite
def tables_and_units(draw):
    """Two rows of lengths for each table, and a unit for each column."""
    columns = {name: own for own in LENGTHS.values() for name in own}
    units = {column: draw(st.sampled_from(sorted(POWER))) for column in columns}
    tables = {
        table: [
            {column: draw(lengths(column, *span)) for column, span in own.items()} for _ in range(2)
        ]
        for table, own in LENGTHS.items()
    }
    return tables, units


def headed(tables, units):
    """Return the rows with the lengths in other units, under headings that say so."""
    return {
        table: [
            CONSTANT[table]
            | ({"job_id": f"A{place}"} if table == "jobs" else {})
            | {
                name_in(column, units.get(column, own_unit(column))): in_unit(
                    text, column, units.get(column, own_unit(column))
                )
                for column, text in row.items()
            }
            for place, row in enumerate(rows, 1)
        ]
        for table, rows in tables.items()
    }


def numbers(rows):
    """Return rows with their lengths as a workbook and a Parquet file keep them."""
    constant = {column for row in CONSTANT.values() for column in row}
    return [{k: v if k in constant else float(v) for k, v in row.items()} for row in rows]


def read(tables, kind):
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        if kind == "xlsx":
            lines = {name: rows_of(numbers(rows), 0, False) for name, rows in tables.items()}
            (folder / "firm.xlsx").write_bytes(workbook_bytes(lines, False))
            return read_records(folder / "firm.xlsx")
        for name, rows in tables.items():
            lines = rows_of(rows, 0, False)
            data = csv_bytes(lines, ";", "utf-8", "\n") if kind == "csv" else None
            (folder / f"{name}.{kind}").write_bytes(data or parquet_bytes(numbers(rows)))
        return read_records(folder)


@cache
def read_once():
    """What rows of plain lengths in the contract's units are read as."""
    least = {name: {c: low for c, (low, _) in own.items()} for name, own in LENGTHS.items()}
    tables = {name: [row] * 2 for name, row in least.items()}
    return read(headed(tables, {}), "csv")


@settings(
    max_examples=int(os.environ.get("AIRSTATS_EXAMPLES", "") or 25), derandomize=True,
    deadline=None, database=None, suppress_health_check=list(HealthCheck),
    phases=(Phase.generate,),
)  # fmt: skip
@given(drawn=tables_and_units(), kind=st.sampled_from(KINDS))
def test_any_length_in_any_unit_and_file_gives_the_same_tables(drawn, kind):
    tables, units = drawn
    other = read(headed(tables, units), kind)
    for table, rows in tables.items():
        lengths = pd.DataFrame(rows).astype(float)
        expected = getattr(read_once(), table).assign(**lengths)
        assert_frame_equal(getattr(other, table), expected, check_exact=True)


def converted_copy(source, folder, units):
    """Write CSV records again with some columns in other units."""
    folder.mkdir()
    for file in source.glob("*.csv"):
        table = pd.read_csv(file, dtype=str, keep_default_na=False)
        for column in table.columns.intersection(list(units)):
            unit = units[column]
            table[column] = [in_unit(t, column, unit) if t else t for t in table[column]]
            table = table.rename(columns={column: name_in(column, unit)})
        table.to_csv(folder / file.name, index=False)
    return folder


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The allowances and orders of the demo as it is written."""
    return made_of(DEMO, TAKEOFF, tmp_path_factory.mktemp("plain"))


def made_of(records, takeoff, folder, known=""):
    """An allowances file, and the orders by it or by another one."""
    allowances, orders = folder / "a.json", folder / "o.csv"
    call = ["calibrate", str(records), "--quarter", "2026Q3", "--out", str(allowances)]
    assert main(call) == 0
    call = ["price", str(takeoff), "--allowances", str(known or allowances)]
    assert main([*call, "--out", str(orders)]) == 0
    return allowances, orders


def in_one_unit(folder, unit):
    """The records and the takeoff of the demo, all lengths in one unit."""
    columns = [name for own in LENGTHS.values() for name in own]
    units = dict.fromkeys([*columns, "opening_width_mm", "opening_height_mm"], unit)
    return (converted_copy(source, folder / source.name, units) for source in (DEMO, TAKEOFF))


@pytest.fixture(scope="module")
def demo():
    """The tables of the demo as it is written."""
    return [tables_of(source) for source in (DEMO, TAKEOFF)]


def tables_of(source):
    records = read_records(source)
    return records.jobs, records.openings, records.materials, records.stock


@pytest.mark.parametrize("unit", ["m", "cm", "mm"])
def test_the_tables_of_the_demo_are_the_same(tmp_path, demo, unit):
    for source, plain in zip(in_one_unit(tmp_path, unit), demo, strict=True):
        for other, table in zip(tables_of(source), plain, strict=True):
            assert_frame_equal(other, table, check_exact=True)


def test_allowances_and_orders_are_the_same_bytes(tmp_path, plain):
    records, takeoff = in_one_unit(tmp_path, "cm")
    other = made_of(records, takeoff, tmp_path, plain[0])
    lines = (file[0].read_text(encoding="utf-8").splitlines() for file in (plain, other))
    different = [a for a, b in zip(*lines, strict=True) if a != b]
    assert [line.split('"')[1] for line in different] == ["records", "digest"]
    assert plain[1].read_bytes() == other[1].read_bytes()


def faults_of(folder, jobs="", openings=""):
    (folder / "jobs.csv").write_text(jobs or "job_id,surface_m2\nA1,150\n", encoding="utf-8")
    if openings:
        (folder / "openings.csv").write_text(openings, encoding="utf-8")
    return [str(fault) for fault in check_records(folder)]


def opening_faults(folder, column, value):
    row = {"job_id": "A1", "count": "1", "width_mm": "1200", "height_mm": "1400",
           "reveal_mm": "300", "cut_pattern": "lined"}  # fmt: skip
    row = {column if declared([name], column.replace("_", "")) else name: text
           for name, text in row.items()}  # fmt: skip
    row[column] = value
    return faults_of(folder, openings=f"{','.join(row)}\n{','.join(row.values())}\n")


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("reveal_m", "35", "looks like centimetres; write metres, 0.35."),
        ("reveal_m", "250", "looks like millimetres; write metres, 0.25."),
        ("reveal_m", "7000", "a reveal of 7000 m is too deep, and may be mistyped; check"),
        ("reveal_m", "0.002", "is too small; check the entry."),
        ("reveal_m", "0", "must be above 0; write the size in metres."),
        ("reveal_m", "deep", "is not a number"),
        ("reveal_cm", "0.3", "looks like metres; write centimetres, 30."),
        ("reveal_cm", "300", "looks like millimetres; write centimetres, 30."),
        ("width_m", "1200", "looks like millimetres; write metres, 1.2."),
        ("width_m", "120", "looks like centimetres; write metres, 1.2."),
        ("width_m", "50000", "is too large for an opening; check the entry."),
        ("width_cm", "1.2", "looks like metres; write centimetres, 120."),
    ],
)
def test_a_fault_names_column_and_value_as_they_were_written(tmp_path, column, value, said):
    (fault,) = opening_faults(tmp_path, column, value)
    assert fault.startswith(f'openings.csv, row 2, column {column}, value "{value}": {said}')


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("lap_m", "100", "looks like millimetres; write metres, 0.1."),
        ("lap_m", "10", "looks like centimetres; write metres, 0.1."),
        ("lap_cm", "-1", "must not be below 0; write the lap in centimetres."),
        ("roll_width_mm", "1.5", "looks like metres; write millimetres, 1500."),
        ("roll_width_cm", "1500", "looks like millimetres; write centimetres, 150."),
        ("perimeter_cm", "2000000", "is too long for one job; write the length in centimetres."),
        ("lap_m", "0.3", ""),
        ("roll_width_mm", "1500", ""),
    ],
)
def test_jobs_are_checked_in_the_declared_unit(tmp_path, column, value, said):
    faults = faults_of(tmp_path, f"job_id,surface_m2,{column}\nA1,150,{value}\n")
    place = f'jobs.csv, row 2, column {column}, value "{value}": '
    assert faults == ([place + said] if said else [])


def test_a_lap_too_wide_for_the_roll_is_named_as_written(tmp_path):
    (fault,) = faults_of(tmp_path, "job_id,surface_m2,lap_cm,roll_width_mm\nA1,150,50,900\n")
    assert 'column lap_cm, value "50": is half the roll\'s width or more' in fault


def test_one_quantity_in_two_columns(tmp_path):
    text = (
        "job_id,count,width_mm,Width (m),height_mm,reveal_mm,cut_pattern\nA1,1,9,9,500,99,lined\n"
    )
    fault = faults_of(tmp_path, openings=text)[0]
    said = 'two columns hold the same quantity: "width_mm" and "Width (m)"; keep one of them'
    assert said in fault


@pytest.mark.parametrize("heading", ["width_in", "width_ft", "Width (inches)", "width_dm"])
def test_a_unit_that_is_not_read(tmp_path, heading):
    text = f"job_id,count,{heading},height_mm,reveal_mm,cut_pattern\nA1,1,40,500,99,lined\n"
    (fault,) = faults_of(tmp_path, openings=text)
    unit = heading[6:].strip("()")
    assert fault == (
        f"openings.csv, row 1, column {heading}: the unit {unit} is not read; "
        "give the column as width_m, width_cm or width_mm."
    )


@pytest.mark.parametrize(("heading", "read"), [("lap_in", "lap_m, lap_cm or lap_mm"),
                         ("surface_ft2", "surface_cm2 or surface_mm2")])  # fmt: skip
def test_a_unit_that_is_not_read_in_jobs(tmp_path, heading, read):
    faults = faults_of(tmp_path, f"job_id,{heading},surface_m2x\nA1,4,1\n")
    assert any(heading in fault and read in fault for fault in faults)
    assert not any("surface_m2: the column is missing" in f for f in faults if "surface_f" in f)


def test_a_unit_that_is_not_read_beside_one_that_is_stays_an_extra_column(tmp_path):
    text = "job_id,surface_m2,lap_mm,lap_in,lap_note\nA1,150,100,4,old\n"
    assert faults_of(tmp_path, text) == []
    records = read_records(tmp_path)
    assert records.jobs[["lap_in", "lap_note"]].to_numpy().tolist() == [["4", "old"]]
    assert "jobs.csv: columns not read: lap_in (lap_mm is there), lap_note." in records.notes


def test_rows_set_aside_keep_their_headings_and_cells(tmp_path):
    rows = "A1,1,1.2,1.4,0.30,lined\nA2,1,1.2,1.4,300,lined\n"
    (tmp_path / "openings.csv").write_text(f"job_id,count,width_m,height_m,reveal_m,cut\n{rows}")
    text = (tmp_path / "openings.csv").read_text().replace(",cut\n", ",cut_pattern\n")
    assert len(faults_of(tmp_path, "job_id,surface_m2\nA1,150\nA2,150\n", text)) == 1
    records = read_records(tmp_path, set_aside_bad_rows=True)
    assert records.openings["reveal_mm"].tolist() == [300.0]
    assert records.set_aside.query("table == 'openings'")["reveal_m"].tolist() == ["300"]


def test_numbers_of_single_precision_are_read_as_they_are_shown(tmp_path):
    frame = pd.DataFrame({"job_id": ["A1"], "surface_m2": np.float32([150.3]),
                          "lap_m": np.float32([0.105])})  # fmt: skip
    frame.to_parquet(tmp_path / "jobs.parquet")
    jobs = read_records(tmp_path).jobs
    assert jobs[["surface_m2", "lap_mm"]].to_numpy().tolist() == [[150.3, 105.0]]


@pytest.mark.parametrize(
    ("key", "found"),
    [
        ("revealm", ("reveal_mm", "m")),
        ("revealinmm", ("reveal_mm", "mm")),
        ("revealcentimetres", ("reveal_mm", "cm")),
        ("revealinches", ("reveal_mm", "inches")),
        ("revealin", ("reveal_mm", "in")),
        ("reveal", None),
        ("revealdepth", None),
        ("usedm", None),
    ],
)
def test_what_a_heading_declares(key, found):
    assert declared(["used", "reveal_mm"], key) == found


def test_units_of_a_column_move_the_decimal_point_and_nothing_else():
    assert units_read("lap_mm") == ("m", "cm", "mm")
    assert units_read("surface_m2") == ("m2", "cm2", "mm2")
    assert units_read("used_rolls") == ()
    assert set(WORDS) == {*units_read("lap_mm"), *units_read("surface_m2")}
    metres = np.array([0.105, 1.001, 0.29, 1e-7, np.nan, 0.105])
    assert converted("lap_mm", metres, "m").tolist()[:4] == [105.0, 1001.0, 290.0, 0.0001]
    assert np.isnan(converted("lap_mm", metres, "m")[4])
    assert converted("surface_m2", np.array([1.5e6]), "mm2").tolist() == [1.5]
