"""What is typed into the price sheet's pages when it is written: the jobs of a takeoff."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from airstats.catalog.materials import MATERIALS
from airstats.documents.price_workbook.materials import COUNTED
from airstats.records.reading import Records
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import take_off
from airstats.takeoff.typed_job import OneJob, one_record

EXAMPLE = "EXAMPLE, invented: type your job over it"
OPENING = ("mark", "count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern")


@dataclass(frozen=True)
class TypedJob:
    """One page's typed cells: `values` by the name of the cell, and a row for each opening."""

    values: dict[str, Any] = field(default_factory=dict)
    openings: tuple[dict[str, Any], ...] = ()


def typed_jobs(takeoff: Records | None) -> Iterator[TypedJob]:
    """Yield what stands on each page: a job of the takeoff, or an invented example."""
    if takeoff is None or takeoff.jobs.empty:
        takeoff = one_record(OneJob())
        takeoff.jobs["job_id"] = takeoff.openings["job_id"] = EXAMPLE
    jobs = takeoff.jobs.assign(**_drivers(takeoff))
    for row in jobs.to_dict("records"):
        own = takeoff.openings[takeoff.openings["job_id"].eq(row["job_id"])]
        kinds = own.reindex(columns=list(OPENING)).to_dict("records")
        values = _known(row) | {"job": row["job_id"]} | _packs(takeoff, row["job_id"])
        yield TypedJob(values, tuple(map(_known, kinds)))


def driver_name(material: str) -> str:
    """Return the name of the cell in which a material's quantity stands."""
    return f"counted_{list(MATERIALS).index(material) + 1}"


def _drivers(takeoff: Records) -> dict[str, np.ndarray]:
    """The quantities that must be typed, by the names of their cells."""
    jobs = take_off(takeoff)
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
