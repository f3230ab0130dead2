"""The same input gives the same bytes: on any cores, in any order of rows, under any names."""

from dataclasses import replace
from functools import cache, partial

import numpy as np
import pandas as pd
import pytest
from threadpoolctl import threadpool_limits

from airstats.model.posterior import JOBS_AT_A_TIME, starting_belief, update_and_judge
from airstats.model.quarterly_update import calibrate as calibrate_by
from airstats.model.quarterly_update import finished_jobs
from airstats.records.reading import read_records
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark.worlds import World, invent_firm
from tests.invented import FEW, firm, invent, same_belief, save

FIRM = invent_firm(World("small", jobs=60, quarters=5), 3).records
SEEDS = range(3)
calibrate = partial(calibrate_by, prior=FEW)


@cache
def learnt():
    return calibrate(FIRM)


def shuffled(table, seed):
    order = np.random.default_rng(seed).permutation(len(table))
    return table.iloc[order].reset_index(drop=True)


def in_any_order(records, seed):
    """The same records, every table's rows in another order."""
    return replace(
        records,
        jobs=shuffled(records.jobs, seed),
        openings=shuffled(records.openings, seed + 100),
        materials=shuffled(records.materials, seed + 200),
    )


def renamed(records, name):
    """The same records under other job names."""
    jobs, openings = records.jobs, records.openings
    return replace(
        records,
        jobs=jobs.assign(job_id=jobs["job_id"].map(name)),
        openings=openings.assign(job_id=openings["job_id"].map(name)),
    )


def test_the_same_bytes_on_one_core_and_on_two():
    """3,000 jobs are enough for the library of linear algebra to share sums out among threads."""
    records, shown = invent_firm(World("w", jobs=3000, quarters=1), 3).records, set()
    for cores in (1, 2):
        with threadpool_limits(cores, "blas"):
            known = calibrate(records)
        shown.add((known.to_text(), known.belief.mean.tobytes()))
    assert len(shown) == 1


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_rows_plays_no_part(seed):
    assert calibrate(in_any_order(FIRM, seed)).to_text() == learnt().to_text()


def test_nor_do_materials_and_files_but_for_their_digest(tmp_path):
    """Two jobs end on one day with packs of different sizes: the last is the same in any order."""
    records = firm(joint_tape=0.1, corner_pieces=0.05)
    packs = np.where(np.arange(len(records.materials)) % 2, 20.0, 25.0)
    records = replace(records, materials=records.materials.assign(pack=packs))
    whole = calibrate(records).to_text()
    assert all(calibrate(in_any_order(records, s)).to_text() == whole for s in SEEDS)
    records = invent(jobs=24)
    one, other = (
        calibrate(read_records(save(tmp_path / name, made)))
        for name, made in (("one", records), ("other", in_any_order(records, 1)))
    )
    assert one.records != other.records
    assert replace(one, records="").to_text() == replace(other, records="").to_text()


def test_more_jobs_than_move_the_belief_at_once_keep_their_verdict_in_any_order():
    records = invent_firm(World("large", jobs=JOBS_AT_A_TIME + 500, quarters=1), 2).records
    assert calibrate(in_any_order(records, 1)).to_text() == calibrate(records).to_text()
    # A wrong record is named in whatever turn it comes.
    used = records.jobs["used_rolls"].to_numpy().copy()
    used[[7, 4400]] += 40
    jobs = take_off(replace(records, jobs=records.jobs.assign(used_rolls=used)))
    wrong = update_and_judge(starting_belief(FEW), jobs)[1]
    assert set(np.argsort(wrong)[-2:]) == {7, 4400}
    assert wrong[[7, 4400]].min() > 0.99


def test_a_takeoff_keeps_its_order_and_jobs_are_fitted_in_that_of_finishing():
    records = in_any_order(FIRM, 1)
    assert list(take_off(records).table["job_id"]) == list(records.jobs["job_id"])
    table = finished_jobs(in_any_order(FIRM, 1)).table
    assert table[["finished_on", "job_id"]].apply(tuple, axis=1).is_monotonic_increasing


def test_jobs_of_which_only_the_quarter_is_told_teach_the_same():
    blank = FIRM.jobs.assign(finished_on=pd.NaT)
    told = finished_jobs(replace(FIRM, jobs=blank)).table
    assert told["quarter"].is_monotonic_increasing
    assert calibrate(replace(FIRM, jobs=blank)).to_text() == learnt().to_text()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_jobs_openings_add_up_to_the_same_bits(seed):
    """Plain sums of such numbers differ in the last bits by their order."""
    openings = pd.concat([FIRM.openings.assign(width_mm=FIRM.openings["width_mm"] / 3)] * 3)
    records = replace(FIRM, openings=openings.reset_index(drop=True))
    mixed = replace(records, openings=shuffled(records.openings, seed))
    pd.testing.assert_frame_equal(take_off(records).table, take_off(mixed).table, check_exact=True)


@pytest.mark.parametrize("name", [lambda i: f"X{i}", lambda i: i[::-1]], ids=["front", "backwards"])
def test_names_of_jobs_change_nothing_but_the_names(name):
    """Not even if they sort another way."""
    one, other = learnt(), calibrate(renamed(FIRM, name))
    same_belief(one.belief, other.belief)
    assert np.array_equal(one.belief.mean, other.belief.mean)
    assert set(map(name, one.job_ids)) == set(other.job_ids)
    assert {name(job): chance for job, chance in one.suspects.items()} == other.suspects
    bare = {"job_ids": (), "new_jobs": (), "suspects": {}}
    assert replace(one, **bare).to_text() == replace(other, **bare).to_text()
