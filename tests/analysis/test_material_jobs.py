"""The other materials' finished jobs: a split that adds up, and last value beside new."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from airstats.analysis.material_jobs import (
    MATERIAL_CAUSES,
    MATERIAL_NET,
    estimated_jobs,
    material_comparison,
    material_overrun,
    material_split,
    overrun_units,
    price_follows_count,
)
from airstats.analysis.overrun_split import each_cause
from airstats.model.quarterly_update import calibrate, learnt_materials
from tests.invented import firm

PRICED = {"frame tape": 2.0, "corner pieces": 9.0}


@cache
def learnt():
    """What the records teach."""
    return calibrate(RECORDS)


def priced(records):
    """The records with an estimate of each material: so many packs a job."""
    table = records.materials
    return replace(records, materials=table.assign(estimated=table["material"].map(PRICED)))


RECORDS = priced(firm(jobs=32, frame_tape=0.3, corner_pieces=0.05))


def test_every_part_of_the_split_is_in_one_cause():
    members = [member for members in MATERIAL_CAUSES.values() for member in members]
    reveals = {"reveal.diagonal", "reveal.centre", "reveal.lined"}
    assert sorted(members) == sorted(set(each_cause()) - reveals)
    net = [member for members in MATERIAL_NET.values() for member in members]
    assert sorted(net) == sorted(members)


@pytest.mark.parametrize("name", PRICED)
def test_the_parts_add_up_to_used_less_priced_in_packs_and_in_money(name):
    """Packs of two prices: the money is that of each job's own packs."""
    rows = RECORDS.materials
    dear = replace(RECORDS, materials=rows.assign(pack_price=12.0 + (rows.index % 2) * 5.0))
    one = {m.name: m for m in learnt_materials(dear, learnt())}[name]
    own = dear.materials[dear.materials["material"].eq(name)]
    over = own["used"] - own["estimated"]
    assert len(estimated_jobs(one.jobs).table) == len(own) == 32
    for unit, whole in (("packs", over.sum()), ("money", (over * own["pack_price"]).sum())):
        assert material_overrun(one.jobs, unit)["mean"] == pytest.approx(whole)
        for causes in (MATERIAL_CAUSES, MATERIAL_NET):
            split = material_split(one, unit, causes)
            assert split["mean"].sum() == pytest.approx(whole, abs=1e-9)
            assert (split["low"] <= split["mean"]).all()
            assert (split["mean"] <= split["high"]).all()


def test_jobs_without_estimate_or_price_or_materials_have_none():
    unpriced = replace(RECORDS, materials=RECORDS.materials.assign(pack_price=np.nan))
    for one in learnt_materials(unpriced, learnt()):
        assert overrun_units(one.jobs) == ("packs",)
        assert material_split(one)["mean"].notna().all()
    unpriced = replace(RECORDS, materials=RECORDS.materials.assign(estimated=np.nan))
    assert [len(estimated_jobs(one.jobs)) for one in learnt_materials(unpriced, learnt())] == [0, 0]
    records = firm(jobs=8)
    assert learnt_materials(records, calibrate(records)) == []
    assert material_comparison(records, None, calibrate(records)).empty


def test_a_price_follows_the_count_or_does_not():
    one = learnt_materials(RECORDS, learnt())[0]
    table, amount = one.jobs.table, one.jobs.table["amount"]
    for estimated, follows in ((0.0, False), (2.0, False), (amount / 50, True), (-amount, False)):
        told = replace(one.jobs, table=table.assign(estimated=estimated))
        assert price_follows_count(told) is follows
    assert price_follows_count(replace(one.jobs, table=table.head(3).assign(estimated=2.0)))


@pytest.mark.parametrize(
    ("ranks", "follows"),
    [
        # Rank correlations 0.771 and 0.714: one-sided, p = 0.036 and 0.055 (t, 4 degrees).
        ([1, 2, 5, 4, 3, 6], True),
        ([3, 2, 1, 4, 6, 5], False),
        ([5, 4, 3, 2, 1], True),
        ([6, 5, 4, 3, 2, 1], False),
    ],
)
def test_a_price_follows_the_count_from_one_chance_in_twenty_on_and_from_six_jobs_on(
    ranks, follows
):
    one = learnt_materials(RECORDS, learnt())[0]
    table = one.jobs.table.head(len(ranks))
    told = table.assign(amount=np.arange(1.0, len(ranks) + 1), estimated=ranks)
    assert price_follows_count(replace(one.jobs, table=told)) is follows


def test_what_nobody_counted_and_the_usual_rate_stand_apart():
    """Frame tape: 2 packs priced a job; the rest of the counted metres was not."""
    one = next(m for m in learnt_materials(RECORDS, learnt()) if m.name == "frame tape")
    split = material_split(one).set_index("cause")
    counted = one.jobs.amount.sum() / 25
    assert split.loc["not_counted", "mean"] == pytest.approx(counted - 2 * 32, abs=0.5 * 32 + 0.1)
    low, high = split.loc["waste", ["low", "high"]]
    assert low < 0.3 * counted < high
    assert split.loc["waste", "mean"] == pytest.approx(0.3 * counted, rel=0.15)


def test_a_rate_far_from_the_starting_belief_has_moved():
    table = material_comparison(RECORDS, None, learnt()).set_index("allowance")
    assert table.loc["frame tape", "verdict"] == "moved"
    assert table.loc["frame tape", "unit"] == "m a m counted"
    assert table.loc["corner pieces", "verdict"] in {"held", "not enough to tell"}
