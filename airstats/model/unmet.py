"""What records and allowances do not have in common, one plain line each."""

from __future__ import annotations

from airstats.base.name_matching import name_key, places_of
from airstats.base.number_text import counted, listing
from airstats.base.quarters import quarters_between
from airstats.model.allowances import Allowances
from airstats.records.reading import Records


def unmet(takeoff: Records, known: Allowances) -> tuple[str, ...]:
    """Name crews that no counted job had, and jobs to price that were counted already."""
    jobs, lines = takeoff.jobs, []
    crews = jobs["crew"][jobs["crew"].ne("")]
    new = jobs.loc[crews.index[places_of(crews, known.belief.crews) < 0]]
    if len(new):
        each = new.groupby("crew", sort=False)["job_id"]
        named = listing((f"{crew} ({listing(ids)})" for crew, ids in each), 200)
        lines.append(f"crews that the allowances never met, priced as a middling crew: {named}.")
    counted_ids = set(map(name_key, known.job_ids))
    again = [job for job in jobs["job_id"].tolist() if name_key(job) in counted_ids]
    if again:
        lines.append(
            f"jobs that the allowances counted as finished, priced once more: {listing(again)}."
        )
    return tuple(f"{takeoff.source}: {line}" for line in lines)


def not_counted(records: Records, now: Allowances) -> tuple[str, ...]:
    """Count the finished jobs that lie before or after the quarters of the allowances."""
    quarters = records.jobs["quarter"][records.jobs["finished"].astype(bool)].value_counts()
    jobs = list(quarters.items())
    early = sum(n for quarter, n in jobs if quarters_between(now.first_quarter, str(quarter)) < 0)
    late = sum(n for quarter, n in jobs if quarters_between(now.quarter, str(quarter)) > 0)
    told = (
        (early, f"before {now.first_quarter}, where the allowances begin"),
        (late, f"after {now.quarter}"),
    )
    return tuple(
        f"{records.source}: {counted(n, 'job')} finished {when}: not used." for n, when in told if n
    )
