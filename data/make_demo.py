"""Make the demo data: three years of jobs of an invented firm, with the truth behind them.

Run `python data/make_demo.py` to write everything again, or name another folder to write into.
What a job really uses is decided here in the plainest way: so much waste on the laid sheet, so
much sheet a m² of reveal, and luck. Sizes are in mm, areas in m².
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import sys
import zipfile
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any
from xml.etree.ElementTree import canonicalize

from openpyxl import Workbook
from openpyxl.styles import Font

Row = dict[str, Any]
Made = list[tuple[Row, list[Row]]]

SEED = 1
WASTE = 0.07
FACTORS = {"diagonal": 0.35, "centre": 0.45, "lined": 1.12}
CREWS = {"Alder": -0.02, "Birch": -0.005, "Cedar": 0.005, "Elm": 0.02}
NEW_CREW = {"Oak": 0.01}
SPREAD, FLOOR_M2 = 0.045, 4.0
PRICED = 1.05
ROLL_M2, WIDTH_M, LENGTH_M, LAP_MM = 75, 1.5, 50, 100
ROLL_PRICES = {2023: 148, 2024: 152, 2025: 158, 2026: 164}
SURFACES_M2 = {"new house": (190, 480), "refit": (160, 380), "extension": (150, 270)}
REVEALS_MM = {"new house": 360, "refit": 420, "extension": 340}
EXCLUDED, REASON = "H058", "half of one roll was lent to another site"
STOLEN, STOLEN_ROLLS = "H104", 2
SUMMARY_ONLY = ("H023", "H131", "P4")
TO_PRICE = {"P1": "Alder", "P2": "Birch", "P3": "Cedar", "P4": "Elm", "P5": "Oak", "P6": "Birch"}
LAST_DAY, WRITTEN = date(2026, 12, 31), datetime(2026, 10, 5, 8, 0)
JOB_COLUMNS = """job_id finished_on surface_m2 estimated_rolls used_rolls counted roll_width_m
roll_length_m lap_mm crew work_type roll_price exclude opening_count opening_width_mm
opening_height_mm reveal_mm cut_pattern""".split()
OPENING_COLUMNS = "job_id mark count width_mm height_mm reveal_mm sides cut_pattern".split()
FINISHED_COLUMNS = ("finished_on", "estimated_rolls", "used_rolls", "counted", "exclude")
NOTES = """This firm is invented. No real firm, person or house stands behind these sheets.
jobs: one row a finished job. openings: one row a kind of opening in a job.
Rolls are 1.5 x 50 m. A roll that was opened counts whole, whatever is left of it.
The surface is measured straight across every opening. Openings are clear sizes.
The price was the surface and 5 %, in whole rolls; nothing was added for the reveals."""


def draw_firm(seed: int) -> tuple[Made, Made]:
    """Invent the finished jobs of 2023Q4 to 2026Q3, and the jobs to price."""
    rng = Random(seed)
    days = [day for quarter in range(12) for day in working_days(rng, quarter)]
    finished = [
        draw_job(rng, f"H{number:03d}", rng.choice(list(CREWS)), day)
        for number, day in enumerate(days, start=1)
    ]
    return finished, [draw_job(rng, job_id, crew, LAST_DAY) for job_id, crew in TO_PRICE.items()]


def working_days(rng: Random, quarter: int) -> list[date]:
    """Return the days on which a quarter's jobs were finished; quarter 0 is 2023Q4."""
    first = date(2023 + (quarter + 3) // 4, 3 * ((quarter + 3) % 4) + 1, 1)
    days = [first + timedelta(days=n) for n in range(90)]
    return sorted(rng.choices([d for d in days if d.weekday() < 5], k=rng.randint(11, 17)))


def draw_job(rng: Random, job_id: str, crew: str, day: date) -> tuple[Row, list[Row]]:
    """Invent a house, its price and what it used; the chosen jobs get their blemish."""
    kind = rng.choice(list(SURFACES_M2))
    low, high = SURFACES_M2[kind]
    surface = round(rng.triangular(low, high, low + (high - low) / 3), 1)
    openings = draw_openings(rng, job_id, surface, rng.triangular(150, 500, REVEALS_MM[kind]))
    used = expected_m2(crew, surface, openings)
    used += rng.gauss(0, math.hypot(FLOOR_M2, SPREAD * laid_m2(surface, openings)))
    lent, stolen = ROLL_M2 / 2 * (job_id == EXCLUDED), STOLEN_ROLLS * (job_id == STOLEN)
    estimated = math.ceil(surface * PRICED / ROLL_M2)
    counted = math.ceil((used + lent) / ROLL_M2) + stolen
    cells = (job_id, day, surface, estimated, counted, "opened", WIDTH_M, LENGTH_M, LAP_MM, crew)
    cells += (kind, ROLL_PRICES[day.year], REASON if lent else None)
    return dict.fromkeys(JOB_COLUMNS) | dict(zip(JOB_COLUMNS, cells, strict=False)), openings


def draw_openings(rng: Random, job_id: str, surface_m2: float, reveal_mm: float) -> list[Row]:
    """Invent a house's openings: a front door, large lined ones if any, and windows."""
    usual, other = rng.sample(["diagonal", "centre"], 2)
    left = min(max(round(surface_m2 / 14 + rng.gauss(0, 3)), 10), 25) - 1
    kinds = [("D1", 1, rng.uniform(950, 1150), rng.uniform(2050, 2200), 3, usual)]
    for number in range(2, rng.randint(2, 4)):
        size = rng.uniform(1600, 3000), rng.uniform(2050, 2300)
        kinds.append((f"D{number}", rng.randint(1, 2), *size, rng.choice([3, 4]), "lined"))
        left -= kinds[-1][1]
    number = 0
    while left > 0:
        number, cut = number + 1, usual if rng.random() < 0.8 else other
        size = rng.uniform(800, 1800), rng.uniform(900, 1600)
        kinds.append((f"W{number}", min(rng.randint(1, 5), left), *size, 4, cut))
        left -= kinds[-1][1]
    rows = [
        (job_id, mark, count, tens(width), tens(height), tens(reveal_mm), *rest)
        for mark, count, width, height, *rest in kinds
    ]
    return [dict(zip(OPENING_COLUMNS, row, strict=True)) for row in rows]


def tens(size: float) -> int:
    """Round a size to 10 mm."""
    return 10 * round(size / 10)


def laid_m2(surface_m2: float, openings: list[Row]) -> float:
    """Return the sheet laid on the face: not across lined openings, and with the laps."""
    lined = [o for o in openings if o["cut_pattern"] == "lined"]
    area = sum(o["count"] * o["width_mm"] * o["height_mm"] / 1e6 for o in lined)
    return float((surface_m2 - area) * WIDTH_M / (WIDTH_M - LAP_MM / 1000))


def expected_m2(crew: str, surface_m2: float, openings: list[Row]) -> float:
    """Return what a job takes on average: the truth that the allowances should find."""
    sheet = laid_m2(surface_m2, openings) * (1 + WASTE + (CREWS | NEW_CREW)[crew])
    for o in openings:
        around_m = (2 * o["height_mm"] + (o["sides"] - 2) * o["width_mm"]) / 1000
        sheet += FACTORS[o["cut_pattern"]] * o["count"] * around_m * o["reveal_mm"] / 1000
    return sheet


def as_tables(made: Made) -> dict[str, list[Row]]:
    """Return the rows of jobs and of openings, the openings of some jobs as a summary only."""
    jobs = [job | summary(o) if job["job_id"] in SUMMARY_ONLY else job for job, o in made]
    openings = [row for _, o in made for row in o if row["job_id"] not in SUMMARY_ONLY]
    return {"jobs": jobs, "openings": openings}


def summary(openings: list[Row]) -> Row:
    """Return a job's openings as a firm without a schedule writes them: typical size, usual cut."""
    each = [o for o in openings for _ in range(o["count"])]
    names = ("width_mm", "height_mm", "reveal_mm")
    sizes = [tens(sum(o[name] for o in each) / len(each)) for name in names]
    cuts = [o["cut_pattern"] for o in each]
    cells = (len(each), *sizes, max(FACTORS, key=cuts.count))
    return dict(zip(JOB_COLUMNS[-5:], cells, strict=True))


def write_demo(folder: Path, seed: int = SEED) -> None:
    """Write records, workbook, takeoff and truth into the folder."""
    finished, ahead = draw_firm(seed)
    expected = {j["job_id"]: expected_m2(j["crew"], j["surface_m2"], o) for j, o in ahead}
    ahead = [({k: j[k] for k in j if k not in FINISHED_COLUMNS}, o) for j, o in ahead]
    write_csv(folder / "demo", as_tables(finished))
    write_workbook(folder / "demo.xlsx", as_tables(finished))
    write_csv(folder / "demo_takeoff", as_tables(ahead))
    truth = {
        "about": "The truth behind the demo of an invented firm; written by make_demo.py.",
        "seed": seed,
        "allowances": {"waste": WASTE} | {f"reveal.{cut}": f for cut, f in FACTORS.items()},
        "crews": CREWS | NEW_CREW,
        "spread": {"spread": SPREAD, "floor_m2": FLOOR_M2},
        "excluded": {EXCLUDED: REASON},
        "stolen_rolls": {STOLEN: STOLEN_ROLLS},
        "takeoff_expected_m2": {job_id: round(m2, 1) for job_id, m2 in expected.items()},
    }
    text = json.dumps(truth, indent=2) + "\n"
    (folder / "demo_truth.json").write_text(text, encoding="utf-8", newline="\n")


def write_csv(folder: Path, tables: dict[str, list[Row]]) -> None:
    """Write a file a table, with points as decimal marks and ISO dates."""
    folder.mkdir(parents=True, exist_ok=True)
    for title, rows in tables.items():
        with (folder / f"{title}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


def write_workbook(path: Path, tables: dict[str, list[Row]]) -> None:
    """Write a sheet a table, as a tidy office keeps it, and a sheet of notes."""
    book = Workbook()
    notes = book.active
    for title, rows in tables.items():
        sheet = book.create_sheet(title, index=len(book.sheetnames) - 1)
        for cells in (rows[0].keys(), *(row.values() for row in rows)):
            sheet.append(list(cells))
        for heading in sheet[1]:
            heading.font = Font(bold=True)
            sheet.column_dimensions[heading.column_letter].width = max(len(heading.value) + 3, 12)
        sheet.freeze_panes = "A2"
    notes.title, notes.column_dimensions["A"].width = "notes", 90
    for line in NOTES.splitlines():
        notes.append([line])
    book.properties.creator, book.properties.created = "an invented firm", WRITTEN
    book.save(written := io.BytesIO())
    # Packed anew, so that every run on every machine gives the same bytes.
    with zipfile.ZipFile(written) as old, zipfile.ZipFile(path, "w") as new:
        for name in sorted(old.namelist()):
            text = canonicalize(old.read(name).decode())
            text = re.sub("[^>]*(?=</dcterms:modified>)", f"{WRITTEN:%Y-%m-%dT%H:%M:%SZ}", text)
            new.writestr(zipfile.ZipInfo(name, WRITTEN.timetuple()[:6]), text)


if __name__ == "__main__":
    write_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
