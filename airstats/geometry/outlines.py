"""Outlines of the pieces of one opening, cut by cut, and the folding of a flap on to its face.

Coordinates: x to the right and y up from the lower left corner of the opening. The reveal is
unfolded outwards, so that each face lies beside its edge of the opening and a flap folds on to it
by a reflection about that edge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airstats.geometry.cutting_rules import JUST_FITS_MM, OFFCUT_LEAST_MM, Practice, Sizes
from airstats.geometry.diagonal_cut import corner_hypotenuse, diagonal_tips, fill_corners
from airstats.geometry.slit_cut import patch_fits, patch_length, slit_runs_level

Outline = NDArray[np.float64]
FACES = ("foot", "head", "left jamb", "right jamb")
_OUTWARD = {"foot": (0, -1), "head": (0, 1), "left jamb": (-1, 0), "right jamb": (1, 0)}


@dataclass(frozen=True)
class Part:
    """An outline (n × 2) and the face that it belongs to."""

    face: str
    outline: Outline


@dataclass(frozen=True)
class Infill:
    """A loose piece: the bare parts that it covers and where it comes from.

    `bare` holds places in `OpeningPieces.bare`; `cut_from` places in `OpeningPieces.offcuts`, one
    for each outline in `placed` (two for a piece made from halves, none for fresh sheet). A placed
    outline includes the returns; a half with a tab is drawn as the triangle that holds it.
    `size_mm` is what to cut, returns included, always in mm: length and depth of a strip, both
    legs at the right angle of a `triangular` piece (its points cut off where it meets another).
    """

    bare: tuple[int, ...]
    size_mm: tuple[float, float]
    cut_from: tuple[int, ...] = ()
    placed: tuple[Outline, ...] = ()
    triangular: bool = False

    @property
    def is_fresh(self) -> bool:
        """True where no off-cut supplies the piece."""
        return not self.placed


@dataclass(frozen=True)
class OpeningPieces:
    """One opening, cut: lengths in m, outlines in the plane of the sheet.

    `cut_lines` are the cuts in the laid sheet; `flaps` what is folded in, before folding; `faces`
    the lined faces of the reveal, unfolded; `covered` the flaps after folding; `bare` the rest of
    the faces; `offcuts` and `trimmings` what is cut away, large and small; `infills` the loose
    pieces; `way` which way a slit runs.
    """

    width_m: float
    height_m: float
    depth_m: float
    cut_lines: tuple[Outline, ...]
    flaps: tuple[Part, ...]
    faces: tuple[Part, ...]
    covered: tuple[Part, ...]
    bare: tuple[Part, ...]
    infills: tuple[Infill, ...]
    offcuts: tuple[Part, ...] = ()
    trimmings: tuple[Part, ...] = ()
    way: str = ""


@dataclass(frozen=True)
class Frame:
    """Width, height and depth of one opening, mm, and the faces that are lined."""

    width: float
    height: float
    depth: float
    lined: tuple[str, ...]

    @property
    def faces(self) -> tuple[Part, ...]:
        """The lined faces, unfolded."""
        return tuple(Part(face, self.strip(face, 0, self.depth)) for face in self.lined)

    def sizes(self) -> tuple[Outline, Outline, Outline, Outline]:
        """Return width, height, depth and whether the foot is lined, as arrays of one opening."""
        foot = float("foot" in self.lined)
        width, height, depth = (np.array([n]) for n in (self.width, self.height, self.depth))
        return width, height, depth, np.array([foot])

    def edge(self, face: str) -> tuple[Outline, Outline]:
        """Return both ends of the edge of a face, the lower or left one first."""
        w, h = self.width, self.height
        ends = {
            "foot": ((0, 0), (w, 0)),
            "head": ((0, h), (w, h)),
            "left jamb": ((0, 0), (0, h)),
            "right jamb": ((w, 0), (w, h)),
        }[face]
        return np.array(ends[0], dtype=float), np.array(ends[1], dtype=float)

    def into(self, face: str, distance: float) -> Outline:
        """Return the vector of that length from the edge of a face to its frame."""
        return np.array(_OUTWARD[face], dtype=float) * distance

    def fold(self, face: str, outline: Outline) -> Outline:
        """Reflect an outline about the edge of a face."""
        normal = self.into(face, 1)
        away = (outline - self.edge(face)[0]) @ normal
        return outline - 2 * np.outer(away, normal)

    def strip(self, face: str, start: float, end: float) -> Outline:
        """Return the rectangle on a face from depth `start` to depth `end`.

        Parameters
        ----------
        face : str
            One of `FACES`.
        start, end : float
            Depths from the edge, mm; negative ones lie in the plane of the opening, where the flap
            of that face is cut.
        """
        a, b = self.edge(face)
        near, far = self.into(face, start), self.into(face, end)
        return np.array([a + near, b + near, b + far, a + far])


# The two faces that meet in each corner, and which end of their edges that is.
CORNERS = (
    (("left jamb", 1), ("head", 0)),
    (("right jamb", 1), ("head", 1)),
    (("left jamb", 0), ("foot", 0)),
    (("right jamb", 0), ("foot", 1)),
)
Slot = tuple[int, Outline]
"""The place of an off-cut among those that are kept, and the outline of a piece in it."""
Supply = list[tuple[Slot, ...]]
"""For each piece that off-cuts give, its one slot, or the two of its halves."""


def _pieces(frame: Frame, flaps: tuple[Part, ...], **parts: Any) -> OpeningPieces:
    return OpeningPieces(
        width_m=frame.width,
        height_m=frame.height,
        depth_m=frame.depth,
        flaps=flaps,
        faces=frame.faces,
        covered=tuple(Part(flap.face, frame.fold(flap.face, flap.outline)) for flap in flaps),
        **parts,
    )


def _infill(
    bare: tuple[int, ...],
    size: tuple[float, float],
    chosen: tuple[Slot, ...],
    triangular: bool = False,
) -> Infill:
    sources = tuple(source for source, _ in chosen)
    return Infill(bare, size, sources, tuple(outline for _, outline in chosen), triangular)


def diagonal_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    """Cut an opening from corner to corner (`frame` in mm; outlines in mm)."""
    w, h = frame.width, frame.height
    tips = diagonal_tips(*frame.sizes())
    kept = [place for place, tip in enumerate(tips) if tip.is_offcut[0]]
    halves = [_used_and_tip(frame, face) for face in FACES]
    cut_away = [Part(face, tip) for face, (_, tip) in zip(FACES, halves, strict=True)]
    lines = [np.array([(0, 0), (w, h)]), np.array([(0, h), (w, 0)])]
    if "foot" not in frame.lined:
        # The flap of an unlined foot is freed along the threshold.
        lines.append(np.array(frame.edge("foot")))
    bare, corners = _bare_parts(frame)
    offcuts = tuple(cut_away[place] for place in kept)
    return _pieces(
        frame,
        tuple(Part(face, halves[FACES.index(face)][0]) for face in frame.lined),
        cut_lines=tuple(lines),
        bare=bare,
        infills=_corner_infills(frame, practice, corners, kept, offcuts),
        offcuts=offcuts,
        trimmings=tuple(
            part
            for place, part in enumerate(cut_away)
            if place not in kept and tips[place].area[0] > 0
        ),
    )


def _apex(frame: Frame) -> Outline:
    return np.array([frame.width / 2, frame.height / 2])


def _reach(frame: Frame, face: str) -> float:
    """Share of a flap's height that is folded in; none of the flap of an unlined foot."""
    if face not in frame.lined:
        return 0.0
    across = frame.width if face.endswith("jamb") else frame.height
    return min(1.0, frame.depth / (across / 2))


