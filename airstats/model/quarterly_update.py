"""The quarterly update: which jobs count in a quarter, and the chain from quarter to quarter."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from airstats.base.errors import AllowancesError, RecordsError
from airstats.base.name_matching import name_key, places_of
from airstats.base.quarters import quarter_number, quarters_between
from airstats.catalog.materials import MATERIALS
from airstats.model.allowances import Allowances, Pack, load_allowances, unchanged, usual_pack
from airstats.model.posterior import (
    Belief,
    branch_over_drift,
    update_and_judge,
    widen,
    with_depth_error,
)
from airstats.model.prior import Prior
from airstats.records.reading import Records
from airstats.takeoff.per_material import material_quantities, material_takeoff
from airstats.takeoff.sheet_quantities import Takeoff, take_off

NO_NAMES = (
    "the previous allowances were written with codes, so nobody can tell which jobs they hold:"
    " give the file of the same quarter that was written without codes."
)
SUSPECT_FROM = 0.5
MOST_DRIFT = 1.0
"""m² a m² laid in a quarter; more than the whole sheet is no drift."""
MOST_DEPTH_ERROR_MM = 1000.0
NOTHING: Mapping[str, Takeoff] = {}


class Product(NamedTuple):
    """The sheet or another material: jobs, and what is believed of it."""

    jobs: Takeoff
    known: Allowances

    @property
    def name(self) -> str:
        """What it is called."""
        return self.jobs.product


def calibrate(
    records: Records,
    previous: Allowances | str | Path | None = None,
    quarter: str | None = None,
    *,
    prior: Prior | None = None,
    drift: float | None = None,
    depth_error_mm: float = 0.0,
) -> Allowances:
    """Update the allowances of the sheet, and of every material on record, with finished jobs.

    Parameters
    ----------
    records : Records
        Checked records.
    previous : Allowances or path, optional
        The allowances of an earlier quarter; without them the documented prior.
    quarter : str, optional
        The quarter to go up to, like "2026Q3": every quarter that is not counted yet, in turn.
        Without it the last one with jobs.
    prior : Prior, optional
        Another starting belief, for sensitivity; only without `previous`.
    drift : float, optional
        How far waste wanders in a quarter (sd, m² a m² laid); without it, it is learnt.
    depth_error_mm : float
        Standard deviation of the measuring error of a job's reveal depths, mm; 0: as in the
        previous allowances. It stays with the allowances, and pricing reckons with it.

    Returns
    -------
    Allowances
        The new allowances. Jobs counted earlier in the chain are not counted again; a job may
        count for a material though it counted for the sheet before.

    Raises
    ------
    RecordsError
        If the records hold no finished job, or none of `quarter`.
    AllowancesError
        If `quarter` lies before the previous allowances' quarter, or a number is out of its range.
    """
    if isinstance(previous, (str, Path)):
        previous = load_allowances(previous)
    steps = calibrate_through(records, quarter, previous, depth_error_mm, drift=drift, prior=prior)
    return of_the_run(list(steps))


def _check_numbers(drift: float, depth_error_mm: float) -> None:
    """Refuse numbers with which there is nothing to learn from a job."""
    for name, number, most in (
        ("drift", drift, MOST_DRIFT),
        ("depth_error_mm", depth_error_mm, MOST_DEPTH_ERROR_MM),
    ):
        if not 0 <= number <= most:
            raise AllowancesError(f"{name} is {number:g}: give a number from 0 to {most:g}.")


def of_the_run(steps: list[Allowances]) -> Allowances:
    """Return the last allowances, with the new jobs, late jobs and suspects of every step."""
    suspects = {job: chance for step in steps for job, chance in step.suspects.items()}
    of_each = {
        name: [s.materials[name] for s in steps if name in s.materials]
        for name in steps[-1].materials
    }
    return replace(
        steps[-1],
        new_jobs=tuple(job for step in steps for job in step.new_jobs),
        late_jobs=tuple(job for step in steps for job in step.late_jobs),
        suspects=suspects,
        materials={name: of_the_run(own) for name, own in of_each.items()},
    )


def run_through(jobs: Takeoff, steps: list[str], before: Allowances) -> Allowances:
    """Return `before` carried through the quarters of `steps`, with jobs or without.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs.
    steps : list of str
        Quarters in their order, like "2026Q3".
    before : Allowances
        Of a quarter that is not after the first of `steps`.
    """
    return of_the_run(list(_walk(jobs, steps, before)))


def calibrate_through(
    records: Records,
    quarter: str | None = None,
    previous: Allowances | None = None,
    depth_error_mm: float = 0.0,
    *,
    drift: float | None = None,
    prior: Prior | None = None,
) -> Iterator[Allowances]:
    """Yield the allowances after every quarter up to `quarter`.

    Parameters
    ----------
    records, quarter, previous, depth_error_mm, drift, prior
        As for `calibrate`; `previous` read already.
    """
    _check_numbers(drift or 0.0, depth_error_mm)
    jobs = finished_jobs(records)
    if quarter is not None:
        _refuse_without_jobs(jobs, quarter)
    steps = _quarters_to_do(jobs, previous, quarter)
    start = previous or unchanged(steps[0], prior)
    others = _counted_materials(records, jobs, start.materials)
    if previous is not None and previous.coded and not records.coded:
        raise AllowancesError(NO_NAMES)
    made_of = previous.digest() if previous else ""
    for now in _walk(jobs, steps, start, drift, depth_error_mm, others):
        yield replace(now, records=records.digest, previous=made_of)


def finished_jobs(records: Records) -> Takeoff:
    """Return the quantities of the finished jobs that may be fitted, in the order of finishing.

    Those not excluded; jobs of one day by their names, so that the order of rows plays no part,
    and last in a quarter those of which no day is told.
    """
    finished = records.jobs["finished"].to_numpy(dtype=bool)
    if not finished.any():
        raise RecordsError(
            f"{records.source}: there is no finished job; fill in finished_on, estimated_rolls"
            " and used_rolls for the jobs that are done."
        )
    jobs = take_off(records)
    kept = finished & jobs.table["exclude"].eq("").to_numpy()
    if not kept.any():
        raise RecordsError(
            f"{records.source}: every finished job is excluded; clear `exclude` for the jobs that"
            " may be learnt from."
        )
    in_order = jobs.table[kept].sort_values(["quarter", "finished_on", "job_id"])
    return jobs.where(in_order.index.to_numpy())


def _counted_materials(
    records: Records, jobs: Takeoff, names: Iterable[str] = ()
) -> dict[str, Takeoff]:
    """Return the jobs with a count of each material on record, and of those named, if any."""
    names = {*names, *records.materials["material"]}
    if not names:
        return {}
    quantities = material_quantities(jobs, records.openings)
    counted = {
        name: material_takeoff(jobs, quantities, records.materials, name)
        for name in sorted(names, key=[*MATERIALS, *sorted(names)].index)
    }
    return {name: own.where(~np.isnan(own.told("used"))) for name, own in counted.items()}


def learnt_materials(records: Records, allowances: Allowances) -> list[Product]:
    """Return the counted jobs of each material that the allowances hold, and what they taught.

    Parameters
    ----------
    records : Records
        The finished jobs up to the quarter of the allowances.
    allowances : Allowances
        With their materials, of which those that `MATERIALS` no longer knows are left out.
    """
    known = {name: allowances.materials[name] for name in MATERIALS if name in allowances.materials}
    counted = _counted_materials(records, finished_jobs(records), known) if known else {}
    return [Product(counted[name], own) for name, own in known.items()]


def _quarters_to_do(
    jobs: Takeoff, previous: Allowances | None, quarter: str | None = None
) -> list[str]:
    """Return the quarters with jobs after the previous allowances' up to `quarter`, in order.

    Where none is left, the quarter asked for or that of `previous`: jobs may have come in late.
    """
    steps = _quarters(jobs)
    if quarter is not None:
        steps = [q for q in steps if quarters_between(q, quarter) >= 0]
    if previous is not None:
        steps = [q for q in steps if quarters_between(previous.quarter, q) > 0]
    return steps or [quarter or previous.quarter]  # type: ignore[union-attr]


def _quarters(jobs: Takeoff) -> list[str]:
    return sorted(jobs.table["quarter"].unique(), key=quarter_number)


def _refuse_without_jobs(jobs: Takeoff, quarter: str) -> None:
    quarter_number(quarter)
    found = _quarters(jobs)
    if quarter not in found:
        raise RecordsError(
            f"{quarter}: the records hold no finished job of this quarter to learn from; they hold"
            f" jobs of {', '.join(found)}. Ask for one of these, or add the quarter's jobs."
        )


def _walk(
    jobs: Takeoff,
    steps: list[str],
    now: Allowances,
    drift: float | None = None,
    depth_error_mm: float = 0.0,
    others: Mapping[str, Takeoff] = NOTHING,
) -> Iterator[Allowances]:
    """Yield the allowances after each quarter of `steps`, each from the one before."""
    for step in steps:
        now = _one_quarter(jobs, now, step, drift, depth_error_mm, others)
        yield now


def _one_quarter(
    jobs: Takeoff,
    before: Allowances,
    quarter: str,
    drift: float | None = None,
    depth_error_mm: float = 0.0,
    others: Mapping[str, Takeoff] = NOTHING,
) -> Allowances:
    if quarters_between(before.quarter, quarter) < 0:
        raise AllowancesError(
            f"the previous allowances are of {before.quarter}, after {quarter}: give the"
            " allowances of an earlier quarter."
        )
    new = _new_jobs(jobs, before, quarter)
    waited = carried_forward(before, quarter, drift)
    start = waited.belief
    if depth_error_mm:
        start = with_depth_error(start, depth_error_mm)
    belief, wrong = update_and_judge(start, new)
    if drift is None and len(new) and not before.job_ids:
        belief = branch_over_drift(belief)
    ids = tuple(new.table["job_id"].tolist())
    late = new.table["quarter"].ne(quarter)
    return replace(
        waited,
        belief=belief,
        job_ids=before.job_ids + ids,
        new_jobs=ids,
        late_jobs=tuple(new.table.loc[late, "job_id"]),
        crew_jobs=_crew_jobs(before.crew_jobs, new, belief.crews),
        suspects={i: float(p) for i, p in zip(ids, wrong, strict=True) if p >= SUSPECT_FROM},
        decision={},
        records="",
        previous="",
        pack=_last_pack(waited, jobs, quarter),
        materials=waited.materials | _materials(others, before, quarter),
    )


def _materials(
    others: Mapping[str, Takeoff], before: Allowances, quarter: str
) -> dict[str, Allowances]:
    """Every material that has records, now or before, after the quarter."""
    now = {}
    for name, counted in others.items():
        start = before.materials.get(name) or unchanged(before.first_quarter, product=name)
        now[name] = _one_quarter(counted, start, quarter)
    return {name: known for name, known in now.items() if known.job_ids}


def _last_pack(known: Allowances, jobs: Takeoff, quarter: str) -> Pack | None:
    """A material's pack as it was bought last, its price as it was told last."""
    if known.pack is None:
        return None
    number = jobs.table["quarter"].map(quarter_number).to_numpy()
    bought = jobs.where(number <= quarter_number(quarter))
    price = bought.told("pack_price")
    price = price[~np.isnan(price)]
    pack = usual_pack(known.product) if known.product in MATERIALS else known.pack
    return replace(
        pack,
        content=float(bought.pack[-1]) if len(bought) else known.pack.content,
        price=float(price[-1]) if len(price) else known.pack.price,
    )


