"""Sentences that compare: quarters, crews, cuts, and real prices with those not made."""

from __future__ import annotations

import pandas as pd

from airstats.analysis.allowance_changes import crew_comparison
from airstats.analysis.overrun_views import OVERRUN, cut_comparison, cuts_apart, quarter_trends
from airstats.backtests.against_real_prices import MEASURES, Hindsight
from airstats.base.number_text import counted, each, listed, number, percent
from airstats.catalog.cut_patterns import CUTS
from airstats.reports.desk import Desk
from airstats.reports.display import Words
from airstats.reports.owner_text import SHORT_WORDS

FEW_JOBS = 5


def trend_words(desk: Desk) -> Words:
    """Say whether the overrun of a job rises or falls, and which cause does."""
    trends = quarter_trends(desk.jobs, desk.now).set_index("cause")
    if trends.empty:
        return Words("No trend to be told: it takes three jobs in two quarters or more.")
    whole = trends.loc[[OVERRUN]].iloc[0]
    change = _finely(whole)
    way = _way(whole)
    start = f"The overrun of a job {way}s, by {change} rolls from quarter to quarter"
    if not way:
        start = f"The overrun of a job shows no trend: {change} rolls from quarter to quarter"
    moved = trends.drop(OVERRUN).rename(index=SHORT_WORDS)
    causes = [f"{n} {_way(r)} by {_finely(r)}" for n, r in moved.iterrows() if _way(r)]
    told = f"Of the causes, {listed(causes)}." if causes else "No cause by itself rises or falls."
    return Words(f"{start} (± holds 90 %). {told}")


def crew_words(desk: Desk) -> Words:
    """Say which crews differ from the firm by more than chance, and which cannot be told."""
    crews = crew_comparison(desk.jobs, desk.now)
    if crews.empty:
        return Words("The records name no crew, so crews are not compared.")
    if len(crews) == 1:
        return Words(
            f"Crew {crews['crew'].iloc[0]} did every job with a crew's name, so it cannot be told"
            " from the firm."
        )
    above, below = crews["pooled_low"] > 0, crews["pooled_high"] < 0
    said = [
        f"Crew {row.crew} uses {percent(row.pooled, 1)} of laid sheet more than the firm"
        f" (90 %: {percent(row.pooled_low, 1)} to {percent(row.pooled_high, 1)},"
        f" {counted(int(row.jobs), 'job')})."
        for row in each(crews[above])
    ]
    less, same = ([_crew(row) for row in each(crews[k])] for k in (below, ~above & ~below))
    said += [f"Below the firm: {listed(less)}."] if less else []
    if not same:
        return Words(" ".join(said))
    if said:
        return Words(f"{' '.join(said)} Not to be told from the firm: {listed(same)}.")
    return Words(
        "Nothing to find: no crew can be told from the firm; chance explains what each uses above"
        f" or below it, in % of laid sheet: {listed(same)}."
    )


def cut_words(desk: Desk) -> Words:
    """Say what the reveals of each cut take, and which cuts can be told apart."""
    cuts = cut_comparison(desk.jobs, desk.now)
    if cuts.empty:
        return Words("No job has a reveal, so cuts are not compared.")
    said = [
        f"{CUTS[row.cut].words} {row.factor:.2f} ± {(row.factor_high - row.factor_low) / 2:.2f}"
        for row in each(cuts)
    ]
    names = cuts["cut"].tolist()
    pairs = [(a, b) for place, a in enumerate(names) for b in names[place + 1 :]]
    same = [f"{CUTS[a].words} and {CUTS[b].words}" for a, b in pairs if not _apart(desk, a, b)]
    told = f" Not to be told apart: {'; '.join(same)}." if same else ""
    return Words(f"A m² of reveal took, in m² of sheet: {listed(said)} (± holds 90 %).{told}")


def cut_table(desk: Desk) -> pd.DataFrame:
    """Return `cut_comparison` with the cuts in words."""
    cuts = cut_comparison(desk.jobs, desk.now)
    return cuts.assign(cut=[CUTS[cut].words for cut in cuts["cut"]])


def hindsight_words(found: Hindsight) -> Words:
    """Say what the allowances known at the time would have changed."""
    if found.reason:
        return Words(f"What the allowances would have changed cannot be told yet: {found.reason}")
    rows = found.table.set_axis(list(MEASURES)).iterrows()
    table = {str(name): row for name, row in rows}
    cost = table["cost"]
    less = f"{number(abs(cost['difference']), 0)} {'less' if cost['difference'] <= 0 else 'more'}"
    chance = (
        ", which chance explains" if cost["difference_low"] <= 0 <= cost["difference_high"] else ""
    )
    jobs = counted(found.jobs, "job")
    return Words(
        f"**Had {jobs} been priced with the allowances known before each quarter, shortages and"
        f" left-over rolls would have cost {less}{chance}** (90 %: {_change(cost, 'less', 'more')};"
        f" at {number(found.leftover_cost, 0)} a roll left over and {number(found.short_cost, 0)} a"
        f" roll short, both to be replaced by your own): {_instead(table['jobs_short'])} jobs"
        f" short, {_instead(table['rolls_left_over'])} rolls left over. The sheet itself is bought"
        " either way."
    )


def _finely(row: pd.Series) -> str:
    """Return "−0.01 ± 0.02" from `change, low, high`."""
    return f"{number(row['change'], 2)} ± {(row['high'] - row['low']) / 2:.2f}"


def _crew(row: pd.Series) -> str:
    few = ", too few" if row.jobs < FEW_JOBS else ""
    reach = f"{percent(row.pooled_low, 1)} to {percent(row.pooled_high, 1)}"
    return f"{row.crew} {percent(row.pooled, 1)} ({reach}; {counted(int(row.jobs), 'job')}{few})"


def _apart(desk: Desk, cut: str, other: str) -> bool:
    more = cuts_apart(desk.now, cut, other)
    return not more["low"] <= 0 <= more["high"]


def _way(row: pd.Series) -> str:
    if row["low"] <= 0 <= row["high"]:
        return ""
    return "rise" if row["change"] > 0 else "fall"


def _change(row: pd.Series, down: str = "fewer", up: str = "more") -> str:
    """The interval of a change in words: "34 to 53 fewer", "3 fewer to 2 more"."""
    least, most = row["difference_low"], row["difference_high"]
    low, high = number(abs(least), 0), number(abs(most), 0)
    if most <= 0:
        return f"{high} to {low} {down}" if least else "no change"
    if least >= 0:
        return f"{low} to {high} {up}"
    return f"{low} {down} to {high} {up}"


def _instead(row: pd.Series) -> str:
    before, now = number(row["really"], 0), number(row["foretold"], 0)
    return f"{now} instead of {before} ({_change(row)})"
