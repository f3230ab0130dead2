"""Why jobs run over: what the owner's notebook shows, section by section, with its sentences."""

from __future__ import annotations

import pandas as pd

from airstats.analysis import overrun_views
from airstats.analysis.allowance_changes import crew_comparison
from airstats.analysis.overrun_split import (
    MAIN,
    NET,
    SHORT_WORDS,
    overrun_table,
    split_overrun,
)
from airstats.analysis.overrun_views import (
    OVERRUN,
    by_quarter,
    cut_comparison,
    cuts_apart,
    find_job,
    overrun_a_job,
    quarter_trends,
    usual_split,
)
from airstats.backtests.against_real_prices import MEASURES, Hindsight, look_back
from airstats.base.number_text import (
    by_chance,
    chance,
    counted,
    each,
    give_or_take,
    in_currency,
    in_percent,
    listed,
    number,
    own_money,
    percent,
    rolls,
    roughly,
)
from airstats.catalog.cut_patterns import CUTS
from airstats.pricing import firm_cuts
from airstats.pricing.cut_prices import CutCosts
from airstats.reports import cuts_charts, cuts_text, owner_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.shared_text import excluded_table

LITTLE_LEARNT = 0.6
"""A cut that has lost less than this share of its first variance rests on common practice. More
than half: what is believed first is so wide that a few jobs already narrow it."""
TRADE_OFF = -0.5
"""Two causes whose correlation is below this are hard to tell apart."""
WORST_COLUMNS = (
    *("job_id", "quarter", "crew", "estimated_rolls", "used_rolls", "overrun_rolls"),
    *("overrun_money", "cause", "mean_rolls", "low_rolls", "high_rolls"),
)
SHOWN = 0.05
"""What is surely smaller than this, in rolls, is not worth a word."""
PLURAL = ("reveals", "laps and waste beyond the price")
FEW_JOBS = 5


def headline(desk: Desk) -> Words:
    """Say how much the firm ran over, what that cost, and what accounts for it."""
    total = float(overrun_table(desk.jobs)["overrun_rolls"].sum())
    much = f"{rolls(round(abs(total), 1))} {'more' if total >= 0 else 'fewer'} than priced"
    said = f"ou used {much} over {counted(len(desk.jobs), 'job')}{_worth(desk)}"
    if by_chance(overrun_a_job(desk.jobs)):
        return Words(f"**Nothing to find: y{said}; that is no more than chance makes.**")
    if total < 0:
        return Words(f"**Y{said}: your prices held more than the jobs took.**")
    return Words(f"**Y{said}; {_accounted(contributors(desk)[:2], _amounts(desk))}.**")


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
        name: f" ({roughly(mean)} ± {own_money(roughly(high - mean), desk.firm.currency)})"
        for name, (mean, high) in parts.items()
    }


def contributors(desk: Desk, unit: str = "rolls") -> list[tuple[str, pd.Series]]:
    """Return `overrun_views.contributors` of the firm's jobs."""
    return overrun_views.contributors(desk.jobs, desk.now, unit)


def _worth(desk: Desk) -> str:
    """What the overrun is worth, or why that is not known."""
    money = overrun_table(desk.jobs)["overrun_money"]
    if not money.notna().any():
        return " (no roll_price in the records or in firm.toml, so no money)"
    known = int(money.notna().sum())
    part = "" if known == len(money) else f" in the {counted(known, 'job')} with a price"
    worth = own_money(number(abs(money.sum()), 0), desk.firm.currency)
    return f", about {worth} at your roll prices{part}"


def shares(desk: Desk) -> Words:
    """Give every cause its share, and what the prices held against them."""
    split = usual_split(desk.jobs, desk.now).set_index("cause")
    return Words(
        f"In rolls: {_causes(split)}; {_held(split)}. In nine cases of ten the truth lies within ±."
    )


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


def quarter_money(desk: Desk) -> Words:
    """Say what the quarter alone ran over."""
    table = overrun_table(desk.jobs)
    now = table[table["quarter"].eq(desk.quarter)]
    over = float(now["overrun_rolls"].sum())
    way = "over" if over >= 0 else "under"
    money = now["overrun_money"].dropna()
    sum_of = in_currency(number(abs(money.sum()), 0), desk.firm.currency)
    worth = f", worth {sum_of}" if len(money) else ""
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
    start, rest = "**What to change:** price", "; no flat percentage"
    if by_chance(overrun_a_job(desk.jobs)):
        start, rest = "**Nothing need change.** Your records ask for", ""
    return Words(
        f"{start} the laid sheet with its laps, {in_percent(table.iloc[0])} of it for waste, and"
        f" for each m² of reveal {listed(factors)} m² of sheet{rest}.{_look_at_crews(desk)}"
    )


