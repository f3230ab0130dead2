"""Files that are written whole or not at all, and JSON that a person can read."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

_DIGITS = 10


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that a reader sees the old one or the new one, never a half."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def sha256(content: bytes) -> str:
    """Return the digest of some bytes, with the name of the method before it."""
    return "sha256:" + hashlib.sha256(content).hexdigest()


def readable_json(content: dict[str, Any]) -> str:
    """Return JSON text with one entry a line, numbers to ten digits."""
    return _lines(rounded(content)) + "\n"


def rounded(value: Any) -> Any:
    """Return plain numbers with ten digits, so that the last bit of a sum never changes a file."""
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [rounded(item) for item in value]
    if isinstance(value, (float, np.floating)):
        return float(f"{value:.{_DIGITS}g}")
    return int(value) if isinstance(value, np.integer) else value


def _lines(content: dict[str, Any]) -> str:
    """JSON with one entry a line, and long lists of candidates one candidate a line."""

    def compact(value: Any) -> str:
        return json.dumps(value, ensure_ascii=False)

    def block(value: Any) -> str:
        if isinstance(value, dict) and value:
            rows = [f"    {compact(key)}: {compact(item)}" for key, item in value.items()]
            return "{\n" + ",\n".join(rows) + "\n  }"
        if isinstance(value, list) and value and isinstance(value[0], (dict, list)):
            return "[\n" + ",\n".join(f"    {compact(item)}" for item in value) + "\n  ]"
        return compact(value)

    rows = [f"  {compact(key)}: {block(value)}" for key, value in content.items()]
    return "{\n" + ",\n".join(rows) + "\n}"
