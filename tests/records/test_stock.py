"""The optional table of what is on the shelf: whole rolls, and begun ones by their metres."""

import pandas as pd
import pytest

from airstats.base.errors import RecordsError
from airstats.records.raw_table import COLUMNS
from airstats.records.reading import check_records, read_records
from airstats.reports.pseudonyms import code_names, coded_records
from tests.tables import write_csv, write_parquet, write_workbook

JOBS = pd.DataFrame({"job_id": ["N1", "N2"], "surface_m2": [200.0, 310.5]})
STOCK = pd.DataFrame(
    {
        "Roll width (m)": [None, 3.0, None], "rolls": [4, 1, None], "Left (cm)": [None, None, 2150],
        "Shelf": ["back", None, "van"],
    }
)  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    return write_csv(tmp_path / "next", JOBS)


def faults(folder, **columns):
    STOCK.astype(object).assign(**columns).to_csv(folder / "stock.csv", index=False)
    return [str(fault) for fault in check_records(folder)]


def test_stock_is_read_alike_from_every_kind_of_source(folder, tmp_path):
    STOCK.to_csv(folder / "stock.csv", index=False)
    found = read_records(folder).stock
    assert list(found) == [*COLUMNS["stock"], "Shelf"]
    assert found["rolls"].tolist() == [4, 1, 0]
    assert found["left_m"].tolist() == [0, 0, 21.5]
    assert found["roll_width_m"].tolist() == [1.5, 3, 1.5]
    assert found["roll_length_m"].tolist() == [50, 50, 50]
    for path in (
        write_workbook(tmp_path / "next.xlsx", jobs=JOBS, stock=STOCK),
        write_parquet(tmp_path / "parquet", jobs=JOBS, stock=STOCK),
    ):
        pd.testing.assert_frame_equal(read_records(path).stock, found)


def test_without_the_table_there_is_no_row_and_its_digest_counts(folder):
    before = read_records(folder)
    assert before.stock.empty
    assert list(before.stock) == COLUMNS["stock"]
    STOCK.to_csv(folder / "stock.csv", index=False)
    assert read_records(folder).digest != before.digest
    (folder / "stock.csv").write_text("")
    assert "stock.csv: the table is empty; read as no stock." in read_records(folder).notes


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"rolls": [4.5, 1, None]}, "whole rolls, and the metres left on a begun one in left_m"),
        ({"rolls": [-4, 1, None]}, "must not be below 0"),
        ({"rolls": [20_000, 1, None]}, "is too many for one store"),
        ({"rolls": ["some", 1, None]}, 'value "some": is not a number'),
        ({"rolls": [None, 1, None]}, "row 2, column rolls: a value is needed here; write the who"),
        ({"Left (cm)": [200, None, 2150]}, r'row 2, column Left \(cm\), value "200.0": stands b'),
        ({"Left (cm)": [None, None, 5150]}, "row 4.*is more than a whole roll of the kind holds"),
        ({"Left (cm)": [None, None, -1]}, "must not be below 0"),
        ({"Roll width (m)": [1500, 3, None]}, "looks like millimetres; write metres, 1.5"),
    ],
)
def test_fault_says_place_value_and_remedy(folder, columns, message):
    (fault,) = faults(folder, **columns)
    assert fault.startswith("stock.csv, row ")
    with pytest.raises(RecordsError, match=message):
        read_records(folder)
    records = read_records(folder, set_aside_bad_rows=True)
    assert (len(records.jobs), len(records.stock)) == (2, 2)
    assert records.set_aside["table"].tolist() == ["stock"]


def test_a_table_without_its_headings_is_told(folder):
    (folder / "stock.csv").write_text("a,b\n1,2\n")
    (fault,) = map(str, check_records(folder))
    assert "no column rolls or left_m in the first 20 rows" in fault


def test_codes_leave_the_numbers_and_take_the_rest_away(folder):
    STOCK.to_csv(folder / "stock.csv", index=False)
    records = read_records(folder)
    coded = coded_records(records, code_names(records)).stock
    pd.testing.assert_frame_equal(coded, records.stock[COLUMNS["stock"]])
