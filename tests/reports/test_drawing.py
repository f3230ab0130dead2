"""Drawings: what is on the paper, to scale, and told apart without colour."""

import io

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon

from airstats.geometry.cutting_rules import Practice
from airstats.reports.drawing import KINDS, describe_opening, draw_opening
from airstats.takeoff.opening_quantities import Opening
from tests.invented import KNOWN_CUTS
from tests.pages import words_on


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


@pytest.mark.parametrize("cut", KNOWN_CUTS)
@pytest.mark.parametrize("sides", [3, 4])
def test_dimensions_and_faces_are_written(cut, sides):
    texts = words_on(draw_opening(Opening(1010, 2130, 350, sides, cut)))
    for word in ("1010", "2130", "350", "head", "jamb"):
        assert word in [text.strip() for text in texts]
    assert ("foot" in texts) == (sides == 4)
    assert ("threshold, not lined" in texts) == (sides == 3)


def test_the_unfolded_reveal_is_drawn_to_scale():
    axes = draw_opening(Opening(1230, 1480, 400)).axes[0]
    assert axes.get_aspect() == 1
    # Bare area 2 d² (H/W + W/H), all of it fresh at this depth.
    bare = 2 * 0.4**2 * (1.48 / 1.23 + 1.23 / 1.48)
    assert painted_area(axes, "fresh", from_x=1.3) == pytest.approx(bare)
    flaps = 2 * (1.23 + 1.48) * 0.4 - bare
    assert painted_area(axes, "flap", from_x=1.3) == pytest.approx(flaps)
    assert painted_area(axes, "reused", from_x=-9) == 0


def test_pieces_from_offcuts_are_numbered_and_the_legend_names_only_what_is_drawn():
    texts = words_on(draw_opening(Opening(1230, 1480, 200)))
    # Once in the off-cut, and on each of the two faces that meet in the corner.
    assert [texts.count(str(number)) for number in (1, 2, 3, 4)] == [3, 3, 3, 3]
    labels = [
        text.get_text() for text in draw_opening(Opening(1230, 1480, 400)).legends[0].get_texts()
    ]
    assert KINDS["fresh"][2] in labels
    assert KINDS["reused"][2] not in labels
    target = io.BytesIO()
    draw_opening(Opening(50, 3000, 900)).savefig(target, format="png", dpi=40)
    assert target.getvalue().startswith(b"\x89PNG")


def test_surfaces_differ_in_grey_or_by_hatch():
    # Rec. 709 luma, the usual conversion to grey (value from memory).
    looks = [
        (float(np.dot(to_rgb(colour), [0.2126, 0.7152, 0.0722])), hatch)
        for colour, hatch, _ in KINDS.values()
    ]
    for place, (grey, hatch) in enumerate(looks):
        for other_grey, other_hatch in looks[place + 1 :]:
            assert abs(grey - other_grey) > 0.04 or hatch != other_hatch


def test_the_note_gives_the_quantities_and_the_pieces_to_cut():
    note = describe_opening(Opening(1230, 1480, 400, cut_pattern="lined"))
    assert "Reveal 2.17 m²" in note
    assert "2.31 m² fresh sheet. 4 loose pieces, 7.0 m of joints" in note
    level = describe_opening(Opening(2400, 1200, 250, cut_pattern="centre"))
    assert "slit level" in level
    note = describe_opening(Opening(1230, 1480, 300, cut_pattern="lined"))
    assert "1 and 2: 1270\u00a0×\u00a0320\u00a0mm; 3 and 4: 1480\u00a0×\u00a0320\u00a0mm" in note
    square = describe_opening(Opening(1200, 1200, 200, cut_pattern="centre"))
    assert "1 and 2: 1240\u00a0×\u00a0220\u00a0mm in two parts" in square
    # 300 × 400 has a diagonal of 500: a reach of 60 + 20 gives legs of 80·500/300 and 80·500/400.
    small = describe_opening(Opening(300, 400, 60))
    assert "1, 2, 3 and 4: right-angled, legs 133\u00a0×\u00a0100\u00a0mm" in small
    door = describe_opening(Opening(1010, 2110, 220, 3, "centre", Practice(slit="upright")))
    assert "1 loose piece, " in door


def test_the_threshold_of_a_door_cut_corner_to_corner_is_cut_along():
    axes = draw_opening(Opening(1010, 2110, 300, 3)).axes[0]
    dashed = [line.get_xydata().tolist() for line in axes.lines if line.get_linewidth() == 2.4]
    assert [[0, 0], [1.01, 0]] in dashed
    assert len(dashed) == 3
    lined = draw_opening(Opening(1010, 2110, 300)).axes[0]
    assert sum(line.get_linewidth() == 2.4 for line in lined.lines) == 2


def test_where_two_parts_meet_on_a_face_is_drawn():
    axes = draw_opening(Opening(1200, 1200, 200, 4, "centre")).axes[0]
    joints = [line.get_xydata() for line in axes.lines if line.get_linewidth() == 1.6]
    assert len(joints) == 2
    for joint in joints:
        assert np.ptp(joint, axis=0) == pytest.approx([0, 0.2])


def test_a_wide_opening_has_its_drawings_one_below_the_other():
    for size, stacked in (((1230, 1480), False), ((5000, 900), True)):
        axes = draw_opening(Opening(*size, 250)).axes[0]
        titles = {t.get_text()[0]: t.get_position() for t in axes.texts if "  The " in t.get_text()}
        assert (titles["2"][1] < 0) == stacked
        assert (titles["1"][0] == titles["2"][0]) == stacked
