"""Records of a small invented firm, each with one thing off in a way that real desks make.

Beside each stands what is true. `python -m tests.records.odd_sheets` prints how each is read, with
`-v` all that is said of it.
"""

import csv
import io
import sys
import tempfile
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import openpyxl

from airstats.base.errors import RecordsError
from airstats.records.reading import Records, read_records

SEED = 20
OUTCOMES = ("right", "refused", "said", "misread")
Rows = list[dict[str, str]]


@dataclass
class Firm:
    """The tables as they are written, cells as texts, and how they are written."""

    jobs: Rows
    openings: Rows
    kind: str = "csv"
    names: dict[str, str] = field(default_factory=lambda: {"jobs": "jobs", "openings": "openings"})
    finish: Callable[[Path], None] = lambda path: None
    texts: bool = False

    def all(self, table: str, column: str, change: Callable[[str], str]) -> None:
        for row in getattr(self, table):
            row[column] = change(row.get(column, ""))

    def head(self, table: str, column: str, heading: str) -> None:
        rows = getattr(self, table)
        rows[:] = [{(heading if k == column else k): v for k, v in row.items()} for row in rows]


def firm(seed: int) -> Firm:
    """Six finished jobs of two crews, with windows and a door each."""
    random = np.random.default_rng(seed)
    jobs, openings = [], []
    for number in range(6):
        surface, job_id = int(random.integers(110, 260)), str(101 + number)
        used = int(np.ceil(surface * 1.25 / 75))
        jobs.append({
            "job_id": job_id, "finished_on": f"2026-{1 + number:02d}-{random.integers(13, 28)}",
            "surface_m2": str(surface), "estimated_rolls": str(used - 1), "used_rolls": str(used),
            "lap_mm": "120", "crew": ("North", "South")[number % 2], "roll_price": "140",
            "exclude": "",
        })  # fmt: skip
        for mark in "123":
            width, height = 100 * random.integers((9, 10), 16)
            openings.append(_opening(job_id, f"W{mark}", random.integers(1, 4), width, height))
        openings.append(_opening(job_id, "door", 1, 1000, 2100, "3"))
    for row in openings:
        row["reveal_mm"] = str(10 * random.integers(18, 32))
    return Firm(jobs, openings)


def _opening(job_id, mark, count, width, height, sides="4"):
    return {
        "job_id": job_id, "mark": mark, "count": str(count), "width_mm": str(width),
        "height_mm": str(height), "reveal_mm": "", "sides": sides, "cut_pattern": "diagonal",
    }  # fmt: skip


def truth(clean: Firm) -> tuple[list, list]:
    """The facts of the tables: what a right reading must hold."""
    jobs = [
        (r["job_id"], r["finished_on"], float(r["surface_m2"]), float(r["estimated_rolls"]),
         float(r["used_rolls"]), float(r["lap_mm"]), float(r["roll_price"]), r["crew"],
         bool(r["exclude"]))
        for r in clean.jobs
    ]  # fmt: skip
    sizes = ("count", "width_mm", "height_mm", "reveal_mm", "sides")
    openings = [(r["job_id"], *(float(r[s]) for s in sizes)) for r in clean.openings]
    return sorted(jobs), sorted(openings)


def as_read(path: Path) -> tuple[tuple[list, list], str]:
    """The facts as the reader has them, and all that it remarks."""
    return facts_of(read_records(path))


def facts_of(records: Records) -> tuple[tuple[list, list], str]:
    """The facts of records, and all that they remark."""
    jobs = [
        (r.job_id, f"{r.finished_on:%Y-%m-%d}", r.surface_m2, r.estimated_rolls, r.used_rolls,
         r.lap_mm, r.roll_price, r.crew, bool(r.exclude))
        for r in records.jobs.itertuples()
    ]  # fmt: skip
    openings = [
        (r.job_id, float(r.count), r.width_mm, r.height_mm, r.reveal_mm, float(r.sides))
        for r in records.openings.itertuples()
    ]
    return (sorted(jobs), sorted(openings)), "\n".join(records.remarks)


