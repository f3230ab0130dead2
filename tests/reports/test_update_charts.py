import pytest

from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.case_deletion import pulls
from airstats.analysis.ewma_chart import drift_watch
from airstats.analysis.prior_predictive import prior_check
from airstats.reports import update_charts
from tests.invented import desk_of
from tests.pages import assert_drawn


@pytest.fixture(scope="module")
def pictures(desk):
    made = [
        update_charts.allowance_paths(desk.chain),
        update_charts.side_by_side(compare_allowances(desk.jobs, desk.before, desk.now)),
        update_charts.pulls(pulls(desk.jobs, desk.before, desk.now)),
        update_charts.drift(drift_watch(desk.jobs, desk.chain)),
        update_charts.prior_prediction(prior_check(desk.jobs)),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    assert len(pictures) == 5
    for picture in pictures.values():
        assert_drawn(picture)


def test_side_by_side_draws_the_three_values_of_each_allowance(desk, pictures):
    axes = pictures["side_by_side"].figure.axes
    assert len(axes) == 4
    titles = [a.get_title(loc="left") for a in axes]
    table = pictures["side_by_side"].data
    assert titles == [f"{r.allowance}: {r.verdict}" for r in table.itertuples()]
    drawn = [line.get_xdata()[0] for line in axes[0].lines if line.get_marker() in "osD"]
    assert drawn == pytest.approx(table.loc[0, ["old", "alone", "new"]].tolist())


def test_pulls_are_bars_of_the_right_length_and_many_are_cut_short(pictures):
    panel = pictures["pulls"].figure.axes[0]
    jobs = [label.get_text() for label in panel.get_yticklabels()]
    waste = pictures["pulls"].data.query("allowance == 'waste'").set_index("job_id")["pull_sds"]
    assert [bar.get_width() for bar in panel.patches] == pytest.approx(waste[jobs].tolist())
    strongest = pictures["pulls"].data["pull_sds"].abs().idxmax()
    assert pictures["pulls"].data["job_id"][strongest] == jobs[0]
    assert jobs[0] in pictures["pulls"].alt
    desk = desk_of(jobs=60)
    picture = update_charts.pulls(pulls(desk.jobs, desk.before, desk.now))
    assert "The 12 jobs that pull most of 15." in picture.alt
    assert len(picture.figure.axes[0].patches) == 12


def test_jobs_outside_are_marked_and_named(desk):
    watch = drift_watch(desk.jobs, desk.chain)
    calm = update_charts.drift(watch.assign(outside=False))
    assert calm.alt.endswith("None is outside.")
    place = watch.index[watch["line"].eq("Birch")][4]
    out = update_charts.drift(watch.assign(outside=watch.index == place))
    assert f"Outside: Birch 1 job from {watch['job_id'][place]}." in out.alt
    marks = [sum(len(line.get_xdata()) for line in a.lines if line.get_marker() == "D")
             for a in out.figure.axes]  # fmt: skip
    assert sum(marks) == 1


def test_prior_prediction_with_and_without_jobs(pictures):
    assert len(pictures["prior_prediction"].figure.axes[0].containers) == 2
    bare = update_charts.prior_prediction(prior_check())
    assert len(bare.figure.axes[0].containers) == 1
    assert "The jobs showed" in pictures["prior_prediction"].alt
    assert "The jobs showed" not in bare.alt
