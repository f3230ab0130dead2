"""The page of one job: what is typed, the order, the money; one printed sheet of A4."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.worksheet.worksheet import Worksheet

from airstats.catalog.corner_methods import CORNER_METHODS, USUAL_METHOD
from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import PRETAPED_SHARE
from airstats.documents.price_workbook.geometry_formulas import unpriced_cuts
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.documents.price_workbook.looks import (
    BOLD,
    RESULT_FRAME,
    TO_TYPE,
    allow_list,
    allow_numbers,
    head_row,
    heading,
    typed_cell,
)
from airstats.documents.price_workbook.materials import materials_fault
from airstats.documents.price_workbook.typed_jobs import OPENING, TypedJob
from airstats.documents.price_workbook.usual_formulas import LISTED, choices

FIRST_OPENING = 16
LEAST_ROWS = 14
"""Rows for openings on a page; at least two more than the job has."""
MONEY, RATIO, AMOUNT, DAY = "#,##0.00", "0.0%", "#,##0.0", "yyyy-mm-dd"


@dataclass(frozen=True)
class Input:
    """One cell to type into: name, label, cell, what stands there at first, and its limits.

    Attributes
    ----------
    name, label, cell : as the names say
    start : the value at first
    limits : least and most, or nothing
    pattern : number format
    of_firm : typed once, on the first page; the other pages follow it
    words : a list to choose from, as `looks.allow_list` takes it
    """

    name: str
    label: str
    cell: str
    start: Any = None
    limits: tuple[float, float] | None = None
    pattern: str = "General"
    of_firm: bool = False
    words: str = ""


INPUTS = (
    Input("firm", "Firm", "B4", of_firm=True),
    Input("currency", "Currency", "F4", of_firm=True),
    Input("valid_days", "Valid for, days", "H4", 30, (1, 3650), of_firm=True),
    Input("job", "Job", "B5"),
    Input("quoted_on", "Date", "F5", pattern=DAY),
    Input("client", "Client", "B6"),
    Input("crew", "Crew, if known", "F6", words="crews"),
    Input("surface_m2", "Surface, m²", "B9", None, (0, 100_000)),
    Input("lap_mm", "Lap, mm", "B10", 100, (0, 500)),
    Input("perimeter_m", "Tape at edges, m", "B11", None, (0, 100_000)),
    Input("roll_width_m", "Roll width, m", "D9", 1.5, (0.3, 6)),
    Input("roll_length_m", "Roll length, m", "D10", 50, (2, 500)),
    Input("pretaped_share", "Taped before", "D11", PRETAPED_SHARE, (0, 1)),
    Input("openings_are", "Openings are", "B12", LISTED, words=f'"{",".join(choices())}"'),
    Input("stock_rolls", "Rolls on the shelf", "H9", None, (0, 10_000)),
    Input("begun_m", "On begun rolls, m", "H10", None, (0, 100_000)),
    Input("leftover_cost", "A roll left over costs", "F9", None, (0, 1_000_000_000), of_firm=True),
    Input("short_cost", "A roll short costs", "F10", None, (0, 1_000_000_000), of_firm=True),
    Input("corner_method", "Corners closed by", "F11", USUAL_METHOD,
          words=f'"{",".join(CORNER_METHODS)}"'),
)  # fmt: skip
_LINE = Side(style="thin", color="404040")
_ELSEWHERE = ("valid_days", "perimeter_m", "pretaped_share")
"""Numbers without which the sheet can be priced."""
_LONG = ("firm", "job", "client")
OPENING_HEADINGS = (
    "mark", "count", "width, mm", "height, mm", "reveal, mm", "sides", "cut",
)  # fmt: skip
OPENING_LIMITS = (("count", "B", 1, 10_000), ("width", "C", 100, 20_000),
                  ("height", "D", 100, 20_000), ("reveal", "E", 10, 1500))  # fmt: skip
_UNITS = {"count": "", "reveal": " mm; not known: `airstats price`"}
EARLY = (
    "Early price: the openings are not known yet. Measured, they make the interval narrower, and"
    " tape and corners can be counted."
)
NOT_HERE = "cut: price {} with `airstats price`"

RESULTS = (
    ("order_rolls", "Rolls for this job", "0"),
    ("from_stock_rolls", "of these from the shelf", "0"),
    ("buy_rolls", "to buy", "0"),
    ("chance_short", "Chance that they do not suffice", RATIO),
    ("expected_m2", "Sheet expected, m²", AMOUNT),
    ("high_m2", "80 of 100 such jobs use, m²", AMOUNT),
    ("add_share", "Add to the bare surface", RATIO),
    ("add_high", "80 of 100 such jobs need", RATIO),
)
"""Name, label and number format of each result, in column D under the openings."""
FROM = {"high_m2": "low_m2", "add_high": "add_low"}
"""Beside the upper end of an interval stands its lower end, in column C."""
BESIDE = Alignment(horizontal="left", vertical="center", indent=1)
LARGE = ("order_rolls", "add_share")
BAR = 20


def front(job: JobSheets, told: str) -> None:
    """Write the title, what the marks mean, and the line that names a fault.

    Parameters
    ----------
    job : JobSheets
        Its page is written to.
    told : str
        Which allowances stand behind the numbers.
    """
    page = job.page
    page["A1"] = "Quote: sheet, tape and corners for one job"
    page["A1"].font = Font("Calibri", bold=True, size=18)
    page["A2"] = (
        f"{TO_TYPE}and a thick frame: type here. All else works itself out and is locked, without a"
        f" password. {told}"
    )
    page["A2"].font = Font("Calibri", italic=True)
    early = f'IF(unknown=1,"{EARLY}","")'
    told = f"IF(AND(inputs_good,materials_good),{early},{_faults()})"
    job.write(page, "A3", f'IF(untouched,"",{told})')
    page["A3"].font = Font("Calibri", bold=True, color="9C0006")


def _faults() -> str:
    numbers = (
        "Look at the job: each number above 0 and within reason, the roll wider than the lap;"
        f" openings are {' or '.join(choices())}."
    )
    openings = (
        "Look at the openings: the column check says what to do; those that are listed are known."
    )
    surface = "The lined openings are larger than the surface: look at both."
    return (
        f'IF(NOT(numbers_good),"{numbers}",IF(NOT(openings_good),"{openings}",'
        f'IF(NOT(surface_good),"{surface}","{materials_fault()}")))'
    )


def inputs(job: JobSheets, typed: TypedJob) -> None:
    """Write the cells to type into, above the openings."""
    page = job.page
    heading(page, 8, "Surface, roll and costs")
    for one in INPUTS:
        value = typed.values.get(one.name, one.start)
        input_cell(job, one, value)
        column, row = one.cell[0], int(one.cell[1:])
        _label(page, f"{chr(ord(column) - 1)}{row}", TO_TYPE + one.label)
        if one.name in _LONG:
            page.merge_cells(f"B{row}:D{row}")
            for beside in "CD":
                page[f"{beside}{row}"]._style = copy(page[one.cell]._style)
    _label(page, "G5", "Valid until")
    until = 'IF(AND(N(quoted_on)>0,N(valid_days)>0),quoted_on+valid_days,"–")'
    result_cell(job, "H5", "valid_until", until, DAY)


def _label(page: Worksheet, place: str, words: str) -> None:
    page[place] = words
    inward = 0 if place.startswith("A") else 1
    page[place].alignment = Alignment(horizontal="left", vertical="center", indent=inward)


def input_cell(job: JobSheets, one: Input, value: Any) -> None:
    """Write and name one cell to type into.

    Parameters
    ----------
    job : JobSheets
        Its page is written to.
    one : Input
        The cell; what is the firm's follows the first page, unless it differs there.
    value
        What stands there.
    """
    typed_cell(job.page, one.cell, value, one.pattern)
    if one.of_firm and job.number > 1 and value == job.first(one.name):
        job.page[one.cell] = f'=IF({one.name}="","",{one.name})'
    job.name(one.name, job.page, one.cell)
    if one.limits:
        allow_numbers(job.page, one.cell, *one.limits)
    if one.words == "crews" and "crews" not in job.book.defined_names:
        return
    if one.words:
        allow_list(job.page, one.cell, one.words, strict=one.words != "crews")


def result_cell(job: JobSheets, place: str, name: str, formula: str, pattern: str) -> None:
    """Write and name a cell that works itself out.

    Parameters
    ----------
    job : JobSheets
        Its page is written to.
    place, name : str
        The cell and its name.
    formula, pattern : str
        As for `JobSheets.write`; and the number format.
    """
    job.write(job.page, place, formula)
    cell = job.page[place]
    cell.number_format, cell.border = pattern, RESULT_FRAME
    cell.alignment = Alignment(horizontal="right", vertical="center")
    if name:
        job.name(name, job.page, place)


def openings(job: JobSheets, kinds: Sequence[dict[str, Any]]) -> int:
    """Write the rows for openings; return how many there are."""
    page, rows = job.page, max(len(kinds) + 2, LEAST_ROWS)
    last = FIRST_OPENING + rows - 1
    heading(
        page,
        FIRST_OPENING - 2,
        "Openings, one row a kind; sides: 4, or 3 without a lined threshold; empty is 4",
    )
    words = [TO_TYPE + text for text in OPENING_HEADINGS]
    head_row(page, FIRST_OPENING - 1, "A", [*words, "check"])
    to_the_right(page, FIRST_OPENING - 1, "BCDEF")
    page[f"H{FIRST_OPENING - 1}"].alignment = BESIDE
    page.row_dimensions[FIRST_OPENING - 1].height = 32
    for place, row in enumerate(range(FIRST_OPENING, last + 1)):
        kind = kinds[place] if place < len(kinds) else {}
        for letter, name in zip("ABCDEFG", OPENING, strict=True):
            typed_cell(page, f"{letter}{row}", kind.get(name))
        job.write(page, f"H{row}", _opening_check(row))
        page[f"H{row}"].border, page[f"H{row}"].alignment = RESULT_FRAME, BESIDE
    for _, letter, low, high in OPENING_LIMITS:
        allow_numbers(page, f"{letter}{FIRST_OPENING}:{letter}{last}", low, high)
    allow_list(page, f"F{FIRST_OPENING}:F{last}", '"3,4"')
    allow_list(
        page, f"G{FIRST_OPENING}:G{last}", f'"{",".join(cut.words for cut in CUTS.values())}"'
    )
    return rows


def _cut_words() -> list[str]:
    return [cut.words for cut in CUTS.values()]


def _opening_check(row: int) -> str:
    """The formula that says "ok", what is wrong with a row of openings, or nothing if empty."""
    checks = [
        (
            f"OR(N({letter}{row})<{low},N({letter}{row})>{high})",
            f"{name}: write {low} to {high}{_UNITS.get(name, ' mm')}",
        )
        for name, letter, low, high in OPENING_LIMITS
    ]
    checks.insert(1, (f"B{row}<>INT(N(B{row}))", "count: write a whole number"))
    sides = f'AND(F{row}<>"",N(F{row})<>3,N(F{row})<>4)'
    cuts = ",".join(f'G{row}<>"{cut}"' for cut in [*_cut_words(), *CUTS])
    checks += [
        (sides, "sides: write 3 or 4; empty is 4"),
        (f"AND({cuts})", f"cut: write {', '.join(_cut_words())}"),
    ]
    checks += [
        (f'OR(G{row}="{cut}",G{row}="{CUTS[cut].words}")', NOT_HERE.format(CUTS[cut].words))
        for cut in unpriced_cuts()
    ]
    formula = '"ok"'
    for wrong, words in reversed(checks):
        formula = f'IF({wrong},"{words}",{formula})'
    empty = ",".join(f'{letter}{row}=""' for letter in "BCDEG")
    return f'IF(AND({empty}),"",{formula})'


def checks(rows: int) -> dict[str, str]:
    """Return the formulas of whether what is typed will do, for so many rows of openings."""
    column = f"$H${FIRST_OPENING}:$H${FIRST_OPENING + rows - 1}"
    numbers = [
        f"N({one.name})>={one.limits[0]},N({one.name})<={one.limits[1]}"
        for one in INPUTS
        if one.limits and one.name not in _ELSEWHERE
    ]
    known = ",".join(f'openings_are="{word}"' for word in choices())
    above = "N(surface_m2)>0,N(leftover_cost)>0,N(short_cost)>0,roll_width_m>lap_mm/1000"
    return {
        "numbers_good": f"AND({','.join(numbers)},{above},ISNUMBER(lap_mm),OR({known}))",
        "untouched": f'AND(surface_m2="",SUMPRODUCT((PAGE!{column}<>"")*1)=0)',
        "openings_good": (
            f'AND(SUMPRODUCT((PAGE!{column}<>"")*(PAGE!{column}<>"ok"))=0,'
            f'OR(unknown=0,SUMPRODUCT((PAGE!{column}<>"")*1)=0))'
        ),
        "surface_good": "N(surface_m2)>=lined_opening_m2",
        "inputs_good": "AND(numbers_good,openings_good,surface_good)",
    }


def results(job: JobSheets, top: int, formulas: dict[str, str], enough: Sequence[str]) -> None:
    """Write the order on the left, and on the right how likely each number of rolls suffices.

    Parameters
    ----------
    job : JobSheets
        Its page is written to.
    top : int
        Row of the heading.
    formulas : dict
        One for each name of `RESULTS`, and `below`: the chance that ROLLS rolls suffice.
    enough : sequence of str
        Formulas of the rolls that are enough for 50, 80 and 95 of 100 such jobs.
    """
    page = job.page
    heading(page, top, "The order")
    for row, (name, label, pattern) in enumerate(RESULTS, start=top + 1):
        page[f"A{row}"] = label
        result_cell(job, f"D{row}", name, f'IF(inputs_good,{formulas[name]},"–")', pattern)
        if name in FROM:
            low = f'IF(inputs_good,{formulas[FROM[name]]},"–")'
            result_cell(job, f"C{row}", FROM[name], low, f'{pattern}" to"')
        if name in LARGE:
            page[f"A{row}"].font = page[f"D{row}"].font = Font("Calibri", bold=True, size=16)
            page.row_dimensions[row].height = 26
            for letter in "ABCD":
                page[f"{letter}{row}"].border = Border(top=_LINE, bottom=_LINE)
    last = top + 1 + len(RESULTS)
    page[f"A{last}"] = "Enough for 50, 80, 95 of 100"
    for letter, name, formula in zip("BCD", ("p50", "p80", "p95"), enough, strict=True):
        named = f"rolls_{name}"
        result_cell(job, f"{letter}{last}", named, f'IF(inputs_good,{formula},"–")', "0")
    for letter, words in zip("EFG", ("rolls", "they suffice", "0 % to 100 %"), strict=True):
        page[f"{letter}{top + 1}"], page[f"{letter}{top + 1}"].font = words, BOLD
    to_the_right(page, top + 1, "EF")
    page[f"G{top + 1}"].alignment = BESIDE
    for place in range(len(RESULTS)):
        row = top + 2 + place
        rolls = f'IF(inputs_good,MAX(order_rolls-3,0)+{place},"–")'
        below = formulas["below"].replace("ROLLS", f"E{row}")
        result_cell(job, f"E{row}", "", rolls, "0")
        result_cell(job, f"F{row}", "", f'IF(inputs_good,{below},"–")', RATIO)
        job.write(page, f"G{row}", f'IF(inputs_good,REPT("█",ROUND(N(F{row})*{BAR},0)),"")')
        page[f"G{row}"].font = Font("Calibri", size=8, color="595959")
        page[f"G{row}"].alignment = BESIDE


def to_the_right(page: Worksheet, row: int, letters: str) -> None:
    """Set headings over their numbers.

    Parameters
    ----------
    page, row, letters
        The page, the row of the headings, and the letters of their columns.
    """
    for letter in letters:
        cell = page[f"{letter}{row}"]
        cell.alignment = Alignment(horizontal="right", vertical="center", wrap_text=True)


def looks(page: Worksheet, last: int) -> None:
    """Set the widths of the columns, and the heights of the rows down to the last."""
    for letter, width in zip("ABCDEFGH", (25, 11, 17, 11, 21, 12, 18, 13), strict=True):
        page.column_dimensions[letter].width = width
    for row in range(3, last + 1):
        if page.row_dimensions[row].height is None:
            page.row_dimensions[row].height = 18
