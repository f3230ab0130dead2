import numpy as np
import pytest

from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.case_deletion import pulls
from airstats.analysis.ewma_chart import drift_watch
from airstats.model.allowances import unchanged
from airstats.reports import update_charts
from tests.pages import assert_drawn


@pytest.fixture(scope="module")
def pictures(desk):
    made = [
        update_charts.allowance_paths(desk.chain, unchanged("2025Q1")),
        update_charts.side_by_side(compare_allowances(desk.jobs, desk.before, desk.now)),
        update_charts.pulls(pulls(desk.jobs, desk.before, desk.now)),
        update_charts.drift(drift_watch(desk.jobs, desk.chain)),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    assert len(pictures) == 4
    for picture in pictures.values():
        assert_drawn(picture)


def test_side_by_side_draws_the_three_values_with_their_90_percent(desk, pictures):
    axes = pictures["side_by_side"].figure.axes
    titles = [a.get_title(loc="left").splitlines()[0] for a in axes]
    assert titles == ["waste", "corner to corner", "slit", "lined"]
    row = pictures["side_by_side"].data.iloc[0]
    drawn = [line.get_xdata()[0] for line in axes[0].lines if line.get_marker() in "osD"]
    assert drawn == pytest.approx([100 * row[name] for name in ("old", "alone", "new")])
    ends = [bar.get_segments()[0][:, 0] for bar in axes[0].collections]
    assert ends[2] == pytest.approx(100 * np.array([row["new_low"], row["new_high"]]))
    first = update_charts.side_by_side(pictures["side_by_side"].data, first=True)
    names = [label.get_text() for label in first.figure.axes[0].get_yticklabels()]
    assert names == ["common practice", "this quarter", "new value"]


def test_paths_end_at_the_values_of_today(desk, pictures):
    axes = pictures["allowances"].figure.axes[0]
    path = axes.lines[0].get_ydata()
    assert len(path) == 1 + len(desk.chain)
    assert path[-1] == pytest.approx(100 * desk.now.table().loc["waste", "mean"])


def test_pulls_are_bars_of_the_right_length_and_many_are_cut_short(pictures):
    panel = pictures["pulls"].figure.axes[0]
    jobs = [label.get_text() for label in panel.get_yticklabels()]
    waste = pictures["pulls"].data.query("allowance == 'waste'").set_index("job_id")["pull_sds"]
    drawn = [bar.get_width() for bar in panel.patches]
    assert drawn == pytest.approx((100 * waste[jobs] / 1.6449).tolist())
    strongest = pictures["pulls"].data["pull_sds"].abs().idxmax()
    assert pictures["pulls"].data["job_id"][strongest] == jobs[0]
    assert jobs[0] in pictures["pulls"].alt
    assert "The 10 that pull most of 12." in pictures["pulls"].alt
    assert len(panel.patches) == 10


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
