"""The one table of materials besides the sheet: what drives each, its pack, what is believed.

A new material is one entry here. Its driver is a column of `material_quantities`, or any column of
numbers that the firm keeps in its table of jobs. Everything else (reading, checking, calibrating,
pricing, buying) goes by this table.

The numbers are common practice, no source, unless one is named. They are wide on purpose: a dozen
jobs outweigh them.
"""

from __future__ import annotations

from dataclasses import dataclass

SHEET = "sheet"
"""Name of the sheet itself, where it stands in one table with the other materials."""

PRETAPED_SHARE = 0.02
"""Share of windows taped before they are set; they need neither tape nor corner piece. Common
practice, no source."""
CORNER_PACK = 5
"""Corner pieces are bought in packs of five. Common practice, no source."""

CARTRIDGE_ML, BEAD_MM = 310.0, 6.0
"""A common cartridge, and the side of the square bead that it is pressed out to."""


def plural(unit: str) -> str:
    """Return a unit as it follows a number: short ones such as m have no plural."""
    return unit if len(unit) <= 2 else f"{unit}s"


def pack_word(material: str) -> str:
    """Return what a pack of a product is called: sheet comes in rolls."""
    return "roll" if material == SHEET else "pack"


@dataclass(frozen=True)
class Material:
    """One material that is bought in packs.

    Attributes
    ----------
    driver : what is counted for a job; a column of `material_quantities` or of the table of jobs
    unit : unit of the driver and of the pack's content
    pack : content of a pack, in the unit, where the records do not say
    allowance : mean and sd of what is used above the counted quantity, as a share of it
    spread : middle of the job-to-job spread, as a share of the counted quantity
    floor : spread that even the smallest job has, in the unit
    gross_packs : standard deviation of a grossly wrong record, packs
    reason : why these numbers
    """

    driver: str
    unit: str
    pack: float
    allowance: tuple[float, float]
    spread: float
    floor: float
    gross_packs: float
    reason: str


MATERIALS: dict[str, Material] = {
    "joint tape": Material(
        driver="joint_m",
        unit="m",
        pack=25.0,
        allowance=(0.15, 0.15),
        spread=0.10,
        floor=5.0,
        gross_packs=4.0,
        reason="Strips lap at their ends, starts are spoilt, holes get patches: a tenth or two."
        " The sd is as large, for a perimeter that nobody gave must find room in it. Rolls of"
        " tape hold 25 or 30 m. A gross error is a third of a house's 12 rolls.",
    ),
    "frame tape": Material(
        driver="frame_tape_m",
        unit="m",
        pack=25.0,
        allowance=(0.10, 0.10),
        spread=0.08,
        floor=3.0,
        gross_packs=1.5,
        reason="Each side is cut a little long, and a strip that sits wrong comes off and is lost."
        " A gross error is a third of a house's 4 rolls.",
    ),
    "corner pieces": Material(
        driver="corner_pieces",
        unit="piece",
        pack=CORNER_PACK,
        allowance=(0.05, 0.05),
        spread=0.05,
        floor=1.5,
        gross_packs=4.0,
        reason="A piece that sticks askew is thrown away: one in twenty. A gross error is a third"
        " of a house's 12 packs.",
    ),
    "sealant": Material(
        driver="sealant_m",
        unit="m",
        pack=round(CARTRIDGE_ML * 1000 / BEAD_MM**2 / 1000, 1),
        allowance=(0.20, 0.20),
        spread=0.15,
        floor=2.0,
        gross_packs=3.0,
        reason="Beads are laid thicker than planned, and half-empty cartridges dry up. A cartridge"
        " of 310 ml gives 8.6 m of a bead of 6 x 6 mm.",
    ),
}