def write(made: Firm, folder: Path) -> Path:
    """Write a firm's tables as a folder of CSV files or as a workbook."""
    if made.kind == "csv":
        path = folder / "mine"
        path.mkdir()
        for table, name in made.names.items():
            _write_csv(path / f"{name}.csv", getattr(made, table))
    else:
        path = folder / "mine.xlsx"
        book = openpyxl.Workbook()
        book.remove(book.active)
        for table, name in made.names.items():
            sheet = book.create_sheet(name)
            for row in _grid(getattr(made, table)):
                sheet.append([cell if made.texts else _native(cell) for cell in row])
        book.save(path)
    made.finish(path)
    return path


def _grid(rows: Rows) -> list[list[str]]:
    headings = list(dict.fromkeys(key for row in rows for key in row))
    return [headings, *([row.get(key, "") for key in headings] for row in rows)]


def _write_csv(path: Path, rows: Rows) -> None:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(_grid(rows))
    path.write_text(text.getvalue(), encoding="utf-8")


def _native(text: str) -> object:
    for kind in (int, float, date.fromisoformat):
        try:
            return kind(text)
        except ValueError:
            continue
    return text or None


ODD: dict[str, tuple[Callable[[Firm], None], tuple[str, ...]]] = {}
"""What is off, and what a refusal or a remark must name, by a short name."""


def odd(name: str, *about: str):
    """Keep a way to spoil a firm; `about` are words that must be said unless it is read right."""

    def keep(spoil):
        ODD[name] = spoil, about
        return spoil

    return keep


def cell(name: str, table: str, row: int, column: str, text: str, *about: str, kind="csv") -> None:
    """One cell that holds something else."""

    def spoil(made: Firm) -> None:
        made.kind = kind
        getattr(made, table)[row][column] = text

    ODD[name] = spoil, (column, *about)


def column(name: str, table: str, of: str, change, *about: str, kind="csv", head="") -> None:
    """All cells of a column that hold something else, or its heading."""

    def spoil(made: Firm) -> None:
        made.kind = kind
        made.all(table, of, change)
        if head:
            made.head(table, of, head)

    ODD[name] = spoil, (head or of, *about)


def times(factor: float):
    return lambda text: f"{float(text) * factor:.10g}"


for word in ("n", "no", "ok", "-", "0", "keep", "included", "x"):
    cell(f"exclude of {word}", "jobs", 2, "exclude", word, f'"{word}"')
column("heading used rols", "jobs", "used_rolls", str, "used_rolls", head="used rols")
column("heading reveal", "openings", "reveal_mm", str, "reveal_mm", head="reveal")
column("heading suface_m2", "jobs", "surface_m2", str, "surface_m2", head="suface_m2")
column("heading lap", "jobs", "lap_mm", str, "lap_mm", head="lap", kind="xlsx")
column("heading price", "jobs", "roll_price", lambda _: "150", "roll_price", head="price")
column("heading team", "jobs", "crew", str, head="team")
column("heading rolls used", "jobs", "used_rolls", str, "used_rolls", head="rolls used")
column("heading No of sides", "openings", "sides", str, "sides", head="No of sides", kind="xlsx")
column("widths in cm", "openings", "width_mm", times(0.1))
column("reveals in cm", "openings", "reveal_mm", times(0.1))
column("heights in m", "openings", "height_mm", times(0.001), kind="xlsx")
column("reveals in mm under cm", "openings", "reveal_mm", str, head="reveal_cm")
column("widths in mm under m", "openings", "width_mm", str, head="width_m", kind="xlsx")
column("surfaces in square feet", "jobs", "surface_m2", times(10.764))
column("reveals in inches", "openings", "reveal_mm", times(1 / 25.4), "inch")
column("widths in inches", "openings", "width_mm", times(1 / 25.4), "inch", kind="xlsx")
column("heading width_in", "openings", "width_mm", times(1 / 25.4), head="width_in")
column("a share in per cent", "jobs", "pretaped_share", lambda _: "35", "per cent")
column("square metres for rolls", "jobs", "used_rolls", times(75))
column("laps in cm", "jobs", "lap_mm", times(0.1))
column("price of a square metre", "jobs", "roll_price", times(1 / 75))
column("sides 4 for doors", "openings", "sides", lambda _: "4", "door")
column("sides left blank", "openings", "sides", lambda _: "", "door", kind="xlsx")
cell("one size in cm", "openings", 4, "width_mm", "120", "row 6")
cell("one reveal in cm", "openings", 5, "reveal_mm", "24", "row 7", kind="xlsx")
cell("one surface in square feet", "jobs", 3, "surface_m2", "2100", "row 5")
cell("count in words", "openings", 2, "count", "two", "two")
cell("count with no.", "openings", 2, "count", "3 no.", "3 no.", kind="xlsx")
cell("five and a half", "jobs", 1, "used_rolls", "5½", "5½")
cell("rolls and a bit", "jobs", 1, "used_rolls", "2 rolls + a bit", "a bit", kind="xlsx")
cell("three and a half", "jobs", 1, "used_rolls", "3 1/2", "3 1/2")
cell("a unit in the cell", "openings", 3, "reveal_mm", "20cm", "20cm")
cell("feet in the cell", "jobs", 3, "surface_m2", "1700 sq ft", "sq ft")
cell("three sizes in a cell", "openings", 3, "width_mm", "3 x 900x1200", "900x1200", kind="xlsx")
cell("another decade", "jobs", 4, "finished_on", "2016-05-17", "2016")
cell("another crew by a letter", "jobs", 4, "crew", "Nort", "Nort", "North")
cell("another crew by a sign", "jobs", 4, "crew", "North.", "North.", kind="xlsx")
cell("a ditto mark", "jobs", 1, "crew", '"', '"')


