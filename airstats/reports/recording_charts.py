"""The picture of what finer records would save."""

from __future__ import annotations

import pandas as pd

from airstats.base.number_text import each, listed, roughly
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, INK, MID
from airstats.reports.shared_charts import paper


def savings(table: pd.DataFrame) -> Picture:
    """Draw what not knowing costs a year after each way to record, from `value_of_recording`."""
    figure, axes = paper(0.5 * len(table) + 1.4)
    places = range(len(table))
    colours = [MID, *[ACCENT] * (len(table) - 1)]
    axes.barh(places, table["not_known"], color=colours, height=0.6, **BAR)
    reach = table["saving_high"] - table["saving"]
    axes.errorbar(
        table["not_known"], places, xerr=reach, fmt="none", ecolor=INK, capsize=4,
        label="90 % of the saving against counting as now",
    )  # fmt: skip
    now = float(table["not_known"].iloc[0])
    axes.axvline(now, color=INK, linestyle="--", linewidth=1.2, label="counting as now")
    axes.set_yticks(places, list(table["way"]))
    axes.invert_yaxis()
    axes.set_xlim(left=0)
    axes.set_xlabel("what not knowing the allowances costs the orders of a year, money")
    figure.legend(loc="outside lower center", ncols=2)
    said = [f"{row.way} {roughly(row.not_known)}" for row in each(table)]
    alt = f"What not knowing the allowances costs a year by way to record, money: {listed(said)}."
    return Picture("recording", figure, alt, table)
