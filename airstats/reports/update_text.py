"""A new quarter: what the estimator's notebook shows, section by section, with its sentences."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from airstats.analysis import case_deletion
from airstats.analysis.allowance_changes import NOT_ENOUGH, compare_allowances
from airstats.analysis.depth_error import ROUGH_MM, depth_reliability
from airstats.analysis.ewma_chart import (
    ALL_JOBS,
    CHANCE_EXACT,
    CHANCE_WHOLE,
    crossings,
    drift_watch,
)
from airstats.base.number_text import (
    by_chance,
    counted,
    each,
    give_or_take,
    in_percent,
    listed,
    number,
    percent,
    signed,
    small_chance,
)
from airstats.catalog.reader_names import reader_name
from airstats.model.allowances import REACH, Allowances, unchanged
from airstats.model.decisions import ACCEPT, KEEP, waiting_jobs
from airstats.reports import update_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Table, Words, show_table
from airstats.reports.shared_text import line_words

STRONG = 0.3
"""A job that moves an allowance by this share of its ± deserves a look."""
UNLEARNT = 0.1
"""Where the jobs took away less of the first variance, a value is common practice."""
RESTING = 0.51
"""Where they took away less than about half of it, a value rests on common practice more."""
ENTANGLED = 0.6
"""Allowances with a correlation beyond this are known better together than apart."""
HARMFUL = 0.1
"""Depths that pull a factor by this share or more towards nothing should be measured better."""
FEW = 5
NAMED = 8
"""More jobs than these are counted, not named."""
MOST_SAID = 3
"""So many lines say what the data cannot tell."""
POINTS = " points"
FOLLOWED = 8
"""With fewer jobs a line of departures shows nothing."""


@lru_cache(maxsize=1)
def _compared(desk: Desk) -> pd.DataFrame:
    return compare_allowances(desk.jobs, desk.before, desk.now)


@lru_cache(maxsize=1)
def watched(desk: Desk) -> pd.DataFrame:
    """Return the desk's `drift_watch`, worked out once."""
    if desk.watch is not None:
        return desk.watch
    return drift_watch(desk.jobs, desk.chain, desk.previous)


@lru_cache(maxsize=1)
def _pulls(desk: Desk) -> pd.DataFrame:
    return case_deletion.pulls(desk.jobs, desk.before, desk.now)


def headline(desk: Desk, decided: Allowances) -> Section:
    """Say whether to accept, what stands, and which crew differs."""
    yield verdict_words(desk, decided, _compared(desk), watched(desk), _pulls(desk))
    yield standing_words(decided, unlearnt(desk, _compared(desk)))


def verdict_words(
    desk: Desk,
    decided: Allowances,
    table: pd.DataFrame,
    watch: pd.DataFrame,
    pulled: pd.DataFrame,
) -> Words:
    """Say whether to accept the new values or what to look at first, or what was kept.

    Parameters
    ----------
    desk : Desk
        After the quarter's update.
    decided : Allowances
        What stands after the decision.
    table, watch, pulled : DataFrame
        From `compare_allowances`, `drift_watch` and `case_deletion.pulls`.
    """
    noted = decided.decision
    if noted.get("decision") == KEEP:
        return _kept(desk, decided)
    why = f" Reason: {noted['reason'].rstrip('.')}." if noted.get("reason") else ""
    told = f"{_advice(desk, table, watch, pulled)}{_little_told(table, desk)}"
    return Words(f"{told}{_accepted(desk, noted)}{why}")


def _little_told(table: pd.DataFrame, desk: Desk) -> str:
    """What accepting does to the values that the quarter tells little of."""
    names = list(map(reader_name, table.loc[table["verdict"].eq(NOT_ENOUGH), "allowance"]))
    if desk.before is None or not desk.now.new_jobs or not names:
        return ""
    they = "they stay" if len(names) > 1 else "it stays"
    return f" Of {listed(names)} the quarter tells too little: {they} nearly as before."


def _accepted(desk: Desk, noted: Mapping[str, Any]) -> str:
    """Say that the values are accepted, by whom, and that there is another way."""
    if noted.get("decision") != ACCEPT or not desk.now.new_jobs:
        return ""
    by = f"by {noted['by']}" if noted.get("by") else "in this run"
    other = "" if desk.before is None else "; how to keep the last ones is said at the end"
    return f" The new values are accepted {by}{other}."


