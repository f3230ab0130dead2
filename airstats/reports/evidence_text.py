"""The evidence: the two pages that the consultant reads first, section by section."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.stats import binom

from airstats.analysis import overrun_views, sensitivity
from airstats.analysis.overrun_split import (
    MAIN,
    NET,
    PLURAL,
    SHORT_WORDS,
    overrun_table,
    split_overrun,
)
from airstats.backtests.against_real_prices import LEAST_JOBS
from airstats.backtests.forecast_checks import (
    ABOVE,
    BELOW,
    CHANCE,
    OPEN,
    cost_differences,
    interval_checks,
    own_cost,
)
from airstats.backtests.rolling import (
    RATIOS,
    WORDS_OF_RULES,
    Backtest,
    backtest,
    cheapest_share,
    measures,
)
from airstats.base.number_text import (
    between,
    by_chance,
    counted,
    each,
    give_or_take,
    in_currency,
    listed,
    listing,
    number,
    own_money,
    percent,
    rolls,
    signed,
)
from airstats.catalog.cut_patterns import reused_cuts
from airstats.model.allowances import Allowances
from airstats.model.unmet import not_counted
from airstats.reports import evidence_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Table, Words, show_table
from airstats.reports.invented_firms import found
from airstats.reports.shared_text import (
    counted_as_told,
    named_suspects,
    unmeasured_notes,
    with_notes,
)
from airstats.takeoff.sheet_quantities import Takeoff

NO_BACKTEST = Words(f"No back-test yet: it needs {LEAST_JOBS} jobs that follow a first quarter.")
HELD = 0.8
"""Share of the uses that the stated intervals should hold."""
IN_SHORT = {
    "airstats": "ours",
    "flat": "a flat 10 %",
    "flat_learnt": "the flat share that cost least so far",
    "least_squares": "least squares",
}
"""The ways of pricing in a table whose caption says the rest."""
NAMED = 5
"""So many jobs are named in a sentence; the others stand in the table."""


@lru_cache(maxsize=1)
def back_tested(desk: Desk, leftover_cost: float, short_cost: float) -> Backtest | None:
    """Return the back-test at several ratios of the costs, None where too few jobs follow.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    leftover_cost, short_cost : float
        As for `price`.
    """
    quarters = desk.jobs.table["quarter"]
    if quarters.gt(quarters.min()).sum() < LEAST_JOBS:
        return None
    if desk.back_test is not None:
        return desk.back_test
    ratios = tried_ratios(leftover_cost, short_cost)
    return backtest(desk.records, leftover_cost, short_cost, None, ratios)


def tried_ratios(leftover_cost: float, short_cost: float) -> tuple[float, ...]:
    """Return the ratios of the back-test's table: the firm's own among those of `RATIOS`."""
    return tuple(sorted({*RATIOS, short_cost / leftover_cost}))


@lru_cache(maxsize=1)
def fitted_at_once(desk: Desk) -> Allowances:
    """Return `fit_at_once` of the desk's jobs."""
    return sensitivity.fit_at_once(desk.jobs)


@lru_cache(maxsize=1)
def left_out_each(desk: Desk) -> pd.DataFrame:
    """Return `leave_each_out` of the desk's jobs."""
    return sensitivity.leave_each_out(desk.jobs, fitted_at_once(desk))


