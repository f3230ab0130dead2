"""The openings' geometry as spreadsheet formulas: one column a step, one row a kind of opening.

Each cut brings its own formulas: those of `airstats.geometry` for the standard practice,
step by step, so that a reader may follow them cell by cell. All lengths are in millimetres.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS, CutFormulas, Steps, reused_cuts, stopped_cuts
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.documents.price_workbook.looks import letter
from airstats.documents.price_workbook.slit_formulas import strip_parts
from airstats.geometry.cutting_rules import JUST_FITS_MM, OFFCUT_LEAST_MM, STANDARD_PRACTICE

JUST_FITS = f"{JUST_FITS_MM:.6f}"
TIPS = ("foot", "head", "left", "right")
LENGTHS = {
    "piece_joint_m": ("joint", 1000),
    "lined_edge_m": ("edge", 1000),
    "corner_count": ("corners", 1),
}
"""Sums over all openings of a job for tape and corners: the step added up, and what divides it."""


def add_geometry(job: JobSheets, first_input: int, rows: int) -> None:
    """Work the openings out on the job's working sheet, and name the sums.

    Parameters
    ----------
    job : JobSheets
        Its name `roll_width_m` is the width of the roll, m. Its page holds the openings: count,
        width, height, reveal, sides and cut in B to G, "ok" in H. It gets the names of `sums`
        with `listed_` before them, and those of `LENGTHS`.
    first_input, rows : int
        The first row of the openings, and how many rows there are.
    """
    first = job.block(
        rows + 1,
        "The openings worked out, for one of each kind; lengths in mm, areas in mm². Rows without"
        " an opening hold a stand-in counted 0 times.",
    )
    steps = _steps()
    letters = {name: letter(place) for place, (name, _) in enumerate(steps, start=1)}
    for name, at in letters.items():
        job.working[f"{at}{first}"] = name
    for row in range(1, rows + 1):
        for name, formula in steps:
            typed = job.page.title, first_input + row - 1
            filled = _filled(formula, letters, first + row, *typed)
            job.write(job.working, f"{letters[name]}{first + row}", filled)
    for name, formula in _sums(letters, first + 1, first + rows):
        job.step(f"listed_{name}" if name in sums() else name, formula)


def _filled(formula: str, letters: dict[str, str], row: int, inputs: str, input_row: int) -> str:
    """Put cells in the place of {names}; {typed:B} is column B of the openings typed."""
    filled = re.sub(r"\{typed:(\w)\}", rf"'{inputs}'!$\g<1>{input_row}", formula)
    return re.sub(r"\{(\w+)\}", lambda found: f"${letters[found[1]]}{row}", filled)


def _sums(letters: dict[str, str], first: int, last: int) -> Iterator[tuple[str, str]]:
    def column(name: str) -> str:
        return f"${letters[name]}${first}:${letters[name]}${last}"

    for name, (cuts, step) in sums().items():
        of_cut = "+".join(f'({column("cut")}="{cut}")' for cut in cuts)
        of_cut = f"({of_cut})" if len(cuts) > 1 else of_cut
        yield name, f"SUMPRODUCT({of_cut}*{column('count')}*{column(step)})/1000000"
    if untaped_cuts():
        of_cut = "+".join(f'({column("cut")}="{cut}")' for cut in untaped_cuts())
        yield "untaped_openings", f"SUMPRODUCT(({of_cut})*{column('count')})"
    for name, (step, unit) in LENGTHS.items():
        yield name, f"SUMPRODUCT({column('count')}*{column(step)})/{unit}"


def sums() -> dict[str, tuple[list[str], str]]:
    """Return the sums over a job's openings, named as by `take_off`: cuts, and step added up."""
    reused = [cut for cut in reused_cuts() if CUTS[cut].formulas]
    found = {f"reveal_{cut}_m2": ([cut], "reveal") for cut in CUTS}
    for quantity in ("needed", "fillable"):
        found |= {f"{quantity}_{cut}_m2": ([cut], f"{quantity}_{cut}") for cut in reused}
    return found | {"lined_opening_m2": (stopped_cuts(), "opening")}


def unpriced_cuts() -> list[str]:
    """Return the cuts that the price sheet cannot price: it has no formulas of their off-cuts."""
    return [cut for cut in reused_cuts() if not CUTS[cut].formulas]


def untaped_cuts() -> list[str]:
    """Return the cuts whose joints the price sheet cannot count."""
    return [name for name, cut in CUTS.items() if not cut.formulas]


