"""Good records spoilt in every way that a spreadsheet can: nothing breaks, nothing goes unsaid."""

import os
import tempfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from airstats.base.errors import RecordsError
from airstats.records.reading import Records, check_records, read_records
from tests.corruption import (
    ENCODINGS,
    KINDS,
    TABLES,
    as_written,
    cell_changes,
    changed_tables,
    csv_bytes,
    numbered,
    parquet_bytes,
    rows_of,
    workbook_bytes,
)

LONGER = os.environ.get("AIRSTATS_EXAMPLES", "")
"""A number of inputs for a longer run by hand, each time with others."""


def tried(inputs):
    """The settings of a test that tries so many inputs, the same on every run."""
    return settings(
        max_examples=int(LONGER or inputs), derandomize=not LONGER, database=None, deadline=None,
        suppress_health_check=list(HealthCheck), phases=(Phase.generate,),
    )  # fmt: skip


FREE = ("job_id", "mark", "crew")
"""Columns of free text, where a strange word is as good as any."""
LAYOUTS = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(KINDS),
        "separator": st.sampled_from(",;\t|"),
        "encoding": st.sampled_from(ENCODINGS),
        "end": st.sampled_from(["\n", "\r\n"]),
        "gaps": st.integers(0, 3),
        "title": st.booleans(),
        "from_1904": st.booleans(),
        "hidden": st.sampled_from(["", "openings"]),
    }
)


def write(folder, tables, layout):
    """Write tables in a layout; return the source's path and its rows by number."""
    kind = layout["kind"]
    gaps, title = (layout["gaps"], layout["title"]) if kind != "parquet" else (0, False)
    rows = {name: numbered(table, gaps, title) for name, table in tables.items()}
    lines = {name: rows_of(table, gaps, title) for name, table in tables.items()}
    if kind == "xlsx":
        path = folder / "firm.xlsx"
        path.write_bytes(workbook_bytes(lines, layout["from_1904"], layout["hidden"]))
        return path, rows
    for name, table in tables.items():
        as_csv = layout["separator"], layout["encoding"], layout["end"]
        data = csv_bytes(lines[name], *as_csv) if kind == "csv" else parquet_bytes(table)
        (folder / f"{name}.{kind}").write_bytes(data)
    return folder, rows


def read(path):
    """Read with the bad rows set aside; the text of a refusal if there is one."""
    try:
        return read_records(path, set_aside_bad_rows=True)
    except RecordsError as error:
        return str(error)


def kept_rows(records, rows):
    """Pair the rows that were kept with those of the source, in their order."""
    aside = {name: set(part["row"]) for name, part in records.set_aside.groupby("table")}
    listed = records.openings[~records.openings["from_summary"]]
    kept = {"jobs": records.jobs, "openings": listed, "materials": records.materials}
    for name, frame in kept.items():
        numbers = [row for row in rows[name] if row not in aside.get(name, set())]
        assert len(numbers) == len(frame), f"rows of {name} lost or doubled"
        for row, (_, got) in zip(numbers, frame.iterrows(), strict=True):
            yield name, row, got


def same(column, got, truth):
    if column == "finished_on":
        return got.date() == truth
    if isinstance(truth, str):
        return got == truth
    return abs(float(got) - truth) < 1e-9 * max(1, abs(truth))


def is_free_text(column, written, got):
    """Whether a strange word stands under a free text just as it was written."""
    text = str(as_written(written))
    return column in FREE and got == text and text.isprintable() and len(text) < 201


def assert_nothing_unsaid(records, rows, truth, changes):
    """Every value kept is the truth, or a note tells of its column."""
    noted = " ".join(records.notes)
    broken = {change[:3]: change[3] for change in changes if not change[4]}
    for name, row, got in kept_rows(records, rows):
        place = list(rows[name]).index(row)
        for column, value in truth[name][place].items():
            cell = broken.get((name, place, column))
            if same(column, got[column], value) or is_free_text(column, cell, got[column]):
                continue
            assert f"column {column}" in noted, f"{name} row {row} {column}: {got[column]!r}"
            assert (name, place, column) not in broken


def assert_set_aside_unchanged(records, rows):
    for _, aside in records.set_aside.iterrows():
        written = rows[aside["table"]][aside["row"]]
        assert aside["reason"]
        for column, value in written.items():
            assert aside[column] == str(as_written(value)), column


def assert_each_fault_once(faults):
    places = Counter((fault.file, fault.row, fault.column) for fault in faults)
    assert not [place for place, times in places.items() if times > 1]
    for fault in faults:
        assert "\n" not in str(fault)
        assert len(str(fault)) < 600


def check(folder, changes, layout):
    path, rows = write(folder, changed_tables(changes), layout)
    result = read(path)
    if isinstance(result, Records):
        assert_nothing_unsaid(result, rows, TABLES, changes)
        if layout["kind"] == "csv" and layout["encoding"] != "cp1252":
            assert_set_aside_unchanged(result, rows)
    whole = isinstance(result, Records)
    assert_each_fault_once(result.faults if whole else check_records(path))


