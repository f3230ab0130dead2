"""The price sheet: each cell's written value, and two engines, give the numbers of `price`."""

import io
import math
import os
import re
import shutil
import subprocess
import unicodedata
import zipfile
from dataclasses import dataclass, replace
from functools import cache
from unittest import mock

import formulon
import numpy as np
import openpyxl
import pandas as pd
import pytest
from openpyxl.cell.cell import MergedCell
from openpyxl.utils.cell import coordinate_to_tuple
from openpyxl.workbook.defined_name import DefinedName
from python_calamine import CalamineWorkbook

from airstats import price_materials
from airstats.base.firm import Firm
from airstats.catalog.corner_methods import CORNER_METHODS
from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import MATERIALS
from airstats.catalog.reader_names import reader_name
from airstats.documents.price_workbook import quote_page, workbook
from airstats.documents.price_workbook.geometry_formulas import add_geometry, sums
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.documents.price_workbook.quote_page import FIRST_OPENING, INPUTS, RESULTS
from airstats.documents.price_workbook.usual_formulas import LISTED, UNKNOWN
from airstats.documents.price_workbook.workbook import price_sheet
from airstats.model.allowances import Allowances, unchanged
from airstats.model.posterior import FORMS
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import price
from airstats.records.reading import Records, read_records
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.catalog.test_new_cut import ADDED, records_of
from tests.invented import KNOWN_CUTS, invent, save, with_use

JOBS = int(os.environ.get("AIRSTATS_PRICED_JOBS", "12"))
"""200 take ten minutes."""
A_BOOK = 6
A_PAGE, MOST_KINDS = 3, 9
"""Rows for openings on a page, and the most of a job: each has 140 formulas."""
ROWS_OF_OPENINGS = 500
HELD = ("order_rolls", "expected_m2", "low_m2", "high_m2",
        "rolls_p50", "rolls_p80", "rolls_p95", "chance_short",
        "from_stock_rolls", "buy_rolls")  # fmt: skip
OPENING_COLUMNS = ("count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern")
COSTS = ((60, 240), (10, 500), (200, 90), (0.5, 0.75))
PACKS = {"C": "expected", "E": "order_packs", "F": "chance_short"}


@cache
def learnt():
    """Allowances that two materials taught too, with few candidates: quicker to work out."""
    records = invent(jobs=24, crew_extra=0.1)
    kept = [with_use(records, name, 0.1) for name in ("frame tape", "sealant")]
    records = replace(records, jobs=records.jobs.assign(sealant_m=180.0))
    whole = calibrate(replace(records, materials=pd.concat(kept, ignore_index=True)))
    whole = replace(
        whole, belief=replace(whole.belief, crews=("Älder", "Birch", "Cedar", "Damson"))
    )
    few = {name: replace(one, belief=likeliest(one.belief, 10))
           for name, one in whole.materials.items()}  # fmt: skip
    return replace(whole, belief=likeliest(whole.belief, 20), materials=few)


@cache
def begun():
    """What a firm begins with that has no job yet, with few candidates too."""
    prior = unchanged("2026Q1")
    return replace(prior, belief=likeliest(prior.belief, 20))


@cache
def plain():
    """The price sheet with an example and no takeoff."""
    return price_sheet(learnt())


def short_sheet(*asked, **more):
    """A price sheet with few rows for openings."""
    with mock.patch.object(quote_page, "LEAST_ROWS", A_PAGE):
        return price_sheet(*asked, **more)


def likeliest(belief, most):
    """The likeliest candidates of each form."""
    order = np.argsort(-belief.weight)
    kept = [order[belief.form[order] == form][:most] for form in range(len(FORMS))]
    few = belief.pick(np.concatenate(kept))
    return replace(few, weight=few.weight / few.weight.sum())


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


