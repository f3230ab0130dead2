"""Codes in place of names: jobs, crews, kinds of work, marks and free text, for a report to show.

Numbers follow the order of finishing, and within a day the digest of the name, so that they are
the same for the same records, later jobs leave earlier codes as they were, and neither codes nor
the order of rows tell anything of the spelling of a name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from airstats.base.errors import AllowancesError
from airstats.base.name_matching import name_key
from airstats.catalog.materials import MATERIALS
from airstats.model.allowances import Allowances
from airstats.model.posterior import Belief
from airstats.model.quarterly_update import NO_NAMES
from airstats.records.raw_table import ADDED_COLUMNS, COLUMNS
from airstats.records.reading import CODED, Records

EXCLUDED, FAULTY = "excluded", "faulty"
_LETTERS = {"job_id": "J", "crew": "C", "work_type": "W", "mark": "M"}
"""Columns of names, and the letter of their codes. Other known texts are checked words of the
trade."""
_OWN_MARK = "summary"
"""The mark that the reader gives to a job's summary of openings: no name."""


@dataclass(frozen=True)
class Codes:
    """Name to code for each column of names; "" stays ""."""

    by_column: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def of(self, column: str, name: str) -> str:
        """Return the code of a name, "" for none."""
        return self.by_column[column][name] if name and name != _OWN_MARK else name

    def key(self) -> pd.DataFrame:
        """Return the key: `code, name, column`; whoever has it can undo the codes."""
        rows = [
            (code, name, column)
            for column, codes in self.by_column.items()
            for name, code in codes.items()
        ]
        return pd.DataFrame(rows, columns=["code", "name", "column"])


def code_names(
    records: Records, previous: Allowances | None = None, to_price: Records | None = None
) -> Codes:
    """Give every name of the sources a code.

    Parameters
    ----------
    records : Records
        The finished jobs: J001 is the first finished.
    previous : Allowances, optional
        Its jobs and crews that the records no longer hold come after those of the records, so
        that a takeoff changes no code of a finished job.
    to_price : Records, optional
        Jobs to price come last.

    Raises
    ------
    AllowancesError
        If `previous` was itself written with codes: nobody could tell which job is which.
    """
    if previous is not None and previous.coded:
        raise AllowancesError(NO_NAMES)
    first = _first_seen(records)
    found: dict[str, list[str]] = {}
    for column in _LETTERS:
        known = sorted(first[column], key=lambda name: (first[column][name], _digest(name)))
        for names in (_previous_names(previous, column), _names(to_price, column)):
            known += sorted(set(names) - set(known), key=_digest)
        found[column] = known
    return Codes({column: _numbered(_LETTERS[column], names) for column, names in found.items()})


def coded_sources(
    records: Records, previous: Allowances | None = None, to_price: Records | None = None
) -> tuple[Records, Allowances | None, Records | None]:
    """Return the three sources with codes for names, one name with one code in all of them.

    Parameters
    ----------
    records, previous, to_price
        As for `code_names`.
    """
    codes = code_names(records, previous, to_price)
    return (
        coded_records(records, codes),
        coded_allowances(previous, codes) if previous else None,
        coded_records(to_price, codes, "coded takeoff") if to_price else None,
    )


def coded_records(records: Records, codes: Codes, source: str = "coded records") -> Records:
    """Return the records with codes for names, rows by code, free text and extra columns gone.

    Numbers, dates, prices and words of the trade stay, and so do extra columns of numbers that a
    material goes by.

    Parameters
    ----------
    records : Records
        With names.
    codes : Codes
        From `code_names`.
    source : str
        What stands for the path that they were read from.
    """
    return replace(
        records,
        jobs=_coded_table(records.jobs, "jobs", codes),
        openings=_coded_table(records.openings, "openings", codes),
        materials=_coded_table(records.materials, "materials", codes),
        stock=_coded_table(records.stock, "stock", codes),
        set_aside=coded_set_aside(records.set_aside),
        faults=(),
        source=source,
        digest=f"{CODED}{records.digest}",
        notes=(f"remarks not shown, as they may hold names: {len(records.notes)}.",)
        if records.notes
        else (),
    )


def coded_set_aside(set_aside: pd.DataFrame) -> pd.DataFrame:
    """Return only where the rows stand that were left out: their cells hold names."""
    return set_aside[["table", "row"]].assign(reason=FAULTY) if len(set_aside) else set_aside


def coded_allowances(allowances: Allowances, codes: Codes) -> Allowances:
    """Return allowances with codes for jobs and crews, and no words of the person who decided.

    The crews' places among the parameters follow the codes, not the names' alphabet.
    """
    return replace(
        allowances,
        belief=_coded_belief(allowances.belief, codes),
        job_ids=_coded_jobs(allowances.job_ids, codes),
        new_jobs=_coded_jobs(allowances.new_jobs, codes),
        late_jobs=_coded_jobs(allowances.late_jobs, codes),
        crew_jobs=_coded_keys(allowances.crew_jobs, "crew", codes),
        suspects=_coded_keys(allowances.suspects, "job_id", codes),
        records=f"{CODED}{allowances.records}",
        decision=_coded_decision(allowances.decision, codes),
        materials={name: coded_allowances(m, codes) for name, m in allowances.materials.items()},
    )


