"""The slit cut: two leaves line two faces, strips cut off the leaves may line the others."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from airstats.geometry.cutting_rules import (
    OFFCUT_LEAST_MM,
    CutResult,
    Floats,
    Practice,
    Sizes,
    fresh_strip,
)


@dataclass(frozen=True)
class Leaves:
    """A slit cut seen along its leaves: `hinge` along the fold, `span` from fold to slit (mm)."""

    hinge: Floats
    span: Floats
    leaves: Floats
    loose_length: Floats
    loose_ends: Floats
    loose: Floats


def upright_leaves(sizes: Sizes) -> Leaves:
    """Slit down the middle: two leaves line the jambs, head and foot need loose pieces."""
    two = np.full_like(sizes.width, 2.0)
    return Leaves(sizes.height, sizes.width / 2, two, sizes.width, two, 1 + sizes.foot)


def level_leaves(sizes: Sizes) -> Leaves:
    """Slit level: leaves line head and foot; with an unlined foot one leaf hangs from the head.

    No leaf is wanted at an unlined foot, so the slit moves down to the threshold and the leaf is
    as long as the opening is high.
    """
    two = np.full_like(sizes.width, 2.0)
    span = np.where(sizes.foot > 0, sizes.height / 2, sizes.height)
    return Leaves(sizes.width, span, 1 + sizes.foot, sizes.height, 1 + sizes.foot, two)


def _slit(sizes: Sizes, practice: Practice, level: bool) -> CutResult:
    """Work out one way of the slit."""
    leaf = level_leaves(sizes) if level else upright_leaves(sizes)
    d, turned = sizes.depth, practice.return_mm
    folded = np.minimum(d, leaf.span)
    loose = np.where(d > 0, leaf.loose, 0.0)
    length = leaf.loose_length + leaf.loose_ends * turned
    fresh = fresh_strip(length, d + turned, sizes.roll, turned)
    short = np.where(d > leaf.span, leaf.leaves, 0.0)
    extra = fresh_strip(leaf.hinge, d - leaf.span + turned, sizes.roll, turned)
    filled, halved, half_joint = fill_strips(leaf, d, practice)
    filled = np.minimum(filled, loose)
    halved = np.minimum(halved, loose)
    left = leaf.span - folded
    rest = loose - filled
    joint = (
        loose * (leaf.loose_length + leaf.loose_ends * d)
        + rest * fresh.joint
        + short * (leaf.hinge + extra.joint)
        + halved * half_joint
    )
    covered = leaf.hinge * folded
    none = np.zeros_like(covered)
    return CutResult(
        jambs=none if level else 2 * covered,
        head=covered if level else none,
        under=sizes.foot * covered if level else none,
        needed=loose * fresh.sheet + short * extra.sheet,
        fillable=filled * fresh.sheet,
        offcut=np.where(
            np.minimum(left, leaf.hinge) >= OFFCUT_LEAST_MM, leaf.leaves * leaf.hinge * left, 0.0
        ),
        laid=sizes.width * sizes.height,
        joint=joint,
        pieces=filled + halved + rest * fresh.parts + short * extra.parts,
    )


def fill_strips(leaf: Leaves, depth: Floats, practice: Practice) -> tuple[Floats, Floats, Floats]:
    """Loose pieces that the strips left of the leaves supply.

    Returns the pieces supplied, how many of them from two parts, and the joint in such a piece
    (mm).

    Parameters
    ----------
    leaf : Leaves
        n openings.
    depth : (n,) array
        Of the reveals, mm.
    practice : Practice
        Its return and whether pieces may be halved; the slit is that of `leaf`.

    Notes
    -----
    A strip (span - depth) × hinge gives pieces cut square, all turned the same way; a piece laid
    aslant is not counted. Two parts are tried where no whole piece fits: two short halves; a part
    as long as the strip and a patch cut beside it; or, if those give fewer, two narrow halves. The
    parts lap by one return.
    """
    turned = practice.return_mm
    left = np.maximum(leaf.span - depth, 0)
    length, deep = leaf.loose_length + leaf.loose_ends * turned, depth + turned

    def supply(a: Floats, b: Floats) -> Floats:
        return leaf.leaves * pieces_in_strip(left, leaf.hinge, a, b)

    whole = np.minimum(leaf.loose, supply(deep, length))
    if not practice.halves:
        return whole, np.zeros_like(whole), np.zeros_like(whole)
    short = np.floor(supply(deep, (length + turned) / 2) / 2)
    patched = leaf.leaves * patch_fits(left, leaf.hinge, deep, length, turned)
    narrow = np.floor(supply((deep + turned) / 2, length) / 2)
    across = np.maximum(short, patched)
    halved = np.where(whole > 0, 0.0, np.minimum(leaf.loose, np.maximum(across, narrow)))
    return whole + halved, halved, np.where(across >= narrow, depth, leaf.loose_length)


def pieces_in_strip(strip_width: Floats, strip_length: Floats, a: Floats, b: Floats) -> Floats:
    """How many pieces a × b can be cut square from a strip, all turned the same way.

    Parameters
    ----------
    strip_width, strip_length, a, b : (n,) array
        Sides of the strip and of a piece, mm.
    """
    along = np.floor(strip_width / a) * np.floor(strip_length / b)
    across = np.floor(strip_width / b) * np.floor(strip_length / a)
    is_offcut = np.minimum(strip_width, strip_length) >= OFFCUT_LEAST_MM
    return np.where(is_offcut, np.maximum(along, across), 0.0)


def patch_length(hinge: Floats, length: Floats, lap: float) -> Floats:
    """Length of the patch that a strip too short for a piece is lengthened by, mm.

    Parameters
    ----------
    hinge : (n,) array
        Length of the strip, mm.
    length : (n,) array
        Length of the piece, mm.
    lap : float
        How far its parts lap, mm.
    """
    return np.maximum(length + lap - hinge, OFFCUT_LEAST_MM)


def patch_fits(left: Floats, hinge: Floats, deep: Floats, length: Floats, lap: float) -> Floats:
    """1 where a strip gives a part as long as itself and, beside it, the patch; 0 elsewhere.

    Parameters
    ----------
    left : (n,) array
        Width of the strip, mm.
    deep : (n,) array
        Width of the piece, mm.
    hinge, length, lap
        As for `patch_length`.
    """
    beside = left - deep >= patch_length(hinge, length, lap)
    long_enough = hinge >= np.maximum(deep, OFFCUT_LEAST_MM)
    return np.where((hinge < length) & beside & long_enough, 1.0, 0.0)


def cut_centre(sizes: Sizes, practice: Practice) -> CutResult:
    """Cut the slit upright, level, or whichever way is better."""
    if practice.slit != "best":
        return _slit(sizes, practice, practice.slit == "level")
    upright, level = (_slit(sizes, practice, way) for way in (False, True))
    better = _level_is_better(upright, level)
    pairs = ((getattr(level, f.name), getattr(upright, f.name)) for f in fields(CutResult))
    return CutResult(*(np.where(better, *pair) for pair in pairs))


def slit_runs_level(sizes: Sizes, practice: Practice) -> NDArray[np.bool_]:
    """Say for each opening whether the slit of a `centre` cut runs level."""
    if practice.slit != "best":
        return np.full(sizes.width.shape, practice.slit == "level")
    return _level_is_better(*(_slit(sizes, practice, way) for way in (False, True)))


def _level_is_better(upright: CutResult, level: CutResult) -> NDArray[np.bool_]:
    """Less fresh sheet, by more than rounding; where it is the same, fewer pieces."""
    gain = (upright.needed - upright.fillable) - (level.needed - level.fillable)
    same = np.abs(gain) < 1.0
    return np.where(same, level.pieces < upright.pieces, gain > 0)
