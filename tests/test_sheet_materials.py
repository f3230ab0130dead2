"""The page of the other materials, recalculated by LibreOffice, agrees with `price_materials`."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import openpyxl
import pandas as pd
import pytest

from airstats import price_materials, quarterly
from airstats.price_sheet import price_sheet
from airstats.sheet_materials import FIRST_MATERIAL, SHEET
from tests.invented import invent
from tests.material_firm import firm, with_use
from tests.test_price_sheet import fill, formulas, invent_jobs, needs_soffice, recalculated

NAMES = ("joint tape", "frame tape", "corner pieces")
PLACES = range(3, 12)


def taught():
    """Allowances with three materials, each with its twenty likeliest candidates."""
    records = invent(jobs=24, crew_extra=0.1)
    kept = [with_use(records, name, 0.1) for name in NAMES]
    return quarterly.calibrate(replace(records, materials=pd.concat(kept, ignore_index=True)))


@pytest.fixture(scope="module")
def worked(tmp_path_factory):
    allowances = taught()
    records, costs = invent_jobs(allowances.belief.crews)
    book = openpyxl.load_workbook(io.BytesIO(price_sheet(allowances)))
    files = {}
    for place in PLACES:
        job = records.jobs.iloc[place].to_dict()
        own = records.openings[records.openings["job_id"].eq(job["job_id"])]
        files[job["job_id"]] = fill(book, job, own, costs[place])
    done = recalculated(tmp_path_factory.mktemp("materials"), files)
    return allowances, records, costs, done


def priced_alone(records, place, allowances, costs):
    job_id = records.jobs["job_id"].iloc[place]
    chosen = replace(
        records,
        jobs=records.jobs.iloc[[place]].reset_index(drop=True),
        openings=records.openings[records.openings["job_id"].eq(job_id)].reset_index(drop=True),
    )
    return price_materials(chosen, allowances, *costs[place]).set_index("material")


@needs_soffice
@pytest.mark.parametrize("name", ["frame tape", "corner pieces"])
def test_the_page_gives_the_numbers_of_the_package(worked, name):
    allowances, records, costs, done = worked
    row = FIRST_MATERIAL + NAMES.index(name)
    orders = set()
    for place in PLACES:
        cells = done[records.jobs["job_id"].iloc[place]]
        there = priced_alone(records, place, allowances, costs).loc[name]
        assert cells(f"A{row}", SHEET) == name
        assert cells(f"D{row}", SHEET) == pytest.approx(there["expected"], rel=1e-8)
        assert cells(f"F{row}", SHEET) == there["order_packs"]
        assert cells(f"G{row}", SHEET) == pytest.approx(there["chance_short"], abs=1e-8)
        orders.add(there["order_packs"])
    assert len(orders) > 3


@needs_soffice
def test_courses_and_ends_of_rolls_are_counted_and_joints_of_pieces_are_typed(worked):
    allowances, records, costs, done = worked
    row = FIRST_MATERIAL + NAMES.index("joint tape")
    for place in PLACES:
        job = records.jobs.iloc[place]
        cells = done[job["job_id"]]
        there = priced_alone(records, place, allowances, costs).loc["joint tape"]
        assert 0 < cells(f"D{row}", SHEET) <= there["expected"] * (1 + 1e-9)


def test_a_firm_without_other_materials_has_no_such_page():
    book = openpyxl.load_workbook(io.BytesIO(price_sheet(quarterly.calibrate(firm(jobs=8)))))
    assert not any(name.startswith(SHEET) for name in book.sheetnames)


def test_crews_of_the_materials_never_become_formulas():
    records = invent(jobs=8)
    records.jobs["crew"] = ['=HYPERLINK("http://x")', "+1", "@cmd", "Alder"] * 2
    records = replace(records, materials=with_use(records, "frame tape", 0.1))
    content = price_sheet(quarterly.calibrate(records))
    assert not any("HYPERLINK" in cell.value for cell in formulas(content))
    used = {
        name for cell in formulas(content) for name in re.findall(r"([A-Z][A-Z.]*)\(", cell.value)
    }
    assert used <= {
        "ABS", "AND", "COUNTA", "COUNTIF", "EXACT", "IF", "INDEX", "INT", "ISNUMBER", "MAX", "MIN",
        "N", "NORMSDIST", "NOT", "OR", "ROUNDUP", "SQRT", "SUMPRODUCT",
    }  # fmt: skip


def test_the_same_allowances_give_the_same_file():
    allowances = taught()
    assert price_sheet(allowances) == price_sheet(allowances)
    assert np.isfinite(allowances.materials["frame tape"]["shown"]["mean"])
