"""A spreadsheet that prices jobs with live formulas: the same order as `airstats price`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

from openpyxl.styles import Alignment, Font
from openpyxl.workbook import Workbook

from airstats.base.caution import CAUTION
from airstats.base.firm import ASSUMED, LEFTOVER_COST, SHORT_COST, Firm
from airstats.base.name_matching import name_key
from airstats.catalog.materials import MATERIALS, plural
from airstats.documents.price_workbook import quote_page
from airstats.documents.price_workbook.candidates import (
    Candidates,
    Use,
    add_candidates,
    add_use,
    least_packs,
    quantiles,
)
from airstats.documents.price_workbook.crews import add_crews, crew_step
from airstats.documents.price_workbook.formula_values import formula_values
from airstats.documents.price_workbook.geometry_formulas import add_geometry
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.documents.price_workbook.looks import (
    TO_TYPE,
    head_row,
    heading,
    one_page,
    protect,
    same_bytes,
)
from airstats.documents.price_workbook.materials import COUNTED, STEPS, materials_good
from airstats.documents.price_workbook.quote_page import AMOUNT, MONEY, RATIO, Input, result_cell
from airstats.documents.price_workbook.typed_jobs import (
    TypedJob,
    driver_name,
    example,
    typed_jobs,
)
from airstats.documents.price_workbook.usual_formulas import usual_steps
from airstats.model.allowances import Allowances, Pack, usual_pack
from airstats.model.posterior import widen
from airstats.pricing.newsvendor import material_known, priced
from airstats.records.reading import Records
from airstats.takeoff.sheet_quantities import take_off
from airstats.takeoff.usual_openings import Habits

MOST_JOBS = 12
"""More jobs of a takeoff have no page; an empty page follows the last."""
SHARES = ("0.5", "0.8", "0.95")
FORMULAS = {
    "roll_m2": "roll_width_m*roll_length_m",
    "lap_factor": "IF(inputs_good,roll_width_m/(roll_width_m-lap_mm/1000),1)",
    "laid_m2": "IF(inputs_good,(surface_m2-lined_opening_m2)*lap_factor,0)",
    "begun_m2": "IF(inputs_good,N(begun_m)*roll_width_m,0)",
    "critical_share": "IF(inputs_good,short_cost/(short_cost+leftover_cost),0.5)",
}
"""Steps between what is typed and the candidates, named like the quantities of the package."""
COLUMNS = (
    "material", "counted", "used on average", "a pack holds", "packs", "chance short",
    "price a pack", "money",
)  # fmt: skip


def price_sheet(
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    takeoff: Records | None = None,
    firm: Firm = ASSUMED,
) -> bytes:
    """Return an .xlsx workbook that prices jobs with these allowances, a page each.

    Parameters
    ----------
    allowances : Allowances
        What the finished jobs taught.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short, as the pages start with.
    takeoff : Records, optional
        Jobs that stand on the pages; without them an invented example, which says so.
    firm : Firm
        Its name, currency and prices stand on the pages.

    Notes
    -----
    Every number is worked out by formulas from what is typed and from the candidates of the
    allowances, one quarter ahead, as `newsvendor.price` does; nothing is a macro. Each formula is
    written with its value, so that a preview shows it.
    """
    book = Workbook()
    book.remove(book.active)
    takeoff = takeoff if takeoff and len(takeoff.jobs) else example()
    costs = (leftover_cost, short_cost)

    stock, end_m = takeoff.stock, firm.unusable_end_m
    foretold = priced(take_off(takeoff), allowances, *costs, stock=stock, end_m=end_m)
    known = {name: material_known(allowances, name) for name in MATERIALS}
    starts = dict(zip(("leftover_cost", "short_cost"), costs, strict=True)) | _packs(known, firm)
    starts |= {"firm": firm.name or None, "currency": firm.currency or None}
    starts |= {"roll_price": firm.roll_price}
    pages = [*islice(typed_jobs(takeoff, foretold), MOST_JOBS), TypedJob()]
    sheets = [JobSheets.added(book, number) for number in range(1, len(pages) + 1)]
    shared = _shared(book, allowances, known, len(takeoff.jobs))
    for job, typed in zip(sheets, pages, strict=True):
        _job(job, replace(typed, values=starts | typed.values), shared)
    return same_bytes(book, formula_values(book))


@dataclass(frozen=True)
class _Shared:
    """What all pages go by."""

    crews: list[str]
    products: dict[str, Candidates]
    labels: dict[str, str]
    told: str
    notes: list[str]


def _shared(
    book: Workbook, allowances: Allowances, known: dict[str, Allowances], jobs: int
) -> _Shared:
    """Add the sheets that all pages share."""
    crews = _crews(allowances)
    add_crews(book, crews)
    beliefs = {"sheet": allowances.belief} | {name: one.belief for name, one in known.items()}
    return _Shared(
        crews,
        {
            name: add_candidates(book, f"candidates {n}", widen(belief, 1), crews, name == "sheet")
            for n, (name, belief) in enumerate(beliefs.items(), start=1)
        },
        {
            name: f"{name}, {plural(one.unit)}{'*' * (name not in allowances.materials)}"
            for name, one in MATERIALS.items()
        },
        f"Allowances of {allowances.quarter}, from {len(allowances.job_ids)} finished jobs.",
        list(_notes(allowances, jobs - MOST_JOBS)),
    )


def _crews(allowances: Allowances) -> list[str]:
    """Every crew once, those of the sheet first."""
    known: dict[str, str] = {}
    for of_one in (allowances, *allowances.materials.values()):
        for crew in of_one.belief.crews:
            known.setdefault(name_key(crew), crew)
    return list(known.values())


def _packs(known: dict[str, Allowances], firm: Firm) -> dict[str, Any]:
    """What was bought last of each material: content and price of a pack, by the cells' names.

    Where no record names a price, the firm's own.
    """
    packs: dict[str, Any] = {}
    for place, (name, one) in enumerate(known.items(), start=1):
        pack: Pack = one.pack or usual_pack(name)
        own = firm.unit_prices.get(name)
        price = pack.price if pack.price or own is None else own * pack.content
        packs |= {f"pack_{place}": pack.content, f"price_{place}": price}
    return packs


def _job(job: JobSheets, typed: TypedJob, shared: _Shared) -> None:
    """Write all sheets of a job."""
    quote_page.front(job, shared.told)
    quote_page.inputs(job, typed)
    rows = quote_page.openings(job, typed.openings)
    sheet = shared.products["sheet"]
    _steps(job, rows, shared.crews, sheet.belief.habits)
    use = add_use(job, sheet, "laid_m2", "sheet, candidate by candidate")
    top = quote_page.FIRST_OPENING + rows + 1
    quote_page.results(job, top, *_order(job, use))
    last = _money(job, top + len(quote_page.RESULTS) + 3, typed, shared)
    quote_page.looks(job.page, last)
    job.page.freeze_panes = "A4"
    one_page(job.page, f"H{last}")
    protect(job.page)


def _steps(job: JobSheets, rows: int, crews: list[str], habits: Habits) -> None:
    """The steps between what is typed and the candidates."""
    page = f"'{job.page.title}'"
    for name, formula in quote_page.checks(rows).items():
        job.step(name, formula.replace("PAGE", page))
    for name, formula in {**FORMULAS, **STEPS, "materials_good": materials_good()}.items():
        job.step(name, formula)
    crew_step(job, crews)
    add_geometry(job, quote_page.FIRST_OPENING, rows)
    usual_steps(job, habits)


def _order(job: JobSheets, use: Use) -> tuple[dict[str, str], list[str]]:
    """The formulas of the results, and of the rolls that are enough for 50, 80, 95 of 100."""
    order, *enough = least_packs(
        job, use, ("critical_share", *SHARES), "roll_m2", "rolls", "+begun_m2"
    )
    low, high = quantiles(job, use, ("0.1", "0.9"), "sheet, m²")
    below = use.below("ROLLS*roll_m2+begun_m2")
    formulas = {
        "order_rolls": order,
        "from_stock_rolls": "MIN(order_rolls,N(stock_rolls))",
        "buy_rolls": "order_rolls-from_stock_rolls",
        "chance_short": f"1-{use.below('order_rolls*roll_m2+begun_m2')}",
        "expected_m2": use.expected,
        "low_m2": f"MAX({low},0)",
        "high_m2": high,
        "add_share": "expected_m2/surface_m2-1",
        "add_low": "low_m2/surface_m2-1",
        "add_high": "high_m2/surface_m2-1",
        "below": below,
    }
    return formulas, enough


def _money(job: JobSheets, top: int, typed: TypedJob, shared: _Shared) -> int:
    """Write the materials with their money, and the sums; return the last row."""
    page = job.page
    heading(page, top, "Materials and money")
    job.write(page, f"H{top}", 'IF(currency="","",currency)')
    marked = [TO_TYPE * (words in ("a pack holds", "price a pack")) + words for words in COLUMNS]
    head_row(page, top + 1, "A", marked)
    quote_page.to_the_right(page, top + 1, "BCDEFGH")
    quote_page.to_the_right(page, top, "H")
    page.row_dimensions[top + 1].height = 32
    row = top + 2
    _sheet_row(job, row, typed.values.get("roll_price"))
    for place, (name, label) in enumerate(shared.labels.items(), start=1):
        page[f"A{row + place}"] = label
        _material_row(job, row + place, name, shared.products[name], typed.values)
    return _sums(job, row, row + len(MATERIALS), shared.notes)


def _sheet_row(job: JobSheets, row: int, price: float | None) -> None:
    page = job.page
    page[f"A{row}"] = "sheet, m², in rolls"
    for letter, formula, pattern in (
        ("B", "surface_m2", AMOUNT),
        ("C", "expected_m2", AMOUNT),
        ("D", "roll_m2", "0.##"),
        ("E", "order_rolls", "0"),
        ("F", "chance_short", RATIO),
    ):
        result_cell(job, f"{letter}{row}", "", f'IF(inputs_good,{formula},"–")', pattern)
    quote_page.input_cell(
        job, Input("roll_price", "", f"G{row}", None, (0, 1_000_000_000), MONEY), price
    )
    # What is taken from begun rolls costs as much as new sheet.
    _money_cell(job, row, "sheet_money", "+N(begun_m)/roll_length_m")


def _money_cell(job: JobSheets, row: int, name: str = "", beside: str = "") -> None:
    formula = f'IF(AND(ISNUMBER(E{row}),N(G{row})>0),(E{row}{beside})*G{row},"–")'
    result_cell(job, f"H{row}", name, formula, MONEY)


def _material_row(
    job: JobSheets, row: int, name: str, product: Candidates, values: dict[str, Any]
) -> None:
    """One material: what is counted, packs to buy and their money."""
    counted, here = COUNTED.get(MATERIALS[name].driver), f"'{job.page.title}'!"
    place = list(MATERIALS).index(name) + 1
    amount, pack, price = driver_name(name), f"pack_{place}", f"price_{place}"
    if counted:
        result_cell(job, f"B{row}", amount, f'IF(OR(unknown=1,untouched),"–",{counted})', AMOUNT)
    else:
        job.page[f"A{row}"] = f"{TO_TYPE}{job.page[f'A{row}'].value}"
        one = Input(amount, "", f"B{row}", None, (0, 1_000_000), AMOUNT)
        quote_page.input_cell(job, one, values.get(amount))
    for cell, letter, pattern in ((pack, "D", "General"), (price, "G", MONEY)):
        one = Input(cell, "", f"{letter}{row}", None, (0, 1_000_000_000), pattern, of_firm=True)
        quote_page.input_cell(job, one, values.get(cell))
    use = add_use(job, product, f"N({here}$B${row})", f"{name}, candidate by candidate")
    (order,) = least_packs(job, use, ("critical_share",), f"{here}$D${row}", name)
    good = f"AND(inputs_good,materials_good,N(B{row})>0,N(D{row})>0)"
    short = f"1-{use.below(f'E{row}*D{row}')}"
    for letter, cell, formula, pattern in (
        ("C", "", use.expected, AMOUNT),
        ("E", f"packs_{place}", order, "0"),
        ("F", "", short, RATIO),
    ):
        result_cell(job, f"{letter}{row}", cell, f'IF({good},{formula},"–")', pattern)
    _money_cell(job, row)


def _sums(job: JobSheets, first: int, last: int, notes: list[str]) -> int:
    """The sums of money, what is not in them, and the notes; return the last row."""
    page, row = job.page, last + 1
    names = ["sheet", *MATERIALS]
    cells = [f"H{at}" for at in range(first, last + 1)]
    missing = "&".join(
        f'IF(ISNUMBER({cell}),"","{name}; ")' for name, cell in zip(names, cells, strict=True)
    )
    lacking = f"NOT(AND({','.join(f'ISNUMBER({cell})' for cell in cells)}))"
    listed = f'"Without a price, a count or a need: "&SUBSTITUTE({missing}&".","; .",".")'
    job.write(page, f"A{row}", f'IF(AND(inputs_good,{lacking}),{listed},"")')
    added = "+".join(f"N({cell})" for cell in cells)
    lines = (
        ("materials_money", "Materials", f'IF(inputs_good,{added},"–")'),
        ("money_a_m2", "a m² of surface", 'IF(inputs_good,materials_money/surface_m2,"–")'),
        ("labour", f"{TO_TYPE}Labour, your own", ""),
        ("total_money", "Together", 'IF(inputs_good,materials_money+N(labour),"–")'),
    )
    for place, (name, label, formula) in enumerate(lines):
        at = row + place
        page[f"G{at}"] = label
        if formula:
            result_cell(job, f"H{at}", name, formula, MONEY)
        else:
            one = Input(name, "", f"H{at}", None, (0, 1_000_000_000), MONEY)
            quote_page.input_cell(job, one, None)
    page[f"G{row + 3}"].font = page[f"H{row + 3}"].font = Font("Calibri", bold=True, size=14)
    for place, text in enumerate(notes, start=row + 5):
        page[f"A{place}"] = text
        page.merge_cells(f"A{place}:H{place}")
        page[f"A{place}"].alignment = Alignment(wrap_text=True, vertical="top")
        page.row_dimensions[place].height = 30
    # The last says on the screen what the footer says in print.
    return row + 3 + len(notes)


def _notes(allowances: Allowances, more: int) -> Iterator[str]:
    """What a reader must know, under the quote."""
    yield (
        "How to: type job, client, date, surface and the price of a roll; a row for each kind of"
        " opening (none: leave all empty; nobody knows them yet: `not known`); your labour. Next"
        " job: next sheet."
    )
    yield (
        "The order is the least number of rolls (packs) that is enough with a chance of short ÷"
        " (short + left over), as `airstats price` says it. Sheet from begun rolls (less their"
        " unusable ends) costs as new."
    )
    if error := allowances.belief.habits.depth_error_mm:
        yield (
            f"Depths are measured to ± {error:g} mm in this firm: `airstats price` reckons with"
            " that, this page takes them as they are typed."
        )
    if any(name not in allowances.materials for name in MATERIALS):
        yield "* No finished job has told of it yet: its allowance is common practice."
    if more > 0:
        yield f"{more} more jobs of the takeoff have no page here: `airstats price` prices them."
    yield CAUTION
