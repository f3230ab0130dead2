"""The price sheet, recalculated by two engines, gives the numbers of `airstats price`."""

import io
import re
import shutil
import subprocess
import unicodedata
from dataclasses import replace
from functools import cache

import formulon
import numpy as np
import openpyxl
import pandas as pd
import pytest
from openpyxl.utils.cell import coordinate_to_tuple
from openpyxl.workbook.defined_name import DefinedName
from python_calamine import CalamineWorkbook

from airstats.catalog.cut_patterns import CUTS
from airstats.documents.price_workbook.geometry_formulas import FIRST_ROW, add_geometry, sums
from airstats.documents.price_workbook.workbook import (
    FIRST_INPUT,
    FIRST_OPENING,
    INPUTS,
    OPENING_ROWS,
    RESULTS,
    SHEET,
    price_sheet,
)
from airstats.model.allowances import unchanged
from airstats.model.posterior import FORMS
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import price
from airstats.records.reading import Records
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.invented import KNOWN_CUTS, invent

JOBS = 12
ROWS_OF_OPENINGS = 500
HELD = ("order_rolls", "expected_m2", "low_m2", "high_m2",
        "rolls_p50", "rolls_p80", "rolls_p95", "chance_short")  # fmt: skip
OPENING_COLUMNS = ("count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern")


def learnt():
    """Allowances with the twenty likeliest candidates of each form: quicker to work out."""
    whole = calibrate(invent(jobs=24, crew_extra=0.1))
    whole = replace(
        whole, belief=replace(whole.belief, crews=("Älder", "Birch", "Cedar", "Damson"))
    )
    order = np.argsort(-whole.belief.weight)
    kept = [order[whole.belief.form[order] == form][:20] for form in range(len(FORMS))]
    belief = whole.belief.pick(np.concatenate(kept))
    return whole, replace(whole, belief=replace(belief, weight=belief.weight / belief.weight.sum()))


def openings_like(rng, rows, whole=True):
    """Openings of every cut and size, many where a piece only just fits or fails to."""
    step = 10 if whole else 0.5
    sizes = [np.round(rng.uniform(*span, rows) / step) * step for span in SPANS]
    frame = pd.DataFrame(dict(zip(("width_mm", "height_mm", "reveal_mm"), sizes, strict=True)))
    # Every fourth opening is one in which half a tip is just as large as the piece.
    just = np.arange(rows) % 4 == 0
    frame.loc[just, "width_mm"] = 4 * frame.loc[just, "reveal_mm"] + 40
    return frame.assign(
        count=rng.integers(1, 15, rows),
        sides=rng.choice([3, 4], rows),
        cut_pattern=rng.choice(KNOWN_CUTS, rows),
    )


SPANS = ((300, 3500), (300, 2600), (40, 900))


SPELL = (
    str,
    str.upper,
    lambda name: f" {unicodedata.normalize('NFD', name).lower()}\u00a0" if name else name,
    lambda name: name and f"{unicodedata.normalize('NFD', name)}\u200f",
)


def invent_jobs(crews):
    rng = np.random.default_rng(7)
    jobs, openings, costs = [], [], []
    for place in range(JOBS):
        job_id = f"P{place}"
        # So small a job that luck may leave nothing of its need: 80 in 100 begin at 0.
        surface = (2.0, 5200.0, 260.5)[place] if place < 3 else round(rng.uniform(120, 600), 1)
        rows = (0, OPENING_ROWS, 1)[place] if place < 3 else rng.integers(1, 6)
        surface += 120 * rows
        jobs.append(
            {
                "job_id": job_id,
                "surface_m2": surface,
                "roll_width_m": rng.choice([1.0, 1.5, 3.0]),
                "roll_length_m": rng.choice([25.0, 50.0]),
                "lap_mm": rng.choice([0.0, 80.0, 100.0, 150.0]),
                "crew": SPELL[place % 4](str(rng.choice(["", "Fir", *crews]))),
                "used_rolls": np.nan,
                "counted": "opened",
            }
        )
        openings.append(openings_like(rng, rows, whole=place % 2).assign(job_id=job_id, mark=""))
        costs.append(tuple(rng.choice([(60, 240), (10, 500), (200, 90), (0.5, 0.75)])))
    nothing = pd.DataFrame()
    kinds = pd.concat(openings, ignore_index=True)
    return Records(pd.DataFrame(jobs), kinds, nothing, (), "invented", "", ()), costs


def fill(book, job, openings, costs):
    """Type a job into the book, over the last one; return the file."""
    sheet = book[SHEET]
    values = {**job, "leftover_cost": costs[0], "short_cost": costs[1]}
    for row, (name, *_) in enumerate(INPUTS, start=FIRST_INPUT):
        value = values[name]
        sheet[f"C{row}"] = value if value == value and value != "" else None
    rows = openings.to_dict("records")
    for place, row in enumerate(range(FIRST_OPENING, FIRST_OPENING + OPENING_ROWS)):
        opening = rows[place] if place < len(rows) else {}
        for letter, name in zip("BCDEFG", OPENING_COLUMNS, strict=True):
            sheet[f"{letter}{row}"] = opening.get(name)
        if opening.get("sides") == 4 and row % 2:
            sheet[f"F{row}"] = None
    return saved(book)


