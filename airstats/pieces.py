"""The pieces of one opening, cut one way: flaps, bare parts, off-cuts, and which fills which."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from airstats.corner_pieces import Slot, diagonal_pieces
from airstats.cuts import CUTS
from airstats.errors import AirstatsError
from airstats.offcuts import OFFCUT_LEAST_MM
from airstats.openings import STANDARD_PRACTICE
from airstats.outlines import FACES, Frame, Infill, OpeningPieces, Outline, Part
from airstats.practice import Practice, Sizes
from airstats.slit import patch_fits, patch_length, slit_runs_level


@dataclass(frozen=True)
class Opening:
    """One opening and how it is cut.

    Parameters
    ----------
    width_mm, height_mm, reveal_mm
        Clear opening and reveal depth, mm.
    sides
        4, or 3 for a door without a lined threshold.
    cut_pattern
        `diagonal`, `centre` or `lined`.
    practice
        How pieces are cut.

    Raises
    ------
    AirstatsError
        If the cut or the number of sides is not known, or a length is not positive.
    """

    width_mm: float
    height_mm: float
    reveal_mm: float
    sides: int = 4
    cut_pattern: str = "diagonal"
    practice: Practice = STANDARD_PRACTICE

    def __post_init__(self) -> None:
        for name in ("width_mm", "height_mm", "reveal_mm"):
            value = getattr(self, name)
            if not 0 < value < np.inf:
                raise AirstatsError(f"{name}: {value} will not do. Give a positive length in mm.")
        if self.sides not in (3, 4):
            raise AirstatsError(
                f"sides: {self.sides} will not do. Give 4, or 3 for an unlined threshold."
            )
        if self.cut_pattern not in CUTS:
            raise AirstatsError(
                f"cut_pattern: '{self.cut_pattern}' is not known. Use one of {', '.join(CUTS)}."
            )


def opening_pieces(opening: Opening) -> OpeningPieces:
    """Outline the flaps, bare parts, off-cuts and infill pieces of one opening, in metres."""
    lined = FACES if opening.sides == 4 else tuple(face for face in FACES if face != "foot")
    frame = Frame(
        float(opening.width_mm), float(opening.height_mm), float(opening.reveal_mm), lined
    )
    builders: dict[str, Callable[[Frame, Practice], OpeningPieces]] = {
        "diagonal": diagonal_pieces,
        "centre": _centre_pieces,
        "lined": _lined_pieces,
    }
    return _in_metres(builders[opening.cut_pattern](frame, opening.practice))


def _in_metres(pieces: OpeningPieces) -> OpeningPieces:
    def scaled(parts: tuple[Part, ...]) -> tuple[Part, ...]:
        return tuple(Part(part.face, part.outline / 1000) for part in parts)

    return replace(
        pieces,
        width_m=pieces.width_m / 1000,
        height_m=pieces.height_m / 1000,
        depth_m=pieces.depth_m / 1000,
        cut_lines=tuple(line / 1000 for line in pieces.cut_lines),
        flaps=scaled(pieces.flaps),
        faces=scaled(pieces.faces),
        covered=scaled(pieces.covered),
        bare=scaled(pieces.bare),
        offcuts=scaled(pieces.offcuts),
        trimmings=scaled(pieces.trimmings),
        infills=tuple(
            replace(infill, placed=tuple(outline / 1000 for outline in infill.placed))
            for infill in pieces.infills
        ),
    )


def _faces(frame: Frame) -> tuple[Part, ...]:
    return tuple(Part(face, frame.strip(face, 0, frame.depth)) for face in frame.lined)


def _lined_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
    faces = _faces(frame)
    w, h, turned = frame.width, frame.height, practice.return_mm
    deep = frame.depth + turned
    lengths = [h if face.face.endswith("jamb") else w + 2 * turned for face in faces]
    outline = np.array([(0, 0), (w, 0), (w, h), (0, h)], dtype=float)
    return OpeningPieces(
        width_m=w,
        height_m=h,
        depth_m=frame.depth,
        cut_pattern="lined",
        cut_lines=tuple(np.array([outline[i - 1], outline[i]]) for i in range(4)),
        flaps=(),
        faces=faces,
        covered=(),
        bare=faces,
        offcuts=(),
        trimmings=(),
        infills=tuple(Infill((place,), (length, deep)) for place, length in enumerate(lengths)),
    )


def _centre_pieces(frame: Frame, practice: Practice) -> OpeningPieces:
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
        cut_pattern="centre",
        cut_lines=_slit_lines(frame, hinges, span),
        flaps=flaps,
        faces=_faces(frame),
        covered=tuple(Part(flap.face, frame.fold(flap.face, flap.outline)) for flap in flaps),
        bare=loose + short,
        offcuts=kept,
        trimmings=() if kept else cut_away,
        infills=_strip_infills(frame, loose, short, kept, practice),
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
