"""The other materials' finished jobs: a split that adds up, and last value beside new."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airstats.material_jobs import (
    MATERIAL_CAUSE_WORDS,
    MATERIAL_CAUSES,
    material_comparison,
    material_jobs,
    material_split,
)
from airstats.overrun import CAUSES
from airstats.quarterly import calibrate
from tests.material_firm import firm

PRICED = {"frame tape": 2.0, "corner pieces": 9.0}


def priced(records):
    """The records with an estimate of each material: so many packs a job."""
    table = records.materials
    return replace(records, materials=table.assign(estimated=table["material"].map(PRICED)))


RECORDS = priced(firm(jobs=32, frame_tape=0.3, corner_pieces=0.05))
NOW = calibrate(RECORDS)


def test_every_part_of_the_split_is_in_one_cause():
    members = [member for members in MATERIAL_CAUSES.values() for member in members]
    reveals = {"reveal.diagonal", "reveal.centre", "reveal.lined"}
    assert sorted(members) == sorted(set(CAUSES) - reveals)
    assert set(MATERIAL_CAUSES) == set(MATERIAL_CAUSE_WORDS)


@pytest.mark.parametrize("name", PRICED)
def test_the_parts_add_up_to_used_less_priced(name):
    one = {m.name: m for m in material_jobs(RECORDS, NOW)}[name]
    table = one.priced().table
    own = RECORDS.materials[RECORDS.materials["material"].eq(name)]
    over = (own["used"] - own["estimated"]).sum()
    assert len(table) == len(own) == 32
    assert material_split(one)["mean"].sum() == pytest.approx(over, abs=1e-9)


def test_what_nobody_counted_and_the_usual_rate_stand_apart():
    """Frame tape: 2 packs priced a job; the rest of the counted metres was not."""
    one = next(m for m in material_jobs(RECORDS, NOW) if m.name == "frame tape")
    split = material_split(one).set_index("cause")
    counted = one.jobs.table["laid_m2"].sum() / 25
    assert split.loc["not_counted", "mean"] == pytest.approx(counted - 2 * 32, abs=0.5 * 32 + 0.1)
    low, high = split.loc["waste", ["low", "high"]]
    assert low < 0.3 * counted < high
    assert split.loc["waste", "mean"] == pytest.approx(0.3 * counted, rel=0.15)


def test_a_job_without_an_estimate_is_not_split():
    table = RECORDS.materials
    unpriced = replace(RECORDS, materials=table.assign(estimated=np.nan))
    assert [len(one.priced()) for one in material_jobs(unpriced, calibrate(unpriced))] == [0, 0]


def test_a_firm_without_materials_has_none():
    records = firm(jobs=8)
    assert list(material_jobs(records, calibrate(records))) == []
    assert material_comparison(records, None, calibrate(records)).empty


def test_a_rate_far_from_the_starting_belief_has_moved():
    table = material_comparison(RECORDS, None, NOW).set_index("allowance")
    assert table.loc["frame tape", "verdict"] == "moved"
    assert table.loc["frame tape", "unit"] == "m a m counted"
    assert table.loc["corner pieces", "verdict"] in {"held", "not enough to tell"}
