"""How the tape goes round the corner of an opening, where sheet meets frame.

Lengths past the corner are common practice, no source. The minutes are assumptions: time your own
crew, and put its minutes here.
"""

from __future__ import annotations

from dataclasses import dataclass

PAST_CORNER_MM = (3.0, 4.0)
"""How far each of two tapes passes the corner, least and most; common practice, no source."""
CORNERS = {4: 4, 3: 2}
"""Corners of an opening by its lined sides: a door without a lined threshold has two."""


@dataclass(frozen=True)
class CornerMethod:
    """One way to close a corner.

    Attributes
    ----------
    words : what is done
    suits : where it suits
    extra_tape_mm : tape a corner beyond the length of the sides, mm
    pieces : bought pieces a corner
    minutes : working time a corner, minutes
    """

    words: str
    suits: str
    extra_tape_mm: float
    pieces: int
    minutes: float


CORNER_METHODS = {
    "folded": CornerMethod(
        "one strip runs on round the corner and is folded there",
        "where the frame sits close to the reveal, so that the strip need not turn twice",
        extra_tape_mm=0.0,
        pieces=0,
        minutes=2.0,
    ),
    "two_tapes": CornerMethod(
        "two tapes meet, each passing the corner by 3 to 4 mm, so that 6 to 8 mm overlap",
        "where the reveal is deep and the corner can be reached",
        extra_tape_mm=sum(PAST_CORNER_MM),
        pieces=0,
        minutes=1.5,
    ),
    "pieces": CornerMethod(
        "a bought piece, folded beforehand, sits in the corner and the tapes run on to it",
        "everywhere; it costs a piece a corner",
        extra_tape_mm=0.0,
        pieces=1,
        minutes=1.0,
    ),
}
USUAL_METHOD = "pieces"
