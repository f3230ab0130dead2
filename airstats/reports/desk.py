"""Everything a notebook needs, opened in one call."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from airstats.base.errors import RecordsError
from airstats.base.quarters import quarter_number
from airstats.catalog.materials import SHEET
from airstats.model.allowances import Allowances, load_allowances
from airstats.model.decisions import decide
from airstats.model.quarterly_update import calibrate_through, finished_jobs
from airstats.records.reading import Records, read_records
from airstats.reports.pseudonyms import coded_sources
from airstats.takeoff.sheet_quantities import Takeoff, take_off

BESIDE = "beside"
"""As a takeoff: the source RECORDS_takeoff beside the records, if there is one."""


@dataclass(frozen=True, eq=False)
class Desk:
    """A firm's records up to a quarter, what they taught, and the jobs to price.

    Attributes
    ----------
    quarter : the quarter that the notebooks speak of
    records : the records up to the quarter; `later` counts the finished jobs left out as later
    jobs : quantities of the finished jobs up to the quarter that may be fitted
    excluded : finished jobs with a reason to exclude them
    chain : allowances after each quarter; `now` is the last, `before` the one before it or None
    to_price : the takeoff's records, or None: then the quarter's own jobs are priced again
    takeoff : quantities of the jobs to price
    previous : the allowances that the chain started from, or None: the starting belief
    depth_error_mm : measuring error of the reveal depths that the chain reckons with, mm (sd)
    """

    quarter: str
    records: Records
    later: int
    jobs: Takeoff
    excluded: pd.DataFrame
    chain: tuple[Allowances, ...]
    before: Allowances | None
    to_price: Records | None
    takeoff: Takeoff
    previous: Allowances | None = None
    depth_error_mm: float = 0.0

    @property
    def now(self) -> Allowances:
        """The allowances after the quarter."""
        return self.chain[-1]

    def quarter_records(self) -> Records:
        """Return the records of the jobs that the takeoff holds: the quarter's own."""
        ids = set(self.takeoff.table["job_id"])
        jobs = self.records.jobs[self.records.jobs["job_id"].isin(ids)]
        openings = self.records.openings[self.records.openings["job_id"].isin(ids)]
        return replace(
            self.records,
            jobs=jobs.reset_index(drop=True),
            openings=openings.reset_index(drop=True),
        )

    def suspects(self, product: str = SHEET) -> pd.DataFrame:
        """Return the chain's records of a product likely wrong: `job_id, quarter, probability`."""
        steps = [{SHEET: step, **step.materials}.get(product) for step in self.chain]
        rows = [
            (job, step.quarter, chance)
            for step in filter(None, steps)
            for job, chance in step.suspects.items()
        ]
        return pd.DataFrame(rows, columns=["job_id", "quarter", "probability"])


def open_desk(
    records: str | Path,
    quarter: str = "",
    previous: str | Path = "",
    takeoff: str | Path = "",
    set_aside_bad_rows: bool = False,
    dates: str = "ask",
    depth_error_mm: float = 0.0,
    codes: bool = False,
) -> Desk:
    """Read the sources and work out the allowances up to a quarter.

    Parameters
    ----------
    records : path
        The finished jobs.
    quarter : str
        Like "2026Q3"; empty: the last quarter with a job to learn from.
    previous : path
        The allowances file of an earlier quarter; empty: none.
    takeoff : path
        The jobs to price; "beside": RECORDS_takeoff if there is one; empty: the quarter's own.
    set_aside_bad_rows, dates
        As for `read_records`.
    depth_error_mm : float
        Measuring error of the reveal depths, mm (sd).
    codes : bool
        Replace the names of jobs, crews, kinds of work and the firm by codes.

    Raises
    ------
    RecordsError
        If a source is faulty, or holds no finished job up to the quarter.
    """
    known = load_allowances(previous) if previous else None
    path = takeoff_path(records, takeoff)
    to_price = read_records(path, set_aside_bad_rows, dates) if path else None
    finished = read_records(records, set_aside_bad_rows, dates)
    if codes:
        finished, known, to_price = coded_sources(finished, known, to_price)
    return lay_out(finished, quarter, known, to_price, depth_error_mm)


