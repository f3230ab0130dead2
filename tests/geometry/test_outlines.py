"""Outlines of one opening: they add up, and infill pieces really lie in their off-cuts."""

from functools import cache
from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely.affinity import affine_transform

from airstats.base.errors import AirstatsError
from airstats.geometry.cutting_rules import Practice
from airstats.takeoff.opening_quantities import Opening, opening_pieces, opening_quantities
from tests.invented import KNOWN_CUTS, random_openings

PRACTICES = [
    Practice(slit="upright", halves=False),
    Practice(),
    Practice(slit="level", halves=True),
    Practice(slit="best", halves=True, return_mm=0),
    Practice(halves=True, return_mm=40),
]


FRAME = random_openings(450, seed=9)


@cache
def pieces_of(practice):
    """What each opening of the frame is cut into."""
    rows = FRAME.itertuples(index=False)
    return [opening_pieces(Opening(*row, practice=practice)) for row in rows]


def area(parts):
    return sum(shapely.Polygon(part.outline).area for part in parts)


@pytest.mark.parametrize("practice", PRACTICES)
def test_outlines_and_sizes_to_cut_add_up_to_the_quantities(practice):
    # A roll wide enough for every strip: parts of a strip are not drawn.
    table = opening_quantities(FRAME, practice, roll_width_m=10.0)
    drawn = zip(FRAME.itertuples(), table.itertuples(), pieces_of(practice), strict=True)
    for row, expected, pieces in drawn:
        assert area(pieces.faces) == pytest.approx(expected.reveal_m2, abs=1e-9)
        assert area(pieces.covered) == pytest.approx(expected.covered_m2, abs=1e-9)
        assert area(pieces.bare) == pytest.approx(expected.bare_m2, abs=1e-9)
        assert area(pieces.offcuts) == pytest.approx(expected.offcut_m2, abs=1e-9)
        assert area(pieces.trimmings) == pytest.approx(expected.trimmed_m2, abs=1e-9)
        halves = sum(len(infill.placed) == 2 for infill in pieces.infills)
        assert len(pieces.infills) + halves == expected.pieces
        reused = any(not infill.is_fresh for infill in pieces.infills)
        assert reused == (expected.fillable_m2 > 0)
        total = sum(length * deep for length, deep in (i.size_mm for i in pieces.infills)) / 1e6
        if row.cut_pattern != "diagonal":
            assert total == pytest.approx(expected.needed_m2, abs=1e-9)
            continue
        # Triangles; where two meet in the middle of a face their points are cut off.
        assert total / 2 >= expected.needed_m2 - 1e-9
        if row.reveal_mm < min(row.width_mm, row.height_mm) / 2 - practice.return_mm:
            assert total / 2 == pytest.approx(expected.needed_m2, abs=1e-9)


@pytest.mark.parametrize("practice", PRACTICES)
def test_infill_pieces_lie_in_their_offcuts_and_apart(practice):
    reused = 0
    for pieces in pieces_of(practice):
        placed = in_their_offcuts(pieces)
        together = shapely.union_all(placed).area
        assert together == pytest.approx(sum(piece.area for piece in placed), abs=1e-9)
        reused += len(placed)
    assert reused > 150


def in_their_offcuts(pieces):
    """Every placed part; each must lie in its off-cut."""
    placed = []
    for infill in pieces.infills:
        for source, outline in zip(infill.cut_from, infill.placed, strict=True):
            placed.append(shapely.Polygon(outline))
            room = shapely.Polygon(pieces.offcuts[source].outline)
            assert room.buffer(1e-9).covers(placed[-1])
    return placed


def test_whole_infill_pieces_have_the_area_that_is_counted():
    frame = random_openings(600, seed=10)
    whole = Practice(halves=False)
    table = opening_quantities(frame, whole, roll_width_m=10.0)
    seen = 0
    for row, expected in zip(frame.itertuples(index=False), table.itertuples(), strict=True):
        pieces = opening_pieces(Opening(*row, practice=whole))
        placed = [outline for infill in pieces.infills for outline in infill.placed]
        if placed:
            total = sum(shapely.Polygon(outline).area for outline in placed)
            # The triangle round a piece that is cut off at the middle of a face is larger.
            slack = 0.2 if row.sides == 3 and row.cut_pattern == "diagonal" else 1e-9
            assert expected.fillable_m2 - 1e-9 <= total <= expected.fillable_m2 + slack
            seen += 1
    assert seen > 100


