"""Outlines for the cut from corner to corner: four flaps, their tips, and the corner pieces."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from airstats.geometry.cutting_rules import Practice
from airstats.geometry.offcuts import (
    JUST_FITS_MM,
    Tip,
    corner_hypotenuse,
    diagonal_tips,
    fill_corners,
)
from airstats.geometry.outlines import FACES, Frame, Infill, OpeningPieces, Outline, Part

# The two faces that meet in each corner, and which end of their edges that is.
CORNERS = (
    (("left jamb", 1), ("head", 0)),
    (("right jamb", 1), ("head", 1)),
    (("left jamb", 0), ("foot", 0)),
    (("right jamb", 0), ("foot", 1)),
)
Slot = tuple[int, Outline]


def diagonal_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    """Cut an opening from corner to corner (`frame` in mm; outlines in mm)."""
    w, h = frame.width, frame.height
    apex = np.array([w / 2, h / 2])
    tips = _tips(frame)
    kept = [place for place, face in enumerate(FACES) if tips[place].is_offcut[0]]
    cut_away = [Part(face, _beyond(frame, face, apex)) for face in FACES]
    flaps = tuple(Part(face, _used(frame, face, apex)) for face in frame.lined)
    bare, groups = _bare_parts(frame, apex)
    sources = [(cut_away[place], place) for place in kept]
    return OpeningPieces(
        width_m=w,
        height_m=h,
        depth_m=frame.depth,
        cut_lines=_cut_lines(frame),
        flaps=flaps,
        faces=tuple(Part(face, frame.strip(face, 0, frame.depth)) for face in frame.lined),
        covered=tuple(Part(flap.face, frame.fold(flap.face, flap.outline)) for flap in flaps),
        bare=bare,
        offcuts=tuple(part for part, _ in sources),
        trimmings=tuple(
            part
            for place, part in enumerate(cut_away)
            if place not in kept and tips[place].area[0] > 0
        ),
        infills=_infills(frame, practice, groups, kept, cut_away),
    )


def _cut_lines(frame: Frame) -> tuple[Outline, ...]:
    """Cut both diagonals, and free the flap of an unlined foot along the threshold."""
    w, h = frame.width, frame.height
    lines = [np.array([(0, 0), (w, h)]), np.array([(0, h), (w, 0)])]
    if "foot" not in frame.lined:
        lines.append(np.array(frame.edge("foot")))
    return tuple(lines)


def _tips(frame: Frame) -> tuple[Tip, ...]:
    foot = float("foot" in frame.lined)
    return diagonal_tips(
        *(_array(value) for value in (frame.width, frame.height, frame.depth, foot))
    )


def _array(value: float) -> Outline:
    return np.array([value])


def _reach(frame: Frame, face: str) -> float:
    """Share of a flap's height that is folded in; none of the flap of an unlined foot."""
    if face not in frame.lined:
        return 0.0
    across = frame.width if face.endswith("jamb") else frame.height
    return min(1.0, frame.depth / (across / 2))


def _used(frame: Frame, face: str, apex: Outline) -> Outline:
    a, b = frame.edge(face)
    share = _reach(frame, face)
    return np.array([a, b, b + (apex - b) * share, a + (apex - a) * share])


def _beyond(frame: Frame, face: str, apex: Outline) -> Outline:
    a, b = frame.edge(face)
    share = _reach(frame, face)
    return np.array([a + (apex - a) * share, b + (apex - b) * share, apex])


def _bare_parts(
    frame: Frame, apex: Outline
) -> tuple[tuple[Part, ...], tuple[tuple[int, ...], ...]]:
    """List the bare parts, and for each corner the places of the one or two that meet there."""
    parts: list[Part] = []
    groups = []
    for corner in CORNERS:
        lined = [(face, end) for face, end in corner if face in frame.lined]
        groups.append(tuple(range(len(parts), len(parts) + len(lined))))
        parts += [Part(face, _bare(frame, face, end, apex)) for face, end in lined]
    return tuple(parts), tuple(groups)


def _bare(frame: Frame, face: str, end: int, apex: Outline) -> Outline:
    """Outline what a flap leaves bare at one end: a triangle, or more where the flap is short."""
    corner = frame.edge(face)[end]
    tip = frame.fold(face, apex[None])[0]
    at_frame = frame.into(face, frame.depth)
    share = _reach(frame, face)
    points = [corner, corner + (tip - corner) * share]
    if share == 1.0:
        points.append(np.mean(frame.edge(face), axis=0) + at_frame)
    return np.array([*points, corner + at_frame])


