"""Sentences and tables on several firms side by side."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from airstats.base.number_text import each, listed, number
from airstats.reports.display import Table, Words, show_table
from airstats.reports.shared_text import with_notes
from airstats.takeoff.sheet_quantities import Takeoff

HEADING = "## Several firms\n\n"


def firm_words(spread: pd.DataFrame, firms: Mapping[str, Takeoff]) -> Words:
    """Say in which allowances the firms differ; one sentence where there is only one firm."""
    if len(firms) < 2:
        return Words(f"{HEADING}No other firm's records were given (`firms`): not compared.")
    differ = spread[spread["verdict"].eq("differ")]
    alike = spread[spread["verdict"].eq("alike within chance")]["allowance"].tolist()
    dark = spread[spread["verdict"].eq("not enough to tell")]["allowance"].tolist()
    said = [
        f"{row.allowance}, by ± {number(row.between_sd, 2)} {row.unit} from firm to firm (sd)"
        for row in each(differ)
    ]
    parts = [
        f"The {len(firms)} firms differ in {listed(said)}"
        if said
        else (f"The {len(firms)} firms do not differ by more than chance")
    ]
    parts += [f"alike within chance: {listed(alike)}"] if alike and said else []
    parts += [f"not enough to tell: {listed(dark)}"] if dark else []
    advice = (
        "each firm's own allowances stand"
        if said
        else ("nothing here speaks against common allowances")
    )
    notes = tuple(note for jobs in firms.values() for note in jobs.notes)
    return with_notes(f"{HEADING}{'; '.join(parts)}. So {advice}.", notes)


def firms_shown(table: pd.DataFrame) -> Table | Words:
    """Return each firm's allowances as a table."""
    named = table.assign(allowance=table["allowance"].astype(str))
    columns = "allowance firm jobs mean low high own own_sd unit"
    return show_table(named, "Each firm by itself, from the same starting belief", columns)


def spread_shown(spread: pd.DataFrame) -> Table | Words:
    """Return what lies between the firms as a table."""
    return show_table(spread, "Between the firms: random effects (DerSimonian & Laird)")
