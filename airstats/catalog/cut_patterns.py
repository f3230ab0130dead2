"""The ways to cut an opening: all that the tool knows of a cut stands in its one entry.

What names cuts reads `CUTS` when it runs, so that a cut may be added at any time.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pkgutil import resolve_name
from typing import NamedTuple

import numpy as np

from airstats.base.errors import AirstatsError
from airstats.geometry.cutting_rules import CutResult, Practice, Sizes, cut_lined
from airstats.geometry.diagonal_cut import cut_diagonal
from airstats.geometry.outlines import (
    Frame,
    OpeningPieces,
    centre_pieces,
    diagonal_pieces,
    lined_pieces,
)
from airstats.geometry.slit_cut import cut_centre

Steps = list[tuple[str, str]]
"""Names of columns and their formulas; {name} stands for the cell of that column in the row."""
_SIDES = {3, 4}


class Guess(NamedTuple):
    """A number as it is believed before any job: mean, sd and why."""

    mean: float
    sd: float
    reason: str


class Way(NamedTuple):
    """One way to run a cut, in words, and the flaps that it leaves, by lined sides."""

    words: str
    flaps: Mapping[int, int]


class CutFormulas(NamedTuple):
    """A cut in the price sheet, in mm and mm²: see `sheet_geometry`.

    `steps` hold `needed_CUT` and `fillable_CUT` where the cut has a re-use share; `joints` (or the
    steps) hold `joint_CUT`.
    """

    steps: Steps
    joints: Steps


@dataclass(frozen=True, kw_only=True)
class CutPattern:
    """One way to cut.

    Parameters
    ----------
    name
        What the records and every table call it: small letters and underscores.
    words
        What readers call it, by itself and after "reveals": "corner to corner".
    spellings
        What the reader of records takes for it besides the name.
    spoken, hints
        What people write for it in a book of their own, in English and German: a pattern of words
        that clearly mean it, in small letters; and words that may mean it, which are asked about.
    crosses
        Whether the sheet is laid across the opening first; if not, the opening is taken off the
        surface, and there are no off-cuts.
    areas
        What it covers, needs and leaves, for arrays of openings; lengths in mm.
    outlines
        The same as outlines of one opening, for the drawing; without it the drawing says so.
    reveal_factor
        Fresh sheet a m² of reveal, believed before any job.
    reuse_share
        Share of the usable off-cuts that is used, believed before any job; without it the flat
        factor serves in both forms of the model.
    strokes, flaps
        Strokes of the knife in the laid sheet and flaps to fold in, with 3 and with 4 lined sides.
    ways
        Which way its slit may run, by `Practice.slit`; none: it has no slit.
    tone, hatch
        Of its part of a picture: apart from the other cuts in grey, and without any colour.
    formulas
        Returns its formulas for the price sheet. Without them the price sheet prices it where the
        flat factor serves in both forms, and else says that `airstats price` does.

    Raises
    ------
    AirstatsError
        If an entry will not do.
    """

    name: str
    words: str
    crosses: bool
    areas: Callable[[Sizes, Practice], CutResult]
    reveal_factor: Guess
    strokes: Mapping[int, int]
    flaps: Mapping[int, int]
    tone: str
    hatch: str | None = None
    spellings: tuple[str, ...] = ()
    spoken: str = "(?!)"
    hints: tuple[str, ...] = ()
    outlines: Callable[[Frame, Practice], OpeningPieces] | None = None
    reuse_share: Guess | None = None
    ways: Mapping[str, Way] = field(default_factory=dict)
    formulas: Callable[[], CutFormulas] | None = None

    def __post_init__(self) -> None:
        guesses = [self.reveal_factor, *([self.reuse_share] if self.reuse_share else [])]
        counts = [self.strokes, self.flaps, *(way.flaps for way in self.ways.values())]
        faults = {
            "name: write small letters and underscores": not re.fullmatch(
                "[a-z][a-z_]*", self.name
            ),
            "words: say what readers call it, without comma or quotation mark": (
                not self.words or "," in self.words or '"' in self.words
            ),
            "reveal_factor, reuse_share: give a mean, a sd above 0 and the reason": not all(
                np.isfinite(guess.mean) and 0 < guess.sd < np.inf and guess.reason
                for guess in guesses
            ),
            "reuse_share: without sheet across the opening there are no off-cuts; leave it out": (
                not self.crosses and self.reuse_share is not None
            ),
            "strokes, flaps: give a count for 3 and for 4 lined sides": any(
                set(count) != _SIDES for count in counts
            ),
        }
        for fault, found in faults.items():
            if found:
                raise AirstatsError(f'the cut "{self.name}": {fault}.')

    def in_words(self, slit: str) -> str:
        """Return what readers call it, or the way in which its slit runs."""
        way = self.ways.get(slit)
        return way.words if way else self.words

    def flaps_of(self, practice: Practice) -> Mapping[int, int]:
        """Return the flaps by lined sides for the way that the practice names."""
        way = self.ways.get(practice.slit)
        return way.flaps if way else self.flaps


class _Cuts(dict[str, CutPattern]):
    """The cuts by name; refuses an entry that another one contradicts."""

    def __setitem__(self, name: str, cut: CutPattern) -> None:
        if name != cut.name:
            raise AirstatsError(f'the cut "{cut.name}": enter it under its own name, not "{name}".')
        for other in self.values():
            both = {name, *cut.spellings} & {other.name, *other.spellings}
            if other.name != name and both:
                raise AirstatsError(
                    f'the cut "{name}": "{sorted(both)[0]}" is the cut "{other.name}" already;'
                    " take another spelling."
                )
        super().__setitem__(name, cut)


def reused_cuts() -> list[str]:
    """Return the cuts whose re-use of off-cuts is learnt."""
    return [name for name, cut in CUTS.items() if cut.reuse_share]


def stopped_cuts() -> list[str]:
    """Return the cuts for which the sheet stops at the opening."""
    return [name for name, cut in CUTS.items() if not cut.crosses]


def typed_cuts() -> str:
    """Return the names that one types, with what readers call them: "centre (slit), lined"."""
    return ", ".join(
        name if name == cut.words else f"{name} ({cut.words})" for name, cut in CUTS.items()
    )


def unknown_cut(name: str) -> str:
    """Say that a cut is not known, and which are."""
    return f"cut_pattern: '{name}' is not known. Use one of {typed_cuts()}."


def _late(where: str) -> Callable[[], CutFormulas]:
    """The formulas are loaded only where a price sheet is written."""

    def load() -> CutFormulas:
        found: CutFormulas = resolve_name(where)()
        return found

    return load


CUTS = _Cuts()
_GEOMETRY = "geometry of ordinary openings; wide, no source"
_SHARE = Guess(0.5, 0.3, "nobody counts it")

# A window of 1.23 x 1.48 m with a 350 mm reveal leaves a quarter of its reveal bare, a third with
# returns; re-used tips lower that, spoilt pieces raise it. Strokes: two diagonals, with an unlined
# threshold its edge too, and that flap is cut away.
CUTS["diagonal"] = CutPattern(
    name="diagonal",
    spoken=(
        r"corner[ -]to[ -]corner|diagonal(?:ly|e[rs]?|schnitt)?|x[ -]?(?:cut|schnitt)|"
        r"cross(?:[ -]?cut|wise)?|crossed|kreuz(?:schnitt|weise)?|über(?:s)? kreuz|ueber kreuz|"
        r"criss[ -]?cross|ecke (?:zu|auf) ecke|von ecke zu ecke|eck zu eck|envelope(?: cut)?|"
        r"kuvert(?:schnitt)?|diag\.?"
    ),
    hints=(
        "x",
        "star",
        "stern",
        "flaps",
        "folded",
        "folded in",
        "eingeschlagen",
        "umgeschlagen",
    ),
    words="corner to corner",
    crosses=True,
    areas=cut_diagonal,
    outlines=diagonal_pieces,
    reveal_factor=Guess(0.30, 0.25, _GEOMETRY),
    reuse_share=_SHARE,
    strokes={4: 2, 3: 3},
    flaps={4: 4, 3: 3},
    tone="#F5D3A6",
    hatch="//",
    formulas=_late("airstats.documents.price_workbook.geometry_formulas:diagonal_formulas"),
)
# Head and foot are 45 % of such a reveal; re-used leaves lower that by half or more. Strokes: the
# slit and two edges. A slit that runs level leaves one leaf, at the head, where the threshold is
# not lined.
CUTS["centre"] = CutPattern(
    name="centre",
    spoken=(
        r"(?:cent(?:re|er|ral)|mid(?:dle|way)?)(?:[ -]?(?:slit|cut|line|split))?|"
        r"(?:slit|cut|split)?,? ?(?:down|in|through|along) the (?:middle|cent(?:re|er))|"
        r"h[ -]?(?:cut|schnitt)|i[ -]?cut|double[ -]?doors?(?: cut)?|mittel(?:schnitt|schlitz)?|"
        r"mittig(?: geschlitzt)?|in der mitte(?: geschlitzt| aufgeschnitten)?|"
        r"slit (?:down|in) (?:the )?(?:middle|cent(?:re|er))|doppeltür(?:schnitt)?|"
        r"flügeltür(?:schnitt)?|slit(?:ted)?|(?:ein)?geschlitzt|schlitz(?:schnitt)?"
    ),
    hints=(
        "h",
        "slot",
        "split",
        "flaps",
        "folded",
        "folded in",
        "eingeschlagen",
        "umgeschlagen",
    ),
    spellings=("center",),
    words="slit",
    crosses=True,
    areas=cut_centre,
    outlines=centre_pieces,
    reveal_factor=Guess(0.30, 0.25, _GEOMETRY),
    reuse_share=_SHARE,
    strokes={4: 3, 3: 3},
    flaps={4: 2, 3: 2},
    ways={
        "upright": Way("slit upright", {4: 2, 3: 2}),
        "level": Way("slit level", {4: 2, 3: 1}),
    },
    tone="#FFFFFF",
    formulas=_late("airstats.documents.price_workbook.slit_formulas:centre_formulas"),
)
# Every face is cut from fresh sheet, with a tenth more for turning and trimming. Strokes: the sheet
# is cut off along every edge.
CUTS["lined"] = CutPattern(
    name="lined",
    spoken=(
        r"(?:stopped|cut out|stop)(?: at (?:the )?(?:opening|window))?,? ?(?:and|\+|&) ?"
        r"(?:lined|strips?)|"
        r"(?:lined|lining|liner|strips?|in strips|with strips|separate strips)|"
        r"strip(?:ped)?[ -]lined|"
        r"(?:reveals? )?lined(?: (?:with|in) (?:separate )?strips?)?|"
        r"(?:mit )?(?:streifen|laibungsstreifen)|(?:mit streifen )?(?:ausgekleidet|belegt)|"
        r"laibung(?:en)? (?:separat|extra|ausgekleidet|mit streifen)|bekleidet|not crossed|"
        r"(?:separat|getrennt|extra|einzeln) (?:ausgekleidet|belegt|bekleidet)|"
        r"(?:lined )?separately(?: lined)?|separate(?:ly)? (?:lined|lining)|"
        r"nicht überspannt|nicht überklebt|ausgespart(?: und ausgekleidet)?"
    ),
    hints=(
        "cut out",
        "ausgeschnitten",
    ),
    words="lined",
    crosses=False,
    areas=cut_lined,
    outlines=lined_pieces,
    reveal_factor=Guess(1.10, 0.30, _GEOMETRY),
    strokes={4: 4, 3: 4},
    flaps={4: 0, 3: 0},
    tone="#8CB6D3",
    hatch="..",
    formulas=_late("airstats.documents.price_workbook.geometry_formulas:lined_formulas"),
)
