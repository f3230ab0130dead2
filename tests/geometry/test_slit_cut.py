"""The slit cut: leaves, strips, and which loose pieces the strips give."""

import numpy as np
import pytest

from airstats.geometry.cutting_rules import Practice, Sizes
from airstats.geometry.slit_cut import fill_strips, pieces_in_strip, upright_leaves
from airstats.takeoff.opening_quantities import COLUMNS, opening_quantities
from tests.invented import PLAIN, many, one, table


def arrays(*values):
    return [np.array([float(value)]) for value in values]


def test_closed_form_slit_upright_and_level():
    result = one(1230, 1480, 290, cut="centre")
    assert result["covered_m2"] == pytest.approx(2 * 1.48 * 0.29, abs=1e-12)
    assert result["bare_m2"] == pytest.approx(2 * 1.23 * 0.29, abs=1e-12)
    assert result["needed_m2"] == pytest.approx(2 * (1.23 + 0.04) * 0.31, abs=1e-12)
    assert result["joint_m"] == pytest.approx(2 * (1.23 + 2 * 0.29), abs=1e-12)
    level = one(1480, 1230, 290, cut="centre", practice=Practice(slit="level"))
    same = [name for name in COLUMNS if not name.startswith("covered_")]
    np.testing.assert_allclose(level[same].astype(float), result[same].astype(float), atol=1e-12)


def test_level_slit_hangs_one_leaf_from_the_head_over_an_unlined_threshold():
    result = one(1000, 2100, 300, sides=3, cut="centre", practice=Practice(slit="level"))
    assert result["covered_head_m2"] == pytest.approx(0.3, abs=1e-12)
    assert result["covered_foot_m2"] == 0
    assert result["offcut_m2"] == pytest.approx(1.0 * 1.8, abs=1e-12)
    assert result["needed_m2"] == pytest.approx(2 * (2.1 + 0.02) * 0.32, abs=1e-12)


def test_leaf_shorter_than_the_reveal_needs_two_pieces_more():
    result = one(600, 1000, 400, cut="centre")
    assert result["pieces"] == 4
    extra = 2 * 1.0 * (0.4 - 0.3 + 0.02)
    assert result["needed_m2"] == pytest.approx(2 * 0.64 * 0.42 + extra, abs=1e-12)
    assert result["joint_m"] == pytest.approx(2 * (0.6 + 2 * 0.4) + 2 * 1.0, abs=1e-12)


def test_strip_fits_exactly_at_the_stated_limit():
    # Whole pieces. Whole numbers on the limit W/2 - d = d + t, and one millimetre beyond it.
    assert one(1240, 1480, 300, cut="centre")["fillable_m2"] > 0
    assert one(1240, 1480, 301, cut="centre")["fillable_m2"] == 0
    # The same for H = W + 2t.
    assert one(1440, 1480, 200, cut="centre")["fillable_m2"] > 0
    assert one(1441, 1480, 200, cut="centre")["fillable_m2"] == 0


def test_halves_fill_what_whole_pieces_cannot():
    whole, halves = PLAIN, Practice(slit="upright")
    assert one(1800, 1300, 200, cut="centre", practice=whole)["fillable_m2"] == 0
    # Strips 700 wide hold two half lengths side by side: both loose pieces, one joint more each.
    filled = one(1800, 1300, 200, cut="centre", practice=halves)
    plain = one(1800, 1300, 200, cut="centre", practice=whole)
    assert filled["fresh_m2"] == pytest.approx(0, abs=1e-12)
    assert filled["pieces"] == plain["pieces"] + 2
    assert filled["joint_m"] == pytest.approx(plain["joint_m"] + 2 * 0.2, abs=1e-12)


