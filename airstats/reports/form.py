"""One job typed into a notebook: the order, its interval and the picture move with the numbers.

In JupyterLab the form is live. Where nobody can type, in a report, a test or a run by papermill,
the same cell shows the answer for the numbers that the form starts with.
"""

from __future__ import annotations

import base64
import os
from dataclasses import dataclass, fields
from html import escape
from typing import Any

import mistune

from airstats.base.errors import AirstatsError
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import Allowances
from airstats.pricing.newsvendor import priced
from airstats.pricing.order_costs import order_costs, roll_chances
from airstats.reports.display import Picture, Words
from airstats.reports.price_charts import roll_chances as draw_chances
from airstats.reports.price_text import one_job_words
from airstats.takeoff.typed_job import OneJob, one_job

LIVE = "JPY_SESSION_NAME"
"""A Jupyter server names the session of each kernel so; other runners of notebooks do not."""
START = OneJob()
WIDGET = "application/vnd.jupyter.widget-view+json"

FIELDS: dict[str, tuple[str, float, float, float]] = {
    "surface_m2": ("Surface, m²", 1, 99_999, 10),
    "count": ("Openings, count", 0, 10_000, 1),
    "width_mm": ("Width, mm", 100, 20_000, 10),
    "height_mm": ("Height, mm", 100, 20_000, 10),
    "reveal_mm": ("Reveal, mm", 10, 1500, 10),
    "lap_mm": ("Lap, mm", 0, 250, 10),
    "leftover_cost": ("A roll left over costs, money", 1, 1e6, 10),
    "short_cost": ("A roll short costs, money", 1, 1e6, 10),
}
"""Label with unit, least, most and step of each number that is typed."""


@dataclass(frozen=True)
class Answer:
    """What the form says: a sentence and a picture."""

    words: Words
    picture: Picture

    def as_html(self) -> str:
        """Return the answer as HTML, the picture with its text alternative."""
        image = base64.b64encode(self.picture.png()).decode("ascii")
        words = mistune.create_markdown(escape=True)(self.words.text)
        return (
            f'<div class="answer">{words}<img alt="{escape(self.picture.alt)}"'
            f' style="max-width: 100%" src="data:image/png;base64,{image}"></div>'
        )


def answer(
    job: OneJob,
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    currency: str = "",
) -> Answer:
    """Price one typed job, in words and as a picture.

    Parameters
    ----------
    job : OneJob
        As it was typed.
    allowances, leftover_cost, short_cost
        As for `price`.
    currency : str
        That of the costs, if it is known.

    Raises
    ------
    AirstatsError
        If a cost is not above 0, or the lined openings are larger than the surface.
    """
    takeoff = one_job(job)
    if float(takeoff.table["laid_m2"].iloc[0]) <= 0:
        raise AirstatsError(
            f"The openings ({takeoff.table['opening_m2'].iloc[0]:.0f} m²) are larger than the"
            f" surface ({job.surface_m2:g} m²): look at the surface, or at count and size."
        )
    foretold = priced(takeoff, allowances, leftover_cost, short_cost)
    orders = order_costs(foretold)
    picture = draw_chances(roll_chances(foretold), orders)
    return Answer(one_job_words(orders.iloc[0], currency), picture)


@dataclass(frozen=True)
class Form:
    """The form with its starting numbers; shown, it is live in JupyterLab and still elsewhere."""

    allowances: Allowances
    leftover_cost: float = LEFTOVER_COST
    short_cost: float = SHORT_COST
    job: OneJob = START
    currency: str = ""

    def __repr__(self) -> str:
        job = self.job
        costs = (self.leftover_cost, self.short_cost, self.currency)
        said = answer(job, self.allowances, *costs).words.text
        return (
            f"For a surface of {job.surface_m2:g} m² with {job.count} openings of"
            f" {job.width_mm:g} × {job.height_mm:g} mm, reveals of {job.reveal_mm:g} mm,"
            f" {CUTS[job.cut_pattern].words}:\n\n{said}"
        )

    def _repr_mimebundle_(
        self, include: Any = None, exclude: Any = None
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        still: dict[str, Any] = dict.fromkeys(("text/plain", "text/markdown"), repr(self))
        if os.environ.get(LIVE):
            still[WIDGET] = widget(self)._repr_mimebundle_()[WIDGET]
        return still, {}


def price_form(
    allowances: Allowances,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    currency: str = "",
) -> Form:
    """Return the form that prices one typed job; put it last in a cell.

    Parameters
    ----------
    allowances, leftover_cost, short_cost, currency
        As for `answer`.
    """
    return Form(allowances, leftover_cost, short_cost, currency=currency)


def widget(form: Form) -> Any:
    """Return the live form: boxes to type into, and below them the answer.

    Notes
    -----
    The widgets are loaded only here: a report needs none.
    """
    import ipywidgets

    boxes = _boxes(ipywidgets, form)
    result = ipywidgets.HTML()

    def show(change: Any = None) -> None:
        typed = {name: box.value for name, box in boxes.items()}
        result.value = as_typed(form.allowances, typed, form.currency)

    for box in boxes.values():
        box.observe(show, names="value")
    show()
    wide = ipywidgets.Layout(flex_flow="row wrap")
    return ipywidgets.VBox([ipywidgets.Box(list(boxes.values()), layout=wide), result])


def as_typed(allowances: Allowances, typed: dict[str, Any], currency: str = "") -> str:
    """Return the answer to what was typed as HTML; what will not do is said in its place.

    Parameters
    ----------
    allowances, currency
        As for `answer`.
    typed : dict
        Name to value of every box.
    """
    numbers = {field.name: typed[field.name] for field in fields(OneJob) if field.name in typed}
    try:
        job = OneJob(**numbers)
        costs = (typed["leftover_cost"], typed["short_cost"], currency)
        return answer(job, allowances, *costs).as_html()
    except AirstatsError as error:
        return f'<p role="alert">{escape(str(error))}</p>'


def _boxes(ipywidgets: Any, form: Form) -> dict[str, Any]:
    starts = {field.name: getattr(form.job, field.name) for field in fields(OneJob)}
    starts |= {"leftover_cost": form.leftover_cost, "short_cost": form.short_cost}
    look = {"style": {"description_width": "13rem"}, "layout": ipywidgets.Layout(width="22rem")}
    boxes = {}
    for name, (label, low, high, step) in FIELDS.items():
        kind = ipywidgets.BoundedIntText if name == "count" else ipywidgets.BoundedFloatText
        boxes[name] = kind(starts[name], min=low, max=high, step=step, description=label, **look)
    crews = [("not known yet", ""), *((crew, crew) for crew in form.allowances.belief.crews)]
    choices = {
        "cut_pattern": ("Cut", [(cut.words, name) for name, cut in CUTS.items()]),
        "crew": ("Crew", crews),
    }
    for name, (label, options) in choices.items():
        chosen = {"options": options, "value": starts[name], "description": label}
        boxes[name] = ipywidgets.Dropdown(**chosen, **look)
    return boxes
