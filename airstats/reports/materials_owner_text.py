"""What the owner is told of the materials besides the sheet: how far over, and mainly why."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from airstats.analysis.material_jobs import (
    MATERIAL_NET,
    estimated_jobs,
    material_overrun,
    material_split,
    overrun_units,
    price_follows_count,
)
from airstats.analysis.overrun_split import overrun_packs
from airstats.base.number_text import (
    by_chance,
    capital,
    each,
    give_or_take,
    in_currency,
    in_percent,
    listed,
    number,
)
from airstats.model.quarterly_update import Product, learnt_materials
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table

HEADING = "## Tape, corners and the rest"
WAYS = {"over": "over the price", "under": "below it"}
COUNTED_WORDS = {
    "joint tape": "the joints",
    "frame tape": "the edges of the frames",
    "corner pieces": "the corners",
}
"""What is counted for a material, where its own name does not say it."""
COLUMNS = (
    *("material", "jobs", "estimated_packs", "used_packs"),
    *("over", "mean_money", "reason"),
)


def owner_section(desk: Desk) -> Section:
    """Return how far each material ran over, and why; nothing for a firm that keeps none."""
    every = learnt_materials(desk.records, desk.now)
    kept = [one for one in every if len(estimated_jobs(one.jobs))]
    if not kept:
        return ()
    currency, table = desk.firm.currency, pd.DataFrame(map(material_row, kept))
    said = f"{HEADING}\n\n{overrun_words(table, currency)}"
    shown = " ".join(name for name in COLUMNS if table[name].notna().any())
    caption = "Packs over the jobs that priced them; ±: what chance makes over such jobs (90 %)"
    return Words(said), show_table(table, caption, shown, currency)


def material_row(one: Product) -> dict[str, object]:
    """Return what the owner's table says of a material: `COLUMNS`, and the verdict."""
    priced, likely = estimated_jobs(one.jobs), material_overrun(one.jobs)
    money = np.nan
    if "money" in overrun_units(priced):
        money = (overrun_packs(priced) * priced.told("pack_price")).sum()
    way = "by chance" if by_chance(likely) else "over" if likely["mean"] > 0 else "under"
    reasons = {
        "by chance": "chance",
        "under": "the price held more than the jobs took",
    }
    reason = reasons.get(way) or _reason(one)
    waste = in_percent(one.known.table().loc[["waste"]].iloc[0])
    return {
        "material": one.name,
        "jobs": len(priced),
        "estimated_packs": priced.told("estimated").sum(),
        "used_packs": priced.told("used").sum(),
        "mean_packs": likely["mean"],
        "over": give_or_take(likely) if np.isfinite(likely["low"]) else number(likely["mean"]),
        "mean_money": money,
        "reason": reason,
        "way": way,
        "to_price": f"{one.name} {waste}" * reason.startswith("waste"),
    }


def overrun_words(table: pd.DataFrame, currency: str = "") -> str:
    """Say which materials ran over, from rows of `material_row`."""
    parts = {way: table[table["way"].eq(way)] for way in ("over", "under", "by chance")}
    said = [
        f"{row.material} {_packs(abs(row.mean_packs))} {WAYS[way]}{_worth(row, currency)}"
        for way in WAYS
        for row in each(parts[way])
    ]
    same = listed(parts["by chance"]["material"].tolist())
    told = [f"**{capital(listed(said))}.**"] if said else []
    wasted = listed([text for text in table["to_price"] if text])
    told += [f"Price for waste: {wasted}."] if wasted else []
    told += [f"{capital(same)}: no more than chance makes."] if same else []
    return " ".join(told)


def _reason(one: Product) -> str:
    """The largest sure cause, with its packs."""
    causes = material_split(one).set_index("cause")
    missing, waste = (row for _, row in causes.loc[["not_counted", "waste"]].iterrows())
    net = material_split(one, causes=MATERIAL_NET).set_index("cause")
    if missing["low"] > 0:
        parts = pd.concat([causes.loc[["not_counted", "waste"]], net.drop("beyond_price")])
    else:
        parts = net.rename(index={"beyond_price": "waste"})
    sure = parts[parts["low"] > 0].nlargest(1, "mean")
    if sure.empty:
        return "no cause by itself is sure"
    cause, amount = str(sure.index[0]), give_or_take(sure.iloc[0], "packs")
    if cause == "not_counted":
        return _uncounted(one, amount)
    if cause == "waste":
        held = f", {_turned(missing)} of it priced" if missing["high"] < 0 else ""
        return f"waste, {give_or_take(waste, 'packs')}{held}"
    return f"{'packs opened whole' if cause == 'whole_packs' else 'unexplained'}: {amount}"


def _uncounted(one: Product, amount: str) -> str:
    what = COUNTED_WORDS.get(one.name, f"the {one.name}")
    if price_follows_count(one.jobs):
        return f"the price held too little for {what}: {amount}"
    return f"nobody counts {what}, as the price does not follow them: {amount}"


def _turned(row: pd.Series) -> str:
    """What a price held, from the row that says how much it lacked."""
    return give_or_take(pd.Series({"mean": -row["mean"], "low": -row["high"], "high": -row["low"]}))


def _packs(value: float) -> str:
    digits = 0 if float(value).is_integer() else 1
    return f"{number(value, digits)} pack{'' if value == 1 else 's'}"


def _worth(row: Any, currency: str) -> str:
    if np.isnan(row.mean_money):
        return ""
    return f" (worth {in_currency(number(abs(row.mean_money), 0), currency)})"
