"""Lengths and corners against arithmetic done by hand, and laps against published values."""

from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airstats.catalog.cut_patterns import CUTS
from airstats.records.reading import Records
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.per_material import driver_quantity, material_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.external_checks import agree

FOOT_M = 0.3048


def one_job(surface=200.0, openings=(), roll=(1.5, 50.0), lap=100.0, **more):
    usual = {
        "job_id": "A", "surface_m2": surface, "roll_width_m": roll[0], "roll_length_m": roll[1],
        "lap_mm": lap, "crew": "", "exclude": "", "used_rolls": 4.0, "counted": "opened",
        "finished": True, "quarter": "2026Q1",
    }  # fmt: skip
    columns = ["job_id", "count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern"]
    table = pd.DataFrame([("A", *row) for row in openings], columns=columns)
    jobs = pd.DataFrame([usual | more])
    return Records(jobs, table, pd.DataFrame(), (), "one job", "sha256:0", ())


def quantities(*args, **more):
    records = one_job(*args, **more)
    return material_quantities(take_off(records), records.openings).iloc[0]


WINDOW = (3, 1230.0, 1480.0, 350.0, 4, "diagonal")
DOOR = (1, 1000.0, 2100.0, 350.0, 3, "lined")


@pytest.mark.parametrize(("lap_mm", "net_m2"), [(50, 72.5), (100, 70.0), (150, 67.5)])
def test_what_a_roll_covers_needs_one_roll_length_of_joint(lap_mm, net_m2):
    # Roll of 1.5 x 50 m, net cover computed, two implementations agree.
    found = quantities(net_m2, lap=float(lap_mm))
    assert found["course_joint_m"] == pytest.approx(50.0)


def test_a_roll_of_building_felt_and_butt_joints_of_a_width():
    # Roll of 36 in x 144 ft, 2 in lap, 408 ft² of cover: published value seen.
    roll = (3 * FOOT_M, 144 * FOOT_M)
    found = quantities(408 * FOOT_M**2, roll=roll, lap=FOOT_M / 6 * 1000)
    assert found["course_joint_m"] / FOOT_M == pytest.approx(144.0)
    assert found["butt_joint_m"] / FOOT_M == pytest.approx(3.0)
    rolls = take_off(one_job(280.0)).table["laid_m2"].iloc[0] / 75
    assert quantities(280.0)["butt_joint_m"] == pytest.approx(rolls * 1.5)


def test_frame_tape_follows_the_lined_sides_and_corners_are_four_a_window_and_two_a_door():
    found = quantities(openings=[WINDOW, DOOR], pretaped_share=0.0)
    assert found["lined_edge_m"] == pytest.approx(3 * 2 * (1.23 + 1.48) + 2 * 2.1 + 1.0)
    assert found["frame_tape_m"] == pytest.approx(found["lined_edge_m"])
    # Common practice, no source.
    agree("corner.count", found["corner_pieces"])


def test_windows_taped_beforehand_need_neither_tape_nor_piece():
    plain, usual = (
        quantities(openings=[WINDOW], **share) for share in ({"pretaped_share": 0.0}, {})
    )
    for name in ("frame_tape_m", "corner_pieces"):
        agree("taped.beforehand", 1 - usual[name] / plain[name])
    assert usual["joint_m"] == plain["joint_m"]


def test_corner_method_changes_tape_pieces_and_minutes():
    by = {
        method: quantities(openings=[WINDOW], pretaped_share=0.0, corner_method=method)
        for method in ("folded", "two_tapes", "pieces")
    }
    extra = by["two_tapes"]["frame_tape_m"] - by["folded"]["frame_tape_m"]
    agree("corner.tapes", extra / 12 * 1000)
    assert [by[m]["corner_pieces"] for m in by] == [0, 0, 12]
    assert len({by[m]["corner_minutes"] for m in by}) == 3


@pytest.mark.parametrize("cut", CUTS)
def test_joints_of_pieces_are_those_of_the_geometry(cut):
    row = (*WINDOW[:-1], cut)
    records = one_job(openings=[row])
    each = opening_quantities(records.openings)["joint_m"].iloc[0]
    found = material_quantities(take_off(records), records.openings).iloc[0]
    assert found[f"piece_joint_{cut}_m"] == pytest.approx(3 * each)
    others = [f"piece_joint_{other}_m" for other in CUTS if other != cut]
    assert found[others].eq(0).all()


def test_joint_is_the_sum_of_its_parts_and_what_is_not_told_is_not_guessed():
    found = quantities(openings=[WINDOW, DOOR], perimeter_m=41.0)
    assert found["perimeter_m"] == 41
    parts = ["course_joint_m", "butt_joint_m", "perimeter_m", *(f"piece_joint_{c}_m" for c in CUTS)]
    assert found["joint_m"] == pytest.approx(found[parts].sum())
    bare = quantities()
    assert pd.isna(bare["sealant_m"])
    assert bare["perimeter_m"] == 0
    assert quantities(sealant_m=18.5)["sealant_m"] == 18.5


def test_driver_may_be_a_column_of_the_firm_s_own():
    records = one_job(Anchors="12,5", colour="red")
    jobs = take_off(records)
    counted = material_quantities(jobs, records.openings)
    for name, told in (("Anchors", [12.5]), ("surface_m2", [200.0])):
        assert driver_quantity(jobs, counted, name).tolist() == told
    for name in ("colour", "not kept"):
        assert pd.isna(driver_quantity(jobs, counted, name)).all()


def test_openings_of_other_jobs_are_passed_over():
    records = one_job(openings=[WINDOW])
    stranger = records.openings.assign(job_id="B")
    more = replace(records, openings=pd.concat([records.openings, stranger], ignore_index=True))
    jobs = take_off(records)
    pd.testing.assert_frame_equal(
        material_quantities(jobs, more.openings), material_quantities(jobs, records.openings)
    )


@settings(max_examples=30, deadline=None)
@given(
    count=st.integers(1, 9),
    width=st.floats(400, 3000),
    height=st.floats(400, 3000),
    sides=st.sampled_from([3, 4]),
    cut=st.sampled_from(list(CUTS)),
)
def test_quantities_are_in_proportion_to_the_count(count, width, height, sides, cut):
    firm = one_job(5000.0, [(n, width, height, 200.0, sides, cut) for n in (1, count)])
    jobs = pd.concat([firm.jobs, firm.jobs.assign(job_id="B")], ignore_index=True)
    both = replace(firm, jobs=jobs, openings=firm.openings.assign(job_id=["A", "B"]))
    found = material_quantities(take_off(both), both.openings)
    for name in ("lined_edge_m", "frame_tape_m", "corner_pieces", f"piece_joint_{cut}_m"):
        assert found[name][1] == pytest.approx(count * found[name][0])
