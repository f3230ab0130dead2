"""The other materials of the price sheet: packs to order, with live formulas.

One page `materials` to type into and read; behind it a page of candidates for each material.
"""

from __future__ import annotations

import numpy as np
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from airstats.allowances import Allowances
from airstats.calibration import ALLOWANCES, Belief, widen
from airstats.corner_methods import CORNER_METHODS, USUAL_METHOD
from airstats.material_calibration import learnt, material_table
from airstats.material_pricing import up_to
from airstats.materials import MATERIALS, PRETAPED_SHARE, Material
from airstats.sheet_candidates import write_text
from airstats.sheet_geometry import FIRST_ROW as FIRST_WORKED
from airstats.sheet_geometry import SHEET as WORKED
from airstats.sheet_geometry import letters_of_steps
from airstats.sheet_looks import BOLD, FRAME, HEAD, INPUT, RESULT, heading

SHEET = "materials"
FIRST_INPUT, FIRST_MATERIAL = 4, 12
MOST_PACKS = 400
"""More packs than this are not worked out: price such a job with `airstats price`."""
INPUTS = (
    ("pretaped_share", "windows taped beforehand, share", PRETAPED_SHARE),
    ("corner_tape_mm", "extra tape a corner, mm", CORNER_METHODS[USUAL_METHOD].extra_tape_mm),
    ("pieces_a_corner", "bought pieces a corner", CORNER_METHODS[USUAL_METHOD].pieces),
    ("piece_joint_m", "joints at loose pieces, m", 0.0),
    ("perimeter_m", "perimeter at floors and abutments, m", 0.0),
    ("sealant_m", "beads of sealant, m", 0.0),
)
_HEADINGS = ("material", "counted", "unit", "expected", "a pack holds", "order, packs",
             "chance short", "price a pack", "money")  # fmt: skip
_HEADER, _FIRST = 5, 6
_FIXED = ("weight", "allowance", "variance", "spread", "crew_sd", "expected", "sd")


def add_materials(book: Workbook, allowances: Allowances, openings: int) -> None:
    """Add the page and its candidates for every material that has records; else nothing.

    Parameters
    ----------
    book : Workbook
        With the page to price a job and the worked openings; its names `inputs_good`, `crew`,
        `critical_share`, `laid_m2`, `roll_length_m`, `roll_width_m`, `lap_mm` are used.
    allowances : Allowances
        With their materials.
    openings : int
        Number of rows of openings.

    Notes
    -----
    As `price_materials`: the least packs with P(need ≤ packs) ≥ short ÷ (short + left over).
    """
    known = material_table(allowances)
    names = [name for name in MATERIALS if name in known.index]
    if not names:
        return
    page = book.create_sheet(SHEET, 1)
    cells = _inputs(page)
    for place, words in enumerate(_HEADINGS, start=1):
        cell = page.cell(FIRST_MATERIAL - 1, place)
        cell.value, cell.fill, cell.font = words, HEAD, BOLD
    for place, name in enumerate(names):
        row = FIRST_MATERIAL + place
        counted = _counted(MATERIALS[name], cells, openings)
        belief = up_to(learnt(allowances.materials[name]), allowances.quarter).belief
        worked = book.create_sheet(f"{SHEET}_{place + 1}")
        _candidates(worked, widen(belief, 1), f"{SHEET}!$B${row}", f"{SHEET}!$E${row}")
        bought = allowances.materials[name]["shown"]
        _result_row(
            page, row, name, counted, worked.title, bought["pack"], bought.get("pack_price")
        )
    for letter, width in zip("ABCDEFGHI", (36, 12, 8, 12, 13, 13, 13, 13, 12), strict=True):
        page.column_dimensions[letter].width = width


def _inputs(page: Worksheet) -> dict[str, str]:
    """Write what is typed for the materials; return where each stands."""
    heading(page, "A1", "The other materials of the job on the page `price`")
    page["A2"] = (
        "Type into the framed yellow cells; the surface, the openings and the crew stand on the"
        " page `price`. Metres that the openings do not give are typed here."
    )
    cells = {}
    for row, (name, label, value) in enumerate(INPUTS, start=FIRST_INPUT):
        page[f"A{row}"] = label
        cell = page[f"B{row}"]
        cell.value, cell.fill, cell.border = value, INPUT, FRAME
        cells[name] = f"$B${row}"
    return cells


def _counted(material: Material, cells: dict[str, str], openings: int) -> str:
    """The formula of what is counted for a material; a driver of the firm's own is typed."""
    letters = letters_of_steps()

    def step(name: str) -> str:
        return (
            f"{WORKED}!${letters[name]}${FIRST_WORKED}"
            f":${letters[name]}${FIRST_WORKED + openings - 1}"
        )

    count, foot = step("count"), step("lined_foot")
    edge = f"SUMPRODUCT({count}*(2*{step('height')}+(1+{foot})*{step('width')}))/1000"
    corners = f"SUMPRODUCT({count}*(2+2*{foot}))*(1-{cells['pretaped_share']})"
    net = "laid_m2*(roll_width_m-lap_mm/1000)/roll_width_m"
    formulas = {
        "frame_tape_m": f"{edge}*(1-{cells['pretaped_share']})"
        f"+{corners}*{cells['corner_tape_mm']}/1000",
        "corner_pieces": f"{corners}*{cells['pieces_a_corner']}",
        "joint_m": f"{net}/(roll_width_m-lap_mm/1000)+laid_m2/roll_length_m"
        f"+{cells['piece_joint_m']}+{cells['perimeter_m']}",
        "sealant_m": cells["sealant_m"],
    }
    return formulas.get(material.driver, "")