def _steps() -> Steps:
    cuts = {name: cut.formulas() for name, cut in CUTS.items() if cut.formulas}
    steps = [step for formulas in cuts.values() for step in formulas.steps]
    joints = [step for formulas in cuts.values() for step in formulas.joints]
    for cut, formulas in cuts.items():
        _refuse_incomplete(cut, formulas)
    *others, last = cuts
    joint = f"{{joint_{last}}}"
    for cut in reversed(others):
        joint = f'IF({{cut}}="{cut}",{{joint_{cut}}},{joint})'
    return [*_sizes(), *steps, *joints, ("joint", joint)]


def _code(typed: str) -> str:
    """The name of the cut that was typed as readers call it, or by that name."""
    code = typed
    for name, cut in CUTS.items():
        code = f'IF({typed}="{cut.words}","{name}",{code})'
    return code


def _refuse_incomplete(cut: str, formulas: CutFormulas) -> None:
    wanted = {f"joint_{cut}"}
    wanted |= {f"needed_{cut}", f"fillable_{cut}"} if CUTS[cut].reuse_share else set()
    missing = wanted - {name for name, _ in (*formulas.steps, *formulas.joints)}
    if missing:
        raise AirstatsError(f'the cut "{cut}": its formulas lack the step {sorted(missing)[0]}.')


def diagonal_formulas() -> CutFormulas:
    """Return the cut from corner to corner, as `cut_areas.cut_diagonal`."""
    sloping = "8*{in_jamb}*{slope}/{width}+(4+4*{lined_foot})*{in_head}*{slope}/{height}"
    straight = "2*({depth}-{in_jamb})+(1+{lined_foot})*({depth}-{in_head})"
    joints = [
        ("in_jamb", "MIN({depth},{width}/2)"),
        ("in_head", "MIN({depth},{height}/2)"),
        ("joint_diagonal", f"{sloping}+{straight}+MIN({{halved}},{{corners}})*{{depth}}"),
    ]
    return CutFormulas([*_diagonal(), *_tips(), *_taken(), *_halved()], joints)


def lined_formulas() -> CutFormulas:
    """Return the sheet that stops at the opening, as `cut_areas.cut_lined`: only its joints."""
    joints = []
    for face, length in (("jamb", "{height}"), ("level", "({width}+2*{turned})")):
        parts = strip_parts(length, "{reach}")
        joints.append((f"{face}_strip_joint", f"({parts}-1)*MAX({length},{{reach}})"))
    level = "(1+{lined_foot})*({width}+2*{depth}+{level_strip_joint})"
    joints.append(("joint_lined", f"2*({{height}}+{{jamb_strip_joint}})+{level}"))
    return CutFormulas([], joints)


def _sizes() -> Steps:
    there = 'AND(N({typed:B})>0,{typed:H}="ok")'
    sizes = [
        (name, f"IF({there},{{typed:{letter}}},1000)")
        for name, letter in (("width", "C"), ("height", "D"), ("depth", "E"))
    ]
    return [
        ("count", f"IF({there},{{typed:B}},0)"),
        *sizes,
        ("lined_foot", "IF(N({typed:F})=3,0,1)"),
        ("cut", f'IF({there},{_code("{typed:G}")},"")'),
        ("turned", f"{STANDARD_PRACTICE.return_mm:g}"),
        ("roll", "roll_width_m*1000"),
        ("reach", "{depth}+{turned}"),
        ("opening", "{width}*{height}"),
        ("edge", "2*{height}+(1+{lined_foot})*{width}"),
        ("reveal", "{edge}*{depth}"),
    ]


def _diagonal() -> Steps:
    """Corner to corner: sheet for the corner pieces, and for the ends at an unlined threshold."""
    steps = []
    for face, side, other in (("jamb", "{height}", "{width}"), ("level", "{width}", "{height}")):
        run, widest, sloping = (f"{{{face}_{name}}}" for name in ("run", "widest", "sloping"))
        steps += [
            (f"{face}_run", f"{side}/{other}"),
            (f"{face}_widest", f"({side}+{{turned}})/2"),
            (f"{face}_sloping", f"MIN({{reach}},{widest}/{run})"),
            (f"{face}_part", f"{run}*{sloping}^2/2+{widest}*({{reach}}-{sloping})"),
        ]
    return [
        *steps,
        ("corner", "{jamb_part}+{level_part}"),
        ("corners", "2+2*{lined_foot}"),
        ("ends", "2-2*{lined_foot}"),
        ("needed_diagonal", "{corners}*{corner}+{ends}*{jamb_part}"),
        ("corner_long", "{reach}*({width}/{height}+{height}/{width})"),
        ("end_long", "{reach}*SQRT({width}^2+{height}^2)/{width}"),
    ]


