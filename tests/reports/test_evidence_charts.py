from statistics import NormalDist

import numpy as np
import pytest

from airstats.analysis.between_firms import firm_table
from airstats.analysis.regressions import find_influence, plain_regression, regression_frame
from airstats.analysis.sensitivity import leave_each_out
from airstats.backtests.forecast_checks import quantile_calibration
from airstats.backtests.rolling import backtest
from airstats.reports import evidence_charts
from tests.invented import desk_of
from tests.pages import assert_drawn


@pytest.fixture(scope="module")
def pictures(desk):
    result = backtest(desk.records)
    firms = {"own": desk.jobs, "other": desk_of(factor=0.2, seed=4).jobs}
    made = [
        evidence_charts.residuals(find_influence(plain_regression(regression_frame(desk.jobs)))),
        evidence_charts.backtest_costs(result),
        evidence_charts.calibration(quantile_calibration(result)),
        evidence_charts.left_out(leave_each_out(desk.jobs)),
        evidence_charts.firms(firm_table(firms)),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    assert list(pictures) == ["residuals", "backtest", "calibration", "left_out", "firms"]
    for picture in pictures.values():
        assert_drawn(picture)


def test_residuals_name_jobs_and_lie_at_the_quantiles_of_their_ranks(desk, pictures):
    points = plain_regression(regression_frame(desk.jobs)).points
    for job in points.nlargest(3, "cooks")["job_id"]:
        assert job in pictures["residuals"].alt
    data = pictures["residuals"].data
    assert data["normal_quantile"].rank().to_list() == data["studentised"].rank().to_list()
    # Blom's position of the largest of 48: (48 - 3/8) / (48 + 1/4).
    largest = NormalDist().inv_cdf(47.625 / 48.25)
    assert data["normal_quantile"].max() == pytest.approx(largest)
    assert data["normal_quantile"].sum() == pytest.approx(0, abs=1e-9)


def test_cooks_distance_line_meets_a_job_on_it(pictures):
    # On the dashed line r² h / (p (1 - h)) is 4/n at every leverage.
    far = pictures["residuals"].figure.axes[2]
    terms = round(pictures["residuals"].data["leverage"].sum())
    lines = [line for line in far.get_lines() if line.get_linestyle() == "--"]
    h, r = (np.asarray(values) for values in lines[0].get_data())
    np.testing.assert_allclose(r**2 * h / (terms * (1 - h)), 4 / 48)


def test_calibration_says_what_chance_allows_and_left_out_shows_ten_jobs(pictures):
    assert "below the 10 % point" in pictures["calibration"].alt
    assert "chance allows" in pictures["calibration"].alt
    data = pictures["left_out"].data
    assert len(data) == 10
    assert data["move_sd"].abs().is_monotonic_decreasing


def test_every_firm_has_its_mark_in_every_panel(pictures):
    panels = pictures["firms"].figure.axes
    assert [axes.get_title(loc="left") for axes in panels] == [
        "waste", "reveal.diagonal", "reveal.centre", "reveal.lined",
    ]  # fmt: skip
    assert all(len(axes.get_yticks()) == 2 for axes in panels)
