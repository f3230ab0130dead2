"""Why jobs run over: what the owner's notebook shows, section by section, with its sentences."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd

from airstats.analysis import overrun_views
from airstats.analysis.allowance_changes import crew_comparison
from airstats.analysis.overrun_split import (
    MAIN,
    NET,
    PLURAL,
    SHORT_WORDS,
    overrun_table,
    split_overrun,
)
from airstats.analysis.overrun_views import (
    OVERRUN,
    STEP_M2,
    by_quarter,
    cut_comparison,
    cuts_apart,
    find_job,
    overrun_a_job,
    overrun_by_reveals,
    quarter_trends,
    rise_with_reveals,
    that_count,
    usual_split,
)
from airstats.analysis.sensitivity import (
    count_in_doubt,
    counted_to_the_nearest,
    fit_at_once,
    not_told,
)
from airstats.backtests.against_real_prices import LEAST_JOBS, Hindsight
from airstats.backtests.rolling import WORDS_OF_RULES
from airstats.base.firm import LEFTOVER_COST, PARTS, SHORT_COST
from airstats.base.number_text import (
    by_chance,
    capital,
    chance,
    counted,
    each,
    give_or_take,
    in_currency,
    in_percent,
    listed,
    listing,
    number,
    own_money,
    percent,
    rolls,
    roughly,
    signed,
    that_add_up,
)
from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import INTERVAL, unchanged
from airstats.pricing import firm_cuts
from airstats.pricing.cut_prices import CutCosts
from airstats.reports import cuts_text, owner_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Beside, Section, Words, show_table
from airstats.reports.shared_text import counted_as_told, excluded_table

LEARNT = 0.1
"""An allowance that has lost less than this share of its first variance is common practice."""
TRADE_OFF = -0.5
"""Two causes whose correlation is below this are hard to tell apart."""
WORST_COLUMNS = (*("job_id", "crew", "priced", "used", "overrun_money", "cause"),)
CUT_COLUMNS = "cut jobs reveal_m2 reveal_took learnt"
FINE = 0.015
"""A change whose ± is below this is told with three decimals."""
SHOWN_SHARE = 0.0005
"""An allowance below this is told as nothing."""
Told = Callable[[pd.Series], str]
FEW_JOBS = 5
LONG = 120
"""Signs of a crew's name with its figures."""
NAMED_OUT = 3
"""So many jobs left out are named in a sentence, more in a table."""


def headline(desk: Desk) -> Words:
    """Say how much the firm ran over, what that cost, and what accounts for it."""
    total = float(overrun_table(desk.jobs)["overrun_rolls"].sum())
    much = f"{rolls(round(abs(total), 1))} {'more' if total >= 0 else 'fewer'} than priced"
    even = not round(abs(total), 1)
    much = "as many rolls as were priced" if even else much
    worth = _a_roll_costs(desk) if even else _worth(desk)
    said = f"ou used {much} over {counted(len(desk.jobs), 'job')}{worth}"
    if by_chance(overrun_a_job(desk.jobs)):
        return Words(f"**Nothing to find: y{said}; that is no more than chance makes.**")
    if total < 0:
        return Words(f"**Y{said}: your prices held more than the jobs took.**")
    parts = contributors(desk)[:2]
    sure = " In nine cases of ten the truth lies within the ±." if parts else ""
    return Words(f"**Y{said}; {_accounted(parts, _amounts(desk))}.**{sure}")


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
        name: f" ({roughly(mean)} ± {in_currency(roughly(high - mean), desk.firm.currency)})"
        for name, (mean, high) in parts.items()
    }


def contributors(desk: Desk, unit: str = "rolls") -> list[tuple[str, pd.Series]]:
    """Return `overrun_views.contributors` of the firm's jobs."""
    return overrun_views.contributors(desk.jobs, desk.now, unit)


def _worth(desk: Desk) -> str:
    """What the overrun is worth, or why that is not known."""
    money = overrun_table(desk.jobs)["overrun_money"]
    if not money.notna().any():
        return " (no price of a roll in the records or in firm.toml, so no money)"
    known = int(money.notna().sum())
    part = "" if known == len(money) else f" in the {counted(known, 'job')} with a price"
    way = np.sign(overrun_table(desk.jobs)["overrun_rolls"].sum())
    worth = own_money(number(way * money.sum(), 0), desk.firm.currency)
    return f", about {worth} at your roll prices{part}"