def lay_out(
    records: Records,
    quarter: str = "",
    previous: Allowances | None = None,
    to_price: Records | None = None,
    depth_error_mm: float = 0.0,
) -> Desk:
    """Work out the desk from sources already read; as `open_desk`."""
    every = records.jobs[records.jobs["finished"].astype(bool)]
    learnt = every.loc[every["exclude"].eq(""), "quarter"]
    found = sorted(set(learnt) or set(every["quarter"]), key=quarter_number)
    quarter = quarter or (found[-1] if found else "")
    known = _up_to(records, quarter) if found else records
    jobs = finished_jobs(known)
    chain = tuple(calibrate_through(known, quarter, previous, depth_error_mm))
    table = known.jobs[known.jobs["finished"].astype(bool)]
    own = jobs.where(jobs.table["quarter"].eq(quarter))
    return Desk(
        quarter=quarter,
        records=known,
        later=len(every) - len(table),
        jobs=jobs,
        excluded=table[table["exclude"].ne("")].reset_index(drop=True),
        chain=chain,
        before=chain[-2] if len(chain) > 1 else previous,
        to_price=to_price,
        takeoff=take_off(to_price) if to_price else own,
        previous=previous,
        depth_error_mm=depth_error_mm,
    )


def after_decision(desk: Desk, decision: str, reason: str = "", by: str = "") -> Desk:
    """Return the desk as it stands after the decision: its last allowances are those that stand."""
    decided = decide(desk.before, desk.now, decision, reason, by)
    return replace(desk, chain=(*desk.chain[:-1], decided))


def open_firms(
    desk: Desk,
    firms: str,
    set_aside_bad_rows: bool = False,
    dates: str = "ask",
    codes: bool = False,
) -> dict[str, Takeoff]:
    """Return the finished jobs of several firms by the firm's name, this desk's own first.

    Parameters
    ----------
    desk : Desk
        The own firm's desk.
    firms : str
        The other firms' records, paths parted by ";"; empty: there are none.
    set_aside_bad_rows, dates
        As for `read_records`.
    codes : bool
        Call the firms "firm 1" (the own one), "firm 2" and so on, in the order of their digests.
    """
    paths = [path.strip() for path in firms.split(";") if path.strip()]
    others = [read_records(path, set_aside_bad_rows, dates) for path in paths]
    others = sorted(others, key=lambda records: records.digest) if codes else others
    told = [() if codes else records.remarks for records in others]
    jobs = [replace(finished_jobs(r), notes=n) for r, n in zip(others, told, strict=True)]
    sources = [desk.records.source, *(records.source for records in others)]
    numbered = [f"firm {place}" for place in range(1, len(sources) + 1)]
    names = numbered if codes else _made_different(sources)
    return dict(zip(names, [desk.jobs, *jobs], strict=True))


def takeoff_path(records: str | Path, takeoff: str | Path) -> Path | None:
    """Return where the takeoff is, or None if the quarter's own jobs are to be priced."""
    if str(takeoff) != BESIDE:
        return Path(takeoff) if takeoff else None
    own = Path(records)
    beside = own.with_name(f"{own.stem}_takeoff{own.suffix}")
    return beside if beside.exists() else None


def _made_different(names: list[str]) -> list[str]:
    """Add a number to a name that stood before."""
    return [
        f"{name} ({names[:place].count(name) + 1})" if name in names[:place] else name
        for place, name in enumerate(names)
    ]


def _up_to(records: Records, quarter: str) -> Records:
    """The records without the jobs finished after the quarter."""
    last = quarter_number(quarter)
    numbers = records.jobs["quarter"].map(quarter_number, na_action="ignore")
    keep = records.jobs["finished"].astype(bool) & (numbers <= last).fillna(False).astype(bool)
    jobs = records.jobs[keep].reset_index(drop=True)
    if jobs.empty:
        first = min(records.jobs["quarter"].dropna(), key=quarter_number)
        raise RecordsError(
            f"{records.source}: no job was finished up to {quarter}; the first is of {first}."
            " Ask for that quarter or a later one."
        )
    openings = records.openings[records.openings["job_id"].isin(jobs["job_id"])]
    return replace(records, jobs=jobs, openings=openings.reset_index(drop=True))