@tried(50)
@given(changes=st.lists(cell_changes(), max_size=3, unique_by=lambda c: c[:3]), layout=LAYOUTS)
def test_a_changed_cell_is_read_the_same_or_reported(changes, layout):
    with tempfile.TemporaryDirectory() as folder:
        check(Path(folder), changes, layout)


@pytest.mark.parametrize("kind", KINDS)
def test_good_records_are_read_whatever_the_layout(tmp_path, kind):
    path, rows = write(tmp_path, changed_tables([]), LAYOUT | {"kind": kind})
    assert check_records(path) == ()
    assert len(list(kept_rows(read_records(path), rows))) == 20


LAYOUT = {
    "separator": ",", "encoding": "utf-8", "end": "\n", "gaps": 0, "title": False,
    "from_1904": False, "hidden": "",
}  # fmt: skip


@pytest.fixture(scope="module", params=KINDS)
def good(request, tmp_path_factory):
    """The kind of a source, its rows by number and the bytes of each of its files."""
    folder = tmp_path_factory.mktemp(request.param)
    _, rows = write(folder, changed_tables([]), LAYOUT | {"kind": request.param})
    return request.param, rows, {file.name: file.read_bytes() for file in folder.iterdir()}


def written_again(folder, kind, files):
    for name, data in files.items():
        (Path(folder) / name).write_bytes(data)
    return Path(folder) / "firm.xlsx" if kind == "xlsx" else Path(folder)


@tried(25)
@given(data=st.data())
def test_a_file_that_was_cut_off_is_refused_or_says_so(good, data):
    kind, _, files = good
    name = data.draw(st.sampled_from(sorted(files)))
    left = data.draw(st.integers(0, len(files[name]) - 2))
    with tempfile.TemporaryDirectory() as folder:
        path = written_again(folder, kind, files | {name: files[name][:left]})
        result = read(path)
    if kind != "csv":
        assert isinstance(result, str)
    elif isinstance(result, Records) and not files[name][:left].endswith(b"\n"):
        said = [*map(str, result.faults), *result.notes]
        assert [line for line in said if name in line]


@tried(25)
@given(data=st.data())
def test_changed_bytes_never_break_the_reading(good, data):
    kind, _, files = good
    name = data.draw(st.sampled_from(sorted(files)))
    spoilt = bytearray(files[name])
    for place in data.draw(st.lists(st.integers(0, len(spoilt) - 1), min_size=1, max_size=8)):
        spoilt[place] = data.draw(st.integers(0, 255))
    with tempfile.TemporaryDirectory() as folder:
        path = written_again(folder, kind, files | {name: bytes(spoilt)})
        result = read(path)
        assert_each_fault_once(() if isinstance(result, str) else result.faults)


def with_line(lines, place, line):
    return [*lines[:place], line, *lines[place + 1 :]]


LINE_DAMAGE = {
    "a line twice": lambda lines, place: [*lines[:place], lines[place], *lines[place:]],
    "the headings again": lambda lines, place: [*lines[:place], lines[0], *lines[place:]],
    "a total": lambda lines, place: [*lines, "Total,,1234" + "," * (lines[0].count(",") - 2)],
    "a cell too many": lambda lines, place: with_line(lines, place, lines[place] + ",x"),
    "a stray quotation mark": lambda lines, place: with_line(lines, place, '"' + lines[place]),
    "a heading twice": lambda lines, _: with_line(lines, 0, lines[0].replace("used", "estimated")),
    "a heading spoilt": lambda lines, _: with_line(lines, 0, lines[0].replace("job_id", "job")),
}


@pytest.mark.parametrize("table", ["jobs", "materials"])
@pytest.mark.parametrize("damage", LINE_DAMAGE)
def test_damaged_lines_are_reported(tmp_path, table, damage):
    path, _ = write(tmp_path, changed_tables([]), LAYOUT | {"kind": "csv"})
    file = tmp_path / f"{table}.csv"
    lines = file.read_text(encoding="utf-8").splitlines()
    texts = ["\n".join([*LINE_DAMAGE[damage](lines, at), ""]) for at in (1, 3, len(lines) - 1)]
    for text in dict.fromkeys(texts):
        file.write_text(text, encoding="utf-8")
        faults = check_records(path)
        assert any(fault.file == file.name for fault in faults)
        assert_each_fault_once(faults)


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_ten_thousand_empty_rows(tmp_path, kind):
    layout = LAYOUT | {"kind": kind, "gaps": 10_000}
    path, rows = write(tmp_path, changed_tables([]), layout)
    records = read_records(path)
    assert len(list(kept_rows(records, rows))) == 20
    assert any("empty rows skipped: 10000" in note for note in records.notes)