@cache
def invent_jobs(jobs=JOBS):
    """Jobs of every size, roll and crew; a job in three is known by a summary of its openings.

    A job in two names every material, with packs and prices of its own; of a job in six nobody
    knows the openings.
    """
    rng = np.random.default_rng(7)
    crews, rows, openings = learnt().belief.crews, [], []
    for place in range(jobs):
        # So small a job that luck may leave nothing of its need: 80 in 100 begin at 0.
        unknown = place % 6 == 4
        surface = (2.0, 5200.0, 260.5)[place] if place < 3 else round(rng.uniform(120, 600), 1)
        kinds = (0, 30, 1)[place] if place < 3 else 1 if place % 3 == 0 else rng.integers(1, 6)
        kinds = 0 if unknown else kinds
        rows.append(
            {
                "job_id": f"P{place}",
                "surface_m2": surface + 120 * kinds,
                "roll_width_m": rng.choice([1.0, 1.5, 3.0]),
                "roll_length_m": rng.choice([25.0, 50.0]),
                "lap_mm": rng.choice([0.0, 80.0, 100.0, 150.0]),
                "crew": SPELL[place % 4](str(rng.choice(["", "Fir", *crews]))),
                "used_rolls": np.nan,
                "counted": "opened",
                "roll_price": rng.choice([np.nan, 164.0]),
                "corner_method": (*CORNER_METHODS, "")[place % 4],
                "pretaped_share": (0.3, 0.02, np.nan)[place % 3],
                "perimeter_m": (62.5, np.nan)[place % 2],
                "sealant_m": (np.nan, 180.0)[place % 2],
                "openings_known": not unknown,
            }
        )
        made = openings_like(rng, kinds, whole=place % 2).assign(job_id=f"P{place}")
        openings.append(made.assign(mark="summary" if place % 3 == 0 else "")[:MOST_KINDS])
    named = [(row["job_id"], name) for row in rows[::2] for name in MATERIALS]
    materials = pd.DataFrame(named, columns=["job_id", "material"]).assign(
        estimated=np.nan, used=np.nan, counted="opened", pack=25.0, unit="", pack_price=11.5
    )
    kinds = pd.concat(openings, ignore_index=True)
    return Records(pd.DataFrame(rows), kinds, pd.DataFrame(), (), "invented", "", (), materials)


def shelf(place):
    """Nothing, or whole and begun rolls of the sizes that the jobs take, and of another."""
    rng, columns = np.random.default_rng(place), ["roll_width_m", "roll_length_m"]
    sizes = [(width, length) for width in (1.0, 1.5, 3.0) for length in (25.0, 50.0)] + [(2.0, 50)]
    whole = pd.DataFrame(sizes, columns=columns).assign(rolls=rng.integers(0, 5, 7), left_m=0.0)
    begun = pd.DataFrame(sizes, columns=columns).assign(rolls=0, left_m=rng.uniform(0.5, 24, 7))
    stock = pd.concat([whole, begun], ignore_index=True)
    return stock.iloc[: len(stock) * (place % 2)]


def some(records, chosen):
    """The records of some of the jobs."""
    jobs = records.jobs.iloc[chosen].reset_index(drop=True)
    parts = {
        name: table[table["job_id"].isin(jobs["job_id"])].reset_index(drop=True)
        for name, table in (("openings", records.openings), ("materials", records.materials))
    }
    return replace(records, jobs=jobs, **parts)


def fill(book, number, openings, **values):
    """Type into a page, over what stands there."""
    for name, value in values.items():
        typed_at(book, named_on(number, name)).value = None if value != value else value
    rows, page = openings.to_dict("records"), book[page_of(number)]
    row = FIRST_OPENING
    while not page[f"A{row}"].protection.locked:
        opening = rows.pop(0) if rows else {}
        for letter, name in zip("BCDEFG", OPENING_COLUMNS, strict=True):
            page[f"{letter}{row}"] = opening.get(name)
        row += 1
    assert not rows


def page_of(number):
    return f"quote {number}" if number > 1 else "quote"


def named_on(number, name):
    return f"{name}_{number}" if number > 1 else name


def typed_at(book, name):
    """The cell of a name."""
    ((title, place),) = book.defined_names[name].destinations
    return book[title][place.replace("$", "")]


def saved(book):
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def without_values(content):
    """The file as a library writes it that leaves formulas without values."""
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(held, "w") as new:
        for name in old.namelist():
            page = re.sub(rb"</f><v>[^<]*</v>", b"</f>", old.read(name))
            new.writestr(name, re.sub(rb' t="(?:str|b)"><f>', b"><f>", page))
    return held.getvalue()


