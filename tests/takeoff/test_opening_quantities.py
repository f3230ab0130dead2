"""The geometry of an opening against polygons built here independently, and closed forms."""

import numpy as np
import pandas as pd
import pytest
import shapely

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.cutting_rules import Practice
from airstats.takeoff.opening_quantities import COLUMNS, opening_quantities
from tests.external_checks import agree
from tests.invented import KNOWN_CUTS, PLAIN, many, one, table

PRACTICES = (
    Practice(),
    PLAIN,
    Practice(return_mm=0),
    Practice(slit="level", halves=True),
    Practice(slit="best", halves=True, return_mm=35),
)


def flap_outlines(w, h, face, cut, slit, sides):
    """Outline of each flap in the plane of the sheet, metres, as rows of (n, 4, 2)."""
    corner = {"ll": (0 * w, 0 * h), "lr": (w, 0 * h), "ul": (0 * w, h), "ur": (w, h)}
    centre = (w / 2, h / 2)
    if cut == "diagonal":
        ends = {"left": "ll ul", "right": "lr ur", "head": "ul ur", "foot": "ll lr"}[face].split()
        points = [corner[ends[0]], corner[ends[1]], centre, centre]
    elif slit == "upright":
        x = 0 * w if face == "left" else w
        points = [(x, 0 * h), (x, h), (w / 2, h), (w / 2, 0 * h)]
    else:
        y = 0 * h if face == "foot" else h
        middle = np.where(sides == 4, h / 2, 0)
        points = [(0 * w, y), (w, y), (w, middle), (0 * w, middle)]
    return np.moveaxis(np.array(points), (0, 1), (1, 2))


def folded_and_bare(openings, cut, slit):
    """Fold each flap by reflection about its edge, cut it at the frame, subtract it."""
    w, h, d = (openings[n].to_numpy() / 1000 for n in ("width_mm", "height_mm", "reveal_mm"))
    sides = openings["sides"].to_numpy()
    faces = {
        "left": (shapely.box(-d, 0, 0 * w, h), 0, 0 * w),
        "right": (shapely.box(w, 0, w + d, h), 0, w),
        "head": (shapely.box(0, h, w, h + d), 1, h),
        "foot": (shapely.box(0, -d, w, 0 * w), 1, 0 * h),
    }
    slit_faces = ("left", "right") if slit == "upright" else ("head", "foot")
    folding = {"diagonal": tuple(faces), "centre": slit_faces, "lined": ()}[cut]
    covered, bare = {}, np.zeros(len(openings))
    for name, (face, axis, mirror) in faces.items():
        lined = np.where((name == "foot") & (sides == 3), 0.0, 1.0)
        covered[name] = np.zeros(len(openings))
        rest = face
        if name in folding:
            points = flap_outlines(w, h, name, cut, slit, sides)
            points[:, :, axis] = 2 * mirror[:, None] - points[:, :, axis]
            flap = shapely.polygons(points)
            covered[name] = lined * shapely.area(shapely.intersection(flap, face))
            rest = shapely.difference(face, flap)
        bare += lined * shapely.area(rest)
    return covered, bare


def close(found, expected):
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-9)


@pytest.mark.parametrize("slit", ["upright", "level"])
@pytest.mark.parametrize("cut", KNOWN_CUTS)
def test_areas_agree_with_folded_polygons(cut, slit):
    openings = many(2000, seed=11, cuts=(cut,))
    result = opening_quantities(openings, Practice(slit=slit))
    covered, bare = folded_and_bare(openings, cut, slit)
    jambs = covered["left"] + covered["right"]
    close(result["covered_jambs_m2"], jambs)
    close(result["covered_head_m2"], covered["head"])
    close(result["covered_foot_m2"], covered["foot"])
    name = f"bare.{cut}.{slit}" if cut == "centre" else f"bare.{cut}"
    agree(name, result["bare_m2"], bare)


def test_closed_form_corner_to_corner():
    # Design formula: bare = 2 d² (H/W + W/H) up to half the shorter side.
    for w, h, d in [(1.23, 1.48, 0.4), (0.6, 2.0, 0.3), (2.4, 1.0, 0.5)]:
        close(one(w * 1000, h * 1000, d * 1000)["bare_m2"], 2 * d**2 * (h / w + w / h))
        # With a return t, the pieces are those of a reveal deeper by t.
        k = 0.8 * d + 0.02
        close(one(w * 1000, h * 1000, d * 800)["needed_m2"], 2 * k**2 * (h / w + w / h))
    # Beyond the flaps all of them are used.
    deep = one(600, 800, 1000)
    close(deep["covered_m2"], 0.6 * 0.8)
    close(deep["bare_m2"], 2 * (0.6 + 0.8) * 1.0 - 0.6 * 0.8)