def _a_roll_costs(desk: Desk) -> str:
    """What a roll costs, where no other sum says whose money it is; nothing if nobody knows."""
    prices = pd.Series(desk.jobs.told("pack_price")).dropna()
    said = own_money(number(prices.mean(), 0), desk.firm.currency)
    return f" (a roll costs about {said})" if len(prices) else ""


def quarter_money(desk: Desk) -> Words | None:
    """Say what the quarter alone ran over; nothing where all jobs are of that quarter."""
    table = overrun_table(desk.jobs)
    now = table[table["quarter"].eq(desk.quarter)]
    if len(now) == len(table):
        return None
    over, jobs = float(now["overrun_rolls"].sum()), counted(len(now), "job")
    if not round(abs(over), 1):
        return Words(f"In {desk.quarter} alone: as many rolls as were priced, in {jobs}.")
    way, money = "over" if over > 0 else "under", now["overrun_money"].dropna()
    sum_of = in_currency(number(np.sign(over) * money.sum(), 0), desk.firm.currency)
    worth = f", worth {sum_of}" if round(money.sum()) else ""
    return Words(f"In {desk.quarter} alone: {rolls(round(abs(over), 1))} {way} in {jobs}{worth}.")


def how_counted(desk: Desk) -> Words | None:
    """Say what hangs on how rolls were counted; nothing where none counts as opened."""
    asked = not_told(desk.jobs)
    if not asked.any():
        return _as_told(desk)
    which = "" if asked.all() else f" in {int(asked.sum()):,} of {len(asked)} jobs"
    nearest = fit_at_once(counted_to_the_nearest(desk.jobs, asked))
    now, then = desk.now.table(), nearest.table()
    told = {"waste": ("waste", percent_of)}
    told |= {f"reveal.{cut}": (f"reveals {CUTS[cut].words}", factor_of) for cut in _own_cuts(desk)}
    held = [
        f"{words} {say(then.loc[[name]].iloc[0])} instead of {say(now.loc[[name]].iloc[0])}"
        f"{'' if name == 'waste' else ' m² a m²'}"
        for name, (words, say) in told.items()
    ]
    return Words(
        f"**How were your rolls counted?** Your records do not say{which}, so each counts as a roll"
        " that was opened, however much of it was used. If that is so, nothing here changes. If"
        f" they were counted to the nearest roll: {listed(held)}. Ask whoever counted, and write"
        " the answer under `counted`."
    )


def _as_told(desk: Desk) -> Words | None:
    """Say what hangs on the records' word that an opened roll counts whole."""
    if not desk.jobs.table["counted"].eq("opened").any():
        return None
    jobs = counted_to_the_nearest(desk.jobs, count_in_doubt(desk.jobs))
    nearest = fit_at_once(jobs)
    now, then = (one.table().loc[["waste"]].iloc[0] for one in (desk.now, nearest))
    leads = overrun_views.contributors(jobs, nearest)
    cause = f"the largest cause {leads[0][0]}" if leads else "no single cause stands out"
    return Words(
        f"{counted_as_told(desk.jobs)}. If instead they were counted to the nearest roll, waste is"
        f" {percent_of(then)}, not {percent_of(now)}, and {cause}: ask whoever counted."
    )


def advice(desk: Desk, found: Hindsight) -> Words:
    """Say what to change, with the cheapest flat share beside the firm's own allowances.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    found : Hindsight
        From `look_back`, of the same jobs.
    """
    ours = f"**Price {_allowances_said(desk)}.**"
    if by_chance(overrun_a_job(desk.jobs)):
        ours = f"**Nothing need change:** your records ask for {_allowances_said(desk)}."
    rest = f"{_rival(found, desk.firm.currency)}{_look_at_crews(desk)}"
    if not found.reason and found.beside("flat_learnt")["high"] < 0:
        return Words(f"{rest} For the causes, and for single jobs: {ours}")
    return Words(f"{ours} {rest}".rstrip())


