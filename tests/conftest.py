"""What holds for every test, and invented firms that many look at; nobody may change them.

A part of a report that fails stops its notebook.
"""

import os

import pytest

from airstats.reports.display import STRICT
from tests.invented import CREW_WORLD, desk_of

os.environ[STRICT] = "1"


@pytest.fixture(scope="session")
def desk():
    """A firm whose reveals took half their area in sheet, in four quarters."""
    return desk_of()


@pytest.fixture(scope="session")
def reveals():
    """A firm whose reveals make the overrun."""
    return desk_of(factor=0.6)


@pytest.fixture(scope="session")
def crew():
    """A firm in which a crew makes it."""
    return desk_of(**CREW_WORLD)


@pytest.fixture(scope="session")
def nothing():
    """A firm that priced what it used."""
    return desk_of(priced_reveals=True)
