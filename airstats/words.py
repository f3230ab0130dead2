"""Sentences for the owner and the estimator, computed from the data."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from airstats.comparison import crew_comparison
from airstats.cutting import CutTerms
from airstats.desk import Desk
from airstats.overrun import CAUSE_WORDS, overrun_table, reveals_total, split_overrun
from airstats.phrases import counted, each, give_or_take, listed, number, rolls
from airstats.screen import Words
from airstats.takeoff import Takeoff

CAUTION = Words(
    "We count material; we do not design the airtight layer. Knives, ladders and heights ask for"
    " the care of the trade. For ventilation, combustion air and moisture follow local codes and"
    " licensed practice."
)
CONFIDENCE = 0.9


def overrun_a_job(jobs: Takeoff) -> pd.Series:
    """Return the mean overrun of a job in rolls with its 90 % t interval: mean, low, high."""
    over = overrun_table(jobs)["overrun_rolls"].to_numpy(dtype=float)
    if len(over) < 2:
        return pd.Series({"mean": over.mean(), "low": -np.inf, "high": np.inf})
    reach = stdtrit(len(over) - 1, 0.5 + CONFIDENCE / 2) * over.std(ddof=1) / len(over) ** 0.5
    return pd.Series({"mean": over.mean(), "low": over.mean() - reach, "high": over.mean() + reach})


def contributors(desk: Desk) -> list[tuple[str, pd.Series]]:
    """Return who and what took the most rolls: reveals, and crews that chance does not explain.

    Largest first; each a name and its `mean, low, high` in rolls (90 %).
    """
    found = []
    reveals = reveals_total(desk.jobs, desk.now)
    if reveals["mean"] > 0 and desk.records.openings["job_id"].size:
        found.append(("reveals", reveals))
    crews = crew_comparison(desk.jobs, desk.now)
    for row in each(crews[crews["pooled_low"] > 0]):
        amount = pd.Series({"mean": row.mean_rolls, "low": row.low_rolls, "high": row.high_rolls})
        found.append((f"crew {row.crew}", amount))
    return sorted(found, key=lambda pair: -pair[1]["mean"])


def owner_headline(desk: Desk) -> Words:
    """Say how much the firm ran over, and what accounts for it."""
    total = float(overrun_table(desk.jobs)["overrun_rolls"].sum())
    a_job = overrun_a_job(desk.jobs)
    much = f"{rolls(abs(total))} {'more' if total >= 0 else 'fewer'} than priced"
    start = f"**You used {much} over {counted(len(desk.jobs), 'job')}"
    if a_job["low"] <= 0 <= a_job["high"]:
        return Words(f"{start}: no more than chance makes of whole rolls.** {_took(desk)}")
    parts = [
        f"{name} account{'' if name == 'reveals' else 's'} for {give_or_take(amount)}"
        for name, amount in contributors(desk)[:2]
    ]
    if not parts or total < 0:
        return Words(f"{start}.** {_took(desk)}")
    return Words(f"{start}; {', '.join(parts)}.** ± holds 90 %; all in rolls.")


def owner_money(desk: Desk) -> Words:
    """Say what the overrun cost, for all jobs and for the quarter."""
    table = overrun_table(desk.jobs)
    now = table[table["quarter"].eq(desk.quarter)]
    here = f"In {desk.quarter} alone: {rolls(now['overrun_rolls'].sum())} over"
    here += f" in {counted(len(now), 'job')}."
    priced = table["overrun_money"].notna()
    if not priced.any():
        return Words(f"{here} The records hold no roll_price, so the money is not worked out.")
    money = table.loc[priced, "overrun_money"].sum()
    quarter = now["overrun_money"].sum()
    part = "" if priced.all() else f" ({counted(int(priced.sum()), 'job')} with a price)"
    return Words(
        f"At your roll prices that is {number(money, 0)} of your money{part}. {here[:-1]}, worth"
        f" {number(quarter, 0)}."
    )


def owner_causes(desk: Desk) -> Words:
    """Name the causes by size, and what the price already held."""
    split = split_overrun(desk.jobs, desk.now).set_index("cause")
    taking = split.drop(["already_priced", "unexplained"]).sort_values("mean", ascending=False)
    largest = [
        f"{CAUSE_WORDS[str(cause)]} {give_or_take(row)}"
        for cause, row in taking[taking["mean"] > 0.5].head(4).iterrows()
    ]
    held = -float(split["mean"]["already_priced"])
    left = split.loc[["unexplained"]].iloc[0]
    return Words(
        f"Against the bare surface the jobs took, in rolls: {listed(largest)}. The prices held"
        f" {number(held)} rolls beyond the bare surface. Left unexplained: {give_or_take(left)}."
    )


def owner_crews(desk: Desk) -> Words:
    """Say which crews differ from the firm by more than chance."""
    crews = crew_comparison(desk.jobs, desk.now)
    if crews.empty:
        return Words("The records name no crew, so crews are not compared.")
    apart = crews[(crews["pooled_low"] > 0) | (crews["pooled_high"] < 0)]
    if apart.empty:
        most = crews.iloc[0]
        return Words(
            f"No crew differs from the firm by more than chance; the largest departure is crew"
            f" {most['crew']}: {most['pooled']:+.1%} of laid sheet"
            f" (90 %: {most['pooled_low']:+.1%} to {most['pooled_high']:+.1%})."
        )
    said = [
        f"crew {row.crew} uses {abs(row.pooled):.1%} {'more' if row.pooled > 0 else 'less'} sheet"
        f" than the firm (90 %: {row.pooled_low:+.1%} to {row.pooled_high:+.1%},"
        f" {counted(row.jobs, 'job')})"
        for row in each(apart)
    ]
    return Words(f"{_capital(listed(said))}.")


def suspect_words(desk: Desk) -> Words:
    """Name the records that look wrong."""
    table = desk.suspects()
    if table.empty:
        return Words("No record looks wrong (none with a probability of 50 % or more).")
    named = [f"{row.job_id} ({row.quarter}, {row.probability:.0%})" for row in each(table)]
    return Words(
        f"Look at {listed(named)}: so likely is the record wrong (a roll lent, stolen or"
        " mistyped). It hardly moves the allowances."
    )


def data_words(desk: Desk) -> Words:
    """Say which jobs are used, and which are not and why."""
    table = desk.jobs.table
    quarters = sorted(set(table["quarter"]))
    parts = [
        f"{counted(len(table), 'job')} of {quarters[0]} to {quarters[-1]} from"
        f" {desk.records.source} are used; {len(desk.excluded)} excluded with a reason",
        f"{len(desk.records.set_aside)} rows set aside as faulty",
    ]
    if desk.later:
        parts.append(f"{counted(desk.later, 'later job')} not looked at")
    return Words(f"{', '.join(parts)}. Digest of the records: {desk.records.digest[:23]}….")


def cut_words(desk: Desk, terms: CutTerms, savings: pd.DataFrame) -> Words:
    """Say which cut would have paid on past jobs, and by how much."""
    if savings.empty or savings["saving"].sum() <= 0:
        return Words("On the past jobs no other cut would have been cheaper.")
    price = "your roll price" if terms.priced else "an assumed price of the sheet"
    return Words(
        f"Had every opening been cut the cheapest way, {number(savings['cut_otherwise'].sum(), 0)}"
        f" of {number(savings['openings'].sum(), 0)} openings would have been cut otherwise, worth"
        f" {number(savings['saving'].sum(), 0)} of your money over"
        f" {counted(len(savings), 'job')} ({price}; tape, times and wages are assumptions to"
        f" replace; {terms.reuse_share:.0%} of usable off-cuts re-used)."
    )


def advice_words(desk: Desk) -> Words:
    """Say what to change: what a price should hold, from the firm's own allowances."""
    table = desk.now.table()
    held = table.loc[[f"reveal.{cut}" for cut in ("diagonal", "centre", "lined")]]
    factors = [f"{row.mean:.2f} ({row.name[7:]})" for row in each(held.reset_index(names="name"))]
    waste = table.iloc[0]
    return Words(
        f"**What to change:** price laid sheet with laps, plus {waste['mean']:.1%}"
        f" waste (90 %: {waste['low']:.1%} to {waste['high']:.1%}), plus"
        f" {listed(factors)} m² of sheet for each m² of reveal; not a flat percentage."
    )


