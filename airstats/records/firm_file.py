"""Read `firm.toml`, what a firm says of itself once; write an empty one to fill in."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from airstats.base.errors import AirstatsError
from airstats.base.firm import ASSUMED, FIELDS, PARTS, REPORTS, Firm
from airstats.base.number_text import listed, shown
from airstats.catalog.materials import MATERIALS

LARGEST = 1_000_000
"""Bytes; one that is filled in has some thousand."""
_TABLES = {
    "unit_prices": tuple(name.replace(" ", "_") for name in MATERIALS),
    "readers": REPORTS,
}
"""The keys of each table within the file."""
_NUMBER = "write a number such as 150 or 0.90, with a point and without quotation marks"
_HEAD = "# What the firm says of itself once. Take the first # off a line and put in your own."
_TEXT = "write a text of one line in quotation marks"


def read_firm(path: str | Path) -> Firm:
    """Read a firm's file; "" is a firm that says nothing.

    Raises
    ------
    AirstatsError
        If it cannot be read, or with every key and value that will not do, by its line.
    """
    if not str(path):
        return ASSUMED
    text = _text_of(Path(path))
    try:
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise AirstatsError(
            f"{Path(path).name}: {error}; write one `key = value` a line, numbers with a point,"
            " texts in quotation marks."
        ) from None
    faults = [
        f"{Path(path).name}, line {_line_of(text, table, key)}, {shown(key)}: {problem}."
        for table, key, problem in (*_faults(told), *_at_odds(told))
    ]
    if faults:
        raise AirstatsError("\n".join(faults))
    prices = {key.replace("_", " "): value for key, value in told.get("unit_prices", {}).items()}
    return Firm(**{**told, "unit_prices": prices})


def blank_firm() -> str:
    """Return the text of a file in which every key is explained and none is set."""
    lines = [_HEAD]
    for name, own in FIELDS.items():
        keys = _TABLES.get(name)
        start = f"[{name}]" if keys else f"{name} = {_written(own.default)}".rstrip()
        lines += [f"# {start:24} # {own.metadata['told']}", *(f"# {key} =" for key in keys or ())]
    return "\n".join(lines) + "\n"


def _written(default: Any) -> str:
    return '""' if default == "" else "" if default is None else f"{default:g}"


def _text_of(path: Path) -> str:
    if not path.is_file():
        raise AirstatsError(
            f"{path}: there is no such file. `airstats blank firm.toml` writes one."
        )
    if path.stat().st_size > LARGEST:
        raise AirstatsError(f"{path}: the file is too large for what a firm says of itself.")
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise AirstatsError(f"{path}: the file is no text in UTF-8; save it as such.") from None


def _faults(told: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield table ("" for none), key and problem of what is not known or will not do."""
    for key, value in told.items():
        if key not in FIELDS:
            yield "", key, f"no such key; {_meant(key, FIELDS)}"
        elif key not in _TABLES:
            if problem := _problem(key, value):
                yield "", key, problem
        elif not isinstance(value, dict):
            yield "", key, f"it is a table; write [{key}] and its keys on the lines below"
        else:
            yield from _faults_within(key, value)


def _faults_within(table: str, told: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    for key, value in told.items():
        if key in _TABLES[table]:
            problem = _number_problem(value) if table == "unit_prices" else _text_problem(value)
            if problem:
                yield table, key, problem
        elif key in FIELDS:
            yield table, key, f"it stands below [{table}]; move it above the first line in brackets"
        else:
            yield table, key, f"no such key in [{table}]; {_meant(key, _TABLES[table])}"


def _problem(key: str, value: Any) -> str:
    about = FIELDS[key].metadata
    if FIELDS[key].default == "":
        return _text_problem(value, about["longest"])
    return _number_problem(value, about["positive"], about["most"])


def _text_problem(value: Any, longest: int = 200) -> str:
    if not isinstance(value, str):
        return f"{shown(str(value))} is no text; {_TEXT}"
    if len(value) > longest or not value.isprintable():
        return f'"{shown(value)}" will not do; {_TEXT}, of {longest} signs at most'
    return ""


def _number_problem(value: Any, positive: bool = False, most: float = 1e9) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f'"{shown(str(value))}" is no number; {_NUMBER}'
    if not 0 <= value <= most or (positive and value == 0):
        return f"{value} will not do; give a number {'above' if positive else 'from'} 0" + (
            f" to {most:g}" if most < 1e9 else ""
        )
    return ""


def _at_odds(told: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield what contradicts or lacks another key."""
    for whole, parts in PARTS.items():
        given = [part for part in parts if part in told]
        missing = [part for part in parts if part not in told]
        if given and whole in told:
            yield "", given[0], f"{whole} is given too; leave out the one or the other"
        elif given and missing:
            yield "", given[0], f"{listed(missing)} must be given too (0 if there is none)"
        elif given and not any(told[part] for part in parts):
            yield "", given[0], f"all parts of {whole} are 0; leave them out, or give one above 0"
    if "bring_back" in told and "roll_price" not in told:
        yield (
            "",
            "bring_back",
            "roll_price must be given too: what a roll left over loses rests on it",
        )


def _meant(key: str, known: Any) -> str:
    near = get_close_matches(key, known, 1, 0.5)
    return f"{near[0]} is meant, perhaps" if near else f"known are {listed(list(known))}"


def _line_of(text: str, table: str, key: str) -> int:
    """Return the line that sets a key, or 1 if it cannot be told."""
    here, wanted = (
        "",
        re.compile(rf"[\"']?{re.escape(key)}[\"']?\s*[=.]|\[\s*{re.escape(key)}\s*\]"),
    )
    for number, line in enumerate(map(str.strip, text.splitlines()), 1):
        if here == table and wanted.match(line):
            return number
        if found := re.match(r"\[\s*([^\]]+?)\s*\]", line):
            here = found[1]
            if not table and here == key:
                return number
    return 1