def _rival(found: Hindsight, currency: str) -> str:
    """Whether the flat share that learnt from the same jobs is dearer, as good or cheaper."""
    if found.reason:
        return ""
    rival = found.beside("flat_learnt")
    flat = f"a flat {percent(found.flat_share)} on the surface"
    beside = _beside(rival, found.jobs, currency)
    if by_chance(rival):
        return (
            f"**{capital(flat)} may do as well**: {beside}, so the two cannot"
            " be told apart; ours also tell why."
        )
    if rival["mean"] > 0:
        return f"**No flat share: {flat} is dearer**: {beside}."
    return f"**Put {flat}: it is cheaper than our allowances**: {beside}."


def _beside(rival: pd.Series, jobs: int, currency: str) -> str:
    """What the flat share that learnt from the same jobs cost a job beside the allowances."""
    mean = number(abs(rival["mean"]), 0)
    way = "more" if rival["mean"] >= 0 else "less"
    much = f"{in_currency(mean, currency)} a job {way}" if mean != "0" else "the same"
    return (
        f"the best flat share, learnt from the same jobs, would have cost {much}"
        f" over {counted(jobs, 'job')}"
        f" (90 %: {_change(rival, 'less', 'more')})"
    )


def _allowances_said(desk: Desk) -> str:
    """The allowances as a price holds them; what no job taught is marked."""
    table, learnt = desk.now.table(), _learnt(desk)
    waste = _held("waste", table.loc[["waste"]].iloc[0], learnt, percent_of, "of it for waste")
    factors = [
        _held(name, table.loc[[name]].iloc[0], learnt, factor_of, CUTS[cut].words)
        for cut in _own_cuts(desk)
        for name in [f"reveal.{cut}"]
    ]
    return (
        f"the sheet as laid, laps included, with {waste} and, for each m² of reveal, these m² of"
        f" sheet: {listed(factors)}"
    )


def _held(name: str, row: pd.Series, learnt: pd.Series, told: Told, what: str) -> str:
    """One allowance with its interval, and whether it is common practice alone."""
    common = "" if learnt[name] >= LEARNT else " (common practice; your jobs taught nothing of it)"
    return f"{told(row)} {what}{common}"


def percent_of(row: pd.Series) -> str:
    """Return an allowance of waste: "6.1 ± 3.3 %", never below nothing."""
    if row["mean"] < SHOWN_SHARE:
        return f"nothing (at most {percent(max(row['high'], 0), 1)})"
    if row["low"] < 0:
        return f"{percent(row['mean'], 1)} (0 to {percent(row['high'], 1)})"
    return in_percent(row)


def factor_of(row: pd.Series) -> str:
    """Return an allowance of reveals: "0.45 ± 0.25", never below nothing."""
    if row["mean"] < SHOWN_SHARE:
        return f"nothing beyond the bare surface (at most {max(row['high'], 0):.2f})"
    if row["low"] < 0:
        return f"{row['mean']:.2f} (0 to {row['high']:.2f})"
    return f"{row['mean']:.2f} ± {(row['high'] - row['low']) / 2:.2f}"


def _own_cuts(desk: Desk) -> list[str]:
    """The cuts that some job holds; all where none does."""
    return cut_comparison(desk.jobs, desk.now)["cut"].tolist() or list(CUTS)


def _learnt(desk: Desk) -> pd.Series:
    """Share of each allowance's first variance that the jobs took away; none without a reveal."""
    first = unchanged(desk.now.quarter, desk.now.belief.prior).table()["sd"]
    held = cut_comparison(desk.jobs, desk.now)["cut"].tolist()
    bare = [f"reveal.{cut}" for cut in CUTS if cut not in held]
    return (1 - (desk.now.table()["sd"] / first) ** 2).mask(first.index.isin(bare), 0.0)


def _look_at_crews(desk: Desk) -> str:
    """Crews whose way of working is worth a look, before any price."""
    table = desk.now.crew_table().loc[overrun_views.crews_above(desk.now)]
    above = [f"crew {crew} uses {in_percent(row)}" for crew, row in table.iterrows()]
    return f" And see why {listed(above)} of laid sheet more than the firm." if above else ""


def causes(desk: Desk) -> Section:
    """Show how priced becomes used, cause by cause, beside each job's overrun and reveals."""
    table = overrun_by_reveals(desk.jobs, desk.now)
    yield Words(f"{reveal_words(table).text} {_laps_and_waste(desk)}{cannot_separate(desk)}")
    whole = owner_charts.cascade(
        that_count(usual_split(desk.jobs, desk.now, causes=NET)), desk.jobs
    )
    job_by_job = owner_charts.by_reveals(table)
    yield Beside(whole, job_by_job) if job_by_job else whole


