"""A new quarter: what the estimator's notebook shows, section by section, with its sentences."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd

from airstats.analysis import case_deletion
from airstats.analysis.allowance_changes import compare_allowances
from airstats.analysis.case_deletion import strongest
from airstats.analysis.depth_error import ROUGH_MM, depth_reliability
from airstats.analysis.ewma_chart import (
    ALL_JOBS,
    CHANCE_EXACT,
    CHANCE_WHOLE,
    crossings,
    drift_watch,
)
from airstats.analysis.prior_predictive import (
    FLAT_RATE,
    OPENINGS,
    ORDINARY_OPENING,
    SURFACE_M2,
    PriorCheck,
    prior_check,
)
from airstats.base.number_text import counted, each, listed, number, percent, small_chance
from airstats.model.allowances import Allowances, unchanged
from airstats.model.decisions import ACCEPT, KEEP, waiting_jobs
from airstats.reports import update_charts
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.shared_text import line_words

VERDICTS = ("moved", "held", "not enough to tell")
STRONG = 0.5
"""A pull of this share of an allowance's sd deserves a look at the job."""
LEFT = 0.7
"""An allowance with more than this share of its first uncertainty rests on the starting belief."""
ENTANGLED = 0.6
"""Allowances with a correlation beyond this are known better together than apart."""
HARMFUL = 0.1
"""Depths that pull a factor by this share or more towards nothing should be measured better."""
FEW = 5
NAMED = 8
"""More jobs than these are counted, not named."""


@lru_cache(maxsize=1)
def _compared(desk: Desk) -> pd.DataFrame:
    return compare_allowances(desk.jobs, desk.before, desk.now)


@lru_cache(maxsize=1)
def watched(desk: Desk) -> pd.DataFrame:
    """Return the desk's `drift_watch`, worked out once."""
    return drift_watch(desk.jobs, desk.chain, desk.previous)


def headline(desk: Desk) -> Section:
    """Say what moved, and whether to accept."""
    yield allowance_headline(desk, _compared(desk), watched(desk))


def allowance_headline(desk: Desk, table: pd.DataFrame, watch: pd.DataFrame | None = None) -> Words:
    """Say what moved this quarter, and whether to accept, from the comparison and the watch.

    Parameters
    ----------
    desk : Desk
        After the quarter's update.
    table : DataFrame
        From `compare_allowances`.
    watch : DataFrame, optional
        From `drift_watch`; without it nothing is said of drift.
    """
    groups = {word: table.loc[table["verdict"].eq(word), "allowance"].tolist() for word in VERDICTS}
    colons = {VERDICTS[2]: ":"}
    said = [f"{listed(n)}{colons.get(word, '')} {word}" for word, n in groups.items() if n]
    start = f"**{desk.quarter}, {_new_jobs(desk.now)}: {'; '.join(said)}.**"
    if not desk.now.new_jobs:
        return Words(f"{start} Nothing to accept: the quarter holds no new job.")
    if desk.before is None:
        return Words(f"{start} First quarter: the last values are the starting belief.")
    found = crossings(watch, desk.quarter) if watch is not None else pd.DataFrame({"now": []})
    now = each(found[found["now"].eq(True)])
    drifting = [f"the drift of {line_words(row.line)}" for row in now]
    look = [*groups["moved"], *drifting]
    advice = f"look at {listed(look)} before you accept" if look else "accept the new values"
    return Words(f"{start} Advice: {advice}; they carry what all jobs so far tell.")


def _new_jobs(now: Allowances) -> str:
    text = counted(len(now.new_jobs), "new job")
    late = list(now.late_jobs)
    return f"{text} ({_jobs(late)} of earlier quarters, late)" if late else text


def _jobs(ids: list[str]) -> str:
    return counted(len(ids), "job") if len(ids) > NAMED or not ids else listed(ids)


def decision_words(desk: Desk, decided: Allowances) -> Words:
    """Say what was decided, what stands now, and which jobs wait."""
    noted = decided.decision
    by = f" by {noted['by']}" if noted.get("by") else ""
    why = f" Reason: {noted['reason'].rstrip('.')}." if noted.get("reason") else ""
    if noted.get("decision", ACCEPT) != KEEP:
        return Words(f"**Accepted{by}**: the new values of {decided.quarter} stand.{why}")
    waiting = waiting_jobs(decided)
    last = desk.before.quarter if desk.before else "the quarter before"
    alike = ", for the sheet and the other materials alike"
    others = "" if desk.records.materials.empty else alike
    are, they_count = "are", "they count as late jobs"
    if len(waiting) == 1:
        are, they_count = "is", "it counts as a late job"
    return Words(
        f"**Kept{by}**: the values of {last} stand in {decided.quarter}{others}, a little less"
        f" certain than they were, for allowances drift.{why} {_jobs(waiting)} {are} not counted"
        f" now; at the next accept {they_count}."
    )


