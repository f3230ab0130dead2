"""A spreadsheet that prices one job with live formulas: the same order as `airstats price`."""

from __future__ import annotations

from openpyxl.chart import BarChart, Reference
from openpyxl.styles import Alignment, Font
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from airstats.base.caution import CAUTION
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.name_matching import name_key
from airstats.catalog.cut_patterns import CUTS
from airstats.documents.price_workbook.candidates import add_candidates, add_quantiles, chance_below
from airstats.documents.price_workbook.crews import add_crews
from airstats.documents.price_workbook.geometry_formulas import add_geometry, unpriced_cuts
from airstats.documents.price_workbook.looks import (
    FRAME,
    INPUT,
    RESULT,
    allow_list,
    allow_numbers,
    head_row,
    heading,
    name_cell,
    one_page,
    same_bytes,
)
from airstats.documents.price_workbook.materials import add_materials
from airstats.model.allowances import Allowances

SHEET = "price"
OPENING_ROWS = 30
FIRST_OPENING = 17
_LAST_OPENING = FIRST_OPENING + OPENING_ROWS - 1

INPUTS = (
    ("surface_m2", "Surface", 200, "m²", "straight across the openings", 0, 100_000),
    ("roll_width_m", "Width of a roll", 1.5, "m", "", 0.3, 6),
    ("roll_length_m", "Length of a roll", 50, "m", "", 2, 500),
    ("lap_mm", "Lap", 100, "mm", "between courses", 0, 500),
    ("crew", "Crew", None, "", "may stay empty", None, None),
    ("leftover_cost", "A roll left over costs", LEFTOVER_COST, "money", "", 0, 1e9),
    ("short_cost", "A roll short costs", SHORT_COST, "money", "", 0, 1e9),
)
"""Name, label, default, unit, remark and the limits of each number that is typed, in rows 5 on."""
FIRST_INPUT = 5

RESULTS = (
    ("order_rolls", "Rolls to order", "rolls", "0"),
    ("expected_m2", "Sheet expected", "m²", "0.0"),
    ("low_m2", "80 % interval, from", "m²", "0.0"),
    ("high_m2", "80 % interval, to", "m²", "0.0"),
    ("rolls_p50", "Enough for 50 of 100 such jobs", "rolls", "0"),
    ("rolls_p80", "Enough for 80 of 100 such jobs", "rolls", "0"),
    ("rolls_p95", "Enough for 95 of 100 such jobs", "rolls", "0"),
    ("chance_short", "Chance that the order is short", "", "0.0%"),
)
"""Name, label, unit and number format of each result, beside the inputs."""

FORMULAS = {
    "roll_m2": "roll_width_m*roll_length_m",
    "laid_m2": (
        "IF(inputs_good,(surface_m2-lined_opening_m2)*roll_width_m/(roll_width_m-lap_mm/1000),0)"
    ),
    "critical_share": "IF(inputs_good,short_cost/(short_cost+leftover_cost),0.5)",
}
"""Steps between what is typed and the candidates, named like the quantities of the package."""

NOT_HERE = "cut: price {} with `airstats price`"
OPENING_HEADINGS = (
    "mark", "count", "width, mm", "height, mm", "reveal, mm", "sides (3 or 4)", "cut", "check",
)  # fmt: skip
OPENING_LIMITS = (("count", "B", 1, 10_000), ("width", "C", 100, 20_000),
                  ("height", "D", 100, 20_000), ("reveal", "E", 10, 1500))  # fmt: skip


def price_sheet(
    allowances: Allowances, leftover_cost: float = LEFTOVER_COST, short_cost: float = SHORT_COST
) -> bytes:
    """Return an .xlsx workbook that prices a typed job with these allowances.

    Parameters
    ----------
    allowances : Allowances
        What the finished jobs taught.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short, as the sheet starts with.

    Notes
    -----
    Every number is worked out by formulas from what is typed and from the candidates of the
    allowances, one quarter ahead, as `newsvendor.price` does; nothing is a macro.
    """
    book = Workbook()
    sheet = book.active
    sheet.title = SHEET
    _front(sheet, allowances)
    _typed(book, sheet, {"leftover_cost": leftover_cost, "short_cost": short_cost})
    _openings(sheet)
    _steps(book)
    add_geometry(book, SHEET, FIRST_OPENING, OPENING_ROWS)
    crews = _crews(allowances)
    add_crews(book, crews)
    add_candidates(book, allowances.belief)
    add_quantiles(book)
    _results(book, sheet)
    _chances(sheet)
    _page(sheet)
    add_materials(book, allowances, crews)
    return same_bytes(book)


def _crews(allowances: Allowances) -> list[str]:
    """Every crew once, those of the sheet first."""
    known: dict[str, str] = {}
    for of_one in (allowances, *allowances.materials.values()):
        for crew in of_one.belief.crews:
            known.setdefault(name_key(crew), crew)
    return list(known.values())