def _laps_and_waste(desk: Desk) -> str:
    """What laps and waste took, and what of it the prices held."""
    parts = {"took": ("laps", "waste"), "lacked": ("already_priced",)}
    split = usual_split(desk.jobs, desk.now, causes=parts)
    digits = 0 if split["mean"].abs().min() >= 9.95 else 1
    half = (split["high"] - split["low"]) / 2
    mean = that_add_up(split["mean"], digits, 0) * [1, -1]
    rows = pd.DataFrame({"mean": mean, "low": mean - half, "high": mean + half})
    took, held = (give_or_take(row, "rolls", digits) for _, row in rows.iterrows())
    return f"Laps and waste took {took}; your prices held {held} beyond the bare surface."


def cannot_separate(desk: Desk) -> str:
    """Say what the split cannot tell apart in these records; nothing where it can."""
    said = _reveals_or_waste(desk)
    crews = sorted(set(desk.jobs.crews) - {""})
    if len(crews) == 1:
        one = f"crew {crews[0]} did every job with a crew's name"
        said.append(f"waste cannot be told from the crews' part, as {one}")
    elif not crews:
        said.append("waste holds what any crew wastes, as no crew is named")
    return f" Read with care: {'; '.join(said)}." if said else ""


def _reveals_or_waste(desk: Desk) -> list[str]:
    both = {"reveals": MAIN["reveals"], "waste": ("waste",)}
    both |= {"both": (*MAIN["reveals"], "waste")}
    split = split_overrun(desk.jobs, desk.now, causes=both).set_index("cause")
    reveals, waste, both = split["sd"]
    if both**2 - reveals**2 - waste**2 > 2 * TRADE_OFF * reveals * waste:
        return []
    together = give_or_take(split.loc[["both"]].iloc[0], "rolls")
    return [f"reveals and waste are surer together, {together}"]


def reveal_words(table: pd.DataFrame) -> Words:
    """Say whether a job's overrun rises with its reveals, and name the misses.

    Parameters
    ----------
    table : DataFrame
        From `overrun_by_reveals`.
    """
    missed = table.loc[table["missed"].astype(bool), "job_id"]
    likely = int(round((1 - INTERVAL) * len(table), 6))
    chance_alone = f" (by chance: up to {counted(likely, 'job')})" * (likely > 0)
    outside = f" Outside what was foretold of them: {listing(missed)}{chance_alone}."
    outside *= len(missed) > 0
    slope = rise_with_reveals(table)
    if slope is None:
        few = "Too few jobs with measured reveals to see whether the overrun rises with them."
        return Words(f"{few}{outside}")
    if slope["low"] == slope["high"]:
        return Words(f"The jobs' overruns are too much alike to rise with their reveals.{outside}")
    much = f"{_finely(slope)} rolls for each {STEP_M2:g} m² of reveal"
    if by_chance(slope):
        return Words(f"A job's overrun shows no rise with its reveals: {much}.{outside}")
    return Words(f"**A job's overrun {_way(slope)}s with its reveals, by {much}.**{outside}")


def job_words(desk: Desk, job: str = "") -> Words:
    """Say why one job ran over; without a name, the one that ran over most."""
    found = find_job(desk.jobs, desk.excluded, job)
    if not found.job_id:
        return Words(found.message)
    table = overrun_table(desk.jobs).set_index("job_id").loc[[found.job_id]].iloc[0]
    over = float(table["overrun_rolls"])
    way = "over" if over > 0 else "under"
    much = f"{rolls(round(abs(over), 2))} {way}" if over else "neither over nor under"
    asked = "" if str(job).strip() else ", the worst,"
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
        return f" Mostly unexplained: {amount}."
    return f" The main cause: {SHORT_WORDS[cause]}, {amount}."


def _doubt(desk: Desk, job_id: str) -> str:
    """A warning where the job's record is likely wrong."""
    wrong = desk.suspects().set_index("job_id")["probability"].get(job_id)
    said = f" Check this record first: {chance(wrong or 0)} that it is wrong."
    return said if wrong else ""


