"""An empty workbook of records to type into: every verb reads it as it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil
from typing import Any, NamedTuple

from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from airstats.catalog.corner_methods import CORNER_METHODS, USUAL_METHOD
from airstats.catalog.cut_patterns import CUTS, stopped_cuts, typed_cuts
from airstats.catalog.materials import MATERIALS
from airstats.catalog.units import name_in, own_unit
from airstats.catalog.wound_roll import CORE_MM, FULL_M, FULL_MM, GAUGE_MM, diameter_table
from airstats.documents.price_workbook.looks import BOLD, HEAD, INPUT, same_bytes
from airstats.records.plausible_ranges import LIMITS, only_whole, sound_range
from airstats.records.raw_table import GUIDE
from airstats.records.typed_table import DEFAULTS, WORDS

ROWS = 1000
"""So many rows of each sheet are ready to be typed into."""
PRINTED = 40
_FIRST = 3
_WIDE = 12
"""Columns of the guide, each `_COLUMN` digits wide, which is `_LETTERS` letters of a text."""
_COLUMN, _LETTERS = 11, 12.5
_HAIR = Side(style="hair", color="7F7F7F")
_LINE, _BOX = Border(bottom=_HAIR), Border(_HAIR, _HAIR, _HAIR, _HAIR)
_WRAPPED = Alignment(wrap_text=True, vertical="top")
_MIDDLE = Alignment(wrap_text=True, vertical="center", horizontal="center")
_CUT = f"Which way the sheet is cut there: {typed_cuts()}"
_COUNT_WORDS = (
    "opened: every roll that was opened counts whole. half, quarter: to the nearest half or"
    " quarter roll. exact: measured"
)
_NEEDED, _UNKNOWN = "Always needed.", "Unknown, which is not none: reckoned with its spread."


class Told(NamedTuple):
    """What a column is for, and what happens where a cell of it stays empty."""

    about: str
    empty: str


Columns = Mapping[str, Told]
_ID = Told("Name or number of the job, in one row only", _NEEDED)
_OF_A_JOB = Told("The job's id, as in the sheet jobs", _NEEDED)
_NOT_DONE = "The job counts as one still to be priced, if all three are empty."
_USUAL_ROLL = f"As usual: {DEFAULTS['roll_width_m']:g} × {DEFAULTS['roll_length_m']:g} m."
_LEFT_OPEN = "Unknown: the use lies anywhere within the last roll."
_FINISHED: dict[str, Told] = {
    "finished_on": Told(
        "When the job was done: the day, 2026-03-31, or only the month, 2026-03, or the"
        " quarter, 2026Q1. Only the quarter matters",
        _NOT_DONE,
    ),
    "estimated_rolls": Told("Rolls that were priced", _NOT_DONE),
    "used_rolls": Told(
        "Rolls that were opened for the job; part-rolls from the store go under brought",
        _NOT_DONE,
    ),
    "counted": Told(f"How the used rolls were counted. {_COUNT_WORDS}", "As opened."),
    "left_m": Told(
        "Metres left on the opened rolls at the end; 0 where nothing was left", _LEFT_OPEN
    ),
    "left_diameter_mm": Told(
        f"Or, in five seconds: the last roll across, with a tape measure, to {GAUGE_MM:g} mm."
        f" The metres follow from it; the sheet {GUIDE} has a table",
        _LEFT_OPEN,
    ),
    "brought_m": Told(
        "Metres of part-rolls that came from the store", "As if nothing came from the store."
    ),
    "full_diameter_mm": Told(
        "A full roll of this sheet across, the mean of three of them; the same in every row",
        f"As usual, {FULL_MM:g} mm for {FULL_M:g} m; what is left is then known far less well.",
    ),
    "core_mm": Told("The roll's core across, on its outside", f"As usual, {CORE_MM:g} mm."),
}
_JOB: dict[str, Told] = {
    "job_id": _ID,
    "surface_m2": Told(
        "The face that the sheet is laid on, measured straight across every opening", _NEEDED
    ),
    "crew": Told("Who did it, always spelled alike", "Of no crew."),
    "work_type": Told("In words of your own, such as new house", "Of no kind."),
}
_ROLL: dict[str, Told] = {
    "roll_width_m": Told("Width of the roll", _USUAL_ROLL),
    "roll_length_m": Told("Metres on a full roll", _USUAL_ROLL),
    "lap_mm": Told(
        "How far one course laps over the next", f"As usual, {DEFAULTS['lap_mm']:g} mm."
    ),
    "roll_price": Told("Money a roll, in any currency", "Costs are told in rolls alone."),
    "opening_count": Told("How many openings in all; 0 says that there are none", _UNKNOWN),
    "opening_width_mm": Told("Their usual clear width", "Asked about, beside a count."),
    "opening_height_mm": Told("Their usual clear height", "Asked about, beside a count."),
    "reveal_mm": Told("Their usual reveal depth", _UNKNOWN),
    "cut_pattern": Told(f"The usual cut. {_CUT}", "Asked about, beside a count."),
    "perimeter_m": Told("Tape at floors and abutments", "As 0 m."),
    "sealant_m": Told("Joints to seal", "Sealant is not priced."),
    "pretaped_share": Told(
        "Share of the windows taped before they are set, from 0 to 1",
        f"As usual, {DEFAULTS['pretaped_share']:g}.",
    ),
    "corner_method": Told("How corners are closed", f"As usual, {USUAL_METHOD}."),
}
_APART: dict[str, Told] = {
    "exclude": Told(
        "A reason why nothing should be learnt from the job, such as: a roll was stolen",
        "The job is learnt from.",
    )
}
_OPENINGS: dict[str, Told] = {
    "job_id": _OF_A_JOB,
    "mark": Told("The drawing's label, such as W1", "No label."),
    "count": Told("How many are alike", _NEEDED),
    "width_mm": Told("Clear width of the opening", _NEEDED),
    "height_mm": Told("Clear height of the opening", _NEEDED),
    "reveal_mm": Told("Depth of the reveal: from the sheet's face to the frame", _UNKNOWN),
    "sides": Told("4, or 3 where the threshold is not lined, as at a door", "As 4."),
    "cut_pattern": Told(_CUT, _NEEDED),
}
_PACK: dict[str, Told] = {
    "pack": Told("What one pack holds, in its unit", "As usual for the material."),
    "unit": Told("Unit of the pack", "As usual for the material."),
    "pack_price": Told("Money a pack", "Costs are told in packs alone."),
}
_MATERIALS: dict[str, Told] = {
    "job_id": _OF_A_JOB,
    "material": Told("One a row", _NEEDED),
    "estimated": Told("Packs that were priced", "Not compared with the use."),
    "used": Told("Packs that were used", "The material is priced, not learnt from."),
    "counted": Told(f"How the packs were counted. {_COUNT_WORDS}", "As opened."),
    **_PACK,
}
_STOCK: dict[str, Told] = {
    "roll_width_m": Told("Width of the roll", _USUAL_ROLL),
    "roll_length_m": Told("Metres on a full roll", _USUAL_ROLL),
    "rolls": Told("Whole rolls of this kind", "The row is of a begun roll."),
    "left_m": Told("Metres left on a begun roll, a row each", "The row is of whole rolls."),
}
FINISHED: dict[str, Columns] = {
    "jobs": _JOB | _FINISHED | _ROLL | _APART,
    "openings": _OPENINGS,
    "materials": _MATERIALS,
}
TAKEOFF: dict[str, Columns] = {
    "jobs": _JOB | _ROLL,
    "openings": _OPENINGS,
    "materials": {name: _MATERIALS[name] for name in ("job_id", "material", *_PACK)},
    "stock": _STOCK,
}
_ROWS = {
    "jobs": f"Jobs, one row each. The note at a heading says what it is for; so does {GUIDE}.",
    "openings": "Openings, one row a kind of opening in a job.",
    "materials": "Other materials, one row a material of a job; if you keep them.",
    "stock": "Rolls on the shelf, one row each.",
}
NEEDED = {
    "jobs": ["job_id", "surface_m2", "finished_on", "estimated_rolls", "used_rolls"],
    "openings": ["job_id", "count", "width_mm", "height_mm", "cut_pattern"],
    "materials": ["job_id", "material"],
    "stock": [],
}
_SUMMARY = ["opening_count", "opening_width_mm", "opening_height_mm", "reveal_mm", "cut_pattern"]
_SHOWN = ["finished_on", "surface_m2", "estimated_rolls", "used_rolls", "left_diameter_mm"]
_ACROSS, _STOPPED = next(iter(CUTS)), stopped_cuts()[0]
_SIZES = [9, 1200, 1350, 280, _ACROSS]
_NO_SIZES: list[Any] = [None] * 4
EXAMPLES: dict[str, tuple[list[str], list[list[Any]]]] = {
    "jobs": (
        ["job_id", *_SHOWN, "crew", *_SUMMARY],
        [
            ["H-101", "2026-03-31", 265, 4, 5, 120, "North", None, *_NO_SIZES],
            ["H-102", "2026-02", 180.5, 3, 3, None, "South", *_SIZES],
            ["H-103", "2026Q1", 310, 5, 6, None, "North", 0, *_NO_SIZES],
        ],
    ),
    "openings": (
        ["job_id", "mark", "count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern"],
        [
            ["H-101", "W1", 6, 1230, 1480, 350, 4, _ACROSS],
            ["H-101", "D1", 1, 1000, 2100, 350, 3, _STOPPED],
        ],
    ),
    "stock": (
        ["roll_width_m", "roll_length_m", "rolls", "left_m"],
        [[1.5, 50, 12, None], [1.5, 50, None, 21]],
    ),
}


def blank_workbook(takeoff: bool = False) -> bytes:
    """Return an empty workbook of records, or of jobs to price.

    Parameters
    ----------
    takeoff : bool
        Whether it is for jobs still to be priced, with what is on the shelf.
    """
    tables = TAKEOFF if takeoff else FINISHED
    book = Workbook()
    guide = book.active
    guide.title = GUIDE
    for name, columns in tables.items():
        _write_table(book.create_sheet(name), name, columns)
    _Guide(guide).write(tables, takeoff)
    return same_bytes(book)


def heading_of(column: str) -> str:
    """Return the plain heading of a column of the contract: "left diameter (mm)"."""
    unit = own_unit(column)
    words = name_in(column, "").replace("_", " ").strip()
    return f"{words} ({unit.replace('2', '²')})" if unit else words


def _write_table(sheet: Worksheet, name: str, columns: Columns) -> None:
    for place, (column, told) in enumerate(columns.items(), start=1):
        _write_column(sheet, name, column, told, place)
    sheet["A1"] = _ROWS[name]
    sheet["A1"].font = BOLD
    sheet.row_dimensions[1].height, sheet.row_dimensions[2].height = 22, 46
    sheet.freeze_panes = f"B{_FIRST}"
    for row in sheet.iter_rows(_FIRST, _FIRST + PRINTED - 1, 1, len(columns)):
        for cell in row:
            cell.border = _BOX
    sheet.print_area = f"A1:{get_column_letter(len(columns))}{_FIRST + PRINTED - 1}"
    sheet.print_title_rows, sheet.print_title_cols = "1:2", "A:A"
    is_wide = len(columns) > _WIDE
    _print(sheet, 1 + (len(columns) > 2 * _WIDE), 1, "landscape" if is_wide else "portrait")


def _print(sheet: Worksheet, wide: int, high: int, orientation: str) -> None:
    sheet.page_setup.orientation, sheet.page_setup.paperSize = orientation, sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = wide, high
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_margins.left = sheet.page_margins.right = 0.4


def _write_column(sheet: Worksheet, table: str, column: str, told: Told, place: int) -> None:
    head, letter = heading_of(column), get_column_letter(place)
    cell = sheet.cell(2, place, head)
    cell.fill, cell.font = INPUT if column in NEEDED[table] else HEAD, BOLD
    cell.alignment = _MIDDLE
    cell.comment = Comment(f"{told.about}.\nIf it stays empty: {told.empty}", "airstats", 130, 280)
    width = 16 if column in ("job_id", "exclude", "material", "work_type") else _COLUMN
    sheet.column_dimensions[letter].width = width
    rule = _rule(table, column)
    if rule.type not in ("decimal", "whole"):
        # As text, 007 keeps its noughts and 2026-03 is no day.
        sheet.column_dimensions[letter].number_format = "@"
        for row in range(_FIRST, _FIRST + PRINTED):
            sheet.cell(row, place).number_format = "@"
    rule.allow_blank = rule.showErrorMessage = rule.showInputMessage = True
    rule.promptTitle = rule.errorTitle = head[:32]
    rule.prompt = f"{told.about}."[:255]
    rule.add(f"{letter}{_FIRST}:{letter}{_FIRST + ROWS - 1}")
    sheet.add_data_validation(rule)


def _rule(table: str, column: str) -> DataValidation:
    """Return what the cells of a column may hold: a word, a number, a day, or any text."""
    if words := _words(column):
        return _list(f'"{",".join(words)}"', f"Choose one of {', '.join(words)}.")
    if rules := LIMITS[table].get(column):
        low, high = sound_range(column, rules)
        low = 0.0 if column == "used_rolls" else low
        kind = "whole" if only_whole(rules) else "decimal"
        rule = DataValidation(
            kind, operator="between", formula1=f"{low:.10g}", formula2=f"{high:.10g}"
        )
        unit = own_unit(column).replace("2", "²")
        rule.error = f"Write a {kind if kind == 'whole' else ''} number from {low:.10g} to"
        rule.error = f"{rule.error} {high:.10g}{f', in {unit}' if unit else ''}.".replace("  ", " ")
        return rule
    if column == "job_id" and table != "jobs":
        ids = f"jobs!$A${_FIRST}:$A${_FIRST + ROWS - 1}"
        rule = _list(ids, "No row of the sheet jobs has this id. Write it there first.")
        rule.errorStyle = "warning"
        return rule
    if column == "finished_on":
        length = "LEN(INDIRECT(ADDRESS(ROW(),COLUMN())))"
        rule = DataValidation("custom", formula1=f"AND({length}>5,{length}<17)")
        rule.error = "Write the day, 2026-03-31, or the month, 2026-03, or the quarter, 2026Q1."
        return rule
    rule = DataValidation("textLength", operator="lessThan", formula1="200")
    rule.error = "Write no more than 199 characters."
    return rule


def _list(formula: str, error: str) -> DataValidation:
    rule = DataValidation("list", formula1=formula)
    rule.error = error
    return rule


def _words(column: str) -> Sequence[str]:
    lists: dict[str, Sequence[str]] = {
        "cut_pattern": list(CUTS),
        "counted": list(WORDS["counted"]),
        "corner_method": list(CORNER_METHODS),
        "material": list(MATERIALS),
        "unit": list(dict.fromkeys(material.unit for material in MATERIALS.values())),
        "sides": ["4", "3"],
    }
    return lists.get(column, ())


class _Guide:
    """The sheet that explains the others, written from the top down."""

    def __init__(self, sheet: Worksheet) -> None:
        self.sheet, self.row = sheet, 1
        for place in range(1, _WIDE + 1):
            sheet.column_dimensions[get_column_letter(place)].width = _COLUMN
        sheet.sheet_view.showGridLines = False
        _print(sheet, 1, 0, "portrait")

    def write(self, tables: Mapping[str, Columns], takeoff: bool) -> None:
        """Write it all."""
        what = "Jobs to price" if takeoff else "Records of finished jobs"
        self._text(what, size=18)
        self._text(_start(takeoff))
        self._examples(tables)
        self._measuring(takeoff)
        for name, columns in tables.items():
            self._columns(name, columns)
        self._text("What is unknown, and what is none", size=13)
        self._text(_UNKNOWN_IS_NOT_NONE)

    def _examples(self, tables: Mapping[str, Columns]) -> None:
        self._text("Filled in, these rows would look like this (invented)", size=13)
        for name in [name for name in tables if name in EXAMPLES]:
            columns, rows = EXAMPLES[name]
            kept = [at for at, column in enumerate(columns) if column in tables[name]]
            self._text(f"In the sheet {name}:")
            self._row([heading_of(columns[at]) for at in kept], head=True)
            for row in rows:
                self._row([row[at] for at in kept])
            self.row += 1

    def _measuring(self, takeoff: bool) -> None:
        self._text("How to measure a reveal", size=13)
        self._text(_REVEAL)
        self._text("What is left on a roll", size=13)
        use = _IN_STOCK if takeoff else _IN_JOBS
        self._text(_ROLL_LEFT.format(use=use, full=FULL_MM, length=FULL_M, core=CORE_MM))
        table = diameter_table()
        self._row(["across (mm)", *table["diameter_mm"].round(0).astype(int)], head=True)
        self._row(["metres left", *table["left_m"].round(0).astype(int)])
        self.row += 1

    def _columns(self, name: str, columns: Columns) -> None:
        self._text(f"The columns of the sheet {name}", size=13)
        self._spread(("heading", "what to write", "if it stays empty"), True, False)
        for column, told in columns.items():
            words = (heading_of(column), f"{told.about}.", told.empty)
            self._spread(words, False, column in NEEDED[name])
        self.row += 1

    def _text(self, words: str, size: int = 10) -> None:
        cell = self.sheet.cell(self.row, 1, words)
        cell.font, cell.alignment = Font("Calibri", bold=size > 10, size=size), _WRAPPED
        self._merge(1, _WIDE)
        self._height([len(words) * size / (10 * _LETTERS * _WIDE)], size)

    def _row(self, values: Sequence[Any], head: bool = False) -> None:
        for place, value in enumerate(values, start=1):
            cell = self.sheet.cell(self.row, place, value)
            cell.border, cell.alignment = _LINE, _MIDDLE
            if head:
                cell.fill, cell.font = HEAD, BOLD
        self._height([3 * head])

    def _spread(self, words: Sequence[str], head: bool, needed: bool) -> None:
        shares, first = (2, 6, 4), 1
        for text, wide in zip(words, shares, strict=True):
            cell = self.sheet.cell(self.row, first, text)
            cell.alignment = _WRAPPED
            cell.font = BOLD if head or first == 1 else Font("Calibri")
            for place in range(first, first + wide):
                one = self.sheet.cell(self.row, place)
                one.border = _LINE
                if head or (needed and first == 1):
                    one.fill = HEAD if head else INPUT
            self._merge(first, first + wide - 1)
            first += wide
        lines = [len(t) / (w * _LETTERS) for t, w in zip(words, shares, strict=True)]
        self._height(lines)

    def _merge(self, first: int, last: int) -> None:
        place = {"start_row": self.row, "end_row": self.row}
        self.sheet.merge_cells(**place, start_column=first, end_column=last)

    def _height(self, lines: Sequence[float], size: int = 10) -> None:
        # Merged cells do not grow by themselves.
        self.sheet.row_dimensions[self.row].height = 1.5 * size * max(1, *map(ceil, lines), 0)
        self.row += 1


def _start(takeoff: bool) -> str:
    kinds = "one row a job in jobs, one row a kind of opening in openings"
    kinds += ", what is on the shelf in stock" if takeoff else ""
    verb = "price THIS_FILE --allowances A.json --out orders.csv" if takeoff else "calibrate"
    return (
        f"Type into the other sheets: {kinds}; materials only if you keep them. A heading on yellow"
        " is always needed, one on grey if you know it; a note at each heading says what it is"
        " for. Columns of your own may stand beside them. Save the file and call: airstats check"
        f" THIS_FILE. It says what is not clear, cell by cell. Then: airstats {verb}"
        + ("." if takeoff else " THIS_FILE --out allowances.json.")
        + " This sheet is never read as jobs."
    )


_REVEAL = (
    "Hold the tape square to the wall's face, in the middle of one side of the opening: from the"
    " face that the sheet lies on to the frame, in mm. Where the sides differ, take the mean of"
    " two. Measure one of each kind of opening; the same wall mostly has the same depth."
)
_ROLL_LEFT = (
    "Stand the last roll up and lay the tape across its end, through the middle of the core, from"
    " edge to edge. {use} The table is for a roll {full:g} mm across with"
    " {length:g} m on a core of {core:g} mm; for other rolls the metres left are: metres on a full"
    " roll × (across² − core²) ÷ (full roll across² − core²). Nothing left is 0 m."
)
_IN_JOBS = "Write that number under left diameter; or the metres, where you know them, under left."
_IN_STOCK = "The metres from the table go under left of the sheet stock."
_UNKNOWN_IS_NOT_NONE = (
    "An empty cell is never read as nothing. A job without openings in either sheet has unknown"
    " openings, and an empty reveal is an unknown depth: both are reckoned with their spread, from"
    " your other jobs, and the job teaches less. Where there are no openings at all, write 0 in"
    " opening count."
)
