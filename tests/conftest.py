"""What holds for every test, and invented firms that many look at; nobody may change them.

A part of a report that fails stops its notebook; what finer records save is drawn a few times only.
"""

import os
import sys
from contextlib import nullcontext

import pytest

from airstats.reports import recording_text
from airstats.reports.display import STRICT
from tests.forks import shared_nursery
from tests.invented import CREW_WORLD, desk_of, few_candidates

os.environ[STRICT] = "1"
# This process and each that a test begins would translate all that they load once more.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False


@pytest.fixture(scope="session", autouse=True)
def few_draws():
    """Go through few of the truths that are possible: a hundred take seconds in every report."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(recording_text, "DRAWS", 4)
        yield


@pytest.fixture
def tmp_path(tmp_path):
    """A folder with no other test's beside it: chains of allowances are looked for there."""
    own = tmp_path / "own"
    own.mkdir()
    return own


@pytest.fixture
def coarse(monkeypatch):
    """Let every chain that begins anew begin with few candidates: the commands take no other."""
    monkeypatch.setattr("airstats.model.allowances.Prior", few_candidates)


@pytest.fixture
def no_notebooks(monkeypatch):
    """Spare a quarter that runs no notebooks what only they need, and the price sheet."""
    documents = "airstats.documents"
    monkeypatch.setattr(f"{documents}.nursery.kernel_nursery", nullcontext)
    monkeypatch.setattr(f"{documents}.run_notebooks.saved_desk", lambda *_: nullcontext())
    book = f"{documents}.price_workbook.workbook.price_sheet"
    monkeypatch.setattr(book, lambda *_, **__: b"a book")


@pytest.fixture
def quick_files(no_notebooks, monkeypatch):
    """Stand in for the card too."""
    card = "airstats.documents.wall_card.allowance_card"
    monkeypatch.setattr(card, lambda *_, **__: "a card")


@pytest.fixture(scope="session")
def nursery():
    """What kernels are copied from, with all loaded that notebooks need."""
    with shared_nursery() as one:
        yield one


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """One browser for all pages; it reaches nothing but this machine."""
    from tests.browser import open_browser

    with open_browser(tmp_path_factory.mktemp("profile")) as shown:
        yield shown


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
