"""What readers call the cuts, allowances and quantities that code and files name by a word."""

from __future__ import annotations

import re

from airstats.catalog.cut_patterns import CUTS

_UNITS = {f"_{end}": f", {end}" for end in ("rolls", "packs", "money", "mm", "m")} | {"_m2": ", m²"}
_REVEALS = re.compile(r"reveal_(\w+)_m2")


def reader_name(code: str) -> str:
    """Return "corner to corner" for "diagonal" and "reveal.diagonal", "laid, m²" for "laid_m2".

    A word that is no code, such as the name of a material, stays.
    """
    kind, _, rest = code.rpartition(".")
    if rest in CUTS or kind in ("reveal", "reuse"):
        words = CUTS[rest].words if rest in CUTS else rest
        return f"off-cuts used, {words}" if kind == "reuse" else words
    if reveals := _REVEALS.fullmatch(code):
        return f"reveals {reader_name(reveals[1])}, m²"
    if not re.fullmatch(r"[a-z][a-z0-9_]*", code):
        return code
    for end, unit in _UNITS.items():
        if code.endswith(end):
            return code.removesuffix(end).replace("_", " ") + unit
    return code.replace("_", " ")
