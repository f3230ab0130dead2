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
SPREAD, FLOOR_M2, PRICED = 0.045, 4.0, 1.05
ROLL_M2, WIDTH_M, LENGTH_M, LAP_MM = 75, 1.5, 50, 100
ROLL_PRICES = {2023: 148, 2024: 152, 2025: 158, 2026: 164}
SURFACES_M2 = {"new house": (170, 420, 230), "refit": (150, 330, 190), "extension": (150, 240, 165)}
REVEALS_MM = {"new house": 420, "refit": 480, "extension": 380}
EXCLUDED = {"H058": "half of one roll was lent to another site"}
STOLEN_ROLLS = {"H104": 2}
SUMMARY_ONLY = ("H023", "H131", "P4")
TO_PRICE = {"P1": "Alder", "P2": "Birch", "P3": "Cedar", "P4": "Elm", "P5": "Oak", "P6": "Birch"}
LAST_DAY, WRITTEN = date(2026, 12, 31), datetime(2026, 10, 5, 8, 0)
JOB = """job_id finished_on surface_m2 estimated_rolls used_rolls counted roll_width_m roll_length_m
lap_mm crew work_type roll_price exclude opening_count opening_width_mm opening_height_mm reveal_mm
cut_pattern"""
OPENING = "job_id mark count width_mm height_mm reveal_mm sides cut_pattern"
MATERIAL = "job_id material estimated used counted pack unit pack_price"
MATERIALS = {
    "frame tape": {"allowance": 0.12, "spread": 0.07, "floor": 3, "pack": 25, "price": 31.5},
    "corner pieces": {"allowance": 0.06, "spread": 0.04, "floor": 1, "pack": 5, "price": 9.8},
}
UNITS = {"frame tape": "m", "corner pieces": "piece"}
PRETAPED, TAPE_PRICED, MATERIALS_FROM = 0.02, 1.05, date(2025, 1, 1)
NOT_IN_TAKEOFF = ("finished_on", "estimated_rolls", "used_rolls", "counted", "exclude")
NOTES = """This firm is invented. No real firm, person or house stands behind these sheets.
jobs: one row a finished job. openings: one row a kind of opening in a job.
materials: one row a job and material, in packs; kept since 2025.
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
    surface = round(rng.triangular(*SURFACES_M2[kind]), 1)
    reveal_mm = round(int(rng.triangular(150, 500, REVEALS_MM[kind])), -1)
    openings = draw_openings(rng, job_id, surface, reveal_mm)
    used = expected_m2(crew, surface, openings)
    used += rng.gauss(0, math.hypot(FLOOR_M2, SPREAD * laid_m2(surface, openings)))
    used += ROLL_M2 / 2 * (job_id in EXCLUDED)
    estimated = math.ceil(surface * PRICED / ROLL_M2)
    counted = math.ceil(used / ROLL_M2) + STOLEN_ROLLS.get(job_id, 0)
    cells = [job_id, day, surface, estimated, counted, "opened", WIDTH_M, LENGTH_M, LAP_MM, crew]
    cells += [kind, ROLL_PRICES[day.year], EXCLUDED.get(job_id), *[None] * 5]
    return dict(zip(JOB.split(), cells, strict=True)), openings


def draw_openings(rng: Random, job_id: str, surface_m2: float, reveal_mm: int) -> list[Row]:
    """Invent a house's openings: a front door, large lined ones if any, and windows."""
    usual, other = rng.sample(["diagonal", "centre"], 2)
    left = min(max(round(surface_m2 / 11.5 + rng.gauss(0, 3)), 10), 25) - 1
    kinds = [("D1", 1, 1010, 2110, reveal_mm, 3, usual)]
    for number in range(2, 2 if job_id in SUMMARY_ONLY else rng.randint(2, 5)):
        count, sides = rng.randint(1, 2), rng.choice([3, 4])
        size = rng.randrange(1500, 2610, 10), rng.randrange(2050, 2260, 10)
        kinds.append((f"D{number}", count, *size, reveal_mm, sides, "lined"))
        left -= count
    number = 0
    while left > 0:
        number, count = number + 1, min(rng.randint(1, 5), left)
        size = rng.randrange(850, 1860, 10), rng.randrange(950, 1660, 10)
        cut = usual if rng.random() < 0.8 else other
        kinds.append((f"W{number}", count, *size, reveal_mm, 4, cut))
        left -= count
    return [dict(zip(OPENING.split(), (job_id, *kind), strict=True)) for kind in kinds]


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


def draw_materials(seed: int, made: Made) -> list[Row]:
    """Invent what the jobs since 2025 took of tape and corner pieces, in packs opened."""
    rng = Random(f"materials {seed}")
    later = [(job, o) for job, o in made if job["finished_on"] >= MATERIALS_FROM]
    return [draw_use(rng, job["job_id"], name, o) for job, o in later for name in MATERIALS]


