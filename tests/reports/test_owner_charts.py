import re

import numpy as np
import pandas as pd
import pytest

from airstats.analysis.allowance_changes import crew_comparison
from airstats.analysis.overrun_split import NET
from airstats.analysis.overrun_views import (
    by_quarter,
    groups_by_reveals,
    overrun_by_reveals,
    usual_split,
)
from airstats.reports import owner_charts
from airstats.reports.desk import lay_out
from airstats.reports.owner_text import job_split
from tests.invented import counted_whole, desk_of, invent
from tests.pages import assert_drawn
from tests.text_on_pictures import text_faults


@pytest.fixture(scope="module")
def pictures(desk):
    made = [
        owner_charts.cascade(usual_split(desk.jobs, desk.now, causes=NET), desk.jobs),
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


def test_takers_and_givers_differ_in_colour_and_sign(desk):
    split = usual_split(desk.jobs, desk.now, causes=NET).set_index("cause", drop=False)
    split.loc["laps_and_waste", ["mean", "low", "high"]] = -5.2, -9.2, -1.2
    picture = owner_charts.cascade(split, desk.jobs)
    assert len({bar.get_facecolor() for bar in picture.figure.axes[0].patches}) == 3
    assert "laps and waste beyond the price −5.2 ± 4.0, reveals +" in picture.alt


def test_the_figures_of_a_cascade_add_up_by_eye_and_stand_clear_of_the_bars(pictures):
    desk = lay_out(counted_whole(invent(jobs=96, factor=1.0), "estimated_rolls"))
    whole = owner_charts.cascade(usual_split(desk.jobs, desk.now, causes=NET), desk.jobs)
    for picture in (whole, pictures["job_causes"]):
        axes = picture.figure.axes[0]
        told = [text.get_text().replace("−", "-").split()[0] for text in axes.texts]
        *parts, together = map(float, told)
        assert sum(parts) == pytest.approx(together)
        assert {text.xy[0] for text in axes.texts} == {1}
    # Whole rolls in, whole rolls out.
    assert not re.search(r"\d\.\d", whole.alt)


def test_no_job_no_crew_and_a_quarter_of_one_job(desk):
    assert owner_charts.job_cascade(job_split(desk, "zzzz"), desk.jobs) is None
    assert owner_charts.crews(crew_comparison(desk.jobs, desk.now).iloc[:0]) is None
    one = desk_of(jobs=1)
    assert owner_charts.by_reveals(overrun_by_reveals(one.jobs, one.now)) is None
    desk = desk_of(jobs=4)
    table = by_quarter(desk.jobs, desk.now)
    assert np.isinf(table.loc[table["cause"].eq("overrun"), "high"]).all()
    assert owner_charts.quarters(table, ["overrun"]).png()


def test_each_job_is_a_dot_at_its_count_and_misses_are_named():
    records = counted_whole(invent(jobs=24, factor=0.6), "estimated_rolls")
    desk = lay_out(records)
    picture = owner_charts.by_reveals(overrun_by_reveals(desk.jobs, desk.now))
    assert_drawn(picture)
    data, axes = picture.data, picture.figure.axes[0]
    dots = axes.lines[0].get_xydata()
    assert axes.lines[0].get_marker() == "o"
    over = records.jobs["used_rolls"] - records.jobs["estimated_rolls"]
    np.testing.assert_allclose(dots[:, 1], over)
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
    foretold = [line.get_xdata() for line in axes.lines if len(line.get_xdata()) == 2]
    assert max(max(line) for line in foretold) == table["reveal_m2"].max() < axes.get_xlim()[1]


def test_no_job_hides_what_is_foretold(pictures):
    lines = pictures["reveals"].figure.axes[0].lines
    dots = [place for place, line in enumerate(lines) if line.get_marker() == "o"]
    solid = [place for place, line in enumerate(lines) if line.get_linestyle() == "-"]
    assert max(dots) < min(solid)


def test_groups_of_jobs_alike_in_their_reveals_stand_beside_what_is_foretold(pictures):
    picture = pictures["reveals"]
    groups = groups_by_reveals(picture.data)
    squares = next(line for line in picture.figure.axes[0].lines if line.get_marker() == "s")
    np.testing.assert_allclose(squares.get_ydata(), groups["mean"])
    each = f"square: mean of {groups['jobs'].median():.0f} jobs, 90 %"
    assert each in picture.figure.axes[0].get_xlabel()
    few = desk_of(jobs=12)
    alone = owner_charts.by_reveals(overrun_by_reveals(few.jobs, few.now))
    assert "square" not in alone.figure.axes[0].get_xlabel()
    assert_drawn(alone)


def test_no_whisker_of_a_cascade_is_cut_off(desk):
    split = usual_split(desk.jobs, desk.now, causes=NET)
    split.loc[0, ["mean", "low", "high"]] = -80.0, -160.0, 0.0
    picture = owner_charts.cascade(split, desk.jobs)
    assert picture.figure.axes[0].get_xlim()[0] < -160
    assert_drawn(picture)


def test_what_is_sure_is_told_alike_in_picture_and_sentence(desk):
    means = pd.Series([0.149, 0.149, 0.149, -0.247])
    told = owner_charts._figures(means, pd.Series([0.1, 0.1, 0.1, 0.4]), 1)
    assert told == ["+0.1 ± 0.1", "+0.1 ± 0.1", "+0.1 ± 0.1", "−0.1 ± 0.4"]


def test_names_of_misses_on_one_level_stand_apart_or_not_at_all(desk):
    table = overrun_by_reveals(desk.jobs, desk.now)
    height = np.ptp(table["overrun_rolls"])
    for step in np.linspace(0.02, 0.6, 12):
        close = table.assign(missed=table.index < 2)
        close.loc[:1, "reveal_m2"] = close["reveal_m2"].median()
        low = close["overrun_rolls"].min()
        close.loc[:1, "overrun_rolls"] = [low, low + step * height]
        assert text_faults(owner_charts.by_reveals(close).svg()) == []
