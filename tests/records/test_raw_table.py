import io

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from airstats.records.csv_reader import csv_table
from airstats.records.faults import Fault, UnreadableTableError
from airstats.records.raw_table import as_text, parquet_table
from airstats.records.xlsx_reader import sheet_table


def jobs_csv(text, encoding="utf-8"):
    return csv_table("jobs", "jobs.csv", text.encode(encoding))


def fault_of(text):
    with pytest.raises(UnreadableTableError) as caught:
        jobs_csv(text)
    return str(caught.value.args[0])


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separator_is_taken_from_the_header(separator):
    table = jobs_csv("job_id,surface_m2,crew\n7,80,North\n".replace(",", separator))
    assert table.separator == separator
    assert table.cells.iloc[0].tolist() == ["7", "80", "North"]


def test_decimal_commas_do_not_pass_for_separators():
    table = jobs_csv("job_id;surface_m2;lap_mm\n1;1,5;2,5\n2;3,5;4,5\n")
    assert table.cells["surface_m2"].tolist() == ["1,5", "3,5"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_of_spreadsheets(encoding):
    table = jobs_csv("job_id,Surface (m²),crew\n1,2,Müller-Süd\n", encoding)
    assert list(table.cells) == ["job_id", "surface_m2", "crew"]
    assert table.cells["crew"].tolist() == ["Müller-Süd"]
    assert bool(table.notes) == (encoding == "cp1252")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end):
    table = jobs_csv(end.join(["job_id,crew", "1,a", "2,b", ""]))
    assert table.cells["crew"].tolist() == ["a", "b"]
    assert table.rows.tolist() == [2, 3]


@pytest.mark.parametrize(
    "heading",
    [
        "surface_m2",
        " Surface m²",
        "SURFACE-M2",
        "Surface (m2)",
        '"Surface\n[m²]"',
        "surface\u00a0m2",
    ],
)
def test_headings_are_recognised_however_they_are_spelled(heading):
    table = jobs_csv(f"Job ID,{heading}\n1,80\n")
    assert list(table.cells) == ["job_id", "surface_m2"]
    assert table.headers["surface_m2"] == heading.strip('"')


def test_row_numbers_are_the_spreadsheet_s():
    table = jobs_csv("Finished jobs,,\n,,\njob_id,crew,\n1,a,\n , ,\n,,\n2,b,\n,,\n\n")
    assert table.rows.tolist() == [4, 7]
    assert table.notes == ("jobs.csv: empty rows skipped: 2.",)
    table = jobs_csv('"all\njobs",\njob_id,"the\ncrew"\n1,a\n')
    assert table.rows.tolist() == [3]


def test_header_is_sought_in_twenty_rows_only():
    assert len(jobs_csv("x\n" * 19 + "job_id\n1\n").cells) == 1
    assert "no column job_id in the first 20 rows; the first reads" in fault_of(
        "x\n" * 20 + "job_id\n1\n"
    )


def test_extra_columns_keep_their_headings_apart_and_empty_ones_go():
    table = jobs_csv("job_id, Site Manager ,,quarter,\n1,x,y,Q1,\n")
    assert list(table.cells) == ["job_id", "Site Manager", "column C", "quarter (as written)"]
    assert table.headers["Site Manager"] == " Site Manager "
    table = jobs_csv("job_id,note,note\n1,x,y\n")
    assert table.cells.iloc[0].tolist() == ["1", "x", "y"]
    assert list(table.cells) == ["job_id", "note", "note (column C)"]


def test_a_column_of_the_contract_that_stands_twice_is_a_fault():
    table = jobs_csv("job_id,lap_mm,Lap (mm)\n1,100,120\n")
    assert str(table.faults[0]) == (
        'jobs.csv, row 1, column lap_mm: two columns are headed lap_mm: "lap_mm" and "Lap (mm)"; '
        "keep one of them, and head the other otherwise."
    )


def test_rows_too_long_are_faults_and_short_ones_read_like_even_ones():
    table = jobs_csv("job_id,surface_m2,crew\n1,80,\n\n2,12,5,x\n3,12,5,\n")
    assert [(position, fault.row) for position, fault in table.row_faults] == [(1, 4), (2, 5)]
    assert "more cells than the 3 of the header" in str(table.row_faults[0][1])
    assert jobs_csv("job_id;crew\n1;a;;\n2;b\n").row_faults == ()
    assert len(jobs_csv("job_id;crew\n1;a;;\n2;b;c\n").row_faults) == 1
    even = jobs_csv("job_id,crew\n1,\n2,b\n")
    short = jobs_csv("job_id;crew\n1\n2;b;\n")
    texts = even.cells.astype(object).map(as_text)
    assert texts.equals(short.cells.map(as_text))


def test_stray_quotation_marks_are_told_and_line_breaks_in_a_remark_are_not():
    assert "a quotation mark is opened and never closed" in fault_of('job_id,crew\n1,"a\n2,b\n')
    table = jobs_csv('job_id,crew,note\n1,"a,x\n2,b,y\n3,c",z\n4,d,w\n')
    position, fault = table.row_faults[0]
    assert position == 0
    assert fault.problem == "the cell has swallowed the rows below it"
    table = jobs_csv('job_id,crew,note\n1,a,"first\nsecond, third"\n2,b,c\n')
    assert table.row_faults == ()
    assert table.rows.tolist() == [2, 3]