def draw_use(rng: Random, job_id: str, name: str, openings: list[Row]) -> Row:
    """Invent the packs of one material on one job."""
    truth, amount = MATERIALS[name], counted_amount(name, openings)
    luck = rng.gauss(0, math.hypot(truth["floor"], truth["spread"] * amount))
    used = amount * (1 + truth["allowance"]) + luck
    packs = math.ceil(used / truth["pack"]), math.ceil(amount * TAPE_PRICED / truth["pack"])
    cells = [job_id, name, packs[1], max(packs[0], 1), "opened", truth["pack"], UNITS[name]]
    return dict(zip(MATERIAL.split(), [*cells, truth["price"]], strict=True))


def counted_amount(name: str, openings: list[Row]) -> float:
    """Count metres of tape round the lined sides, or corners, but for windows taped beforehand."""
    if name == "corner pieces":
        return (1 - PRETAPED) * sum(o["count"] * (4 if o["sides"] == 4 else 2) for o in openings)
    edges = [2 * o["height_mm"] + (o["sides"] - 2) * o["width_mm"] for o in openings]
    return (1 - PRETAPED) * sum(o["count"] * e / 1000 for o, e in zip(openings, edges, strict=True))


def as_tables(made: Made) -> dict[str, list[Row]]:
    """Return the rows of jobs and of openings, the openings of some jobs as a summary only."""
    jobs = [job | summary(o) if job["job_id"] in SUMMARY_ONLY else job for job, o in made]
    openings = [row for _, o in made for row in o if row["job_id"] not in SUMMARY_ONLY]
    return {"jobs": jobs, "openings": openings}


def summary(openings: list[Row]) -> Row:
    """Return a job's openings as a firm without a schedule writes them: typical size, usual cut."""
    each = [o for o in openings for _ in range(o["count"])]
    sizes = [round(sum(o[name] for o in each) // len(each), -1) for name in OPENING.split()[3:6]]
    usual = max(FACTORS, key=[o["cut_pattern"] for o in each].count)
    return dict(zip(JOB.split()[-5:], (len(each), *sizes, usual), strict=True))


def write_demo(folder: Path, seed: int = SEED) -> None:
    """Write records, workbook, takeoff and truth into the folder."""
    finished, ahead = draw_firm(seed)
    expected = {j["job_id"]: expected_m2(j["crew"], j["surface_m2"], o) for j, o in ahead}
    ahead = [({k: j[k] for k in j if k not in NOT_IN_TAKEOFF}, o) for j, o in ahead]
    tables = as_tables(finished) | {"materials": draw_materials(seed, finished)}
    write_csv(folder / "demo", tables)
    write_workbook(folder / "demo.xlsx", tables)
    write_csv(folder / "demo_takeoff", as_tables(ahead))
    truth = {
        "seed": seed,
        "allowances": {"waste": WASTE} | {f"reveal.{cut}": f for cut, f in FACTORS.items()},
        "materials": {name: truth["allowance"] for name, truth in MATERIALS.items()},
        "crews": CREWS | NEW_CREW,
        "spread": {"spread": SPREAD, "floor_m2": FLOOR_M2},
        "excluded": EXCLUDED,
        "stolen_rolls": STOLEN_ROLLS,
        "takeoff_expected_m2": {job_id: round(m2, 1) for job_id, m2 in expected.items()},
    }
    text = json.dumps(truth, indent=2) + "\n"
    (folder / "demo_truth.json").write_text(text, encoding="utf-8", newline="\n")


def write_csv(folder: Path, tables: dict[str, list[Row]]) -> None:
    """Write a file a table, with points as decimal marks and ISO dates."""
    folder.mkdir(parents=True, exist_ok=True)
    for title, rows in tables.items():
        with (folder / f"{title}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerows([rows[0], *(row.values() for row in rows)])


def write_workbook(path: Path, tables: dict[str, list[Row]]) -> None:
    """Write a sheet a table and a sheet of notes; every run, anywhere, gives the same bytes."""
    book = Workbook()
    notes = book.active
    for title, rows in tables.items():
        sheet = book.create_sheet(title, index=len(book.sheetnames) - 1)
        for cells in (rows[0], *(row.values() for row in rows)):
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
    with zipfile.ZipFile(written) as old, zipfile.ZipFile(path, "w") as new:
        for name in sorted(old.namelist()):
            text = canonicalize(old.read(name).decode())
            text = re.sub("[^>]+(?=</dcterms:modified>)", f"{WRITTEN:%Y-%m-%dT%H:%M:%SZ}", text)
            text = re.sub("<Application>.*</AppVersion>", "", text)
            entry = zipfile.ZipInfo(name, WRITTEN.timetuple()[:6])
            entry.create_system = 0
            new.writestr(entry, f'<?xml version="1.0" encoding="UTF-8"?>\n{text}')


if __name__ == "__main__":
    write_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