def _used_and_tip(frame: Frame, face: str) -> tuple[Outline, Outline]:
    """Outlines of the part of a flap that is folded in, and of its tip that is cut off."""
    (a, b), apex, share = frame.edge(face), _apex(frame), _reach(frame, face)
    near_a, near_b = a + (apex - a) * share, b + (apex - b) * share
    return np.array([a, b, near_b, near_a]), np.array([near_a, near_b, apex])


def _bare_parts(frame: Frame) -> tuple[tuple[Part, ...], list[tuple[int, ...]]]:
    """List the bare parts, and for each corner the places of the one or two that meet there."""
    parts: list[Part] = []
    corners = []
    for corner in CORNERS:
        lined = [(face, end) for face, end in corner if face in frame.lined]
        corners.append(tuple(range(len(parts), len(parts) + len(lined))))
        parts += [Part(face, _bare(frame, face, end)) for face, end in lined]
    return tuple(parts), corners


def _bare(frame: Frame, face: str, end: int) -> Outline:
    """Outline what a flap leaves bare at one end: a triangle, or more where the flap is short."""
    corner = frame.edge(face)[end]
    tip = frame.fold(face, _apex(frame)[None])[0]
    at_frame = frame.into(face, frame.depth)
    share = _reach(frame, face)
    points = [corner, corner + (tip - corner) * share]
    if share == 1.0:
        points.append(np.mean(frame.edge(face), axis=0) + at_frame)
    return np.array([*points, corner + at_frame])


