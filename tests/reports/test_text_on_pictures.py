"""The reader of pictures finds what is wrong with their words, and nothing else."""

import pandas as pd
import pytest

from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, HALF, LIGHT, MID, label_mark
from airstats.reports.shared_charts import paper
from tests.text_on_pictures import main, text_faults


@pytest.fixture
def axes():
    _, axes = paper(2.0, HALF)
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    return axes


def faults(axes):
    return text_faults(Picture("one", axes.figure, "One picture", pd.DataFrame()).svg())


@pytest.mark.parametrize(("x", "turn", "found"), [(0.2, 0, 1), (0.6, 0, 0), (0.2, 90, 1)])
def test_words_too_close_to_others(axes, x, turn, found):
    axes.text(0.2, 0.5, "first words", rotation=turn)
    axes.text(x, 0.51, "second", rotation=turn)
    assert len(faults(axes)) == found


def test_two_lines_of_one_text_belong_together(axes):
    axes.text(0.2, 0.5, "first line\nsecond line")
    assert faults(axes) == []


def test_small_words(axes):
    axes.text(0.2, 0.5, "small", fontsize=8)
    assert faults(axes) == ["'small': 8 pt"]


def test_words_that_run_off_the_paper(axes):
    axes.text(0.9, 0.5, "words that go on and on", in_layout=False)
    assert faults(axes) == ["'words that go on and on': off the paper"]


def test_what_is_clipped_strikes_nothing(axes):
    axes.set_axis_on()
    axes.set_yticks([0.5], ["a name of the upright axis"])
    axes.errorbar([0.1], [0.5], xerr=[0.4], capsize=2)
    axes.set_xlim(0, 1)
    assert faults(axes) == []


@pytest.mark.parametrize("above", [False, True])
@pytest.mark.parametrize(("colour", "struck"), [(ACCENT, True), (MID, True), (LIGHT, False)])
def test_a_line_through_words(axes, colour, struck, above):
    axes.text(0.5, 0.5, "words", va="center", zorder=3)
    axes.axhline(0.5, color=colour, zorder=4 if above else 1)
    assert faults(axes) == (["'words': struck through"] if struck else [])


def test_words_on_white_hide_the_line_behind_them_but_not_one_before(axes):
    label_mark(axes, 0.5, 0.5, "words")
    axes.axhline(0.5, zorder=1)
    assert faults(axes) == []
    axes.axhline(0.5, zorder=9)
    assert faults(axes) == ["'words': struck through"]


def test_words_across_the_edge_of_a_bar_but_not_within_it(axes):
    axes.text(0.5, 0.5, "words", ha="center", va="center", zorder=3)
    axes.barh(0.5, 0.9, 0.5, left=0.05, color=MID)
    assert faults(axes) == []
    axes.barh(0.5, 0.5, 0.5, color=ACCENT)
    assert faults(axes) == ["'words': struck through"]


def test_a_mark_on_words_and_the_files_of_a_folder(axes, tmp_path, capsys):
    axes.text(0.5, 0.5, "words", ha="center", va="center")
    axes.plot([0.5], [0.5], "o")
    picture = Picture("one", axes.figure, "One picture", pd.DataFrame())
    (tmp_path / "one.svg").write_text(picture.svg(), encoding="utf-8")
    assert main(tmp_path) == 1
    assert capsys.readouterr().out == "one.svg: 'words': struck through\n"