def _advice(desk: Desk, table: pd.DataFrame, watch: pd.DataFrame, pulled: pd.DataFrame) -> str:
    jobs = _new_jobs(desk.now)
    if not desk.now.new_jobs:
        return (
            f"**{desk.quarter}: nothing to accept, for the quarter holds no new job.** The values"
            " before it stand, a little less certain than they were."
        )
    if look := [*_moves(table, desk), *_drifts(watch, desk.quarter), *_deciding(pulled)]:
        return (
            f"**{desk.quarter}: look before you accept: {listed(look)}.** If the records of the"
            f" {jobs} are right, accept; if one is wrong, correct it and run again"
            f"{', or keep the last values' if desk.before else ''}."
        )
    if desk.before is None:
        return (
            f"**{desk.quarter}: accept. The new values are common practice, moved as far as your"
            f" first {jobs.removeprefix('1 ')} can tell.**"
        )
    return (
        f"**{desk.quarter}: accept the new values. {jobs[:1].upper()}{jobs[1:]} moved no allowance"
        " further than chance would.**"
    )


def _new_jobs(now: Allowances) -> str:
    """Return "16 new jobs (H1 of earlier quarters, late)", in the first quarter "16 jobs"."""
    new = "" if now.quarter == now.first_quarter else "new "
    text = counted(len(now.new_jobs), f"{new}job")
    late = list(now.late_jobs)
    return f"{text} ({_jobs(late)} of earlier quarters, late)" if late else text


def _moves(table: pd.DataFrame, desk: Desk) -> list[str]:
    if desk.before is None:
        return []
    moved = each(table[table["verdict"].eq("moved")])
    return [
        f"{reader_name(row.allowance)} moved by {_move(row.allowance, row.move)}, where chance"
        f" moves it by up to {_move(row.allowance, row.by_chance).lstrip('+')}"
        for row in moved
    ]


def _drifts(watch: pd.DataFrame, quarter: str) -> list[str]:
    now = crossings(watch, quarter).query("now")
    return [
        f"{line_words(row.line)} took {_way(row)} sheet than foretold (from {row.job_id} on)"
        for row in each(now)
    ]


def _deciding(pulled: pd.DataFrame) -> list[str]:
    if pulled["job_id"].nunique() < FEW:
        return []
    strong = each(pulled[_share(pulled).abs() >= STRONG])
    return [
        f"{row.job_id} alone moves {reader_name(row.allowance)} by {_move(row.allowance, row.pull)}"
        for row in strong
    ]


def _move(name: str, value: float) -> str:
    """Return "+0.4 points" of waste, "−0.03" of a reveal factor."""
    return f"{signed(100 * value, 1)}{POINTS}" if _is_share(name) else signed(value, 2)


def _is_share(name: str) -> bool:
    """Say whether an allowance is told in per cent: waste, and those of other materials."""
    return not name.startswith("reveal.")


def _share(pulled: pd.DataFrame) -> pd.Series:
    """The pulls as shares of the allowances' ±."""
    return pulled["pull_sds"] / REACH


def _jobs(ids: list[str]) -> str:
    return counted(len(ids), "job") if len(ids) > NAMED or not ids else listed(ids)


def _kept(desk: Desk, decided: Allowances) -> Words:
    noted, waiting = decided.decision, waiting_jobs(decided)
    last = desk.before.quarter if desk.before else "the quarter before"
    others = "" if desk.records.materials.empty else ", for the sheet and the other materials alike"
    they = "they count as late jobs" if len(waiting) > 1 else "it counts as a late job"
    wait = (
        f" {_jobs(waiting)} {'wait' if len(waiting) > 1 else 'waits'}; at the next accept {they}."
        if waiting
        else ""
    )
    return Words(
        f"**{desk.quarter}: kept by {noted['by']}. The values of {last} stand{others}**, a little"
        " less certain than they were, for allowances drift. Reason:"
        f" {noted['reason'].rstrip('.')}.{wait}"
    )


def standing_words(decided: Allowances, untold: list[str]) -> Words:
    """Say what the standing values are, which are common practice, and which crew differs.

    `untold` are those, in words, that the firm's own jobs taught nothing about.
    """
    values = decided.table()
    waste, *reveals = [(str(name), row) for name, row in values.iterrows()]
    said = [f"{give_or_take(row, digits=2)} m² {reader_name(name)}" for name, row in reveals]
    practice = ""
    if len(untold) == len(values):
        practice = "; all of it is common practice still, for your jobs hardly tell of it"
    elif untold:
        are, it = ("is", "it") if len(untold) == 1 else ("are", "them")
        practice = f"; {listed(untold)} {are} common practice, for no job of yours tells of {it}"
    return Words(
        f"For waste add {in_percent(waste[1])} of the laid sheet, and for each m² of reveal"
        f" {listed(said)} (± holds 90 %){practice}. {_crews(decided)}".rstrip()
    )