def test_best_slit_is_never_worse_than_either():
    openings = many(3000, seed=5, cuts=("centre",))
    fresh = {
        slit: opening_quantities(openings, Practice(slit=slit))["fresh_m2"]
        for slit in ("upright", "level", "best")
    }
    least = np.minimum(fresh["upright"], fresh["level"])
    np.testing.assert_allclose(fresh["best"], least, rtol=0, atol=1e-6)
    assert (fresh["best"] < fresh["upright"]).any()


def test_where_both_slits_save_the_same_the_one_with_fewer_pieces_is_cut_or_the_upright():
    # Upright, head and foot come from halves; level, both jambs come whole out of the strips.
    upright = one(1800, 1200, 150, cut="centre", practice=Practice(slit="upright"))
    level = one(1800, 1200, 150, cut="centre", practice=Practice(slit="level"))
    assert (upright["fresh_m2"], level["fresh_m2"]) == (0, 0)
    assert (upright["pieces"], level["pieces"]) == (4, 2)
    assert one(1800, 1200, 150, cut="centre", practice=Practice())["covered_head_m2"] > 0
    square = one(1200, 1200, 200, cut="centre", practice=Practice())
    assert square["covered_head_m2"] == 0
    assert square["covered_jambs_m2"] > 0


def test_a_strip_as_long_as_a_square_window_is_lengthened_by_a_patch():
    # 1200 square, reveal 200: strips 400 × 1200, pieces 220 × 1240. A patch of 100 (the least
    # off-cut) beside 220 takes 320 of the 400. At 240 mm it takes 360 of 360.
    upright = Practice(slit="upright")
    for reveal, filled in ((200, 2), (240, 2), (241, 0)):
        result = one(1200, 1200, reveal, cut="centre", practice=upright)
        piece = 1.24 * (reveal + 20) / 1000
        assert result["needed_m2"] == pytest.approx(2 * piece, abs=1e-12)
        # Beyond that, one half from each strip makes one piece.
        assert result["fillable_m2"] == pytest.approx(max(filled, 1) * piece, abs=1e-12)
        plain = one(1200, 1200, reveal, cut="centre")
        assert plain["fillable_m2"] == 0
        joint = plain["joint_m"] + max(filled, 1) * reveal / 1000
        assert result["joint_m"] == pytest.approx(joint, abs=1e-12)


def test_parts_are_counted_for_fresh_strips_of_a_slit_cut_only():
    fresh = one(3000, 2000, 500, cut="centre", roll=0.4)
    assert fresh["pieces"] == 4
    assert fresh["joint_m"] == pytest.approx(2 * (3.0 + 2 * 0.5) + 2 * 3.04, abs=1e-12)
    reused = one(1600, 2000, 300, cut="centre", roll=0.25)
    assert (reused["pieces"], reused["fresh_m2"]) == (2, 0)
    assert reused["joint_m"] == pytest.approx(2 * (1.6 + 2 * 0.3), abs=1e-12)


# Common window sizes, mm (common practice, no source), each with the reveals below.
WINDOWS = [
    (600, 600), (600, 900), (600, 1200), (900, 900), (900, 1200), (900, 1350), (1200, 900),
    (1200, 1200), (1200, 1350), (1200, 1500), (1500, 1200), (1500, 1350), (1500, 1500),
    (1800, 1200), (1800, 1350), (1800, 1500), (2100, 1350), (2400, 1350), (900, 2100),
    (1010, 1260), (1260, 1010), (1010, 1380),
]  # fmt: skip


REVEALS = (100, 150, 200, 250, 300, 350)


def share_from_offcuts(practice):
    """Share of the ordinary windows, by reveal, whose strips line both faces without a leaf."""
    openings = table([(w, h, d, 4, "centre") for w, h in WINDOWS for d in REVEALS])
    filled = opening_quantities(openings, practice)["fresh_m2"] < 1e-9
    return filled.groupby(openings["reveal_mm"]).mean()