def test_unlined_threshold_leaves_its_flap_as_an_offcut():
    result = one(1000, 2100, 200, sides=3)
    assert result["covered_foot_m2"] == 0
    close(result["bare_m2"], 0.2**2 * (2 * 2.1 / 1.0 + 1.0 / 2.1))
    assert result["offcut_m2"] >= 1.0 * 2.1 / 4
    assert result["pieces"] == 4


def test_lined_strips_and_their_joints():
    result = one(1230, 1480, 400, cut="lined")
    close(result["needed_m2"], 2 * (1.48 + 1.23 + 0.04) * 0.42)
    close(result["joint_m"], 2 * (1.23 + 1.48) + 4 * 0.4)
    assert (result["pieces"], result["offcut_m2"], result["covered_m2"]) == (4, 0, 0)
    door = one(1000, 2100, 300, sides=3, cut="lined")
    close(door["joint_m"], 2 * 2.1 + 1.0 + 2 * 0.3)
    assert door["pieces"] == 3


def test_strip_wider_than_the_roll_gets_a_joint():
    openings = table([(3000, 2000, 500, 4, "lined")] * 2)
    both = opening_quantities(openings, PLAIN, np.array([0.4, 1.5]))
    # 520 wide from a roll of 400: ceil((520 - 20) / (400 - 20)) = 2 parts.
    assert both["pieces"].tolist() == [8, 4]
    lengths = 2 * 2.0 + 2 * 3.04
    close(both["joint_m"].diff()[1], -lengths)
    close(both["needed_m2"].diff()[1], -0.02 * lengths)
    # Two parts of 400 that lap by 20 make 780 = 760 + 20; one millimetre more takes three.
    assert one(3000, 2000, 760, cut="lined", roll=0.4)["pieces"] == 4 * 2
    assert one(3000, 2000, 761, cut="lined", roll=0.4)["pieces"] == 4 * 3
    # The usual roll is 1.5 m wide: 1600 deep takes two parts.
    assert opening_quantities(table([(3000, 2000, 1600, 4, "lined")]))["pieces"].tolist() == [8]


# A 300 × 400 opening has a diagonal of 500, so that slopes come out as whole numbers.
@pytest.mark.parametrize(
    ("reveal", "sides", "joint_mm"),
    [
        (60, 4, 4 * 100 + 4 * 75),
        (60, 3, 4 * 100 + 2 * 75),
        # Deeper than the jamb flaps: their whole edges, and 30 where pieces meet on each jamb.
        (180, 4, 4 * 250 + 4 * 225 + 2 * 30),
        (180, 3, 4 * 250 + 2 * 225 + 2 * 30),
        # Deeper than all flaps: 100 on each jamb, 50 at head and foot.
        (250, 4, 8 * 250 + 2 * 100 + 2 * 50),
        (250, 3, 6 * 250 + 2 * 100 + 1 * 50),
    ],
)
def test_joints_of_corner_pieces(reveal, sides, joint_mm):
    assert one(300, 400, reveal, sides)["joint_m"] == pytest.approx(joint_mm / 1000, abs=1e-12)


def test_corner_pieces_lap_where_they_meet():
    # Half the face and half a return: 210 along the jamb, 160 along the head, 270 deep.
    piece = [(0, 0), (210, 157.5), (210, 270), (-160, 270), (-160, 160 * 4 / 3)]
    expected = 4 * shapely.Polygon(piece).area / 1e6
    assert one(300, 400, 250)["needed_m2"] == pytest.approx(expected, abs=1e-12)


def test_a_corner_piece_from_halves_has_one_joint_more():
    openings = table([(1230, 1480, d, 4, "diagonal") for d in range(200, 330)])
    before, after = (opening_quantities(openings, Practice(halves=h)) for h in (False, True))
    gain = after - before
    assert gain["pieces"].max() > 0
    close(gain["joint_m"], gain["pieces"] * openings["reveal_mm"] / 1000)
    close(gain["fillable_m2"], gain["pieces"] * before["needed_m2"] / 4)


