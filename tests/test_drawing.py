"""Drawings: what is on the paper, to scale, and told apart without colour."""

import io

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon

from airstats.cut_choice import CutCosts, break_even_map
from airstats.drafting import KINDS
from airstats.drawing import describe_cut_map, describe_opening, draw_cut_map, draw_opening
from airstats.errors import AirstatsError
from airstats.openings import CUTS, Practice


def words_on(figure):
    texts = [text.get_text() for axes in figure.axes for text in axes.texts]
    return texts + [text.get_text() for text in figure.texts]


def painted_area(axes, kind, from_x):
    """Area painted in the manner of a kind, right of `from_x`, in drawing units."""
    colour, hatch, _ = KINDS[kind]
    total = 0.0
    for patch in axes.patches:
        points = patch.get_xy() if isinstance(patch, Polygon) else np.zeros((1, 2))
        same = patch.get_hatch() == hatch and to_rgb(patch.get_facecolor()) == to_rgb(colour)
        if same and points[:, 0].min() > from_x:
            x, y = points[:, 0], points[:, 1]
            total += abs(x[:-1] @ y[1:] - x[1:] @ y[:-1]) / 2
    return total


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("sides", [3, 4])
def test_dimensions_and_faces_are_written(cut, sides):
    texts = words_on(draw_opening(1010, 2130, 350, sides, cut))
    for word in ("1010", "2130", "350", "head", "jamb"):
        assert word in [text.strip() for text in texts]
    assert ("foot" in texts) == (sides == 4)
    assert ("threshold, not lined" in texts) == (sides == 3)


def test_the_unfolded_reveal_is_drawn_to_scale():
    axes = draw_opening(1230, 1480, 400).axes[0]
    assert axes.get_aspect() == 1
    # Bare area 2 d² (H/W + W/H), all of it fresh at this depth.
    bare = 2 * 0.4**2 * (1.48 / 1.23 + 1.23 / 1.48)
    assert painted_area(axes, "fresh", from_x=1.3) == pytest.approx(bare)
    flaps = 2 * (1.23 + 1.48) * 0.4 - bare
    assert painted_area(axes, "flap", from_x=1.3) == pytest.approx(flaps)
    assert painted_area(axes, "reused", from_x=-9) == 0


def test_pieces_from_offcuts_are_numbered_on_both_sides():
    texts = words_on(draw_opening(1230, 1480, 200))
    # Once in the off-cut, and on each of the two faces that meet in the corner.
    assert [texts.count(str(number)) for number in (1, 2, 3, 4)] == [3, 3, 3, 3]


def test_legend_names_only_what_is_drawn():
    labels = [text.get_text() for text in draw_opening(1230, 1480, 400).legends[0].get_texts()]
    assert KINDS["fresh"][2] in labels
    assert KINDS["reused"][2] not in labels


def test_surfaces_differ_in_grey_or_by_hatch():
    # Rec. 709 luma, the usual conversion to grey (value from memory).
    looks = [
        (float(np.dot(to_rgb(colour), [0.2126, 0.7152, 0.0722])), hatch)
        for colour, hatch, _ in KINDS.values()
    ]
    for place, (grey, hatch) in enumerate(looks):
        for other_grey, other_hatch in looks[place + 1 :]:
            assert abs(grey - other_grey) > 0.04 or hatch != other_hatch


def test_the_note_gives_the_quantities():
    note = describe_opening(1230, 1480, 400, cut_pattern="lined")
    assert "Reveal 2.17 m²" in note
    assert "2.31 m² fresh sheet. 4 loose pieces, 7.0 m of joints" in note
    level = describe_opening(2400, 1200, 350, cut_pattern="centre", practice=Practice(slit="best"))
    assert "slit level" in level


def test_figures_can_be_saved():
    for figure in (draw_opening(50, 3000, 900), draw_cut_map(small_map())):
        target = io.BytesIO()
        figure.savefig(target, format="png", dpi=40)
        assert target.getvalue().startswith(b"\x89PNG")


def small_map(**changes):
    costs = CutCosts(sheet_price_m2=6, labour_hour=20)
    settings = {"aspects": np.geomspace(0.4, 2.5, 15), "reveals_mm": np.arange(50, 601, 25)}
    return break_even_map(**(settings | {"costs": costs} | changes))


def test_the_map_shows_the_break_even_line_and_both_sides():
    figure = draw_cut_map(small_map())
    texts = words_on(figure)
    assert "corner to corner\nis cheaper" in texts
    assert "slit down the middle\nis cheaper" in texts
    assert "1.82 m²" in figure.axes[0].get_title(loc="left")
    heavy = [line for line in figure.axes[0].collections if 2.8 in np.ravel(line.get_linewidth())]
    assert len(heavy) == 1


def test_the_map_without_a_break_even_says_which_cut_is_cheaper_everywhere():
    grid = small_map(costs=CutCosts())
    assert (grid["difference"] > 0).all()
    texts = words_on(draw_cut_map(grid))
    assert "slit down the middle\nis cheaper" in texts
    assert "corner to corner\nis cheaper" not in texts


def test_the_map_in_words():
    grid = small_map()
    share = (grid["difference"] < 0).mean()
    assert f"corner to corner is cheaper than slit down the middle in {share:.0%}" in (
        describe_cut_map(grid)
    )


def test_a_map_of_one_cut_is_refused():
    with pytest.raises(AirstatsError, match="costs of two different cuts are needed"):
        draw_cut_map(small_map(cut_a="lined", cut_b="lined"))
