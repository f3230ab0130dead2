"""The optional table of materials: read like the others, with the same kind of plain faults."""

import re

import pandas as pd
import pytest

from airstats.base.errors import RecordsError
from airstats.catalog.materials import MATERIALS
from airstats.records.reading import check_records, read_records
from tests.invented import MATERIAL_COLUMNS as COLUMNS
from tests.invented import firm, save
from tests.tables import write_parquet, write_workbook

GOOD = pd.DataFrame(
    {
        "job_id": ["j000", "J000", "J001"],
        "material": ["Joint tape", "corner_piece", "corner pieces"],
        "estimated": [8, 10, None], "used": [9, 11, 12.5], "counted": [None, "opened", "half"],
        "pack": [25, None, None], "unit": ["M", "pieces", None], "pack_price": [21.5, None, 9.8],
        "Shelf": ["a", "b", None],
    }
)  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    return save(tmp_path / "firm", firm(8))


def faults(folder, rows):
    rows.to_csv(folder / "materials.csv", index=False)
    return [str(fault) for fault in check_records(folder)]


def test_a_firm_without_the_table_or_its_columns_has_the_usual_values(folder):
    records = read_records(folder)
    assert records.materials.empty
    assert list(records.materials) == COLUMNS
    jobs = records.jobs
    assert jobs["pretaped_share"].eq(0.02).all()
    assert jobs["corner_method"].eq("pieces").all()
    assert jobs[["perimeter_m", "sealant_m"]].isna().all(axis=None)


def test_clean_materials(folder):
    GOOD.to_csv(folder / "materials.csv", index=False)
    found = read_records(folder).materials
    assert list(found) == [*COLUMNS, "Shelf"]
    assert found["job_id"].tolist() == ["J000", "J000", "J001"]
    assert found["material"].tolist() == ["joint tape", "corner pieces", "corner pieces"]
    assert found["counted"].tolist() == ["opened", "opened", "half"]
    assert found["used"].tolist() == [9, 11, 12.5]
    assert found["Shelf"].tolist() == ["a", "b", ""]


def test_workbook_and_parquet_read_as_csv_does(folder, tmp_path):
    GOOD.to_csv(folder / "materials.csv", index=False)
    tables = {n: pd.read_csv(folder / f"{n}.csv") for n in ("jobs", "openings", "materials")}
    expected = read_records(folder).materials
    for path in (
        write_workbook(tmp_path / "firm.xlsx", **tables),
        write_parquet(tmp_path / "parquet", **tables),
    ):
        pd.testing.assert_frame_equal(read_records(path).materials, expected)


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("material", "glue", r'value "glue": is not one of joint tape, frame tape'),
        ("material", None, "column material: a value is needed here"),
        ("job_id", "J9", 'column job_id, value "J9": no job has this id'),
        ("used", "0", 'value "0": must be above 0; write the number of packs, or remove the row'),
        ("used", "9.5", 'does not fit counted "opened".*how the packs were counted'),
        ("used", "lots", 'value "lots": is not a number'),
        ("pack", "-5", "must be above 0; write what one pack holds"),
        ("pack_price", "-1", "must not be below 0"),
        ("unit", "kg", "joint tape is counted in another unit, m; write m or leave it blank"),
        ("counted", "guessed", "is not one of opened, half, quarter, exact"),
    ],
)
def test_fault_says_place_value_and_remedy(folder, column, value, message):
    wrong = GOOD.astype(object)
    wrong.loc[0, column] = value
    (fault,) = faults(folder, wrong)
    assert fault.startswith("materials.csv, row 2, ")
    assert re.search(message, fault)


def test_doubled_missing_and_empty_are_told_and_a_new_material_is_read(folder, monkeypatch):
    (fault,) = faults(folder, pd.concat([GOOD, GOOD.iloc[[1]]]))
    assert "row 5" in fault
    assert "this material of this job stands in a row above; add the two up in one row" in fault
    (fault,) = faults(folder, GOOD.drop(columns="material"))
    assert "column material: the column is missing" in fault
    (folder / "materials.csv").write_text("")
    (note,) = read_records(folder).notes
    assert note == "materials.csv: the table is empty; read as no materials."
    monkeypatch.setitem(MATERIALS, "glue", MATERIALS["sealant"])
    assert not faults(folder, GOOD.assign(material="glue", unit="").drop(index=1))


def test_a_bad_material_is_set_aside_without_its_job(folder):
    wrong = GOOD.astype(object)
    wrong.loc[0, "used"] = "lots"
    wrong.to_csv(folder / "materials.csv", index=False)
    records = read_records(folder, set_aside_bad_rows=True)
    assert len(records.jobs) == 8
    assert records.materials["material"].tolist() == ["corner pieces", "corner pieces"]
    assert records.set_aside["table"].tolist() == ["materials"]
    assert "is not a number" in records.set_aside["reason"].iloc[0]


def test_a_bad_job_takes_its_materials_along(folder):
    GOOD.to_csv(folder / "materials.csv", index=False)
    jobs = pd.read_csv(folder / "jobs.csv").astype(object)
    jobs.loc[0, "surface_m2"] = "big"
    jobs.to_csv(folder / "jobs.csv", index=False)
    records = read_records(folder, set_aside_bad_rows=True)
    assert records.materials["job_id"].tolist() == ["J001"]
    assert sorted(records.set_aside["table"]) == ["jobs", "materials", "materials", "openings"]


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("pretaped_share", "2.5", "looks like per cent; write a share, 0.025"),
        ("perimeter_m", "-3", "must not be below 0; write the length in metres"),
        ("sealant_m", "50000", "is too long for one job"),
        ("corner_method", "glued", "is not one of folded, two_tapes, pieces"),
    ],
)
def test_optional_columns_of_jobs_are_checked(folder, column, value, message):
    jobs = pd.read_csv(folder / "jobs.csv").astype(object)
    jobs[column] = [value, *[None] * (len(jobs) - 1)]
    jobs.to_csv(folder / "jobs.csv", index=False)
    with pytest.raises(RecordsError, match=message):
        read_records(folder)