def opened(content):
    """The book without the values in its formulas' cells."""
    return openpyxl.load_workbook(io.BytesIO(content))


def geometry_book(openings):
    book = openpyxl.Workbook()
    job = JobSheets.added(book, 1)
    for row, opening in enumerate(openings.to_dict("records"), start=1):
        for letter, name in zip("BCDEFGH", (*OPENING_COLUMNS, "ok"), strict=True):
            job.page[f"{letter}{row}"] = opening.get(name, "ok")
    job.page["J1"] = 1.5
    book.defined_names["roll_width_m"] = DefinedName("roll_width_m", attr_text="'quote'!$J$1")
    add_geometry(job, 1, len(openings))
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
    subprocess.run(command, check=True, capture_output=True, timeout=500)
    return {n: Cells(CalamineWorkbook.from_path(folder / "out" / f"{n}.xlsx")) for n in files}


needs_soffice = pytest.mark.skipif(
    shutil.which("soffice") is None,
    reason="soffice is not installed (apt-get install libreoffice-calc-nogui)",
)
ENGINES = (by_formulon, pytest.param(by_libreoffice, marks=needs_soffice))
OF_MANY = by_libreoffice if shutil.which("soffice") else by_formulon
"""Works out the many openings, which the other does not read in less than ten seconds."""


class Cells:
    """The values of a workbook's cells, by place and sheet, or by name."""

    def __init__(self, book):
        self.book = book
        self.rows = cache(
            lambda sheet: self.book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
        )

    def __call__(self, place, sheet="quote"):
        row, column = coordinate_to_tuple(place)
        return self.rows(sheet)[row - 1][column - 1]

    def named(self, names, name):
        sheet, _, place = names[name].attr_text.rpartition("!")
        return self(place.replace("$", ""), sheet.strip("'"))


@pytest.fixture(scope="module")
def written():
    """Price sheets with the jobs on their pages, `A_BOOK` each, in turn with a stock; by name.

    Each as it is written, and opened without the values in its formulas' cells.
    """
    records, files = invent_jobs(), {}
    for place, first in enumerate(range(0, JOBS, A_BOOK)):
        part = replace(some(records, slice(first, first + A_BOOK)), stock=shelf(place))
        costs = COSTS[place % len(COSTS)]
        content = short_sheet(learnt(), *costs, part)
        files[f"book{first}"] = part, costs, content, opened(content)
    return files


def as_written(folder, files):
    """The values that stand in the file, as a preview reads them."""
    return {n: Cells(CalamineWorkbook.from_filelike(io.BytesIO(c))) for n, c in files.items()}


@pytest.fixture(scope="module")
def done(written, typed, tmp_path_factory):
    """What gives the cells of all books, as one of the engines has them; each works once."""
    whole = {name: content for name, (*_, content, _) in written.items()}
    fresh = {name: without_values(whole[name]) for name in written} | typed.files
    many = {"geometry": geometry_book(typed.many)}

    @cache
    def by(engine):
        files = whole if engine is as_written else fresh
        return engine(tmp_path_factory.mktemp("books"), files | (many if engine is OF_MANY else {}))

    return by


@pytest.fixture(scope="module", params=(as_written, *ENGINES))
def pages(request, written, done):
    """Each book with its jobs, costs and names; its cells as one of the engines has them."""
    cells = done(request.param)
    return [
        (records, costs, book.defined_names, cells[name])
        for name, (records, costs, _, book) in written.items()
    ]


def on_page(cells, names, number, name):
    return cells.named(names, named_on(number, name))


def test_every_page_has_the_numbers_of_price(pages):
    checked = costly = shelved = 0
    for records, costs, names, cells in pages:
        there = price(records, learnt(), *costs)
        for number, (row, job) in enumerate(
            zip(there.to_dict("records"), records.jobs.to_dict("records"), strict=True), start=1
        ):
            here = {name: on_page(cells, names, number, name) for name in HELD}
            for name in HELD:
                expected = pytest.approx(float(row[name]), rel=1e-8, abs=1e-7)
                assert here[name] == expected, (job["job_id"], name)
            if on_page(cells, names, number, "sheet_money") != "–":
                cost = on_page(cells, names, number, "sheet_money")
                assert cost == pytest.approx(row["sheet_cost"], abs=1e-6)
                costly += 1
            added = [on_page(cells, names, number, f"add_{n}") for n in ("share", "low", "high")]
            assert added[0] == pytest.approx(row["all_in_percent"] / 100, abs=1e-7)
            uses = [row[name] / job["surface_m2"] - 1 for name in ("low_m2", "high_m2")]
            assert added[1:] == pytest.approx(uses, abs=1e-7)
            checked += len(HELD)
            shelved += row["from_stock_rolls"] + row["from_stock_m"]
    assert checked == JOBS * len(HELD)
    assert costly >= JOBS / 3
    assert shelved > JOBS / 2


