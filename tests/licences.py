"""The licence of every library in `constraints.txt`, as its own metadata state it.

`python -m tests.licences` writes `tests/licences.csv` anew from what is installed here; a library
that this system does not need keeps its row, read from its wheel by hand.
"""

import re
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

import pandas as pd

LIST = Path(__file__).with_name("licences.csv")
LOCK = Path(__file__).parents[1] / "constraints.txt"
HASHES = Path(__file__).parents[1] / ".ci" / "hashes.txt"
OSI = "License :: OSI Approved"


def locked(lock: Path = LOCK) -> dict[str, set[str]]:
    """Return name to versions of the libraries that a lock file pins."""
    found: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([\w.-]+)==([^\s;\\]+)", lock.read_text("utf-8"), re.M):
        found.setdefault(name, set()).add(version)
    return found


def stated(name: str) -> str | None:
    """Return the licence by the metadata of an installed library, None if it is not installed."""
    try:
        told = metadata(name)
    except PackageNotFoundError:
        return None
    classes = [line for line in told.get_all("Classifier", []) if line.startswith(OSI)]
    own = [line.rpartition(" :: ")[2] for line in classes if line != OSI]
    text = (told.get("License") or "").strip().splitlines()
    return told.get("License-Expression") or "; ".join(own) or (text[0] if text else "not stated")


def listed() -> dict[str, str]:
    """Return name to licence, as the list has it."""
    table = pd.read_csv(LIST, dtype=str)
    return dict(zip(table["library"], table["licence"], strict=True))


def main() -> None:
    """Write the list anew."""
    known = listed() if LIST.exists() else {}
    rows = [(name, stated(name) or known.get(name, "not stated")) for name in sorted(locked())]
    pd.DataFrame(rows, columns=["library", "licence"]).to_csv(LIST, index=False)


if __name__ == "__main__":
    main()
