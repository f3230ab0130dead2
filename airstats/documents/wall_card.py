"""The allowances on one printed page, to pin to the wall, with a job worked by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from airstats.base.caution import CAUTION
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.number_text import (
    by_chance,
    each,
    in_currency,
    listed,
    number,
    own_money,
    percent,
    signed,
)
from airstats.base.number_text import counted as packs_of
from airstats.catalog.corner_methods import CORNERS
from airstats.catalog.cut_patterns import CUTS, stopped_cuts
from airstats.catalog.materials import MATERIALS, PRETAPED_SHARE, plural
from airstats.catalog.reader_names import reader_name
from airstats.catalog.wound_roll import CORE_MM, diameter_table
from airstats.documents.page_templates import page_template
from airstats.model.allowances import Allowances, material_table
from airstats.pricing.newsvendor import Priced, critical_share, needed_products, priced
from airstats.records.reading import Records
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.sheet_quantities import take_off
from airstats.takeoff.typed_job import OneJob, one_job, one_record

TEMPLATE = "card.html.j2"
EXAMPLE = OneJob()
MOST_CREWS = 6
"""More crews would not fit the page: those that stand apart most are named."""
MOST_WORDS = 160


SPAN_M2 = (100, 500)
"""Surfaces between which the margins hold."""
CLOSE = 0.08
"""Rolls so close to a whole number that only the workbook can tell."""


@dataclass(frozen=True)
class Margin:
    """What is ordered above the expected amount: `fixed`, in its unit, and a `share` of it."""

    fixed: float
    share: float

    def of(self, expected: float) -> float:
        """Return the margin as a pencil works it out: to a tenth."""
        return round(self.fixed + self.share * expected, 1)


@dataclass(frozen=True)
class HandRule:
    """A job worked by the flat factors, in m² and rolls, as a person does it with a pencil.

    Every number is rounded to a tenth, as it is written down; `full_m2`, the sheet expected, and
    `order_rolls` are worked in full.
    """

    laid_m2: float
    waste_m2: float
    reveal_area_m2: float
    reveals_m2: float
    margin: Margin
    roll_m2: float
    full_m2: float
    order_rolls: int

    @property
    def sheet_m2(self) -> float:
        """Laid sheet, waste and reveals."""
        return round(self.laid_m2 + self.waste_m2 + self.reveals_m2, 1)

    @property
    def margin_m2(self) -> float:
        """What the order may exceed the expected sheet by, so that it is of least cost."""
        return self.margin.of(self.sheet_m2)

    @property
    def exact_rolls(self) -> float:
        """Sheet and margin in rolls, before they are rounded up."""
        return round((self.sheet_m2 + self.margin_m2) / self.roll_m2, 2)

    @property
    def rolls(self) -> int:
        """Sheet and margin in whole rolls, rounded up."""
        return int(np.ceil(self.exact_rolls))


def hand_rule(
    job: OneJob,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
) -> HandRule:
    """Work a job whose crew is not known by hand, with the flat factors.

    Parameters
    ----------
    job : OneJob
        The job, with one kind of opening.
    allowances : Allowances
        Their means are used, as printed.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short.

    Notes
    -----
    sheet = laid × (1 + waste) + reveal factor × reveal area; margin as by `sheet_margin`.
    """
    takeoff = one_job(job)
    row, means = takeoff.table.iloc[0], printed_means(allowances)
    laid, reveal = (round(float(row[n]), 1) for n in ("laid_m2", f"reveal_{job.cut_pattern}_m2"))
    costs = (leftover_cost, short_cost)
    full = priced(takeoff, allowances, *costs)
    return HandRule(
        laid_m2=laid,
        waste_m2=round(laid * means["waste"], 1),
        reveal_area_m2=reveal,
        reveals_m2=round(reveal * means[f"reveal.{job.cut_pattern}"], 1),
        margin=sheet_margin(allowances, *costs),
        roll_m2=float(row["roll_m2"]),
        full_m2=float(full.use.mean()[0]),
        order_rolls=int(full.order_packs[0]),
    )


def sheet_margin(
    allowances: Allowances, leftover_cost: float, short_cost: float, crews: Sequence[str] = ("",)
) -> Margin:
    """Return the margin where the crew is one of these, or is not known.

    Parameters
    ----------
    allowances, leftover_cost, short_cost
        As for `hand_rule`.
    crews : sequence of str
        Crews that the allowances know, or "".

    Notes
    -----
    Least squares of (quantile of the need at short / (short + left over) - the sheet expected by
    hand) on that sheet, over jobs of every usual size, depth and cut.
    """
    means, points = printed_means(allowances), allowances.crew_table()["mean"].round(3)
    jobs = take_off(_usual_jobs(crews))
    waste = means["waste"] + np.array([points.get(crew, 0.0) for crew in jobs.crews])
    factors = np.array([means[f"reveal.{cut}"] for cut in CUTS])
    expected = jobs.amount * (1 + waste) + jobs.by_cut("reveal") @ factors
    return _margin(priced(jobs, allowances, leftover_cost, short_cost), expected)


def _margin(foretold: Priced, expected: np.ndarray) -> Margin:
    above = foretold.use.quantile(foretold.share) - expected
    fixed, share = np.linalg.lstsq(np.column_stack([np.ones_like(above), expected]), above)[0]
    return Margin(round(float(fixed), 1), round(float(share), 3))


def _usual_jobs(crews: Sequence[str]) -> Records:
    """Jobs of every usual size, with openings of every cut, few and many, shallow and deep."""
    every = list(product(np.linspace(*SPAN_M2, 6), (3, 8, 14), CUTS, _KINDS, crews))
    surface, count, cut, kind, crew = zip(*every, strict=True)
    one, rows, names = one_record(OneJob()), [0] * len(every), [f"{n}" for n in range(len(every))]
    sizes = pd.DataFrame(kind, columns=["width_mm", "height_mm", "reveal_mm"])
    jobs = one.jobs.iloc[rows].reset_index(drop=True)
    openings = one.openings.iloc[rows].reset_index(drop=True)
    return replace(
        one,
        jobs=jobs.assign(job_id=names, surface_m2=surface, crew=crew),
        openings=openings.assign(job_id=names, count=count, cut_pattern=cut, **sizes),
    )


_KINDS = ((800.0, 1100.0, 150.0), (1200.0, 1400.0, 300.0), (1700.0, 1000.0, 450.0))
"""Width, height and depth of reveal, mm."""


def allowance_card(
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    job: OneJob = EXAMPLE,
    currency: str = "",
) -> str:
    """Return the card as an HTML page that prints on one sheet of A4.

    Parameters
    ----------
    allowances : Allowances
        Those of the quarter that ended.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short: they set the margin.
    job : OneJob
        The job that is worked as an example.
    currency : str
        That of the costs, if it is known.
    """
    rule, crews = hand_rule(job, allowances, leftover_cost, short_cost), allowances.belief.crews
    margins = {"": rule.margin}
    if crews:
        margins["named"] = sheet_margin(allowances, leftover_cost, short_cost, crews)
    return page_template(TEMPLATE).render(
        allowances=allowances,
        jobs=len(allowances.job_ids),
        factors=_factors(allowances),
        crews=_crews(allowances),
        materials=_materials(job, allowances, leftover_cost, short_cost),
        untold=listed([name for name in MATERIALS if name not in allowances.materials]),
        taped=percent(PRETAPED_SHARE),
        kept=f"{1 - PRETAPED_SHARE:g}",
        steps=_steps(job, rule, allowances),
        margins=margins,
        span=SPAN_M2,
        close=CLOSE,
        rule=rule,
        job=job,
        share=critical_share(leftover_cost, short_cost),
        costs=(in_currency(f"{leftover_cost:g}", currency), own_money(f"{short_cost:g}", currency)),
        stopped=", ".join(map(reader_name, stopped_cuts())),
        cut=reader_name(job.cut_pattern),
        decision=_decision(allowances),
        left=left_on_a_roll(job),
        core_mm=CORE_MM,
        caution=CAUTION,
    )


def printed_means(allowances: Allowances) -> dict[str, float]:
    """Return the means as the card prints them, so that a pencil agrees with it."""
    means = allowances.table()["mean"]
    return {str(name): round(float(mean), _digits(str(name))) for name, mean in means.items()}


def _digits(name: str) -> int:
    return 3 if name == "waste" else 2


def _factors(allowances: Allowances) -> list[dict[str, str]]:
    rows = []
    for name, row in allowances.table().iterrows():
        cut = str(name).removeprefix("reveal.")
        what = "of reveal" if cut in CUTS else "of laid sheet"
        ends = row["mean"], (row["high"] - row["low"]) / 2
        mean, half = (number(value, _digits(cut)) for value in ends)
        rows.append({"name": reader_name(cut), "what": what, "mean": mean, "half": half})
    return rows


def _crews(allowances: Allowances) -> dict[str, Any]:
    """The crews that stand apart most, how many are not named, and whether any surely differs."""
    table = allowances.crew_table().rename_axis("crew").reset_index()
    apart = (table["mean"].abs() / table["sd"]).sort_values(ascending=False, kind="stable")
    named = table.loc[apart.index[:MOST_CREWS]].sort_values("crew")
    rows = [
        {
            "crew": _short(str(row.crew), 24),
            "jobs": int(row.jobs),
            **_points(row.mean, row.low, row.high),
        }
        for row in each(named)
    ]
    sure = any(not by_chance(row) for _, row in table.iterrows())
    example = ""
    if rows:
        waste, points = printed_means(allowances)["waste"], round(float(named["mean"].iloc[0]), 3)
        sign = "−" if points < 0 else "+"
        example = f"{rows[0]['crew']}: {waste:.3f} {sign} {abs(points):.3f} m² a m²"
    return {"rows": rows, "more": len(table) - len(rows), "sure": sure, "example": example}


def _materials(
    job: OneJob, allowances: Allowances, leftover_cost: float, short_cost: float
) -> list[dict[str, str]]:
    """The other materials that records have taught, with the packs for the example."""
    costs, known = (leftover_cost, short_cost), material_table(allowances).to_dict("index")
    if not known:
        return []
    own = {one.name: one.jobs for one in needed_products(one_record(job), allowances)}
    usual = {one.name: one for one in needed_products(_usual_jobs([""]), allowances)}
    counts, rows = _counts(job), []
    for name, learnt in known.items():
        unit, factor = plural(learnt["pack_unit"]), round(1 + learnt["mean"], 2)
        row = _points(learnt["mean"], learnt["low"], learnt["high"]) | {
            "name": str(name),
            "how": f"{unit} counted × {factor:.2f}",
            "sum": "",
            "packs": f"packs of {learnt['pack']:g} {unit}",
        }
        if name in own:
            taught, jobs = usual[name], usual[name].jobs
            margin = _margin(priced(jobs, taught.known, *costs), jobs.amount * factor)
            how = counts.get(learnt["driver"])
            row |= _by_pencil(float(own[name].amount[0]), factor, margin, learnt["pack"], unit)
            row["how"] = f"{how} = {row['how']}" if how else row["how"]
        rows.append(row)
    return rows


def _by_pencil(
    amount: float, factor: float, margin: Margin, pack: float, unit: str
) -> dict[str, str]:
    """Each step of a material's packs, every number as it is written down."""
    counted = round(amount, 1)
    expected = round(counted * factor, 1)
    packs = round((expected + margin.of(expected)) / pack, 2)
    above = f"{margin.fixed:g} + {margin.share:g} × {expected:g} = {margin.of(expected):g}"
    return {
        "how": f"{counted:g}\u00a0{unit}",
        "sum": f"{counted:g} × {factor:.2f} = {expected:g} {unit}; margin {above};"
        f" ({expected:g} + {margin.of(expected):g}) ÷ {pack:g} = {packs:g}, rounded up",
        "packs": f"{packs_of(int(np.ceil(packs)), 'pack')} of {pack:g} {unit}",
    }