@pytest.mark.parametrize("text", ["", "\n\n", " ;;\n"])
def test_empty_table(text):
    assert fault_of(text).startswith("jobs.csv: the table is empty;")


def test_sheets_of_native_cells_and_headers_without_rows():
    table = sheet_table("jobs", "a.xlsx, sheet jobs", [["Title", ""], ["job_id", ""], [7.0, ""]])
    assert table.rows.tolist() == [3]
    assert table.cells.to_dict("list") == {"job_id": [7.0]}
    assert sheet_table("openings", "a", [["job_id", "count"]]).cells.shape == (0, 2)
    assert jobs_csv("job_id,crew").cells.shape == (0, 2)


def test_parquet_rows_are_numbered_with_the_header_and_an_index_is_a_column():
    data = io.BytesIO()
    frame = pd.DataFrame({"Job ID": ["a", None, "c"], "kind": pd.Categorical(["x", None, "x"])})
    frame.set_index("Job ID").to_parquet(data)
    table = parquet_table("jobs", "jobs.parquet", data.getvalue())
    assert table.rows.tolist() == [2, 4]
    assert set(table.cells) == {"job_id", "kind"}


def test_damaged_parquet_is_told_and_whole_numbers_keep_their_digits():
    with pytest.raises(UnreadableTableError, match="cannot be read as Parquet"):
        parquet_table("jobs", "jobs.parquet", b"PAR1 not so PAR1")
    data = io.BytesIO()
    whole = pd.array([2**60 + 1, None], dtype="Int64")
    frame = pd.DataFrame({"job_id": ["a1", "b2"], "note": whole})
    frame.to_parquet(data, compression=None)
    table = parquet_table("jobs", "jobs.parquet", data.getvalue())
    assert as_text(table.cells["note"][0]) == str(2**60 + 1)
    with pytest.raises(UnreadableTableError, match="it may be damaged"):
        parquet_table("jobs", "jobs.parquet", data.getvalue().replace(b"a1", b"a\x94"))


def test_parquet_that_unpacks_to_too_much_is_refused_before_it_is_held():
    """Each value is kept once and pointed at 90,000 times, so the declared sizes are small."""
    schema, data = pa.schema({"job_id": pa.string()}), io.BytesIO()
    text = pa.scalar("x" * 10_000)
    with pq.ParquetWriter(data, schema, compression="zstd") as out:
        for _ in range(3):
            out.write_table(pa.table([pa.repeat(text, 30_000)], schema=schema))
    metadata = pq.ParquetFile(data).metadata
    declared = sum(metadata.row_group(k).total_byte_size for k in range(metadata.num_row_groups))
    assert declared < 1_000_000
    assert len(data.getvalue()) < 150_000
    with pytest.raises(UnreadableTableError, match=r"unpacks to 60,\d{3} rows and 60\d MB or more"):
        parquet_table("jobs", "jobs.parquet", data.getvalue())


def test_parquet_of_more_rows_than_fit_is_refused():
    data = io.BytesIO()
    pq.write_table(pa.table({f"c{k}": pa.nulls(1_100_000) for k in range(30)}), data)
    with pytest.raises(UnreadableTableError, match="unpacks to 1,100,000 rows"):
        parquet_table("jobs", "jobs.parquet", data.getvalue())


def test_cells_as_text_and_a_fault_as_a_sentence():
    stamp = pd.Timestamp(2026, 3, 4)
    shown = [as_text(v) for v in ["0,50 ", 101.0, 0.1, True, None, float("nan"), stamp, 1e300]]
    assert shown == ["0,50 ", "101", "0.1", "TRUE", "", "", "2026-03-04", "1e+300"]
    fault = Fault("jobs.csv", 7, "reveal_mm", "0.3", "looks like metres", "write millimetres, 300")
    assert str(fault) == (
        'jobs.csv, row 7, column reveal_mm, value "0.3": looks like metres; write millimetres, 300.'
    )
    assert str(Fault("jobs.csv", None, None, "", "is empty", "fill it")) == (
        "jobs.csv: is empty; fill it."
    )


@pytest.mark.parametrize("title", ["", "x" * 70_000, "\n".join(["line " * 700] * 19)])
def test_a_header_far_down_is_found(title):
    above = f'"{title}"\n' if title else ""
    table = jobs_csv(f"{above}job_id;crew\n1;a\n")
    assert table.separator == ";"
    assert table.cells.to_numpy().tolist() == [["1", "a"]]


@pytest.mark.parametrize("length", range(65_530, 65_541))
def test_a_header_where_the_head_of_the_file_ends(length):
    title = "x" * (length - len("\njob_id;crew"))
    assert jobs_csv(f"{title}\njob_id;crew\n1;a\n").cells["crew"].tolist() == ["a"]


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_twenty_records_whose_last_stands_where_the_head_ends(end):
    first = "x" * (65_536 - 17 * (1 + len(end)) - len(end) - len("job_id;"))
    lines = [first, *["x"] * 17, "job_id;crew", "1;a", "2;b"]
    assert jobs_csv(end.join([*lines, ""])).cells["crew"].tolist() == ["a", "b"]


@pytest.mark.parametrize("letters", [999_999, 1_000_000, 1_000_001])
def test_a_cell_without_end_is_told_from_a_long_text_between_marks(letters):
    text = 'job_id,crew\n1,"' + "x" * letters
    fault = fault_of(text)
    assert ("more than 1,000,000 characters" in fault) == (letters > 1_000_000)