def joined(pieces, bare):
    """Unfold the parts of a corner piece on to one plane, round the edge of the reveal."""
    parts = [pieces.bare[place] for place in bare]
    jamb = next(part for part in parts if part.face.endswith("jamb"))
    polygons = [shapely.Polygon(jamb.outline)]
    for part in parts:
        if part is not jamb:
            # Turn the head or foot part by a quarter about the corner that both share.
            x, y = jamb.outline[0]
            turn = 1 if (part.face == "head") == (jamb.face == "left jamb") else -1
            a, b = 0, -turn
            matrix = [a, b, -b, a, x - a * x - b * y, y + b * x - a * y]
            polygons.append(affine_transform(shapely.Polygon(part.outline), matrix))
    return shapely.union_all([polygon.buffer(1e-9) for polygon in polygons])


@pytest.mark.parametrize("size", [(1230, 1480, 200), (900, 2000, 150), (2000, 900, 150)])
def test_a_placed_corner_piece_covers_the_bare_corner(size):
    # The placed piece, turned about, covers the bare corner unfolded into one triangle.
    pieces = opening_pieces(Opening(*size))
    reused = [infill for infill in pieces.infills if not infill.is_fresh]
    assert len(reused) == 4
    for infill in reused:
        hole = joined(pieces, infill.bare)
        assert any(hole_is_covered(hole, outline) for outline in infill.placed)


def hole_is_covered(hole, outline):
    """Lay the hypotenuse of the piece along the frame, its right angle above that of the hole."""
    top, start, end = right_angle_first(corners(hole))
    corner, one, two = right_angle_first(outline)
    ahead = (end - start) / np.hypot(*(end - start))
    foot = start + ahead * ((top - start) @ ahead)
    upward = (top - foot) / np.hypot(*(top - foot))
    length = np.hypot(*(two - one))
    up = np.hypot(*(corner - one)) * np.hypot(*(corner - two)) / length
    reach = np.sqrt((corner - one) @ (corner - one) - up**2)
    lows = [foot - ahead * left for left in (reach, length - reach)]
    pieces = [shapely.Polygon([low, low + ahead * length, foot + upward * up]) for low in lows]
    return any(piece.buffer(1e-6).covers(hole) for piece in pieces)


def corners(hole):
    """Corners of the largest triangle in an outline, which must be the outline itself."""
    points = np.unique(np.round(hole.exterior.coords, 6), axis=0)
    largest = max(combinations(points, 3), key=lambda three: shapely.Polygon(three).area)
    assert shapely.Polygon(largest).area == pytest.approx(hole.area, abs=1e-5)
    return np.array(largest)


def right_angle_first(outline):
    for place in range(3):
        corner, one, two = np.roll(outline, -place, axis=0)
        if abs((one - corner) @ (two - corner)) < 1e-5:
            return corner, one, two
    raise AssertionError("no right angle")


def test_a_centre_cut_names_the_faces():
    pieces = opening_pieces(Opening(1230, 1480, 290, cut_pattern="centre"))
    assert [part.face for part in pieces.flaps] == ["left jamb", "right jamb"]
    assert [pieces.bare[infill.bare[0]].face for infill in pieces.infills] == ["foot", "head"]
    assert [infill.cut_from for infill in pieces.infills] == [(0,), (1,)]
    level = opening_pieces(Opening(1480, 1230, 290, cut_pattern="centre"))
    assert [part.face for part in level.flaps] == ["foot", "head"]


def test_errors_say_what_to_do():
    with pytest.raises(AirstatsError, match=r"width_mm: 0 will not do. Give a positive length"):
        Opening(0, 1000, 100)
    with pytest.raises(AirstatsError, match=r"sides: 5 will not do. Give 4, or 3"):
        Opening(1000, 1000, 100, sides=5)
    with pytest.raises(AirstatsError, match=r"cut_pattern: 'zigzag' is not known. Use one of"):
        Opening(1000, 1000, 100, cut_pattern="zigzag")


def placed_sizes(pieces):
    """Sides of the parts of each infill piece, m; each part must lie in its off-cut."""
    in_their_offcuts(pieces)
    return [
        [sorted(np.ptp(outline, axis=0).round(3).tolist()) for outline in infill.placed]
        for infill in pieces.infills
    ]