def _coded_belief(belief: Belief, codes: Codes) -> Belief:
    crews = [codes.of("crew", crew) for crew in belief.crews]
    order = np.argsort(_counting(pd.Series(crews, dtype="str")).to_numpy(dtype=str), kind="stable")
    shared = belief.shared
    place = np.concatenate([np.arange(shared), shared + order]).astype(int)
    return replace(
        belief,
        mean=belief.mean[:, place],
        covariance=belief.covariance[:, place][:, :, place],
        crews=tuple(crews[k] for k in order),
    )


def _coded_jobs(ids: Iterable[str], codes: Codes) -> tuple[str, ...]:
    return tuple(sorted(codes.of("job_id", job) for job in ids))


def _coded_keys(numbers: Mapping[str, Any], column: str, codes: Codes) -> dict[str, Any]:
    return dict(sorted((codes.of(column, name), number) for name, number in numbers.items()))


def _coded_decision(decision: Mapping[str, Any], codes: Codes) -> dict[str, Any]:
    """What was decided and which jobs wait; not why, nor by whom."""
    kept = {"decision": decision["decision"]} if "decision" in decision else {}
    if "waiting" in decision:
        kept["waiting"] = list(_coded_jobs(decision["waiting"], codes))
    return kept


def _coded_table(table: pd.DataFrame, name: str, codes: Codes) -> pd.DataFrame:
    """Known columns only, names coded, rows by code."""
    drivers = {material.driver for material in MATERIALS.values()} - set(COLUMNS[name])
    table = table[[c for c in table if c in (*COLUMNS[name], *ADDED_COLUMNS, *drivers)]]
    counts = {c: pd.to_numeric(table[c], errors="coerce") for c in drivers & set(table)}
    table = table.assign(**counts)
    coded = {
        column: [codes.of(column, str(value)) for value in table[column]]
        for column in _LETTERS
        if column in table
    }
    if "exclude" in table:
        coded["exclude"] = [EXCLUDED if str(reason) else "" for reason in table["exclude"]]
    texts = {column: pd.Series(v, table.index, "str") for column, v in coded.items()}
    table = table.assign(**texts)
    by = [column for column in ("job_id", "mark", "material") if column in table]
    if table.empty or not by:
        return table
    return table.sort_values(by, key=_counting, ignore_index=True, kind="stable")


def _first_seen(records: Records) -> dict[str, dict[str, float]]:
    """Each name's earliest day of finishing (as nanoseconds; never finished: infinity).

    Where only the quarter is told, its last day.
    """
    jobs = records.jobs
    day = jobs["finished_on"] if "finished_on" in jobs else pd.Series(pd.NaT, jobs.index)
    if "quarter" in jobs:
        ends = pd.PeriodIndex(jobs["quarter"], freq="Q").end_time
        day = pd.to_datetime(day).fillna(pd.Series(ends, jobs.index))
    number = pd.to_datetime(day).astype("datetime64[ns]").astype("int64").where(day.notna(), np.inf)
    by_job = dict(zip(jobs["job_id"], number.astype(float), strict=True))
    found: dict[str, dict[str, float]] = {column: {} for column in _LETTERS}
    for table in _tables(records):
        days = [by_job.get(job, np.inf) for job in table["job_id"]]
        for column in set(_LETTERS) & set(table):
            first = found[column]
            for name, when in zip(table[column].astype(str), days, strict=True):
                if name:
                    first[name] = min(when, first.get(name, np.inf))
    return found


def _names(records: Records | None, column: str) -> set[str]:
    tables = _tables(records) if records else ()
    found = [set(table[column].astype(str)) for table in tables if column in table]
    return set().union(*found) - {""}


def _tables(records: Records) -> tuple[pd.DataFrame, ...]:
    return records.jobs, records.openings, records.materials


def _previous_names(previous: Allowances | None, column: str) -> Iterable[str]:
    if previous is None:
        return ()
    products = (previous, *previous.materials.values())
    if column == "job_id":
        waiting = previous.decision.get("waiting", ())
        return [*waiting, *(job for one in products for job in (*one.job_ids, *one.suspects))]
    return [crew for one in products for crew in one.belief.crews] if column == "crew" else ()


def _numbered(letter: str, names: list[str]) -> dict[str, str]:
    width = 3 if letter == "J" else 1
    # Marks of one job may differ in capitals only; other names that do are one name.
    alike = [name if letter == _LETTERS["mark"] else name_key(name) for name in names]
    places = {key: place for place, key in enumerate(dict.fromkeys(alike), start=1)}
    pairs = zip(names, alike, strict=True)
    return {name: f"{letter}{places[key]:0{width}d}" for name, key in pairs}


def _counting(codes: pd.Series) -> pd.Series:
    """Texts that sort as the codes count: J999 before J1000."""
    return codes.astype("str").str.zfill(12)


def _digest(name: str) -> str:
    return hashlib.sha256(name.encode("utf-8")).hexdigest()
