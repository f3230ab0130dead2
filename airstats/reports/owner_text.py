"""Sentences for the owner: how much over, from which causes, on which jobs, and what to change."""

from __future__ import annotations

import pandas as pd

from airstats.analysis.overrun_split import MAIN, NET, overrun_table, split_overrun, usual_crews
from airstats.analysis.overrun_views import (
    cut_comparison,
    find_job,
    overrun_a_job,
    usual_split,
    worst_jobs,
)
from airstats.base.number_text import (
    chance,
    counted,
    each,
    give_or_take,
    in_percent,
    listed,
    number,
    rolls,
    roughly,
)
from airstats.catalog.cut_patterns import CUTS
from airstats.reports.desk import Desk
from airstats.reports.display import Words

LITTLE_LEARNT = 0.5
"""A cut that has lost less than this share of its first variance rests on common practice."""
TRADE_OFF = -0.5
"""Two causes whose correlation is below this are hard to tell apart."""
WORST_COLUMNS = (
    *("job_id", "quarter", "crew", "estimated_rolls", "used_rolls", "overrun_rolls"),
    *("overrun_money", "cause", "mean_rolls", "low_rolls", "high_rolls"),
)
SHOWN = 0.05
"""What is surely smaller than this, in rolls, is not worth a word."""
PLURAL = ("reveals", "laps and waste beyond the price")
SHORT_WORDS = {
    "reveals": "reveals",
    "laps": "laps",
    "waste": "waste",
    "crew": "crews",
    "whole_rolls": "whole-roll rounding",
    "unexplained": "unexplained",
    "already_priced": "what the prices held",
    "laps_and_waste": "laps and waste beyond the price",
}


def headline(desk: Desk) -> Words:
    """Say how much the firm ran over, what that cost, and what accounts for it."""
    total = float(overrun_table(desk.jobs)["overrun_rolls"].sum())
    much = f"{rolls(round(abs(total), 1))} {'more' if total >= 0 else 'fewer'} than priced"
    said = f"ou used {much} over {counted(len(desk.jobs), 'job')}{_worth(desk)}"
    a_job = overrun_a_job(desk.jobs)
    if a_job["low"] <= 0 <= a_job["high"]:
        return Words(f"**Nothing to find: y{said}; that is no more than chance makes.**")
    if total < 0:
        return Words(f"**Y{said}: your prices held more than the jobs took.**")
    return Words(f"**Y{said}; {_accounted(contributors(desk)[:2], _amounts(desk))}.**")


def contributors(desk: Desk, unit: str = "rolls") -> list[tuple[str, pd.Series]]:
    """Return what surely took rolls, the largest first: causes, and crews by their names.

    Each a name and its `mean, low, high` (90 %) in rolls or money.
    """
    split = usual_split(desk.jobs, desk.now, None, NET, unit).set_index("cause")
    sure = split[split["low"] > 0].drop("crew", errors="ignore")
    found = [(SHORT_WORDS[str(cause)], row) for cause, row in sure.iterrows()]
    crews = usual_split(desk.jobs, desk.now, "crew", unit=unit).query("cause == 'crew'")
    above, taken = crews_above(desk), crews.set_index("group").iterrows()
    found += [(f"crew {crew}", row) for crew, row in taken if crew in above]
    return sorted(found, key=lambda pair: -float(pair[1]["mean"]))


def crews_above(desk: Desk) -> list[str]:
    """Return the crews that surely use more than the firm."""
    crews = desk.now.belief.crews
    return [crew for crew in crews if crew not in (usual_crews(desk.now) or crews)]


def shares(desk: Desk) -> Words:
    """Give every cause its share, and what the prices held against them."""
    split = usual_split(desk.jobs, desk.now).set_index("cause")
    return Words(
        f"In rolls: {_causes(split)}; {_held(split)}. In nine cases of ten the truth lies within ±."
    )


def quarter_money(desk: Desk) -> Words:
    """Say what the quarter alone ran over."""
    table = overrun_table(desk.jobs)
    now = table[table["quarter"].eq(desk.quarter)]
    over = float(now["overrun_rolls"].sum())
    way = "over" if over >= 0 else "under"
    money = now["overrun_money"].dropna()
    worth = f", worth {number(abs(money.sum()), 0)}" if len(money) else ""
    jobs = counted(len(now), "job")
    return Words(f"In {desk.quarter} alone: {rolls(round(abs(over), 1))} {way} in {jobs}{worth}.")