def _result_row(
    page: Worksheet,
    row: int,
    name: str,
    counted: str,
    worked: str,
    pack: float,
    price: float | None,
) -> None:
    write_text(page, row, 1, name)
    chances = f"{worked}!$C${_FIRST}:$C${_FIRST + MOST_PACKS}"
    good = f"AND(inputs_good,N(B{row})>0)"
    order = f'COUNTIF({chances},"<"&(critical_share-0.000000001))'
    many = f'"more than {MOST_PACKS}"'
    page[f"B{row}"] = f"={counted}" if counted else 0
    page[f"B{row}"].fill = RESULT if counted else INPUT
    page[f"C{row}"] = MATERIALS[name].unit
    page[f"D{row}"] = f'=IF({good},{worked}!$B$2,"–")'
    page[f"E{row}"], page[f"E{row}"].fill = pack, INPUT
    page[f"F{row}"] = f'=IF({good},IF({order}>{MOST_PACKS},{many},{order}),"–")'
    page[f"G{row}"] = f'=IF(ISNUMBER(F{row}),1-INDEX({chances},F{row}+1),"–")'
    page[f"H{row}"], page[f"H{row}"].fill = (None if price is None else price), INPUT
    page[f"I{row}"] = f'=IF(AND(ISNUMBER(F{row}),N(H{row})>0),F{row}*H{row},"–")'
    formats = {"B": "0.0", "D": "0.0", "G": "0%", "H": "0.00", "I": "0.00"}
    for letter in "BDEFGHI":
        page[f"{letter}{row}"].border = FRAME
        page[f"{letter}{row}"].number_format = formats.get(letter, "General")
        if letter in "DFGI":
            page[f"{letter}{row}"].fill = RESULT


def _candidates(sheet: Worksheet, belief: Belief, amount: str, pack: str) -> None:
    """The candidates from column E on; packs and the chance that they are enough in B and C."""
    sheet["A1"] = "Nothing is typed here: candidates, and the chance that so many packs are enough."
    last = _FIRST + len(belief.form) - 1
    spans = {
        name: f"${get_column_letter(5 + place)}${_FIRST}:${get_column_letter(5 + place)}${last}"
        for place, name in enumerate(_FIXED)
    }
    sheet["A2"], sheet["B2"] = "expected", f"=SUMPRODUCT({spans['weight']},{spans['expected']})"
    sheet["A3"], sheet["B3"] = "floor of the spread", belief.prior.floor_m2
    crews, first = len(belief.crews), 5 + len(_FIXED)
    blocks = [
        (get_column_letter(first + k * crews), get_column_letter(first + (k + 1) * crews - 1))
        for k in range(3)
    ]
    for place, words in enumerate(_FIXED):
        sheet.cell(_HEADER, 5 + place).value = words
    for place, crew in enumerate(belief.crews * 3):
        write_text(sheet, _HEADER, first + place, crew)
    chosen = f"EXACT(${blocks[0][0]}${_HEADER}:${blocks[0][1]}${_HEADER},crew)" if crews else ""
    sheet["A4"] = "crew not known"
    sheet["B4"] = f"=IF(SUMPRODUCT({chosen}*1)>0,0,1)" if crews else 0
    for g in range(len(belief.form)):
        _candidate(sheet, _FIRST + g, belief, g, amount, (chosen, blocks))
    for packs in range(MOST_PACKS + 1):
        row = _FIRST + packs
        sheet[f"B{row}"] = packs
        reach = f"(B{row}*{pack}-{spans['expected']})/{spans['sd']}"
        sheet[f"C{row}"] = f"=SUMPRODUCT({spans['weight']},NORMSDIST({reach}))"
    sheet[f"B{_HEADER}"], sheet[f"C{_HEADER}"] = "packs", "are enough"


def _candidate(
    sheet: Worksheet,
    row: int,
    belief: Belief,
    g: int,
    amount: str,
    crew: tuple[str, list[tuple[str, str]]],
) -> None:
    """One candidate: its numbers, and mean and spread of the use of the job that is typed."""
    chosen, blocks = crew
    own = range(len(ALLOWANCES), len(ALLOWANCES) + len(belief.crews))
    covariance = belief.covariance[g]
    mean, shared, variance = (
        f"SUMPRODUCT({chosen}*${start}{row}:${end}{row})" if chosen else "0"
        for start, end in blocks
    )
    numbers = [belief.weight[g], belief.mean[g, 0], covariance[0, 0], belief.spread[g],
               belief.crew_sd[g]]  # fmt: skip
    expected = f"={amount}*(1+F{row}+{mean})"
    spread = (
        f"=SQRT($B$3^2+(H{row}*{amount})^2+{amount}^2*(G{row}+2*{shared}+{variance})"
        f"+(I{row}*{amount}*$B$4)^2)"
    )
    crews = [*belief.mean[g, own.start :], *(covariance[0, c] for c in own),
             *(covariance[c, c] for c in own)]  # fmt: skip
    for place, value in enumerate([*numbers, expected, spread, *crews]):
        cell = sheet.cell(row, 5 + place)
        cell.value = float(value) if isinstance(value, (float, np.floating)) else value
