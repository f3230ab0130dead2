"""Wrong kinds of values in an allowances file whose digest fits: refused, or of no consequence."""

from __future__ import annotations

import json
from dataclasses import asdict, replace

import pytest

from airstats.base.atomic_files import own_digest
from airstats.base.errors import AllowancesError
from airstats.documents.wall_card import allowance_card
from airstats.model.allowances import load_allowances, unchanged
from airstats.model.chain_audit import check_chain
from airstats.model.decisions import decide
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import price_materials
from tests.invented import FEW, firm

RECORDS = firm(jobs=8, joint_tape=0.1)
WRONG = (-0.5, 10**400, None, "x", [], [0.5], {"x": {}})


@pytest.fixture(scope="module")
def whole():
    """A kept quarter's file, as it is read, with few candidates."""
    first = calibrate(RECORDS, quarter="2025Q2", prior=FEW)
    kept = decide(first, calibrate(RECORDS, first, "2025Q3"), "keep", "a look first", "AB")
    content = json.loads(kept.to_text())
    content["suspects"] = {"J001": 0.7}
    for key in ("candidates", "material_candidates"):
        content[key] = content[key][:1] + content[key][-1:]
    return content


def ways(part, place=()):
    """Yield the way to every entry; of a list the first entry stands for all."""
    if place:
        yield place
    if isinstance(part, dict):
        for key, value in part.items():
            yield from ways(value, (*place, key))
    elif isinstance(part, list) and part:
        yield from ways(part[0], (*place, 0))


def spoilt(whole, way, value):
    """Return the file's content with another value in one place, and a digest that fits."""
    content = json.loads(json.dumps(whole))
    part = content
    for key in way[:-1]:
        part = part[key]
    part[way[-1]] = value
    content["digest"] = own_digest(content)
    return content


def write(file, content):
    # Some disks write at once what takes the place of a file.
    file.unlink(missing_ok=True)
    file.write_text(json.dumps(content), encoding="utf-8")


@pytest.fixture(scope="module")
def read():
    """What was read and used already; most entries are there for people, and change nothing."""
    return set()


def as_read(known):
    """Return all that was read, every number to its last digit, as text."""
    return json.dumps(asdict(replace(known, file_digest="")), default=lambda part: part.tolist())


def use(known, file):
    """Do with the allowances what the commands do."""
    assert load_allowances(file).to_text() == known.to_text()
    price_materials(RECORDS, known)
    calibrate(RECORDS, known, "2025Q4").to_text()
    allowance_card(known, 60.0, 240.0)
    unchanged(known.quarter, known.belief.prior).to_text()
    check_chain(file)


def test_the_file_is_read_as_long_as_nothing_is_wrong(whole, tmp_path):
    file = tmp_path / "a.json"
    write(file, spoilt(whole, ("jobs_used",), 4))
    use(load_allowances(file), file)


@pytest.mark.parametrize("value", WRONG, ids=lambda value: repr(value)[:9])
def test_a_value_of_a_wrong_kind_is_refused_or_of_no_consequence(whole, read, tmp_path, value):
    file, refused = tmp_path / "a.json", []
    for way in ways(whole):
        write(file, spoilt(whole, way, value))
        try:
            known = load_allowances(file)
            if as_read(known) not in read:
                read.add(as_read(known))
                use(known, file)
        except AllowancesError:
            refused.append(way)
        except Exception as error:
            raise AssertionError(f"{way}: {error!r}") from error
    assert {"quarter", "candidates", "prior"} <= {way[0] for way in refused}