def side_by_side(desk: Desk) -> Section:
    """Set the last value, this quarter's and the new one side by side."""
    yield update_charts.side_by_side(_compared(desk))
    yield show_table(
        _compared(desk),
        f"Allowances of {desk.quarter}; within ± one standard deviation (sd) lies the truth in"
        " about two cases of three",
        "allowance old old_sd alone alone_sd new new_sd unit verdict reason",
    )


def standing(decided: Allowances) -> Section:
    """Show the values that stand after the decision."""
    table = decided.table().rename_axis("allowance").reset_index()
    caption = f"What stands now in {decided.quarter}, with its 90 % interval"
    yield show_table(table, caption, "allowance mean sd low high unit")


def pulls(desk: Desk) -> Section:
    """Show which of the new jobs move the new values most."""
    found = case_deletion.pulls(desk.jobs, desk.before, desk.now)
    yield pull_words(found)
    yield update_charts.pulls(found) if len(found) else None
    columns = "job_id crew quarter allowance pull unit pull_sds"
    yield show_table(strongest(found), "The ten strongest pulls", columns)


def pull_words(table: pd.DataFrame) -> Words:
    """Name the jobs that pull hardest, with what they do to which allowance."""
    if table.empty:
        return Words("No new job, so nothing pulls.")
    top = strongest(table, 3)
    said = [
        f"{row.job_id}{f' (crew {row.crew})' if row.crew else ''} pulls {row.allowance} by"
        f" {_signed(row.pull, 3)} ({percent(abs(row.pull_sds))} of its sd)"
        for row in each(top)
    ]
    first, jobs = top.iloc[0], counted(table["job_id"].nunique(), "new job")
    start = f"**Check the record of {first['job_id']} before you accept**"
    if abs(first["pull_sds"]) < STRONG:
        start = (
            f"**No single record among the {jobs} decides the new values**: none pulls by half an"
            " sd or more"
        )
    return Words(f"{start}. The strongest pulls: {listed(said)}.")


def _signed(value: float, digits: int = 1) -> str:
    text = number(value, digits)
    return text if text[0] == "−" or float(text.replace(",", "")) == 0 else f"+{text}"


def drift(desk: Desk) -> Section:
    """Show whether jobs depart from what was foretold."""
    yield watch_words(desk, watched(desk))
    yield update_charts.drift(watched(desk)) if len(watched(desk)) else None
    crossed = crossings(watched(desk), desk.quarter)
    caption = "Lines that left their limits, where they last did"
    yield show_table(crossed, caption, "line quarter job_id beyond_m2")


def watch_words(desk: Desk, watch: pd.DataFrame) -> Words:
    """Say that nothing has drifted, or which line left its limits, where and which way."""
    whole = desk.jobs.table["counted"].eq("opened").mean() > 0.5
    rarely = CHANCE_WHOLE if whole else CHANCE_EXACT
    chance = f" By chance alone a line is crossed about once in {rarely} jobs."
    lines = watch["line"].nunique()
    found = crossings(watch, desk.quarter)
    now = [_crossed(row) for row in each(found) if row.now]
    past = [_crossed(row) for row in each(found) if not row.now]
    followed = counted(int(watch["line"].eq(ALL_JOBS).sum()), "job")
    followed += f", {counted(lines - 1, 'crew')}" if lines > 1 else ""
    if now:
        start = f"**Drift in {desk.quarter}: {listed(now)}.** Look at these jobs before you accept."
    elif past:
        start = f"**Nothing has drifted in {desk.quarter}** ({followed})."
    else:
        return Words(f"**Nothing has drifted**: no line was crossed ({followed}).{chance}")
    earlier = f" Earlier: {listed(past)}." if past else ""
    return Words(f"{start}{earlier}{chance}")


def _crossed(row: pd.Series) -> str:
    way = "more" if row.direction > 0 else "less"
    return (
        f"{line_words(row.line)} took {way} sheet than foretold (line crossed at {row.job_id},"
        f" {row.quarter}; mean of that quarter {_signed(row.beyond_m2, 0)} m² a job)"
    )


def suspects(desk: Desk) -> Section:
    """List the records that are probably wrong."""
    yield show_table(desk.suspects(), "Records that are probably wrong")


