"""From records to quantities: laps, openings, and what a count leaves open."""

import numpy as np
import pandas as pd
import pytest

from airstats.catalog.cut_patterns import CUTS
from airstats.records.reading import Records, read_records
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.sheet_quantities import take_off, used_interval
from tests.external_checks import agree

FOOT = 0.3048


def records(openings=(), **columns):
    """Return records of one job with these openings, or of as many jobs as a column has."""
    job = {
        "surface_m2": 300.0, "roll_width_m": 1.5, "roll_length_m": 50.0, "lap_mm": 100.0,
        "used_rolls": 5.0, "counted": "opened", "crew": "", "exclude": "",
    } | columns  # fmt: skip
    jobs = pd.DataFrame(job, index=range(np.size(next(iter(columns.values()), 0))))
    jobs.insert(0, "job_id", [f"J{row}" for row in range(len(jobs))])
    names = ["job_id", "count", "width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern"]
    table = pd.DataFrame(list(openings), columns=names)
    return Records(jobs, table, pd.DataFrame(), (), "jobs.csv", "sha256:0", ())


def quantities(openings=(), **columns):
    return take_off(records(openings, **columns)).table


def test_net_cover_of_a_roll():
    """Roll 1.5 x 50 m with laps of 50, 100 and 150 mm."""
    nets = []
    for lap_mm in (50.0, 100.0, 150.0):
        job = quantities(surface_m2=75.0, lap_mm=lap_mm).iloc[0]
        nets.append(75.0 * 75.0 / job["laid_m2"])
        assert job["lap_m2"] == pytest.approx(job["laid_m2"] - 75.0)
    agree("roll.net", nets)


def test_net_cover_of_building_felt():
    """Roll 36 in x 144 ft: 432 ft² (published value seen), with a 2 in lap 408 ft² (computed)."""
    job = quantities(
        surface_m2=408 * FOOT**2, roll_width_m=3 * FOOT, roll_length_m=144 * FOOT, lap_mm=50.8
    ).iloc[0]
    agree("felt.roll", job["roll_m2"] / FOOT**2)
    agree("felt.laid", job["laid_m2"] / FOOT**2)


def test_without_a_lap_the_surface_is_laid_and_without_openings_no_reveals():
    job = quantities(lap_mm=0.0).iloc[0]
    assert (job["laid_m2"], job["lap_m2"]) == (300.0, 0.0)
    table = quantities()
    assert table[[f"reveal_{cut}_m2" for cut in CUTS]].to_numpy().sum() == 0


WINDOW = (1230.0, 1480.0, 350.0)
"""Width and height of a national laboratory's reference window, mm (seen); the depth is ours."""


def test_crossed_openings_are_laid_and_lined_ones_are_not():
    rows = [("J0", 2, *WINDOW, 4, "diagonal"), ("J0", 1, *WINDOW, 4, "centre")]
    crossed = quantities(rows).iloc[0]
    lined = quantities([("J0", 3, *WINDOW, 4, "lined")]).iloc[0]
    assert crossed["laid_m2"] == pytest.approx(300 * 1.5 / 1.4)
    assert lined["net_surface_m2"] == pytest.approx(300 - 3 * 1.23 * 1.48)
    assert lined["laid_m2"] == pytest.approx((300 - 3 * 1.23 * 1.48) * 1.5 / 1.4)
    for job in (crossed, lined):
        assert job["opening_m2"] == pytest.approx(3 * 1.23 * 1.48)
        assert job["opening_count"] == 3


@pytest.mark.parametrize(("sides", "around_m"), [(4, 2 * (1.23 + 1.48)), (3, 2 * 1.48 + 1.23)])
@pytest.mark.parametrize("cut", CUTS)
def test_reveal_area(cut, sides, around_m):
    job = quantities([("J0", 5, *WINDOW, sides, cut)]).iloc[0]
    assert job[f"reveal_{cut}_m2"] == pytest.approx(5 * around_m * 0.35)
    assert job[f"reveal_length_{cut}_m"] == pytest.approx(5 * around_m)
    others = [f"reveal_{name}_m2" for name in CUTS if name != cut]
    assert job[others].sum() == 0


def test_openings_go_to_their_own_job():
    rows = [
        ("J1", 1, *WINDOW, 4, "diagonal"),
        ("J0", 2, *WINDOW, 4, "diagonal"),
        ("J1", 3, *WINDOW, 4, "diagonal"),
    ]
    table = quantities(rows, surface_m2=[200.0, 300.0, 400.0])
    one = 2 * (1.23 + 1.48) * 0.35
    assert table["reveal_diagonal_m2"].to_numpy() == pytest.approx([2 * one, 4 * one, 0.0])


def test_loose_pieces_are_those_of_the_openings():
    """Sums by cut of what `opening_quantities` says of one opening, at the job's roll width."""
    rows = [("J0", 2, *WINDOW, 4, "centre"), ("J0", 3, 900.0, 2100.0, 200.0, 3, "centre")]
    job = quantities(rows, roll_width_m=0.2).iloc[0]
    one = opening_quantities(records(rows).openings, roll_width_m=0.2)
    for name in ("needed", "fillable"):
        assert job[f"{name}_centre_m2"] == pytest.approx(one[f"{name}_m2"] @ [2, 3])
    assert job["needed_centre_m2"] > job["fillable_centre_m2"] > 0


def test_summary_of_a_job_counts_as_one_kind_of_opening(tmp_path):
    (tmp_path / "jobs.csv").write_text(
        "job_id,surface_m2,opening_count,opening_width_mm,opening_height_mm,reveal_mm,cut_pattern\n"
        "H1,300,12,1230,1480,350,centre\n"
        "H2,300,0,,,,\n"
    )
    table = take_off(read_records(tmp_path)).table
    assert table["reveal_centre_m2"].to_numpy() == pytest.approx(
        [12 * 2 * (1.23 + 1.48) * 0.35, 0.0]
    )
    assert table["opening_count"].to_numpy() == pytest.approx([12, 0])


@pytest.mark.parametrize(
    ("counted", "used", "low", "high"),
    [
        ("opened", 4.0, 3.0, 4.0),
        ("opened", 1.0, 0.0, 1.0),
        ("half", 3.5, 3.25, 3.75),
        ("quarter", 3.25, 3.125, 3.375),
        ("exact", 3.2, 3.195, 3.205),
        ("half", 0.1, 0.0, 0.35),
    ],
)
def test_interval_of_a_count(counted, used, low, high):
    found = used_interval(pd.Series([used]), pd.Series([counted]))
    assert [float(end.iloc[0]) for end in found] == pytest.approx([low, high])


def test_a_count_in_square_metres_and_kept_jobs_in_their_order():
    job = quantities(used_rolls=4.0, roll_width_m=3.0, roll_length_m=25.0).iloc[0]
    assert (job["used_low_m2"], job["used_high_m2"]) == (225.0, 300.0)
    given = records(surface_m2=[200.0, 300.0, 400.0])
    before = given.jobs.copy()
    taken = take_off(given)
    kept = taken.where(np.array([True, False, True]))
    assert list(kept.table["job_id"]) == ["J0", "J2"]
    assert len(taken) == 3
    pd.testing.assert_frame_equal(given.jobs, before)