@lru_cache(maxsize=1)
def tried(desk: Desk, leftover_cost: float, short_cost: float) -> pd.DataFrame:
    """Return `try_conclusion` of the desk.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    given = leftover_cost, short_cost, desk.now, sensitivity.put_back(desk.records)
    return sensitivity.try_conclusion(
        desk.jobs, desk.own, left_out_each(desk), *given, fitted_at_once(desk)
    )


def answer(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Say the question, the answer, how the fairest rival does, and what the answer hangs on.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    costs = leftover_cost, short_cost
    result, share = back_tested(desk, *costs), cheapest_share(desk.jobs, *costs)
    yield Words(f"**{_overrun(desk)}; {_priced(desk, result)}.** {_rival(desk, result, share)}")
    table = tried(desk, *costs)
    yield Words(
        f"{_parts(desk)} {_leading(desk, table)}{_hangs_on(table, desk.jobs)}{_read_low(desk)}"
    )


def _parts(desk: Desk) -> str:
    """What the overrun is made of: the parts that the owner's first picture shows."""
    split = overrun_views.usual_split(desk.jobs, desk.now, causes=NET)
    split = overrun_views.that_count(split).set_index("cause")
    said = [f"{SHORT_WORDS[str(cause)]} {give_or_take(row)}" for cause, row in split.iterrows()]
    whole = signed(float(overrun_table(desk.jobs)["overrun_rolls"].sum()))
    return f"In rolls, rounded, ± 90 %: {listed(said)}, together {whole}."


def _read_low(desk: Desk) -> str:
    """How far reveals that take much may be read too low, on invented firms of about this size."""
    if not desk.jobs.columns([f"reveal_{cut}_m2" for cut in reused_cuts()]).any():
        return ""
    size = 24 if len(desk.jobs) < 48 else 96
    far = found("hidden_firms", f"reveals 0.8, {size} jobs")
    return (
        " The ± does not hold all doubt: invented firms whose reveals truly took 0.80 m² a m² came"
        f" to {number(far['now: reveal.diagonal'], 2)} m² a m² on average with {size} jobs, and the"
        f" 90 % interval held the truth in {percent(far['now: reveal.diagonal_90'])} of them (see"
        " known weaknesses). So reveals may take more than is said here, and waste less."
    )


def _overrun(desk: Desk) -> str:
    """How much over, and what accounts for it, in the owner's words."""
    total = float(overrun_table(desk.jobs)["overrun_rolls"].sum())
    much = f"{rolls(round(abs(total), 1))} {'more' if total >= 0 else 'fewer'} than priced"
    much = much if round(abs(total), 1) else "as many rolls as were priced"
    said = f"{counted(len(desk.jobs), 'job')} used {much}"
    if by_chance(overrun_views.overrun_a_job(desk.jobs)):
        return f"{said}, which chance explains"
    found = overrun_views.contributors(desk.jobs, desk.now)
    if total < 0 or not found:
        return said + ("" if total < 0 else ", of which no single cause stands out")
    name, took = found[0]
    verb = "accounts" if name == "waste" or name.startswith("crew ") else "account"
    return f"{said}; {name} {verb} for {give_or_take(took, 'rolls')}"


def _priced(desk: Desk, result: Backtest | None) -> str:
    """What pricing from earlier quarters would have cost, beside what was really priced."""
    if result is None:
        return (
            "whether they price the next jobs better cannot be tested before"
            f" {LEAST_JOBS} jobs follow a first quarter"
        )
    currency, jobs = desk.firm.currency, counted(len(result.jobs), "job")
    each_cost = own_money(number(own_cost(result)["mean"], 0), currency)
    cost = "nothing" if each_cost.startswith("0 ") else f"{each_cost} each"
    said = f"priced from earlier quarters only, {jobs} would have cost {cost} in rolls short and"
    really = cost_differences(result).set_index("rule").T["estimated"]
    return f"{said} left over, {_against(really, 'at their real prices', currency)}"


def _against(more: pd.Series, what: str, currency: str) -> str:
    """Return "55 EUR less than as really priced (45 to 64 less)", or that it is not told apart."""
    mean = in_currency(number(abs(more["mean"]), 0), currency)
    if more["low"] > 0:
        return f"{mean} less than {what} ({_ends(more)} less, 90 %)"
    if more["high"] < 0:
        return f"{mean} more than {what} ({_ends(-more)} more, 90 %)"
    if more["low"] == more["high"] == 0:
        return f"as much as {what}"
    return f"which cannot be told from what they cost {what} ({_two_ways(more)}, 90 %)"


