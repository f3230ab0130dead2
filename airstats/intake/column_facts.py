"""What a column, or the whole book, tells before its cells are read one by one."""

from __future__ import annotations

import math
import re
import statistics
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from airstats.catalog.units import IN_METRES, IN_SQUARE_METRES, as_own, own_unit, units_read
from airstats.intake.amounts import CURRENCIES, UNITS, currency_of
from airstats.intake.cell_readers import read_cell
from airstats.intake.counts import STEPS, read_roll_count, step_of
from airstats.intake.dates import YEARS, quarter_of, read_date, year_of
from airstats.intake.heading_words import words_of
from airstats.intake.opening_texts import ANOTHER_UNIT, FOR_ALL, is_apart
from airstats.intake.plain_text import CIRCA, NUMBER, number, plain
from airstats.intake.readings import ColumnFacts, Doubt
from airstats.records.plausible_ranges import USUAL, is_typical

ROLLS = ("estimated_rolls", "used_rolls")
_NOTHING = ColumnFacts()
_MIDDLE = {
    "surface_m2": (40.0, 900.0),
    "roll_width_m": (0.9, 3.5),
    "roll_length_m": (20.0, 100.0),
    "lap_mm": (50.0, 250.0),
    "width_mm": (500.0, 3000.0),
    "height_mm": (500.0, 2600.0),
    "reveal_mm": (70.0, 600.0),
}
"""Where the middle one of a firm's entries lies: only one unit of a length brings it there."""
_FEW_WITNESSES = 3
_ENOUGH = 3
"""Cells written one way that show a habit, where none is written otherwise."""
_ANY_MONEY = "|".join(CURRENCIES.values())
_ONE_NUMBER = re.compile(
    rf"(?:{CIRCA}\.?|~)? ?(?:{_ANY_MONEY})? ?({NUMBER})"
    rf" ?(?:{'|'.join(UNITS.values())}|{_ANY_MONEY}|rolls?|rollen?)?\.?"
)
_NUMERIC_DATE = re.compile(r"(\d{1,2}) ?([-/.]) ?(\d{1,2}) ?\2 ?(?:\d{4}|\d{2})\b.*")
_SHORT_DATE = re.compile(r"(?:(\d{1,2})[-/.]|[a-zä]{3,9}\.?[- ])(\d{2})")
_HEIGHT_FIRST = re.compile(
    r"\b(?:h|height|höhe) ?(?:x|/|\*|by|mal|und|and) ?(?:w|b|width|breite)\b"
)


