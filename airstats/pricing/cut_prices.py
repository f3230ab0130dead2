"""What a comparison of cuts rests on: prices, times, practice and how far off-cuts are used."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from airstats.base.errors import AirstatsError
from airstats.base.firm import Firm
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.cutting_rules import STANDARD_PRACTICE, Floats, Practice
from airstats.takeoff.typed_job import OneJob


@dataclass(frozen=True)
class CutCosts:
    """What sheet, tape and time cost.

    Every default is an assumption without a source; put in your own prices and times. Money is in
    any one currency, without tax.

    Parameters
    ----------
    sheet_price_m2
        Price of the sheet a m². 2.00 is 150 for a roll of 75 m².
    tape_price_m
        Price of the tape a m. 0.90 is 27 for a roll of 30 m.
    minutes_piece
        To handle one loose piece, large or small. 2.5: half to measure, one to mark and cut, one
        to offer up and tack. A part of a piece counts as a piece.
    minutes_joint_m
        To tape a metre of joint. 1.0: peel, lay and press, 60 m an hour.
    minutes_flap
        To fold a flap in and tack it. 0.75 is assumed.
    minutes_stroke
        To draw the knife once along a rule in the laid sheet. 0.5 is assumed.
    labour_hour
        Price of an hour of one fitter with what the firm pays on top. 45 is assumed.

    Raises
    ------
    AirstatsError
        If a value is negative or not a number.
    """

    sheet_price_m2: float = 2.00
    tape_price_m: float = Firm.tape_price_m
    minutes_piece: float = Firm.minutes_piece
    minutes_joint_m: float = Firm.minutes_joint_m
    minutes_flap: float = Firm.minutes_flap
    minutes_stroke: float = Firm.minutes_stroke
    labour_hour: float = Firm.labour_hour

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0 <= value < np.inf:
                raise AirstatsError(f"{field.name}: {value} will not do. Give 0 or more.")

    def prices(self) -> Floats:
        """Return the price of a unit of each of `AMOUNTS`."""
        minute = self.labour_hour / 60
        return np.array(
            [
                self.sheet_price_m2,
                self.tape_price_m + self.minutes_joint_m * minute,
                self.minutes_piece * minute,
                self.minutes_flap * minute,
                self.minutes_stroke * minute,
            ]
        )


def cut_costs(firm: Firm) -> CutCosts:
    """Return a firm's prices and times; the sheet's from rolls of the usual size."""
    told = {
        own.name: getattr(firm, own.name) for own in fields(CutCosts) if hasattr(firm, own.name)
    }
    if firm.roll_price is not None:
        told["sheet_price_m2"] = firm.roll_price / (OneJob.roll_width_m * OneJob.roll_length_m)
    return CutCosts(**told)


STANDARD_COSTS = CutCosts()
AMOUNTS = ("sheet_m2", "joint_m", "pieces", "flaps", "strokes")


@dataclass(frozen=True)
class CutTerms:
    """Prices and times, how pieces are cut, and how far off-cuts are used.

    Parameters
    ----------
    costs
        Prices and times.
    practice
        How pieces are cut. Where it leaves a choice (slit `best`, pieces from two parts), the
        cheapest is taken, as a fitter would.
    reuse_share
        Share of the fillable area that really is cut from off-cuts, 0 to 1.
    own_price
        Whether the sheet's price is the firm's own.
    currency
        That of the prices, if it is known.

    Raises
    ------
    AirstatsError
        If the share is not between 0 and 1.
    """

    costs: CutCosts = STANDARD_COSTS
    practice: Practice = STANDARD_PRACTICE
    reuse_share: float = 1.0
    own_price: bool = False
    currency: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.reuse_share <= 1:
            raise AirstatsError(
                f"reuse_share: {self.reuse_share} will not do. Give a share from 0 to 1."
            )

    def ways(self, cut: str) -> list[Practice]:
        """Return the practices among which the cheapest is taken for a cut."""
        slits = [self.practice.slit]
        if CUTS[cut].ways and self.practice.slit == "best":
            slits = list(CUTS[cut].ways)
        halves = [False, True] if self.practice.halves and CUTS[cut].crosses else [False]
        return [replace(self.practice, slit=s, halves=h) for s in slits for h in halves]


STANDARD_TERMS = CutTerms()