def _tips() -> Steps:
    """The tips that a corner-to-corner cut leaves: base, height and side."""
    steps = [
        ("level_share", "MAX(1-2*{depth}/{height},0)"),
        ("jamb_share", "MAX(1-2*{depth}/{width},0)"),
        ("foot_share", "IF({lined_foot}>0,{level_share},1)"),
        ("slope", "SQRT({width}^2+{height}^2)/2"),
    ]
    for tip in TIPS:
        level = tip in ("foot", "head")
        share = {"foot": "{foot_share}", "head": "{level_share}"}.get(tip, "{jamb_share}")
        base, height = ("{width}", "{height}") if level else ("{height}", "{width}")
        steps += [
            (f"{tip}_base", f"{base}*{share}"),
            (f"{tip}_high", f"{height}*{share}/2"),
            (f"{tip}_side", f"{{slope}}*{share}"),
        ]
    return steps


def _taken() -> Steps:
    """Corner pieces first, then threshold ends, from each tip in turn."""
    steps: Steps = []
    for piece, wanted in (("corner", "{corners}"), ("end", "{ends}")):
        for place, tip in enumerate(TIPS):
            before = "".join(f"-{{{piece}_from_{other}}}" for other in TIPS[:place])
            free = "2" if piece == "corner" else f"{{{tip}_free}}"
            taken = f"MIN({wanted}{before},{{{piece}_fits_{tip}}},{free})"
            steps.append((f"{piece}_fits_{tip}", _fits(tip, f"{{{piece}_long}}")))
            steps.append((f"{piece}_from_{tip}", taken))
            if piece == "corner":
                whole = f"AND({{corner_long}}>{{{tip}_side}}+{JUST_FITS},{{corner_from_{tip}}}>0)"
                steps.append((f"{tip}_free", f"IF({whole},0,2-{{corner_from_{tip}}})"))
    return steps


def _halved() -> Steps:
    """Corner pieces made from two halves, out of what the tips still hold."""
    steps: Steps = []
    for tip in TIPS:
        whole = f"AND({{end_long}}>{{{tip}_side}}+{JUST_FITS},{{end_from_{tip}}}>0)"
        steps.append((f"{tip}_left", f"IF({whole},0,{{{tip}_free}}-{{end_from_{tip}}})"))
    slope = "SQRT({width}^2+{height}^2)"
    halves = [
        ("head_half", f"({{reach}}+{{turned}}*{{height}}/{{width}})*{slope}/{{height}}"),
        ("jamb_half", f"{{reach}}*{slope}/{{width}}"),
        ("large_half", "MAX({head_half},{jamb_half})"),
        ("small_half", "MIN({head_half},{jamb_half})"),
    ]
    for half in ("large", "small"):
        places = [
            f"IF(AND(MIN({{{tip}_base}},{{{tip}_high}})>={OFFCUT_LEAST_MM:g},"
            f"{{{half}_half}}<={{{tip}_side}}+{JUST_FITS}),{{{tip}_left}},0)"
            for tip in TIPS
        ]
        halves.append((f"for_{half}", "+".join(places)))
    corners, ends = ("+".join(f"{{{p}_from_{tip}}}" for tip in TIPS) for p in ("corner", "end"))
    filled = "MIN({whole_corners}+{halved},{corners})*{corner}"
    return [
        *steps,
        *halves,
        ("whole_corners", corners),
        ("halved", "MIN({corners}-{whole_corners},{for_large},INT({for_small}/2))"),
        ("fillable_diagonal", f"{filled}+MIN({ends},{{ends}})*{{jamb_part}}"),
    ]


def _fits(tip: str, long: str) -> str:
    base = f"MAX({{{tip}_base}},0.000000001)"
    one = f"{long}<=MIN({base},2*{{{tip}_side}}^2/{base})+{JUST_FITS}"
    kept = f"MIN({{{tip}_base}},{{{tip}_high}})<{OFFCUT_LEAST_MM:g}"
    return f"IF({kept},0,IF({long}<={{{tip}_side}}+{JUST_FITS},2,IF({one},1,0)))"