def job_split(desk: Desk, job: str = "") -> pd.DataFrame:
    """Return the causes of one job in rolls, as `split_overrun`; no row for no such job."""
    found = find_job(desk.jobs, desk.excluded, job)
    every = usual_split(desk.jobs, desk.now, "job_id", NET)
    return that_count(every[every["group"].eq(found.job_id)])


def worst_jobs(desk: Desk, job: str = "") -> Section:
    """Name the jobs that ran over most, and take one job apart.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    job : str
        The job to take apart; "" takes the one that ran over most.
    """
    if worst_table(desk).empty and not str(job).strip():
        yield worst_words(desk)
        return
    yield Words(f"{worst_words(desk).text} {job_words(desk, job).text}")
    caption = "Rolls; of each job's causes the largest that is sure"
    worst = show_table(worst_table(desk), caption, currency=desk.firm.currency, name="worst_jobs")
    one = owner_charts.job_cascade(job_split(desk, job), desk.jobs)
    yield Beside(worst, one) if one and len(desk.jobs) > 1 else worst


def worst_words(desk: Desk) -> Words:
    """Say whether few jobs make the overrun, and the main causes of the worst."""
    table = overrun_table(desk.jobs)
    over = table.loc[table["overrun_rolls"] > 0, "overrun_rolls"]
    if over.empty:
        return Words("No job ran over.")
    worst = overrun_views.worst_jobs(desk.jobs, desk.now)
    in_all = rolls(round(float(over.sum()), 1))
    ran = f"{len(over)} of {counted(len(table), 'job')} ran over, by {in_all} in all"
    if by_chance(overrun_a_job(desk.jobs)):
        under = table.loc[table["overrun_rolls"] < 0, "overrun_rolls"]
        less = (
            f", and {counted(len(under), 'job')} under, by {rolls(round(-float(under.sum()), 1))}"
        )
        return Words(
            f"{ran}{less if len(under) else ''}: no more than chance makes, nothing to find here."
        )
    main = worst["cause"].map(SHORT_WORDS).fillna("no sure cause").value_counts()
    causes = [f"{cause} in {counted(count, 'job')}" for cause, count in main.items()]
    why = f"main cause: {main.index[0]}" if len(main) == 1 else f"main causes: {listed(causes)}"
    why = f"their {why}" if len(worst) > 1 else why
    return Words(f"{ran}{_few_or_many(over, worst, len(table))}; {why}.")


def _few_or_many(over: pd.Series, worst: pd.DataFrame, jobs: int) -> str:
    """Whether the worst jobs make the overrun; nothing where they are all that ran over."""
    if len(worst) == len(over):
        return ""
    part = float(worst["overrun_rolls"].sum())
    few = "so a few jobs make it" if part > over.sum() / 2 else "so it is spread over many jobs"
    verdict = f", {few}" if jobs > 3 * len(worst) else ""
    return f"; the {counted(len(worst), 'worst job')} by {rolls(round(part, 1))}{verdict}"


def worst_table(desk: Desk) -> pd.DataFrame:
    """Return `worst_jobs` with the causes in words, without columns that hold nothing.

    All that ran over, the worst first.
    """
    worst = overrun_views.worst_jobs(desk.jobs, desk.now, len(desk.jobs))
    told = zip(worst["cause"].map(SHORT_WORDS), worst["mean_rolls"], strict=True)
    worst = worst.rename(columns={"estimated_rolls": "priced", "used_rolls": "used"})
    worst["crew"] = worst["crew"].replace("", None)
    worst["cause"] = [f"{name} {number(much)}" if much > 0 else None for name, much in told]
    return worst[[name for name in WORST_COLUMNS if worst[name].notna().any()]]


def trend_words(desk: Desk) -> Words:
    """Say whether the overrun of a job rises or falls, and which cause does."""
    trends = quarter_trends(desk.jobs, desk.now).set_index("cause")
    if trends.empty:
        return Words("No trend to be told: it takes three jobs in two quarters or more.")
    whole = trends.loc[[OVERRUN]].iloc[0]
    if whole["low"] == whole["high"]:
        return Words("Every job's overrun is the same, so there is no trend.")
    way = f"{_way(whole)}s, by" if _way(whole) else "shows no trend:"
    start = f"A job's overrun {way} {_finely(whole)} rolls from quarter to quarter"
    moved = trends.drop(OVERRUN).rename(index=SHORT_WORDS)
    causes = [f"{n} {_way(r)} by {_finely(r)}" for n, r in moved.iterrows() if _way(r)]
    told = f"of the causes, {listed(causes)}" if causes else "no cause by itself rises or falls"
    return Words(f"{start}; {told}.")


