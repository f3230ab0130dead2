"""The candidates and their quantiles as spreadsheet formulas.

The use of a job is a weighted average of normal distributions, one a candidate (see `pricing`). A
sheet for each product holds the candidates' numbers; every job works out mean and spread from them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from openpyxl.workbook import Workbook

from airstats.base.name_matching import places_of
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.documents.price_workbook.looks import letter, protect, write_text
from airstats.documents.price_workbook.usual_formulas import DOUBTS, doubts
from airstats.model.posterior import FORMS, Belief

HEADER, FIRST = 3, 4
_FIXED = ("weight", "form", "spread", "crew_sd", *DOUBTS)
BITS, HALVINGS = 20, 44
"""Packs are found bit by bit, up to a million; quantiles by halving the span that holds them."""
_JUST = "0.000000001"


@dataclass(frozen=True)
class Candidates:
    """The candidates of a product, where they stand, and the parameters that a job can need.

    A job has one crew at most, so covariances between two crews are never needed.

    Attributes
    ----------
    title : of the sheet
    belief : drifted to the quarter of the jobs
    shared : places of the parameters that the product's quantities multiply
    places : for each crew of the belief its place among the firm's crews, from 1
    """

    title: str
    belief: Belief
    shared: tuple[int, ...]
    places: tuple[int, ...]

    @property
    def crews(self) -> range:
        """Places of the crews' parameters."""
        return range(self.belief.shared, self.belief.mean.shape[1])

    def pairs(self) -> list[tuple[int, int]]:
        """The parameters whose covariances may be needed."""
        among = [(i, j) for i in self.shared for j in self.shared if j <= i]
        return among + [(c, j) for c in self.crews for j in (*self.shared, c)]

    def column(self, name: str, row: int = 0) -> str:
        """Return the column of one of the fixed numbers, or its cell in a row."""
        at = letter(_FIXED.index(name) + 1)
        last = FIRST + len(self.belief.form) - 1
        return f"'{self.title}'!" + (f"${at}${row}" if row else f"${at}${FIRST}:${at}${last}")

    def span(self, row: int, first: int, count: int) -> str:
        """Return a part of a row.

        Parameters
        ----------
        row, first, count : int
            The row, and how many numbers from which place after the fixed ones.
        """
        start = len(_FIXED) + 1 + first
        return f"'{self.title}'!${letter(start)}{row}:${letter(start + count - 1)}{row}"


def add_candidates(
    book: Workbook, title: str, belief: Belief, crews: Sequence[str], sheet: bool = True
) -> Candidates:
    """Add the hidden sheet of a product's candidates.

    Parameters
    ----------
    book : Workbook
        To add it to.
    title : str
        Of the sheet.
    belief : Belief
        Drifted to the quarter of the jobs.
    crews : sequence of str
        The firm's crews by their places.
    sheet : bool
        Whether the product is the sheet, which also the reveals take.
    """
    shared = tuple(range(belief.shared)) if sheet else (0,)
    places = tuple((places_of(belief.crews, crews) + 1).tolist()) if belief.crews else ()
    made = Candidates(title, belief, shared, places)
    page = book.create_sheet(title)
    page.sheet_state = "hidden"
    page["A1"] = (
        "Nothing is typed here. Every row is one belief about the allowances, with its weight: the"
        " parameters, and the covariances of those that one job can need."
    )
    names = ["waste", *CUTS][: len(shared)] + [f"crew {crew}" for crew in belief.crews]
    by_place = dict(zip((*shared, *made.crews), names, strict=True))
    pairs = [f"cov {by_place[i]}, {by_place[j]}" for i, j in made.pairs()]
    for place, text in enumerate([*_FIXED, *names, *pairs], start=1):
        write_text(page, HEADER, place, text)
    doubt = doubts(belief) if sheet else np.zeros((len(belief.form), len(DOUBTS)))
    for g in range(len(belief.form)):
        numbers = [
            *belief.mean[g][list(by_place)],
            *[belief.covariance[g][p] for p in made.pairs()],
        ]
        fixed = [belief.weight[g], FORMS[belief.form[g]], belief.spread[g], belief.crew_sd[g]]
        fixed += doubt[g].tolist()
        for place, value in enumerate([*fixed, *numbers], start=1):
            page.cell(FIRST + g, place).value = value if isinstance(value, str) else float(value)
    protect(page)
    return made