def saved(book):
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def geometry_book(openings):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "typed"
    for row, opening in enumerate(openings.to_dict("records"), start=1):
        for letter, name in zip("BCDEFGH", (*OPENING_COLUMNS, "ok"), strict=True):
            sheet[f"{letter}{row}"] = opening.get(name, "ok")
    sheet["J1"] = 1.5
    book.defined_names["roll_width_m"] = DefinedName("roll_width_m", attr_text="typed!$J$1")
    add_geometry(book, "typed", 1, len(openings))
    return saved(book)


def by_formulon(folder, files):
    """The files as the library formulon works them out: name to sheets of cells."""
    done = {}
    for name, content in files.items():
        with formulon.Workbook.load(content) as book:
            book.recalc()
            done[name] = Cells(CalamineWorkbook.from_filelike(io.BytesIO(book.save())))
    return done


def by_libreoffice(folder, files):
    """The files as LibreOffice works them out, in one run: name to sheets of cells."""
    for name, content in files.items():
        (folder / f"{name}.xlsx").write_bytes(content)
    command = ["soffice", "--headless", f"-env:UserInstallation={(folder / 'home').as_uri()}",
               "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(folder / "out"),
               *(str(folder / f"{name}.xlsx") for name in files)]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    return {n: Cells(CalamineWorkbook.from_path(folder / "out" / f"{n}.xlsx")) for n in files}


needs_soffice = pytest.mark.skipif(
    shutil.which("soffice") is None,
    reason="soffice is not installed (apt-get install libreoffice-calc-nogui)",
)
ENGINES = (by_formulon, pytest.param(by_libreoffice, marks=needs_soffice))


class Cells:
    """The values of a workbook's cells, by sheet and place."""

    def __init__(self, book):
        self.book = book
        self.rows = cache(
            lambda sheet: self.book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
        )

    def __call__(self, place, sheet=SHEET):
        row, column = coordinate_to_tuple(place)
        return self.rows(sheet)[row - 1][column - 1]


@pytest.fixture(scope="module")
def typed():
    """Allowances, jobs, costs and openings, and every book with its job typed in."""
    whole, allowances = learnt()
    records, costs = invent_jobs(allowances.belief.crews)
    book = openpyxl.load_workbook(io.BytesIO(price_sheet(allowances)))
    files = {}
    for job, cost in zip(records.jobs.to_dict("records"), costs, strict=True):
        own = records.openings[records.openings["job_id"].eq(job["job_id"])]
        files[job["job_id"]] = fill(book, job, own, cost)
    fresh = openpyxl.load_workbook(io.BytesIO(price_sheet(unchanged("2026Q1"))))
    first = records.jobs.iloc[3].to_dict()
    kinds = records.openings[records.openings["job_id"].eq("P3")]
    every = openpyxl.load_workbook(io.BytesIO(price_sheet(whole)))
    files["whole"] = fill(every, first, kinds, costs[3])
    files["no_crews"] = fill(fresh, first, kinds, costs[3])
    files["faulty"] = fill(book, first, kinds.assign(cut_pattern="slit"), costs[3])
    files["no_surface"] = fill(book, first | {"surface_m2": np.nan}, kinds, costs[3])
    many = openings_like(np.random.default_rng(1), ROWS_OF_OPENINGS)
    files["geometry"] = geometry_book(many)
    return (whole, allowances), records, costs, many, files


@pytest.fixture(scope="module", params=ENGINES)
def worked(request, typed, tmp_path_factory):
    """The same, every book recalculated by one of the engines."""
    return *typed[:-1], request.param(tmp_path_factory.mktemp("sheets"), typed[-1])


def shown(cells):
    return {name: cells(f"K{row}") for row, (name, *_) in enumerate(RESULTS, start=FIRST_INPUT)}


def priced_alone(records, job_id, allowances, costs):
    """The job priced by itself, as a job is on the sheet."""
    chosen = replace(
        records,
        jobs=records.jobs[records.jobs["job_id"].eq(job_id)].reset_index(drop=True),
        openings=records.openings[records.openings["job_id"].eq(job_id)].reset_index(drop=True),
    )
    return price(chosen, allowances, *costs).iloc[0]


def test_the_sheet_gives_the_numbers_of_price(worked):
    (_, allowances), records, costs, _, done = worked
    assert shown(done["P0"])["low_m2"] == 0
    for job_id, cost in zip(records.jobs["job_id"], costs, strict=True):
        here, there = shown(done[job_id]), priced_alone(records, job_id, allowances, cost)
        for name in HELD:
            expected = pytest.approx(float(there[name]), rel=1e-8, abs=1e-9)
            assert here[name] == expected, (job_id, name)