def allowance_headline(desk: Desk, table: pd.DataFrame) -> Words:
    """Say what moved this quarter, and whether to accept."""
    jobs = counted(len(desk.now.new_jobs), "new job")
    groups = {word: table.loc[table["verdict"].eq(word), "allowance"].tolist() for word in VERDICTS}
    said = [f"{listed(names)} {VERDICTS[word]}" for word, names in groups.items() if names]
    start = f"**{desk.quarter}, {jobs}: {'; '.join(said)}.**"
    if not desk.now.new_jobs:
        return Words(f"{start} Nothing to accept: the quarter holds no new job.")
    if desk.before is None:
        return Words(f"{start} First quarter: the last values are the starting belief.")
    moved = groups["moved"]
    advice = f"Look at {listed(moved)} before you accept" if moved else "Accept the new values"
    return Words(f"{start} {advice}; either way they carry what all jobs so far tell.")


VERDICTS = {
    "moved": "moved by more than chance",
    "held": "held within chance",
    "not enough to tell": "cannot be told from this quarter",
}


def cannot_tell_words(desk: Desk) -> Words:
    """Say what the data leave open."""
    allowances = desk.now
    start = np.array([allowances.belief.prior.waste, *allowances.belief.prior.reveal_factors])[:, 1]
    left = allowances.table()["sd"] / start
    said = [
        f"{name} rests on the starting belief ({share:.0%} of its uncertainty is left)"
        for name, share in left.items()
        if share > 0.7
    ]
    forms = allowances.form_weights()
    if 0.1 < forms["factor"] < 0.9:
        said.append(
            f"a flat factor ({forms['factor']:.0%}) and re-use of off-cuts ({forms['reuse']:.0%})"
            " are both possible for the reveals"
        )
    few = [crew for crew, jobs in allowances.crew_jobs.items() if jobs < 5]
    if few:
        said.append(f"{listed([f'crew {crew}' for crew in few])} has fewer than five jobs each")
    if not said:
        return Words("Every allowance is now known better than the starting belief by a third.")
    return Words(f"What the data cannot tell: {'; '.join(said)}.")