def _finely(row: pd.Series) -> str:
    """Return "−0.01 ± 0.02" from `change, low, high`; what surely falls is told without sign."""
    half = (row["high"] - row["low"]) / 2
    digits = 2 if half >= FINE else 3
    change = row["change"] if by_chance(row) else abs(row["change"])
    return f"{number(change, digits)} ± {number(half, digits)}"


def _way(row: pd.Series) -> str:
    if by_chance(row):
        return ""
    return "rise" if row["change"] > 0 else "fall"


def crews(desk: Desk) -> Section:
    """Set the crews side by side, and the quarters."""
    trends = quarter_trends(desk.jobs, desk.now)
    moved = [row.cause for row in each(trends) if row.low > 0 or row.high < 0]
    yield Words(f"{crew_words(desk).text} {trend_words(desk).text}")
    yield owner_charts.quarters(by_quarter(desk.jobs, desk.now), moved) if moved else None
    found = crew_comparison(desk.jobs, desk.now)
    differ = found["pooled_low"].gt(0) | found["pooled_high"].lt(0)
    yield owner_charts.crews(found) if len(found) > 1 and differ.any() else None


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
    said += [f"Below the firm: {listing(less, LONG)}."] if less else []
    if said:
        told = f" Not to be told from the firm: {listing(same, LONG)}." if same else ""
        return Words(f"{' '.join(said)}{told}")
    ends = (crews.sort_values("pooled").iloc[place] for place in (0, -1))
    reach = " to ".join(f"{signed(100 * row['pooled'], 1)} % (crew {row['crew']})" for row in ends)
    return Words(
        f"No crew stands out: what each uses beside the firm, from {reach} of laid sheet, is no"
        " more than chance makes."
    )


def _crew(row: pd.Series) -> str:
    jobs = counted(int(row.jobs), "job") + (", too few" if row.jobs < FEW_JOBS else "")
    return f"{row.crew} {percent(row.pooled, 1)} ({_crew_reach(row)}; {jobs})"


def _crew_reach(row: pd.Series) -> str:
    return f"{percent(row.pooled_low, 1)} to {percent(row.pooled_high, 1)}"


def cuts(desk: Desk, costs: CutCosts) -> Section:
    """Set the cuts side by side: what their reveals took, and which would have cost least.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    costs : CutCosts
        The prices and times of the firm.
    """
    currency, records = desk.firm.currency, firm_cuts.with_usual_depths(desk.records, desk.now)
    used = records.openings["job_id"].isin(desk.jobs.table["job_id"])
    records = replace(records, openings=records.openings[used])
    terms = firm_cuts.cut_terms(records, desk.now, costs, currency)
    plan = firm_cuts.opening_plan(records, terms)
    yield cuts_text.cut_words(terms, plan, firm_cuts.saving_range(records, terms))
    yield cut_words(desk)
    took = show_table(cut_table(desk), "What a m² of reveal took, m² of sheet", CUT_COLUMNS)
    turns = cuts_text.turn_table(firm_cuts.past_turns(records, terms), currency)
    yield Beside(took, show_table(turns, "All openings cut alike", currency=currency))


def cut_words(desk: Desk) -> Words | None:
    """Say which cuts cannot be told apart in what their reveals take."""
    cuts = cut_comparison(desk.jobs, desk.now)
    if cuts.empty:
        return Words("No job is known to have a reveal, so cuts are not compared.")
    names = cuts["cut"].tolist()
    pairs = [(a, b) for place, a in enumerate(names) for b in names[place + 1 :]]
    alike = [(a, b) for a, b in pairs if by_chance(cuts_apart(desk.now, a, b))]
    same = [f"{CUTS[a].words} and {CUTS[b].words}" for a, b in alike]
    if not same:
        return None
    return Words(f"Not to be told apart in the sheet that their reveals took: {'; '.join(same)}.")


