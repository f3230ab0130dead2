"""Everything a notebook needs, opened in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from airstats.backtests.rolling import Backtest
from airstats.base.errors import RecordsError
from airstats.base.firm import ASSUMED, Firm
from airstats.base.plain_data import load_plain, save_plain
from airstats.base.quarters import quarter_number
from airstats.base.run_settings import paths_of, takeoff_path
from airstats.catalog.materials import SHEET
from airstats.intake.any_records import read_any
from airstats.model.allowances import Allowances, Pack, load_allowances
from airstats.model.decisions import decide
from airstats.model.posterior import Belief
from airstats.model.prior import Prior
from airstats.model.quarterly_update import calibrate_through, finished_jobs
from airstats.records.faults import Fault
from airstats.records.firm_file import read_firm
from airstats.records.reading import Records
from airstats.reports.pseudonyms import code_names, coded_records, coded_sources
from airstats.takeoff.sheet_quantities import Takeoff, take_off
from airstats.takeoff.unmeasured import Doubt
from airstats.takeoff.usual_openings import Habit, Habits


@dataclass(frozen=True)
class Sources:
    """All that a run reads: finished jobs, earlier allowances, jobs to price, the firm, others."""

    records: Records
    previous: Allowances | None = None
    to_price: Records | None = None
    firms: tuple[Records, ...] = ()
    firm: Firm = ASSUMED

    def coded(self) -> Sources:
        """Return the sources with codes for names; other firms in the order of their digests."""
        firms = sorted(self.firms, key=lambda records: records.digest)
        named = (self.records, self.previous, self.to_price)
        return Sources(
            *coded_sources(*named),
            tuple(coded_records(r, code_names(r)) for r in firms),
            self.firm.without_names(),
        )

    def desk(self, quarter: str = "", depth_error_mm: float = 0.0) -> Desk:
        """Work out the desk; as `open_desk`."""
        sources = (self.previous, self.to_price, depth_error_mm, self.firms, self.firm)
        return lay_out(self.records, quarter, *sources)


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
    firm : what the firm says of its prices and times
    other_firms : name to quantities of the finished jobs of the firms to compare with
    recording : what finer records would save, from `value_of_recording`; None: not worked out yet
    back_test : every quarter priced from those before it, from `back_tested`; None likewise
    watch : how far the jobs depart from what was foretold, from `drift_watch`; None likewise
    """

    quarter: str
    records: Records
    later: int
    jobs: Takeoff
    excluded: pd.DataFrame
    chain: tuple[Allowances, ...]
    to_price: Records | None
    takeoff: Takeoff
    previous: Allowances | None = None
    firm: Firm = ASSUMED
    other_firms: dict[str, Takeoff] = field(default_factory=dict)
    recording: pd.DataFrame | None = None
    back_test: Backtest | None = None
    watch: pd.DataFrame | None = None

    @property
    def now(self) -> Allowances:
        """The allowances after the quarter."""
        return self.chain[-1]

    @property
    def before(self) -> Allowances | None:
        """The allowances before the quarter, or None: the starting belief."""
        return self.chain[-2] if len(self.chain) > 1 else self.previous

    @property
    def depth_error_mm(self) -> float:
        """Measuring error of the reveal depths that the allowances reckon with, mm (sd)."""
        return self.now.belief.habits.depth_error_mm

    @property
    def stock(self) -> pd.DataFrame | None:
        """What lies on the shelf for the jobs to price."""
        return self.to_price.stock if self.to_price else None

    @property
    def own(self) -> Takeoff:
        """Quantities of the quarter's own jobs."""
        return self.jobs.where(self.jobs.table["quarter"].eq(self.quarter))

    @property
    def firms(self) -> dict[str, Takeoff]:
        """The finished jobs of all firms by the firm's name, this one first."""
        return {_names([self.records])[0]: self.jobs, **self.other_firms}

    def at(self, **given: float) -> Desk:
        """Return the desk with other prices and times of the firm; one of 0 stays the firm's."""
        firm = self.firm.but(**given)
        if firm == self.firm:
            return self
        return replace(self, firm=firm, recording=None, back_test=None)

    def save(self, path: Path) -> None:
        """Write the desk for the notebooks of a run to open."""
        save_plain(self, path)

    def ahead(self) -> Records:
        """Return the jobs to price; without any, those of the quarter."""
        return self.to_price or self.quarter_records()

    def quarter_records(self) -> Records:
        """Return the records of the quarter's own jobs."""
        ids = set(self.own.table["job_id"])
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
    firms: str = "",
    firm: str | Path = "",
    words: str | Path = "",
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
        Replace the names of jobs, crews, kinds of work and the firms by codes.
    firms : str
        Other firms' records, paths parted by ";"; empty: there are none.
    firm : path
        The firm's own prices and times; empty: as assumed.
    words : path
        The words file by which the firm's own book is read; empty: the tool's own columns.

    Raises
    ------
    RecordsError
        If a source is faulty, or holds no finished job up to the quarter.
    """
    given = (records, previous, takeoff, set_aside_bad_rows, dates, firms, firm, words)
    sources = read_sources(*given)
    return (sources.coded() if codes else sources).desk(quarter, depth_error_mm)


_LAID_READY: dict[str, Desk] = {}


def lay_ready(path: str | Path, desk: Desk) -> None:
    """Let `load_desk` return this desk for the path, in this process and in its copies."""
    _LAID_READY[str(path)] = desk


def load_desk(path: str | Path) -> Desk | None:
    """Return a desk that was laid ready, or that `Desk.save` wrote; "" is none."""
    kinds = (
        *(Desk, Records, Fault, Takeoff, Doubt, Allowances, Pack, Belief, Prior, Firm),
        *(Habits, Habit, Backtest),
    )
    if str(path) in _LAID_READY:
        return _LAID_READY[str(path)]
    return load_plain(Path(path), kinds) if path else None


def read_sources(
    records: str | Path,
    previous: str | Path = "",
    takeoff: str | Path = "",
    set_aside_bad_rows: bool = False,
    dates: str = "ask",
    firms: str = "",
    firm: str | Path = "",
    words: str | Path = "",
) -> Sources:
    """Read each source once; as `open_desk`.

    Parameters
    ----------
    records, previous, takeoff, set_aside_bad_rows, dates, firms, firm, words
        As for `open_desk`.
    """

    def read(path: str | Path, by: str | Path = "") -> Records:
        return read_any(path, by, set_aside_bad_rows, dates)

    finished, path = read(records, words), takeoff_path(records, takeoff)
    return Sources(
        finished,
        load_allowances(previous) if previous else None,
        read(path, words) if path else None,
        tuple(map(read, paths_of(firms))),
        read_firm(firm),
    )


def lay_out(
    records: Records,
    quarter: str = "",
    previous: Allowances | None = None,
    to_price: Records | None = None,
    depth_error_mm: float = 0.0,
    firms: Sequence[Records] = (),
    firm: Firm = ASSUMED,
) -> Desk:
    """Work out the desk from sources already read; as `open_desk`.

    Parameters
    ----------
    records : Records
        The finished jobs.
    quarter, depth_error_mm
        As for `open_desk`.
    previous : Allowances, optional
        Those of an earlier quarter.
    to_price : Records, optional
        The jobs to price; without them the quarter's own.
    firms : sequence of Records
        Those of other firms.
    firm : Firm
        The firm's own prices and times.
    """
    every = records.jobs[records.jobs["finished"].astype(bool)]
    learnt = every.loc[every["exclude"].eq(""), "quarter"]
    found = sorted(set(learnt) or set(every["quarter"]), key=quarter_number)
    quarter = quarter or (found[-1] if found else "")
    known = _priced(_up_to(records, quarter) if found else records, firm)
    chain = tuple(calibrate_through(known, quarter, previous, depth_error_mm))
    habits = chain[-1].belief.habits
    jobs = finished_jobs(known).reckoned(habits)
    table = known.jobs[known.jobs["finished"].astype(bool)]
    own = jobs.where(jobs.table["quarter"].eq(quarter))
    names = _names([records, *firms])
    return Desk(
        quarter=quarter,
        records=known,
        later=len(every) - len(table),
        jobs=jobs,
        excluded=table[table["exclude"].ne("")].reset_index(drop=True),
        chain=chain,
        to_price=to_price,
        takeoff=take_off(to_price).reckoned(habits) if to_price else own,
        previous=previous,
        firm=firm,
        other_firms=dict(zip(names[1:], map(_other_firm, firms), strict=True)),
    )


def after_decision(desk: Desk, decision: str, reason: str = "", by: str = "") -> Desk:
    """Return the desk as it stands after the decision: its last allowances are those that stand.

    Parameters
    ----------
    desk : Desk
        Before the decision.
    decision, reason, by
        As for `decide`.
    """
    decided = decide(desk.before, desk.now, decision, reason, by)
    return replace(desk, chain=(*desk.chain[:-1], decided), watch=None)


def _other_firm(records: Records) -> Takeoff:
    return replace(finished_jobs(records), notes=() if records.coded else records.remarks)


def _names(firms: Sequence[Records]) -> list[str]:
    """The firms' names, with a number where one stood before; with codes numbers only."""
    if firms[0].coded:
        return [f"firm {place}" for place in range(1, len(firms) + 1)]
    names = [records.source for records in firms]
    return [
        f"{name} ({names[:place].count(name) + 1})" if name in names[:place] else name
        for place, name in enumerate(names)
    ]


def _priced(records: Records, firm: Firm) -> Records:
    """The records with the firm's price of a roll where a job names none."""
    if firm.roll_price is None or "roll_price" not in records.jobs:
        return records
    prices = records.jobs["roll_price"].fillna(firm.roll_price)
    return replace(records, jobs=records.jobs.assign(roll_price=prices))


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
