"""The other materials of the price sheet: packs to order, with live formulas.

One page `materials` to type into and read; behind it a page of candidates for each material.
"""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl.styles import Alignment, Font
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from airstats.base.caution import CAUTION
from airstats.catalog.corner_methods import CORNER_METHODS, USUAL_METHOD
from airstats.catalog.materials import MATERIALS, PRETAPED_SHARE
from airstats.documents.price_workbook.geometry_formulas import untaped_cuts
from airstats.documents.price_workbook.looks import (
    BOLD,
    FRAME,
    HEAD,
    INPUT,
    RESULT,
    allow_list,
    allow_numbers,
    heading,
    name_cell,
)
from airstats.documents.price_workbook.packs import MOST_PACKS, add_packs, packs_enough
from airstats.model.allowances import Allowances
from airstats.model.posterior import widen
from airstats.pricing.newsvendor import material_known

SHEET = "materials"
FIRST_INPUT, FIRST_MATERIAL = 5, 11
INPUTS = (
    ("pretaped_share", "Windows taped beforehand", PRETAPED_SHARE, "a share, 0 to 1"),
    ("corner_method", "Corners closed by", USUAL_METHOD, ", ".join(CORNER_METHODS)),
    ("perimeter_m", "Tape at floors and abutments", None, "m; empty is none"),
)
"""Name, label, start and remark of what is typed for the materials, in rows 5 on."""

COLUMNS = (
    ("material", 30, "", "General"),
    ("counted", 10, "B", "#,##0.0"),
    ("unit", 8, "", "General"),
    ("used on average", 10, "D", "#,##0.0"),
    ("a pack holds", 9, "E", "General"),
    ("packs to order", 9, "F", "0"),
    ("chance short", 9, "G", "0.0%"),
    ("packs enough in 50 %", 11, "H", "0"),
    ("in 80 %", 9, "I", "0"),
    ("in 95 %", 9, "J", "0"),
    ("price a pack", 10, "K", "#,##0.00"),
    ("money", 11, "L", "#,##0"),
)
"""Heading, width, letter of a framed column and its number format."""

STEPS = {
    "course_joint_m": ("Joints between courses", "m", "laid_m2/roll_width_m"),
    "butt_joint_m": ("Joints at the ends of rolls", "m", "laid_m2/roll_length_m"),
    "loose_joint_m": ("Joints of the pieces at openings", "m", "piece_joint_m"),
    "open_share": (
        "Share of openings to tape",
        "",
        f"1-IF(ISNUMBER(pretaped_share),pretaped_share,{PRETAPED_SHARE:g})",
    ),
    "edge_m": ("Lined sides of openings", "m", "lined_edge_m"),
    "open_corners": ("Corners to close", "", "corner_count*open_share"),
}
"""What the openings and the courses give: name, words, unit and formula."""


def _by_method(numbers: dict[str, float]) -> str:
    """The number of the method that is typed; where none is, that of the usual one."""
    formula = f"{numbers[USUAL_METHOD]:g}"
    for method, value in numbers.items():
        formula = f'IF(corner_method="{method}",{value:g},{formula})'
    return formula


EXTRA_TAPE_MM = _by_method({name: one.extra_tape_mm for name, one in CORNER_METHODS.items()})
PIECES = _by_method({name: one.pieces for name, one in CORNER_METHODS.items()})
COUNTED = {
    "joint_m": "course_joint_m+butt_joint_m+loose_joint_m+N(perimeter_m)",
    "frame_tape_m": f"edge_m*open_share+open_corners*{EXTRA_TAPE_MM}/1000",
    "corner_pieces": f"open_corners*{PIECES}",
}
"""Drivers that the sheet counts, as `material_quantities` does; any other is typed."""


def add_materials(book: Workbook, allowances: Allowances, crews: Sequence[str]) -> None:
    """Add the page and its candidates for every material that has records; else nothing.

    Parameters
    ----------
    book : Workbook
        With the page to price a job and the worked openings; its names `inputs_good`, `crew_place`,
        `critical_share`, `laid_m2`, `roll_length_m`, `roll_width_m` and those of
        `geometry_formulas.LENGTHS` describe the job.
    allowances : Allowances
        With their materials.
    crews : sequence of str
        The crews by their places.

    Notes
    -----
    As `price_materials`: the least packs with P(need <= packs) >= short / (short + left over).
    """
    names = [name for name in MATERIALS if name in allowances.materials]
    if not names:
        return
    page = book.create_sheet(SHEET, 1)
    _front(page)
    _typed(book, page)
    for place, (words, *_) in enumerate(COLUMNS, start=1):
        cell = page.cell(FIRST_MATERIAL - 1, place)
        cell.value, cell.fill, cell.font = words, HEAD, BOLD
        cell.alignment = Alignment(wrap_text=True, vertical="bottom")
    for place, name in enumerate(names):
        row, worked = FIRST_MATERIAL + place, book.create_sheet(f"{SHEET}_{place + 1}")
        known = material_known(allowances, name)
        cells = f"{SHEET}!$B${row}", f"{SHEET}!$E${row}"
        add_packs(worked, name, widen(known.belief, 1), crews, *cells)
        _result_row(page, row, name, worked.title)
        if known.pack:
            page[f"E{row}"], page[f"K{row}"] = known.pack.content, known.pack.price
    _steps(book, page, FIRST_MATERIAL + len(names) + 1)
    _looks(page, FIRST_MATERIAL + len(names) + len(STEPS) + 4)