def _look_at_crews(desk: Desk) -> str:
    """Crews whose way of working is worth a look, before any price."""
    table = desk.now.crew_table().loc[overrun_views.crews_above(desk.now)]
    above = [f"crew {crew} uses {in_percent(row)}" for crew, row in table.iterrows()]
    return f" And see why {listed(above)} of laid sheet more than the firm." if above else ""


def causes(desk: Desk) -> Section:
    """Show how priced becomes used, cause by cause."""
    yield owner_charts.cascade(usual_split(desk.jobs, desk.now), desk.jobs)
    yield cannot_separate(desk)


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
    names = listed([f"{CUTS[row.cut].words} ({counted(row.jobs, 'job')})" for row in little])
    return [f"for reveals {names} common practice still outweighs your own jobs"] if names else []


def one_job(desk: Desk, job: str) -> Section:
    """Take one job apart; "" takes the one that ran over most."""
    yield job_words(desk, job)
    yield owner_charts.job_cascade(job_split(desk, job), desk.jobs)


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
    said = f" Look at this record first: the chance that it is wrong is {chance(wrong or 0)}."
    return said if wrong else ""


def job_split(desk: Desk, job: str = "") -> pd.DataFrame:
    """Return the main causes of one job in rolls, as `split_overrun`; no row for no such job."""
    found = find_job(desk.jobs, desk.excluded, job)
    every = usual_split(desk.jobs, desk.now, "job_id")
    return every[every["group"].eq(found.job_id)].reset_index(drop=True)


def worst_jobs(desk: Desk) -> Section:
    """Name the jobs that ran over most."""
    yield worst_words(desk)
    caption = "The jobs that ran over most, and the largest sure cause of each"
    yield show_table(worst_table(desk), caption, currency=desk.firm.currency)


def worst_words(desk: Desk) -> Words:
    """Say whether few jobs make the overrun, and the main causes of the worst."""
    table = overrun_table(desk.jobs)
    over = table.loc[table["overrun_rolls"] > 0, "overrun_rolls"]
    worst = overrun_views.worst_jobs(desk.jobs, desk.now)
    if worst.empty:
        return Words("No job ran over.")
    part = float(worst["overrun_rolls"].sum())
    few = "so a few jobs make it" if part > over.sum() / 2 else "so it is spread over many jobs"
    verdict = f", {few}" if len(table) > 3 * len(worst) else ""
    main = worst["cause"].map(SHORT_WORDS).fillna("no sure cause").value_counts()
    causes = [f"{cause} in {count}" for cause, count in main.items()]
    ran = f"{len(over)} of {counted(len(table), 'job')} ran over"
    ran += f", by {number(over.sum())} rolls in all"
    if by_chance(overrun_a_job(desk.jobs)):
        return Words(f"{ran}; others ran under by as much, within chance: nothing to find here.")
    worst_hold = f"the {len(worst)} worst by {number(part)}{verdict}"
    return Words(f"{ran}; {worst_hold}. Their main cause: {listed(causes)}.")


def worst_table(desk: Desk) -> pd.DataFrame:
    """Return `worst_jobs` with the causes in words, without columns that hold nothing."""
    worst = overrun_views.worst_jobs(desk.jobs, desk.now)
    worst = worst.assign(cause=worst["cause"].map(SHORT_WORDS))
    return worst[[name for name in WORST_COLUMNS if worst[name].notna().any()]]


def quarters(desk: Desk) -> Section:
    """Set the quarters side by side."""
    yield trend_words(desk)
    yield owner_charts.quarters(by_quarter(desk.jobs, desk.now))


def trend_words(desk: Desk) -> Words:
    """Say whether the overrun of a job rises or falls, and which cause does."""
    trends = quarter_trends(desk.jobs, desk.now).set_index("cause")
    if trends.empty:
        return Words("No trend to be told: it takes three jobs in two quarters or more.")
    whole = trends.loc[[OVERRUN]].iloc[0]
    way = f"{_way(whole)}s, by" if _way(whole) else "shows no trend:"
    start = f"The overrun of a job {way} {_finely(whole)} rolls from quarter to quarter"
    moved = trends.drop(OVERRUN).rename(index=SHORT_WORDS)
    causes = [f"{n} {_way(r)} by {_finely(r)}" for n, r in moved.iterrows() if _way(r)]
    told = f"Of the causes, {listed(causes)}." if causes else "No cause by itself rises or falls."
    return Words(f"{start} (± holds 90 %). {told}")


def _finely(row: pd.Series) -> str:
    """Return "−0.01 ± 0.02" from `change, low, high`."""
    return f"{number(row['change'], 2)} ± {(row['high'] - row['low']) / 2:.2f}"


