"""Outlines for the slit cut and for a sheet that stops at the opening; see `outlines`."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from airstats.geometry.cutting_rules import Practice, Sizes
from airstats.geometry.diagonal_outlines import Slot
from airstats.geometry.offcuts import OFFCUT_LEAST_MM
from airstats.geometry.outlines import FACES, Frame, Infill, OpeningPieces, Outline, Part
from airstats.geometry.slit_cut import patch_fits, patch_length, slit_runs_level


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
