"""Spoilt and hostile records through every call and command: done, or a plain word; no third."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import airstats
from tests.corruption import ENCODINGS, KINDS, cell_changes, changed_tables
from tests.every_call import NAMES, WAYS, judge, namings, renamed
from tests.invented import few_candidates, firm
from tests.records.test_corrupted import LAYOUT, LAYOUTS, tried, write, written_again

CHANGES = st.lists(cell_changes(), max_size=3, unique_by=lambda change: change[:3])
WAY = st.sampled_from(WAYS)


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """Allowances of an earlier quarter, with another material; every chain has few candidates."""
    file = tmp_path_factory.mktemp("known") / "known.json"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("airstats.model.allowances.Prior", few_candidates)
        airstats.calibrate(firm(jobs=12, joint_tape=0.2)).save(file)
        yield file


def go(way, tables, layout, known, aside):
    with tempfile.TemporaryDirectory() as place:
        source = Path(place) / "source"
        source.mkdir()
        path, _ = write(source, tables, layout)
        judge(way, path, Path(place) / "out", known, aside)


@tried(8)
@given(changes=CHANGES, layout=LAYOUTS, way=WAY, aside=st.booleans())
def test_changed_cells(known, changes, layout, way, aside):
    go(way, changed_tables(changes), layout, known, aside)


@tried(12)
@given(naming=namings(), kind=st.sampled_from(KINDS), way=WAY, aside=st.booleans(),
       encoding=st.sampled_from([name for name in ENCODINGS if name != "cp1252"]))  # fmt: skip
def test_hostile_names(known, naming, kind, way, aside, encoding):
    layout = LAYOUT | {"kind": kind, "encoding": encoding}
    go(way, renamed(changed_tables([]), naming), layout, known, aside)


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """The bytes of each file of good records, by kind."""
    files = {}
    for kind in KINDS:
        folder = tmp_path_factory.mktemp(kind)
        write(folder, changed_tables([]), LAYOUT | {"kind": kind})
        files[kind] = {file.name: file.read_bytes() for file in sorted(folder.iterdir())}
    return files


PLACES = st.integers(0, 1 << 20)
"""Places in a file, taken round and round: the length of a file may not be the same twice."""


@tried(12)
@given(kind=st.sampled_from(KINDS), file=st.integers(0, 2), cut=st.none() | PLACES,
       bytes_=st.lists(st.tuples(PLACES, st.integers(0, 255)), max_size=6),
       way=WAY, aside=st.booleans())  # fmt: skip
def test_changed_bytes_and_files_cut_off(known, good, kind, file, cut, bytes_, way, aside):
    files = good[kind]
    name = sorted(files)[file % len(files)]
    spoilt = bytearray(files[name])
    for at, byte in bytes_:
        spoilt[at % len(spoilt)] = byte
    left = len(spoilt) if cut is None else cut % len(spoilt)
    with tempfile.TemporaryDirectory() as place:
        source = Path(place) / "source"
        source.mkdir()
        path = written_again(source, kind, files | {name: bytes(spoilt[:left])})
        judge(way, path, Path(place) / "out", known, aside)


@pytest.mark.parametrize("way", [(True, verb) for verb in ("check", "calibrate", "price")])
def test_all_listed_names_at_once(known, way):
    """Six jobs at a time; those that the reader refuses are set aside."""
    for first in range(0, len(NAMES), 18):
        some = NAMES[first : first + 18]
        jobs = dict(enumerate(some[:6]))
        cells = [(("jobs", "crew"), place, name) for place, name in enumerate(some[6:12])]
        cells += [(("openings", "mark"), place, name) for place, name in enumerate(some[12:])]
        tables = renamed(changed_tables([]), (jobs, cells, some[0], True))
        go(way, tables, LAYOUT | {"kind": "csv"}, known, True)