def _corner_infills(
    frame: Frame,
    practice: Practice,
    corners: list[tuple[int, ...]],
    kept: list[int],
    offcuts: tuple[Part, ...],
) -> tuple[Infill, ...]:
    """Hand out places in the tips to the corner pieces, just as `fill_corners` counts them."""
    whole, ends = _tip_supply(frame, practice, kept, offcuts)
    infills = []
    for bare in corners:
        # With an unlined foot the lower corners hold the jamb's end alone.
        stock = whole if len(bare) == 2 else ends
        size = _legs(frame, frame.depth + practice.return_mm, alone=len(bare) == 1)
        infills.append(_infill(bare, size, stock.pop(0) if stock else (), triangular=True))
    return tuple(infills)


def _legs(frame: Frame, reach: float, alone: bool) -> tuple[float, float]:
    """Both legs of a corner piece, or of the threshold end of a jamb alone, mm."""
    if alone:
        return reach, reach * frame.height / frame.width
    slope = float(np.hypot(frame.width, frame.height))
    return reach * slope / frame.width, reach * slope / frame.height


def _tip_supply(
    frame: Frame, practice: Practice, kept: list[int], offcuts: tuple[Part, ...]
) -> tuple[Supply, Supply]:
    """What the tips give for corner pieces, those of two halves last, and for threshold ends."""
    (w, h, d, foot), turned = frame.sizes(), practice.return_mm
    fill = fill_corners(w, h, d, foot, turned, practice.halves)
    slope, reach = np.hypot(w, h), d + turned
    corner, jamb_half = corner_hypotenuse(w, h, reach)[0], (reach * slope / w)[0]
    head_half = ((reach + turned * h / w) * slope / h)[0]
    corners: Supply = []
    ends: Supply = []
    free: list[Slot] = []
    for number, (place, part) in enumerate(zip(kept, offcuts, strict=True)):
        whole = int(fill.corners[place][0])
        pieces = [corner] * whole + [jamb_half] * int(fill.ends[place][0])
        slots = [((number, outline),) for outline in _tip_slots(part.outline, pieces)]
        corners += slots[:whole]
        ends += slots[whole:]
        free += [(number, half) for half in _free_halves(part.outline, pieces)]
    return corners + _pairs(free, int(fill.halved[0]), jamb_half, head_half), ends


def _half(tip: Outline, end: int) -> Outline:
    """Half a tip: its right angle (on the base), its corner of the base, its apex."""
    return np.array([(tip[0] + tip[1]) / 2, tip[end], tip[2]])


def _side(tip: Outline) -> float:
    return float(np.hypot(*(tip[2] - tip[0])))


def _shrunk(half: Outline, hypotenuse: float) -> Outline:
    share = hypotenuse / np.hypot(*(half[1] - half[2]))
    return np.asarray(half[0] + (half - half[0]) * share)


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


def _pairs(free: list[Slot], count: int, jamb_half: float, head_half: float) -> Supply:
    """Pair half tips for pieces made of two halves: the larger half first, where it fits."""
    chosen = []
    for hypotenuse in sorted((jamb_half, head_half), reverse=True):
        fitting = [slot for slot in free if hypotenuse <= np.hypot(*(slot[1][1] - slot[1][2]))]
        taken = fitting[:count]
        free = [slot for slot in free if not any(slot is other for other in taken)]
        chosen.append([(place, _shrunk(half, hypotenuse)) for place, half in taken])
    return list(zip(*chosen, strict=True))


def lined_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    """Stop the sheet at the opening and line every face (`frame` in mm; outlines in mm)."""
    w, h, turned = frame.width, frame.height, practice.return_mm
    lengths = [h if face.endswith("jamb") else w + 2 * turned for face in frame.lined]
    outline = np.array([(0, 0), (w, 0), (w, h), (0, h)], dtype=float)
    return _pieces(
        frame,
        (),
        cut_lines=tuple(np.array([outline[i - 1], outline[i]]) for i in range(4)),
        bare=frame.faces,
        infills=tuple(
            Infill((place,), (length, frame.depth + turned)) for place, length in enumerate(lengths)
        ),
    )