def _ends(row: pd.Series) -> str:
    low, high = sorted([row["low"], row["high"]])
    return between(low, high, digits=0)


def _two_ways(more: pd.Series) -> str:
    """Return "7 less to 2 more" for what others cost more, from −2 to 7."""
    low, high = sorted([more["low"], more["high"]])
    return f"{number(high, 0)} less to {number(-low, 0)} more"


def _rival(desk: Desk, result: Backtest | None, share: float) -> str:
    """The flat share that learns beside ours: the fairest rival."""
    if result is None:
        return "A flat share cannot be compared before then either."
    more = cost_differences(result).set_index("rule").T["flat_learnt"]
    what = f"{WORDS_OF_RULES['flat_learnt']} ({percent(share)} by now)"
    currency = desk.firm.currency
    if more["low"] == more["high"] == 0:
        return f"The fairest rival, {what}, costs the same on every job."
    much = in_currency(number(abs(more["mean"]), 0), currency)
    cost = f"The fairest rival, {what}, would have cost {much} a job"
    if more["low"] > 0:
        return f"{cost} more ({_ends(more)}, 90 %)."
    if more["high"] < 0:
        return f"{cost} less ({_ends(-more)}, 90 %): a flat share does better here."
    way = "more" if more["mean"] >= 0 else "less"
    return f"{cost} {way} ({_two_ways(-more)}, 90 %): it may do as well."


def _leading(desk: Desk, table: pd.DataFrame) -> str:
    """The cause that others may turn, where the answer names none, for chance explains it."""
    if not by_chance(overrun_views.overrun_a_job(desk.jobs)):
        return ""
    return f"Though chance explains the whole, {_leads(table['cause'].iloc[0])}. "


def _leads(cause: str) -> str:
    return f"{cause} {'lead' if cause in PLURAL else 'leads'}"


def _hangs_on(table: pd.DataFrame, jobs: Takeoff) -> str:
    """What would change the answer, the way of counting first."""
    shown = table[~table["of_model"]]
    changed = shown[[_changes(row, shown) != HOLDS for row in each(shown)]]
    if changed.empty:
        return "Nothing tried below changes which cause leads, nor any order."
    causes = changed[[_other_cause(row, shown) for row in each(changed)]]
    if causes.empty:
        names = listed(changed["assumption"].tolist())
        return f"No assumption tried changes which cause leads; some orders change with: {names}."
    said = [f"with {row.assumption}, {_would_lead(row.cause)}" for row in each(causes)]
    doubted = causes["assumption"].eq(sensitivity.TO_THE_NEAREST).any()
    word = f" {counted_as_told(jobs)}." if doubted else ""
    return f"What would turn it: {listed(said)}.{word}"


def data(desk: Desk) -> Section:
    """Say which jobs are used, which are not and why, and which records are doubtful."""
    table, set_aside = desk.jobs.table, len(desk.records.set_aside)
    quarters = sorted(set(table["quarter"]))
    span = quarters[0] if len(quarters) == 1 else f"{quarters[0]} to {quarters[-1]}"
    reasons = [f"{row.job_id} ({row.exclude})" for row in each(desk.excluded.head(NAMED))]
    more = len(desk.excluded) - len(reasons)
    left = listed(reasons) + (f" and {more} more" if more else "") or "none"
    parts = [f"{counted(len(table), 'job')} of {span} are used; left out with a reason: {left}"]
    parts += [f"{counted(set_aside, 'row')} set aside as faulty"] if set_aside else []
    parts += [f"{counted(desk.later, 'later job')} not looked at"] if desk.later else []
    doubtful = named_suspects(desk)
    wrong = f"Likely wrong, kept, and made to count little by the model: {doubtful}."
    said = (
        f"{'; '.join(parts)}. {wrong if doubtful else 'No record is likely wrong.'}"
        f" {_sizes(desk.jobs)}{_first_quarter(table)}"
    )
    notes = desk.previous.notes if desk.previous else ()
    notes += desk.records.remarks + not_counted(desk.records, desk.now) + unmeasured_notes(desk)
    yield with_notes(said, notes)


