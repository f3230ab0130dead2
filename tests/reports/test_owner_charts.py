import numpy as np
import pytest

from airstats.analysis.allowance_changes import crew_comparison
from airstats.analysis.overrun_views import by_quarter, usual_split
from airstats.backtests.against_real_prices import look_back
from airstats.reports import owner_charts
from airstats.reports.owner_text import job_split
from tests.invented import desk_of
from tests.pages import assert_drawn


@pytest.fixture(scope="module")
def pictures(desk):
    made = [
        owner_charts.cascade(usual_split(desk.jobs, desk.now), desk.jobs),
        owner_charts.job_cascade(job_split(desk, "J007"), desk.jobs),
        owner_charts.crews(crew_comparison(desk.jobs, desk.now)),
        owner_charts.quarters(by_quarter(desk.jobs, desk.now)),
        owner_charts.hindsight(look_back(desk.records)),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    assert list(pictures) == ["causes", "job_causes", "crews", "quarters", "hindsight"]
    for picture in pictures.values():
        assert_drawn(picture)


@pytest.mark.parametrize(("name", "job"), [("causes", None), ("job_causes", "J007")])
def test_cascade_goes_from_priced_to_used(desk, pictures, name, job):
    table = desk.jobs.table
    own = table if job is None else table[table["job_id"].eq(job)]
    over = own["used_rolls"].sum() - own["estimated_rolls"].sum()
    *causes, whole = pictures[name].figure.axes[0].patches
    assert causes[-1].get_x() + causes[-1].get_width() == pytest.approx(over, abs=1e-9)
    assert whole.get_width() == pytest.approx(over, abs=1e-9)
    assert f"used: {round(own['used_rolls'].sum(), 1):g} rolls" in pictures[name].alt


def test_takers_and_givers_differ_in_colour_and_sign(pictures):
    colours = {bar.get_facecolor() for bar in pictures["causes"].figure.axes[0].patches}
    assert len(colours) == 3
    assert "bare surface −" in pictures["causes"].alt
    assert "reveals +" in pictures["causes"].alt


def test_no_job_no_crew_and_a_quarter_of_one_job(desk):
    assert owner_charts.job_cascade(job_split(desk, "zzzz"), desk.jobs) is None
    assert owner_charts.crews(crew_comparison(desk.jobs, desk.now).iloc[:0]) is None
    assert owner_charts.hindsight(look_back(desk_of("2025Q1").records)) is None
    desk = desk_of(jobs=4)
    table = by_quarter(desk.jobs, desk.now)
    assert np.isinf(table.loc[table["cause"].eq("overrun"), "high"]).all()
    assert owner_charts.quarters(table).png()


def test_bars_of_hindsight_add_up(desk, pictures):
    table = look_back(desk.records).table
    heights = [bar.get_height() for bar in pictures["hindsight"].figure.axes[0].patches]
    rolls = table.iloc[1:3][["really", "foretold"]].to_numpy().sum()
    assert np.abs(heights).sum() == pytest.approx(rolls)
    assert f"{table['really'].iloc[1]:g} short" in pictures["hindsight"].alt
