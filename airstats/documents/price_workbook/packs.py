"""One material's candidates as spreadsheet formulas, and how many packs are enough.

Each candidate is one belief about what is used above the counted quantity. A job has one crew, so
of each crew stand only its departure and what its variance adds.
"""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from airstats.base.name_matching import places_of
from airstats.documents.price_workbook.crews import write_text
from airstats.model.posterior import Belief

MOST_PACKS = 400
"""More packs than this are not worked out: price such a job with `airstats price`."""
PLACES, HEADER, FIRST = 3, 5, 6
_FIXED = ("weight", "allowance", "variance", "spread", "crew_sd", "expected", "sd")
_OWN = 5


def add_packs(
    sheet: Worksheet, name: str, belief: Belief, crews: Sequence[str], amount: str, pack: str
) -> None:
    """Write the candidates from column E on; in B and C packs and the chance that they are enough.

    Parameters
    ----------
    sheet : Worksheet
        An empty sheet of a workbook with the name `crew_place`.
    name : str
        The material.
    belief : Belief
        The candidates, drifted to the job's quarter.
    crews : sequence of str
        The crews by their places.
    amount, pack : str
        Cells of what is counted for the job, and of what a pack holds.
    """
    sheet["A1"] = (
        f"Nothing is typed here: candidates for {name}, and the chance that so many packs are"
        " enough."
    )
    spans = {name: _span(_OWN + place, len(belief.form)) for place, name in enumerate(_FIXED)}
    sheet["A2"], sheet["B2"] = "expected", f"=SUMPRODUCT({spans['weight']},{spans['expected']})"
    sheet["A3"], sheet["B3"] = "floor of the spread", belief.prior.floor
    sheet["A4"], sheet["B4"] = "1 if the crew is not known", 0
    for place, words in enumerate(_FIXED):
        sheet.cell(HEADER, _OWN + place).value = words
    if belief.crews:
        _crews(sheet, belief, crews)
    for g in range(len(belief.form)):
        _candidate(sheet, FIRST + g, belief, g, amount)
    sheet[f"B{HEADER}"], sheet[f"C{HEADER}"] = "packs", "are enough"
    for packs in range(MOST_PACKS + 1):
        row = FIRST + packs
        sheet[f"B{row}"] = packs
        reach = f"(B{row}*{pack}-{spans['expected']})/{spans['sd']}"
        sheet[f"C{row}"] = f"=SUMPRODUCT({spans['weight']},NORMSDIST({reach}))"


def packs_enough(sheet: str, share: str, chance: bool = False) -> str:
    """Return the formula of the least packs that are enough with a share of the cases.

    Parameters
    ----------
    sheet : str
        The sheet that `add_packs` wrote.
    share : str
        A number or a name; with `chance` the cell of a number of packs.
    chance : bool
        Return the chance that so many packs are enough instead.
    """
    chances = f"{sheet}!$C${FIRST}:$C${FIRST + MOST_PACKS}"
    if chance:
        return f"INDEX({chances},{share}+1)"
    packs = f"SUMPRODUCT(({chances}<{share}-0.000000001)*1)"
    return f'IF({packs}>{MOST_PACKS},"more than {MOST_PACKS}",{packs})'


def _span(column: int, rows: int) -> str:
    letter = get_column_letter(column)
    return f"${letter}${FIRST}:${letter}${FIRST + rows - 1}"


def _blocks(crews: int) -> list[tuple[str, str]]:
    """First and last letter of the crews' departures, and of what their variances add."""
    start = _OWN + len(_FIXED)
    return [
        (get_column_letter(start + k * crews), get_column_letter(start + (k + 1) * crews - 1))
        for k in range(2)
    ]


def _chosen(crews: int) -> str:
    """1 for the crew that is typed, 0 for the others."""
    first, last = _blocks(crews)[0]
    return f"(${first}${PLACES}:${last}${PLACES}=crew_place)"


def _crews(sheet: Worksheet, belief: Belief, known: Sequence[str]) -> None:
    crews, start = len(belief.crews), _OWN + len(_FIXED)
    for column, place in enumerate(places_of(belief.crews, known).tolist(), start=start):
        sheet.cell(PLACES, column).value = place + 1
    for place, crew in enumerate(belief.crews * 2):
        write_text(sheet, HEADER, start + place, crew)
    sheet[f"{get_column_letter(start)}{HEADER - 1}"] = "departures of the crews"
    sheet[f"{get_column_letter(start + crews)}{HEADER - 1}"] = "variances that they add"
    sheet["B4"] = f"=IF(SUMPRODUCT({_chosen(crews)}*1)>0,0,1)"


def _candidate(sheet: Worksheet, row: int, belief: Belief, g: int, amount: str) -> None:
    """One candidate: its numbers, and mean and spread of the use of the job that is typed."""
    crews, covariance = len(belief.crews), belief.covariance[g]
    own = range(belief.shared, belief.shared + crews)
    departure, added = (
        f"SUMPRODUCT({_chosen(crews)}*${first}{row}:${last}{row})" if crews else "0"
        for first, last in _blocks(crews)
    )
    numbers = [
        belief.weight[g],
        belief.mean[g, 0],
        covariance[0, 0],
        belief.spread[g],
        belief.crew_sd[g],
        f"={amount}*(1+F{row}+{departure})",
        f"=SQRT($B$3^2+{amount}^2*(G{row}+H{row}^2+(I{row}*$B$4)^2+{added}))",
        *(belief.mean[g, c] for c in own),
        *(2 * covariance[0, c] + covariance[c, c] for c in own),
    ]
    for place, value in enumerate(numbers):
        sheet.cell(row, _OWN + place).value = value if isinstance(value, str) else float(value)
