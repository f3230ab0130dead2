import json
from dataclasses import replace
from functools import partial
from unittest.mock import patch

import pandas as pd
import pytest

from airstats import material_table
from airstats.base.atomic_files import own_digest
from airstats.base.errors import AllowancesError
from airstats.catalog.materials import MATERIALS
from airstats.model.allowances import load_allowances, unchanged
from airstats.model.posterior import update
from airstats.model.quarterly_update import calibrate as calibrate_by
from airstats.model.quarterly_update import finished_jobs
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.sheet_quantities import Takeoff
from tests.invented import FEW, change, firm

TAPE = firm(frame_tape=0.25)
calibrate = partial(calibrate_by, prior=FEW)
NUMBERS = ["mean", "sd", "low", "high"]


@pytest.fixture(scope="module")
def known():
    return calibrate(TAPE)


def test_allowance_goes_from_the_prior_to_the_truth(known):
    row = material_table(known).loc["frame tape"]
    start = unchanged("2025Q1", product="frame tape").table().loc["waste"]
    assert start["mean"] == pytest.approx(MATERIALS["frame tape"].allowance[0])
    assert row["low"] < 0.25 < row["high"]
    assert row["sd"] < start["sd"] / 2
    told = ["unit", "driver", "pack", "pack_price", "jobs_used"]
    assert row[told].tolist() == ["m a m counted", "frame_tape_m", 25, 12, 24]


def test_engine_is_the_sheet_s_own():
    # One material, one quarter: the same numbers as `update` on the same interval data.
    records = firm(6, frame_tape=0.1)
    records = change(records, quarter="2025Q1")
    known = calibrate(records)
    jobs = finished_jobs(records)
    start = unchanged("2025Q1", product="frame tape").belief
    rows = records.materials
    amount = material_quantities(jobs, records.openings)["frame_tape_m"].to_numpy()
    packs = rows["used"].to_numpy()
    table = jobs.table[["job_id", "crew"]].assign(
        amount=amount, pack=25.0, low=(packs - 1) * 25, high=packs * 25
    )
    by_hand = update(start, Takeoff(table, "frame tape"))
    mean = by_hand.weight @ by_hand.mean[:, 0]
    assert material_table(known).loc["frame tape", "mean"] == pytest.approx(mean, abs=1e-9)


@pytest.fixture(scope="module")
def sheet_only():
    return calibrate(replace(TAPE, materials=TAPE.materials.iloc[:0]))


def test_a_firm_without_materials_has_none_and_the_same_sheet(known, sheet_only):
    assert sheet_only.materials == {}
    assert material_table(sheet_only).empty
    assert "material" not in sheet_only.to_text()
    pd.testing.assert_frame_equal(known.table(), sheet_only.table())


def test_late_rows_of_a_material_are_used_though_their_jobs_are_counted(sheet_only):
    now = calibrate(TAPE, sheet_only, "2025Q4")
    assert now.new_jobs == ()
    assert material_table(now).loc["frame tape", "jobs_used"] == 24


def test_file_carries_the_materials(known, tmp_path):
    known.save(tmp_path / "a.json")
    again = load_allowances(tmp_path / "a.json")
    pd.testing.assert_frame_equal(
        material_table(again)[NUMBERS].astype(float),
        material_table(known)[NUMBERS].astype(float),
        rtol=1e-8,
    )
    assert again.materials["frame tape"].job_ids == tuple(TAPE.jobs["job_id"])
    text = (tmp_path / "a.json").read_text(encoding="utf-8")
    assert text.index('"materials"') < text.index('"candidates"') < text.index('"material_cand')


