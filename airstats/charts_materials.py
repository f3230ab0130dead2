"""The picture of the other materials: packs beyond the price, by cause."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.charts import BLUE, INK, ORANGE, paper, tidy
from airstats.material_jobs import MATERIAL_CAUSE_WORDS
from airstats.phrases import give_or_take, listed
from airstats.screen import Picture


def material_causes(table: pd.DataFrame) -> Picture:
    """Draw the packs beyond the price by cause, one panel a material.

    `table` has the columns of `material_split` and `material`.
    """
    names = list(dict.fromkeys(table["material"]))
    causes = list(dict.fromkeys(table["cause"]))
    figure, _ = paper(0.42 * len(causes) * len(names) + 1.0)
    figure.clear()
    said = []
    for place, name in enumerate(names, start=1):
        axes = figure.add_subplot(len(names), 1, place)
        tidy(axes)
        own = table[table["material"].eq(name)]
        rows = np.arange(len(own))
        colours = np.where(own["mean"] > 0, ORANGE, BLUE)
        reach = (own["high"] - own["low"]) / 2
        axes.barh(rows, own["mean"], color=colours, edgecolor=INK, linewidth=0.6)
        axes.errorbar(own["mean"], rows, xerr=reach, fmt="none", ecolor=INK, capsize=3, linewidth=1)
        axes.set_yticks(rows, [MATERIAL_CAUSE_WORDS[cause] for cause in own["cause"]])
        axes.set_ylim(len(own) - 0.5, -0.5)
        axes.axvline(0, color=INK, linewidth=0.8)
        axes.set_title(f"{name}: {own['mean'].sum():+.0f} packs beyond the price", loc="left")
        parts = [f"{MATERIAL_CAUSE_WORDS[r['cause']]} {give_or_take(r)}" for _, r in own.iterrows()]
        said.append(f"{name}, packs beyond the price: {listed(parts)}")
    axes.set_xlabel("packs; whiskers hold 90 %")
    return Picture("materials", figure, f"{'; '.join(said)}.", table)