def _front(sheet: Worksheet, allowances: Allowances) -> None:
    sheet["A1"] = f"Price a job with the allowances of {allowances.quarter}"
    sheet["A1"].font = Font("Calibri", bold=True, size=16)
    sheet["A2"] = (
        "Type into the framed yellow cells. The blue cells and the other sheets work themselves"
        f" out; {len(allowances.job_ids)} finished jobs stand behind them."
        + " Tape and corners stand on the sheet `materials`."
        * bool(allowances.materials)
    )
    sheet["A3"] = f'=IF(inputs_good,"",{_faults()})'
    sheet["A3"].font = Font("Calibri", bold=True, color="9C0006")
    place = _LAST_OPENING + 2
    sheet[f"A{place}"] = CAUTION
    sheet[f"A{place + 1}"] = (
        "Same rule as `airstats price`: the order is the least number of rolls that is enough with"
        " a chance of short ÷ (short + left over)."
    )
    for row in (place, place + 1):
        sheet.merge_cells(f"A{row}:M{row}")
        sheet[f"A{row}"].alignment = Alignment(wrap_text=True, vertical="top")
        sheet.row_dimensions[row].height = 32


def _typed(book: Workbook, sheet: Worksheet, costs: dict[str, float]) -> None:
    heading(sheet, "A4", "The job")
    for row, (name, label, value, unit, remark, low, high) in enumerate(INPUTS, start=FIRST_INPUT):
        sheet[f"A{row}"], sheet[f"D{row}"] = label, f"{unit}{', ' * bool(unit and remark)}{remark}"
        sheet.merge_cells(f"A{row}:B{row}")
        cell = sheet[f"C{row}"]
        cell.value, cell.fill, cell.border = costs.get(name, value), INPUT, FRAME
        name_cell(book, name, SHEET, f"$C${row}")
        if low is None or high is None:
            allow_list(sheet, cell.coordinate, "crews", strict=False)
        else:
            allow_numbers(sheet, cell.coordinate, low, high)


def _openings(sheet: Worksheet) -> None:
    heading(sheet, f"A{FIRST_OPENING - 2}", "Openings, one row a kind")
    head_row(sheet, FIRST_OPENING - 1, "A", OPENING_HEADINGS)
    for row in range(FIRST_OPENING, _LAST_OPENING + 1):
        for letter in "ABCDEFG":
            cell = sheet[f"{letter}{row}"]
            cell.fill, cell.border = INPUT, FRAME
        sheet[f"H{row}"] = f"={_opening_check(row)}"
    for _, letter, low, high in OPENING_LIMITS:
        cells = f"{letter}{FIRST_OPENING}:{letter}{_LAST_OPENING}"
        allow_numbers(sheet, cells, low, high)
    allow_list(sheet, f"F{FIRST_OPENING}:F{_LAST_OPENING}", '"3,4"')
    allow_list(sheet, f"G{FIRST_OPENING}:G{_LAST_OPENING}", f'"{",".join(CUTS)}"')


def _opening_check(row: int) -> str:
    """The formula that says "ok", what is wrong with a row of openings, or nothing if empty."""
    checks = [
        (
            f"OR(N({letter}{row})<{low},N({letter}{row})>{high})",
            f"{name}: write {low} to {high}{' mm' * (name != 'count')}",
        )
        for name, letter, low, high in OPENING_LIMITS
    ]
    checks.insert(1, (f"B{row}<>INT(N(B{row}))", "count: write a whole number"))
    sides = f'AND(F{row}<>"",N(F{row})<>3,N(F{row})<>4)'
    cuts = ",".join(f'G{row}<>"{cut}"' for cut in CUTS)
    checks += [
        (sides, "sides: write 3 or 4; empty is 4"),
        (f"AND({cuts})", f"cut: write {', '.join(CUTS)}"),
    ]
    checks += [(f'G{row}="{cut}"', NOT_HERE.format(cut)) for cut in unpriced_cuts()]
    formula = '"ok"'
    for wrong, words in reversed(checks):
        formula = f'IF({wrong},"{words}",{formula})'
    return f'IF(COUNTA(B{row}:E{row})+COUNTA(G{row})=0,"",{formula})'


def _steps(book: Workbook) -> None:
    """The sheet of the steps in between, and whether all that is typed will do."""
    sheet = book.create_sheet("steps")
    sheet["A1"] = "Nothing is typed here. Steps between the page `price` and the candidates."
    for row, (name, formula) in enumerate({**_checks(), **FORMULAS}.items(), start=3):
        sheet[f"A{row}"], sheet[f"B{row}"] = name, f"={formula}"
        name_cell(book, name, "steps", f"$B${row}")


