"""What benchmarks found on invented firms, for reports to quote: a file that they write."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib.resources import files
from typing import Any

from airstats.base.atomic_files import own_digest
from airstats.model.allowances import FORMAT
from airstats.model.prior import DRIFT_OF_FACTORS, Prior

NAME = "invented_firms.json"


def fingerprint() -> str:
    """Return the digest of the model's numbers: the starting belief and the file's format."""
    return own_digest({"format": FORMAT, "drift": DRIFT_OF_FACTORS, "prior": asdict(Prior())})


def found(benchmark: str, row: str) -> dict[str, Any]:
    """Return what a benchmark found, by name, with the number of `firms` and the `model`.

    `python -m tests.benchmark.BENCHMARK --write` writes it.
    """
    text = files(__package__).joinpath(NAME).read_text(encoding="utf-8")
    row_found: dict[str, Any] = json.loads(text)[benchmark][row]
    return row_found