def cut_table(desk: Desk) -> pd.DataFrame:
    """Return `cut_comparison` in words: the factor with its interval, and what jobs taught."""
    cuts = cut_comparison(desk.jobs, desk.now)
    rows = cuts[["factor", "factor_low", "factor_high"]].set_axis(["mean", "low", "high"], axis=1)
    common = np.where(cuts["learnt"] < LEARNT, " (common practice)", "")
    took = [factor_of(row) + words for (_, row), words in zip(rows.iterrows(), common, strict=True)]
    return cuts.assign(cut=[CUTS[cut].words for cut in cuts["cut"]], reveal_took=took)


def hindsight(desk: Desk, found: Hindsight) -> Section:
    """Show what the allowances known then would have changed.

    Parameters
    ----------
    desk, found
        As for `advice`.
    """
    currency = desk.firm.currency
    yield hindsight_words(found, currency)
    if not found.reason:
        names = WORDS_OF_RULES | {"flat_learnt": "the best flat share so far, on the surface"}
        table = found.table.assign(rule=found.table["rule"].map(names))
        columns = "rule jobs_short rolls_short rolls_left_over total_money"
        left, short = (
            in_currency(number(cost, 0), currency)
            for cost in (found.leftover_cost, found.short_cost)
        )
        costs = f"a roll short costs {short}, wait and delivery included; one left over {left}"
        costs += "; assumed" if _costs_assumed(desk, found) else ""
        caption = f"The same jobs priced in three ways ({costs})"
        yield show_table(table, caption, columns, currency)


def _costs_assumed(desk: Desk, found: Hindsight) -> bool:
    """Whether the firm says nothing of what a roll left over or short costs."""
    names = [name for whole, parts in PARTS.items() for name in (whole, *parts)]
    told = any(getattr(desk.firm, name) for name in names)
    return not told and (found.leftover_cost, found.short_cost) == (LEFTOVER_COST, SHORT_COST)


def hindsight_words(found: Hindsight, currency: str = "") -> Words:
    """Say what the allowances known at the time would have changed."""
    if found.reason:
        return Words(
            "What these allowances would have saved, and whether a flat share would do as well,"
            f" shows once {LEAST_JOBS} jobs follow the quarter that they first learnt from."
        )
    row = found.beside("estimated")
    saved = row * found.jobs
    way = "less" if row["mean"] >= 0 else "more"
    much = in_currency(number(abs(saved["mean"]), 0), currency)
    change = -saved.rename({"low": "high", "high": "low"})
    ends = f" (90 %: {_change(change, 'less', 'more')})"
    within = ", which chance explains" if by_chance(row) else ""
    return Words(
        f"**Had {counted(found.jobs, 'job')}, all after the first quarter, been priced with the"
        " allowances known then, rolls short and left over would have cost"
        f" {much} {way}{within}**{ends}."
        f" {_on_the_shelf(found, currency)}"
    )


def _on_the_shelf(found: Hindsight, currency: str) -> str:
    """What becomes of the rolls left over, and what of them is counted as cost."""
    ours, really = found.of_rule("airstats"), found.of_rule("estimated")
    left, worth = ours["rolls_left_over"], ours["shelf_money"]
    known = f", bought for {in_currency(roughly(worth), currency)}," if np.isfinite(worth) else ""
    lay = really["rolls_left_over"]
    before = f"(really {rolls(round(lay)) if lay else 'none'})"
    if not left:
        return f"No roll would have been left over {before}."
    return (
        f"{counted(int(left), 'roll')}{known} would have been left over {before}; as later jobs use"
        " them, only what lying there loses counts as cost."
    )


def _change(row: pd.Series, down: str = "fewer", up: str = "more") -> str:
    """The interval of a change: "34 to 53 fewer", "3 fewer to 2 more", no finer than it is wide."""
    least, most = row["low"], row["high"]
    place = max(int(np.floor(np.log10(max(most - least, 1) / 2))) - 1, 0)
    low, high = (number(round(abs(end), -place), 0) for end in (least, most))
    if most <= 0:
        return f"{high} to {low} {down}" if least else "no change"
    if least >= 0:
        return f"{low} to {high} {up}"
    return f"{low} {down} to {high} {up}"


def left_out(desk: Desk) -> Section:
    """Name the jobs that were left out, with the reason."""
    if len(desk.excluded) > NAMED_OUT:
        yield excluded_table(desk, "Jobs left out, with the reason")
    elif len(desk.excluded):
        said = [f"{row.job_id} ({row.exclude})" for row in each(desk.excluded)]
        yield Words(f"Left out, with the reason: {listed(said)}.")
