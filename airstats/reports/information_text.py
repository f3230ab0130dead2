"""How many more jobs would make the allowances surer, in words."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.base.number_text import each, listed, number, roughly
from airstats.reports.display import Table, Words, show_table

OUT_OF_REACH = "out of reach"


def halving_words(table: pd.DataFrame, a_quarter: float) -> Words:
    """Say how many more jobs would halve each interval, and where that cannot be."""
    reach = table[np.isfinite(table["jobs_still"])]
    still = [
        f"{row.allowance} {roughly(row.jobs_still)} jobs"
        f" ({roughly(row.jobs_still / a_quarter / 4)} years)"
        for row in each(reach)
    ]
    start = f"At {number(a_quarter, 1)} jobs a quarter like those so far, with the same crews"
    halved = (
        f"if nothing drifts, an interval is half as wide after so many jobs more: {listed(still)}"
        if still
        else ("no interval can be halved even if nothing drifts")
    )
    never = table[~np.isfinite(table["jobs_still"])]["allowance"].tolist()
    barred = (
        f"; not {listed(never)}: more jobs of the same crews do not tell it"
        if (never and still)
        else ""
    )
    return Words(f"{start}, {halved}{barred}. {_with_drift(table)}")


def _with_drift(table: pd.DataFrame) -> str:
    rows = table[np.isfinite(table["jobs_drift"])]
    if rows.empty:
        first = table.iloc[0]
        return (
            "With the drift as learnt none is ever halved: what a quarter teaches grows old;"
            f" {first['allowance']} settles at ± {number(first['sd_drift'], 3)} (sd), now"
            f" ± {number(first['sd'], 3)}."
        )
    said = [f"{row.allowance} {roughly(row.jobs_drift)} jobs" for row in each(rows)]
    never = table[~np.isfinite(table["jobs_drift"])]["allowance"].tolist()
    rest = f"; {listed(never)} never" if never else ""
    return f"With the drift as learnt: {listed(said)}{rest}."


def halving_table(table: pd.DataFrame) -> Table | Words:
    """Return the table of `jobs_to_halve`, words where a number of jobs has no end."""
    columns = ("jobs_still", "jobs_drift")
    worded = {
        name: [roughly(v) if np.isfinite(v) else OUT_OF_REACH for v in table[name]]
        for name in columns
    }
    return show_table(
        table.assign(**worded),
        "More jobs that would halve each interval",
        "allowance sd jobs_still sd_still jobs_drift sd_drift unit",
    )