def _sizes(jobs: Takeoff) -> str:
    sizes = listed([number(size, 4).rstrip("0").rstrip(".") for size in sorted(set(jobs.pack))])
    return f"A roll is {sizes} m² of sheet."


def _first_quarter(jobs: pd.DataFrame) -> str:
    """Why fewer jobs are foretold than used."""
    first = int(jobs["quarter"].eq(jobs["quarter"].min()).sum())
    if first == len(jobs):
        return ""
    return f" The first quarter's {counted(first, 'job')} cannot be foretold: nothing came before."


def every_job(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show every job's count beside what was foretold for it.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    result = back_tested(desk, leftover_cost, short_cost)
    if result is None:
        yield NO_BACKTEST
        return
    checked = interval_checks(result, desk.jobs)
    by_now = overrun_views.overrun_by_reveals(desk.jobs, desk.now)
    far = by_now.loc[by_now["missed"].astype(bool), "job_id"]
    yield every_job_words(checked, result.held_80, far)
    yield evidence_charts.every_job(checked)


def every_job_words(checked: pd.DataFrame, held: float, far: pd.Series) -> Words:
    """Say how many jobs surely missed their interval, which, and what the counts leave open.

    Parameters
    ----------
    checked : DataFrame
        From `interval_checks`.
    held : float
        Share of the uses that the intervals held, an open count spread as foretold.
    far : Series
        The jobs that the owner's page names: those outside 90 % of what all jobs foretell.
    """
    jobs, where = len(checked), checked["where"].value_counts()
    missed = checked[checked["where"].isin([ABOVE, BELOW])]
    sides = [int(where.get(way, 0)) for way in (ABOVE, BELOW)]
    above, below = (counted(jobs, "job") if jobs else "none" for jobs in sides)
    ways = f"{above} above it, {below} below: "
    names = f" ({ways}{listing(missed['job_id'])})" if len(missed) else ""
    low, high = (edge / jobs for edge in binom.interval(CHANCE, jobs, HELD))
    lie = "lies" if len(missed) == 1 else "lie"
    bare = f" {where.get(OPEN, 0)} counts leave that open, which favours the forecast."
    other = f" Outside 90 % of what all jobs foretell, as on the owner's page: {listing(far)}."
    return Words(
        f"**{len(missed)} of {counted(jobs, 'job')} surely {lie} outside their foretold 80 %"
        f" interval{names};** open counts spread as foretold, the intervals held {percent(held)} of"
        f" the uses, where chance alone makes {percent(low)} to {percent(high)}."
        f"{bare if where.get(OPEN, 0) > jobs / 2 else ''}{other if len(far) else ''}"
    )


def back_test(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Set what every way of pricing would have cost side by side, at several ratios of the costs.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    result = back_tested(desk, leftover_cost, short_cost)
    if result is None:
        yield NO_BACKTEST
        return
    ratios = tried_ratios(leftover_cost, short_cost)
    more = {ratio: cost_differences(result, ratio).set_index("rule") for ratio in ratios}
    yield Words(f"{back_test_words(more).text} {_left_and_short(result)}")
    yield back_test_table(result, more, leftover_cost, short_cost, desk.firm.currency)


def _left_and_short(result: Backtest) -> str:
    """How many rolls lay over and how many were short, at the firm's own costs."""
    rules = ("airstats", "flat_learnt", "estimated")
    totals = {rule: measures(result.jobs, rule, "rolls").sum() for rule in rules}
    ours, flat, really = (
        f"{number(told['rolls_left_over'], 0)} and {number(told['rolls_short'], 0)}"
        for told in totals.values()
    )
    return (
        f"In rolls left over and short at your ratio: ours {ours}, the flat share that learns"
        f" {flat}, as really priced {really}."
    )


def back_test_words(more: dict[float, pd.DataFrame]) -> Words:
    """Say at which ratios of the costs ours is clearly cheaper or dearer than each rival."""
    rules = next(iter(more.values())).index
    verdicts = {
        "clearly cheaper than": {rule: _ratios(more, rule, 1) for rule in rules},
        "clearly dearer than": {rule: _ratios(more, rule, -1) for rule in rules},
    }
    parts = [
        f"{verdict} {listed([WORDS_OF_RULES[rule] for rule in rules if told[rule] == at])} {at}"
        for verdict, told in verdicts.items()
        for at in dict.fromkeys(filter(None, told.values()))
    ]
    first, *rest = parts or ["not told apart from any other way at any ratio of the costs"]
    then = f"; {'; '.join(rest)}" if rest else ""
    return Words(
        f"**Ours is {first}**{then}. Clearly: the 90 % interval leaves out nothing; of"
        f" {counted(len(more) * len(rules), 'interval')} chance alone makes"
        f" {number(0.1 * len(more) * len(rules), 1)} intervals clear. Where nothing is said,"
        " these jobs do not tell the two apart."
    )


def _ratios(more: dict[float, pd.DataFrame], rule: str, sign: int) -> str:
    """At which ratios a rule clearly costs more (1) or less (-1): "at every ratio", or ""."""
    near = "low" if sign > 0 else "high"
    ends = {ratio: sign * float(table[near].loc[rule]) for ratio, table in more.items()}
    sure = [f"{ratio:g} : 1" for ratio, end in ends.items() if end > 0]
    return f"at {'every ratio' if len(sure) == len(more) else listed(sure)}" if sure else ""


def back_test_table(
    result: Backtest,
    more: dict[float, pd.DataFrame],
    leftover_cost: float,
    short_cost: float,
    currency: str = "",
) -> Table | Words:
    """Return what ours costs a job, and what every other way costs more, by ratio of the costs.

    Parameters
    ----------
    result : Backtest
        With the ratios.
    more : dict
        `cost_differences` by ratio.
    leftover_cost, short_cost : float
        The firm's own.
    currency : str
        That of the costs, if it is known.
    """
    own = short_cost / leftover_cost
    rules = ["airstats", *next(iter(more.values())).index]
    columns = {"rule": [IN_SHORT.get(rule, WORDS_OF_RULES[rule]) for rule in rules]}
    for ratio, table in more.items():
        mean = own_cost(result, ratio)
        cells = [f"{number(mean['mean'])} ({between(mean['low'], mean['high'])})"]
        cells += [
            f"{signed(row['mean'])} ({between(row['low'], row['high'])})"
            for _, row in table.iterrows()
        ]
        columns[f"{ratio:g} : 1{' (yours)' if ratio == own else ''}"] = cells
    jobs = counted(len(result.jobs), "job")
    return show_table(
        pd.DataFrame(columns),
        f"Cost of {jobs}, {currency or 'money'} a job, by what a roll short costs to what one left"
        f" over costs (yours: {in_currency(f'{short_cost:g} to {leftover_cost:g}', currency)}):"
        " ours, and what others cost more; in brackets 90 %, jobs of a quarter counted as related."
        " Flat shares are on the surface, least squares on the middle of each count",
    )


HOLDS = "nothing"


def conclusion(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what would change the conclusion.

    Parameters
    ----------
    desk, leftover_cost, short_cost
        As for `back_tested`.
    """
    table = tried(desk, leftover_cost, short_cost)
    yield conclusion_words(table, len(desk.own))
    shown = table[~table["of_model"]]
    caption = "Leading cause, the rolls it takes, waste of laid sheet, and order; ± holds 90 %"
    yield conclusion_table(shown, caption)


def conclusion_table(table: pd.DataFrame, caption: str) -> Table | Words:
    """Return `try_conclusion` in words: assumption, leading cause, waste, order, what changes."""
    rows = [
        {
            "assumption": row.assumption,
            "cause": row.cause,
            "took": _give(row.cause_rolls, row.cause_half),
            "waste_percent": _give(row.waste * 100, row.waste_half * 100, 1),
            "order_rolls": row.order_rolls,
            "conclusion": _changes(row, table),
        }
        for row in each(table)
    ]
    return show_table(pd.DataFrame(rows), caption)


def _give(mean: float, half: float, digits: int | None = None) -> str:
    if not np.isfinite(mean):
        return ""
    return give_or_take(
        pd.Series({"mean": mean, "low": mean - half, "high": mean + half}), "", digits
    )


def _took(mean: float, half: float) -> str:
    took = _give(mean, half)
    return f" ({took} rolls)" if took else ""


def _would_lead(cause: str) -> str:
    return f"{cause} would lead"


def _other_cause(row: object, table: pd.DataFrame) -> bool:
    return bool(row.cause != table["cause"].iloc[0])  # type: ignore[attr-defined]


def _changes(row: object, table: pd.DataFrame) -> str:
    """What an assumption changes of the first row's leading cause, or of the orders."""
    changed = int(row.orders_changed)  # type: ignore[attr-defined]
    parts = ["the cause"] if _other_cause(row, table) else []
    parts += [counted(changed, "order")] if changed else []
    return listed(parts) or HOLDS


def conclusion_words(table: pd.DataFrame, jobs: int) -> Words:
    """Say what is concluded as documented, and which assumption would change it."""
    shown = table[~table["of_model"]]
    usual = shown.iloc[0]
    took = _took(usual["cause_rolls"], usual["cause_half"])
    cause = f"{_leads(usual['cause'])}{took}"
    take, rolls_said = "takes" if jobs == 1 else "take", counted(int(usual["order_rolls"]), "roll")
    order = f"the quarter's {counted(jobs, 'job')} {take} {rolls_said}"
    start = f"As things stand {cause}, and {order}."
    worst = [row for row in each(shown) if _other_cause(row, shown)]
    if worst:
        said = [
            f"with {row.assumption}, {_would_lead(row.cause)}"
            f"{_took(row.cause_rolls, row.cause_half)}, and waste would be"
            f" {_give(row.waste * 100, row.waste_half * 100, 1)} %, not"
            f" {_give(usual['waste'] * 100, usual['waste_half'] * 100, 1)} %"
            for row in worst
        ]
        return Words(f"**{start}** What would turn it: {'; '.join(said)}.")
    changed = shown["orders_changed"].gt(0).sum()
    rest = f"{changed} of {len(shown)} change an order" if changed else "none changes an order"
    return Words(f"**{start}** No assumption tried turns the cause; {rest}.")


def cannot_tell(desk: Desk) -> Section:
    """List what nobody can tell from these records, five lines at the most."""
    yield Words("\n".join(f"- {line}" for line in _cannot_tell(desk)))


def _cannot_tell(desk: Desk) -> list[str]:
    whole = int(desk.jobs.table["counted"].eq("opened").sum())
    lines = []
    if desk.jobs.by_cut("reveal").any():
        both = split_overrun(
            desk.jobs, desk.now, causes={"both": (*MAIN["reveals"], "waste")}
        ).set_index("cause")
        row = both.loc[["both"]].iloc[0]
        lines.append(
            f"How reveals and waste share the {give_or_take(row, 'rolls')} that they took together"
            " (90 %): more of one looks like less of the other."
        )
    if whole:
        asked = int(sensitivity.not_told(desk.jobs).sum())
        told = f"{asked} of them since the records do not say" if asked else "as the records say"
        lines.append(
            f"What was truly used within a roll: {whole} of {counted(len(desk.jobs), 'job')} count"
            f" opened rolls whole, {told}."
        )
    return [
        *lines,
        "How wide the laps were laid: more than noted shows as waste.",
        "What another cut or crew would have used: which job got which was not drawn by lot.",
        "Whether jobs that were left out, or never written down, were like the others.",
    ]