def price_headline(desk: Desk, orders: pd.DataFrame) -> Words:
    """Say how many rolls to order, and how sure that is."""
    if orders.empty:
        return Words("**There is no job to price.**")
    total = int(orders["order_rolls"].sum())
    short = 1 - float(np.prod(1 - orders["chance_short"].to_numpy()))
    riskiest = orders.sort_values("chance_short").iloc[-1]
    return Words(
        f"**Order {rolls(total)} for {counted(len(orders), 'job')}**; expected sheet"
        f" {number(orders['expected_m2'].sum(), 0)} m². A job or more will be short with a chance"
        f" of about {short:.0%} (the likeliest: {riskiest['job_id']},"
        f" {riskiest['chance_short']:.0%});"
        f" {number(orders['expected_left_over_rolls'].sum())} rolls are left over on average."
    )


def takeoff_words(desk: Desk) -> Words:
    """Say which jobs are priced, and with which allowances."""
    known = f"the allowances of {desk.now.quarter} ({counted(len(desk.now.job_ids), 'job')})"
    if desk.to_price is not None:
        return Words(f"Jobs of {desk.to_price.source}, priced with {known}.")
    return Words(
        f"No takeoff was given: the finished jobs of {desk.quarter} are priced again, with {known}"
        " that they helped to make. Take it as a check, not as a forecast."
    )


def plan_words(plan: pd.DataFrame) -> Words:
    """Say how many openings of the takeoff are cheaper cut otherwise."""
    other = plan[plan["saving_all"] > 0]
    if other.empty:
        return Words("Every opening is cheapest as it is noted.")
    return Words(
        f"{number(other['count'].sum(), 0)} of {number(plan['count'].sum(), 0)} openings are"
        f" cheaper cut otherwise; it would save {number(other['saving_all'].sum(), 0)} of your"
        " money. The order above is for the cuts as noted."
    )


def _took(desk: Desk) -> str:
    reveals = reveals_total(desk.jobs, desk.now)
    held = -float(split_overrun(desk.jobs, desk.now).set_index("cause")["mean"]["already_priced"])
    return (
        f"Reveals took {give_or_take(reveals)} rolls (± holds 90 %); the prices held"
        f" {number(held)} beyond the bare surface."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