def cannot_tell_words(desk: Desk) -> Words:
    """Say what the data leave open, and what would tell."""
    said = [*_resting(desk), *_entangled(desk.now), *_both_forms(desk.now), *_few(desk.now)]
    if not said:
        return Words(
            "Every allowance is now known better than the starting belief by a third, and each by"
            " itself."
        )
    if desk.jobs.table["counted"].eq("opened").all():
        said.append(
            "every job counts whole rolls, which leaves each use open by a roll: counting the last"
            " roll by halves or quarters would tell more"
        )
    return Words("The data cannot tell everything:\n\n" + "\n".join(f"- {part}" for part in said))


def _resting(desk: Desk) -> list[str]:
    start = unchanged(desk.quarter, desk.now.belief.prior)
    left = desk.now.table()["sd"] / start.table()["sd"]
    said = []
    for name, share in left[left > LEFT].items():
        column = "laid_m2" if name == "waste" else f"{str(name).replace('.', '_')}_m2"
        holding = int(desk.jobs.table[column].gt(0).sum())
        said.append(
            f"{name} rests on the starting belief ({percent(min(share, 1))} of its uncertainty is"
            f" left; {counted(holding, 'job')} could tell of it)"
        )
    return said


def _entangled(now: Allowances) -> list[str]:
    names, covariance = list(now.table().index), now.covariance()
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    pairs = [
        f"{names[i]} and {names[j]} (correlation {number(correlation[i, j], 2)})"
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
        f"a flat factor ({percent(forms['factor'])}) and re-use of off-cuts"
        f" ({percent(forms['reuse'])}) are both possible for the reveals"
    ]


def _few(now: Allowances) -> list[str]:
    few = [f"crew {crew}" for crew, jobs in now.crew_jobs.items() if jobs < FEW]
    has = "has" if len(few) == 1 else "have"
    return [f"{listed(few)} {has} fewer than five jobs"] if few else []


def depth_words(desk: Desk) -> Words:
    """Say what roughly measured depths do to the reveal factors, in the firm's own figures."""
    if desk.depth_error_mm:
        return _rough_words(desk.now)
    table = depth_reliability(desk.jobs, ROUGH_MM)
    if table.empty:
        return Words(
            "No job holds reveals of known depth, so how they were measured does not matter."
        )
    said = [
        f"{small_chance(1 - row.kept)} for reveal.{row.cut}"
        f" (depths of {row.depth_mm:.0f} ± {row.depth_sd_mm:.0f} mm from job to job)"
        for row in each(table)
    ]
    advice = "That is little beside what is not known anyway."
    if 1 - table["kept"].min() >= HARMFUL:
        advice = "Measure the depths better, or tell how rough they are with --depth-error-mm."
    return Words(
        f"Reveal depths are taken as exact. If they were measured to ± {ROUGH_MM:.0f} mm, the"
        " update would take what the jobs say of the reveals for too small, by about"
        f" {listed(said)}. {advice}"
    )


def _rough_words(now: Allowances) -> Words:
    """Say how the update and the prices reckon with depths that are measured roughly."""
    habits = now.belief.habits
    return Words(
        f"Depths are measured to ± {habits.depth_error_mm:.0f} mm, and differ by ±"
        f" {habits.depth_sd_mm:.0f} mm from job to job: each is drawn by"
        f" {percent(1 - habits.reliability)} to the usual {habits.usual_depth_mm:.0f} mm, and what"
        " stays open widens the allowances and the prices. Depths measured better tell more."
    )


def starting_belief(desk: Desk) -> Section:
    """Set the starting belief against the firm's jobs."""
    check = prior_check(desk.jobs, desk.now.belief.prior)
    yield prior_words(check)
    yield update_charts.prior_prediction(check)


def prior_words(check: PriorCheck) -> Words:
    """Say what the starting belief alone expects of a job, and whether the firm is like that."""
    expected = (
        f"{_signed(check.expected)} rolls a job on average"
        f" (90 %: {_signed(check.low)} to {_signed(check.high)})"
    )
    if check.shown is None:
        opening = ORDINARY_OPENING
        return Words(
            f"No job has been seen. Of an ordinary job ({SURFACE_M2:.0f} m², {OPENINGS} openings of"
            f" {opening['width_mm'] / 1000:.2f} × {opening['height_mm'] / 1000:.2f} m with reveals"
            f" of {opening['reveal_mm']:.0f} mm, priced with {percent(FLAT_RATE)} on laid sheet)"
            f" the starting belief expects an overrun of {expected}."
        )
    verdict = "the firm differs from the starting belief, and its own jobs must correct it"
    if check.low <= check.shown <= check.high:
        verdict = "the firm is much as the starting belief took it to be"
    return Words(
        f"Before any job was seen, these {check.jobs:,} jobs, as they were priced, were expected to"
        f" run over by {expected}; they ran over by {_signed(check.shown)} as counted:"
        f" {verdict}."
    )