def centre_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    """Slit an opening upright or level (`frame` in mm; outlines in mm)."""
    # The width of the roll has no say in which slit is better unless the reveal is wider than it.
    level = bool(slit_runs_level(Sizes(*frame.sizes(), np.array([1500.0])), practice)[0])
    kind = ("foot", "head") if level else ("left jamb", "right jamb")
    hinges = tuple(face for face in kind if face in frame.lined)
    across, hinge = frame.width, frame.height
    if level:
        across, hinge = hinge, across
    span = across / 2 if len(hinges) == 2 else across
    folded = min(frame.depth, span)
    cut_away = tuple(
        Part(face, frame.strip(face, -folded, -span)) for face in hinges if span > folded
    )
    kept = cut_away if min(span - folded, hinge) >= OFFCUT_LEAST_MM else ()
    loose = tuple(part for part in frame.faces if part.face not in hinges)
    short = tuple(
        Part(face, frame.strip(face, span, frame.depth)) for face in hinges if frame.depth > span
    )
    return _pieces(
        frame,
        tuple(Part(face, frame.strip(face, 0, -folded)) for face in hinges),
        cut_lines=_slit_lines(frame, hinges, span),
        bare=loose + short,
        infills=_strip_infills(frame, loose, short, kept, practice),
        offcuts=kept,
        trimmings=() if kept else cut_away,
        way="level" if level else "upright",
    )


def _slit_lines(frame: Frame, hinges: tuple[str, ...], span: float) -> tuple[Outline, ...]:
    """Cut along the slit, and along each edge that has no leaf."""
    edges = [np.array(frame.edge(face)) for face in FACES if face not in hinges]
    if len(hinges) == 2:
        edges.append(np.array(frame.edge(hinges[0])) + frame.into(hinges[0], -span))
    return tuple(edges)


def _strip_infills(
    frame: Frame,
    loose: tuple[Part, ...],
    short: tuple[Part, ...],
    offcuts: tuple[Part, ...],
    practice: Practice,
) -> tuple[Infill, ...]:
    """Fill loose faces from the strips while they last; a leaf too short gets fresh sheet."""
    turned = practice.return_mm
    deep = frame.depth + turned
    on_jambs = loose[0].face.endswith("jamb")
    ends = 1 if on_jambs and "foot" not in frame.lined else 2
    length = (frame.height if on_jambs else frame.width) + ends * turned
    supply: Supply = [(slot,) for slot in _slots(offcuts, deep, length)]
    if practice.halves and not supply:
        supply = _two_parts(offcuts, deep, length, turned)
    supply += [()] * len(loose)
    infills = [_infill((place,), (length, deep), supply[place]) for place in range(len(loose))]
    for place, part in enumerate(short, start=len(loose)):
        along = int(part.face.endswith("jamb"))
        sides = np.ptp(part.outline, axis=0)
        infills.append(Infill((place,), (float(sides[along]), float(sides[1 - along]) + turned)))
    return tuple(infills)


def _two_parts(offcuts: tuple[Part, ...], deep: float, length: float, lap: float) -> Supply:
    """Places for pieces made of two parts, in the way of `fill_strips` that gives most."""
    short = _slots(offcuts, deep, (length + lap) / 2)
    narrow = _slots(offcuts, (deep + lap) / 2, length)
    ways: list[Supply] = [
        list(zip(short[::2], short[1::2], strict=False)),
        _patched(offcuts, deep, length, lap),
        list(zip(narrow[::2], narrow[1::2], strict=False)),
    ]
    return max(ways, key=len)


def _patched(offcuts: tuple[Part, ...], deep: float, length: float, lap: float) -> Supply:
    """Places for a part as long as its strip and the patch that lengthens it, cut beside it."""
    found: Supply = []
    for number, part in enumerate(offcuts):
        low, size = part.outline.min(axis=0), np.ptp(part.outline, axis=0)
        along = int(part.face.endswith("jamb"))
        hinge, left = size[along], size[1 - along]
        patch = float(patch_length(hinge, np.array(length), lap))
        if patch_fits(left, hinge, np.array(deep), np.array(length), lap):
            sides = np.array([(deep, hinge), (patch, deep)])
            main, beside = sides if along else sides[:, ::-1]
            aside = np.eye(2)[1 - along] * deep
            found.append(((number, _box(low, main)), (number, _box(low + aside, beside))))
    return found


def _slots(offcuts: tuple[Part, ...], a: float, b: float) -> list[Slot]:
    """Places for rectangles a × b in the strips."""
    found = []
    for number, part in enumerate(offcuts):
        low, size = part.outline.min(axis=0), np.ptp(part.outline, axis=0)
        either_way = [list(_grid(low, size, sides)) for sides in ((a, b), (b, a))]
        found += [(number, outline) for outline in max(either_way, key=len)]
    return found


def _grid(low: Outline, size: Outline, sides: tuple[float, float]) -> Iterator[Outline]:
    step = np.array(sides)
    counts = np.floor(size / step).astype(int)
    for place in product(range(counts[0]), range(counts[1])):
        yield _box(low + step * place, step)


def _box(low: Outline, size: Outline) -> Outline:
    (x0, y0), (x1, y1) = low, low + size
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
