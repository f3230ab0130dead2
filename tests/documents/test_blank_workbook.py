"""The empty workbook: what it offers and allows is what the reader takes."""

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from pandas.testing import assert_frame_equal

from airstats.__main__ import main
from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import MATERIALS
from airstats.documents import blank_workbook as blank
from airstats.records.raw_table import COLUMNS, column_name
from airstats.records.reading import check_records, read_records
from airstats.records.typed_table import WORDS

FIVE = [
    ["H-1", "2025-11-28", 265, 4, 5, "opened", None, 120, None, "North"],
    ["H-2", "2025-12", 180.5, 3, 3.5, "half", None, None, None, "South"],
    ["H-3", "2026Q1", 310, 5, 6, None, 12.5, None, 8, "North"],
    [704, "Q1 2026", 95, 2, 2, "exact", None, None, None, None],
    ["H-5", "2026-02-03", 240, 4, 4, None, None, None, None, "South"],
]
TYPED = ["job_id", "finished_on", "surface_m2", "estimated_rolls", "used_rolls", "counted",
         "left_m", "left_diameter_mm", "brought_m", "crew"]  # fmt: skip


def opened(path):
    return openpyxl.load_workbook(path)


def headings(sheet):
    return [cell.value for cell in sheet[2]]


def type_in(sheet, columns, rows):
    places = [headings(sheet).index(blank.heading_of(column)) + 1 for column in columns]
    for at, row in enumerate(rows, start=3):
        for place, value in zip(places, row, strict=True):
            sheet.cell(at, place).value = value


