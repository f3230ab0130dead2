"""Which infill pieces fit in which off-cuts, against published and brute-force criteria."""

from itertools import permutations

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate

from airstats.geometry.diagonal_cut import (
    Tip,
    corner_hypotenuse,
    diagonal_tips,
    fill_corners,
    pieces_in_tip,
)
from tests.external_checks import agree


def tip_of(base, height):
    return Tip(*arrays(base, height, np.hypot(base / 2, height)))


def triangle_fits(piece, room):
    """Post, "Triangle in a triangle: on a problem of Steinhaus", Geometriae Dedicata 45 (1993).

    The 18 inequalities as printed in the abstract (published formula seen).
    """

    def area(a, b, c):
        s = (a + b + c) / 2
        return np.sqrt(max(s * (s - a) * (s - b) * (s - c), 0))

    big, small = area(*room), area(*piece)
    for shift in range(3):
        a, b, c = room[shift:] + room[:shift]
        for p, q, r in permutations(piece):
            left = max(big * (q * q + r * r - p * p), small * (b * b + c * c - a * a))
            right = max(big * (p * p + r * r - q * q), small * (a * a + c * c - b * b))
            if left + right <= 2 * big * c * r * (1 + 1e-12):
                return True
    return False


def test_criterion_agrees_with_the_published_inequalities():
    pick = np.random.default_rng(3)
    seen = {0: 0, 1: 0, 2: 0}
    published = 0
    for _ in range(3000):
        base, height = pick.uniform(150, 2000, 2)
        tip = tip_of(base, height)
        side = tip.side[0]
        hypotenuse = side * pick.uniform(0.7, 1.6)
        piece = (hypotenuse * base / 2 / side, hypotenuse * height / side, hypotenuse)
        count = int(tip_pieces(tip, hypotenuse))
        fits = triangle_fits(piece, (base, side, side))
        assert (count > 0) == fits
        published += fits
        # Two pieces larger than the halves would be larger than the tip.
        assert (count == 2) == (piece[0] * piece[1] <= tip.area[0])
        seen[count] += 1
    assert min(seen.values()) > 200
    agree("triangle.fits", seen[1] + seen[2], published)


def tip_pieces(tip, hypotenuse):
    return pieces_in_tip(tip, np.array([hypotenuse]))[0]


@pytest.mark.parametrize("height", [300.0, 500.0, 800.0])
def test_largest_single_piece_against_a_search_over_all_angles(height):
    # Turn the piece through all angles; its box of positions says whether it fits at any.
    tip = tip_of(1000.0, height)
    room = shapely.Polygon([(0, 0), (1000, 0), (500, height)])
    side = tip.side[0]
    largest = max(side, min(1000.0, 2 * side**2 / 1000.0))
    shape = shapely.Polygon([(0, 0), (500 / side, 0), (0, height / side)])
    for factor, expected in [(0.999, True), (1.01, False)]:
        piece = shapely.affinity.scale(shape, largest * factor, largest * factor, origin=(0, 0))
        found = any(fits_when_turned(piece, room, angle) for angle in np.arange(0, 360, 0.5))
        # A half-degree grid may miss the one angle that fits; that angle is tried as well.
        exact = np.degrees(np.arctan2(height, 500))
        angles = [s * a + k * 90 for s in (1, -1) for a in (exact, 2 * exact) for k in range(4)]
        found |= any(fits_when_turned(piece, room, angle) for angle in angles)
        assert found is expected


def fits_when_turned(piece, room, angle):
    """A turned convex piece fits if the room, moved in by its support, is not empty."""
    points = np.array(rotate(piece, angle, origin=(0, 0)).exterior.coords)
    corners = np.array(room.exterior.coords)[:-1]
    allowed = shapely.box(-1e5, -1e5, 1e5, 1e5)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.hypot(*(end - start))
        inward = np.array([-along[1], along[0]])
        limit = start @ inward - (points @ inward).min()
        middle = inward * limit
        strip = [middle + along * 1e4, middle - along * 1e4]
        strip += [strip[1] + inward * 2e4, strip[0] + inward * 2e4]
        allowed = allowed.intersection(shapely.Polygon(strip))
    return allowed.area > 1e-9


def arrays(*values):
    return [np.array([float(value)]) for value in values]


