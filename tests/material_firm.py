"""A small firm that keeps its tape and corner pieces, as files or as tables."""

from dataclasses import replace

import numpy as np
import pandas as pd

from airstats.material_quantities import driver_quantity, material_quantities
from airstats.materials import MATERIALS
from airstats.takeoff import take_off
from tests.invented import invent

COLUMNS = ["job_id", "material", "estimated", "used", "counted", "pack", "unit", "pack_price"]


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
    return table.assign(**rest)[COLUMNS]


def firm(jobs=24, seed=3, **allowances):
    """Records of a firm with a true allowance for each material ("_" for a space)."""
    records = invent(jobs=jobs, seed=seed)
    names = {key.replace("_", " "): value for key, value in allowances.items()}
    rows = [with_use(records, name, value) for name, value in names.items()]
    return replace(records, materials=pd.concat(rows, ignore_index=True)) if rows else records


def save(folder, records):
    """Write records as the CSV files that a firm keeps."""
    folder.mkdir()
    jobs = records.jobs.drop(columns=["quarter", "finished"])
    jobs.to_csv(folder / "jobs.csv", index=False)
    records.openings.drop(columns="from_summary").to_csv(folder / "openings.csv", index=False)
    if len(records.materials):
        records.materials.to_csv(folder / "materials.csv", index=False)
    return folder
