"""Books as firms keep them, with the truth beside each: twenty-two styles, drawn by seeds.

Firms and jobs are invented. What a book shows of a job is what its record should say; a cell that
can honestly be read two ways marks the job as `unclear`, and then only a question is right.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font, PatternFill

FEET2_IN_M2 = 1 / 0.3048**2
INCH_MM = 25.4


@dataclass(frozen=True)
class Hole:
    """A kind of opening in a job; what the book does not tell is None."""

    count: int
    width_mm: float
    height_mm: float
    reveal_mm: float | None
    cut: str | None


@dataclass(frozen=True)
class Job:
    """One job and what its row in the book should be read as.

    `low` and `high` bound the rolls used, as the count was made; `holes` None: the book tells of no
    opening; (): it says that there are none.
    """

    name: str
    day: date
    surface_m2: float
    estimated: float
    low: float
    high: float
    crew: str
    price: float | None
    holes: tuple[Hole, ...] | None
    excluded: bool = False
    unclear: frozenset[str] = frozenset()
    gone: bool = False

    @property
    def quarter(self) -> str:
        """Like 2024Q3."""
        return f"{self.day.year}Q{(self.day.month + 2) // 3}"


@dataclass(frozen=True)
class Style:
    """One way to keep a book."""

    name: str
    language: str = "en"
    ending: str = ".xlsx"
    separator: str = ","
    holes: str = "cell"  # cell, sheet, file, columns, summary, grouped
    hole_text: str = "mm"  # mm, bare, cm, m, words
    reveal: str = "mm"  # mm, cm, text, in the cell
    counted: str = "whole"  # whole, halves, odd
    dates: str = "cell"  # cell, day, month, quarter, mixed, month-first
    a_sheet_a_year: bool = False
    two_header_rows: bool = False
    titles: int = 2
    totals: bool = True
    dittos: bool = False
    notes: bool = False
    two_lines: bool = False
    feet: bool = False
    circa: bool = False
    money: str = ""
    old_without: float = 0.3
    crew_spellings: bool = False
    struck: bool = False
    twice: bool = False
    no_cut: bool = False
    marks: bool = False
    inches: bool = False
    units_row: bool = False
    sheet_m2: bool = False
    in_words: bool = False
    roll_size: bool = False
    hidden: bool = False
    brackets: bool = False
    net: bool = False


STYLES = (
    Style("plain rows"),
    Style("titles and totals", titles=3, reveal="text", circa=True, money="£", dates="month"),
    Style("rolls and a bit", counted="odd", hole_text="bare", dates="mixed"),
    Style("halves", counted="halves", holes="sheet", dittos=True),
    Style("a worksheet a year", a_sheet_a_year=True, holes="sheet", money="€"),
    Style("Fensterliste", "de", holes="sheet", reveal="cm", dates="day", counted="halves"),
    Style("Baubuch", "de", hole_text="cm", reveal="cm", dates="mixed", titles=3, circa=True),
    Style("CSV aus dem Buero", "de", ".csv", ";", holes="summary", dates="day", titles=0),
    Style("windows side by side", holes="columns", two_header_rows=True, totals=False),
    Style("feet", feet=True, holes="summary", reveal="mm", dates="day"),
    Style("two lines a job", two_lines=True, hole_text="words", notes=True),
    Style("notes between", notes=True, dittos=True, reveal="in the cell", dates="quarter"),
    Style("spellings", crew_spellings=True, holes="summary", totals=False, money="£"),
    Style("struck through", struck=True, twice=True, marks=True, counted="odd", dates="month"),
    Style("Kolonnenbuch", "de", a_sheet_a_year=True, hole_text="m", reveal="in the cell",
          dates="month", counted="odd", notes=True),
    Style("plain CSV", ending=".csv", holes="summary", dates="cell", titles=1, no_cut=False),
    Style("two files", ending=".csv", holes="file", dates="month", titles=0, totals=False),
    Style("inches", feet=True, inches=True, holes="summary", dates="month-first", money="$"),
    Style("units below", units_row=True, sheet_m2=True, holes="summary", titles=1),
    Style("windows in a group", holes="grouped", in_words=True, roll_size=True, hidden=True),
    Style("Rollen und Fenster", "de", holes="grouped", brackets=True, roll_size=True, titles=1),
    Style("net areas", net=True, dates="month"),
)  # fmt: skip

WORDS = {
    "en": {
        "job": ["Job", "Site", "Project", "Job no."],
        "date": ["Finished", "Completed", "Finished on", "Date completed"],
        "surface": ["Sheet area m²", "Walls + ceilings m²", "Surface (m2)", "Area m²"],
        "feet": ["Area sq ft", "Surface ft²"],
        "net": ["Net area m²", "Net wall + ceiling m²"],
        "bare": ["Surface", "Sheet area", "Walls + ceilings"],
        "estimated_m2": ["Sheet allowed", "Estimated", "Sheet priced"],
        "used_m2": ["Sheet used", "Used", "Actual use"],
        "size": ["Roll size", "Size of roll", "Roll (w x l)"],
        "estimated": ["Rolls quoted", "Rolls allowed", "Est. rolls", "Rolls priced"],
        "used": ["Rolls used", "Rolls opened", "Actual rolls", "Rolls taken"],
        "crew": ["Crew", "Team", "Fitters", "Gang"],
        "price": ["Price per roll", "Roll price", "Cost/roll"],
        "holes": ["Windows", "Openings", "Windows & doors", "Window sizes"],
        "count": ["No. of windows", "Windows (no.)", "Number of openings"],
        "width": ["Window width", "Typ. width", "Opening width"],
        "height": ["Window height", "Typ. height", "Opening height"],
        "reveal": ["Reveal", "Reveal depth", "Depth of reveal"],
        "cut": ["Cut", "How cut", "Window cut"],
        "notes": ["Notes", "Remarks"],
        "diagonal": ["corner to corner", "diagonal", "Corner-to-corner"],
        "centre": ["slit", "middle slit", "slit down the middle"],
        "lined": ["lined", "lined separately", "strips"],
        "title": ["Membrane jobs {}", "Rolls - what we priced and what we used {}", "Job book"],
        "total": ["Total", "Total {}", "TOTAL"],
        "openings": ["Windows", "Openings", "Window list", "Openings by house"],
        "note": ["call supplier about August delivery", "2 rolls lent to a friend, came back",
                 "prices up from here"],
    },
    "de": {
        "job": ["Bauvorhaben", "BV", "Objekt"],
        "date": ["Fertig", "Fertiggestellt", "Fertiggestellt am", "Abschluss"],
        "size": ["Rollenmaß", "Rollengröße"],
        "surface": ["Fläche m²", "Folienfläche m²", "Wand + Decke m²", "Fläche (qm)"],
        "estimated": ["Rollen kalkuliert", "Rollen Angebot", "Rollen geplant"],
        "used": ["Rollen verbraucht", "Rollen gebraucht", "Verbrauch Rollen"],
        "crew": ["Kolonne", "Team", "Trupp"],
        "price": ["Preis je Rolle", "Rollenpreis", "Preis/Rolle"],
        "holes": ["Fenster", "Öffnungen", "Fenster und Türen"],
        "count": ["Anzahl Fenster", "Fenster Anzahl"],
        "width": ["Fensterbreite", "Breite"],
        "height": ["Fensterhöhe", "Höhe"],
        "reveal": ["Laibung", "Laibungstiefe", "Leibungstiefe"],
        "cut": ["Schnitt", "Schnittart"],
        "notes": ["Bemerkung", "Notiz"],
        "diagonal": ["über Kreuz", "diagonal", "Kreuzschnitt"],
        "centre": ["Mittelschnitt", "mittig geschlitzt"],
        "lined": ["ausgekleidet", "Streifen", "separat ausgekleidet"],
        "title": ["Folienverbrauch {}", "Baustellen {}", "Rollenbuch"],
        "total": ["Summe", "Summe {}", "Gesamt {}"],
        "openings": ["Fenster", "Fensterliste", "Öffnungen"],
        "note": ["Preiserhöhung ab hier", "Lieferant anrufen", "2 Rollen geliehen, zurückgebracht"],
    },
}  # fmt: skip
MONTHS = {
    "en": ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"],
    "de": [
        "Jan.",
        "Feb.",
        "März",
        "Apr.",
        "Mai",
        "Juni",
        "Juli",
        "Aug.",
        "Sep.",
        "Okt.",
        "Nov.",
        "Dez.",
    ],
}
PLACES = {
    "en": [
        "Fernhollow",
        "Larkmead",
        "Duncote",
        "Wexley",
        "Harrowby",
        "Oakmere",
        "Thistledown",
        "Brackwater",
    ],
    "de": [
        "Erlenbach",
        "Moosgrund",
        "Talheim",
        "Birkenau",
        "Lindenhof",
        "Waldsee",
        "Hohenfels",
        "Steinach",
    ],
}
_LENGTHS = ("width", "height", "reveal")
_UNITS = {"surface": "m²", "estimated": "m²", "used": "m²", "count": "no."}
_UNITS |= dict.fromkeys(_LENGTHS, "mm")
_IN_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
CREWS = {"en": ["Alder", "Birch", "Cedar"], "de": ["Ahorn", "Buche", "Zeder"]}


@dataclass
class Book:
    """A book in a file's bytes, and the jobs that it holds."""

    style: Style
    jobs: list[Job]
    content: dict[str, bytes] = field(default_factory=dict)

    def write(self, folder: Path) -> Path:
        """Write the book; return the path to read: the file itself, or the folder of several."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in self.content.items():
            (folder / name).write_bytes(content)
        return folder / next(iter(self.content)) if len(self.content) == 1 else folder


def messy_book(seed: int, jobs: int = 40, style: Style | None = None) -> Book:
    """Draw a firm and its book."""
    rng = np.random.default_rng([seed, 41])
    style = style or STYLES[seed % len(STYLES)]
    return _Writer(rng, style, _draw_jobs(rng, style, jobs)).book()


def _draw_jobs(rng: np.random.Generator, style: Style, n: int) -> list[Job]:
    days = np.sort(rng.integers(0, 3 * 365, n))
    made = []
    for place, after in enumerate(days):
        day = date(2023, 2, 1) + timedelta(days=int(after))
        name = f"{PLACES[style.language][rng.integers(7)]} {place + 1}"
        surface = float(np.round(rng.uniform(90, 420)))
        old = place < n * style.old_without
        holes = None if old and style.old_without else _draw_holes(rng, style)
        rolls = surface * 1.2 / 75 + rng.normal(0.4, 0.4)
        low, high = _count(max(rolls, 0.6), style, rng)
        crew = CREWS[style.language][rng.integers(3)]
        price = float(140 + 4 * (day.year - 2023) + rng.integers(0, 3)) if style.money else None
        estimated = float(np.ceil(surface * 1.1 / 75))
        if style.sheet_m2:
            estimated, low = round(surface * 1.1) / 75, round(rolls * 75) / 75
            high = low
        made.append(Job(name, day, surface, estimated, low, high, crew, price, holes))
    return made


def _draw_holes(rng: np.random.Generator, style: Style) -> tuple[Hole, ...]:
    cut = str(rng.choice(["diagonal", "centre", "lined"], p=[0.5, 0.35, 0.15]))
    kinds = 1 if style.holes in ("summary", "grouped") else int(rng.integers(1, 4))
    reveal = float(rng.integers(12, 48) * 10)
    if style.inches:
        reveal = float(rng.integers(5, 19) * INCH_MM)
        w, h = (float(rng.integers(*span) * INCH_MM) for span in ((24, 64), (36, 67)))
        return (Hole(int(rng.integers(5, 10)), w, h, reveal, cut),)
    size = 5 if style.hole_text == "mm" and style.holes != "summary" else 50
    spans = ((600, 1600), (900, 1700))
    sizes = [[int(rng.integers(*span) // size * size) for span in spans] for _ in range(kinds)]
    return tuple(
        Hole(int(rng.integers(1, 6)) + 4 * (style.holes == "summary"), w, h, reveal, cut)
        for w, h in sizes
    )


def _count(rolls: float, style: Style, rng: np.random.Generator) -> tuple[float, float]:
    if style.counted == "halves":
        half = max(round(2 * rolls) / 2, 0.5)
        return half - 0.25, half + 0.25
    opened = float(np.ceil(rolls))
    return opened - 1, opened


class _Writer:
    """Lays the jobs out in rows of one style."""

    def __init__(self, rng: np.random.Generator, style: Style, jobs: list[Job]) -> None:
        self.rng, self.style, self.jobs = rng, style, jobs
        self.words = WORDS[style.language]
        self.said = {key: str(rng.choice(words)) for key, words in self.words.items()}
        self.book_out = Book(style, [])
        self.looks: list[tuple[str, int, str]] = []

    def book(self) -> Book:
        if self.style.ending == ".csv":
            rows = self._sheet_rows(self.jobs, "2023-2026")
            self.book_out.content = {"book.csv": self._csv(rows)}
            if self.style.holes == "file":
                beside = self._csv(self._hole_rows())
                self.book_out.content = {"jobs.csv": self._csv(rows), "openings (1).csv": beside}
        else:
            self.book_out.content = {"book.xlsx": self._workbook()}
        return self.book_out

    def _workbook(self) -> bytes:
        workbook = Workbook()
        workbook.remove(workbook.active)
        years = sorted({job.day.year for job in self.jobs})
        if self.style.a_sheet_a_year:
            parts = [(str(y), [job for job in self.jobs if job.day.year == y]) for y in years]
        else:
            parts = [(str(self.rng.choice(["Jobs", "Book", "Sheet1"])), self.jobs)]
        for title, jobs in parts:
            sheet = workbook.create_sheet(title)
            for row in self._sheet_rows(jobs, title if title.isdigit() else "2023-2026"):
                sheet.append(row)
            self._dress(sheet)
        if self.style.holes == "sheet":
            sheet = workbook.create_sheet(self.said["openings"])
            for row in self._hole_rows():
                sheet.append(row)
        out = io.BytesIO()
        workbook.save(out)
        return out.getvalue()

    def _dress(self, sheet: Any) -> None:
        for kind, row, text in self.looks:
            cells = list(sheet[row])
            if kind == "struck":
                for cell in cells:
                    cell.font = Font(strike=True)
            elif kind == "colour":
                cells[0].fill = PatternFill("solid", fgColor="FFEE99")
            elif kind == "comment":
                cells[0].comment = Comment(text, "office")
            elif kind == "hide":
                sheet.row_dimensions[row].hidden = True
            elif kind == "group":
                first, last = (int(each) for each in text.split("-"))
                sheet.merge_cells(start_row=row, end_row=row, start_column=first, end_column=last)
            elif kind == "merge":
                sheet.merge_cells(start_row=row, end_row=row, start_column=1, end_column=4)
                cells[0].alignment = Alignment(horizontal="center")
        self.looks = []

    def _csv(self, rows: list[list[Any]]) -> bytes:
        out = io.StringIO()
        writer = csv.writer(out, delimiter=self.style.separator)
        writer.writerows([["" if c is None else self._csv_cell(c) for c in row] for row in rows])
        return out.getvalue().encode("cp1252" if self.style.language == "de" else "utf-8")

    def _csv_cell(self, cell: Any) -> str:
        if isinstance(cell, date):
            return cell.isoformat()
        return self._number(cell) if isinstance(cell, float) else str(cell)

    def _columns(self) -> list[str]:
        columns = ["job", "date", "surface", "estimated", "used", "crew"]
        columns += ["price"] if self.style.money else []
        columns += ["size"] if self.style.roll_size else []
        columns += {
            "cell": ["holes"], "sheet": [], "file": [], "columns": [],
            "summary": ["count", "width", "height"], "grouped": ["count", "width", "height"],
        }[self.style.holes]  # fmt: skip
        listed = self.style.holes in ("sheet", "file")
        if not listed and self.style.reveal != "in the cell":
            columns.append("reveal")
        columns += ["cut"] if not listed and not self.style.no_cut else []
        columns += ["notes"] if self.style.notes or self.style.struck else []
        return columns

    def _headings(self, columns: list[str]) -> list[list[Any]]:
        texts = []
        for column in columns:
            text = self.said[self._said_as(column)]
            if self.style.units_row or (self.style.inches and column in _LENGTHS):
                text += " (in)" if self.style.inches else ""
            elif column == "reveal" and self.style.reveal in ("mm", "cm"):
                text += f" {self.style.reveal}"
            elif column in _LENGTHS[:2]:
                text += " (cm)" if self.style.language == "de" else " (mm)"
            texts.append(text)
        if self.style.units_row:
            return [texts, [_UNITS.get(column, "") for column in columns]]
        if self.style.holes == "grouped":
            return self._grouped(columns, texts)
        if self.style.holes == "columns":
            pairs = [f"{self.words['holes'][0][:-1]} {k}" for k in (1, 2, 3)]
            upper = [""] * len(texts) + [x for p in pairs for x in (p, "", "")]
            lower = texts + ["no.", "W mm", "H mm"] * 3
            return [upper, lower]
        if self.style.two_header_rows:
            return [["" for _ in texts], texts]
        return [texts]

    def _said_as(self, column: str) -> str:
        """Return the words that head a column in this style."""
        if column == "surface":
            told = {"feet": self.style.feet, "net": self.style.net, "bare": self.style.units_row}
            return next((name for name, is_so in told.items() if is_so), column)
        return f"{column}_m2" if self.style.sheet_m2 and column in ("estimated", "used") else column

    def _grouped(self, columns: list[str], texts: list[Any]) -> list[list[Any]]:
        """Head the columns of openings with one merged cell above their own short headings."""
        first, last = columns.index("count") + 1, columns.index("cut") + 1
        short = {"en": ["No.", "Width mm", "Height mm"], "de": ["Stück", "Breite cm", "Höhe cm"]}
        lower = [*texts[: first - 1], *short[self.style.language], *texts[first + 2 :]]
        upper: list[Any] = [None] * len(texts)
        upper[first - 1] = self.said["holes"]
        self.looks.append(("group", self.style.titles + 1, f"{first}-{last}"))
        return [upper, lower]

    def _sheet_rows(self, jobs: list[Job], years: str) -> list[list[Any]]:
        rows: list[list[Any]] = []
        titles = [self.said["title"].format(years), "", "all lengths as measured on site"]
        for title in titles[: self.style.titles]:
            if title and self.style.ending == ".xlsx":
                self.looks.append(("merge", len(rows) + 1, ""))
            rows.append([title])
        columns = self._columns()
        rows += self._headings(columns)
        year, in_year, crew_before = None, [], None
        for job in jobs:
            if year not in (None, job.day.year) and self.style.totals:
                rows += self._total(columns, year, in_year)
                in_year, crew_before = [], None
            year = job.day.year
            if self.style.notes and self.rng.random() < 0.06:
                rows.append([str(self.rng.choice(self.words["note"]))])
                crew_before = None
            if self.rng.random() < 0.03:
                rows.append([])
                crew_before = None
            job, lines = self._lines(job, columns, crew_before)
            crew_before = job.crew
            self._marked(job, len(rows) + 1)
            if self.style.hidden and self.rng.random() < 0.05:
                self.looks.append(("hide", len(rows) + 1, ""))
            rows += lines
            in_year.append((job, lines[0]))
            if self.style.twice and self.rng.random() < 0.05 and self.book_out.jobs:
                rows += [list(line) for line in lines]
                job = replace(job, unclear=job.unclear | {"twice"})
            self.book_out.jobs.append(job)
        if self.style.totals:
            rows += self._total(columns, year, in_year)
        return rows

    def _marked(self, job: Job, row: int) -> None:
        if self.style.struck and "struck" in job.unclear:
            self.looks.append(("struck", row, ""))
        elif "comment" in job.unclear:
            self.looks.append(("comment", row, "one roll was stolen on site"))
        elif self.style.marks and self.rng.random() < 0.1:
            self.looks.append(("colour", row, ""))

    def _total(self, columns: list[str], year: Any, jobs: list[Any]) -> list[list[Any]]:
        row: list[Any] = [None] * len(columns)
        row[0] = self.said["total"].format(year)
        row[columns.index("surface")] = sum(self._surface(job) for job, _ in jobs)
        row[columns.index("estimated")] = sum(self._estimated(job) for job, _ in jobs)
        return [row] if self.rng.random() < 0.5 else [row, []]

    def _surface(self, job: Job) -> float:
        return round(job.surface_m2 * FEET2_IN_M2) if self.style.feet else job.surface_m2

    def _lines(self, job: Job, columns: list[str], crew_before: Any) -> tuple[Job, list[list[Any]]]:
        job = self._odd(job)
        job, used = self._used(job)
        job, area = self._area(job)
        estimated = self._estimated(job)
        cells: dict[str, Any] = {
            "job": job.name,
            "date": self._date(job.day),
            "surface": area,
            "estimated": estimated if self.rng.random() < 0.9 else f"{estimated:.0f}",
            "size": "1.5x50" if self.style.language == "en" else "1,5 x 50 m",
            "used": used,
            "crew": self._crew(job.crew, crew_before),
            "price": self._money(job.price),
            "notes": None,
        }
        cells |= self._hole_cells(job)
        row = [cells.get(column) for column in columns]
        if self.style.holes == "columns":
            for hole in (job.holes or ())[:3]:
                row += [hole.count, hole.width_mm, hole.height_mm]
        lines = [row]
        if self.style.two_lines and job.holes and len(job.holes) > 1:
            place = columns.index("holes")
            parts = [self._hole_text((hole,)) for hole in job.holes]
            row[place] = parts[0]
            for part in parts[1:]:
                below: list[Any] = [None] * len(columns)
                below[place] = part
                lines.append(below)
        return job, lines

    def _estimated(self, job: Job) -> float:
        return round(job.estimated * 75) if self.style.sheet_m2 else job.estimated

    def _odd(self, job: Job) -> Job:
        draw = self.rng.random()
        if self.style.struck and draw < 0.06:
            return replace(job, unclear=job.unclear | {"struck"})
        if self.style.marks and draw < 0.10:
            return replace(job, unclear=job.unclear | {"comment"})
        return job

    def _used(self, job: Job) -> tuple[Job, Any]:
        if self.style.counted == "halves":
            half = (job.low + job.high) / 2
            texts = [half, self._number(half), _fraction(half), _fraction(half, " 1/2")]
            return job, texts[self.rng.integers(4)]
        if self.style.sheet_m2:
            return job, round(job.high * 75)
        opened = job.high
        if self.style.in_words and self.rng.random() < 0.4 and opened <= 10:
            word = _IN_WORDS[int(opened) - 1]
            return job, f"{word} roll{'s' * (opened > 1)}" if self.rng.random() < 0.5 else word
        if self.style.counted == "odd" and opened > 1:
            draw = self.rng.random()
            bit = {"en": "{} rolls + a bit", "de": "{} Rollen + etwas"}[self.style.language]
            rolls = {"en": "{} rolls", "de": "{} Rollen"}[self.style.language]
            if draw < 0.2:
                return job, bit.format(int(opened - 1))
            if draw < 0.4:
                return job, rolls.format(int(opened))
            if draw < 0.44:
                return replace(
                    job, unclear=job.unclear | {"range"}
                ), f"{int(opened)}-{int(opened) + 1}"
        return job, opened

    def _area(self, job: Job) -> tuple[Job, Any]:
        surface = self._surface(job)
        draw = self.rng.random()
        if self.style.circa and draw < 0.25:
            return job, f"ca. {surface:.0f}"
        if self.style.circa and draw < 0.35:
            return job, f"{surface:.0f} {'sq ft' if self.style.feet else 'm²'}"
        if self.style.brackets and draw < 0.1:
            beside = replace(job, unclear=job.unclear | {"two numbers"})
            return beside, f"{surface:.0f} (Garage {self.rng.integers(15, 40)})"
        if self.style.net:
            return replace(job, unclear=job.unclear | {"net"}), surface
        return job, surface

    def _money(self, price: float | None) -> Any:
        if price is None:
            return None
        draw = self.rng.random()
        text = self._number(price, 2)
        if draw < 0.5:
            return f"{text} €" if self.style.money == "€" else f"{self.style.money}{text}"
        return price

    def _number(self, value: float, digits: int | None = None) -> str:
        text = f"{value:g}" if digits is None else f"{value:.{digits}f}"
        return text.replace(".", ",") if self.style.language == "de" else text

    def _crew(self, crew: str, before: Any) -> Any:
        if self.style.dittos and crew == before:
            return '"'
        if self.style.crew_spellings:
            return str(self.rng.choice([crew, crew.lower(), crew + " ", f"Team {crew}"]))
        return crew

    def _date(self, day: date) -> Any:
        way = self.style.dates
        if way == "mixed":
            way = str(self.rng.choice(["cell", "day", "month", "quarter"]))
        month = MONTHS[self.style.language][day.month - 1]
        quarter = (day.month + 2) // 3
        return {
            "cell": day,
            "day": f"{day:%d.%m.%Y}" if self.style.language == "de" else f"{day:%d/%m/%Y}",
            "month": f"{month} {day.year}",
            "quarter": f"Q{quarter} {day.year}",
            "month-first": f"{day:%m/%d/%Y}",
        }[way]

    def _hole_cells(self, job: Job) -> dict[str, Any]:
        if job.holes is None or self.style.holes in ("sheet", "file"):
            return {}
        if not job.holes:
            return {"holes": "none", "count": 0}
        first = job.holes[0]
        factor = 10 if self.style.language == "de" else INCH_MM if self.style.inches else 1
        return {
            "holes": self._hole_text(job.holes),
            "count": first.count,
            "width": round(first.width_mm / factor, 3),
            "height": round(first.height_mm / factor, 3),
            "reveal": self._reveal(first.reveal_mm),
            "cut": str(self.rng.choice(self.words[first.cut])),
        }

    def _reveal(self, mm: float) -> Any:
        if self.style.inches:
            return round(mm / INCH_MM)
        if self.style.reveal == "cm":
            return mm / 10
        if self.style.reveal == "text":
            return [f"{mm:.0f}mm", f"{mm / 10:g} cm", f"{mm:.0f} mm"][self.rng.integers(3)]
        return mm

    def _hole_text(self, holes: tuple[Hole, ...]) -> str:
        parts = []
        for hole in holes:
            w, h = hole.width_mm, hole.height_mm
            size = {
                "mm": f"{w:.0f}x{h:.0f}",
                "bare": f"{w:.0f} x {h:.0f}",
                "cm": f"{w / 10:g}x{h / 10:g} cm".replace(".", ","),
                "m": f"{w / 1000:.2f}x{h / 1000:.2f} m".replace(".", ","),
                "words": f"{w:.0f} wide {h:.0f} high",
            }[self.style.hole_text]
            no = {"en": ["{} x {}", "{} no. {}"], "de": ["{} St. {}", "{} x {}"]}
            parts.append(no[self.style.language][self.rng.integers(2)].format(hole.count, size))
        text = ("; " if self.style.hole_text in ("cm", "m") else ", ").join(parts)
        if self.style.reveal == "in the cell":
            word = {"en": "reveal", "de": "Laibung"}[self.style.language]
            text += f", {word} {holes[0].reveal_mm:.0f}" + (
                " mm" if self.rng.random() < 0.5 else ""
            )
        return text

    def _hole_rows(self) -> list[list[Any]]:
        unit = "cm" if self.style.language == "de" else "mm"
        factor = 10 if unit == "cm" else 1
        heads = {
            "en": ["Job", "No.", "Width mm", "Height mm", "Reveal mm", "Cut"],
            "de": ["Bauvorhaben", "Stück", "Breite cm", "Höhe cm", "Laibung cm", "Schnitt"],
        }[self.style.language]
        rows: list[list[Any]] = [heads]
        for job in self.book_out.jobs:
            for k, hole in enumerate(job.holes or ()):
                name = job.name if k == 0 or not self.style.dittos else '"'
                cut = str(self.rng.choice(self.words[hole.cut]))
                sizes = [hole.width_mm, hole.height_mm, hole.reveal_mm]
                rows.append([name, hole.count, *[size / factor for size in sizes], cut])
        return rows


def _fraction(half: float, mark: str = "½") -> str:
    whole = int(half)
    if half == whole:
        return str(whole)
    return f"{whole or ''}{mark}".strip()
