"""What a report says of its making: what went in, and the command that makes it again."""

from __future__ import annotations

import os
import platform
import shlex
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from functools import cache
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from typing import Any

from airstats.base.errors import AirstatsError
from airstats.base.firm import ASSUMED
from airstats.base.run_settings import takeoff_path
from airstats.documents.redaction import masked
from airstats.pricing.order_costs import costs_of
from airstats.records.reading import CODED, Records
from airstats.records.source import source_digest
from airstats.reports.desk import Desk

PACKAGES = (
    *("airstats", "numpy", "pandas", "scipy", "statsmodels", "matplotlib", "seaborn", "typst"),
)
ELSEWHERE = "FOLDER"
"""Stands in a command for a folder outside the one that it ran in: where files are is private."""
_PATHS = ("records", "previous", "takeoff", "firm", "out")

EPOCH = "SOURCE_DATE_EPOCH"
_COSTS = ("leftover_cost", "short_cost")

Parameters = Mapping[str, Any]


def made_from(name: str, parameters: Parameters, desk: Desk | None = None) -> dict[str, str]:
    """Return what a report says of its making: parameters, digests, versions.

    Of paths it gives only the names: where files are is private. The digests are those of the
    desk's sources as they were read; without a desk, of the sources as they are.

    Parameters
    ----------
    name : str
        That of the notebook.
    parameters : mapping
        What the notebook was run with, by name.
    desk : Desk, optional
        What was read, if it is at hand.
    """
    shown = {key: _shown(key, value) for key, value in masked(parameters).items()}
    own = desk.firm.but(**_costs_given(parameters)) if desk else ASSUMED
    told = {"firm's name": own.name, "for": own.readers.get(name, "")}
    made = {"notebook": name, **{what: text for what, text in told.items() if text}, **shown}
    if desk and "leftover_cost" in parameters:
        made |= dict(zip(_COSTS, (f"{cost:.12g}" for cost in costs_of(own)), strict=True))
    records, takeoff = parameters.get("records", ""), parameters.get("takeoff", "")
    sources = {
        "records'": (records, desk.records if desk else None),
        "takeoff's": (takeoff_path(records, takeoff), desk.to_price if desk else None),
    }
    made |= {f"{whose} digest": _digest(*one) for whose, one in sources.items() if one[0]}
    return made | {"versions": _versions()}


@cache
def _versions() -> str:
    versions = [f"{package} {version(package)}" for package in PACKAGES]
    return ", ".join([f"python {platform.python_version()}", *versions])


def about_line(desk: Desk | None, day: date) -> str:
    """Return whose page it is, of which quarter and day; what is not known is left out."""
    known = [desk.firm.name, desk.quarter] if desk else []
    return " · ".join(filter(None, [*known, f"{day.day} {day:%B %Y}"]))


def day_of_run() -> date:
    """Return today, or the day of SOURCE_DATE_EPOCH: then files come out again byte for byte.

    Raises
    ------
    AirstatsError
        If SOURCE_DATE_EPOCH is no count of seconds.
    """
    given = os.environ.get(EPOCH)
    try:
        return datetime.fromtimestamp(int(given), UTC).date() if given else date.today()
    except (ValueError, OverflowError, OSError) as error:
        raise AirstatsError(
            f"{EPOCH}={given} is no day: give it as whole seconds since 1970, or unset it."
        ) from error


def _costs_given(parameters: Parameters) -> dict[str, float]:
    return {cost: parameters[cost] for cost in _COSTS if cost in parameters}


def command_of(parameters: Iterable[Parameters], out: Path) -> str:
    """Return the command that makes all reports of a run again, with every parameter.

    Parameters
    ----------
    parameters : iterable of mappings
        Those of each notebook of the run.
    out : Path
        The folder of the reports.

    Notes
    -----
    It can be pasted where the run was started. Paths outside that folder are given as
    `FOLDER/name`: put your own folder there.
    """
    known = {name: value for each in parameters for name, value in each.items()}
    takeoff = takeoff_path(known.get("records", ""), known.get("takeoff", ""))
    shown = masked(known | {"takeoff": str(takeoff or ""), "out": str(out)})
    records = _pasted("records", shown.pop("records", "") or "RECORDS")
    options = [_option(name, value) for name, value in shown.items() if value]
    return shlex.join(["airstats", "quarter", records, *chain.from_iterable(options)])


def _option(name: str, value: Any) -> list[str]:
    """A parameter as an option of the command; one that is true or false is a flag."""
    option = f"--{name.replace('_', '-')}"
    return [option] if value is True else [option, _pasted(name, value)]


def _pasted(name: str, value: Any) -> str:
    """A value as it stands in a command that somebody pastes."""
    if name == "firms":
        return "; ".join(_from_here(Path(path.strip())) for path in value.split(";"))
    if name in _PATHS:
        return _from_here(Path(value))
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _from_here(path: Path) -> str:
    """A path below the working folder as it is; of any other only its name."""
    path, here = path.resolve(), Path.cwd()
    inside = path.is_relative_to(here) and path != here
    return path.relative_to(here).as_posix() if inside else f"{ELSEWHERE}/{path.name}"


def _digest(path: str | Path, read: Records | None) -> str:
    return read.digest.removeprefix(CODED) if read else source_digest(path)


def _shown(name: str, value: Any) -> str:
    if value == "":
        return "(none)"
    if isinstance(value, float):
        return f"{value:.12g}"
    if name == "firms":
        return "; ".join(Path(path.strip()).name for path in value.split(";"))
    return Path(value).name if name in _PATHS else str(value)