def facts_of(
    column: str, heading: str, cells: Sequence[object], known: ColumnFacts = _NOTHING
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Work out what a column tells, and what must be asked about it as a whole.

    Parameters
    ----------
    column, heading : str
        What it means (`Meaning.column`), and its heading.
    cells : sequence
        Below the heading, jobs only: no totals.
    known : ColumnFacts
        What is known already, from `book_facts`, the heading's `Meaning` or the answers. It stands
        and is not doubted again, but for the unit that the heading itself names.

    Returns
    -------
    facts : ColumnFacts
        Without what is in doubt.
    doubts : tuple of Doubt
        Each is a question of its own; its answer is brought in by taking the fields in which its
        choices differ.
    """
    facts = replace(known, column=column, heading=heading)
    facts = replace(facts, decimal=_decimal_of(cells) or known.decimal)
    if column == "finished_on":
        return _date_facts(facts, cells)
    if column in ROLLS:
        return _roll_facts(facts, cells)
    if column == "roll_price":
        return _price_facts(facts, cells)
    if column == "pretaped_share":
        return _share_facts(facts, cells)
    if column in ("openings", "size"):
        facts = _size_facts(facts, cells)
        return replace(facts, last_for_all=_is_last_for_all(facts, cells)), ()
    if own_unit(column):
        return _unit_facts(facts, cells)
    return facts, ()


def book_facts(headings: Sequence[str], columns: Sequence[Sequence[object]]) -> ColumnFacts:
    """Work out what all columns of a book tell together: decimal mark, language, currency."""
    words = [words_of(heading) for heading in headings]
    german, english = sum(w.german for w in words), sum(w.english for w in words)
    language = "de" if german > 2 * english else "en" if english > 2 * german else ""
    amounts = [
        cell
        for told_by, cells in zip(words, columns, strict=True)
        if not told_by.tags & {"date", "finish", "start", "opening", "size", "id", "note"}
        for cell in cells
    ]
    money = Counter(code for cell in amounts if (code := _currency_in(cell)))
    money.update(each.currency for each in words if each.currency)
    currency = next(iter(money)) if len(money) == 1 else ""
    return ColumnFacts(decimal=_decimal_of(amounts), language=language, currency=currency)


def _decimal_of(cells: Iterable[object]) -> str:
    """Return the decimal mark that the texts of numbers show, "" if none or both."""
    shown = set()
    for cell in cells:
        found = _ONE_NUMBER.fullmatch(plain(cell)) if isinstance(cell, str) else None
        read = number(found[1], "") if found else None
        marks = re.findall("[.,]", found[1]) if found else []
        if read is None or not marks or len(read.values) > 1:
            continue
        is_decimal = len(marks) == 1 or marks[-1] not in marks[:-1]
        last = marks[-1] if is_decimal else {".": ",", ",": "."}[marks[-1]]
        shown.add("point" if last == "." else "comma")
    return shown.pop() if len(shown) == 1 else ""


def _currency_in(cell: object) -> str:
    if not isinstance(cell, str):
        return ""
    signs = re.findall(_ANY_MONEY, plain(cell)) if any(c.isdigit() for c in cell) else []
    return currency_of(signs[0]) if len(signs) == 1 else ""


def _bare(cells: Sequence[object], decimal: str) -> list[tuple[int, float]]:
    """Return position and value of the numbers that bear no unit."""
    found = []
    for at, cell in enumerate(cells):
        if isinstance(cell, (int, float)) and not isinstance(cell, bool) and cell == cell:
            found.append((at, float(cell)))
        elif isinstance(cell, str) and re.fullmatch(NUMBER, text := plain(cell)):
            read = number(text, decimal)
            found += [(at, read.values[0])] if read else []
    return found


def _unit_facts(
    facts: ColumnFacts, cells: Sequence[object]
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Find the unit of a length or an area by its heading and by how large the numbers are."""
    column, declared = facts.column, words_of(facts.heading).unit
    same = IN_METRES if own_unit(column) in IN_METRES else IN_SQUARE_METRES
    named = facts.unit or (declared if declared in same else "")
    found = _bare(cells, facts.decimal)
    if not found or (facts.unit and facts.unit != declared):
        return replace(facts, unit=named or own_unit(column)), ()
    likely = {u: share for u in same if (share := _share_that_fits(column, u, found)) >= 0.6}
    metric = [unit for unit in units_read(column) if unit in likely]
    if named and (named in likely or not likely):
        return replace(facts, unit=named), ()
    if not named and len(metric) == 1:
        return replace(facts, unit=metric[0]), ()
    if not named and not likely:
        return replace(facts, unit=""), ()
    order = sorted(likely, key=lambda unit: (unit not in metric, -likely[unit]))
    choices = list(dict.fromkeys([*order, named or own_unit(column)]))
    low, high = min(v for _, v in found), max(v for _, v in found)
    unit = named or own_unit(column)
    said = f"{low:.10g} to {high:.10g} {unit} would be odd"
    doubt = Doubt(
        "unit",
        said,
        tuple(replace(facts, unit=each) for each in choices),
        tuple(at for at, _ in found[:_FEW_WITNESSES]),
    )
    return replace(facts, unit=""), (doubt,)


def _share_that_fits(column: str, unit: str, found: Sequence[tuple[int, float]]) -> float:
    """Return the share of numbers that are typical in a unit; 0 if the middle one is not."""
    values = [as_own(column, value, unit) for _, value in found]
    low, high = _MIDDLE.get(column, _MIDDLE.get(column.removeprefix("opening_"), (0.0, 1e9)))
    if not low <= statistics.median(values) <= high:
        return 0.0
    return sum(is_typical(column, value) for value in values) / len(values)


def _roll_facts(
    facts: ColumnFacts, cells: Sequence[object]
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Find whether rolls or m² stand in a column, and what the rolls were counted by."""
    declared = words_of(facts.heading).unit
    found = _bare(cells, facts.decimal)
    roll_m2 = facts.roll_m2 or USUAL["roll_width_m"] * USUAL["roll_length_m"]
    is_many = bool(found) and statistics.median(value for _, value in found) > 60
    if facts.unit == "m2" or (declared == "m2" and is_many):
        return replace(facts, unit="m2", roll_m2=roll_m2, counted="exact"), ()
    doubts = []
    if is_many and not facts.unit:
        choices = (
            replace(facts, unit="m2", roll_m2=roll_m2),
            replace(facts, unit="rolls", roll_m2=roll_m2),
        )
        said = f"{found[0][1]:.10g} rolls would be many for one job"
        doubts.append(Doubt("m² for rolls", said, choices, (found[0][0],)))
        facts = replace(facts, unit="", roll_m2=roll_m2)
    counted, doubt = ("", None) if facts.counted or is_many else _counted_by(facts, cells)
    doubts += [doubt] if doubt else []
    return replace(facts, counted=facts.counted or counted), tuple(doubts)


def _counted_by(facts: ColumnFacts, cells: Sequence[object]) -> tuple[str, Doubt | None]:
    """Return what rolls were counted by: whole ones alone, or parts often enough to tell.

    Counts to the half would end in a half as often as not: so few that chance gives them in one
    column of a hundred are single entries in a column of opened rolls, and say so by themselves.
    """
    if facts.column != "used_rolls":
        return "", None
    plain_facts = replace(facts, counted="exact")
    read = [read_roll_count(cell, plain_facts) for cell in cells]
    values = [(at, r[0].value) for at, r in enumerate(read) if len(r) == 1 and r[0].value]
    values = [(at, value) for at, value in values if not read[at][0].also]
    parts = [(at, value) for at, value in values if value % 1]
    if not parts:
        return "opened" if values else "", None
    step = _usual_step([value for _, value in parts])
    if len(parts) >= max(2, 0.25 * len(values)):
        return step, None
    if _chance_of_so_few(len(parts), len(values)) < 0.01:
        return "opened", None
    said = f"{len(parts)} of {len(values)} counts end in a part of a roll"
    choices = (replace(facts, counted="opened"), replace(facts, counted=step))
    return "", Doubt("counted", said, choices, tuple(at for at, _ in parts[:_FEW_WITNESSES]))


def _usual_step(parts: Sequence[float]) -> str:
    """Return the coarsest way to count that gives nearly all of these parts of rolls."""
    for step in STEPS:
        if sum(step_of([part]) in STEPS[: STEPS.index(step) + 1] for part in parts) >= 0.8 * len(
            parts
        ):
            return step
    return STEPS[-1]


def _chance_of_so_few(few: int, of: int) -> float:

    return float(sum(math.comb(of, k) for k in range(few + 1)) / 2**of)


def _price_facts(
    facts: ColumnFacts, cells: Sequence[object]
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Find the currency of a column; two in one column are asked about."""
    seen = dict.fromkeys(code for cell in cells if (code := _currency_in(cell)))
    declared = words_of(facts.heading).currency or facts.currency
    every = list(dict.fromkeys([*([declared] if declared else []), *seen]))
    if len(every) < 2:
        return replace(facts, currency=every[0] if every else ""), ()
    said = f"{' and '.join(every)} stand in one column"
    at = next(at for at, cell in enumerate(cells) if _currency_in(cell) == every[-1])
    choices = tuple(replace(facts, currency=code) for code in every)
    return replace(facts, currency=""), (Doubt("currency", said, choices, (at,)),)


def _share_facts(
    facts: ColumnFacts, cells: Sequence[object]
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Find whether a share or per cent is written, by what is above 1."""
    values = [value for _, value in _bare(cells, facts.decimal)]
    if facts.unit in ("%", "share") and facts.unit != words_of(facts.heading).unit:
        return facts, ()
    if any(value > 1 for value in values):
        return replace(facts, unit="%"), ()
    if not values or (facts.unit != "%" and any(0 < value < 1 for value in values)):
        return replace(facts, unit="share"), ()
    choices = (replace(facts, unit="share"), replace(facts, unit="%"))
    said = "no number is above 1, so they may be shares"
    return replace(facts, unit=""), (Doubt("share or per cent", said, choices, (0,)),)


def _size_facts(facts: ColumnFacts, cells: Sequence[object]) -> ColumnFacts:
    """Find the unit in which all sizes of a column can be read; "" where each tells by itself."""
    facts = replace(facts, height_first=bool(_HEIGHT_FIRST.search(plain(facts.heading))))
    texts = list(dict.fromkeys(cell for cell in cells if isinstance(cell, str)))[:400]
    unit = facts.unit or words_of(facts.heading).unit
    if unit in IN_METRES:
        return replace(facts, unit=unit)
    free = replace(facts, unit="")
    sized = [cell for cell in texts if any(r.value for r in read_cell(cell, free))]
    for each in ("mm", "cm", "m"):
        if sized and all(_is_read_in(each, cell, facts) for cell in sized):
            return replace(facts, unit=each) if _is_only(each, sized, facts) else free
    return free


def _is_last_for_all(facts: ColumnFacts, cells: Sequence[object]) -> bool:
    """Tell whether several cells say reveal or cut at their end, and none of each opening apart.

    Then it is the firm's way to write one for the whole house, not an omission time and again.
    """
    texts = list(dict.fromkeys(cell for cell in cells if isinstance(cell, str)))[:400]
    read = [(cell, read_cell(cell, facts)) for cell in texts]
    at_end = sum(any(each.kind == FOR_ALL for each in several) for _, several in read)
    clear = ((cell, several[0].value) for cell, several in read if len(several) == 1)
    return at_end >= _ENOUGH and not any(is_apart(cell, value) for cell, value in clear if value)


def _is_read_in(unit: str, cell: str, facts: ColumnFacts) -> bool:
    found = read_cell(cell, replace(facts, unit=unit))
    return any(reading.kind != ANOTHER_UNIT for reading in found)


def _is_only(unit: str, sized: Sequence[str], facts: ColumnFacts) -> bool:
    """Tell whether no other unit reads all the sizes."""
    others = (each for each in ("mm", "cm", "m") if each != unit)
    return not any(all(_is_read_in(other, cell, facts) for cell in sized) for other in others)


def _date_facts(
    facts: ColumnFacts, cells: Sequence[object]
) -> tuple[ColumnFacts, tuple[Doubt, ...]]:
    """Find the order of day and month, what "10/23" is, and the years that the dates lie in."""
    facts = replace(facts, short_dates=facts.short_dates or _short_dates(cells, facts))
    facts = replace(facts, years=facts.years or _years(cells, facts))
    shown = [(at, order) for at, cell in enumerate(cells) if (order := _order_shown(cell))]
    orders = {order for _, order in shown}
    if not facts.dates and len(orders) == 1:
        facts = replace(facts, dates=next(iter(orders)))
    doubts = []
    unsure = [at for at, cell in enumerate(cells) if not facts.dates and _may_be_both(cell, facts)]
    if unsure:
        first = plain(cells[unsure[0]])
        said = f"{first} may be day or month first"
        choices = tuple(replace(facts, dates=order) for order in ("day-first", "month-first"))
        doubts.append(Doubt("day or month first", said, choices, tuple(unsure[:_FEW_WITNESSES])))
    if facts.swapped is None and (made := _perhaps_swapped(cells, orders)):
        choices = (replace(facts, swapped=True), replace(facts, swapped=False))
        said = (
            "texts have days above 12, all dates that the spreadsheet made have days up to 12, so "
            "day and month may have changed places in them"
        )
        doubts.append(Doubt("changed places", said, choices, tuple(made[:_FEW_WITNESSES])))
    return facts, tuple(doubts)


def _order_shown(cell: object) -> str:
    found = _NUMERIC_DATE.fullmatch(plain(cell)) if isinstance(cell, str) else None
    first, second = (int(found[1]), int(found[3])) if found else (0, 0)
    if 1 <= second <= 12 < first <= 31:
        return "day-first"
    return "month-first" if 1 <= first <= 12 < second <= 31 else ""


def _may_be_both(cell: object, facts: ColumnFacts) -> bool:
    if not isinstance(cell, str) or not _NUMERIC_DATE.fullmatch(plain(cell)):
        return False
    return len({quarter_of(r.value) for r in read_date(cell, facts) if r.value}) > 1


def _perhaps_swapped(cells: Sequence[object], orders: set[str]) -> list[int]:
    """Return the positions of dates that a spreadsheet of the other habit may have turned round."""
    made = [(at, cell) for at, cell in enumerate(cells) if isinstance(cell, date)]
    if len(orders) != 1 or len(made) < 2 or any(cell.day > 12 for _, cell in made):
        return []
    if all(cell.day == 1 for _, cell in made):
        return []
    return [at for at, cell in made if cell.day != cell.month]


def _short_dates(cells: Sequence[object], facts: ColumnFacts) -> str:
    """Tell what "10/23" and "Oct 23" are: months and years, if the years fit one another."""
    found = [_SHORT_DATE.fullmatch(plain(cell)) for cell in cells if isinstance(cell, str)]
    pairs = [(int(f[1] or 1), year_of(f[2])) for f in found if f]
    others = [int(r.value[:4]) for cell in cells for r in _dated(cell, facts)]
    if not pairs:
        return ""
    years = [*(year for _, year in pairs), *others]
    fits = max(years) - min(years) <= 10 and all(month <= 12 for month, _ in pairs)
    if fits and all(YEARS[0] <= year <= YEARS[1] for year in years) and len(years) >= 3:
        return "month-year"
    return "day-month" if any(not 15 <= year % 100 <= 45 for _, year in pairs) else ""


def _dated(cell: object, facts: ColumnFacts) -> list:
    """Return the readings of a cell that is no short date."""
    if isinstance(cell, str) and _SHORT_DATE.fullmatch(plain(cell)):
        return []
    return [reading for reading in read_date(cell, facts)[:1] if reading.value]


def _years(cells: Sequence[object], facts: ColumnFacts) -> tuple[int, int] | None:
    """Return the years around those of the bulk of the dates; None where there are few."""
    free = replace(facts, years=None)
    each = sorted(int(r.value[:4]) for cell in cells for r in read_date(cell, free)[:1] if r.value)
    if len(each) < 5:
        return None
    low, high = each[len(each) // 10], each[-1 - len(each) // 10]
    return low - 4, high + 4
