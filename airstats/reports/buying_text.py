"""Sentences about the buying list."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from airstats.base.number_text import counted, each, listed
from airstats.catalog.materials import SHEET


def headline(bought: pd.DataFrame, jobs: list[str]) -> str:
    """Say in one sentence what to buy and what it costs, as far as prices are known."""
    packs = [
        f"{counted(row.order_packs, 'roll' if row.material == SHEET else 'pack')} of {row.material}"
        for row in each(bought)
    ]
    saved = int((bought["packs_job_by_job"] - bought["order_packs"]).sum())
    less = f": {counted(saved, 'pack')} fewer than ordered job by job" if saved > 0 else ""
    start = f"For {counted(len(jobs), 'job')} buy {listed(packs)}{less}."
    priced = bought["order_money"].notna()
    if not priced.any():
        return f"{start} No pack price is known."
    missing = listed(bought.loc[~priced, "material"].unique().tolist())
    without = f" (no price is known for {missing})" if missing else ""
    return (
        f"{start} They cost {bought['order_money'].sum():,.0f}{without}, of which"
        f" {bought['left_over_money'].sum():,.0f} is likely left over in unopened packs."
    )


def not_priced(names: list[str]) -> str:
    """Say which known materials were left out, and how to have them; empty if none was."""
    if not names:
        return ""
    them = "it" if len(names) == 1 else "them"
    return (
        f"Not priced: {listed(names)}. No record tells of {them}: note what each job uses, or name"
        f" {them} in a table `materials` of the jobs to price (`job_id`, `material`)."
    )


def unlearnt(bought: pd.DataFrame) -> str:
    """Say which materials were priced from the starting belief alone; empty if none was."""
    names = bought.loc[bought["jobs_counted"] == 0, "material"].unique().tolist()
    if not names:
        return ""
    return (
        f"No finished job has taught anything about {listed(names)} yet: priced from the"
        " starting belief, which is wide."
    )


def remarks(bought: pd.DataFrame, left_out: Sequence[str] = ()) -> list[str]:
    """Say what the reader of a list must know beside its numbers; none where there is nothing.

    `left_out` are the known materials that are not on it.
    """
    return [line for line in (unlearnt(bought), not_priced(list(left_out))) if line]