def advice(desk: Desk) -> Words:
    """Say what to change: what a price should hold, from the firm's own allowances."""
    table = desk.now.table()
    cuts = cut_comparison(desk.jobs, desk.now)["cut"].tolist() or list(CUTS)
    held = [(CUTS[cut].words, table.loc[f"reveal.{cut}"]) for cut in cuts]
    factors = [
        f"{row['mean']:.2f} ± {(row['high'] - row['low']) / 2:.2f} ({name})" for name, row in held
    ]
    a_job = overrun_a_job(desk.jobs)
    nothing = a_job["low"] <= 0 <= a_job["high"]
    start = "**What to change:** price"
    if nothing:
        start = "**Nothing need change.** Your records ask for"
    return Words(
        f"{start} the laid sheet with its laps, {in_percent(table.iloc[0])} of it for waste, and"
        f" for each m² of reveal {listed(factors)} m² of sheet"
        f"{'' if nothing else '; no flat percentage'}.{_look_at_crews(desk)}"
    )


def cannot_separate(desk: Desk) -> Words:
    """Say what the split cannot tell apart in these records."""
    said = [
        "what a price held beyond the bare surface is noted for no one cause, so it stands alone",
        "laps laid wider than noted show as waste",
    ]
    crews = sorted(set(desk.jobs.crews) - {""})
    if len(crews) < 2:
        one = f"crew {crews[0]} did every job with a crew's name" if crews else "no crew is named"
        said.append(f"waste cannot be told from the crews' part, as {one}")
    said += _reveals_or_waste(desk) + _little_used(desk)
    return Words(f"Read with care: {'; '.join(said)}.")


def job_words(desk: Desk, job: str = "") -> Words:
    """Say why one job ran over; without a name, the one that ran over most."""
    found = find_job(desk.jobs, desk.excluded, job)
    if not found.job_id:
        return Words(found.message)
    table = overrun_table(desk.jobs).set_index("job_id").loc[[found.job_id]].iloc[0]
    over = float(table["overrun_rolls"])
    way = "over" if over > 0 else "under"
    much = f"{rolls(round(abs(over), 2))} {way}" if over else "neither over nor under"
    asked = "" if str(job).strip() else ", the job that ran over most,"
    return Words(
        f"**{found.job_id}** ({table['quarter']}){asked} was priced at"
        f" {rolls(table['estimated_rolls'])} and used {table['used_rolls']:g}: {much}."
        f"{_main_cause(desk, found.job_id) if over > 0 else ''}{_doubt(desk, found.job_id)}"
    )


def job_split(desk: Desk, job: str = "") -> pd.DataFrame:
    """Return the main causes of one job in rolls, as `split_overrun`; no row for no such job."""
    found = find_job(desk.jobs, desk.excluded, job)
    every = usual_split(desk.jobs, desk.now, "job_id")
    return every[every["group"].eq(found.job_id)].reset_index(drop=True)


def worst_table(desk: Desk) -> pd.DataFrame:
    """Return `worst_jobs` with the causes in words, without columns that hold nothing."""
    worst = worst_jobs(desk.jobs, desk.now)
    worst = worst.assign(cause=worst["cause"].map(SHORT_WORDS))
    return worst[[name for name in WORST_COLUMNS if worst[name].notna().any()]]


def worst_words(desk: Desk) -> Words:
    """Say whether few jobs make the overrun, and the main causes of the worst."""
    table = overrun_table(desk.jobs)
    over = table.loc[table["overrun_rolls"] > 0, "overrun_rolls"]
    worst = worst_jobs(desk.jobs, desk.now)
    if worst.empty:
        return Words("No job ran over.")
    part = float(worst["overrun_rolls"].sum())
    few = "so a few jobs make it" if part > over.sum() / 2 else "so it is spread over many jobs"
    verdict = f", {few}" if len(table) > 3 * len(worst) else ""
    main = worst["cause"].map(SHORT_WORDS).fillna("no sure cause").value_counts()
    causes = [f"{cause} in {count}" for cause, count in main.items()]
    ran = f"{len(over)} of {counted(len(table), 'job')} ran over"
    ran += f", by {number(over.sum())} rolls in all"
    a_job = overrun_a_job(desk.jobs)
    if a_job["low"] <= 0 <= a_job["high"]:
        return Words(f"{ran}; others ran under by as much, within chance: nothing to find here.")
    worst_hold = f"the {len(worst)} worst by {number(part)}{verdict}"
    return Words(f"{ran}; {worst_hold}. Their main cause: {listed(causes)}.")