def _way(row: pd.Series) -> str:
    if by_chance(row):
        return ""
    return "rise" if row["change"] > 0 else "fall"


def crews(desk: Desk) -> Section:
    """Set the crews side by side."""
    yield crew_words(desk)
    yield owner_charts.crews(crew_comparison(desk.jobs, desk.now))


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
        f" (90 %: {_crew_reach(row)}, {counted(int(row.jobs), 'job')})."
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


def _crew(row: pd.Series) -> str:
    jobs = counted(int(row.jobs), "job") + (", too few" if row.jobs < FEW_JOBS else "")
    return f"{row.crew} {percent(row.pooled, 1)} ({_crew_reach(row)}; {jobs})"


def _crew_reach(row: pd.Series) -> str:
    return f"{percent(row.pooled_low, 1)} to {percent(row.pooled_high, 1)}"


def cuts(desk: Desk) -> Section:
    """Set the cuts side by side."""
    yield cut_words(desk)
    columns = "cut jobs reveal_m2 factor factor_low factor_high learnt"
    columns += " mean_rolls low_rolls high_rolls"
    yield show_table(cut_table(desk), "What the reveals took, by cut", columns)


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
    alike = [(a, b) for a, b in pairs if by_chance(cuts_apart(desk.now, a, b))]
    same = [f"{CUTS[a].words} and {CUTS[b].words}" for a, b in alike]
    told = f" Not to be told apart: {'; '.join(same)}." if same else ""
    return Words(f"A m² of reveal took, in m² of sheet: {listed(said)} (± holds 90 %).{told}")


def cut_table(desk: Desk) -> pd.DataFrame:
    """Return `cut_comparison` with the cuts in words."""
    cuts = cut_comparison(desk.jobs, desk.now)
    return cuts.assign(cut=[CUTS[cut].words for cut in cuts["cut"]])


def hindsight(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what the allowances known then would have changed.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    leftover_cost, short_cost : float
        As for `price`.
    """
    found = look_back(desk.records, leftover_cost, short_cost)
    currency = desk.firm.currency
    yield hindsight_words(found, currency)
    yield owner_charts.hindsight(found)
    caption = "Real prices beside those of the allowances known then"
    yield show_table(found.table, caption, currency=currency)


def hindsight_words(found: Hindsight, currency: str = "") -> Words:
    """Say what the allowances known at the time would have changed."""
    if found.reason:
        return Words(f"What the allowances would have changed cannot be told yet: {found.reason}")
    table = dict(zip(MEASURES, (row for _, row in found.table.iterrows()), strict=True))
    cost, jobs = table["cost"], counted(found.jobs, "job")
    less = in_currency(number(abs(cost["difference"]), 0), currency)
    less = f"{less} {'less' if cost['difference'] <= 0 else 'more'}"
    within = cost["difference_low"] <= 0 <= cost["difference_high"]
    chance = ", which chance explains" if within else ""
    return Words(
        f"**Had {jobs} been priced with the allowances known before each quarter, shortages and"
        f" left-over rolls would have cost {less}{chance}** (90 %: {_change(cost, 'less', 'more')};"
        f" at {number(found.leftover_cost, 0)} a roll left over and"
        f" {in_currency(number(found.short_cost, 0), currency)} a roll short):"
        f" {_instead(table['jobs_short'])} jobs short,"
        f" {_instead(table['rolls_left_over'])} rolls left over. The sheet itself is bought either"
        " way."
    )


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


def which_cut(desk: Desk, costs: CutCosts) -> Section:
    """Show which cut would have cost least, and for which openings."""
    currency, records = desk.firm.currency, firm_cuts.with_usual_depths(desk.records, desk.now)
    terms = firm_cuts.cut_terms(records, desk.now, costs, currency)
    savings = firm_cuts.past_savings(records, terms)
    yield cuts_text.cut_words(terms, savings, firm_cuts.saving_range(records, terms))
    by_size = firm_cuts.cut_map(records, terms)
    yield cuts_text.map_words(by_size, records.openings)
    yield cuts_charts.cut_map(by_size, records.openings, currency)
    turns = firm_cuts.past_turns(records, terms)
    yield cuts_text.turn_words(turns)
    yield show_table(
        cuts_text.turn_table(turns),
        "One cut for all openings: the price or time at which another would do as well",
    )
    yield show_table(
        savings.head(10),
        "The past jobs where other cuts would have saved most",
        "job_id openings cut_otherwise saving",
        currency,
    )


def left_out(desk: Desk) -> Section:
    """Name the jobs that were left out, with the reason."""
    yield excluded_table(desk, "Jobs left out, with the reason")
