"""The other materials in the allowances file: what a person reads, and what the next quarter needs.

A block is one material's part of the file: `shown` (numbers to read), `chain` (which jobs taught
it) and `candidates` (the belief). In the file the three stand apart, so that the numbers to read
come early and the long list of candidates last.
"""

from __future__ import annotations

from typing import Any

from airstats.model.posterior_file import belief_of, check_history, is_number, is_texts

Blocks = dict[str, dict[str, Any]]
_NUMBERS = ("mean", "sd", "low", "high", "pack", "jobs_used")
_MOST = 1e10
"""Above the dearest pack."""
_TEXTS = ("unit", "driver", "pack_unit")


def shown_part(blocks: Blocks) -> dict[str, Any]:
    """Return what is put in the file for people; nothing where there is no other material."""
    return {"materials": {name: block["shown"] for name, block in blocks.items()}} if blocks else {}


def stored_part(blocks: Blocks) -> dict[str, Any]:
    """Return what is put in the file for the next quarter."""
    if not blocks:
        return {}
    return {
        "material_chains": {name: block["chain"] for name, block in blocks.items()},
        "material_candidates": [
            {"material": name, **row}
            for name, block in blocks.items()
            for row in block["candidates"]
        ],
    }


def blocks_of(content: dict[str, Any]) -> Blocks:
    """Return the blocks of a file; none for a file without other materials.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a block is damaged.
    """
    blocks: Blocks = {}
    for name, shown in content.get("materials", {}).items():
        chain = content["material_chains"][name]
        rows = [row for row in content["material_candidates"] if row["material"] == name]
        candidates = [{k: v for k, v in row.items() if k != "material"} for row in rows]
        _refuse_damage(name, shown, chain, candidates)
        blocks[name] = {"shown": shown, "chain": chain, "candidates": candidates}
    return blocks


def _refuse_damage(
    name: str, shown: dict[str, Any], chain: dict[str, Any], candidates: list[dict[str, Any]]
) -> None:
    belief_of(candidates, tuple(chain["crews"]), chain)
    check_history(chain, chain["crews"])
    price = shown["pack_price"]
    numbers = [shown[key] for key in _NUMBERS] + ([] if price is None else [price])
    if not all(is_number(value, _MOST) for value in numbers) or shown["pack"] <= 0:
        raise ValueError(f"a number of {name} cannot be")
    if not is_texts([shown[key] for key in _TEXTS]):
        raise ValueError(f"a text of {name} is none")
