"""Sentences about the buying list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from airstats.base.number_text import counted, each, in_currency, listed, listing, number
from airstats.catalog.materials import pack_word


def headline(bought: pd.DataFrame, jobs: list[str]) -> str:
    """Say in one sentence what to buy and what it costs, as far as prices are known."""
    fewer = bought["packs_job_by_job"] - bought["order_packs"]
    saved = [
        _of(row.material, int(less))
        for row, less in zip(each(bought), fewer, strict=True)
        if less > 0
    ]
    less = f" (ordered job by job it would be {listed(saved)} more)" if saved else ""
    packs = [_of(row.material, row.order_packs) for row in each(bought)]
    start, shelf = f"For {counted(len(jobs), 'job')} buy {listed(packs)}{less}", _from_stock(bought)
    priced = bought["order_money"].notna()
    if not priced.any():
        return f"{start}. No pack price is known.{shelf}"
    missing = listed(bought.loc[~priced, "material"].unique().tolist())
    without = f" (no price is known for {missing})" if missing else ""
    sums = bought["order_money"].sum(), bought["left_over_money"].round().sum()
    whole, left = (in_currency(number(money, 0), bought["currency"].iloc[0]) for money in sums)
    cost = f"They cost {whole}{without}, of which {left} is likely left over, unopened."
    return f"{start}. {cost}{shelf}"


def _of(material: str, packs: int) -> str:
    return f"{counted(packs, pack_word(material))} of {material}"


def _from_stock(bought: pd.DataFrame) -> str:
    """What the shelf gives, if anything."""
    taken = [
        _of(row.material, row.from_stock_packs) for row in each(bought) if row.from_stock_packs
    ]
    return f" The shelf gives {listed(taken)} besides." if taken else ""


def not_priced(names: list[str]) -> str:
    """Say which known materials were left out, and how to have them; empty if none was."""
    if not names:
        return ""
    them, their = ("it", "its price") if len(names) == 1 else ("them", "their prices")
    return (
        f"Not priced: {listed(names)}. No record tells of {them}: note what each job uses, or name"
        f' {them} in a table "materials" of the jobs to price ("job_id", "material"), or {their}'
        " in firm.toml."
    )


def unlearnt(bought: pd.DataFrame) -> str:
    """Say which materials were priced by common practice alone; empty if none was."""
    names = bought.loc[bought["jobs_counted"] == 0, "material"].unique().tolist()
    if not names:
        return ""
    return (
        f"No finished job has taught anything about {listed(names)} yet: priced"
        " by common practice alone, with a wide interval."
    )


def unmeasured_words(order: Any, openings: pd.DataFrame) -> str:
    """Say of an order, a row of `price`, what is unknown and what measuring it would tell.

    `openings` are those of the takeoff: where depths are unknown, they are named.
    """
    own = openings.assign(mark=openings.get("mark", ""))
    own = own[own["job_id"].eq(order.job_id) & own["reveal_mm"].isna()]
    marks = [row.mark or f"{row.width_mm:.0f} × {row.height_mm:.0f}" for row in each(own)]
    what = f"{order.unmeasured}{f' of {listing(marks)}' if marks else ''}"
    wide, then = f"{order.high_m2 - order.low_m2:.0f}", f"{order.width_if_measured_m2:.0f}"
    told = f"would likely be {then} m² wide instead of {wide} m²"
    if then == wide:
        told = f"would likely stay {wide} m² wide"
    return (
        f"an early price: the {what} are unknown and reckoned as usual; measured, the"
        f" 80 % interval {told}"
    )


def unmeasured(bought: pd.DataFrame) -> str:
    """Say for which jobs the openings or depths are unknown; empty for none."""
    jobs = listed([row.unmeasured for row in each(bought) if row.unmeasured])
    if not jobs:
        return ""
    return (
        f"Openings or depths of {jobs} are unknown: their sheet is reckoned as usual, with a wider"
        " interval, and of the other materials nothing that hangs on unknown openings is listed."
    )


def remarks(bought: pd.DataFrame, left_out: Sequence[str] = ()) -> list[str]:
    """Say what the reader of a list must know beside its numbers; none where there is nothing.

    `left_out` are the known materials that are not on it.
    """
    told = (unlearnt(bought), not_priced(list(left_out)), unmeasured(bought))
    return [line for line in told if line]
