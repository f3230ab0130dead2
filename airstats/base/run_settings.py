"""What a quarter's run may be asked for: name, type, default and help of each setting, said once.

The options of the command line, the parameters of the notebooks and the run itself go by it.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

BESIDE = "beside"
"""As a takeoff: the source RECORDS_takeoff beside the records, if there is one."""
SAVED_DESK = "saved_desk"
"""The parameter by which a run tells its notebooks where the desk is that they open."""
DATE_ORDERS = ("ask", "day-first", "month-first")
DECISIONS = ("accept", "keep")


def _setting(default: Any, told: str, alone: Any = None, choices: tuple[str, ...] = ()) -> Any:
    """A setting with its help; `alone` is what a notebook starts with that nobody has called."""
    return field(default=default, metadata={"help": told, "alone": alone, "choices": choices})


@dataclass(frozen=True)
class RunSettings:
    """The settings of a run, in the order in which a report states them."""

    records: str = _setting("", "folder or workbook with the finished jobs", "../data/demo")
    words: str = _setting("", "words.toml by which the firm's own book is read; empty: none")
    quarter: str = _setting("", "like 2026Q3; empty: the last quarter in the records")
    previous: str = _setting("", "allowances file of an earlier quarter; empty: none")
    set_aside_bad_rows: bool = _setting(False, "go on without faulty rows")
    dates: str = _setting(
        "ask",
        "how to read 03/04/2026: ask, day-first or month-first",
        choices=DATE_ORDERS,
    )
    depth_error_mm: float = _setting(0.0, "measuring error of the reveal depths, mm (sd)")
    codes: bool = _setting(False, "replace names of jobs, crews and firm by codes")
    takeoff: str = _setting(
        "", "jobs to price; beside: RECORDS_takeoff; empty: the quarter's own", BESIDE
    )
    firm: str = _setting(
        "",
        "firm.toml, prices and times; empty: as assumed",
        "../data/demo_firm.toml",
    )
    leftover_cost: float = _setting(0.0, "money for each roll left over; 0: the firm's, else 60")
    short_cost: float = _setting(0.0, "money for each roll short; 0: the firm's, else 240")
    firms: str = _setting("", "other firms' records to compare with, paths parted by ;")
    decision: str = _setting(
        "accept",
        "accept the new values, or keep the old ones: then the jobs wait",
        choices=DECISIONS,
    )
    decision_reason: str = _setting("", "why; keep needs it")
    decided_by: str = _setting("", "initials of who decided; keep needs them")

    @classmethod
    def of(cls, asked: object) -> RunSettings:
        """Return the settings that the attributes of `asked` give."""
        return cls(**{name: getattr(asked, name) for name in SETTINGS})

    @property
    def decided(self) -> tuple[str, str, str]:
        """The decision, its reason, and who decided."""
        return self.decision, self.decision_reason, self.decided_by

    def without_free_text(self) -> RunSettings:
        """Return the settings without what a person may have written of another."""
        reason, by = (text and "not shown" for text in self.decided[1:])
        return replace(self, decision_reason=reason, decided_by=by)

    def known_to(self, names: Container[str]) -> dict[str, Any]:
        """Return the settings that have one of the names."""
        return {name: value for name, value in asdict(self).items() if name in names}

    def from_anywhere(self) -> RunSettings:
        """Return the same settings with paths that hold in every folder."""
        takeoff = takeoff_path(self.records, self.takeoff)
        return replace(
            self,
            records=_absolute(self.records),
            words=_absolute(self.words),
            previous=_absolute(self.previous),
            takeoff=_absolute(takeoff or ""),
            firm=_absolute(self.firm),
            firms="; ".join(map(_absolute, paths_of(self.firms))),
        )


SETTINGS = {setting.name: setting for setting in fields(RunSettings)}
"""Name to field; help, choices and what a notebook starts with stand in its metadata."""


def paths_of(firms: str) -> list[str]:
    """Return the paths of a text that parts them by ";"."""
    return [path.strip() for path in firms.split(";") if path.strip()]


def takeoff_path(records: str | Path, takeoff: str | Path) -> Path | None:
    """Return where the takeoff is, or None if the quarter's own jobs are to be priced."""
    if str(takeoff) != BESIDE:
        return Path(takeoff) if takeoff else None
    own = Path(records)
    beside = own.with_name(f"{own.stem}_takeoff{own.suffix}")
    return beside if beside.exists() else None


def _absolute(path: str | Path) -> str:
    return str(Path(path).resolve()) if path else ""
