"""Rules for cutting: what a loose piece needs besides the face that it covers.

The same for all cuts:

- A piece is turned by one return at the edge of the opening, and butts the frame: a reveal of
  depth d needs d + return. Infill triangles are cut as for a reveal deeper by one return, so that
  they lap the flaps beside them.
- Where loose pieces line head and foot they are turned by one return at each end, round the corner
  on to the jamb; the jamb is cut flush. Where loose pieces line the jambs of a slit cut, they are
  the ones that are turned. Nothing is turned on to an unlined threshold.
- Pieces that continue one another on one face lap by one return.
- An unlined threshold gets no sheet and no tape.
- A strip wider than the roll on both sides is made of parts. Corner pieces are counted as one part
  each: none is wider than a roll unless the reveal is.

All lengths are in millimetres, so that whole numbers stay exact where a piece only just fits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airstats.base.errors import AirstatsError

Floats = NDArray[np.float64]

# Assumption, common practice without a source: smaller bits go straight into the bin.
OFFCUT_LEAST_MM = 100.0

# A piece that only just fits must fit whatever the last bit of a square root says.
JUST_FITS_MM = 1e-6

SLITS = ("upright", "level", "best")


@dataclass(frozen=True)
class Practice:
    """How pieces are cut.

    Parameters
    ----------
    return_mm
        What a loose piece is turned round an edge, mm. 20 is an assumption (common practice, no
        source).
    slit
        Which way the slit of a `centre` cut runs: `upright` (leaves line the jambs), `level`
        (leaves line head and foot) or `best`, the default: the one that needs less fresh sheet,
        and fewer pieces where the sheet is the same. So a fitter turns it (common practice, no
        source): upright in a tall window, level in a wide one.
    halves
        Whether a piece may be made from two off-cuts, with one more joint. True by default: the
        piece is taped all round anyway (common practice, no source). Whether it is worth the joint
        is a matter of prices, see `cut_choice`.

    Raises
    ------
    AirstatsError
        If the slit has another name or the return is negative.
    """

    return_mm: float = 20.0
    slit: str = "best"
    halves: bool = True

    def __post_init__(self) -> None:
        if self.slit not in SLITS:
            raise AirstatsError(f"slit: '{self.slit}' is not known. Use one of {', '.join(SLITS)}.")
        if not 0 <= self.return_mm < np.inf:
            raise AirstatsError(
                f"return_mm: {self.return_mm} will not do. Give 0 mm or a positive length in mm."
            )


STANDARD_PRACTICE = Practice()


@dataclass(frozen=True)
class Sizes:
    """Openings as arrays: lengths in mm, `foot` 1 where the foot is lined and 0 where not."""

    width: Floats
    height: Floats
    depth: Floats
    foot: Floats
    roll: Floats


@dataclass(frozen=True)
class CutResult:
    """What one cut gives, one array an entry: areas in mm², joints in mm, pieces as a count."""

    jambs: Floats
    head: Floats
    under: Floats
    needed: Floats
    fillable: Floats
    offcut: Floats
    laid: Floats
    joint: Floats
    pieces: Floats


@dataclass(frozen=True)
class Strip:
    """Fresh sheet (mm²), inner joints (mm) and parts of one loose strip."""

    sheet: Floats
    joint: Floats
    parts: Floats


def fresh_strip(length: Floats, deep: Floats, roll: Floats, lap: float) -> Strip:
    """One strip from the roll; it runs along the roll, in parts if both its sides are wider.

    Parameters
    ----------
    length, deep : (n,) array
        Both sides of the strip, mm.
    roll : (n,) array
        Width of the roll, mm.
    lap : float
        How far two parts lap, mm.

    Notes
    -----
    Parts lap by `lap`: n = ceil((narrow side - lap) / (roll - lap)).
    """
    narrow, long = np.minimum(length, deep), np.maximum(length, deep)
    parts = np.maximum(np.ceil((narrow - lap) / (roll - lap)), 1)
    return Strip(length * deep + (parts - 1) * lap * long, (parts - 1) * long, parts)


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
