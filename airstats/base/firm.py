"""What a firm says of itself once: its name, currency, prices and times, said with their units.

The keys of a `firm.toml` are the fields here; what it leaves out stays as assumed.
"""

from __future__ import annotations

from dataclasses import Field, dataclass, field, fields, replace
from typing import Any

LEFTOVER_COST, SHORT_COST = 60.0, 240.0
"""Money for a roll left over and for a roll short, where a firm says nothing. Assumptions."""
PARTS = {
    "leftover_cost": ("bring_back", "shelf_months", "shelf_percent", "spoilt_percent"),
    "short_cost": ("delivery", "idle_fitters", "idle_hours", "margin_hour"),
}
"""What each of the two costs can be made of, for a firm that does not know it as a whole."""

REPORTS = ("why_jobs_run_over", "update_allowances", "price_jobs", "evidence")
"""Those that can say on themselves who gets them."""


def _text(told: str, longest: int = 200) -> Any:
    return field(default="", metadata={"told": told, "longest": longest})


def _number(
    told: str, default: float | None = None, positive: bool = False, most: float = 1e9
) -> Any:
    """A number from 0 to `most`, or above 0. None: not known."""
    return field(default=default, metadata={"told": told, "positive": positive, "most": most})


@dataclass(frozen=True)
class Firm:
    """A firm as its `firm.toml` tells of it; each field's metadata says what it is, with its unit.

    Money is in the firm's own currency, without tax. None: the firm does not say.
    """

    name: str = _text("the firm's name, as reports and lists show it")
    currency: str = _text("a sign or short word that stands behind every sum of money", 8)

    roll_price: float | None = _number(
        "money a roll of sheet, where a job names none", positive=True
    )
    labour_hour: float = _number("money an hour of one fitter, with all that is paid on top", 45.0)
    unusable_end_m: float = _number("metres at the end of a begun roll that serve no more", 1.0)
    tape_price_m: float = _number("money a metre of joint tape, where cuts are compared", 0.90)

    minutes_piece: float = _number("minutes to measure, cut and tack one loose piece", 2.5)
    minutes_joint_m: float = _number("minutes to tape a metre of joint", 1.0)
    minutes_flap: float = _number("minutes to fold a flap in and tack it", 0.75)
    minutes_stroke: float = _number("minutes to draw the knife once along a rule", 0.5)

    leftover_cost: float | None = _number(
        "money for each roll left over (assumed: 60); or leave it out and give its parts:",
        positive=True,
    )
    bring_back: float = _number("money to bring a roll back and put it away", 0.0)
    shelf_months: float = _number("months until it is laid at last", 0.0)
    shelf_percent: float = _number(
        "% of its price a month: the shelf, the money in it", 0.0, most=100
    )
    spoilt_percent: float = _number("% of such rolls that are never laid", 0.0, most=100)

    short_cost: float | None = _number(
        "money for each roll short (assumed: 240); or leave it out and give its parts:",
        positive=True,
    )
    delivery: float = _number("money for a second delivery", 0.0)
    idle_fitters: float = _number("fitters who wait for it", 0.0)
    idle_hours: float = _number("hours that each of them waits", 0.0)
    margin_hour: float = _number("money that an hour of one fitter earns above its cost", 0.0)

    unit_prices: dict[str, float] = field(
        default_factory=dict,
        metadata={
            "told": "money a metre, or a corner piece, where no record has a price; it is then"
            " ordered with the rest"
        },
    )
    readers: dict[str, str] = field(
        default_factory=dict, metadata={"told": "who gets a report, as is printed on it"}
    )

    def but(self, **given: float) -> Firm:
        """Return the firm with the values that are given; one of 0 is not."""
        told: dict[str, Any] = {name: value for name, value in given.items() if value}
        return replace(self, **told)

    def without_names(self) -> Firm:
        """Return the firm without what tells who it is or who its people are."""
        return replace(self, name="", readers={})


FIELDS: dict[str, Field[Any]] = {own.name: own for own in fields(Firm)}
"""Name to field."""
ASSUMED = Firm()
"""A firm that says nothing."""