@odd("month before day", "finished_on", "month-first")
def _(made):
    made.all("jobs", "finished_on", lambda day: f"{day[5:7]}/{day[8:]}/{day[:4]}")


@odd("month before day, none beyond 12", "finished_on", "03/04/2026")
def _(made):
    made.all("jobs", "finished_on", lambda day: f"{day[5:7]}/04/{day[:4]}")


@odd("half of the dates turned by the spreadsheet", "finished_on")
def _(made):
    made.kind = "xlsx"
    for place, row in enumerate(made.jobs):
        month, day = 1 + place, 4 + place
        row["finished_on"] = (
            f"2026-{day:02d}-{month:02d}" if place % 2 else f"{month:02d}/2{place}/2026"
        )


@odd("openings pasted twice", "openings", "row")
def _(made):
    made.openings += deepcopy(made.openings)


@odd("one job's openings pasted twice", "row 26", "same as row 10")
def _(made):
    made.kind = "xlsx"
    made.openings += [dict(row) for row in made.openings if row["job_id"] == "103"]


@odd("a job under two spellings", "10-3")
def _(made):
    made.jobs.append(made.jobs[2] | {"job_id": "10-3"})


@odd("widths and heights of doors swapped", "door")
def _(made):
    for row in made.openings:
        if row["mark"] == "door":
            row["width_mm"], row["height_mm"] = row["height_mm"], row["width_mm"]


@odd("estimated and used swapped", "used_rolls", "estimated_rolls")
def _(made):
    for row in made.jobs:
        row["estimated_rolls"], row["used_rolls"] = row["used_rolls"], row["estimated_rolls"]


@odd("ids that lost a last zero", "101.10")
def _(made):
    made.kind = "xlsx"
    made.jobs[1]["job_id"], made.jobs[2]["job_id"] = "101.1", "101.10"
    new = {"102": "101.1", "103": "101.1"}
    made.openings = [
        row | {"job_id": new.get(row["job_id"], row["job_id"])} for row in made.openings
    ]
    made.finish = lambda path: _as_texts(path, "jobs", "A")


@odd("ids that became decimals", "101.0")
def _(made):
    made.all("openings", "job_id", lambda text: f"{text}.0")


def _as_texts(path, title, letter):
    """Keep ids of decimals as texts, which a person does by an apostrophe."""
    book = openpyxl.load_workbook(path)
    for place, text in ((3, "101.1"), (4, "101.10")):
        book[title][f"{letter}{place}"].value = text
    book.save(path)


def renamed(name, table, called, *about, kind="xlsx"):
    """A worksheet or file under another name."""

    def spoil(made: Firm) -> None:
        made.kind = kind
        made.names[table] = called

    ODD[name] = spoil, (called, *about)


renamed("worksheet Windows", "openings", "Windows")
renamed("worksheet Openings 2026", "openings", "Openings 2026")
renamed("worksheet Finished jobs", "jobs", "Finished jobs")
renamed("file openings (1)", "openings", "openings (1)", kind="csv")
renamed("file jobs copy", "jobs", "jobs copy", kind="csv")


@odd("two worksheets of openings", "Openings 2025", "Openings 2026")
def _(made):
    made.kind, made.names["openings"] = "xlsx", "Openings 2025"
    made.finish = lambda path: _copied(path, "Openings 2025", "Openings 2026")