def _checks() -> dict[str, str]:
    checks = f"{SHEET}!$H${FIRST_OPENING}:$H${_LAST_OPENING}"
    numbers = [f"N({name})>={low},N({name})<={high}" for name, *_, low, high in INPUTS if high]
    above = "N(surface_m2)>0,N(leftover_cost)>0,N(short_cost)>0,roll_width_m>lap_mm/1000"
    return {
        "numbers_good": f"AND({','.join(numbers)},{above},ISNUMBER(lap_mm))",
        "openings_good": f'SUMPRODUCT(({checks}<>"")*({checks}<>"ok"))=0',
        "surface_good": "N(surface_m2)>=lined_opening_m2",
        "inputs_good": "AND(numbers_good,openings_good,surface_good)",
    }


def _faults() -> str:
    numbers = "Look at the job: each number above 0 and within reason, the roll wider than the lap."
    openings = "Look at the openings: the column check says what to do."
    surface = "The lined openings are larger than the surface: look at both."
    return f'IF(NOT(numbers_good),"{numbers}",IF(NOT(openings_good),"{openings}","{surface}"))'


def _results(book: Workbook, sheet: Worksheet) -> None:
    heading(sheet, "H4", "The order")
    formulas = {
        "order_rolls": _whole_rolls("order", "critical_share"),
        "expected_m2": "SUMPRODUCT(weight,use_mean)",
        "low_m2": "MAX(quantile_low,0)",
        "high_m2": "quantile_high",
        "rolls_p50": _whole_rolls("p50", "0.5"),
        "rolls_p80": _whole_rolls("p80", "0.8"),
        "rolls_p95": _whole_rolls("p95", "0.95"),
        "chance_short": f"1-{chance_below('order_rolls*roll_m2')}",
    }
    for row, (name, label, unit, pattern) in enumerate(RESULTS, start=FIRST_INPUT):
        sheet[f"H{row}"], sheet[f"L{row}"] = label, unit
        sheet.merge_cells(f"H{row}:J{row}")
        cell = sheet[f"K{row}"]
        cell.value = f'=IF(inputs_good,{formulas[name]},"–")'
        cell.fill, cell.border, cell.number_format = RESULT, FRAME, pattern
        cell.alignment = Alignment(horizontal="right")
        name_cell(book, name, SHEET, f"$K${row}")
    sheet.row_dimensions[FIRST_INPUT].height = 20
    for letter in "HK":
        sheet[f"{letter}{FIRST_INPUT}"].font = Font("Calibri", bold=True, size=14)


def _whole_rolls(quantile: str, share: str) -> str:
    """As `newsvendor.packs_for_share`: the least whole rolls that are enough with the share."""
    rolls = f"MAX(ROUNDUP(quantile_{quantile}/roll_m2-0.000000001,0),0)"
    enough = f"{chance_below(f'{rolls}*roll_m2')}<{share}-0.000000001"
    return f"{rolls}+IF({enough},1,0)"


def _chances(sheet: Worksheet) -> None:
    """How likely each number of rolls is, and a picture of it."""
    top = FIRST_OPENING - 1
    head_row(sheet, top, "J", ("rolls", "needs so many", "is enough"))
    heading(sheet, f"J{top - 1}", "How likely each number of rolls is")
    for place in range(8):
        row = top + 1 + place
        before = f"IF(J{row}<1,0,{chance_below(f'(J{row}-1)*roll_m2')})"
        sheet[f"J{row}"] = f'=IF(inputs_good,MAX(order_rolls-4,0)+{place},"–")'
        sheet[f"K{row}"] = f'=IF(inputs_good,L{row}-{before},"–")'
        sheet[f"L{row}"] = f'=IF(inputs_good,{chance_below(f"J{row}*roll_m2")},"–")'
        for letter in "KL":
            sheet[f"{letter}{row}"].number_format = "0%"
        for letter in "JKL":
            sheet[f"{letter}{row}"].fill, sheet[f"{letter}{row}"].border = RESULT, FRAME
    chart = BarChart()
    chart.title, chart.legend, chart.height, chart.width = "Rolls that the job needs", None, 8, 12
    chart.x_axis.title, chart.y_axis.title = "rolls", "chance"
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.add_data(Reference(sheet, range_string=f"{SHEET}!$K${top + 1}:$K${top + 8}"))
    chart.set_categories(Reference(sheet, range_string=f"{SHEET}!$J${top + 1}:$J${top + 8}"))
    sheet.add_chart(chart, f"J{top + 11}")


def _page(sheet: Worksheet) -> None:
    widths = {"A": 13, "F": 13, "G": 12, "H": 34, "I": 3, "J": 10, "K": 14, "L": 11}
    for letter in "ABCDEFGHIJKLM":
        sheet.column_dimensions[letter].width = widths.get(letter, 11)
    one_page(sheet)
