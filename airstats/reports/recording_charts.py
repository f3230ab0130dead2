"""The picture of what finer records would save."""

from __future__ import annotations

import pandas as pd

from airstats.base.number_text import each, in_currency, listed, number
from airstats.reports.display import Picture
from airstats.reports.house_style import ACCENT, BAR, FULL, MID, whiskers, zero_line
from airstats.reports.shared_charts import paper

MEASURED = "last roll measured"
"""The way that the sentences are about."""


def savings(table: pd.DataFrame, currency: str = "", width: float = FULL) -> Picture:
    """Draw what each way to record would save a year.

    Parameters
    ----------
    table : DataFrame
        From `value_of_recording`.
    currency : str
        That of the costs, if it is known.
    width : float
        Of the picture: `FULL` or `HALF`, inches.
    """
    now, ways = table.iloc[0], table.iloc[1:]
    figure, axes = paper(0.34 * len(ways) + 0.8, width)
    places, saving = list(range(len(ways))), ways["saving"]
    colours = [ACCENT if way == MEASURED else MID for way in ways["way"]]
    axes.barh(places, saving, color=colours, height=0.6, **BAR)
    whiskers(axes, saving, places, ways["saving_high"] - saving)
    zero_line(axes)
    axes.set_yticks(places, list(ways["way"]))
    axes.invert_yaxis()
    ends = ways["saving_low"].min(), ways["saving_high"].max()
    axes.set_xlim(min(1.1 * ends[0], 0.0), max(1.1 * ends[1], 2.0))
    axes.grid(axis="y", visible=False)
    money = currency or "money"
    of = in_currency(number(now["not_known"], 0), money)
    narrow = width < FULL
    label = f"saved a year of {of} that\nnot knowing costs; whiskers: 90 %"
    label = label if narrow else label.replace("\n", " ") + ", of the simulation"
    axes.set_xlabel(label, loc="right" if narrow else "center")
    said = [f"{row.way} {number(row.saving, 0)}" for row in each(ways)]
    alt = f"What each way to record would save a year, {money}: {listed(said)}."
    return Picture("recording", figure, alt, table)