def test_every_page_has_the_packs_of_price_materials_and_their_money(pages):
    checked = told = 0
    for records, costs, names, cells in pages:
        # Those whose takeoff names all materials are told of all.
        there = price_materials(records, learnt(), *costs).set_index(["job_id", "material"])
        for number, job in enumerate(records.jobs.to_dict("records"), start=1):
            sheet, place = page_of(number), names[named_on(number, "roll_price")].attr_text
            row = int(place.rpartition("$")[2])
            money = on_page(cells, names, number, "sheet_money")
            money = 0 if money == "–" else money
            for at, name in enumerate(MATERIALS, start=row + 1):
                assert cells(f"A{at}", sheet).removeprefix("▸ ").startswith(name)
                if (job["job_id"], name) not in there.index:
                    assert job["openings_known"] or cells(f"E{at}", sheet) == "–" or at > row + 3
                    continue
                packs = there.loc[(job["job_id"], name)]
                for letter, column in PACKS.items():
                    expected = pytest.approx(float(packs[column]), rel=1e-8, abs=1e-7)
                    assert cells(f"{letter}{at}", sheet) == expected, (job["job_id"], name, column)
                    checked += 1
                if cells(f"G{at}", sheet):
                    money += packs["order_packs"] * 11.5
            named = int(job["job_id"][1:]) % 2 == 0
            if "–" not in (bare := [cells(f"H{at}", sheet) for at in range(row, row + 5)]):
                assert not cells(f"A{row + 5}", sheet)
            elif on_page(cells, names, number, "materials_money") != "–":
                all_names = ["sheet", *MATERIALS]
                missing = [n for n, sum_ in zip(all_names, bare, strict=True) if sum_ == "–"]
                said = f"Without a price, a count or a need: {'; '.join(missing)}."
                assert cells(f"A{row + 5}", sheet) == said
                told += 1
            if named:
                assert on_page(cells, names, number, "materials_money") == pytest.approx(money)
    assert checked > 4 * JOBS
    assert told


def are_close(here, there):
    """As numbers; tens of thousands of pairs take seconds by `pytest.approx`."""
    are_numbers = isinstance(here, float) and isinstance(there, float)
    return are_numbers and math.isclose(here, there, rel_tol=1e-6, abs_tol=1e-6)


def test_each_written_value_is_that_of_the_engines(written, done):
    name, (*_, content, book) = next(iter(written.items()))
    kept, seen = done(as_written)[name], 0
    given = as_written(None, {name: without_values(content)})[name]
    assert given.named(book.defined_names, "order_rolls") == ""
    engines = [by_formulon] + [by_libreoffice] * bool(shutil.which("soffice"))
    for engine in engines:
        worked_out = done(engine)[name]
        for sheet in book:
            for row in sheet.iter_rows():
                for cell in row:
                    if cell.data_type == "f":
                        here, there = (c(cell.coordinate, sheet.title) for c in (kept, worked_out))
                        told = engine.__name__, sheet.title, cell.coordinate, here, there
                        assert here == there or are_close(here, there), told
                        seen += 1
    assert seen > 9_000 * len(engines)


def test_sums_are_those_of_the_takeoff(written, done):
    name, (records, *_, book) = next(iter(written.items()))
    names, cells = book.defined_names, done(as_written)[name]
    there = take_off(records).reckoned(learnt().belief.habits).table
    for number in range(1, len(there) + 1):
        here = {name: on_page(cells, names, number, name) for name in sums()}
        assert here == pytest.approx(there.loc[number - 1, list(sums())].to_dict(), rel=1e-9)
    assert there["unmeasured"].eq("openings").sum() == 1


