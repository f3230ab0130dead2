"""The page of the other materials, recalculated, agrees with `price_materials`."""

import io
import re
from dataclasses import replace

import numpy as np
import openpyxl
import pandas as pd
import pytest

from airstats import calibrate, price_materials
from airstats.catalog.corner_methods import CORNER_METHODS
from airstats.documents.price_workbook.materials import FIRST_INPUT, FIRST_MATERIAL, SHEET
from airstats.documents.price_workbook.workbook import price_sheet
from airstats.model.posterior import Belief
from airstats.pricing.newsvendor import needed_products
from tests.documents.price_workbook.test_workbook import ENGINES, fill, formulas, invent_jobs, saved
from tests.invented import firm, invent, with_use

NAMES = ("joint tape", "frame tape", "corner pieces", "sealant")
PLACES = range(3, 9)
COLUMNS = {"D": "expected", "F": "order_packs", "G": "chance_short", "H": "packs_p50",
           "I": "packs_p80", "J": "packs_p95"}  # fmt: skip
SEALANT_M = 180.0


def taught():
    """Allowances with four materials, the sheet's own cut down to few candidates."""
    records = invent(jobs=24, crew_extra=0.1)
    records = replace(records, jobs=records.jobs.assign(sealant_m=SEALANT_M))
    kept = [with_use(records, name, 0.1) for name in NAMES]
    known = calibrate(replace(records, materials=pd.concat(kept, ignore_index=True)))
    likely = np.argsort(-known.belief.weight)[:20]
    return replace(known, belief=likeliest(known.belief, likely))


def likeliest(belief: Belief, places) -> Belief:
    few = belief.pick(places)
    return replace(few, weight=few.weight / few.weight.sum())


def jobs_to_price(crews):
    """Jobs with every corner method, some with a perimeter and a share taped beforehand."""
    records, costs = invent_jobs(crews)
    rows = len(records.jobs)
    methods = np.array([*CORNER_METHODS, ""])[np.arange(rows) % 4]
    shares = np.where(np.arange(rows) % 2, 0.3, np.nan)
    perimeter = np.where(np.arange(rows) % 3, np.nan, 62.5)
    jobs = records.jobs.assign(corner_method=methods, pretaped_share=shares)
    jobs = jobs.assign(perimeter_m=perimeter, sealant_m=SEALANT_M)
    empty = firm(jobs=8).materials
    return replace(records, jobs=jobs, materials=empty), costs


def typed(book, job):
    """Type what the page asks for beside the openings; return the file."""
    page = book[SHEET]
    for row, name in enumerate(("pretaped_share", "corner_method", "perimeter_m"), FIRST_INPUT):
        value = job[name]
        page[f"B{row}"] = value if value == value and value != "" else None
    page[f"B{FIRST_MATERIAL + NAMES.index('sealant')}"] = job["sealant_m"]
    return saved(book)


@pytest.fixture(scope="module")
def books():
    allowances = taught()
    records, costs = jobs_to_price(allowances.belief.crews)
    book = openpyxl.load_workbook(io.BytesIO(price_sheet(allowances)))
    files = {}
    for place in PLACES:
        job = records.jobs.iloc[place].to_dict()
        own = records.openings[records.openings["job_id"].eq(job["job_id"])]
        fill(book, job, own, costs[place])
        files[job["job_id"]] = typed(book, job)
    files["faulty"] = typed(book, job | {"corner_method": "glue"})
    return allowances, records, costs, files


@pytest.fixture(scope="module", params=ENGINES)
def worked(request, books, tmp_path_factory):
    return *books[:-1], request.param(tmp_path_factory.mktemp("materials"), books[-1])


def one_job(records, place):
    job_id = records.jobs["job_id"].iloc[place]
    return replace(
        records,
        jobs=records.jobs.iloc[[place]].reset_index(drop=True),
        openings=records.openings[records.openings["job_id"].eq(job_id)].reset_index(drop=True),
    )


@pytest.mark.parametrize("name", NAMES)
def test_the_page_gives_the_numbers_of_the_package(worked, name):
    allowances, records, costs, done = worked
    row, orders = FIRST_MATERIAL + NAMES.index(name), set()
    for place in PLACES:
        cells, one = done[records.jobs["job_id"].iloc[place]], one_job(records, place)
        priced = price_materials(one, allowances, *costs[place]).set_index("material")
        assert cells(f"A{row}", SHEET) == name
        if name not in priced.index:
            assert {cells(f"{letter}{row}", SHEET) for letter in COLUMNS} == {"–"}
            continue
        there = priced.loc[name]
        needed = next(n for n in needed_products(one, allowances) if n.name == name)
        counted = needed.jobs.amount[0]
        assert cells(f"B{row}", SHEET) == pytest.approx(counted, rel=1e-9)
        for letter, column in COLUMNS.items():
            expected = pytest.approx(float(there[column]), rel=1e-8, abs=1e-9)
            assert cells(f"{letter}{row}", SHEET) == expected, (place, column)
        assert cells(f"L{row}", SHEET) == pytest.approx(there["order_packs"] * 12.0)
        orders.add(there["order_packs"])
    assert len(orders) > 2


def test_a_fault_is_named_and_nothing_is_ordered(worked):
    *_, done = worked
    assert done["P3"]("A3", SHEET) == ""
    assert "corners closed by" in done["faulty"]("A3", SHEET)
    rows = range(FIRST_MATERIAL, FIRST_MATERIAL + len(NAMES))
    assert {done["faulty"](f"F{row}", SHEET) for row in rows} == {"–"}


def test_no_page_without_other_materials_and_the_same_file_twice():
    book = openpyxl.load_workbook(io.BytesIO(price_sheet(calibrate(firm(jobs=8)))))
    assert not any(name.startswith(SHEET) for name in book.sheetnames)
    allowances = taught()
    assert price_sheet(allowances) == price_sheet(allowances)


def test_crews_of_the_materials_never_become_formulas():
    records = invent(jobs=8)
    records.jobs["crew"] = ['=HYPERLINK("http://x")', "+1", "@cmd", "Alder"] * 2
    records = replace(records, materials=with_use(records, "frame tape", 0.1))
    content = price_sheet(calibrate(records))
    assert not any("HYPERLINK" in cell.value for cell in formulas(content))
    used = {
        name for cell in formulas(content) for name in re.findall(r"([A-Z][A-Z.]*)\(", cell.value)
    }
    assert used == {
        "ABS", "AND", "COUNTA", "EXACT", "IF", "INDEX", "INT", "ISNUMBER", "LOWER", "MAX",
        "MIN", "N", "NORMSDIST", "NOT", "OR", "ROUNDUP", "SQRT", "SUBSTITUTE", "SUMPRODUCT", "TRIM",
    }  # fmt: skip
