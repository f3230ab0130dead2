"""The candidates and their quantiles as spreadsheet formulas.

The use of a job is a weighted average of normal distributions, one a candidate (see `pricing`).
The sheet holds each candidate's numbers, and works out mean and spread for the job that is typed.
"""

from __future__ import annotations

from dataclasses import dataclass

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.documents.price_workbook.crews import write_text
from airstats.documents.price_workbook.looks import name_cell
from airstats.model.posterior import FORMS, Belief, widen

SHEET, QUANTILES = "candidates", "quantiles"
HEADER_ROW, FIRST_ROW = 9, 10
FORM_ROWS = {form: 6 + place for place, form in enumerate(FORMS)}
CREW_ROW, PLACE_ROW, FIRST_CREW = 4, 5, 10
HALVINGS = 56
SHARES = {"low": "0.1", "p50": "0.5", "p80": "0.8", "high": "0.9", "p95": "0.95"}
_FIXED = ("weight", "form", "spread", "crew_sd", "expected_m2", "sd_m2")


def add_candidates(book: Workbook, belief: Belief) -> None:
    """Add the candidates, and name their columns `weight`, `use_mean` and `use_sd`.

    Parameters
    ----------
    book : Workbook
        Its names `laid_m2`, `crew_place` and those of `geometry_formulas.sums` describe the job.
    belief : Belief
        The candidates; a job is priced one quarter ahead, so that the drift of one is added.
    """
    belief = widen(belief, 1)
    sheet = book.create_sheet(SHEET)
    sheet["A1"] = (
        "Every candidate is one belief about the allowances, with its weight. Its sheet for the"
        " job: parameters times the job's quantities. Its spread: what is not known of the"
        " parameters, of the crew, and of one job about another."
    )
    sheet["A2"] = "Nothing is typed here. In rows 6 and 7 stand the job's quantities, by form."
    places = _Places(belief)
    _crew_row(sheet, belief)
    for form in FORMS:
        _job_row(sheet, form, len(belief.crews), places)
    for place, name in enumerate([*_FIXED, *places.headings()], start=1):
        write_text(sheet, HEADER_ROW, place, name)
    for g in range(len(belief.form)):
        _candidate_row(sheet, belief, g, places)
    last = FIRST_ROW + len(belief.form) - 1
    for name, letter in (("weight", "A"), ("use_mean", "E"), ("use_sd", "F")):
        name_cell(book, name, SHEET, f"${letter}${FIRST_ROW}:${letter}${last}")
    sheet.freeze_panes = f"A{FIRST_ROW}"


@dataclass(frozen=True)
class _Places:
    """Where parameters and covariances stand: only those that one job can need.

    A job has one crew at most, so covariances between two crews are never needed.
    """

    belief: Belief

    def pairs(self) -> list[tuple[int, int]]:
        size = self.belief.mean.shape[1]
        among = range(self.belief.shared)
        shared = [(i, j) for i in among for j in range(i + 1)]
        crews = [(c, j) for c in range(len(among), size) for j in (*among, c)]
        return shared + crews

    def headings(self) -> list[str]:
        names = ["waste", *CUTS, *(f"crew {crew}" for crew in self.belief.crews)]
        return [*names, *[f"cov {names[i]}, {names[j]}" for i, j in self.pairs()]]

    def spans(self) -> list[tuple[str, str]]:
        """First and last letter of the means, and of the covariances."""
        first = len(_FIXED) + 1
        after = first + self.belief.mean.shape[1]
        ends = ((first, after - 1), (after, after + len(self.pairs()) - 1))
        return [(get_column_letter(a), get_column_letter(b)) for a, b in ends]


def _crew_row(sheet: Worksheet, belief: Belief) -> None:
    """The crews, each with its place, and whether the typed one is among them."""
    sheet["A3"], sheet["C3"] = "floor of the spread, m²", belief.prior.floor
    sheet["A4"], sheet["C4"] = "laid area if the crew is not known, m²", 0
    for place, crew in enumerate(belief.crews):
        write_text(sheet, CREW_ROW, FIRST_CREW + place, crew)
        sheet.cell(PLACE_ROW, FIRST_CREW + place).value = place + 1
    if belief.crews:
        sheet["C4"] = f"=IF(AND(crew_place>0,crew_place<={len(belief.crews)}),0,laid_m2)"


def _quantities(form: str) -> tuple[str, list[str]]:
    """The sheet that is certain, and what multiplies waste and the allowance of each cut."""
    reused = [cut for cut in reused_cuts() if CUTS[cut].formulas] if form == "reuse" else []
    reveals = [f"-fillable_{cut}_m2" if cut in reused else f"reveal_{cut}_m2" for cut in CUTS]
    return "+".join(["laid_m2", *(f"needed_{cut}_m2" for cut in reused)]), ["laid_m2", *reveals]