@pytest.mark.parametrize(
    "damage",
    [
        lambda whole: whole["materials"]["frame tape"].pop("driver"),
        lambda whole: whole["materials"]["frame tape"].update(pack=0),
        lambda whole: whole["materials"]["frame tape"].update(unit=5),
        lambda whole: whole.pop("material_chains"),
        lambda whole: whole["material_chains"]["frame tape"].update(new_jobs=None),
        lambda whole: whole["material_chains"]["frame tape"].update(late_jobs=5),
        lambda whole: whole["material_chains"]["frame tape"].update(crews={"North": "x"}),
        lambda whole: whole["material_chains"]["frame tape"].update(suspects=5),
    ],
)
def test_damaged_blocks_are_refused_though_their_digest_is_forged(known, tmp_path, damage):
    content = json.loads(known.to_text())
    damage(content)
    forged = json.dumps(content | {"digest": own_digest(content)})
    (tmp_path / "a.json").write_text(forged, encoding="utf-8")
    with pytest.raises(AllowancesError, match=r"a\.json: damaged"):
        load_allowances(tmp_path / "a.json")


def test_quarter_by_quarter_through_files_is_all_at_once(known, tmp_path):
    previous = None
    for quarter in ("2025Q1", "2025Q2", "2025Q3", "2025Q4"):
        step = calibrate(TAPE, previous, quarter)
        step.save(tmp_path / "step.json")
        previous = tmp_path / "step.json"
    found, expected = (material_table(a).loc["frame tape"] for a in (step, known))
    for name in NUMBERS:
        assert found[name] == pytest.approx(expected[name], abs=1e-6)
    assert found["jobs_used"] == expected["jobs_used"] == 24


def test_jobs_count_once_for_each_material(known):
    again = calibrate(TAPE, known, "2025Q4")
    assert again.materials["frame tape"].new_jobs == ()
    assert material_table(again).loc["frame tape", NUMBERS].tolist() == pytest.approx(
        material_table(known).loc["frame tape", NUMBERS].tolist()
    )


def test_quarters_without_rows_or_without_the_material_carry_it_on(known):
    later = TAPE.jobs.assign(job_id="K" + TAPE.jobs["job_id"], quarter="2026Q1")
    openings = TAPE.openings.assign(job_id="K" + TAPE.openings["job_id"])
    records = replace(TAPE, jobs=later, openings=openings, materials=TAPE.materials.iloc[:0])
    now = calibrate(records, known, "2026Q1")
    before, after = (material_table(a).loc["frame tape"] for a in (known, now))
    assert after["mean"] == pytest.approx(before["mean"])
    assert after["sd"] > before["sd"]
    assert after["jobs_used"] == before["jobs_used"]
    with patch.dict(MATERIALS):
        del MATERIALS["frame tape"]
        now = calibrate(TAPE, known, "2025Q4")
    assert material_table(now).loc["frame tape", "jobs_used"] == 24


def test_wrong_count_is_named():
    rows = TAPE.materials.copy()
    rows.loc[20, "used"] += 12
    suspects = calibrate(replace(TAPE, materials=rows)).materials["frame tape"].suspects
    assert list(suspects) == ["J020"]
    assert suspects["J020"] > 0.9


def test_pack_and_price_of_the_last_row_are_kept():
    rows = TAPE.materials.assign(pack=[20.0] * 23 + [30.0])
    rows.loc[23, "pack_price"] = 14.5
    row = material_table(calibrate(replace(TAPE, materials=rows))).loc["frame tape"]
    assert (row["pack"], row["pack_price"]) == (30, 14.5)


def test_excluded_jobs_teach_nothing():
    lent = TAPE.jobs["exclude"].where(TAPE.jobs.index > 0, "half a roll lent")
    now = calibrate(change(TAPE, exclude=lent))
    assert "J000" not in now.materials["frame tape"].job_ids
    assert material_table(now).loc["frame tape", "jobs_used"] == 23


def test_a_job_in_which_nothing_is_counted_tells_no_share():
    """Without openings there is no frame to tape: what was used there is a share of nothing."""
    bare = replace(TAPE, openings=TAPE.openings[TAPE.openings["job_id"].ne("J005")])
    others = replace(bare, materials=TAPE.materials[TAPE.materials["job_id"].ne("J005")])
    bare, others = calibrate(bare), calibrate(others)
    found = bare.materials["frame tape"]
    assert "J005" not in found.job_ids
    assert len(found.job_ids) == 23
    pd.testing.assert_frame_equal(material_table(bare), material_table(others))
