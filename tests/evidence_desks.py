"""Firms that differ in what their evidence must say."""

from functools import cache

from airstats.desk import lay_out
from tests.invented import invent

WORLDS = {
    "reveals": {"factor": 0.8, "reveal_mm": 600.0, "jobs": 96},
    "crew": {"factor": 0.2, "reveal_mm": 100.0, "crew_extra": 0.25},
    "small": {"factor": 0.5, "jobs": 12},
}


@cache
def desks():
    """Return the desk of each firm by its name."""
    return {name: lay_out(invent(**world)) for name, world in WORLDS.items()}


def texts(say):
    """Return what is said of each firm; no two may be told the same."""
    found = {name: say(desk).text for name, desk in desks().items()}
    assert len(set(found.values())) == len(WORLDS), "the words must follow the data"
    return found
