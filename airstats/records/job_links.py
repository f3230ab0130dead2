"""How the rows of openings and materials belong to the jobs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airstats.base.name_matching import name_key
from airstats.records.cell_values import is_blank
from airstats.records.raw_table import as_text
from airstats.records.typed_table import Sheet


@dataclass(frozen=True)
class Links:
    """How the rows of n jobs, m openings and k materials belong together, by place of the job.

    `jobs` (n,) is the first row with the same id; `openings` (m,) and `materials` (k,) are -1 where
    no job has the id; `listed` (n,) tells which jobs have rows in openings; `in_summary` (n,)
    which of the others have openings in their summary columns.
    """

    jobs: np.ndarray
    openings: np.ndarray
    listed: np.ndarray
    in_summary: np.ndarray
    materials: np.ndarray


def link(jobs: Sheet, openings: Sheet, materials: Sheet) -> Links:
    """Match openings and materials to jobs by id, whichever way a name is spelled."""
    first: dict[str, int] = {}
    ids = _ids(jobs)
    own = [
        first.setdefault(ids[code], row) if ids[code] else row
        for row, code in enumerate(jobs.cells["job_id"].codes.tolist())
    ]
    owners, users = (_owners(sheet, first) for sheet in (openings, materials))
    listed = np.isin(own, owners)
    in_summary = ~listed & (jobs.frame["opening_count"] > 0).to_numpy()
    return Links(np.array(own, dtype=int), owners, listed, in_summary, users)


def _owners(sheet: Sheet, first: dict[str, int]) -> np.ndarray:
    places = np.array([first.get(key, -1) for key in _ids(sheet)], dtype=int)
    return np.asarray(places[sheet.cells["job_id"].codes])


def _ids(sheet: Sheet) -> list[str]:
    ids = sheet.cells["job_id"].distinct
    return ["" if is_blank(value) else name_key(as_text(value)) for value in ids]
