"""What each reader is told of the materials besides the sheet: sections that may be absent.

A section is what a notebook shows one after the other, its heading first; for a firm that keeps no
records of other materials it is empty, heading and all.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from airstats.allowances import Allowances
from airstats.buying import buying_list, headline, unlearnt
from airstats.charts_materials import material_causes
from airstats.decisions import KEEP
from airstats.desk import Desk
from airstats.material_calibration import material_suspects
from airstats.material_jobs import (
    MATERIAL_CAUSE_WORDS,
    MaterialJobs,
    material_comparison,
    material_jobs,
    material_split,
)
from airstats.material_pricing import price_materials
from airstats.materials import SHEET
from airstats.phrases import counted, give_or_take, listed, number
from airstats.quarterly import with_materials
from airstats.screen import Words, show_table

Section = tuple[Any, ...]

OWNER_HEADING = "## Tape, corners and the rest"
REASONS = {
    "not_counted": "the price held less than the openings and courses need",
    "waste": "more is used than is counted, at the usual rate",
    "crew": "the crews depart from the usual rate",
    "whole_packs": "packs are counted whole",
}
"""A cause that is surely above zero, as a reason."""


def materials_now(desk: Desk) -> Allowances:
    """Return the desk's allowances with those of the other materials.

    Where the quarter's new values were not accepted, the materials too stay as they were.
    """
    if desk.now.decision.get("decision") == KEEP and desk.before:
        kept = with_materials(desk.before, desk.records, desk.previous)
        return replace(desk.now, materials=kept.materials)
    return with_materials(desk.now, desk.records, desk.previous)


def owner_section(desk: Desk) -> Section:
    """Return how far each material ran over, and why."""
    now = materials_now(desk)
    kept = [one for one in material_jobs(desk.records, now) if len(one.priced())]
    if not kept:
        return ()
    splits = {one.name: material_split(one) for one in kept}
    table = pd.concat([split.assign(material=name) for name, split in splits.items()])
    said = " ".join(_overrun_words(one, splits[one.name]) for one in kept)
    words = table.assign(cause=table["cause"].map(MATERIAL_CAUSE_WORDS)).rename(
        columns={"mean": "mean_packs", "low": "low_packs", "high": "high_packs"}
    )
    return (
        Words(f"{OWNER_HEADING}\n\n{said}"),
        material_causes(table),
        show_table(
            words,
            "Packs beyond the price, by cause",
            "material cause mean_packs low_packs high_packs",
        ),
    )


def update_section(desk: Desk) -> Section:
    """Return each material's last and new value with a verdict."""
    now = materials_now(desk)
    if not now.materials:
        return ()
    before = with_materials(desk.before, desk.records, desk.previous) if desk.before else None
    table = material_comparison(desk.records, before, now)
    verdicts = table.groupby("verdict", sort=False)["allowance"].agg(list)
    said = "; ".join(f"{verdict}: {listed(names)}" for verdict, names in verdicts.items())
    said = said[:1].upper() + said[1:]
    look = [f"{name} of {job} ({chance:.0%})" for name, job, chance in material_suspects(now)]
    doubt = f" Look at {listed(look)}: so likely is the record wrong." if look else ""
    return (
        Words(f"## The other materials\n\n**{said}.**{doubt}"),
        show_table(
            table,
            "Used above the counted quantity, a share of it; ± is one standard deviation (sd)",
            "allowance old old_sd alone alone_sd new new_sd unit verdict reason",
        ),
    )


def price_section(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Return the packs for each job, and one buying list for all of them."""
    now = materials_now(desk)
    if not now.materials:
        return ()
    jobs = desk.to_price or desk.quarter_records()
    priced = price_materials(jobs, now, leftover_cost, short_cost)
    bought = buying_list(jobs, now, leftover_cost, short_cost)
    return (
        Words(
            "## Tape, corners and the whole list\n\n"
            f"**{headline(bought, jobs.jobs['job_id'].tolist())}** {unlearnt(bought)}"
        ),
        show_table(
            bought.rename(columns={"low_packs": "from_packs", "high_packs": "to_packs"}),
            "What to buy for all jobs together",
            "material unit pack jobs expected from_packs to_packs order_packs chance_short"
            " expected_left_over_packs order_money left_over_money",
        ),
        show_table(
            priced[priced["material"].ne(SHEET)].rename(
                columns={"low": "low_amount", "high": "high_amount"}
            ),
            "Packs for each job by itself",
            "job_id material unit pack expected low_amount high_amount order_packs chance_short",
        ),
    )


def _overrun_words(one: MaterialJobs, split: pd.DataFrame) -> str:
    table = one.priced().table
    over = table["used_rolls"] - table["estimated_rolls"]
    price = one.pack_price.reindex(table.index)
    money = f", about {number(float((over * price).sum()), 0)} money" if price.notna().all() else ""
    start = (
        f"**{one.name.capitalize()}: {counted(round(abs(over.sum())), 'pack')}"
        f" {'more' if over.sum() >= 0 else 'fewer'} than priced over {counted(len(table), 'job')}"
        f"{money}.**"
    )
    sure = split[(split["low"] > 0) & split["cause"].ne("unexplained")].nlargest(1, "mean")
    if sure.empty:
        return f"{start} No cause by itself is surely above zero."
    row = sure.iloc[0]
    return f"{start} The main reason: {REASONS[row['cause']]}, {give_or_take(row, 'packs')} (90 %)."