def _job_row(sheet: Worksheet, form: str, crews: int, places: _Places) -> None:
    """The sheet that is certain, and what multiplies means and covariances, for one form."""
    row, first = FORM_ROWS[form], len(_FIXED) + 1
    certain, shared = _quantities(form)
    sheet[f"A{row}"], sheet[f"B{row}"] = "job's quantities", form
    sheet[f"C{row}"], sheet[f"E{row}"] = "certain sheet, m²", f"={certain}"
    named = [
        f"IF({get_column_letter(FIRST_CREW + place)}${PLACE_ROW}=crew_place,laid_m2,0)"
        for place in range(crews)
    ]
    letters = [get_column_letter(first + place) for place in range(len(shared) + crews)]
    for letter, formula in zip(letters, [*shared, *named], strict=True):
        sheet[f"{letter}{row}"] = f"={formula}"
    for place, (i, j) in enumerate(places.pairs()):
        twice = "" if i == j else "2*"
        cell = sheet.cell(row, first + len(letters) + place)
        cell.value = f"={twice}{letters[i]}{row}*{letters[j]}{row}"


def _candidate_row(sheet: Worksheet, belief: Belief, g: int, places: _Places) -> None:
    row, form = FIRST_ROW + g, FORMS[belief.form[g]]
    job = FORM_ROWS[form]
    (first, last), (start, end) = places.spans()
    expected = f"=$E${job}+SUMPRODUCT({first}${job}:{last}${job},{first}{row}:{last}{row})"
    unknown = f"SUMPRODUCT({start}${job}:{end}${job},{start}{row}:{end}{row})"
    spread = f"=SQRT($C$3^2+(C{row}*laid_m2)^2+(D{row}*$C$4)^2+{unknown})"
    covariance = [belief.covariance[g][i, j] for i, j in places.pairs()]
    fixed = [belief.weight[g], form, belief.spread[g], belief.crew_sd[g], expected, spread]
    for place, value in enumerate([*fixed, *belief.mean[g], *covariance], start=1):
        sheet.cell(row, place).value = value if isinstance(value, str) else float(value)


def add_quantiles(book: Workbook) -> None:
    """Add the sheet that finds quantiles by halving, each a name `quantile_NAME`, m².

    Notes
    -----
    As `Mixture.quantile`: the interval that holds the quantile is halved again and again. The
    share of the order is the name `critical_share`.
    """
    sheet = book.create_sheet(QUANTILES)
    sheet["A1"] = (
        "Each quantile is found by halving: P is the chance that the job needs no more than the"
        " middle, m²; where P reaches the share, the upper half goes, else the lower."
    )
    sheet["A2"] = "Nothing is typed here."
    for block, (name, share) in enumerate({**SHARES, "order": "critical_share"}.items()):
        _halve(book, sheet, 1 + 5 * block, name, share)
    sheet.freeze_panes = "A6"


def _halve(book: Workbook, sheet: Worksheet, column: int, name: str, share: str) -> None:
    low, high, middle, chance = (get_column_letter(column + k) for k in range(4))
    first = 6
    sheet[f"{low}4"], sheet[f"{high}4"] = f"quantile_{name}, share", f"={share}"
    for place, heading in enumerate(("low, m²", "high, m²", "middle, m²", "P")):
        sheet.cell(5, column + place).value = heading
    for row in range(first, first + HALVINGS):
        up = row - 1
        reached = f"{chance}{up}>=${high}$4"
        sheet[f"{low}{row}"] = f"=IF({reached},{low}{up},{middle}{up})"
        sheet[f"{high}{row}"] = f"=IF({reached},{middle}{up},{high}{up})"
        sheet[f"{middle}{row}"] = f"=({low}{row}+{high}{row})/2"
        sheet[f"{chance}{row}"] = f"={chance_below(f'{middle}{row}')}"
    sheet[f"{low}{first}"] = "=MIN(use_mean)-12*MAX(use_sd)"
    sheet[f"{high}{first}"] = "=MAX(use_mean)+12*MAX(use_sd)"
    name_cell(book, f"quantile_{name}", QUANTILES, f"${middle}${first + HALVINGS - 1}")


def chance_below(amount: str) -> str:
    """Return the formula of the chance that the job needs no more than `amount`, m²."""
    return f"SUMPRODUCT(weight,NORMSDIST(({amount}-use_mean)/use_sd))"
