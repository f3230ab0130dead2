"""The slit cut as spreadsheet formulas: leaves, the strips they leave, and the better way."""

from __future__ import annotations

from dataclasses import dataclass

from airstats.catalog.cut_patterns import CutFormulas, Steps
from airstats.geometry.cutting_rules import OFFCUT_LEAST_MM


def centre_formulas() -> CutFormulas:
    """Return a slit upright or level, as `slit_cut.cut_centre` chooses the way."""
    gain = "({up_needed}-{up_fillable})-({level_needed}-{level_fillable})"
    fewer = "IF({level_pieces}<{up_pieces},1,0)"
    upright = _Leaves("up", "{height}", "{width}/2", "2", "{width}", "2", "1+{lined_foot}")
    level = _Leaves(
        "level",
        "{width}",
        "IF({lined_foot}>0,{height}/2,{height})",
        "1+{lined_foot}",
        "{height}",
        "1+{lined_foot}",
        "2",
    )
    steps = [
        *_slit(upright),
        *_slit(level),
        ("gain_if_level", gain),
        ("runs_level", f"IF(ABS({{gain_if_level}})<1,{fewer},IF({{gain_if_level}}>0,1,0))"),
        ("needed_centre", "IF({runs_level}=1,{level_needed},{up_needed})"),
        ("fillable_centre", "IF({runs_level}=1,{level_fillable},{up_fillable})"),
        ("joint_centre", "IF({runs_level}=1,{level_joint},{up_joint})"),
    ]
    return CutFormulas(steps, [])


@dataclass(frozen=True)
class _Leaves:
    """One way of the slit: formulas of its leaves and of the loose pieces beside them.

    A loose piece is as long as the bare side, and a return more at each of its ends.
    """

    way: str
    hinge: str
    span: str
    leaves: str
    bare: str
    ends: str
    loose: str


def _slit(leaf: _Leaves) -> Steps:
    steps = [
        ("hinge", leaf.hinge),
        ("span", leaf.span),
        ("leaves", leaf.leaves),
        ("bare", leaf.bare),
        ("ends", leaf.ends),
        ("length", "{WAY_bare}+{WAY_ends}*{turned}"),
        ("loose", leaf.loose),
        *_strip("strip", "{WAY_length}", "{reach}"),
        ("short", "IF({depth}>{WAY_span},{WAY_leaves},0)"),
        ("short_by", "{depth}-{WAY_span}+{turned}"),
        *_strip("extra", "{WAY_hinge}", "{WAY_short_by}"),
        ("remains", "MAX({WAY_span}-{depth},0)"),
        ("whole", f"MIN({{WAY_loose}},{_supply('{reach}', '{WAY_length}')})"),
        ("halves", f"INT({_supply('{reach}', '(({WAY_length}+{turned})/2)')}/2)"),
        ("patch", f"IF(AND({_PATCH}),{{WAY_leaves}},0)"),
        ("narrow", f"INT({_supply('(({reach}+{turned})/2)', '{WAY_length}')}/2)"),
        ("two_parts", f"IF({{WAY_whole}}>0,0,MIN({{WAY_loose}},MAX({_TWO_PARTS})))"),
        ("filled", "MIN({WAY_whole}+{WAY_two_parts},{WAY_loose})"),
        ("needed", "{WAY_loose}*{WAY_strip_sheet}+{WAY_short}*{WAY_extra_sheet}"),
        ("fillable", "{WAY_filled}*{WAY_strip_sheet}"),
        ("pieces", _PIECES),
        ("joint", _JOINT),
    ]
    return [(f"{leaf.way}_{name}", rule.replace("WAY", leaf.way)) for name, rule in steps]


_TWO_PARTS = "{WAY_halves},{WAY_patch},{WAY_narrow}"
_PATCH = (
    "{WAY_hinge}<{WAY_length},"
    f"{{WAY_remains}}-{{reach}}>=MAX({{WAY_length}}+{{turned}}-{{WAY_hinge}},{OFFCUT_LEAST_MM:g}),"
    f"{{WAY_hinge}}>=MAX({{reach}},{OFFCUT_LEAST_MM:g})"
)
_PIECES = (
    "{WAY_filled}+{WAY_two_parts}+({WAY_loose}-{WAY_filled})*{WAY_strip_parts}"
    "+{WAY_short}*{WAY_extra_parts}"
)
_JOINT = (
    "{WAY_loose}*({WAY_bare}+{WAY_ends}*{depth})"
    "+({WAY_loose}-{WAY_filled})*{WAY_strip_joint}"
    "+{WAY_short}*({WAY_hinge}+{WAY_extra_joint})"
    "+{WAY_two_parts}*IF(MAX({WAY_halves},{WAY_patch})>={WAY_narrow},{depth},{WAY_bare})"
)


def _supply(a: str, b: str) -> str:
    """Pieces a × b cut square from the strips that the leaves leave."""
    along = f"INT({{WAY_remains}}/{a})*INT({{WAY_hinge}}/{b})"
    across = f"INT({{WAY_remains}}/{b})*INT({{WAY_hinge}}/{a})"
    small = f"MIN({{WAY_remains}},{{WAY_hinge}})<{OFFCUT_LEAST_MM:g}"
    return f"{{WAY_leaves}}*IF({small},0,MAX({along},{across}))"


def strip_parts(length: str, deep: str) -> str:
    """Return the formula of the parts that a strip from the roll is made of."""
    return f"MAX(ROUNDUP((MIN({length},{deep})-{{turned}})/({{roll}}-{{turned}}),0),1)"


def _strip(name: str, length: str, deep: str) -> Steps:
    """As `cutting_rules.fresh_strip`: parts, inner joint and sheet of one strip from the roll."""
    return [
        (f"{name}_parts", strip_parts(length, deep)),
        (f"{name}_joint", f"({{WAY_{name}_parts}}-1)*MAX({length},{deep})"),
        (f"{name}_sheet", f"{length}*{deep}+{{turned}}*{{WAY_{name}_joint}}"),
    ]