@pytest.mark.parametrize("practice", PRACTICES)
def test_sheet_is_conserved_and_no_cut_beats_the_bound(practice):
    openings = many(10_000, seed=7)
    result = opening_quantities(openings, practice)
    across = result["opening_m2"].where(openings["cut_pattern"] != "lined", 0.0)
    close(result["covered_m2"] + result["offcut_m2"] + result["trimmed_m2"], across)
    close(result["covered_m2"] + result["bare_m2"], result["reveal_m2"])
    close(result["fresh_m2"] + result["fillable_m2"], result["needed_m2"])
    assert (result["fillable_m2"] <= result["offcut_m2"] + 1e-9).all()
    assert (result["needed_m2"] >= result["bare_m2"] - 1e-9).all()
    bound = (result["reveal_m2"] - across).clip(lower=0)
    close(result["bound_m2"], bound)
    assert (result["needed_m2"] - result["fillable_m2"] >= bound - 1e-9).all()
    close(result["over_bound_m2"], result["fresh_m2"] - bound)


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("sides", [3, 4])
def test_covered_and_bare_are_continuous_in_depth(cut, sides):
    w, h, step = 700.0, 1100.0, 0.5
    depths = np.arange(step, 1300, step)
    openings = table([(w, h, d, sides, cut) for d in depths])
    for slit in ("upright", "level"):
        result = opening_quantities(openings, Practice(slit=slit))
        # A reveal deeper by a step gains at most its perimeter times the step.
        steepest = 2 * (w + h) * step / 1e6 + 1e-12
        assert result["covered_m2"].diff().dropna().between(-1e-12, steepest).all()
        assert result["bare_m2"].diff().dropna().between(-1e-12, steepest).all()


def test_needed_sheet_of_corner_pieces_is_continuous_where_they_meet():
    openings = table([(700.0, 1100.0, d, 4, "diagonal") for d in np.arange(250, 700, 0.5)])
    needed = opening_quantities(openings)["needed_m2"]
    assert needed.diff().dropna().between(0, 2 * 1.84 * 0.5 / 1000 + 1e-12).all()


def test_no_reveal_needs_no_pieces_and_deeper_ones_use_more_of_the_flaps():
    for cut in CUTS:
        result = one(1230, 1480, 0, cut=cut)
        assert (result["pieces"], result["needed_m2"], result["fillable_m2"]) == (0, 0, 0)
        assert (result["fresh_m2"], result["bare_m2"]) == (0, 0)
    # Common practice, no source.
    openings = table([(1230, 1480, d, 4, "diagonal") for d in range(50, 620, 50)])
    result = opening_quantities(openings)
    assert (result["covered_m2"] / result["opening_m2"]).is_monotonic_increasing
    assert (result["offcut_m2"] / result["opening_m2"]).is_monotonic_decreasing


def test_index_is_kept_and_input_is_not_changed():
    openings = many(20, seed=1).set_index(pd.Index(range(100, 120)))
    before = openings.copy()
    result = opening_quantities(openings.assign(count=3))
    assert result.index.tolist() == list(range(100, 120))
    assert result.columns.tolist() == list(COLUMNS)
    assert all(np.issubdtype(kind, np.floating) for kind in result.dtypes)
    pd.testing.assert_frame_equal(openings, before)
    assert opening_quantities(openings.iloc[:0]).empty


def test_errors_say_what_to_do():
    with pytest.raises(AirstatsError, match=r"slit: 'sideways' is not known. Use one of upright"):
        Practice(slit="sideways")
    with pytest.raises(AirstatsError, match="return_mm: -1 will not do"):
        Practice(return_mm=-1)
    unknown = r"cut_pattern, row 0: 'zigzag' is not known. Use one of diagonal \(corner to corner"
    with pytest.raises(AirstatsError, match=unknown):
        one(1000, 1000, 100, cut="zigzag")
    for roll in (0.01, 0.02):
        with pytest.raises(AirstatsError, match=rf"roll_width_m: {roll} m is not wider than the"):
            one(1000, 1000, 100, roll=roll)


# An invented house of the usual kind: width, height, reveal (mm) and how many.
HOUSE = [
    (1230, 1480, 380, 7),
    (1230, 1230, 380, 3),
    (880, 1230, 350, 4),
    (1800, 1480, 350, 1),
    (630, 980, 400, 3),
    (1010, 2130, 350, 2),
]


def house(cut):
    frame = table([(w, h, d, 3 if h > 2000 else 4, cut) for w, h, d, _ in HOUSE])
    return frame, np.array([count for *_, count in HOUSE])


def test_typical_houses_have_the_reveals_of_practice_and_of_the_reference_window():
    # Common practice, no source: 20 to 25 openings, 30 to 40 m² of reveal.
    frame, counts = house("lined")
    assert 20 <= counts.sum() <= 25
    reveal = float(opening_quantities(frame)["reveal_m2"] @ counts)
    assert 30 <= reveal <= 40
    # Window area 0.122·150 + 6.875 m² (UK RdSAP 2012, table S4), as seen in print. Reference
    # window 1.23 × 1.48 m, as seen. Products 29.98 and 37.48 m²: two implementations agree.
    windows = (0.122 * 150 + 6.875) / (1.23 * 1.48)
    agree("rdsap.reveals", [windows * one(1230, 1480, d)["reveal_m2"] for d in (400, 500)])
