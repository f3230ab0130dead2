"""The quarterly update of everything: the sheet, then the other materials."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from airstats.model import quarterly_update
from airstats.model.allowances import Allowances, load_allowances
from airstats.model.material_calibration import calibrate_materials
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs, quarters_to_do
from airstats.records.reading import Records


def calibrate(
    records: Records,
    previous: Allowances | str | Path | None = None,
    quarter: str | None = None,
    *,
    prior: Prior | None = None,
    drift: float | None = None,
    depth_error_mm: float = 0.0,
) -> Allowances:
    """Update the allowances with finished jobs: see `airstats.model.quarterly_update.calibrate`.

    The records' table of materials, if there is one, updates the other materials as well.
    """
    if isinstance(previous, (str, Path)):
        previous = load_allowances(previous)
    now = quarterly_update.calibrate(
        records, previous, quarter, prior=prior, drift=drift, depth_error_mm=depth_error_mm
    )
    return with_materials(now, records, previous)


def with_materials(
    now: Allowances, records: Records, previous: Allowances | None = None
) -> Allowances:
    """Return allowances that went from `previous` quarter by quarter, with the materials too."""
    if now is previous or (records.materials.empty and not now.materials):
        return now
    steps = quarters_to_do(finished_jobs(records), previous, now.quarter)
    return replace(now, materials=calibrate_materials(records, steps, previous))