def unlearnt(desk: Desk, table: pd.DataFrame) -> list[str]:
    """Return, in words, which allowances of a comparison no job of the firm taught anything of."""
    # A companion that loses weight narrows what no job tells of, and so seems to have taught it.
    return [
        reader_name(row.allowance)
        for row in each(table)
        if row.learnt < UNLEARNT or (desk.previous is None and not _holding(desk, row.allowance))
    ]


def _holding(desk: Desk, name: str) -> int:
    """How many finished jobs could tell of an allowance."""
    if name == "waste":
        return len(desk.jobs)
    return int((desk.jobs.known(f"{name.replace('.', '_')}_m2") > 0).sum())


def _crews(decided: Allowances) -> str:
    table = decided.crew_table()
    if len(table) < 2:
        return ""
    apart = table[[not by_chance(row) for _, row in table.iterrows()]]
    if apart.empty:
        return "No crew surely differs from the firm."
    order = (apart["mean"].abs() / apart["sd"]).sort_values(ascending=False, kind="stable").index
    first = apart.loc[order[0]]
    half = (first["high"] - first["low"]) / 2
    rest = [f"{name} ({signed(100 * apart.loc[name, 'mean'], 1)} %)" for name in order[1:NAMED]]
    return (
        f"Crew {order[0]} takes {number(100 * abs(first['mean']), 1)} ±"
        f" {number(100 * half, 1)} % of the laid sheet {'more' if first['mean'] > 0 else 'less'}"
        f" than the firm's waste{f'; apart from it too: {listed(rest)}' if rest else ''}."
    )


def side_by_side(desk: Desk, decided: Allowances) -> Section:
    """Set the last value, this quarter's and the new one side by side."""
    table = _compared(desk)
    yield update_charts.side_by_side(table, desk.before is None)
    stand = "last" if decided.decision.get("decision") == KEEP else "new"
    yield comparison(
        table,
        f"Waste in % of the laid sheet, reveals in m² of sheet a m² of reveal; ± holds 90 %; the"
        f" {stand} values stand in {desk.quarter}",
        desk.before is None,
    )


def comparison(table: pd.DataFrame, caption: str, first: bool) -> Table | Words:
    """Show a comparison of allowances as an estimator writes it.

    Parameters
    ----------
    table : DataFrame
        From `compare_allowances` or `material_comparison`.
    caption : str
        Its units, and what ± holds.
    first : bool
        Whether the quarter is the first: its last value is common practice.
    """
    told = worded(table)
    if first:
        told = told.rename(columns={"last_value": "common_practice"})
    return show_table(told, caption)


def worded(table: pd.DataFrame) -> pd.DataFrame:
    """Return the comparison in words and numbers: waste in %, reveals in m² a m²."""
    rows = [
        {
            "allowance": row.allowance,
            "last_value": _value(row, "old"),
            "this_quarter": _value(row, "alone"),
            "new_value": _value(row, "new"),
            "moved_by": _move(row.allowance, row.move).removesuffix(POINTS),
            "chance_moves": _move(row.allowance, row.by_chance)
            .removeprefix("+")
            .removesuffix(POINTS),
            "verdict": row.verdict,
        }
        for row in each(table)
    ]
    return pd.DataFrame(rows)


def _value(row: Any, which: str) -> str:
    value, half = getattr(row, which), getattr(row, f"{which}_half")
    if _is_share(row.allowance):
        return f"{number(100 * value, 1)} ± {number(100 * half, 1)}"
    return f"{number(value, 2)} ± {number(half, 2)}"


def paths(desk: Desk, decided: Allowances) -> Section:
    """Show how the allowances went, from common practice or the file before on."""
    start = desk.previous or unchanged(desk.chain[0].first_quarter, desk.now.belief.prior)
    first, last = (step.table().iloc[0] for step in (start, desk.chain[-1]))
    refused = ", not accepted" if decided.decision.get("decision") == KEEP else ""
    since = start.quarter if start.job_ids else "common practice"
    bands = "; the grey bands hold 90 %" if len(desk.chain) > 1 else ", the one step so far"
    yield Words(
        f"**Waste went from {in_percent(first)} of the laid sheet ({since}) to {in_percent(last)}"
        f" ({desk.chain[-1].quarter}{refused})**{bands}."
    )
    if len(desk.chain) > 1:
        yield update_charts.allowance_paths(desk.chain, start)