@dataclass(frozen=True)
class Typed:
    """Books in which somebody typed, each with its allowances; the names of their cells."""

    whole: Allowances
    many: pd.DataFrame
    names: dict
    files: dict


CASES = ("P5", "faulty", "no_surface", "early", "both", "glue")
"""What is typed, a page each, over another job."""
DEAR, FIRM = 900, {"firm": "Kestrel (invented)", "currency": "crowns"}


@pytest.fixture(scope="module")
def typed():
    """Books with a job typed in by hand over another, and openings worked out by the sheet."""
    records = invent_jobs()
    kinds = records.openings[records.openings["job_id"].eq("P5")]
    job = {key: value for key, value in records.jobs.iloc[5].items()
           if key in {one.name for one in INPUTS}}  # fmt: skip
    spoken = kinds.assign(cut_pattern=kinds["cut_pattern"].map(reader_name))
    more = {
        "P5": (spoken, FIRM | {"short_cost": DEAR}),
        "faulty": (kinds.assign(cut_pattern="zigzag"), {}),
        "no_surface": (kinds, {"surface_m2": np.nan}),
        "early": (kinds[:0], {"openings_are": UNKNOWN}),
        "both": (kinds, {"openings_are": UNKNOWN}),
        "glue": (kinds, {"openings_are": LISTED, "corner_method": "glue"}),
    }
    other, whole = some(records, [3]), calibrate(invent(jobs=24, crew_extra=0.1))
    others = other.jobs.iloc[[0] * len(CASES)].assign(job_id=CASES)
    books = {
        "cases": opened(short_sheet(learnt(), takeoff=replace(other, jobs=others))),
        "whole": opened(short_sheet(whole)),
        "no_crews": opened(short_sheet(begun())),
    }
    for number, name in enumerate(CASES, start=1):
        fill(books["cases"], number, more[name][0], **job | more[name][1])
    for name, crew in (("whole", "Birch"), ("no_crews", job["crew"])):
        fill(books[name], 1, kinds, **job | {"crew": crew})
    typed_at(books["whole"], "surface_m2_2").value = -5
    books["no_crews"]["quote 2"][f"B{FIRST_OPENING}"] = 3
    return Typed(
        whole,
        openings_like(np.random.default_rng(1), ROWS_OF_OPENINGS),
        {name: book.defined_names for name, book in books.items()},
        {name: saved(book) for name, book in books.items()},
    )


@dataclass(frozen=True)
class Page:
    """A page as an engine worked it out: cells by name, or by place."""

    cells: Cells
    names: dict
    number: int = 1

    def __call__(self, *names):
        found = [on_page(self.cells, self.names, self.number, name) for name in names]
        return found if len(found) > 1 else found[0]

    def at(self, place):
        return self.cells(place, page_of(self.number))

    def row_of(self, name):
        return int(self.names[named_on(self.number, name)].attr_text.rpartition("$")[2])


@pytest.fixture(scope="module", params=ENGINES)
def worked(request, typed, done):
    """The pages of these books by what is typed there, as one of the engines has them."""
    books, names = done(request.param), typed.names
    pages = {name: Page(books["cases"], names["cases"], at) for at, name in enumerate(CASES, 1)}
    pages["untouched"] = Page(books["cases"], names["cases"], len(CASES) + 1)
    for name in ("whole", "no_crews"):
        pages |= {f"{name}{at}": Page(books[name], names[name], at) for at in (1, 2)}
    return pages


@pytest.mark.parametrize("name", ["P5", "whole1", "no_crews1"])
def test_a_job_that_is_typed_is_priced_alike(worked, typed, name):
    allowances = {"P5": learnt(), "whole1": typed.whole, "no_crews1": begun()}[name]
    one = some(invent_jobs(), [5])
    if name == "whole1":
        one = replace(one, jobs=one.jobs.assign(crew="Birch"))
    there = price(one, allowances, **{"short_cost": DEAR} if name == "P5" else {}).iloc[0]
    here = dict(zip(HELD, worked[name](*HELD), strict=True))
    assert here == pytest.approx({n: float(there[n]) for n in HELD}, rel=1e-8, abs=1e-7)


