"""Files that are written whole or not at all, and JSON that a person can read."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from glob import escape
from pathlib import Path
from typing import Any

import numpy as np

try:
    import fcntl
except ImportError:  # Windows: there an open file cannot be cleared away in any case.
    fcntl = None  # type: ignore[assignment]

_PART = ".part"


def write_whole(path: Path, content: str | bytes, mode: int = 0o666) -> None:
    """Write a file so that a reader sees the old one or the new one, never a half.

    What a killed run left half-written is cleared away first.

    Parameters
    ----------
    path : Path
        Folders that are missing above it are made.
    content : str or bytes
        Text is written in UTF-8.
    mode : int
        The rights that the file may give; of them the user's umask takes its part.

    Raises
    ------
    OSError
        If the folder or the disk refuses; then the old file stands as it was.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for part in path.parent.glob(f".{escape(path.name)}.*{_PART}"):
            # Another run may write it now, or have just finished with it.
            with suppress(BlockingIOError, FileNotFoundError, PermissionError), held(part):
                part.unlink()
        data = content.encode("utf-8") if isinstance(content, str) else content
        _write_beside(path, data, mode)
    except OSError as error:
        raise OSError(error.errno, error.strerror or str(error), str(path)) from error


@contextmanager
def held(path: Path, wait_s: float = 0.0) -> Iterator[None]:
    """Hold a file or folder, so that other runs can tell; a run that dies lets go.

    Parameters
    ----------
    path : Path
        It must be there already.
    wait_s : float
        How long to wait for another run that holds it, s.

    Raises
    ------
    BlockingIOError
        If another run holds it.
    """
    if fcntl is None:
        yield
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        _lock(handle, time.monotonic() + wait_s)
        yield
    finally:
        os.close(handle)


def _lock(handle: int, until: float) -> None:
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except BlockingIOError:
            if time.monotonic() >= until:
                raise
            time.sleep(0.05)
        except OSError:
            # Some shared disks know no locks: there two runs at once are not noticed.
            return


def _write_beside(path: Path, content: bytes, mode: int) -> None:
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}{_PART}")
    os.close(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode))
    try:
        with held(temporary):
            with open(temporary, "wb") as file:
                file.write(content)
                file.flush()
                # Else a power cut after the move could leave an empty file under the name.
                os.fsync(file.fileno())
            os.replace(temporary, path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def sha256(content: bytes) -> str:
    """Return the digest of some bytes, with the name of the method before it."""
    return "sha256:" + hashlib.sha256(content).hexdigest()


def own_digest(content: dict[str, Any]) -> str:
    """Return the digest of a JSON object's own numbers and texts, all but its entry `digest`."""
    rest = {key: value for key, value in content.items() if key != "digest"}
    return sha256(json.dumps(rest, sort_keys=True).encode())


def readable_json(content: dict[str, Any]) -> str:
    """Return JSON text with one entry a line; see `rounded`."""
    return _lines(content) + "\n"


def rounded(value: Any) -> Any:
    """Return plain numbers with ten digits, so that the last bit of a sum never changes a file."""
    if isinstance(value, float):
        return float(f"{value:.10g}")
    if isinstance(value, (np.ndarray, np.generic)):
        return rounded(value.tolist())
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    return [rounded(item) for item in value] if isinstance(value, (list, tuple)) else value


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
