"""Five firms whose truth is known, for what the first sentences of a page must say of each."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.special import ndtri

from airstats.backtests.rolling import FLAT_SHARES
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.reports.desk import lay_out
from tests.invented import ROLL, invent

FIRMS = {
    "reveals dominate": {"jobs": 96, "quarters": 8, "factor": 1.0, "reveal_mm": 700.0},
    "a crew wastes": {"jobs": 96, "quarters": 8, "factor": 0.2, "reveal_mm": 100.0,
                      "crew_extra": 0.25},
    "nothing to find": {"jobs": 96, "quarters": 8, "priced_reveals": True},
    "a flat share is as good": {"jobs": 96, "quarters": 8, "even": True},
    "three jobs only": {"jobs": 3, "quarters": 1},
}  # fmt: skip
"""What `invent` draws each firm from."""
WASTE, LUCK_M2 = 0.05, 6.0
"""The true waste, m² a m² laid, and sd of a job, m², of every firm that `invent` draws."""


@cache
def records_of(name):
    """The records of a firm; nobody may change them."""
    return invent(**FIRMS[name])


@cache
def five_desk(name):
    """The desk of a firm; nobody may change it."""
    return lay_out(records_of(name))


def _m2(records, world):
    """Laid sheet and reveals of each job, and what a wasteful crew and the reveals truly took."""
    jobs, openings = records.jobs, records.openings
    laid = jobs["surface_m2"].to_numpy() * 1.5 / 1.4
    area = openings["count"] * 2 * (1.2 + 1.4) * openings["reveal_mm"] / 1000
    reveal = area.groupby(openings["job_id"]).sum().loc[jobs["job_id"]].to_numpy()
    crew = world.get("crew_extra", 0.0) * laid * jobs["crew"].eq("Damson").to_numpy()
    return laid, reveal, crew, world.get("factor", 0.5) * reveal


def truth_of(name):
    """What is true of a firm's jobs, in rolls.

    `over` (used less priced), `reveals` (what they took), `reveals_over` (of that beyond the
    price), `crew` (what the crew Damson took beyond the others).
    """
    records, world = records_of(name), FIRMS[name]
    _, _, crew, reveals = _m2(records, world)
    missing = 0.0 if world.get("priced_reveals") else reveals.sum() / ROLL
    return {
        "over": float((records.jobs["used_rolls"] - records.jobs["estimated_rolls"]).sum()),
        "reveals": float(reveals.sum() / ROLL),
        "reveals_over": float(missing),
        "crew": float(crew.sum() / ROLL),
    }


def flat_dearer(name, jobs=4000):
    """How much dearer the best flat share is than one who knows the truth, money a job.

    Over many jobs of the firm's kind.
    """
    world = FIRMS[name]
    many = invent(**world | {"jobs": jobs, "seed": 11})
    laid, _, crew, reveals = _m2(many, world)
    mean, needed = laid * (1 + WASTE) + crew + reveals, np.ceil(many.jobs["used_rolls"])
    z = ndtri(SHORT_COST / (SHORT_COST + LEFTOVER_COST))
    knowing = np.ceil((mean + z * LUCK_M2) / ROLL)
    surface = many.jobs["surface_m2"].to_numpy()
    flat = [np.ceil(surface * (1 + share) / ROLL) for share in FLAT_SHARES]
    return min(_cost(rolls, needed) for rolls in flat) - _cost(knowing, needed)


def _cost(rolls, needed):
    gap = rolls - needed
    return float(
        (np.clip(gap, 0, None) * LEFTOVER_COST - np.clip(gap, None, 0) * SHORT_COST).mean()
    )