def _accounted(parts: list[tuple[str, pd.Series]], money: dict[str, str]) -> str:
    """The parts of the headline: "reveals account for 19 ± 4 rolls (2,900 ± 600) and ... for"."""
    if not parts:
        return "no single cause stands out"
    (name, amount), *more = parts
    verb = "account" if name in PLURAL else "accounts"
    rest = [f"{other} for {give_or_take(part)}{money.get(other, '')}" for other, part in more]
    first = f"{name} {verb} for {give_or_take(amount, 'rolls')}{money.get(name, '')}"
    return listed([first, *rest])


def _amounts(desk: Desk) -> dict[str, str]:
    """What each contributor cost, in brackets; nothing where some job has no price."""
    if overrun_table(desk.jobs)["overrun_money"].isna().any():
        return {}
    parts = {name: (row["mean"], row["high"]) for name, row in contributors(desk, "money")}
    return {
        name: f" ({roughly(mean)} ± {roughly(high - mean)} of your money)"
        for name, (mean, high) in parts.items()
    }


def _look_at_crews(desk: Desk) -> str:
    """Crews whose way of working is worth a look, before any price."""
    table = desk.now.crew_table()
    above = [
        f"crew {crew} uses {in_percent(table.loc[[crew]].iloc[0])}" for crew in crews_above(desk)
    ]
    return f" And see why {listed(above)} of laid sheet more than the firm." if above else ""


def _main_cause(desk: Desk, job_id: str) -> str:
    """The largest sure cause of one job's overrun."""
    split = usual_split(desk.jobs, desk.now, "job_id", NET)
    sure = split[split["group"].eq(job_id) & (split["low"] > 0)].nlargest(1, "mean")
    if sure.empty:
        return " No cause by itself is sure."
    amount, cause = give_or_take(sure.iloc[0], "rolls"), str(sure["cause"].iloc[0])
    if cause == "unexplained":
        return f" The largest part is unexplained: {amount}."
    return f" The main cause: {SHORT_WORDS[cause]}, {amount}."


def _doubt(desk: Desk, job_id: str) -> str:
    """A warning where the job's record is likely wrong."""
    wrong = desk.suspects().set_index("job_id")["probability"].get(job_id)
    if not wrong:
        return ""
    return f" Look at this record first: the chance that it is wrong is {chance(wrong)}."


def _causes(split: pd.DataFrame) -> str:
    """All causes but what the price held, each with its interval; those of nothing left out."""
    told = split.drop("already_priced")
    rows = told[told[["low", "high"]].abs().max(axis=1) >= SHOWN].iterrows()
    return listed([f"{SHORT_WORDS[str(cause)]} {give_or_take(row)}" for cause, row in rows])


def _held(split: pd.DataFrame) -> str:
    """What the price held beyond the bare surface, or lacked of it."""
    row = split.loc[["already_priced"]].iloc[0]
    if row["mean"] > 0:
        return f"and {give_or_take(row)} of the bare surface that was not priced"
    turned = pd.Series({"mean": -row["mean"], "low": -row["high"], "high": -row["low"]})
    return f"less {give_or_take(turned)} that was priced beyond the bare surface"


def _worth(desk: Desk) -> str:
    """What the overrun is worth, or why that is not known."""
    money = overrun_table(desk.jobs)["overrun_money"]
    if not money.notna().any():
        return " (no roll_price in the records, so no money)"
    known = int(money.notna().sum())
    part = "" if known == len(money) else f" in the {counted(known, 'job')} with a price"
    return f", about {number(abs(money.sum()), 0)} of your money at your roll prices{part}"


def _reveals_or_waste(desk: Desk) -> list[str]:
    both = {"reveals": MAIN["reveals"], "waste": ("waste",)}
    both |= {"both": (*MAIN["reveals"], "waste")}
    split = split_overrun(desk.jobs, desk.now, causes=both).set_index("cause")
    reveals, waste, both = split["sd"]
    if both**2 - reveals**2 - waste**2 > 2 * TRADE_OFF * reveals * waste:
        return []
    together = give_or_take(split.loc[["both"]].iloc[0], "rolls")
    return [f"reveals and waste took {together} together, but how they share it is less sure"]


def _little_used(desk: Desk) -> list[str]:
    cuts = cut_comparison(desk.jobs, desk.now)
    little = each(cuts[cuts["learnt"] < LITTLE_LEARNT])
    names = [f"{CUTS[row.cut].words} ({counted(row.jobs, 'job')})" for row in little]
    if not names:
        return []
    return [f"for reveals {listed(names)} common practice still outweighs your own jobs"]
