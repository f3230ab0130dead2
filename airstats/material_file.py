"""The other materials in the allowances file: what a person reads, and what the next quarter needs.

A block is one material's part of the file: `shown` (numbers to read), `chain` (which jobs taught
it) and `candidates` (the belief). In the file the three stand apart, so that the numbers to read
come early and the long list of candidates last.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from airstats.belief_file import belief_of, check_history

Blocks = dict[str, dict[str, Any]]


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
        If a block is damaged, or its numbers do not follow from its candidates.
    """
    blocks: Blocks = {}
    for name, shown in content.get("materials", {}).items():
        chain = content["material_chains"][name]
        rows = [row for row in content["material_candidates"] if row["material"] == name]
        candidates = [{k: v for k, v in row.items() if k != "material"} for row in rows]
        blocks[name] = {"shown": shown, "chain": chain, "candidates": candidates}
        _refuse_hand_edits(name, blocks[name])
    return blocks


def _refuse_hand_edits(name: str, block: dict[str, Any]) -> None:
    chain, shown = block["chain"], block["shown"]
    belief = belief_of(block["candidates"], tuple(chain["crews"]), chain)
    check_history(chain, chain["crews"])
    if not np.isclose(belief.weight @ belief.mean[:, 0], shown["mean"], atol=1e-6):
        raise ValueError(f"the mean of {name} does not follow from its candidates")
    if shown["jobs_used"] != len(chain["job_ids"]):
        raise ValueError(f"jobs_used of {name} is not the number of its job_ids")