@pytest.mark.parametrize("slit", ["upright", "level"])
def test_a_patch_lengthens_a_strip_that_is_too_short(slit):
    square = Opening(1200, 1200, 200, cut_pattern="centre", practice=Practice(slit=slit))
    assert placed_sizes(opening_pieces(square)) == [[[0.22, 1.2], [0.1, 0.22]]] * 2


def test_two_short_halves_lap_by_one_return():
    """Pieces 1840 × 220 from strips 1300 long: halves of (1840 + 20) / 2 = 930."""
    wide = Opening(1800, 1300, 200, cut_pattern="centre", practice=Practice(slit="upright"))
    assert placed_sizes(opening_pieces(wide)) == [[[0.22, 0.93], [0.22, 0.93]]] * 2


def lines(*ends):
    return shapely.union_all([shapely.LineString(pair) for pair in ends])


CUT_LINES = [
    ("lined", "best", 4, [(0, 0, 1, 0), (0, 2, 1, 2), (0, 0, 0, 2), (1, 0, 1, 2)]),
    ("centre", "upright", 4, [(0, 0, 1, 0), (0, 2, 1, 2), (0.5, 0, 0.5, 2)]),
    ("centre", "level", 4, [(0, 0, 0, 2), (1, 0, 1, 2), (0, 1, 1, 1)]),
    # One leaf hangs from the head: the sheet is cut at both jambs and at the threshold.
    ("centre", "level", 3, [(0, 0, 0, 2), (1, 0, 1, 2), (0, 0, 1, 0)]),
]


@pytest.mark.parametrize(("cut", "slit", "sides", "expected"), CUT_LINES)
def test_where_the_sheet_is_cut(cut, slit, sides, expected):
    """An opening 1 m wide and 2 m high, its lower left corner at the origin."""
    pieces = opening_pieces(Opening(1000, 2000, 150, sides, cut, Practice(slit=slit)))
    drawn = lines(*pieces.cut_lines)
    assert drawn.equals(lines(*[((a, b), (c, d)) for a, b, c, d in expected]))


@pytest.mark.parametrize("cut", KNOWN_CUTS)
def test_flaps_and_cut_away_parts_are_the_sheet_and_fold_on_to_their_faces(cut):
    pieces = opening_pieces(Opening(1000, 2000, 150, cut_pattern=cut))
    sheet = [*pieces.flaps, *pieces.offcuts, *pieces.trimmings]
    laid = shapely.union_all([shapely.Polygon(part.outline) for part in sheet])
    if cut != "lined":
        assert laid.symmetric_difference(shapely.box(0, 0, 1, 2)).area == pytest.approx(0, abs=1e-9)
    faces = {part.face: shapely.Polygon(part.outline).buffer(1e-9) for part in pieces.faces}
    assert all(faces[part.face].covers(shapely.Polygon(part.outline)) for part in pieces.covered)
    assert (pieces.width_m, pieces.height_m, pieces.depth_m) == (1.0, 2.0, 0.15)


@pytest.mark.parametrize(("width", "cut", "count"), [(600, "centre", 4), (1200, "lined", 4)])
def test_each_loose_piece_of_strips_covers_one_bare_part(width, cut, count):
    """600 wide, 400 deep: a leaf of 300 is lengthened by a piece of its own."""
    upright = Practice(slit="upright")
    pieces = opening_pieces(Opening(width, 1000, 400, 4, cut, upright))
    assert [infill.bare for infill in pieces.infills] == [(place,) for place in range(count)]
    assert len(pieces.bare) == count


@pytest.mark.parametrize(
    ("width", "height", "reveal", "slit", "kept", "trimmed"),
    [
        (600, 1000, 300, "upright", 0, 0),  # The leaf is used whole, and is just long enough.
        (600, 1000, 200, "upright", 2, 0),  # Strips of 100 mm are kept.
        (600, 1000, 201, "upright", 0, 2),
        (90, 1000, 50, "level", 0, 2),  # Long strips, but too narrow an opening.
        (1000, 90, 50, "upright", 0, 2),
    ],
)
def test_strips_of_a_slit_cut_are_kept_from_100_mm(width, height, reveal, slit, kept, trimmed):
    practice = Practice(slit=slit)
    pieces = opening_pieces(Opening(width, height, reveal, 4, "centre", practice))
    assert (len(pieces.offcuts), len(pieces.trimmings)) == (kept, trimmed)
    assert len(pieces.bare) == len(pieces.infills) == 2