def filled(path, **tables):
    book = opened(path)
    for name, (columns, rows) in tables.items():
        type_in(book[name], columns, rows)
    book.save(path)
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An empty workbook of finished jobs and one of jobs to price, as the command writes them."""
    folder = tmp_path_factory.mktemp("blank")
    assert main(["blank", str(folder / "firm.xlsx")]) == 0
    assert main(["blank", str(folder / "next.xlsx"), "--takeoff"]) == 0
    return folder


@pytest.fixture(scope="module")
def untouched(made):
    """The same, opened: to be looked at alone."""
    return opened(made / "firm.xlsx"), opened(made / "next.xlsx")


@pytest.fixture
def path(made, tmp_path):
    return shutil.copy(made / "firm.xlsx", tmp_path / "firm.xlsx")


@pytest.fixture
def to_price(made, tmp_path):
    return shutil.copy(made / "next.xlsx", tmp_path / "next.xlsx")


def rules(sheet):
    return {sheet[str(rule.sqref).split(":")[0]].column - 1: rule
            for rule in sheet.data_validations.dataValidation}  # fmt: skip


def test_every_heading_is_read_as_its_column_and_has_note_and_rule(untouched):
    for name, sheet in [(sheet.title, sheet) for book in untouched for sheet in book]:
        if name == "read me":
            continue
        known = [column_name(name, heading, 0) for heading in headings(sheet)]
        assert set(known) <= set(COLUMNS[name])
        assert len(set(known)) == len(known)
        found = rules(sheet)
        assert sorted(found) == list(range(len(known)))
        for place in range(len(known)):
            assert "If it stays empty: " in sheet.cell(2, place + 1).comment.text
            assert found[place].prompt
            assert found[place].error
            assert len(found[place].prompt) <= 255
    assert set(untouched[0].sheetnames) == {"read me", "jobs", "openings", "materials"}
    jobs = [column_name("jobs", heading, 0) for heading in headings(untouched[0]["jobs"])]
    assert sorted(jobs) == sorted(COLUMNS["jobs"])


def test_an_untouched_one_says_what_to_do_next(path, to_price, capsys):
    for file in (path, to_price):
        assert main(["check", str(file)]) == 1
        said = capsys.readouterr().err
        assert "sheet jobs: there are no jobs yet; write one row a job below the headings" in said
        assert "read me" not in said


def test_a_firms_first_five_jobs_pass(path, capsys):
    columns, rows = blank.EXAMPLES["openings"]
    rows = [["H-1", *rows[0][1:]], ["704", *rows[1][1:]]]
    filled(path, jobs=(TYPED, FIVE), openings=(columns, rows),
           materials=(["job_id", "material", "used"], [["H-1", "joint tape", 9]]))  # fmt: skip
    assert main(["check", str(path)]) == 0
    assert "no fault in 5 jobs (5 finished) and 2 rows of openings" in capsys.readouterr().out
    records = read_records(path)
    assert records.jobs["job_id"].tolist() == ["H-1", "H-2", "H-3", "704", "H-5"]
    assert records.jobs["quarter"].tolist() == ["2025Q4", "2025Q4", "2026Q1", "2026Q1", "2026Q1"]
    assert records.jobs["left_diameter_mm"].iloc[0] == 120
    assert not [note for note in records.notes if "not read" in note or "empty rows" in note]
    out = path.with_name("allowances.json")
    assert main(["calibrate", str(path), "--out", str(out)]) == 0


def test_read_as_a_book_of_any_kind_it_says_the_same(path, capsys):
    filled(path, jobs=(TYPED, [row for row in FIVE if row[5] != "half"]))
    out = path.with_name("ours")
    assert main(["intake", str(path), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "read me" not in said
    ours = read_records(out).jobs
    direct = read_records(path).jobs
    told = ["job_id", "quarter", *TYPED[2:]]
    assert_frame_equal(ours[told], direct[told], check_dtype=False)


def test_the_rows_that_the_guide_shows_are_sound_and_never_jobs(path, to_price, untouched):
    guide = [c.value for row in untouched[0]["read me"].iter_rows() for c in row if c.value]
    assert {"H-101", "H-102", "H-103", "2026Q1"} <= set(guide)
    filled(path, **{name: blank.EXAMPLES[name] for name in ("jobs", "openings")})
    assert not check_records(path)
    assert read_records(path).jobs["job_id"].tolist() == ["H-101", "H-102", "H-103"]
    columns, rows = blank.EXAMPLES["jobs"]
    kept = [columns.index(name) for name in ("job_id", "surface_m2", "crew", "opening_count")]
    some = [[row[at] for at in kept] for row in rows if row[columns.index("reveal_mm")] is None]
    filled(to_price, jobs=([columns[at] for at in kept], some), stock=blank.EXAMPLES["stock"])
    priced = read_records(to_price)
    assert not priced.jobs["finished"].any()
    assert priced.stock["rolls"].tolist() == [12, 0]
    assert priced.stock["left_m"].tolist() == [0, 21]
    assert not [note for note in priced.notes if "not read" in note]


def test_a_takeoff_has_no_finished_columns_and_a_stock(untouched):
    _, book = untouched
    assert book.sheetnames == ["read me", "jobs", "openings", "materials", "stock"]
    heads = headings(book["jobs"])
    gone = ["finished on", "used rolls", "counted", "left (m)", "left diameter (mm)", "exclude"]
    assert not set(gone) & set(heads)


@pytest.mark.parametrize("table", ["jobs", "openings", "materials", "stock"])
def test_limits_are_those_of_the_reader(table):
    for tables in (blank.FINISHED, blank.TAKEOFF):
        for column in tables.get(table, {}):
            rule = blank._rule(table, column)
            if rule.type not in ("decimal", "whole") or column == "used_rolls":
                continue
            low, high = float(rule.formula1), float(rule.formula2)
            held = blank.LIMITS[table][column]
            for inside in (low * (1 + 1e-5), high * (1 - 1e-5)):
                inside = round(inside) if rule.type == "whole" else inside
                assert not any(limit.broken(inside) for limit in held), (column, inside)
            below = low - (1 if rule.type == "whole" else max(1e-4 * low, 1e-6))
            above = high * 1.0001 + 1
            assert any(limit.broken(below) for limit in held), (column, below)
            assert any(limit.broken(above) for limit in held), (column, above)


def test_words_are_those_of_the_trade_and_of_the_reader(untouched):
    offered = {}
    for name in ("jobs", "openings", "materials"):
        sheet = untouched[0][name]
        for place, rule in rules(sheet).items():
            if rule.type == "list" and rule.formula1.startswith('"'):
                column = column_name(name, headings(sheet)[place], 0)
                offered[column] = rule.formula1.strip('"').split(",")
    assert offered["cut_pattern"] == list(CUTS)
    assert offered["material"] == list(MATERIALS)
    assert set(offered["counted"]) == set(WORDS["counted"].values())
    assert set(offered["corner_method"]) == set(WORDS["corner_method"].values())
    assert offered["sides"] == ["4", "3"]


def test_a_workbook_with_typed_rows_is_never_written_over(made, tmp_path, capsys):
    path = tmp_path / "firm.xlsx"
    for _ in range(2):
        assert main(["blank", str(path)]) == 0
        assert path.read_bytes() == (made / "firm.xlsx").read_bytes()
    filled(path, jobs=(TYPED, FIVE))
    typed = path.read_bytes()
    assert main(["blank", str(path)]) == 1
    assert path.read_bytes() == typed
    assert "firm.xlsx" in capsys.readouterr().err
    with pytest.raises(SystemExit) as caught:
        main(["blank", str(tmp_path / "firm.csv")])
    assert caught.value.code == 2


@pytest.mark.skipif(shutil.which("soffice") is None, reason="soffice is not installed")
def test_libreoffice_opens_keeps_and_saves_it(untouched, path, tmp_path):
    """In one run: an untouched one, and one with typed rows."""
    typed = filled(Path(shutil.copy(path, tmp_path / "typed.xlsx")), jobs=(TYPED, FIVE))
    command = ["soffice", "--headless", f"-env:UserInstallation={(tmp_path / 'home').as_uri()}",
               "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(tmp_path / "saved"),
               str(path), str(typed)]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    before, once = rules(untouched[0]["jobs"]), opened(tmp_path / "saved" / path.name)["jobs"]
    after = rules(once)
    assert {at: rule.type for at, rule in before.items()} == {at: r.type for at, r in after.items()}
    assert once["A2"].comment.text.startswith("Name or number of the job")
    assert not check_records(tmp_path / "saved" / typed.name)
    assert len(read_records(tmp_path / "saved" / typed.name).jobs) == 5


def test_the_table_of_diameters_stands_in_the_guide(untouched):
    sheet = untouched[0]["read me"]
    rows = {row[0]: row[1:] for row in sheet.iter_rows(values_only=True) if row[0]}
    across = dict(zip(rows["across (mm)"], rows["metres left"], strict=True))
    assert across[170] == 50
    assert across[120] == round(50 * (120**2 - 80**2) / (170**2 - 80**2))
