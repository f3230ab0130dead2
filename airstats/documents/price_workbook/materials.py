"""The other materials of the price sheet: what is counted of each, as formulas."""

from __future__ import annotations

from airstats.catalog.corner_methods import CORNER_METHODS, USUAL_METHOD
from airstats.catalog.materials import PRETAPED_SHARE
from airstats.catalog.reader_names import reader_name
from airstats.documents.price_workbook.geometry_formulas import untaped_cuts

STEPS = {
    "course_joint_m": "laid_m2/roll_width_m",
    "butt_joint_m": "laid_m2/roll_length_m",
    "open_share": f"1-IF(ISNUMBER(pretaped_share),pretaped_share,{PRETAPED_SHARE:g})",
    "open_corners": "corner_count*open_share",
}
"""What the openings and the courses give."""


def _by_method(numbers: dict[str, float]) -> str:
    """The number of the method that is typed; where none is, that of the usual one."""
    formula = f"{numbers[USUAL_METHOD]:g}"
    for method, value in numbers.items():
        formula = f'IF(corner_method="{method}",{value:g},{formula})'
    return formula


EXTRA_TAPE_MM = _by_method({name: one.extra_tape_mm for name, one in CORNER_METHODS.items()})
PIECES = _by_method({name: one.pieces for name, one in CORNER_METHODS.items()})
COUNTED = {
    "joint_m": "course_joint_m+butt_joint_m+piece_joint_m+N(perimeter_m)",
    "frame_tape_m": f"lined_edge_m*open_share+open_corners*{EXTRA_TAPE_MM}/1000",
    "corner_pieces": f"open_corners*{PIECES}",
}
"""Drivers that the sheet counts, as `material_quantities` does; any other is typed."""


def materials_good() -> str:
    """Return the formula of whether what is typed for the materials will do."""
    known = ",".join(f'corner_method="{method}"' for method in (*CORNER_METHODS, ""))
    good = f"N(pretaped_share)>=0,N(pretaped_share)<=1,N(perimeter_m)>=0,OR({known})"
    return f"AND({good},untaped_openings=0)" if untaped_cuts() else f"AND({good})"


def materials_fault() -> str:
    """Return what to do where they will not."""
    cuts = ", ".join(map(reader_name, untaped_cuts()))
    elsewhere = f". Count the tape of openings cut {cuts} with `airstats price --materials`"
    return (
        "Tape and corners: write a share from 0 to 1, corners closed by"
        f" {', '.join(CORNER_METHODS)}, lengths not below 0{elsewhere * bool(cuts)}."
    )
