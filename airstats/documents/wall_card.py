"""The allowances on one printed page, to pin to the wall, with a job worked by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from airstats.base.caution import CAUTION
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.number_text import counted as packs_of
from airstats.base.number_text import each, number
from airstats.catalog.corner_methods import CORNERS
from airstats.catalog.cut_patterns import CUTS, stopped_cuts
from airstats.catalog.materials import PRETAPED_SHARE, plural
from airstats.documents.page_templates import page_template
from airstats.model.allowances import Allowances, material_table
from airstats.pricing.newsvendor import critical_share, price_materials, priced
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.typed_job import OneJob, one_job, one_record

TEMPLATE = "card.html.j2"
EXAMPLE = OneJob()
MOST_CREWS = 6
"""More crews would not fit the page: those that stand apart most are named."""
MOST_WORDS = 160


@dataclass(frozen=True)
class HandRule:
    """A job worked by the flat factors, in m² and rolls, as a person does it with a pencil.

    `margin_m2` is what the sheet may exceed the expected one by, so that the order is of least
    cost for a job like the example; `margin_share` the same as a share of laid sheet.
    """

    laid_m2: float
    waste_m2: float
    reveals_m2: float
    margin_m2: float
    margin_share: float
    roll_m2: float
    order_rolls: int

    @property
    def sheet_m2(self) -> float:
        """Laid sheet, waste and reveals."""
        return self.laid_m2 + self.waste_m2 + self.reveals_m2

    @property
    def rolls(self) -> int:
        """Sheet and margin in whole rolls, rounded up."""
        return int(np.ceil((self.sheet_m2 + self.margin_m2) / self.roll_m2 - 1e-9))


def hand_rule(
    job: OneJob,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    margin_share: float | None = None,
) -> HandRule:
    """Work a job by hand with the flat factors.

    Parameters
    ----------
    job : OneJob
        The job, with one kind of opening.
    allowances : Allowances
        Their means are used, as printed.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short.
    margin_share : float, optional
        Margin a m² laid; by default what this very job needs.

    Notes
    -----
    sheet = laid × (1 + waste) + reveal factor × reveal area; margin = (quantile of the need at
    short / (short + left over) - expected need), from `newsvendor.predict`.
    """
    takeoff = one_job(job)
    row, means = takeoff.table.iloc[0], printed_means(allowances)
    reveal = float(row[f"reveal_{job.cut_pattern}_m2"])
    laid = float(row["laid_m2"])
    foretold = priced(takeoff, allowances, leftover_cost, short_cost)
    if margin_share is None:
        above = foretold.use.quantile(foretold.share)[0] - foretold.use.mean()[0]
        margin_share = round(max(float(above), 0.0) / laid, 3)
    return HandRule(
        laid_m2=laid,
        waste_m2=laid * means["waste"],
        reveals_m2=reveal * means[f"reveal.{job.cut_pattern}"],
        margin_m2=margin_share * laid,
        margin_share=margin_share,
        roll_m2=float(row["roll_m2"]),
        order_rolls=int(foretold.order_packs[0]),
    )


def allowance_card(
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    job: OneJob = EXAMPLE,
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
    """
    rule = hand_rule(job, allowances, leftover_cost, short_cost)
    return page_template(TEMPLATE).render(
        allowances=allowances,
        jobs=len(allowances.job_ids),
        factors=_factors(allowances),
        crews=_crews(allowances),
        materials=_materials(job, allowances, leftover_cost, short_cost),
        steps=_steps(job, rule, allowances),
        rule=rule,
        job=job,
        share=critical_share(leftover_cost, short_cost),
        costs=(leftover_cost, short_cost),
        stopped=", ".join(stopped_cuts()),
        decision=_decision(allowances),
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
        what = f"of reveal, {CUTS[cut].of_reveals}" if cut in CUTS else "of laid sheet"
        numbers = {key: number(row[key], _digits(cut)) for key in ("mean", "low", "high")}
        rows.append({"name": cut, "what": what} | numbers)
    return rows


def _crews(allowances: Allowances) -> dict[str, Any]:
    """The crews that stand apart most, and how many are not named."""
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
    return {"rows": rows, "more": len(table) - len(rows)}


def _materials(
    job: OneJob, allowances: Allowances, leftover_cost: float, short_cost: float
) -> list[dict[str, str]]:
    """The other materials that records have taught, with the packs for the example."""
    priced = price_materials(one_record(job), allowances, leftover_cost, short_cost)
    orders, counts = priced.set_index("material").to_dict("index"), _counts(job)
    rows = []
    for name, learnt in material_table(allowances).to_dict("index").items():
        unit, factor = plural(learnt["pack_unit"]), 1 + learnt["mean"]
        row = _points(learnt["mean"], learnt["low"], learnt["high"]) | {
            "name": str(name),
            "how": f"{unit} counted × {factor:.2f}",
            "sum": "",
            "packs": f"packs of {learnt['pack']:g} {unit}",
        }
        if order := orders.get(name):
            how = counts.get(learnt["driver"])
            counted = f"{number(order['expected'] / factor, 0)}\u00a0{unit}"
            row |= {
                "how": f"{how} = {counted}" if how else counted,
                "sum": f"{counted} × {factor:.2f} = {number(order['expected'], 0)} {unit}",
                "packs": f"{packs_of(order['order_packs'], 'pack')} of {order['pack']:g} {unit}",
            }
        rows.append(row)
    return rows


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
    laid, reveal, sheet = map(_m2, (rule.laid_m2, rule.reveals_m2 / factor, rule.sheet_m2))
    width, lap = job.roll_width_m, job.lap_mm / 1000
    courses = f"{job.surface_m2:g} m² × {width:g} ÷ ({width:g} − {lap:g})"
    area = f"{job.count} × {_around(job)} m × {job.reveal_mm / 1000:g} m"
    cut = f"{reveal} × {factor:.2f} ({job.cut_pattern})"
    total, margin = number(rule.sheet_m2, 1), number(rule.margin_m2, 1)
    whole = f"({total} + {margin}) ÷ {rule.roll_m2:g} m², rounded up"
    return [
        ("Laid sheet, with laps", courses, laid),
        ("Waste", f"{laid} × {means['waste']:.3f}", _m2(rule.waste_m2)),
        ("Reveal area", area, reveal),
        ("Sheet for the reveals", cut, _m2(rule.reveals_m2)),
        ("Sheet expected", "laid + waste + reveals", sheet),
        ("Margin", f"{laid} laid × {rule.margin_share:.3f}", _m2(rule.margin_m2)),
        ("Rolls to order", whole, f"{rule.rolls}"),
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
    return {name: f"{share * 100:+.1f}".replace("-", "−") for name, share in shares.items()}


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
