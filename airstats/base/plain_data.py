"""Dataclasses, tables and arrays as one file of plain data, and back, every number to the last bit.

The file is JSON; arrays stand in it as their bytes, tables as Parquet. Nothing of it is ever run.
"""

from __future__ import annotations

import io
import json
from base64 import b64decode, b64encode
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from airstats.base.atomic_files import write_whole

_FOR_THE_OWNER_ALONE = 0o600


def save_plain(value: Any, path: Path) -> None:
    """Write a value that `load_plain` reads again, for nobody but the user to read.

    Parameters
    ----------
    value
        A dataclass, table, array, text, number or None; or a list, tuple or dict (keys: text) of
        such.
    path : Path
        The file.
    """
    write_whole(path, json.dumps(_plain(value)), _FOR_THE_OWNER_ALONE)


def load_plain(path: Path, kinds: Iterable[type]) -> Any:
    """Return the value that `save_plain` wrote; `kinds` are the dataclasses that it may hold."""
    known = {kind.__name__: kind for kind in kinds}
    return _value(json.loads(path.read_text(encoding="utf-8")), known)


def _plain(value: Any) -> Any:
    """Return what JSON can hold; whatever it cannot tell from a dict stands under a name."""
    if isinstance(value, np.generic):
        return value.item()
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, list):
        return [_plain(part) for part in value]
    if isinstance(value, tuple):
        return {"tuple": [_plain(part) for part in value]}
    if isinstance(value, dict):
        return {"dict": {key: _plain(part) for key, part in value.items()}}
    if isinstance(value, np.ndarray) and not value.dtype.hasobject:
        return {"array": [value.dtype.str, value.shape, _text(value.tobytes())]}
    if isinstance(value, pd.DataFrame):
        texts_or_none = [name for name in value if value[name].dtype == object]
        return {"table": [texts_or_none, _text(value.to_parquet())]}
    if is_dataclass(value):
        named = {part.name: _plain(getattr(value, part.name)) for part in fields(value)}
        return {type(value).__name__: named}
    raise TypeError(f"{type(value).__name__} is no plain data")


def _value(plain: Any, known: dict[str, type]) -> Any:
    if isinstance(plain, list):
        return [_value(part, known) for part in plain]
    if not isinstance(plain, dict):
        return plain
    ((kind, held),) = plain.items()
    if kind == "array":
        return np.frombuffer(b64decode(held[2]), held[0]).reshape(held[1]).copy()
    if kind == "table":
        return _table(*held)
    if kind == "tuple":
        return tuple(_value(held, known))
    parts = {name: _value(part, known) for name, part in held.items()}
    return parts if kind == "dict" else known[kind](**parts)


def _table(texts_or_none: list[str], parquet: str) -> pd.DataFrame:
    table = pd.read_parquet(io.BytesIO(b64decode(parquet)))
    # Parquet does not tell None from a missing number.
    kept = {name: table[name].astype(object) for name in texts_or_none}
    return table.assign(
        **{name: column.where(column.notna(), None) for name, column in kept.items()}
    )


def _text(data: bytes) -> str:
    return b64encode(data).decode("ascii")
