"""What the flaps cover, which loose pieces are needed, what is left over; the slit has `slit`."""

from __future__ import annotations

import numpy as np

from airstats.geometry.cutting_rules import CutResult, Practice, Sizes, fresh_strip
from airstats.geometry.offcuts import Floats, diagonal_tips, fill_corners


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
    jamb_part = corner_part(d + turned, h / w, (h + turned) / 2)
    corner = jamb_part + corner_part(d + turned, w / h, (w + turned) / 2)
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


def corner_part(reach: Floats, run: Floats, widest: Floats) -> Floats:
    """Area of the part of a corner piece on one face, mm²: a triangle, cut off where it meets."""
    sloping = np.minimum(reach, widest / run)
    area: Floats = run * sloping**2 / 2 + widest * (reach - sloping)
    return area


def cut_lined(sizes: Sizes, practice: Practice) -> CutResult:
    """Stop the sheet at the opening: a strip for each face, none of it from off-cuts."""
    w, h, d, foot = sizes.width, sizes.height, sizes.depth, sizes.foot
    turned = practice.return_mm
    jamb = fresh_strip(h, d + turned, sizes.roll, turned)
    level = fresh_strip(w + 2 * turned, d + turned, sizes.roll, turned)
    jambs = np.where(d > 0, 2.0, 0.0)
    levels = np.where(d > 0, 1 + foot, 0.0)
    none = np.zeros_like(d)
    return CutResult(
        jambs=none,
        head=none,
        under=none,
        needed=jambs * jamb.sheet + levels * level.sheet,
        fillable=none,
        offcut=none,
        laid=none,
        joint=jambs * (h + jamb.joint) + levels * (w + 2 * d + level.joint),
        pieces=jambs * jamb.parts + levels * level.parts,
    )