def test_tips_are_the_flaps_less_the_depth_of_the_reveal():
    """1200 × 800, 100 deep: flaps 1200 × 400 less a quarter, 800 × 600 less a sixth."""
    tips = diagonal_tips(*arrays(1200, 800, 100, 1))
    sizes = [(tip.base[0], tip.height[0]) for tip in tips]
    assert sizes == [pytest.approx(size) for size in 2 * [(900, 300)] + 2 * [(2000 / 3, 500)]]
    for tip in tips:
        assert tip.side == pytest.approx(np.hypot(tip.base / 2, tip.height))
    door = diagonal_tips(*arrays(1200, 800, 100, 0))
    assert (door[0].base[0], door[0].height[0]) == (1200, 400)
    assert [tip.area[0] for tip in diagonal_tips(*arrays(1200, 800, 600, 1))] == [0, 0, 0, 0]


def test_pieces_that_only_just_fit_and_tips_too_small_to_keep():
    """A tip 600 × 400 has sides of 500: two pieces of 500, one of 600."""
    tip = tip_of(600.0, 400.0)
    fits = [(500, 2), (500.001, 1), (600, 1), (600.001, 0)]
    assert [(length, tip_pieces(tip, length)) for length, _ in fits] == fits
    # 300 × 400, 75 deep, no return: pieces of 75 · 25/12 = 156.25, sides of 250 · 5/8 = 156.25.
    fill = fill_corners(*arrays(300, 400, 75, 1), 0.0, False)
    assert [count[0] for count in fill.corners] == [2, 2, 0, 0]
    assert tip_pieces(tip_of(99.0, 400.0), 1.0) == 0
    assert tip_pieces(tip_of(100.0, 400.0), 1.0) == 2


@pytest.mark.parametrize(
    ("width", "height", "depth", "pieces"), [(1800, 2600, 510, 4), (1400, 2300, 420, 2)]
)
def test_a_corner_piece_takes_two_half_tips(width, height, depth, pieces):
    """Diagonals of 3162 and 2693, return 20, no tip large enough for a whole piece.

    1800 × 2600: halves of 931 and 680. The half tips at head and foot (side 961) give the four
    large ones, those at the jambs (685) the four small ones.
    1400 × 2300: halves of 846 and 554. The jambs' half tips (539) are too small; the four at head
    and foot (855) make two pieces.
    """
    fill = fill_corners(*arrays(width, height, depth, 1), 20.0, True)
    assert np.sum(fill.corners) == 0
    assert fill.halved == pieces


def test_only_the_pieces_that_are_wanted_are_taken():
    """Four corners, or two and the two ends of an unlined threshold, of a shallow reveal."""
    for foot, corners, ends in ((1, 4, 0), (0, 2, 2)):
        fill = fill_corners(*arrays(1500, 1500, 50, foot), 20.0, True)
        assert np.sum(fill.corners) == corners
        assert np.sum(fill.ends) == ends
        assert fill.halved == 0


def test_corner_piece_is_right_angled_and_like_half_a_tip():
    w, h, reach = np.array([1230.0]), np.array([1480.0]), np.array([420.0])
    jamb_leg, head_leg = np.hypot(reach, reach * h / w), np.hypot(reach, reach * w / h)
    hypotenuse = corner_hypotenuse(w, h, reach)
    assert jamb_leg**2 + head_leg**2 == pytest.approx(hypotenuse**2)
    tip = diagonal_tips(w, h, reach, np.array([1.0]))[1]
    assert jamb_leg / head_leg == pytest.approx(tip.height / (tip.base / 2))


def test_two_corner_pieces_a_tip_at_the_closed_limit():
    # Half a head tip holds a corner piece if (1 - 2d/H)·D/2 >= (d + t)·D²/(W·H), D² = W² + H².
    w, h, turned = 1230.0, 1480.0, 20.0
    slope = np.hypot(w, h)
    limit = (0.5 - turned * slope / (w * h)) / (slope / (w * h) + 1 / h)
    for d, expected in [(limit - 0.01, 2), (limit + 0.01, 1)]:
        assert fill_corners(*arrays(w, h, d, 1), turned, False).corners[0][0] == expected


def test_halves_count_only_what_whole_pieces_leave():
    pick = np.random.default_rng(4)
    w, h = pick.uniform(300, 2500, (2, 4000))
    d, foot = pick.uniform(20, 500, 4000), pick.choice([0.0, 1.0], 4000)
    without = fill_corners(w, h, d, foot, 20.0, False)
    fill = fill_corners(w, h, d, foot, 20.0, True)
    assert all(np.array_equal(a, b) for a, b in zip(fill.corners, without.corners, strict=True))
    total = np.sum(fill.corners, axis=0) + fill.halved
    assert (total <= 2 + 2 * foot).all()
    assert (fill.halved > 0).any()
    assert not without.halved.any()
