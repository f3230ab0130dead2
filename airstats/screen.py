"""What a notebook shows: a sentence, a table or a picture, each with a plain-text twin."""

from __future__ import annotations

import base64
import html
import io
from dataclasses import dataclass
from typing import Any

import pandas as pd
from matplotlib.figure import Figure

DPI = 110
MISSING = "–"

HEADINGS: dict[str, tuple[str, str]] = {
    "job_id": ("job", "{}"),
    "quarter": ("quarter", "{}"),
    "crew": ("crew", "{}"),
    "cause": ("cause", "{}"),
    "jobs": ("jobs", "{:.0f}"),
    "estimated_rolls": ("priced, rolls", "{:g}"),
    "used_rolls": ("used, rolls", "{:g}"),
    "overrun_rolls": ("over, rolls", "{:+g}"),
    "overrun_m2": ("over, m²", "{:+.0f}"),
    "overrun_money": ("over, money", "{:+,.0f}"),
    "mean": ("mean", "{:.3f}"),
    "sd": ("sd", "{:.3f}"),
    "low": ("low (90 %)", "{:.3f}"),
    "high": ("high (90 %)", "{:.3f}"),
    "mean_rolls": ("rolls", "{:+.1f}"),
    "low_rolls": ("low, rolls (90 %)", "{:+.1f}"),
    "high_rolls": ("high, rolls (90 %)", "{:+.1f}"),
    "pooled": ("departure, % of laid sheet", "{:+.1%}"),
    "pooled_low": ("low (90 %)", "{:+.1%}"),
    "pooled_high": ("high (90 %)", "{:+.1%}"),
    "raw": ("its own jobs alone", "{:+.1%}"),
    "unit": ("unit", "{}"),
    "reason": ("reason", "{}"),
    "allowance": ("allowance", "{}"),
    "old": ("last value", "{:.3f}"),
    "old_sd": ("± sd", "{:.3f}"),
    "alone": ("this quarter alone", "{:.3f}"),
    "alone_sd": ("± sd", "{:.3f}"),
    "new": ("new value", "{:.3f}"),
    "new_sd": ("± sd", "{:.3f}"),
    "verdict": ("verdict", "{}"),
    "probability": ("record is wrong with", "{:.0%}"),
    "laid_m2": ("laid, m²", "{:.0f}"),
    "expected_m2": ("sheet, m²", "{:.0f}"),
    "low_m2": ("low, m² (80 %)", "{:.0f}"),
    "high_m2": ("high, m² (80 %)", "{:.0f}"),
    "rolls_p50": ("rolls, 50 %", "{:.0f}"),
    "rolls_p80": ("rolls, 80 %", "{:.0f}"),
    "rolls_p95": ("rolls, 95 %", "{:.0f}"),
    "order_rolls": ("order, rolls", "{:.0f}"),
    "chance_short": ("chance short", "{:.0%}"),
    "expected_left_over_rolls": ("left over, rolls", "{:.1f}"),
    "cost_fewer": ("cost with one roll fewer", "{:.0f}"),
    "cost_order": ("cost of the order", "{:.0f}"),
    "cost_more": ("cost with one roll more", "{:.0f}"),
    "mark": ("mark", "{}"),
    "count": ("count", "{:.0f}"),
    "width_mm": ("width, mm", "{:.0f}"),
    "height_mm": ("height, mm", "{:.0f}"),
    "reveal_mm": ("reveal, mm", "{:.0f}"),
    "sides": ("sides", "{:.0f}"),
    "cut_pattern": ("cut as noted", "{}"),
    "recommended_cut": ("cut to choose", "{}"),
    "saving_all": ("saving, money", "{:.0f}"),
    "saving": ("saving, money", "{:.0f}"),
    "openings": ("openings", "{:.0f}"),
    "cut_otherwise": ("to be cut otherwise", "{:.0f}"),
    "rule": ("priced by", "{}"),
    "mean_cost": ("cost a job, money", "{:.0f}"),
    "jobs_short": ("jobs short", "{:.0f}"),
    "rolls_short": ("rolls short", "{:.0f}"),
    "rolls_left_over": ("rolls left over", "{:.0f}"),
    "term": ("term", "{}"),
    "coefficient": ("coefficient", "{:.3f}"),
    "se": ("standard error", "{:.3f}"),
    "t": ("t", "{:.2f}"),
    "p": ("p", "{:.3f}"),
    "low95": ("low (95 %)", "{:.3f}"),
    "high95": ("high (95 %)", "{:.3f}"),
    "fitted_m2": ("fitted, m²", "{:.1f}"),
    "residual_m2": ("residual, m²", "{:+.1f}"),
    "studentised": ("studentised residual", "{:+.2f}"),
    "leverage": ("leverage", "{:.3f}"),
    "cooks": ("Cook's distance", "{:.3f}"),
    "weight": ("weight", "{:.3f}"),
    "candidate": ("candidate", "{}"),
    "value": ("value", "{}"),
    "quantity": ("quantity", "{}"),
    "prior": ("starting belief", "{}"),
    "waste": ("waste", "{:.3f}"),
    "reveal.diagonal": ("diagonal", "{:.3f}"),
    "reveal.centre": ("centre", "{:.3f}"),
    "reveal.lined": ("lined", "{:.3f}"),
    "rolls": ("rolls for all jobs", "{:.1f}"),
    "surface_m2": ("surface, m²", "{:.0f}"),
    "exclude": ("why it is left out", "{}"),
}
"""Heading with unit and number format of each column that a table may show."""


