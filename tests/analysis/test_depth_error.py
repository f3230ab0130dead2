import numpy as np
import pandas as pd
import pytest

from airstats.analysis.depth_error import depth_reliability
from airstats.takeoff.sheet_quantities import Takeoff

RNG = np.random.default_rng(7)


def jobs_with(depth_mm, length_m, laid_m2):
    """Jobs with diagonal reveals only."""
    nothing = {f"reveal_{cut}_m2": 0.0 for cut in ("centre", "lined")}
    nothing |= {f"reveal_length_{cut}_m": 0.0 for cut in ("centre", "lined")}
    table = pd.DataFrame({"laid_m2": laid_m2, "reveal_length_diagonal_m": length_m, **nothing})
    return Takeoff(table.assign(reveal_diagonal_m2=np.asarray(length_m) * depth_mm / 1000))


def test_alike_jobs_give_the_textbook_ratio():
    # Fuller (1987), section 1.1: kept = var(true) / (var(true) + var(error)).
    depth = RNG.normal(350, np.hypot(60, 20), 20_000)
    found = depth_reliability(jobs_with(depth, 60.0, np.full(len(depth), 300.0)), 20.0).iloc[0]
    assert found["kept"] == pytest.approx(60**2 / (60**2 + 20**2), abs=0.01)
    assert found["depth_sd_mm"] == pytest.approx(np.hypot(60, 20), rel=0.03)


def test_the_slope_of_rough_depths_is_pulled_as_far_as_said():
    laid = RNG.uniform(180, 420, 40_000)
    length, depth = RNG.uniform(40, 110, len(laid)), RNG.normal(350, 30, len(laid))
    used = 0.07 * laid + 0.4 * length * depth / 1000 + RNG.normal(0, 13, len(laid))
    rough = depth + RNG.normal(0, 80, len(laid))
    jobs = jobs_with(rough, length, laid)
    columns = jobs.columns(["laid_m2", "reveal_diagonal_m2"])
    slope = np.linalg.lstsq(columns, used, rcond=None)[0][1]
    kept = depth_reliability(jobs, 80.0)["kept"].iloc[0]
    assert kept < 0.9
    assert slope / 0.4 == pytest.approx(kept, abs=0.03)


def test_reveals_that_the_laid_area_foretells_tell_nothing_and_cuts_without_jobs_are_left_out(desk):
    laid = np.linspace(200, 400, 20)
    assert depth_reliability(jobs_with(350.0, laid / 5, laid), 20.0)["kept"].iloc[0] == 0
    assert list(depth_reliability(desk.jobs)["cut"]) == ["diagonal", "centre"]
    assert depth_reliability(desk.jobs, 0.0)["kept"].to_list() == [1.0, 1.0]
    assert depth_reliability(desk.jobs.where(np.zeros(48, bool))).empty


def test_jobs_whose_depths_nobody_knows_have_no_rough_ones():
    laid, length, depth = RNG.uniform(180, 420, 60), RNG.uniform(40, 110, 60), np.full(60, 300.0)
    measured = jobs_with(RNG.normal(350, 30, 60), length, laid).table
    unknown = jobs_with(depth, np.full(60, np.nan), laid).table
    tables = [measured.assign(unmeasured=""), unknown.assign(unmeasured="openings")]
    both = depth_reliability(Takeoff(pd.concat(tables, ignore_index=True)))
    pd.testing.assert_frame_equal(both, depth_reliability(Takeoff(measured)))
    assert depth_reliability(Takeoff(tables[1])).empty
