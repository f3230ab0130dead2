"""The picture of what finer records would save."""

from __future__ import annotations

import pandas as pd

from airstats.base.number_text import each, listed, roughly
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, INK, MID, label_mark, whiskers
from airstats.reports.shared_charts import paper


def savings(table: pd.DataFrame, currency: str = "") -> Picture:
    """Draw what not knowing costs a year after each way to record, from `value_of_recording`."""
    figure, axes = paper(0.34 * len(table) + 0.8)
    places = range(len(table))
    colours = [MID, *[ACCENT] * (len(table) - 1)]
    axes.barh(places, table["not_known"], color=colours, height=0.6, **BAR)
    reach = table["saving_high"] - table["saving"]
    whiskers(axes, table["not_known"].iloc[1:], list(places)[1:], reach.iloc[1:])
    now = float(table["not_known"].iloc[0])
    axes.axvline(now, color=INK, linestyle="--", linewidth=0.8)
    label_mark(axes, now, 0, "counting as now")
    axes.set_yticks(places, list(table["way"]))
    axes.invert_yaxis()
    axes.set_xlim(0, 1.3 * max(1.0, now, float((table["not_known"] + reach).max())))
    axes.grid(axis="y", visible=False)
    money = currency or "money"
    axes.set_xlabel(
        f"what not knowing costs a year's orders, {money}; whiskers: 90 % of the saving"
    )
    said = [f"{row.way} {roughly(row.not_known)}" for row in each(table)]
    alt = f"What not knowing the allowances costs a year by way to record, {money}: {listed(said)}."
    return Picture("recording", figure, alt, table)
