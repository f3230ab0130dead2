"""What is left on the last roll: metres by its diameter, and the use that follows."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from airstats.catalog.wound_roll import (
    CORE_MM,
    GAUGE_SD_MM,
    SHEET_MM,
    diameter_table,
    left_by_diameter,
    metres_left,
    sheet_mm,
    usual_full_mm,
)
from airstats.model.likelihood import interval_probability
from airstats.takeoff.measured_use import MEASURED
from tests.external_checks import agree
from tests.takeoff.test_sheet_quantities import quantities

OWN = {"full_diameter_mm": 170.0, "core_mm": 80.0}


def test_metres_by_the_ring_and_by_the_spiral():
    inch = 25.4
    thick = sheet_mm(5 * inch, 2 * inch, 1499.39 * inch / 1000)
    agree("roll.thickness", thick / inch)
    b = SHEET_MM / (2 * np.pi)
    diameters = np.array([90.0, 110.0, 135.0, 160.0, 170.0])
    spiral = [quad(lambda r: np.hypot(r, b) / b, 40.0, d / 2)[0] / 1000 for d in diameters]
    full = usual_full_mm(50.0, 80.0)
    assert (full, SHEET_MM) == pytest.approx((170.0, 0.353), abs=5e-4)
    agree("roll.spiral", metres_left(diameters, full, 80.0, 50.0), spiral)


def test_the_table_runs_from_the_core_to_the_full_roll():
    table = diameter_table()
    assert table["diameter_mm"].iloc[0] == 90.0
    assert table.iloc[-1].tolist() == pytest.approx([170.0, 50.0])
    assert (np.diff(table["left_m"]) > 0).all()
    own = diameter_table(full_mm=200.0, core_mm=95.0, length_m=75.0, step_mm=25.0)
    assert own["diameter_mm"].tolist() == [100.0, 125.0, 150.0, 175.0, 200.0]
    assert own["left_m"].iloc[1] == pytest.approx(75 * (125**2 - 95**2) / (200**2 - 95**2))


def test_metres_left_give_the_use_to_a_metre_or_two():
    job = quantities(used_rolls=5.0, left_m=20.0, brought_m=np.nan).iloc[0]
    assert (job["used_rolls"], job["counted"]) == (4.6, MEASURED)
    half = np.sqrt(3) * 1.0 * 1.5
    assert job["used_low_m2"] == pytest.approx(230 * 1.5 - half)
    assert job["used_high_m2"] == pytest.approx(230 * 1.5 + half)
    none = quantities(used_rolls=5.0, left_m=0.0).iloc[0]
    assert none["used_high_m2"] == 375.0
    with_store = quantities(used_rolls=5.0, left_m=20.0, brought_m=12.0).iloc[0]
    assert with_store["used_rolls"] == 4.84
    assert with_store["used_high_m2"] - with_store["used_low_m2"] > 2 * half


def test_part_rolls_from_the_store_move_an_open_count():
    job = quantities(used_rolls=5.0, brought_m=20.0, left_m=np.nan).iloc[0]
    slack = np.sqrt(3) * 1.5
    assert (job["used_rolls"], job["counted"]) == (5.4, "opened")
    assert job["used_low_m2"] == pytest.approx(300 + 30 - slack)
    assert job["used_high_m2"] == pytest.approx(375 + 30 + slack)
    from_store = quantities(used_rolls=0.0, brought_m=20.0, left_m=4.0).iloc[0]
    assert from_store["used_low_m2"] < 24.0 < from_store["used_high_m2"]


def test_kinds_of_counting_mix_and_blank_is_no_measure():
    table = quantities(
        used_rolls=[5.0, 5.0, 4.5, 5.0], counted=["opened", "opened", "half", "opened"],
        left_m=[np.nan, 20.0, np.nan, np.nan], left_diameter_mm=[np.nan, np.nan, np.nan, 150.0],
        **OWN,
    )  # fmt: skip
    assert table["counted"].tolist() == ["opened", MEASURED, "half", MEASURED]
    assert table["used_low_m2"].iloc[[0, 2]].tolist() == [300.0, 4.25 * 75]
    assert table["used_high_m2"].iloc[[0, 2]].tolist() == [375.0, 4.75 * 75]
    assert table["used_rolls"].iloc[3] == pytest.approx(
        5 - metres_left(150, 170, 80, 50) / 50, abs=0.005
    )


def test_error_of_the_diameter_is_that_of_gauge_full_roll_and_core():
    """Against drawing every measure anew."""
    rng = np.random.default_rng(5)
    job = quantities(used_rolls=[5.0], left_diameter_mm=[140.0], **OWN)
    drawn = [rng.uniform(-5, 5, 200_000) + at for at in (140.0, 170.0, 80.0)]
    left = metres_left(*drawn, 50.0)
    half = (job["used_high_m2"] - job["used_low_m2"]).iloc[0] / 2 / 1.5
    assert half / np.sqrt(3) == pytest.approx(left.std(), rel=0.02)
    assert (job["used_low_m2"] + job["used_high_m2"]).iloc[0] / 3 == pytest.approx(
        250 - left.mean(), abs=0.1
    )


def test_a_usual_roll_tells_less_than_the_firms_own():
    names = {"used_rolls": [5.0] * 3, "left_diameter_mm": [85.0, 140.0, 170.0]}
    own, usual = quantities(**names, **OWN), quantities(**names)
    width = {k: (t["used_high_m2"] - t["used_low_m2"]).to_numpy() for k, t in
             (("own", own), ("usual", usual))}  # fmt: skip
    assert (width["usual"] > 1.5 * width["own"]).all()
    assert (width["usual"] <= 75.0).all()
    assert (own["used_high_m2"] <= 375.0).all()
    assert (own["used_low_m2"] >= 300.0).all()
    full = quantities(used_rolls=[5.0], left_diameter_mm=[140.0], roll_length_m=25.0, core_mm=80.0)
    assert full["used_high_m2"].iloc[0] == pytest.approx(5 * 25 * 1.5)


def test_the_interval_leads_the_likelihood_nowhere_else_than_the_normal_error():
    """Half width √3 sd: within a hundredth of the exact log-likelihood, two sd either side."""
    sd_error, sd_jobs = 1.5 * 2.6, 13.0
    half = np.sqrt(3) * sd_error
    off = np.linspace(-2, 2, 41) * sd_jobs
    by_interval = np.log(interval_probability(off, sd_jobs, -half, half) / (2 * half))
    exact = norm.logpdf(off, scale=np.hypot(sd_jobs, sd_error))
    assert np.abs(by_interval - exact).max() < 0.01


def test_numbers_of_a_roll_that_a_firm_does_not_give():
    table = quantities(
        used_rolls=[5.0], left_diameter_mm=[140.0], full_diameter_mm=np.nan, core_mm=np.nan
    )
    left, _ = left_by_diameter(table)
    assert left[0] == pytest.approx(metres_left(140.0, usual_full_mm(50.0), CORE_MM, 50.0))
    assert pytest.approx(2.887, abs=0.001) == GAUGE_SD_MM
