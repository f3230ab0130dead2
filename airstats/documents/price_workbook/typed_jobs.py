"""What is typed into the price sheet's pages when it is written: the jobs of a takeoff."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from airstats.catalog.materials import MATERIALS
from airstats.catalog.reader_names import reader_name
from airstats.documents.price_workbook.materials import COUNTED
from airstats.documents.price_workbook.usual_formulas import LISTED, UNKNOWN
from airstats.pricing.newsvendor import Priced
from airstats.records.reading import Records
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import Takeoff
from airstats.takeoff.typed_job import OneJob, one_record
from airstats.takeoff.unmeasured import OPENINGS

EXAMPLE = "EXAMPLE, invented: type your job over it"
OPENING = ("mark", "count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern")


@dataclass(frozen=True)
class TypedJob:
    """One page's typed cells: `values` by the name of the cell, and a row for each opening."""

    values: dict[str, Any] = field(default_factory=dict)
    openings: tuple[dict[str, Any], ...] = ()


def typed_jobs(takeoff: Records, foretold: Priced) -> Iterator[TypedJob]:
    """Yield what stands on each page for the jobs of a takeoff, with what the shelf gives them.

    Parameters
    ----------
    takeoff : Records
        n jobs.
    foretold : Priced
        Of the same jobs, with the stock of the takeoff.
    """
    shelf = {"begun_m": foretold.begun_m, "stock_rolls": foretold.from_stock}
    given = {name: np.where(amounts > 0, amounts, np.nan) for name, amounts in shelf.items()}
    unknown = np.where(foretold.jobs.unmeasured == OPENINGS, UNKNOWN, LISTED)
    drivers = _drivers(takeoff, foretold.jobs)
    jobs = takeoff.jobs.assign(**drivers, **given, openings_are=unknown)
    for row in jobs.to_dict("records"):
        own = takeoff.openings[takeoff.openings["job_id"].eq(row["job_id"])]
        own = own.assign(cut_pattern=own["cut_pattern"].map(reader_name))
        kinds = own.reindex(columns=list(OPENING)).to_dict("records")
        values = _known(row) | {"job": row["job_id"]} | _packs(takeoff, row["job_id"])
        yield TypedJob(values, tuple(map(_known, kinds)))


def example() -> Records:
    """Return an invented job that says so."""
    one = one_record(OneJob())
    jobs, openings = (table.assign(job_id=EXAMPLE) for table in (one.jobs, one.openings))
    return replace(one, jobs=jobs, openings=openings)


def driver_name(material: str) -> str:
    """Return the name of the cell in which a material's quantity stands."""
    return f"counted_{list(MATERIALS).index(material) + 1}"


def _drivers(takeoff: Records, jobs: Takeoff) -> dict[str, np.ndarray]:
    """The quantities that must be typed, by the names of their cells."""
    counted = material_quantities(jobs, takeoff.openings)
    return {
        driver_name(name): driver_quantity(jobs, counted, material.driver)
        for name, material in MATERIALS.items()
        if material.driver not in COUNTED
    }


def _packs(takeoff: Records, job_id: str) -> dict[str, float]:
    """Packs and prices that the takeoff itself gives for a job."""
    if takeoff.materials.empty:
        return {}
    own = takeoff.materials[takeoff.materials["job_id"].eq(job_id)]
    own = own[own["material"].isin(list(MATERIALS))]
    found: dict[str, float] = {}
    for row in own.to_dict("records"):
        place = list(MATERIALS).index(row["material"]) + 1
        found |= {f"pack_{place}": row["pack"], f"price_{place}": row["pack_price"]}
    return _known(found)


def _known(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {str(name): value for name, value in row.items() if pd.notna(value) and value != ""}
