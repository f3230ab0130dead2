"""The picture of the other materials: packs beyond the price, by cause."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from airstats.analysis.material_jobs import MATERIAL_CAUSE_WORDS
from airstats.analysis.overrun_views import OVERRUN
from airstats.base.number_text import give_or_take, listed
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, INK, MID, label_mark, whiskers, zero_line
from airstats.reports.shared_charts import panels

PACKS = {"mean_packs": "mean", "low_packs": "low", "high_packs": "high"}


def material_causes(table: pd.DataFrame) -> Picture:
    """Draw the packs beyond the price by cause, one panel a material.

    `table` has the columns of `material_table`, of one material or of several.
    """
    parts = list(table.rename(columns=PACKS).groupby("material", sort=False))
    bars = len(table) / len(parts)
    figure, grid = panels(len(parts), 1, 0.3 * bars + 0.5, 0.4)
    said = [_panel(axes, str(name), own) for axes, (name, own) in zip(grid, parts, strict=True)]
    grid[-1].set_xlabel("packs; whiskers hold 90 %")
    return Picture("materials", figure, f"Packs beyond the price. {' '.join(said)}", table)


def _panel(axes: Axes, name: str, own: pd.DataFrame) -> str:
    """Draw one material, and return what its panel shows in words."""
    rows = np.arange(len(own))
    colours = np.where(own["mean"] > 0, ACCENT, MID)
    colours = np.where(own["cause"].eq(OVERRUN), INK, colours)
    reach = (own["high"] - own["low"]).fillna(0.0) / 2
    axes.barh(rows, own["mean"], color=colours, **BAR)
    whiskers(axes, own["mean"], rows, reach.where(reach > 0))
    labels = [MATERIAL_CAUSE_WORDS[cause] for cause in own["cause"]]
    shown = [
        give_or_take(row.fillna(row["mean"])) for _, row in own[list(PACKS.values())].iterrows()
    ]
    ends = np.maximum(own["mean"] + reach, 0)
    for place, end, text in zip(rows, ends, shown, strict=True):
        label_mark(axes, end, place, text)
    axes.set_yticks(rows, labels)
    axes.set_ylim(len(own) - 0.4, -0.6)
    zero_line(axes)
    axes.margins(x=0.16)
    axes.set_title(name)
    told = [f"{label} {text}" for label, text in zip(labels, shown, strict=True)]
    return f"{name.capitalize()}: {listed(told)}."