def test_chances_of_rolls_end_in_those_of_the_order(worked):
    page = worked["P5"]
    first = page.row_of("order_rolls") + 1
    table = {page.at(f"E{r}"): page.at(f"F{r}") for r in range(first, first + len(RESULTS))}
    assert table[page("order_rolls")] == pytest.approx(1 - page("chance_short"))
    assert list(table.values()) == sorted(table.values())
    bars = [len(page.at(f"G{r}")) for r in range(first, first + len(RESULTS))]
    assert bars == [round(20 * chance) for chance in table.values()]


def test_a_fault_is_named_and_nothing_is_priced(worked):
    for name, words in (("faulty", "openings"), ("no_surface", "each number above 0")):
        page = worked[name]
        assert words in page.at("A3")
        assert set(page(*(n for n, *_ in RESULTS))) == {"–"}
        assert page("total_money") == "–"
    assert (
        worked["faulty"]
        .at(f"H{FIRST_OPENING}")
        .startswith("cut: write corner to corner, slit, lined")
    )
    assert worked["P5"].at("A3") == ""
    assert "corners closed by" in worked["glue"].at("A3")
    assert worked["glue"]("order_rolls") == worked["P5"]("order_rolls")


def test_openings_are_listed_or_not_known_and_an_early_price_says_so(worked):
    early, both = worked["early"], worked["both"]
    assert early.at("A3").startswith("Early price: the openings are not known yet.")
    one = some(invent_jobs(), [5])
    jobs = one.jobs.assign(openings_known=False)
    unknown = replace(one, jobs=jobs, openings=one.openings.iloc[:0])
    there = price(unknown, learnt(), short_cost=DEAR).iloc[0]
    here = dict(zip(HELD, early(*HELD), strict=True))
    assert here == pytest.approx({n: float(there[n]) for n in HELD}, rel=1e-8, abs=1e-7)
    assert early("packs_3") == "–"
    assert "those that are listed are known" in both.at("A3")
    assert both("order_rolls") == "–"


def test_what_is_the_firms_is_typed_once(worked):
    for name in (*CASES[1:], "untouched"):
        assert worked[name](*FIRM, "short_cost") == [*FIRM.values(), DEAR]


def test_a_page_names_a_fault_only_once_something_is_typed(worked):
    assert worked["untouched"].at("A3") == ""
    for name in ("whole2", "no_crews2"):
        assert worked[name].at("A3").startswith("Look at the job")


def test_every_opening_is_worked_out_as_by_the_package(typed, done):
    many = typed.many
    rows, real = done(OF_MANY)["geometry"].rows("working"), opening_quantities(many)
    head = next(place for place, row in enumerate(rows) if row[0] == "count")
    worked_out = pd.DataFrame(rows[head + 1 : head + 1 + len(many)], columns=rows[head])
    for cut in KNOWN_CUTS:
        chosen = many["cut_pattern"].eq(cut).to_numpy()
        assert chosen.sum() > 120
        needed = () if cut == "lined" else (f"needed_{cut}", f"fillable_{cut}")
        for step in ("reveal", *needed, "joint"):
            unit, size = ("m", 1e3) if step == "joint" else ("m2", 1e6)
            there = real.loc[chosen, f"{step.split('_')[0]}_{unit}"].to_numpy()
            here = worked_out.loc[chosen, step].to_numpy(dtype=float) / size
            apart = ~np.isclose(here, there, rtol=1e-10)
            assert not apart.any(), (cut, step, many[chosen][apart])


@pytest.fixture(scope="class")
def cut_besides(tmp_path_factory):
    """Jobs cut in ways that are known while these tests run, and what was learnt of them."""
    with pytest.MonkeyPatch.context() as patch:
        for cut in ADDED:
            patch.setitem(CUTS, cut.name, cut)
        records = read_records(save(tmp_path_factory.mktemp("cuts") / "records", records_of(24)))
        known = calibrate(records)
        tape = known.materials["frame tape"]
        tape = replace(tape, belief=likeliest(tape.belief, 3))
        belief = likeliest(known.belief, 6)
        yield records, replace(known, belief=belief, materials={"frame tape": tape})