def pulls(desk: Desk) -> Section:
    """Show which of the new jobs move the new values most."""
    found = _pulls(desk)
    yield pull_words(found)
    if found["job_id"].nunique() < 2:
        return
    yield update_charts.pulls(found) if _deciding(found) else None
    table = by_job(found)
    reveals = [str(name) for name in table if str(name).startswith("pull.")]
    crew = ["crew"] if table["crew"].any() else []
    columns = " ".join(["job_id", *crew, "waste_points", *reveals, "most_share"])
    caption = (
        "How far each job moves the new values (with it, less without it), the strongest first;"
        " reveals in m² a m²"
    )
    yield show_table(table, caption, columns, name="pulls")


def by_job(pulled: pd.DataFrame) -> pd.DataFrame:
    """Return the pulls one row a job, the strongest first: waste in points, `most_share` of a ±."""
    table = pulled.assign(share=_share(pulled).abs())
    wide = table.pivot_table("pull", "job_id", "allowance", sort=False)
    wide.columns = pd.Index([str(name).replace("reveal.", "pull.") for name in wide])
    wide["waste_points"] = 100 * wide.pop("waste")
    wide["most_share"] = table.groupby("job_id")["share"].max()
    wide["crew"] = table.groupby("job_id")["crew"].first()
    return wide.sort_values("most_share", ascending=False, kind="stable").reset_index()


def pull_words(pulled: pd.DataFrame) -> Words:
    """Say whether a single job decides the new values, and what the strongest does."""
    if pulled.empty:
        return Words("No new job, so nothing pulls.")
    strength, jobs = _share(pulled).abs(), pulled["job_id"].nunique()
    top = pulled.iloc[int(strength.to_numpy().argmax())]
    name, crew = top["job_id"], f" (crew {top['crew']})" if top["crew"] else ""
    does = (
        f"moves {reader_name(top['allowance'])} by {_move(top['allowance'], top['pull'])},"
        f" {percent(strength.max())} of its ±"
    )
    if jobs == 1:
        most = does if strength.max() >= 0.005 else "hardly moves any value"
        return Words(f"**{name}{crew} is the only new job**: it {most}.")
    if jobs < FEW:
        return Words(f"**Of so few jobs each moves much**: the strongest, {name}{crew}, {does}.")
    if strength.max() >= STRONG:
        return Words(f"**Look at the record of {name}{crew} before you accept**: it alone {does}.")
    return Words(f"**None of the {jobs} new jobs decides**: the strongest, {name}{crew}, {does}.")


def drift(desk: Desk) -> Section:
    """Show whether jobs depart from what was foretold: the lines that left their limits, if any."""
    watch = watched(desk)
    yield watch_words(desk, watch)
    out = crossings(watch, desk.quarter)["line"].tolist() or [ALL_JOBS]
    shown = watch[watch["line"].isin(out)]
    if watch["line"].eq(ALL_JOBS).sum() >= FOLLOWED:
        yield update_charts.drift(shown)


def watch_words(desk: Desk, watch: pd.DataFrame) -> Words:
    """Say that nothing has drifted, or which line left its limits, where and which way."""
    whole = desk.jobs.table["counted"].eq("opened").mean() > 0.5
    rarely = CHANCE_WHOLE if whole else CHANCE_EXACT
    chance = f" By chance alone a line is crossed about once in {rarely} jobs."
    lines = watch["line"].nunique()
    found = crossings(watch, desk.quarter)
    now = [_crossed(row) for row in each(found) if row.now]
    past = [_crossed(row) for row in each(found) if not row.now]
    jobs = int(watch["line"].eq(ALL_JOBS).sum())
    followed = counted(jobs, "job") + (f", {counted(lines - 1, 'crew')}" if lines > 1 else "")
    followed += _left_out(desk)
    if now:
        start = f"**Drift in {desk.quarter}: {listed(now)}.** Look at these jobs before you accept."
    elif past:
        start = f"**Nothing has drifted in {desk.quarter}** ({followed})."
    elif not jobs:
        return Words("No new job, so no drift can show.")
    elif jobs < FOLLOWED:
        return Words(
            f"**{counted(jobs, 'job')} cannot show a drift**: from {FOLLOWED} jobs on one may."
        )
    else:
        return Words(f"**Nothing has drifted**: no line was crossed ({followed}).{chance}")
    earlier = f" Earlier: {listed(past)}." if past else ""
    return Words(f"{start}{earlier}{chance}")


