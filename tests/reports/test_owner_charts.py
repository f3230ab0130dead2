import numpy as np
import pytest

from airstats.analysis.allowance_changes import crew_comparison
from airstats.analysis.overrun_views import by_quarter, overrun_by_reveals, usual_split
from airstats.reports import owner_charts
from airstats.reports.desk import lay_out
from airstats.reports.owner_text import job_split
from tests.invented import counted_whole, desk_of, invent
from tests.pages import assert_drawn


@pytest.fixture(scope="module")
def pictures(desk):
    made = [
        owner_charts.cascade(usual_split(desk.jobs, desk.now), desk.jobs),
        owner_charts.job_cascade(job_split(desk, "J007"), desk.jobs),
        owner_charts.crews(crew_comparison(desk.jobs, desk.now)),
        owner_charts.quarters(by_quarter(desk.jobs, desk.now), ["overrun", "reveals"]),
        owner_charts.by_reveals(overrun_by_reveals(desk.jobs, desk.now)),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    assert list(pictures) == ["causes", "job_causes", "crews", "quarters", "reveals"]
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
    assert "held in the price −" in pictures["causes"].alt
    assert "reveals +" in pictures["causes"].alt


def test_no_job_no_crew_and_a_quarter_of_one_job(desk):
    assert owner_charts.job_cascade(job_split(desk, "zzzz"), desk.jobs) is None
    assert owner_charts.crews(crew_comparison(desk.jobs, desk.now).iloc[:0]) is None
    one = desk_of(jobs=1)
    assert owner_charts.by_reveals(overrun_by_reveals(one.jobs, one.now)) is None
    desk = desk_of(jobs=4)
    table = by_quarter(desk.jobs, desk.now)
    assert np.isinf(table.loc[table["cause"].eq("overrun"), "high"]).all()
    assert owner_charts.quarters(table, ["overrun"]).png()


def test_each_job_is_a_dot_in_its_counted_interval_and_misses_are_named(desk, pictures):
    data = pictures["reveals"].data
    axes = pictures["reveals"].figure.axes[0]
    dots = np.vstack([line.get_xydata() for line in axes.lines if line.get_marker() == "o"])
    assert len(dots) == len(desk.jobs)
    middle = (data["low_rolls"] + data["high_rolls"]) / 2
    np.testing.assert_allclose(np.sort(dots[:, 1]), np.sort(middle))
    missed = set(data.loc[data["missed"], "job_id"])
    named = {text.get_text() for text in axes.texts} & set(desk.jobs.table["job_id"])
    assert named <= missed
    alone = desk_of(jobs=12)
    table = overrun_by_reveals(alone.jobs, alone.now).assign(missed=False)
    table.loc[4, "missed"] = True
    words = owner_charts.by_reveals(table).figure.axes[0].texts
    assert table["job_id"][4] in {text.get_text() for text in words}


def test_the_line_of_nothing_ends_before_the_words(pictures):
    axes, table = pictures["reveals"].figure.axes[0], pictures["reveals"].data
    level = [path for part in axes.collections for path in part.get_paths()]
    nothing = [path.vertices for path in level if (path.vertices[:, 1] == 0).all()]
    assert len(nothing) == 1
    assert nothing[0][:, 0].max() == table["reveal_m2"].max()
    assert not any((line.get_ydata() == 0).all() for line in axes.lines)


def test_no_job_hides_what_is_foretold(pictures):
    axes = pictures["reveals"].figure.axes[0]
    solid = [line.zorder for line in axes.lines if line.get_linestyle() == "-"]
    assert solid
    assert min(solid) > max(marks.zorder for marks in axes.collections[:2])


def test_dots_half_a_roll_below_the_count_are_said_to_be(pictures):
    said = "\ndot: half a roll below a whole-roll count"
    assert said not in pictures["reveals"].figure.axes[0].get_xlabel()
    records = counted_whole(invent(jobs=24))
    desk = lay_out(records)
    picture = owner_charts.by_reveals(overrun_by_reveals(desk.jobs, desk.now))
    assert said in picture.figure.axes[0].get_xlabel()
    assert_drawn(picture)
    over = records.jobs["used_rolls"] - records.jobs["estimated_rolls"]
    dots = picture.data[["low_rolls", "high_rolls"]].mean(axis=1)
    np.testing.assert_allclose(dots, over - 0.5)


def test_no_whisker_of_a_cascade_is_cut_off(desk):
    split = usual_split(desk.jobs, desk.now)
    split.loc[0, ["mean", "low", "high"]] = -80.0, -160.0, 0.0
    picture = owner_charts.cascade(split, desk.jobs)
    assert picture.figure.axes[0].get_xlim()[0] < -160
    assert_drawn(picture)