def _front(page: Worksheet) -> None:
    page["A1"] = "The other materials of the job"
    page["A1"].font = Font("Calibri", bold=True, size=16)
    page["A2"] = (
        "Type into the framed yellow cells. Surface, rolls, crew, costs and openings are those of"
        " the sheet `price`."
    )
    page["A3"] = (
        '=IF(NOT(inputs_good),"Look at the sheet `price`: something there is wrong or missing.",'
        f'IF(materials_good,"","Look at the yellow cells: the share from 0 to 1, the corners'
        f' closed by {", ".join(CORNER_METHODS)}, lengths not below 0{_elsewhere()}."))'
    )
    page["A3"].font = Font("Calibri", bold=True, color="9C0006")
    heading(page, "A4", "Beside the openings")
    heading(page, f"A{FIRST_MATERIAL - 2}", "The order")


def _typed(book: Workbook, page: Worksheet) -> None:
    for row, (name, label, value, remark) in enumerate(INPUTS, start=FIRST_INPUT):
        page[f"A{row}"], page[f"C{row}"] = label, remark
        cell = page[f"B{row}"]
        cell.value, cell.fill, cell.border = value, INPUT, FRAME
        name_cell(book, name, SHEET, f"$B${row}")
    allow_numbers(page, f"B{FIRST_INPUT}", 0, 1)
    allow_list(page, f"B{FIRST_INPUT + 1}", f'"{",".join(CORNER_METHODS)}"')
    allow_numbers(page, f"B{FIRST_INPUT + 2}", 0, 100_000)


def _result_row(page: Worksheet, row: int, name: str, worked: str) -> None:
    material = MATERIALS[name]
    counted = COUNTED.get(material.driver)
    page[f"A{row}"], page[f"C{row}"] = name, material.unit
    page[f"B{row}"] = f"={counted}" if counted else None
    good = f"AND(inputs_good,materials_good,N(B{row})>0,N(E{row})>0)"
    packs = {"F": "critical_share", "H": "0.5", "I": "0.8", "J": "0.95"}
    formulas = {letter: packs_enough(worked, share) for letter, share in packs.items()}
    formulas["D"] = f"{worked}!$B$2"
    for letter, formula in formulas.items():
        page[f"{letter}{row}"] = f'=IF({good},{formula},"–")'
    page[f"G{row}"] = f'=IF(ISNUMBER(F{row}),1-{packs_enough(worked, f"F{row}", True)},"–")'
    page[f"L{row}"] = f'=IF(AND(ISNUMBER(F{row}),N(K{row})>0),F{row}*K{row},"–")'
    for _, _, letter, pattern in COLUMNS:
        if letter:
            cell = page[f"{letter}{row}"]
            typed = letter in "EK" or (letter == "B" and not counted)
            cell.fill, cell.border, cell.number_format = INPUT if typed else RESULT, FRAME, pattern
            cell.alignment = Alignment(horizontal="right")


def _steps(book: Workbook, page: Worksheet, top: int) -> None:
    """What is counted from openings and courses, each a name."""
    heading(page, f"A{top}", "What is counted from the openings and courses")
    for row, (name, (words, unit, formula)) in enumerate(STEPS.items(), start=top + 1):
        page[f"A{row}"], page[f"B{row}"], page[f"C{row}"] = words, f"={formula}", unit
        page[f"B{row}"].number_format = "#,##0.00" if name == "open_share" else "#,##0.0"
        name_cell(book, name, SHEET, f"$B${row}")
    row = top + 1 + len(STEPS)
    known = ",".join(f'corner_method="{method}"' for method in (*CORNER_METHODS, ""))
    page[f"A{row}"], page[f"B{row}"] = "What is typed above will do", f"=AND({_good()},OR({known}))"
    name_cell(book, "materials_good", SHEET, f"$B${row}")


def _good() -> str:
    typed = "N(pretaped_share)>=0,N(pretaped_share)<=1,N(perimeter_m)>=0"
    return f"{typed},untaped_openings=0" if untaped_cuts() else typed


def _elsewhere() -> str:
    """Which cuts have no joints here."""
    cuts = ", ".join(untaped_cuts())
    return f". Count the tape of openings cut {cuts} with `airstats price --materials`" * bool(cuts)


def _looks(page: Worksheet, last: int) -> None:
    page[f"A{last}"] = (
        "Same rule as `airstats price --materials`: the order is the least number of packs that is"
        f" enough with a chance of short ÷ (short + left over). Above {MOST_PACKS} packs use"
        f" `airstats price`. {CAUTION}"
    )
    page.merge_cells(f"A{last}:L{last}")
    page[f"A{last}"].alignment = Alignment(wrap_text=True, vertical="top")
    page.row_dimensions[last].height, page.row_dimensions[FIRST_MATERIAL - 1].height = 48, 46
    for letter, (_, width, *_) in zip("ABCDEFGHIJKL", COLUMNS, strict=True):
        page.column_dimensions[letter].width = width
    page.page_setup.orientation, page.page_setup.paperSize = "landscape", page.PAPERSIZE_A4
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = 1, 1
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.sheet_view.showGridLines = False
