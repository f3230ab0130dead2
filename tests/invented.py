"""Invented firms, jobs and openings: records, desks and beliefs whose truth is known."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd

from airstats.catalog.materials import MATERIALS
from airstats.geometry.cutting_rules import Practice
from airstats.model.allowances import unchanged
from airstats.model.posterior import COLUMNS
from airstats.model.prior import Prior
from airstats.records.reading import Records
from airstats.reports.desk import lay_out
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.reference.handmade import jobs_table

CREWS = ["Alder", "Birch", "Cedar", "Damson"]
ROLL = 75.0
PLAIN = Practice(slit="upright", halves=False)
MATERIAL_COLUMNS = [
    "job_id", "material", "estimated", "used", "counted", "pack", "unit", "pack_price",
]  # fmt: skip
CREW_WORLD = {"factor": 0.2, "reveal_mm": 100.0, "crew_extra": 0.25}
WORLDS = {
    "reveals": {"factor": 0.8, "reveal_mm": 600.0, "jobs": 96},
    "crew": CREW_WORLD,
    "small": {"factor": 0.5, "jobs": 12},
}
"""Firms that differ in what their evidence must say."""


def invent(
    jobs=48, factor=0.5, reveal_mm=350.0, crew_extra=0.0, priced_reveals=False, price=150.0, seed=3,
    quarters=4, even=False,
):  # fmt: skip
    """Records of jobs whose price holds laps and 5 % waste, and reveals only if asked.

    `factor` m² of sheet a m² of reveal are used; the crew Damson wastes `crew_extra` m² a m² laid
    more. Counts are exact. In an `even` firm every house has the same openings a m² of surface.
    """
    rng = np.random.default_rng(seed)
    surface = rng.uniform(180, 420, jobs).round(1)
    count = rng.integers(8, 20, jobs)
    if even:
        count = (surface / 21).round()
    crew = np.array(CREWS)[np.arange(jobs) % 4]
    laid = surface * 1.5 / 1.4
    reveal = count * 2 * (1.2 + 1.4) * reveal_mm / 1000
    sheet = laid * 1.05 + factor * reveal * priced_reveals
    extra = factor * reveal * (not priced_reveals) + crew_extra * laid * (crew == "Damson")
    used = sheet + extra + rng.normal(0, 6, jobs)
    years, quarter = np.divmod(np.arange(jobs) * quarters // jobs, 4)
    ids = pd.DataFrame({"job_id": [f"J{n:03d}" for n in range(jobs)]})
    table = ids.assign(
        finished_on=pd.to_datetime(
            [f"{2025 + y}-{3 * q + 2:02d}-15" for y, q in zip(years, quarter, strict=True)]
        ),
        surface_m2=surface, estimated_rolls=(sheet / 75).round(2), used_rolls=(used / 75).round(2),
        counted="exact", roll_width_m=1.5, roll_length_m=50.0, lap_mm=100.0, crew=crew,
        work_type="new house", roll_price=price, exclude="",
        quarter=[f"{2025 + y}Q{q + 1}" for y, q in zip(years, quarter, strict=True)], finished=True,
    )  # fmt: skip
    openings = ids.assign(
        mark="W1", count=count, width_mm=1200.0, height_mm=1400.0, reveal_mm=reveal_mm, sides=4,
        cut_pattern=np.where(np.arange(jobs) % 2, "centre", "diagonal"), from_summary=False,
    )  # fmt: skip
    return Records(table, openings, pd.DataFrame(), (), "invented", "sha256:invented", ())


def few_candidates():
    """A starting belief in a coarser table of candidates, for speed."""
    whole = Prior()
    nodes = whole.spread_nodes[1::3]
    return replace(whole, spread_nodes=nodes, crew_sd_weights=((0.015, 1.0),))


FEW = few_candidates()


@cache
def desk_of(quarter="", **world):
    """The desk of an invented firm; nobody may change it."""
    return lay_out(invent(**world), quarter)


def texts(say):
    """Return what is said of each firm of `WORLDS`; no two may be told the same."""
    found = {name: say(desk_of(**world)).text for name, world in WORLDS.items()}
    assert len(set(found.values())) == len(WORLDS), "the words must follow the data"
    return found


def change(records, **columns):
    """Return the records with other columns of jobs."""
    return replace(records, jobs=records.jobs.assign(**columns))


def used_more(records, rolls):
    """Return the records with so many rolls more used."""
    return change(records, used_rolls=records.jobs["used_rolls"] + rolls)


def counted_whole(records, *columns):
    """Return the records of an office that counts every opened roll whole (and `columns`)."""
    names = ("used_rolls", *columns)
    return change(records, counted="opened", **{n: np.ceil(records.jobs[n]) for n in names})


def keep(records, chosen):
    """Return the records of the chosen jobs, openings and all."""
    jobs = records.jobs[np.asarray(chosen)].reset_index(drop=True)
    own = records.openings["job_id"].isin(jobs["job_id"])
    return replace(records, jobs=jobs, openings=records.openings[own].reset_index(drop=True))


def without_openings(records):
    return replace(records, openings=records.openings.iloc[:0])


def ids(records, quarter):
    return tuple(records.jobs.loc[records.jobs["quarter"] == quarter, "job_id"])


def with_use(records, name, allowance, sd=0.03, counted="opened", seed=5):
    """Rows of materials: what the counted amount and a true allowance make, with luck."""
    rng = np.random.default_rng(seed)
    jobs = take_off(records)
    material = MATERIALS[name]
    amount = driver_quantity(jobs, material_quantities(jobs, records.openings), material.driver)
    used = amount * (1 + allowance + rng.normal(0, sd, len(jobs))) / material.pack
    packs = np.ceil(used) if counted == "opened" else used.round(2)
    table = pd.DataFrame({"job_id": jobs.table["job_id"], "material": name, "used": packs})
    rest = {"estimated": np.nan, "counted": counted, "pack": np.nan, "unit": "", "pack_price": 12.0}
    return table.assign(**rest)[MATERIAL_COLUMNS]


def with_materials_of(records, allowance, *names):
    """The records with the use of each named material."""
    rows = [with_use(records, name, allowance) for name in names]
    return replace(records, materials=pd.concat(rows, ignore_index=True))


def naming(records, *names, **columns):
    """Jobs to price whose table of materials names these, in the row of the first job."""
    rows = pd.DataFrame({"job_id": records.jobs["job_id"].iloc[0], "material": names, **columns})
    return replace(records, materials=rows.reindex(columns=MATERIAL_COLUMNS))


def firm(jobs=24, seed=3, **allowances):
    """Records of a firm with a true allowance for each material ("_" for a space)."""
    records = invent(jobs=jobs, seed=seed)
    names = {key.replace("_", " "): value for key, value in allowances.items()}
    rows = [with_use(records, name, value) for name, value in names.items()]
    return replace(records, materials=pd.concat(rows, ignore_index=True)) if rows else records


def save(folder, records):
    """Write records as the CSV files that a firm keeps."""
    folder.mkdir(parents=True)
    jobs = records.jobs.drop(columns=["quarter", "finished"])
    jobs.to_csv(folder / "jobs.csv", index=False)
    records.openings.drop(columns="from_summary").to_csv(folder / "openings.csv", index=False)
    if len(records.materials):
        records.materials.to_csv(folder / "materials.csv", index=False)
    return folder


def start(file, quarter="2024Q4"):
    """Write allowances of few candidates and no job, from which commands go on quickly."""
    unchanged(quarter, few_candidates()).save(file)
    return file


def table(rows):
    """Openings by width, height, reveal (mm), sides and cut."""
    names = ["width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern"]
    return pd.DataFrame(rows, columns=names)


def one(width, height, reveal, sides=4, cut="diagonal", practice=PLAIN, roll=1.5):
    """The quantities of one opening."""
    return opening_quantities(table([(width, height, reveal, sides, cut)]), practice, roll).iloc[0]


KNOWN_CUTS = ("diagonal", "centre", "lined")
"""The cuts whose truth the tests work out for themselves; a further cut brings its own tests."""


def random_openings(count, seed, cuts=KNOWN_CUTS, spans=((120, 3000), (120, 3000), (10, 600))):
    """Openings of any size, depth and cut."""
    pick = np.random.default_rng(seed)
    sizes = [pick.uniform(*span, count) for span in spans]
    return table(
        zip(*sizes, pick.choice([3, 4], count), pick.choice(list(cuts), count), strict=True)
    )


def many(count, seed, cuts=KNOWN_CUTS):
    """Openings from a hand's breadth to a hall."""
    found = random_openings(count, seed, cuts, np.log([(80, 6000), (80, 4000), (5, 1400)]))
    sizes = ["width_mm", "height_mm", "reveal_mm"]
    return found.assign(**np.exp(found[sizes]))


def same_belief(one, other, **within):
    """Hold two beliefs to be the same, number by number."""
    for name in COLUMNS:
        given, found = getattr(one, name), getattr(other, name)
        np.testing.assert_allclose(given, found, **{"rtol": 1e-9, "atol": 1e-9} | within)


def made_jobs(count, seed, crew="", gross=0, reveal_share=0.12):
    """Invent whole-roll counts of jobs with reveals that are cut corner to corner."""
    rng = np.random.default_rng(seed)
    laid = rng.uniform(180, 420, count)
    reveal = laid * rng.uniform(0, 2 * reveal_share, count)
    use = laid * 1.07 + 0.35 * reveal + np.hypot(4, 0.05 * laid) * rng.standard_normal(count)
    rolls = np.ceil(use / ROLL)
    rolls[:gross] += 4
    low = ROLL * (rolls - 1) - laid
    return jobs_table(low, low + ROLL, laid, {"diagonal": reveal}, crew, ROLL)


def flat_prior(spreads):
    """Return the standard prior with these spreads, all alike likely, no crews, no companions."""
    spread = {"spread_nodes": spreads, "spread_log_sd": 1e6}
    return replace(Prior(), crew_sd_weights=((0.01, 1.0),), wide_weight=0.0, **spread)