def carried_forward(before: Allowances, quarter: str, drift: float | None = None) -> Allowances:
    """Return allowances as they stand in a later quarter of which no job is counted.

    Parameters
    ----------
    before : Allowances
        Of an earlier quarter, or of the same.
    quarter : str
        Like "2026Q3".
    drift : float, optional
        As for `calibrate`; the materials keep their own.
    """
    belief = before.belief if drift is None else with_drift(before.belief, drift)
    return replace(
        before,
        quarter=quarter,
        belief=widen(belief, quarters_between(before.quarter, quarter)),
        new_jobs=(),
        late_jobs=(),
        suspects={},
        file_digest="",
        materials={name: carried_forward(own, quarter) for name, own in before.materials.items()},
    )


def _crew_jobs(before: dict[str, int], new: Takeoff, crews: tuple[str, ...]) -> dict[str, int]:
    """Count the jobs of each crew, under the spelling in which it was met first."""
    met = places_of(new.crews, crews)
    return dict(Counter(before) + Counter(crews[place] for place in met.tolist() if place >= 0))


def _new_jobs(jobs: Takeoff, before: Allowances, quarter: str) -> Takeoff:
    """The quarter's jobs, and those of the chain's earlier quarters that came in late."""
    earliest, latest = quarter_number(before.first_quarter), quarter_number(quarter)
    told = [q for q in _quarters(jobs) if earliest <= quarter_number(q) <= latest]
    places = np.flatnonzero(jobs.table["quarter"].isin(told))
    counted = set(map(name_key, before.job_ids))
    ids = jobs.table["job_id"].iloc[places].tolist()
    return jobs.where(places[[name_key(job) not in counted for job in ids]])


def with_drift(belief: Belief, drift: float) -> Belief:
    """Return the belief with one given drift, and no trend."""
    return replace(belief, drift=np.full(len(belief.form), drift), trend=np.zeros(len(belief.form)))
