import pytest

from airstats.takeoff.typed_job import OneJob, one_job


def test_the_quantities_of_a_typed_job():
    # 200 m² x 1.5 / 1.4; 12 openings x 2 x (1.2 + 1.4) m x 0.35 m: worked by hand.
    row = one_job(OneJob()).table.iloc[0]
    assert row["laid_m2"] == pytest.approx(214.2857, abs=1e-4)
    assert row["reveal_centre_m2"] == pytest.approx(21.84)
    assert row["reveal_diagonal_m2"] == row["reveal_lined_m2"] == 0
    assert row["roll_m2"] == 75


def test_a_lined_opening_comes_off_the_surface_and_none_is_none():
    lined = one_job(OneJob(cut_pattern="lined")).table.iloc[0]
    assert lined["net_surface_m2"] == pytest.approx(200 - 12 * 1.2 * 1.4)
    assert one_job(OneJob(count=0)).table.iloc[0]["reveal_centre_m2"] == 0