def _left_out(desk: Desk) -> str:
    """The records that no line follows, for they are likely wrong."""
    wrong = [job for step in desk.chain for job in step.new_jobs if job in step.suspects]
    return f"; without {_jobs(wrong)}, likely recorded wrong" if wrong else ""


def _way(row: Any) -> str:
    return "more" if row.direction > 0 else "less"


def _crossed(row: Any) -> str:
    return (
        f"{line_words(row.line)} took {_way(row)} sheet than foretold (line crossed at"
        f" {row.job_id}, {row.quarter}; mean of that quarter {signed(row.beyond_m2, 0)} m² a job)"
    )


def suspects(desk: Desk) -> Section:
    """List the records that are probably wrong, where they are too many to be named."""
    found = desk.suspects()
    if len(found) > NAMED:
        yield show_table(found, "Records that are probably wrong")


def cannot_tell_words(desk: Desk) -> Words:
    """Say in three lines at most what the data leave open, and what would tell."""
    said = [
        *([_rough_words(desk.now)] if desk.depth_error_mm else []),
        *_resting(desk, _compared(desk)),
        *_entangled(desk.now),
        *_few(desk.now),
        *_rough(desk),
        *_whole(desk),
        *_both_forms(desk.now),
    ]
    if not said:
        return Words(
            "All that your jobs can tell of is now known better from them than from common"
            " practice, and each allowance by itself."
        )
    return Words("\n".join(f"- {part[:1].upper()}{part[1:]}." for part in said[:MOST_SAID]))


def _resting(desk: Desk, table: pd.DataFrame) -> list[str]:
    found = [
        f"{reader_name(name)} ({counted(_holding(desk, name), 'job')})"
        for name in table.loc[table["learnt"] < RESTING, "allowance"]
        if _holding(desk, name)
    ]
    rest = "rest" if len(found) > 1 else "rests"
    said = f"{listed(found)} {rest} more on common practice than on the jobs that can tell of"
    return [f"{said} {'them' if len(found) > 1 else 'it'}"] if found else []


def _entangled(now: Allowances) -> list[str]:
    names, covariance = list(map(reader_name, now.table().index)), now.covariance()
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    pairs = [
        f"{names[i]} with {names[j]}"
        for i in range(len(names))
        for j in range(i + 1, len(names))
        if abs(correlation[i, j]) > ENTANGLED
    ]
    said = (
        f"better known together than apart: {listed(pairs)}; jobs of like size with deeper or fewer"
        " reveals would part them"
    )
    return [said] if pairs else []


def _both_forms(now: Allowances) -> list[str]:
    forms = now.form_weights()
    if not 0.1 < forms["factor"] < 0.9:
        return []
    return [
        f"whether sheet at the reveals follows their area (chance {percent(forms['factor'])}) or"
        f" what the off-cuts leave bare ({percent(forms['reuse'])}) is open; every ± holds both"
    ]


def _few(now: Allowances) -> list[str]:
    few = [crew for crew, jobs in now.crew_jobs.items() if jobs < FEW]
    if 1 < len(few) == len(now.crew_jobs):
        return ["no crew has five jobs yet, so none can be told from the firm by its own jobs"]
    who = f"crew {few[0]} has" if len(few) == 1 else f"crews {listed(few)} have"
    return [f"{who} fewer than five jobs"] if few else []


def _whole(desk: Desk) -> list[str]:
    if not desk.jobs.table["counted"].eq("opened").all():
        return []
    return ["every job counts whole rolls, which leaves each use open by a roll"]


def _rough(desk: Desk) -> list[str]:
    """What depths would do that are measured roughly and not told so, if more than a little."""
    if desk.depth_error_mm:
        return []
    table = depth_reliability(desk.jobs, ROUGH_MM)
    pulled = table[1 - table["kept"] >= HARMFUL] if len(table) else table
    names = [f"{small_chance(1 - row.kept)} {reader_name(row.cut)}" for row in each(pulled)]
    said = (
        f"depths are taken as exact; if they are measured to ± {REACH * ROUGH_MM:.0f} mm, the"
        f" factors come out too small, by about {listed(names)}: measure them better, or tell how"
        " rough they are with --depth-error-mm"
    )
    return [said] if names else []


def _rough_words(now: Allowances) -> str:
    """How the update and the prices reckon with depths that are measured roughly."""
    habits = now.belief.habits
    return (
        f"depths are measured to ± {REACH * habits.depth_error_mm:.0f} mm, so each is drawn by"
        f" {percent(1 - habits.reliability)} to the usual {habits.usual_depth_mm:.0f} mm, and what"
        " stays open widens the allowances and the prices"
    )