@odd("a copy beside the table", "openings (1)")
def _(made):
    made.finish = lambda path: (path / "openings (1).csv").write_text("job_id,count\n101,9\n")


def _copied(path, title, other):
    book = openpyxl.load_workbook(path)
    book.copy_worksheet(book[title]).title = other
    book.save(path)


def sheet_change(name: str, *about: str):
    """Something that is done to the worksheet of jobs, or another."""

    def keep(change):
        def spoil(made: Firm) -> None:
            made.kind, made.finish = "xlsx", finish

        def finish(path: Path) -> None:
            book = openpyxl.load_workbook(path)
            change(book)
            book.save(path)

        ODD[name] = spoil, about
        return change

    return keep


@odd("numbers stored as text", "text")
def _(made):
    made.kind, made.texts = "xlsx", True


@sheet_change("a hidden row", "hidden")
def _(book):
    book["jobs"].row_dimensions[4].hidden = True


@sheet_change("a filter", "hidden")
def _(book):
    book["jobs"].auto_filter.ref = "A1:I7"
    for row in (3, 5, 7):
        book["jobs"].row_dimensions[row].hidden = True


@sheet_change("a line of totals", "totals")
def _(book):
    book["jobs"].append(["Total", None, 1180, 20, 26])


@sheet_change("a row of units", "row 2", "units")
def _(book):
    book["jobs"].insert_rows(2)
    for place, unit in enumerate(["", "date", "m²", "rolls", "rolls", "mm", "", "EUR"], start=1):
        book["jobs"].cell(2, place).value = unit


@sheet_change("a note below the table", "row 9")
def _(book):
    book["jobs"].append([])
    book["jobs"].append(["All sizes measured by the site manager"])


@sheet_change("blank rows", "empty rows")
def _(book):
    book["openings"].insert_rows(6, 2)


@sheet_change("merged ids", "merged")
def _(book):
    book["openings"].merge_cells("A2:A5")


@sheet_change("a second table to the right", "columns not read", "Rolls in store")
def _(book):
    for place, row in enumerate([["Rolls in store", "Width"], [12, 1.5], [3, 3.0]], start=1):
        book["jobs"].cell(place, 12).value, book["jobs"].cell(place, 13).value = row


@sheet_change("headings over two rows", "job_id")
def _(book):
    book["jobs"].insert_rows(1)
    for place, text in enumerate(["", "", "", "Rolls", "", "", "", "Roll"], start=1):
        book["jobs"].cell(1, place).value = text or None
    for letter, text in (("D", "estimated"), ("E", "used"), ("H", "price")):
        book["jobs"][f"{letter}2"].value = text


@sheet_change("ids in the first row of a block only", "job_id", "row 3")
def _(book):
    for row in book["openings"].iter_rows(min_row=2, max_col=1):
        row[0].value = row[0].value if (row[0].row - 2) % 4 == 0 else None


@sheet_change("a job struck through", "struck")
def _(book):
    from openpyxl.styles import Font

    for one in book["jobs"][4]:
        one.font = Font(strike=True)


TRUE_ANYWAY = {"exclude of x": {2}}
"""Jobs, by place, that are truly left out."""


def judge(name: str, seed: int = SEED) -> tuple[str, str]:
    """How one odd sheet is read: one of `OUTCOMES`, and what is said."""
    spoil, about = ODD[name]
    clean = firm(seed + list(ODD).index(name))
    made = deepcopy(clean)
    spoil(made)
    with tempfile.TemporaryDirectory() as folder:
        path = write(made, Path(folder))
        try:
            read, said = as_read(path)
        except RecordsError as error:
            read, said = None, str(error)
    if read == truth(clean):
        return "right", said
    named = all(word.casefold() in said.casefold() for word in about)
    return (("said" if read else "refused") if named else "misread"), said


def main() -> None:
    found = {name: judge(name) for name in ODD}
    for name, (outcome, said) in found.items():
        told = said if "-v" in sys.argv else said[:110].replace("\n", " | ")
        print(f"{outcome:8} {name:45} {told}")
    counts = [sum(outcome == each for outcome, _ in found.values()) for each in OUTCOMES]
    print(*(f"{each}: {n}" for each, n in zip(OUTCOMES, counts, strict=True)), f"of {len(found)}")


if __name__ == "__main__":
    main()