@dataclass(frozen=True)
class Use:
    """What a job uses of a product: references to weights, means and spreads."""

    weight: str
    mean: str
    sd: str

    def below(self, amount: str) -> str:
        """Return the formula of the chance that the job needs no more than `amount`."""
        return f"SUMPRODUCT({self.weight},NORMSDIST(({amount}-{self.mean})/{self.sd}))"

    @property
    def expected(self) -> str:
        """The formula of the expected use."""
        return f"SUMPRODUCT({self.weight},{self.mean})"


def add_use(job: JobSheets, product: Candidates, amount: str, words: str) -> Use:
    """Work out a product's mean and spread for a job, candidate by candidate.

    Parameters
    ----------
    job : JobSheets
        With the names `crew_place` and those of `geometry_formulas.sums`.
    product : Candidates
        From `add_candidates`.
    amount : str
        What is counted of it: laid sheet, or a cell.
    words : str
        What the block is called.
    """
    belief, sheet = product.belief, job.working
    forms = sorted(set(belief.form.tolist()))
    first = job.block(len(forms) + 1 + len(belief.form), words)
    for row, form in enumerate(forms, start=first):
        _job_row(job, product, row, FORMS[form], amount)
    stranger = first + len(forms)
    sheet[f"A{stranger}"] = "counted, if the crew is not known"
    crews = f"$D{first}:${letter(3 + len(product.places))}{first}"
    known = f"IF(SUMPRODUCT({crews}*1)>0,0,{amount})" if product.places else "0"
    job.write(sheet, f"B{stranger}", known)
    for g in range(len(belief.form)):
        at = first + forms.index(int(belief.form[g]))
        _candidate_row(job, product, stranger + 1 + g, FIRST + g, at, (stranger, amount))
    rows = stranger + 1, len(belief.form)
    return Use(product.column("weight"), job.cells("A", *rows), job.cells("B", *rows))


def _quantities(product: Candidates, form: str, amount: str) -> tuple[str, list[str]]:
    """What is certain, and what multiplies the shared parameters."""
    if len(product.shared) == 1:
        return amount, [amount]
    reused = [cut for cut in reused_cuts() if CUTS[cut].formulas] if form == "reuse" else []
    reveals = [f"-fillable_{cut}_m2" if cut in reused else f"reveal_{cut}_m2" for cut in CUTS]
    return "+".join([amount, *(f"needed_{cut}_m2" for cut in reused)]), [amount, *reveals]


def _job_row(job: JobSheets, product: Candidates, row: int, form: str, amount: str) -> None:
    """What is certain for a form, and what multiplies means and covariances.

    The crews come first, so that one sum tells whether any is meant; then follow the shared
    parameters, the crews again, and the products of pairs, as on the candidates' sheet.
    """
    certain, shared = _quantities(product, form, amount)
    sheet, crews = job.working, len(product.places)
    sheet[f"A{row}"], start = f"quantities, {form}", 4
    job.write(sheet, f"B{row}", certain)
    for column, place in enumerate(product.places, start=start):
        job.write(sheet, f"{letter(column)}{row}", f"IF(crew_place={place},1,0)")
    start += crews
    named = [f"{letter(4 + place)}{row}*{amount}" for place in range(crews)]
    letters = {}
    for column, (place, formula) in enumerate(
        zip((*product.shared, *product.crews), [*shared, *named], strict=True), start=start
    ):
        letters[place] = letter(column)
        job.write(sheet, f"{letters[place]}{row}", formula)
    for column, (i, j) in enumerate(product.pairs(), start=start + len(letters)):
        twice = "" if i == j else "2*"
        job.write(sheet, f"{letter(column)}{row}", f"{twice}{letters[i]}{row}*{letters[j]}{row}")


