"""Outlines of the pieces of one opening, and the folding of a flap on to its face.

Coordinates: x to the right and y up from the lower left corner of the opening. The reveal is
unfolded outwards, so that each face lies beside its edge of the opening and a flap folds on to it
by a reflection about that edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