def left_on_a_roll(job: OneJob) -> list[tuple[str, str]]:
    """Return the outer diameter of a begun roll in mm, and the metres left on it, as printed."""
    table = diameter_table(length_m=job.roll_length_m)
    return [(f"{row.diameter_mm:.0f}", f"{row.left_m:.0f}") for row in each(table)]


def _counts(job: OneJob) -> dict[str, str]:
    """How the drivers of tape and corners are counted for the example, as a pencil does it."""
    counted = material_quantities(one_job(job), one_record(job).openings).iloc[0]
    kept, pieces_m = f"{1 - PRETAPED_SHARE:g}", counted["joint_m"]
    pieces_m -= counted["course_joint_m"] + counted["butt_joint_m"]
    return {
        "frame_tape_m": f"{job.count} × {_around(job)} m × {kept}",
        "corner_pieces": f"{job.count} × {CORNERS[4]} × {kept}",
        "joint_m": f"courses {counted['course_joint_m']:.0f} + ends of rolls"
        f" {counted['butt_joint_m']:.0f} + pieces {pieces_m:.0f}",
    }


def _steps(job: OneJob, rule: HandRule, allowances: Allowances) -> list[tuple[str, str, str]]:
    means = printed_means(allowances)
    factor = means[f"reveal.{job.cut_pattern}"]
    laid, reveal, sheet = map(_m2, (rule.laid_m2, rule.reveal_area_m2, rule.sheet_m2))
    width, lap = job.roll_width_m, job.lap_mm / 1000
    courses = f"{job.surface_m2:g} m² × {width:g} ÷ ({width:g} − {lap:g})"
    area = f"{job.count} × {_around(job)} m × {job.reveal_mm / 1000:g} m"
    total, margin = number(rule.sheet_m2, 1), number(rule.margin_m2, 1)
    above = f"{rule.margin.fixed:.1f} + {rule.margin.share:.3f} × {total}"
    return [
        ("Laid sheet, with laps", courses, laid),
        ("Waste", f"{laid} × {means['waste']:.3f}", _m2(rule.waste_m2)),
        ("Reveal area", area, reveal),
        (
            "Sheet for the reveals",
            f"{reveal} × {factor:.2f} ({reader_name(job.cut_pattern)})",
            _m2(rule.reveals_m2),
        ),
        ("Sheet expected", "laid + waste + reveals", sheet),
        ("Margin", above, _m2(rule.margin_m2)),
        ("In rolls", f"({total} + {margin}) ÷ {rule.roll_m2:g} m²", f"{rule.exact_rolls:.2f}"),
        ("Rolls to order", "rounded up", f"{rule.rolls}"),
    ]


def _around(job: OneJob) -> str:
    return f"2 × ({job.width_mm / 1000:g} + {job.height_mm / 1000:g})"


def _m2(value: float) -> str:
    return f"{number(value, 1)} m²"


def _decision(allowances: Allowances) -> str:
    """What was decided on these values, with reason and initials, as the file holds it."""
    noted = allowances.decision
    if not noted:
        return "No decision is noted in the file."
    said = {"accept": "The new values were accepted", "keep": "The values before were kept"}
    start = said.get(noted.get("decision", ""), f"Decision: {noted.get('decision', '–')}")
    why = f": {_short(noted['reason'], MOST_WORDS)}" if noted.get("reason") else ""
    by = f" ({_short(noted['by'], 20)})" if noted.get("by") else ""
    return f"{start}{by}{why}".rstrip(".") + "."


def _points(mean: float, low: float, high: float) -> dict[str, str]:
    """Mean and interval in hundredths, with their signs."""
    shares = {"mean": mean, "low": low, "high": high}
    return {name: signed(share * 100, 1) for name, share in shares.items()}


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