@pytest.mark.parametrize("name", ["whole", "no_crews"])
def test_all_candidates_and_a_firm_without_crews_are_priced_alike(worked, name):
    (whole, _), records, costs, _, done = worked
    allowances = whole if name == "whole" else unchanged("2026Q1")
    there = priced_alone(records, "P3", allowances, costs[3])
    here = shown(done[name])
    assert [here[n] for n in HELD] == pytest.approx([float(there[n]) for n in HELD], rel=1e-8)


def test_chances_add_up_to_the_order_and_sums_are_those_of_the_takeoff(worked):
    *_, done = worked
    order = shown(done["P3"])["order_rolls"]
    rows = range(FIRST_OPENING, FIRST_OPENING + 8)
    table = pd.DataFrame([[done["P3"](f"{c}{r}") for c in "JKL"] for r in rows])
    assert table[1].sum() == pytest.approx(1, abs=1e-3)
    enough = table.set_index(0)[2]
    assert enough[order] == pytest.approx(1 - shown(done["P3"])["chance_short"])
    _, records, _, _, done = worked
    there = take_off(records).table.set_index("job_id")
    rows = done["P1"].rows("openings_worked")
    here = {row[0]: row[2] for row in rows if row[0] in sums()}
    assert here == pytest.approx({name: there.loc["P1", name] for name in sums()}, rel=1e-9)


def test_a_fault_is_named_and_nothing_is_priced(worked):
    *_, done = worked
    for name, words in (("faulty", "openings"), ("no_surface", "each number above 0")):
        assert words in done[name]("A3")
        assert set(shown(done[name]).values()) == {"–"}
    assert done["faulty"](f"H{FIRST_OPENING}").startswith("cut: write diagonal")
    assert done["P3"]("A3") == ""


def test_every_opening_is_worked_out_as_by_the_package(worked):
    *_, many, done = worked
    rows, real = done["geometry"].rows("openings_worked"), opening_quantities(many)
    values = rows[FIRST_ROW - 1 : FIRST_ROW - 1 + len(many)]
    worked_out = pd.DataFrame(values, columns=rows[FIRST_ROW - 2])
    for cut in KNOWN_CUTS:
        rows = many["cut_pattern"].eq(cut).to_numpy()
        assert rows.sum() > 120
        needed = () if cut == "lined" else (f"needed_{cut}", f"fillable_{cut}")
        for step in ("reveal", *needed, "joint"):
            unit, size = ("m", 1e3) if step == "joint" else ("m2", 1e6)
            there = real.loc[rows, f"{step.split('_')[0]}_{unit}"].to_numpy()
            here = worked_out.loc[rows, step].to_numpy(dtype=float) / size
            apart = ~np.isclose(here, there, rtol=1e-10)
            assert not apart.any(), (cut, step, many[rows][apart])


def formulas(content):
    for sheet in openpyxl.load_workbook(io.BytesIO(content)):
        for row in sheet.iter_rows():
            yield from (cell for cell in row if cell.data_type == "f")


def test_no_macros_no_links_and_only_common_functions():
    content = price_sheet(calibrate(invent(jobs=8)))
    used = set()
    for cell in formulas(content):
        assert "[" not in cell.value
        used |= set(re.findall(r"([A-Z][A-Z.]*)\(", cell.value))
    assert used == {
        "ABS", "AND", "COUNTA", "EXACT", "IF", "INT", "ISNUMBER", "LOWER", "MAX", "MIN", "N",
        "NORMSDIST", "NOT", "OR", "ROUNDUP", "SQRT", "SUBSTITUTE", "SUMPRODUCT", "TRIM",
    }  # fmt: skip
    assert b"vbaProject" not in content


def test_names_of_crews_never_become_formulas():
    records = invent(jobs=8)
    records.jobs["crew"] = ['=HYPERLINK("http://x")', "+1", "@cmd", "A\x07B"] * 2
    content = price_sheet(calibrate(records))
    texts = {c.value for c in openpyxl.load_workbook(io.BytesIO(content))["candidates"][4]}
    assert {'=HYPERLINK("http://x")', "+1", "@cmd", "AB"} <= texts
    assert not any("HYPERLINK" in cell.value for cell in formulas(content))


def test_inputs_stand_out_are_named_and_not_locked_the_same_on_every_run():
    assert price_sheet(unchanged("2026Q1")) == price_sheet(unchanged("2026Q1"))
    book = openpyxl.load_workbook(io.BytesIO(price_sheet(unchanged("2026Q1"))))
    sheet = book[SHEET]
    assert not any(page.protection.sheet for page in book)
    for row, (name, label, *_) in enumerate(INPUTS, start=FIRST_INPUT):
        assert book.defined_names[name].attr_text == f"'{SHEET}'!$C${row}"
        assert sheet[f"A{row}"].value == label
        assert sheet[f"C{row}"].fill.fgColor.rgb.endswith("FFF2CC")
    lists = {rule.formula1 for rule in sheet.data_validations.dataValidation}
    assert {'"3,4"', f'"{",".join(CUTS)}"'} <= lists
