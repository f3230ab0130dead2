"""The use of jobs whose last roll was measured: opened and brought, less what is left."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.catalog.wound_roll import METRES_SD, left_by_diameter

MEASURED = "measured"
"""How the rolls of such a job count in a takeoff, whatever the records say of those opened."""
_NUMBERS = ["left_m", "left_diameter_mm", "brought_m", "full_diameter_mm", "core_mm"]


def with_measured(table: pd.DataFrame) -> pd.DataFrame:
    """Return the jobs with the use that what is left and brought tells.

    Parameters
    ----------
    table : DataFrame
        n jobs: the records' columns, `used_low_m2`, `used_high_m2` by the count.

    Returns
    -------
    DataFrame
        The same; `used_rolls` with what was brought added and what is left taken off, the
        interval by the error of the measuring, `counted` "measured" where what is left is known.

    Notes
    -----
    use = used rolls × length + brought - left. The interval has the variance of the measuring,
    a half width of √3 × sd: so the likelihood of an interval serves for every count. Against the
    exact likelihood of a normal error it is off by a term of the fourth order in half width over
    spread of the jobs. What is left on the last roll cannot be below nothing, nor above a roll
    where its diameter tells it: the interval ends there.
    """
    told = table.reindex(columns=[*_NUMBERS, "roll_length_m"]).astype(float)
    if told[_NUMBERS[:3]].isna().all(axis=None):
        return table
    length, width = told["roll_length_m"], table["roll_width_m"]
    brought = told["brought_m"].fillna(0.0)
    by_diameter, sd = left_by_diameter(told)
    left = told["left_m"].fillna(pd.Series(by_diameter, told.index))
    paced = told["left_m"].notna()
    known = left.notna()
    brought_sd = METRES_SD * (brought > 0)
    half = np.sqrt(3) * np.hypot(np.where(paced, METRES_SD, sd), brought_sd)
    there = table["used_rolls"] * length + brought
    slack = np.sqrt(3) * brought_sd
    least = (there - left - half).where(
        paced, np.maximum(there - left - half, there - length - slack)
    )
    most = np.minimum(there - left + half, there + slack)
    low, high = (table[f"used_{end}_m2"] for end in ("low", "high"))
    net = ((there - left.fillna(0.0)) / length).round(2)
    return table.assign(
        used_rolls=net.where(net.notna(), table["used_rolls"]),
        counted=table["counted"].mask(known, MEASURED),
        used_low_m2=(least * width).where(known, low + (brought - slack) * width).clip(lower=0),
        used_high_m2=(most * width).where(known, high + (brought + slack) * width),
    )