def _infills(
    frame: Frame,
    practice: Practice,
    groups: tuple[tuple[int, ...], ...],
    kept: list[int],
    cut_away: list[Part],
) -> tuple[Infill, ...]:
    """Hand out places in the tips to the corner pieces, just as `fill_corners` counts them."""
    corners, ends, pairs = _places(frame, practice, [part.outline for part in cut_away])
    infills = []
    for bare in groups:
        # With an unlined foot the lower corners hold the jamb's end alone.
        stock = corners if len(bare) == 2 else ends
        chosen: tuple[Slot, ...] = ()
        if stock:
            chosen = (stock.pop(0),)
        elif len(bare) == 2 and pairs:
            chosen = pairs.pop(0)
        sources = tuple(kept.index(place) for place, _ in chosen)
        size = _legs(frame, frame.depth + practice.return_mm, alone=len(bare) == 1)
        placed = tuple(outline for _, outline in chosen)
        infills.append(Infill(bare, size, sources, placed, triangular=True))
    return tuple(infills)


def _legs(frame: Frame, reach: float, alone: bool) -> tuple[float, float]:
    """Both legs of a corner piece, or of the threshold end of a jamb alone, mm."""
    if alone:
        return reach, reach * frame.height / frame.width
    slope = float(np.hypot(frame.width, frame.height))
    return reach * slope / frame.width, reach * slope / frame.height


def _places(
    frame: Frame, practice: Practice, tips: list[Outline]
) -> tuple[list[Slot], list[Slot], list[tuple[Slot, ...]]]:
    """Return places for corner pieces, for threshold ends, and pairs of places for halves."""
    w, h, d = _array(frame.width), _array(frame.height), _array(frame.depth)
    foot, turned = _array(float("foot" in frame.lined)), practice.return_mm
    fill = fill_corners(w, h, d, foot, turned, practice.halves)
    slope, reach = np.hypot(w, h)[0], (d + turned)[0]
    corner = corner_hypotenuse(w, h, d + turned)[0]
    jamb_half = reach * slope / frame.width
    head_half = (reach + turned * frame.height / frame.width) * slope / frame.height
    corners, ends, free = [], [], []
    for place, outline in enumerate(tips):
        pieces = [corner] * int(fill.corners[place][0]) + [jamb_half] * int(fill.ends[place][0])
        slots = list(_tip_slots(outline, pieces))
        corners += [(place, slot) for slot in slots[: int(fill.corners[place][0])]]
        ends += [(place, slot) for slot in slots[int(fill.corners[place][0]) :]]
        free += [(place, half) for half in _free_halves(outline, pieces)]
    pairs = _pairs(free, int(fill.halved[0]), jamb_half, head_half)
    return corners, ends, pairs


def _half(tip: Outline, end: int) -> Outline:
    """Half a tip: its right angle (on the base), its corner of the base, its apex."""
    return np.array([(tip[0] + tip[1]) / 2, tip[end], tip[2]])


def _side(tip: Outline) -> float:
    return float(np.hypot(*(tip[2] - tip[0])))


def _shrunk(half: Outline, hypotenuse: float) -> Outline:
    share = hypotenuse / np.hypot(*(half[1] - half[2]))
    smaller: Outline = half[0] + (half - half[0]) * share
    return smaller


def _tip_slots(tip: Outline, pieces: list[float]) -> Iterator[Outline]:
    """Place pieces of these hypotenuses in one tip: one in each half, or one along the base."""
    for end, hypotenuse in enumerate(pieces):
        if hypotenuse <= _side(tip) + JUST_FITS_MM:
            yield _shrunk(_half(tip, end), hypotenuse)
        else:
            base, side = tip[1] - tip[0], tip[2] - tip[0]
            length = float(np.hypot(*base))
            right_angle = hypotenuse * length / 2 / _side(tip) ** 2
            yield tip[0] + np.array([base * 0, base * (hypotenuse / length), side * right_angle])


def _free_halves(tip: Outline, pieces: list[float]) -> list[Outline]:
    if any(hypotenuse > _side(tip) + JUST_FITS_MM for hypotenuse in pieces):
        return []
    return [_half(tip, end) for end in range(len(pieces), 2)]


def _pairs(
    free: list[Slot], count: int, jamb_half: float, head_half: float
) -> list[tuple[Slot, ...]]:
    """Pair half tips for pieces made of two halves: the larger half first, where it fits."""
    large, small = max(jamb_half, head_half), min(jamb_half, head_half)
    chosen = []
    for hypotenuse in (large, small):
        fitting = [slot for slot in free if hypotenuse <= np.hypot(*(slot[1][1] - slot[1][2]))]
        taken = fitting[:count]
        free = [slot for slot in free if not any(slot is other for other in taken)]
        chosen.append([(place, _shrunk(half, hypotenuse)) for place, half in taken])
    return list(zip(*chosen, strict=True))