class TestCutsThatAreAdded:
    """A page with ten windows of such a cut; an engine works out that which is priced."""

    def job(self, records, cut):
        jobs = records.jobs.iloc[[0]].assign(surface_m2=260.0, crew="")
        openings = records.openings.iloc[[0]].assign(count=10, cut_pattern=cut)
        return replace(records, jobs=jobs, openings=openings)

    def page(self, cut_besides, cut, engine=as_written):
        records, known = cut_besides
        content = short_sheet(known, takeoff=self.job(records, cut))
        return Page(engine(None, {"one": content})["one"], opened(content).defined_names)

    def test_it_is_priced_where_the_flat_factor_serves_without_tape_for_its_joints(
        self, cut_besides
    ):
        records, known = cut_besides
        one = price(self.job(records, "doubled"), known).iloc[0]
        page = self.page(cut_besides, "doubled", by_formulon)
        assert page.at(f"H{FIRST_OPENING}") == "ok"
        assert page("order_rolls") == one["order_rolls"] > 0
        assert page("expected_m2") == pytest.approx(one["expected_m2"], rel=1e-9)
        assert "doubled" in page.at("A3")
        assert "airstats price --materials" in page.at("A3")
        assert page("packs_1") == "–"
        assert self.page(cut_besides, "centre")("packs_1") > 0

    def test_the_page_says_where_else_a_cut_is_priced(self, cut_besides):
        page = self.page(cut_besides, "steady")
        said = "cut: price slit upright always with `airstats price`"
        assert page.at(f"H{FIRST_OPENING}") == said
        assert page("order_rolls") == "–"


def formulas(book):
    for sheet in book:
        for row in sheet.iter_rows():
            yield from (cell for cell in row if cell.data_type == "f")


def text_of_page(content):
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        return book.read("xl/worksheets/sheet1.xml").decode()


def test_no_macros_no_links_and_only_common_functions():
    content = plain()
    used = set()
    for cell in formulas(opened(content)):
        assert "[" not in cell.value
        # What spreadsheet programs hold at most: a formula, a text in it, a page's foot.
        assert len(cell.value) < 8192
        assert max(map(len, re.findall('"[^"]*"', cell.value)), default=0) < 255
        used |= set(re.findall(r"([A-Z][A-Z.]*)\(", cell.value))
    assert used == {
        "ABS", "AND", "EXACT", "IF", "INT", "ISNUMBER", "LOWER", "MAX", "MIN", "N", "NORMSDIST",
        "NOT", "OR", "REPT", "ROUND", "ROUNDUP", "SQRT", "SUBSTITUTE", "SUMPRODUCT", "TRIM",
    }  # fmt: skip
    feet = re.findall("<oddFooter>(.*?)</oddFooter>", text_of_page(content))
    assert len(feet) == 1
    assert len(feet[0]) <= 255
    assert b"vbaProject" not in content
    assert b"externalLink" not in content


def test_names_of_crews_and_jobs_never_become_formulas():
    records = invent(jobs=8)
    crews = ['=HYPERLINK("http://x")', "+1", "@cmd", "A\x07B"]
    records.jobs["crew"] = crews * 2
    jobs = some(invent_jobs(), [3])
    jobs = replace(jobs, jobs=jobs.jobs.assign(crew=crews[0], client=crews[0]))
    known = calibrate(records)
    known = replace(known, belief=likeliest(known.belief, 4))
    book = opened(short_sheet(known, takeoff=jobs))
    texts = {cell.value for row in book["crews"].iter_rows() for cell in row}
    assert {'=HYPERLINK("http://x")', "+1", "@cmd", "AB"} <= texts
    assert book["quote"]["B6"].value == crews[0]
    assert not any("HYPERLINK" in cell.value for cell in formulas(book))


