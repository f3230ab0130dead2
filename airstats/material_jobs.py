"""The finished jobs of one other material, as the sheet's own tables and splits take them.

The counted quantity stands for the surface and for what is laid, a pack for a roll; see
`material_calibration`. So what the sheet's split calls held in the price is here what was counted
less what was priced, and what it calls waste is the material's allowance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from airstats.allowances import Allowances
from airstats.chain import finished_jobs
from airstats.comparison import compare_allowances
from airstats.material_calibration import counted_jobs, learnt, without_records
from airstats.material_quantities import material_quantities
from airstats.materials import MATERIALS
from airstats.overrun import Causes, split_overrun
from airstats.records import Records
from airstats.takeoff import Takeoff

MATERIAL_CAUSES: Causes = {
    "not_counted": ("already_priced", "laps"),
    "waste": ("waste",),
    "crew": ("crew",),
    "whole_packs": ("count_rounding", "price_rounding"),
    "unexplained": ("unexplained",),
}
"""What a material's overrun is split into; together they hold every part of the sheet's split."""
MATERIAL_CAUSE_WORDS = {
    "not_counted": "counted from openings and courses, less what was priced",
    "waste": "used above the counted quantity, at the usual rate",
    "crew": "the crews' departure from it",
    "whole_packs": "whole-pack rounding of count and price",
    "unexplained": "left unexplained",
}


@dataclass(frozen=True)
class MaterialJobs:
    """The finished jobs with a count of one material, and what they taught.

    `jobs` as the engine takes them, with `estimated_rolls` and `used_rolls` in packs.
    """

    name: str
    jobs: Takeoff
    known: Allowances
    pack_price: pd.Series

    def priced(self) -> Takeoff:
        """Return the jobs whose packs were estimated."""
        return self.jobs.where(self.jobs.table["estimated_rolls"].notna())


def material_jobs(records: Records, allowances: Allowances) -> Iterator[MaterialJobs]:
    """Yield every material that the allowances hold, in the order of `MATERIALS`.

    Parameters
    ----------
    records : Records
        The finished jobs up to the quarter of the allowances.
    allowances : Allowances
        With their materials.
    """
    names = [name for name in MATERIALS if name in allowances.materials]
    jobs = finished_jobs(records) if names else None
    if jobs is None:
        return
    quantities = material_quantities(jobs, records.openings)
    for name in names:
        engine, rows = counted_jobs(jobs, quantities, records.materials, name)
        table = engine.table.assign(
            estimated_rolls=rows["estimated"].astype(float).to_numpy(),
            used_rolls=rows["used"].astype(float).to_numpy(),
            net_surface_m2=engine.table["laid_m2"],
            lap_m2=0.0,
        )
        price = pd.Series(rows["pack_price"].astype(float).to_numpy(), index=table.index)
        yield MaterialJobs(name, Takeoff(table), learnt(allowances.materials[name]), price)


def material_split(material: MaterialJobs) -> pd.DataFrame:
    """Split used minus estimated packs into `MATERIAL_CAUSES`, over the jobs with an estimate.

    Returns
    -------
    DataFrame
        `cause, mean, sd, low, high` (90 %) in packs. The means add up to used - estimated.
    """
    split = split_overrun(material.priced(), material.known, causes=MATERIAL_CAUSES)
    return split.drop(columns="group")


def material_comparison(
    records: Records, before: Allowances | None, now: Allowances
) -> pd.DataFrame:
    """Set each material's last value beside its new one: the columns of `compare_allowances`.

    The allowance is a share of the counted quantity.
    """
    rows = []
    for one in material_jobs(records, now):
        block = before.materials.get(one.name) if before else None
        old = learnt(block) if block else without_records(one.name, one.known.quarter)
        row = compare_allowances(one.jobs, old, one.known).iloc[[0]]
        unit = MATERIALS[one.name].unit
        rows.append(row.assign(allowance=one.name, unit=f"{unit} a {unit} counted"))
    return pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=["allowance"])
