"""The cut corner to corner: four flaps, and what their tips can be used for.

All lengths are in millimetres, so that whole numbers stay exact where a piece only just fits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airstats.geometry.cutting_rules import (
    JUST_FITS_MM,
    OFFCUT_LEAST_MM,
    CutResult,
    Floats,
    Practice,
    Sizes,
)


@dataclass(frozen=True)
class Tip:
    """The end of a triangular flap, cut off where the frame is: two equal sides (mm)."""

    base: Floats
    height: Floats
    side: Floats

    @property
    def area(self) -> Floats:
        """Area, mm²."""
        return self.base * self.height / 2

    @property
    def is_offcut(self) -> NDArray[np.bool_]:
        """True where the tip is large enough to be kept."""
        return np.minimum(self.base, self.height) >= OFFCUT_LEAST_MM


@dataclass(frozen=True)
class CornerFill:
    """How many infill pieces come out of the tips, one array an entry.

    `corners[i]` and `ends[i]` are the corner pieces and the threshold ends cut whole from tip `i`.
    `halved` are the corner pieces made from two halves.
    """

    corners: tuple[Floats, ...]
    ends: tuple[Floats, ...]
    halved: Floats


def diagonal_tips(width: Floats, height: Floats, depth: Floats, foot: Floats) -> tuple[Tip, ...]:
    """Tips of the flaps at foot, head, left and right jamb; without a lined foot, its whole flap.

    Parameters
    ----------
    width, height, depth : (n,) array
        Of opening and reveal, mm.
    foot : (n,) array
        1 where the foot is lined, 0 where it is not.
    """
    level = np.maximum(1 - 2 * depth / height, 0)
    upright = np.maximum(1 - 2 * depth / width, 0)
    whole_or_tip = np.where(foot > 0, level, 1.0)
    slope = np.hypot(width, height) / 2
    jamb = Tip(height * upright, width * upright / 2, slope * upright)
    return (
        Tip(width * whole_or_tip, height * whole_or_tip / 2, slope * whole_or_tip),
        Tip(width * level, height * level / 2, slope * level),
        jamb,
        jamb,
    )


def pieces_in_tip(tip: Tip, hypotenuse: Floats) -> Floats:
    """How many infill triangles with this hypotenuse a tip gives: 0, 1 or 2.

    Notes
    -----
    Every infill triangle has the shape of half a tip. Two fit if, and only if, each fits its half
    (hypotenuse <= side): otherwise the two are larger than the tip. One alone fits best with its
    hypotenuse along the base of the tip, up to min(base, 2 side²/base). That is the best of all
    placements: a triangle that fits another at all also fits it with a side lying on a side
    (Post, "Triangle in a triangle", Geometriae Dedicata 45, 1993), and of those 18 placements this
    one takes the largest piece. More than two a tip are never counted.
    """
    base = np.maximum(tip.base, 1e-9)
    one = hypotenuse <= np.minimum(base, 2 * tip.side**2 / base) + JUST_FITS_MM
    two = hypotenuse <= tip.side + JUST_FITS_MM
    return np.where(tip.is_offcut, np.where(two, 2.0, np.where(one, 1.0, 0.0)), 0.0)


def corner_hypotenuse(width: Floats, height: Floats, reach: Floats) -> Floats:
    """Hypotenuse of the piece that fills a reveal corner, mm.

    Parameters
    ----------
    width, height : (n,) array
        Of the opening, mm.
    reach : (n,) array
        Depth of the reveal plus return, mm.

    Notes
    -----
    The bare triangles of two neighbouring faces form one right-angled triangle with the base
    reach·(H/W + W/H) along the frame.
    """
    return reach * (width / height + height / width)


def fill_corners(
    width: Floats, height: Floats, depth: Floats, foot: Floats, turned: float, halves: bool
) -> CornerFill:
    """Share out the tips of a corner-to-corner cut among the infill pieces.

    Parameters
    ----------
    width, height, depth, foot
        As for `diagonal_tips`.
    turned : float
        The return, mm.
    halves : bool
        Whether a corner piece may be made from two halves that meet in the corner.

    Notes
    -----
    Corner pieces first, then the threshold ends of an unlined foot, then halves; the largest
    off-cut first. For four lined sides the whole pieces are as many as geometry allows. With an
    unlined foot, and for halves, a cleverer share-out may sometimes save one piece more.
    """
    tips = diagonal_tips(width, height, depth, foot)
    diagonal = np.hypot(width, height)
    reach = depth + turned
    jamb_half = reach * diagonal / width
    slots = tuple(np.full_like(depth, 2.0) for _ in tips)
    corners, slots = _take(tips, corner_hypotenuse(width, height, reach), 2 + 2 * foot, slots)
    ends, slots = _take(tips, jamb_half, 2 - 2 * foot, slots)
    if not halves:
        return CornerFill(corners, ends, np.zeros_like(depth))
    # The head half carries a tab round the corner; the triangle round piece and tab is larger.
    head_half = (reach + turned * height / width) * diagonal / height
    for_large = _half_slots(tips, np.maximum(head_half, jamb_half), slots)
    for_small = _half_slots(tips, np.minimum(head_half, jamb_half), slots)
    pairs = np.minimum(for_large, np.floor(for_small / 2))
    missing = 2 + 2 * foot - np.sum(corners, axis=0)
    return CornerFill(corners, ends, np.minimum(missing, pairs))


def _take(
    tips: tuple[Tip, ...], hypotenuse: Floats, wanted: Floats, slots: tuple[Floats, ...]
) -> tuple[tuple[Floats, ...], tuple[Floats, ...]]:
    """Pieces taken from each tip, and the half tips left over."""
    taken, left = [], []
    for tip, free in zip(tips, slots, strict=True):
        # Corner pieces are taken first and are the larger: where one of them has its half of a
        # tip, a smaller piece fits the other half.
        count = np.minimum(wanted, np.minimum(pieces_in_tip(tip, hypotenuse), free))
        # A single piece that does not fit half a tip needs the whole of it.
        whole_tip = hypotenuse > tip.side + JUST_FITS_MM
        wanted = wanted - count
        taken.append(count)
        left.append(np.where(whole_tip & (count > 0), 0.0, free - count))
    return tuple(taken), tuple(left)


def _half_slots(tips: tuple[Tip, ...], hypotenuse: Floats, slots: tuple[Floats, ...]) -> Floats:
    free = [
        np.where(tip.is_offcut & (hypotenuse <= tip.side + JUST_FITS_MM), slot, 0.0)
        for tip, slot in zip(tips, slots, strict=True)
    ]
    return np.asarray(np.sum(free, axis=0), dtype=np.float64)


def cut_diagonal(sizes: Sizes, practice: Practice) -> CutResult:
    """Cut corner to corner: a flap is used whole where the reveal is deeper than the flap.

    The bare triangles that meet in a corner are one loose piece, its base along the frame. Beyond
    half the opening two such pieces meet, and lap, in the middle of the face. With an unlined foot
    the threshold flap is cut away whole, and each jamb keeps a bare triangle at its lower end.
    """
    w, h, d, foot = sizes.width, sizes.height, sizes.depth, sizes.foot
    turned = practice.return_mm
    in_jamb, in_head = np.minimum(d, w / 2), np.minimum(d, h / 2)
    jambs = 2 * h * (in_jamb - in_jamb**2 / w)
    head = w * (in_head - in_head**2 / h)
    jamb_part = _corner_part(d + turned, h / w, (h + turned) / 2)
    corner = jamb_part + _corner_part(d + turned, w / h, (w + turned) / 2)
    any_reveal = np.where(d > 0, 1.0, 0.0)
    corners, ends = (2 + 2 * foot) * any_reveal, (2 - 2 * foot) * any_reveal
    fill = fill_corners(w, h, d, foot, turned, practice.halves)
    from_tips = np.minimum(np.sum(fill.corners, axis=0) + fill.halved, corners)
    ends_from_tips = np.minimum(np.sum(fill.ends, axis=0), ends)
    halved = np.minimum(fill.halved, corners)
    tips = diagonal_tips(w, h, d, foot)
    slope = np.hypot(w, h)
    joint = (
        4 * in_jamb * slope / w
        + (2 + 2 * foot) * in_head * slope / h
        + 2 * (d - in_jamb)
        + (1 + foot) * (d - in_head)
        + halved * d
    )
    return CutResult(
        jambs=jambs,
        head=head,
        under=foot * head,
        needed=corners * corner + ends * jamb_part,
        fillable=from_tips * corner + ends_from_tips * jamb_part,
        offcut=np.sum([np.where(tip.is_offcut, tip.area, 0.0) for tip in tips], axis=0),
        laid=w * h,
        joint=joint,
        pieces=corners + ends + halved,
    )


def _corner_part(reach: Floats, run: Floats, widest: Floats) -> Floats:
    """Area of the part of a corner piece on one face, mm²: a triangle, cut off where it meets."""
    sloping = np.minimum(reach, widest / run)
    area: Floats = run * sloping**2 / 2 + widest * (reach - sloping)
    return area
