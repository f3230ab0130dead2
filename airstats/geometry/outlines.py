"""Outlines of the pieces of one opening, cut by cut, and the folding of a flap on to its face.

Coordinates: x to the right and y up from the lower left corner of the opening. The reveal is
unfolded outwards, so that each face lies beside its edge of the opening and a flap folds on to it
by a reflection about that edge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from airstats.geometry.cutting_rules import Practice, Sizes
from airstats.geometry.offcuts import (
    JUST_FITS_MM,
    OFFCUT_LEAST_MM,
    Tip,
    corner_hypotenuse,
    diagonal_tips,
    fill_corners,
)
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
    offcuts: tuple[Part, ...]
    trimmings: tuple[Part, ...]
    infills: tuple[Infill, ...]
    way: str = ""


@dataclass(frozen=True)
class Frame:
    """Width, height and depth of one opening, mm, and the faces that are lined."""

    width: float
    height: float
    depth: float
    lined: tuple[str, ...]

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

        Negative depths lie in the plane of the opening, where the flap of that face is cut.
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


def _faces(frame: Frame) -> tuple[Part, ...]:
    return tuple(Part(face, frame.strip(face, 0, frame.depth)) for face in frame.lined)


def lined_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    """Stop the sheet at the opening and line every face (`frame` in mm; outlines in mm)."""
    faces = _faces(frame)
    w, h, turned = frame.width, frame.height, practice.return_mm
    deep = frame.depth + turned
    lengths = [h if face.face.endswith("jamb") else w + 2 * turned for face in faces]
    outline = np.array([(0, 0), (w, 0), (w, h), (0, h)], dtype=float)
    return OpeningPieces(
        width_m=w,
        height_m=h,
        depth_m=frame.depth,
        cut_lines=tuple(np.array([outline[i - 1], outline[i]]) for i in range(4)),
        flaps=(),
        faces=faces,
        covered=(),
        bare=faces,
        offcuts=(),
        trimmings=(),
        infills=tuple(Infill((place,), (length, deep)) for place, length in enumerate(lengths)),
    )


def centre_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    """Slit an opening upright or level (`frame` in mm; outlines in mm)."""
    level = _slit_runs_level(frame, practice)
    kind = ("foot", "head") if level else ("left jamb", "right jamb")
    hinges = tuple(face for face in kind if face in frame.lined)
    across = frame.height if level else frame.width
    span = across / 2 if len(hinges) == 2 else across
    folded = min(frame.depth, span)
    flaps = tuple(Part(face, frame.strip(face, 0, -folded)) for face in hinges)
    cut_away = tuple(
        Part(face, frame.strip(face, -folded, -span)) for face in hinges if span > folded
    )
    width_kept = min(span - folded, frame.width if level else frame.height)
    kept = cut_away if width_kept >= OFFCUT_LEAST_MM else ()
    loose = tuple(part for part in _faces(frame) if part.face not in hinges)
    short = tuple(
        Part(face, frame.strip(face, span, frame.depth)) for face in hinges if frame.depth > span
    )
    return OpeningPieces(
        width_m=frame.width,
        height_m=frame.height,
        depth_m=frame.depth,
        cut_lines=_slit_lines(frame, hinges, span),
        flaps=flaps,
        faces=_faces(frame),
        covered=tuple(Part(flap.face, frame.fold(flap.face, flap.outline)) for flap in flaps),
        bare=loose + short,
        offcuts=kept,
        trimmings=() if kept else cut_away,
        infills=_strip_infills(frame, loose, short, kept, practice),
        way="level" if level else "upright",
    )


def _slit_runs_level(frame: Frame, practice: Practice) -> bool:
    # The width of the roll has no say in which slit is better unless the reveal is wider than it.
    lengths = (frame.width, frame.height, frame.depth, float("foot" in frame.lined), 1500.0)
    sizes = Sizes(*(np.array([length]) for length in lengths))
    return bool(slit_runs_level(sizes, practice)[0])


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
    slots: list[tuple[Slot, ...]] = [(slot,) for slot in _slots(offcuts, deep, length)]
    if practice.halves and not slots:
        slots = _two_parts(offcuts, deep, length, turned)
    infills = []
    for place, _ in enumerate(loose):
        chosen = slots[place] if place < len(slots) else ()
        sources = tuple(source for source, _ in chosen)
        placed = tuple(outline for _, outline in chosen)
        infills.append(Infill((place,), (length, deep), sources, placed))
    return (*infills, *_lengthenings(short, len(loose), turned))


def _lengthenings(short: tuple[Part, ...], first: int, turned: float) -> Iterator[Infill]:
    """Give the fresh piece that continues each leaf shorter than the reveal."""
    for place, part in enumerate(short, start=first):
        along = int(part.face.endswith("jamb"))
        sides = np.ptp(part.outline, axis=0)
        yield Infill((place,), (float(sides[along]), float(sides[1 - along]) + turned))


def _two_parts(
    offcuts: tuple[Part, ...], deep: float, length: float, lap: float
) -> list[tuple[Slot, ...]]:
    """Places for pieces made of two parts, in the way of `fill_strips` that gives most."""
    short = _slots(offcuts, deep, (length + lap) / 2)
    narrow = _slots(offcuts, (deep + lap) / 2, length)
    ways: list[list[tuple[Slot, ...]]] = [
        list(zip(short[::2], short[1::2], strict=False)),
        _patched(offcuts, deep, length, lap),
        list(zip(narrow[::2], narrow[1::2], strict=False)),
    ]
    return max(ways, key=len)


def _patched(
    offcuts: tuple[Part, ...], deep: float, length: float, lap: float
) -> list[tuple[Slot, ...]]:
    """Places for a part as long as its strip and the patch that lengthens it, cut beside it."""
    found: list[tuple[Slot, ...]] = []
    for number, part in enumerate(offcuts):
        low, size = part.outline.min(axis=0), np.ptp(part.outline, axis=0)
        along = int(part.face in ("left jamb", "right jamb"))
        hinge, left = size[along], size[1 - along]
        patch = float(patch_length(hinge, np.array(length), lap))
        if patch_fits(left, hinge, np.array(deep), np.array(length), lap):
            sides = np.array([(deep, hinge), (patch, deep)])
            main, beside = sides if along else sides[:, ::-1]
            aside = np.eye(2)[1 - along] * deep
            outlines = (_box(low, main), _box(low + aside, beside))
            found.append(tuple((number, outline) for outline in outlines))
    return found


def _slots(offcuts: tuple[Part, ...], a: float, b: float) -> list[Slot]:
    """Places for rectangles a × b in the strips: the off-cut's number and the outline."""
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