def test_what_is_typed_is_open_and_all_else_is_locked_without_a_password():
    content = plain()
    assert content == price_sheet(learnt())
    book = opened(content)
    assert all(sheet.protection.sheet and not sheet.protection.password for sheet in book)
    hidden = {sheet.title for sheet in book if sheet.sheet_state == "hidden"}
    assert set(book.sheetnames) - hidden == {"quote", "quote 2"}
    page = book["quote"]
    for one in INPUTS:
        assert book.defined_names[one.name].attr_text.replace("$", "") == f"'quote'!{one.cell}"
    cells = [cell for row in page.iter_rows() for cell in row if not isinstance(cell, MergedCell)]
    free = [cell for cell in cells if not cell.protection.locked]
    assert {cell.coordinate for cell in free} >= {one.cell for one in INPUTS}
    for cell in free:
        assert cell.fill.fgColor.rgb.endswith("FFF2CC")
        assert cell.border.left.style == "medium"
        assert cell.data_type != "f"
    others = [cell for row in page.iter_rows() for cell in row if cell.protection.locked]
    assert not [
        c for c in others if c.fill.fgColor.rgb.endswith("FFF2CC") and c.column not in (3, 4)
    ]
    lists = {rule.formula1 for rule in page.data_validations.dataValidation}
    assert {'"3,4"', '"corner to corner,slit,lined"', "crews"} <= lists


def test_a_firm_that_tells_of_itself_need_type_nothing_of_it():
    told = {"unit_prices": {"joint tape": 0.8, "frame tape": 9.0}, "roll_price": 150.0}
    firm = Firm(name="Kestrel (invented)", currency="crowns", **told)
    jobs = some(invent_jobs(), [3, 5])
    content = short_sheet(learnt(), takeoff=jobs, firm=firm)
    names, cells = opened(content).defined_names, as_written(None, {"one": content})["one"]
    assert [cells.named(names, n) for n in ("firm", "currency", "firm_2", "currency_2")] == [
        "Kestrel (invented)", "crowns", "Kestrel (invented)", "crowns",
    ]  # fmt: skip
    assert cells.named(names, "price_1") == 0.8 * MATERIALS["joint tape"].pack
    # What the records tell comes before the firm's own price, and a job's before both.
    assert cells.named(names, "price_2") == 12.0
    prices = jobs.jobs["roll_price"].fillna(150.0).tolist()
    assert [cells.named(names, n) for n in ("roll_price", "roll_price_2")] == prices


def test_without_a_takeoff_an_example_says_that_it_is_invented_and_a_page_is_empty():
    content = plain()
    names, cells = opened(content).defined_names, as_written(None, {"one": content})["one"]
    assert "invented" in cells.named(names, "job")
    assert cells.named(names, "order_rolls") >= 3
    assert cells.named(names, "order_rolls_2") == "–"
    assert cells("A3", "quote 2") == ""
    (row,) = (row for row in cells.rows("quote 2") if str(row[0]).startswith("frame tape"))
    assert row[1] == "–"


def test_no_chance_is_rounded_to_sure():
    page = opened(plain())["quote"]
    (head,) = (c for row in page.iter_rows() for c in row if c.value == "they suffice")
    assert page.cell(head.row + 4, head.column).number_format == "0.0%"


def test_jobs_without_a_page_are_told(monkeypatch):
    monkeypatch.setattr(workbook, "MOST_JOBS", 2)
    jobs = some(invent_jobs(), [3] * 4)
    jobs = replace(jobs, jobs=jobs.jobs.assign(job_id=["P0", "P1", "P2", "P3"]))
    content = short_sheet(learnt(), takeoff=jobs)
    book, cells = opened(content), as_written(None, {"one": content})["one"]
    pages = [name for name in book.sheetnames if name.startswith("quote")]
    assert len(pages) == 2 + 1
    said = " ".join(str(cell) for row in cells.rows("quote") for cell in row)
    assert "2 more jobs" in said


@needs_soffice
def test_each_quote_prints_on_one_sheet_of_a4(tmp_path):
    pypdf = pytest.importorskip("pypdf")
    (tmp_path / "p.xlsx").write_bytes(price_sheet(learnt(), takeoff=some(invent_jobs(), [1, 3])))
    command = ["soffice", "--headless", f"-env:UserInstallation={(tmp_path / 'home').as_uri()}",
               "--convert-to", "pdf", "--outdir", str(tmp_path),
               str(tmp_path / "p.xlsx")]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    printed = pypdf.PdfReader(tmp_path / "p.pdf").pages
    assert len(printed) == 3
    size = [float(side) / 72 * 25.4 for side in printed[0].mediabox[2:]]
    assert size == pytest.approx([210, 297], abs=1)
    said = printed[1].extract_text()
    assert "Add to the bare surface" in said
    assert "local codes" in said