def _candidate_row(
    job: JobSheets, product: Candidates, row: int, there: int, at: int, counted: tuple[int, str]
) -> None:
    """Mean and spread of the use, for the candidate in the row `there` of its sheet."""
    start, count = 4 + len(product.places), len(product.shared) + len(product.places)
    pairs = len(product.pairs())
    stranger, amount = counted

    def part(first: int, length: int) -> str:
        return f"${letter(start + first)}${at}:${letter(start + first + length - 1)}${at}"

    mean = f"$B${at}+SUMPRODUCT({part(0, count)},{product.span(there, 0, count)})"
    unknown = f"SUMPRODUCT({part(count, pairs)},{product.span(there, count, pairs)})"
    spread, crew_sd = product.column("spread", there), product.column("crew_sd", there)
    floor = product.belief.prior.floor
    if len(product.shared) > 1:
        laps2, laps, rest = (product.column(name, there) for name in DOUBTS)
        unknown += f"+doubt_size*MAX(lap_factor^2*{laps2}+lap_factor*{laps}+{rest},0)"
    job.write(job.working, f"A{row}", mean)
    job.write(
        job.working,
        f"B{row}",
        f"SQRT({floor!r}^2+({spread}*{amount})^2+({crew_sd}*$B${stranger})^2+{unknown})",
    )


def least_packs(
    job: JobSheets, use: Use, shares: Sequence[str], pack: str, words: str, beside: str = ""
) -> list[str]:
    """Find the least whole packs that are enough with each share, bit by bit; return their cells.

    Parameters
    ----------
    job : JobSheets
        Gets a block on its working sheet.
    use : Use
        Of the product.
    shares : sequence of str
        Numbers or names.
    pack : str
        What a pack holds: a name or a cell.
    words : str
        What the block is called.
    beside : str
        What there is besides, after a "+".

    Notes
    -----
    As `newsvendor.packs_for_share`. The packs that are not enough are counted: from the largest
    power of two on each is added if so many packs are still not enough.
    """
    first = job.block(BITS + 1, f"packs that are enough: {words}")
    for column, share in enumerate(shares, start=2):
        at = letter(column)
        job.working[f"{at}{first}"] = 0
        for step in range(BITS):
            row, bit = first + step, 2 ** (BITS - 1 - step)
            job.working[f"A{row + 1}"] = bit
            reached = use.below(f"({at}{row}+{bit - 1})*{pack}{beside}")
            formula = f"{at}{row}+IF({reached}<{share}-{_JUST},{bit},0)"
            job.write(job.working, f"{at}{row + 1}", formula)
    last = first + BITS
    return [f"'{job.working.title}'!${letter(2 + n)}${last}" for n in range(len(shares))]


def quantiles(job: JobSheets, use: Use, shares: Sequence[str], words: str) -> list[str]:
    """Find the amounts below which the use stays with each share, by halving; return their cells.

    Parameters
    ----------
    job, use, shares, words
        As for `least_packs`.
    """
    first = job.block(HALVINGS + 1, f"amounts that are enough: {words}")
    span = f"$A${first}"
    low, high = f"MIN({use.mean})-12*MAX({use.sd})", f"MAX({use.mean})+12*MAX({use.sd})"
    job.write(job.working, f"A{first}", f"{high}-({low})")
    for column, share in enumerate(shares, start=2):
        at = letter(column)
        job.write(job.working, f"{at}{first}", low)
        for step in range(1, HALVINGS + 1):
            half, row = f"{span}/{2**step}", first + step
            reached = use.below(f"{at}{row - 1}+{half}")
            job.write(job.working, f"{at}{row}", f"{at}{row - 1}+IF({reached}<{share},{half},0)")
    return [
        f"'{job.working.title}'!${letter(2 + n)}${first + HALVINGS}" for n in range(len(shares))
    ]