@dataclass(frozen=True)
class Words:
    """A sentence, or some, computed from the data."""

    text: str

    def __repr__(self) -> str:
        return self.text

    def _repr_markdown_(self) -> str:
        return self.text


@dataclass(frozen=True)
class Picture:
    """A figure with its words for those who cannot see it, and the numbers it draws."""

    name: str
    figure: Figure
    alt: str
    data: pd.DataFrame

    def __repr__(self) -> str:
        return f"Picture: {self.alt}"

    def png(self) -> bytes:
        """Return the picture's bytes, the same on every run."""
        held = io.BytesIO()
        self.figure.savefig(held, format="png", dpi=DPI, metadata={"Software": None})
        return held.getvalue()

    def _repr_mimebundle_(
        self, include: Any = None, exclude: Any = None
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        about = {
            "alt": self.alt,
            "name": self.name,
            "csv": self.data.to_csv(index=False, float_format="%.6g", lineterminator="\n"),
        }
        picture = base64.b64encode(self.png()).decode("ascii")
        return {"image/png": picture, "text/plain": repr(self)}, {"image/png": about}


@dataclass(frozen=True)
class Table:
    """A frame with a caption, headings with units and rounded numbers."""

    frame: pd.DataFrame
    caption: str

    def __repr__(self) -> str:
        return f"{self.caption}\n{self._worded().to_string(index=False)}"

    def _repr_html_(self) -> str:
        numbers = list(self.frame.select_dtypes("number").columns)
        headings = [HEADINGS[name][0] for name in numbers]
        style = self._worded().style.hide(axis="index").set_uuid("table")
        style = style.format(escape="html").set_caption(html.escape(self.caption))
        right = {"selector": "td,th", "props": "text-align: right"}
        beside: Any = {name: [right] for name in headings}
        page = style.set_table_styles(beside, overwrite=False).to_html()
        return page.replace("<th id", '<th scope="col" id')

    def _worded(self) -> pd.DataFrame:
        worded: dict[str, list[str]] = {}
        for name in self.frame:
            heading, pattern = HEADINGS[str(name)]
            worded[_apart(heading, worded)] = [_cell(v, pattern) for v in self.frame[name]]
        return pd.DataFrame(worded)


def show_table(frame: pd.DataFrame, caption: str, columns: str = "") -> Table | Words:
    """Return a table to display; `columns` names those to show, in order, all if empty.

    A frame without rows becomes a sentence that says so.
    """
    if frame.empty:
        return Words(f"{caption}: none.")
    return Table(frame[columns.split()] if columns else frame, caption)


def _cell(value: Any, pattern: str) -> str:
    if value is None or value == "" or value != value:
        return MISSING
    return pattern.format(value)


def _apart(heading: str, taken: dict[str, Any]) -> str:
    """The heading, with spaces after it if it is taken: a reader does not see them."""
    while heading in taken:
        heading += "\N{ZERO WIDTH SPACE}"
    return heading
