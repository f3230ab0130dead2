"""The starting belief against the firm: what it alone expects of a job, in words and drawn."""

from __future__ import annotations

from typing import Any

from airstats.analysis.prior_predictive import (
    FLAT_RATE,
    OPENINGS,
    ORDINARY_OPENING,
    SURFACE_M2,
    PriorCheck,
    prior_check,
)
from airstats.base.number_text import between, counted, listed, number, percent
from airstats.reports.desk import Desk
from airstats.reports.display import Beside, Picture, Section, Words
from airstats.reports.house_style import ACCENT, HALF, INK, MID
from airstats.reports.shared_charts import paper


def section(desk: Desk) -> Section:
    """Set the starting belief against the firm's jobs."""
    check = prior_check(desk.jobs, desk.now.belief.prior)
    yield Beside(prior_words(check), prior_prediction(check))


def prior_words(check: PriorCheck) -> Words:
    """Say what the starting belief alone expects of a job, and whether the firm is like that."""
    expected = (
        f"{number(check.expected, 1)} rolls a job on average"
        f" (90 %: {between(check.low, check.high, digits=1)})"
    )
    if check.shown is None:
        opening = ORDINARY_OPENING
        return Words(
            f"No job has been seen. Of an ordinary job ({SURFACE_M2:.0f} m², {OPENINGS} openings of"
            f" {opening['width_mm'] / 1000:.2f} × {opening['height_mm'] / 1000:.2f} m with reveals"
            f" of {opening['reveal_mm']:.0f} mm, priced with {percent(FLAT_RATE)} on laid sheet)"
            f" the starting belief expects an overrun of {expected}."
        )
    verdict = "the firm differs from the starting belief, and its own jobs must correct it"
    if check.low <= check.shown <= check.high:
        verdict = "the firm is much as the starting belief took it to be"
    return Words(
        f"Before any job was seen, these {check.jobs:,} jobs, as they were priced, were expected to"
        f" run over by {expected}; they ran over by {number(check.shown, 1)} rolls a job"
        f" as counted:"
        f" {verdict}."
    )


def prior_prediction(check: PriorCheck) -> Picture:
    """Draw the overrun that the starting belief alone expects, beside what the jobs showed."""
    table = check.table
    figure, axes = paper(2.4, HALF)
    places = table["overrun_rolls"].to_numpy()
    seen = "shown_share" in table
    width = 0.38 if seen else 0.6
    shift = width / 2 if seen else 0.0
    looks = [("expected_share", -shift, MID, "//", "starting belief alone")]
    if seen:
        looks += [("shown_share", shift, ACCENT, "", f"counted on {counted(check.jobs, 'job')}")]
    for column, aside, colour, hatch, label in looks:
        look: dict[str, Any] = {"color": colour, "edgecolor": INK, "hatch": hatch, "label": label}
        bars = axes.bar(places + aside, table[column] * 100, width, **look)
        axes.bar_label(bars, fmt="%.0f")
    names = [f"{value:+d}".replace("-", "−") if value else "0" for value in places]
    axes.set_xticks(places, names)
    axes.set_xlabel("used − priced, rolls, rounded")
    axes.set_ylabel("jobs, %")
    axes.margins(y=0.12)
    figure.legend(loc="outside lower center")
    shares = zip(names, table["expected_share"], strict=True)
    said = [f"{name} in {percent(share)} of jobs" for name, share in shares]
    alt = (
        f"Overrun of a job, rolls, as the starting belief alone expects it: {listed(said)}; mean"
        f" {number(check.expected)} rolls."
    )
    if check.shown is not None:
        alt += f" The jobs showed a mean of {number(check.shown)}."
    return Picture("prior_prediction", figure, alt, table)