def test_with_the_slit_offcuts_line_head_and_foot_in_most_ordinary_windows():
    # Common practice, no source: more often than not. It takes the better way of the slit and
    # pieces in two parts; whole pieces from an upright slit fit in one window of five.
    share = share_from_offcuts(Practice())
    assert share.mean() > 0.55
    assert (share[share.index <= 200] > 0.8).all()
    assert share[350] < 0.1
    assert share_from_offcuts(PLAIN).mean() < 0.2
    assert share_from_offcuts(Practice(halves=False)).mean() < 0.5


def test_no_way_of_cutting_the_strips_could_line_many_more():
    # Strips smaller than the pieces cannot make them: (W - 2d) H >= 2 (W + 2t) (d + t).
    w, h, d = np.array([(w, h, d) for w, h in WINDOWS for d in REVEALS]).T
    upright = (w - 2 * d) * h >= 2 * (w + 40) * (d + 20)
    level = (h - 2 * d) * w >= 2 * (h + 40) * (d + 20)
    possible = np.mean(upright | level)
    assert share_from_offcuts(Practice()).mean() > 0.8 * possible
    assert possible < 0.72


def test_a_leaf_just_long_enough_needs_no_piece_and_a_reveal_of_a_millimetre_does():
    assert one(600, 1000, 300, cut="centre")["pieces"] == 2
    assert one(600, 1000, 301, cut="centre")["pieces"] == 4
    assert one(1000, 1200, 1, cut="centre")["pieces"] == 2


def test_a_leaf_lengthened_from_a_narrow_roll_by_hand():
    """200 × 1000, 400 deep, roll of 200: leaves of 100 want 320 more, 1000 long, in two parts.

    Head and foot want 240 × 420 each, in two parts that meet along 420.
    """
    result = one(200, 1000, 400, cut="centre", roll=0.2)
    assert result["pieces"] == 2 * 2 + 2 * 2
    joint_mm = 2 * (200 + 2 * 400) + 2 * 420 + 2 * (1000 + 1000)
    assert result["joint_m"] == pytest.approx(joint_mm / 1000, abs=1e-12)


def test_limits_of_a_long_patch_and_of_two_narrow_halves():
    """1200 × 1100: pieces of 1240 from strips of 1100, so the patch is 140 and one return of 20.

    Beside a part d + 20 wide it takes d + 180 of the 600 - d: up to d = 210. Beyond that, one half
    from each strip makes one piece.
    """
    for reveal, filled in ((210, 2), (211, 1)):
        result = one(1200, 1100, reveal, cut="centre", practice=Practice(slit="upright"))
        piece = 1.24 * (reveal + 20) / 1000
        assert result["fillable_m2"] == pytest.approx(filled * piece, abs=1e-12)
    # 370 deep: pieces 390 wide from halves of (390 + 20) / 2 = 205, one from each strip.
    for width, filled in ((1150, 1), (1148, 0)):
        result = one(width, 1480, 370, cut="centre", practice=Practice(slit="upright"))
        piece = (width + 40) * 390 / 1e6
        assert result["fillable_m2"] == pytest.approx(filled * piece, abs=1e-12)


@pytest.mark.parametrize(
    ("sizes", "count"),
    [((300, 1500, 300, 700), 2), ((300, 1500, 700, 300), 2), ((299, 1500, 300, 700), 0),
     ((600, 1500, 300, 1500), 2), ((99, 1500, 50, 50), 0), ((100, 1500, 50, 50), 60),
     ((1500, 99, 50, 50), 0)],
)  # fmt: skip
def test_pieces_in_a_strip(sizes, count):
    assert pieces_in_strip(*arrays(*sizes))[0] == count


def test_halves_along_the_strip_have_a_joint_as_long_as_the_piece():
    sizes = Sizes(*arrays(1230, 1480, 370, 1, 1500))
    # Strips 245 wide: too narrow for 390, wide enough for two halves of (390 + 20) / 2 = 205.
    filled, halved, joint = fill_strips(upright_leaves(sizes), sizes.depth, Practice(halves=True))
    assert (filled[0], halved[0], joint[0]) == (1, 1, 1230)
