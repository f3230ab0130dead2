"""What the owner is told of the materials besides the sheet: how far over, and mainly why."""

from __future__ import annotations

import pandas as pd

from airstats.analysis.material_jobs import (
    MATERIAL_CAUSE_WORDS,
    MATERIAL_NET,
    estimated_jobs,
    material_overrun,
    material_split,
    overrun_by_cause,
    overrun_units,
    price_follows_count,
)
from airstats.analysis.overrun_split import overrun_packs
from airstats.base.number_text import counted, give_or_take, number, own_money
from airstats.model.quarterly_update import Product, learnt_materials
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.materials_charts import material_causes
from airstats.takeoff.sheet_quantities import Takeoff

HEADING = "## Tape, corners and the rest"
COUNTED_WORDS = {
    "joint tape": "the joints",
    "frame tape": "the edges of the frames",
    "corner pieces": "the corners",
}
"""What is counted for a material, where its own name does not say it."""
COLUMNS = (
    *("material", "cause", "mean_packs", "low_packs", "high_packs"),
    *("mean_money", "low_money", "high_money"),
)


def owner_section(desk: Desk) -> Section:
    """Return how far each material ran over, and why; nothing for a firm that keeps none."""
    every = learnt_materials(desk.records, desk.now)
    kept = [one for one in every if len(estimated_jobs(one.jobs))]
    if not kept:
        return ()
    table = pd.concat([overrun_by_cause(one) for one in kept], ignore_index=True)
    currency = desk.firm.currency
    said = "\n\n".join(overrun_words(one, currency) for one in kept)
    worded = table.assign(cause=table["cause"].map(MATERIAL_CAUSE_WORDS))
    shown = " ".join(name for name in COLUMNS if table[name].notna().any())
    return (
        Words(f"{HEADING}\n\n{said}"),
        material_causes(table),
        show_table(
            worded, "Packs beyond the price, by cause; low and high hold 90 %", shown, currency
        ),
    )


def overrun_words(one: Product, currency: str = "") -> str:
    """Say how far one material ran over, and the main reason if one is sure."""
    priced = estimated_jobs(one.jobs)
    over = overrun_packs(priced).sum()
    way = "more" if over >= 0 else "fewer"
    start = (
        f"**{one.name.capitalize()}: {_packs(abs(over))} {way} than priced over"
        f" {counted(len(priced), 'job')}{_worth(priced, currency)}.**"
    )
    likely = material_overrun(one.jobs)
    if likely["low"] <= 0 <= likely["high"]:
        return f"{start} Nothing to find: that is no more than chance makes."
    if over < 0:
        return f"{start} The price held more than the jobs took."
    return f"{start} {_reason(one)}"


def _reason(one: Product) -> str:
    """The largest sure cause as a sentence."""
    causes = material_split(one).set_index("cause")
    missing, waste = (row for _, row in causes.loc[["not_counted", "waste"]].iterrows())
    net = material_split(one, causes=MATERIAL_NET).set_index("cause")
    if missing["low"] > 0:
        parts = pd.concat([causes.loc[["not_counted", "waste"]], net.drop("beyond_price")])
    else:
        parts = net.rename(index={"beyond_price": "waste"})
    sure = parts[parts["low"] > 0].nlargest(1, "mean")
    if sure.empty:
        return "No cause by itself is sure."
    cause, amount = str(sure.index[0]), give_or_take(sure.iloc[0], "packs")
    if cause == "not_counted":
        return _uncounted(one, amount)
    if cause == "waste":
        held = f"; the price held {_turned(missing)} for it" if missing["high"] < 0 else ""
        return f"The main reason is waste: it took {give_or_take(waste, 'packs')}{held}."
    if cause == "whole_packs":
        return f"The main reason: packs are opened whole, {amount}."
    return f"The main part is unexplained: {amount}."


def _uncounted(one: Product, amount: str) -> str:
    what = COUNTED_WORDS.get(one.name, f"the {one.name}")
    if price_follows_count(one.jobs):
        return f"The main reason: the price held too little for {what}; {amount} were left out."
    return f"Nobody counts {what}: the price does not follow their number and left out {amount}."


def _turned(row: pd.Series) -> str:
    """What a price held, from the row that says how much it lacked."""
    return give_or_take(pd.Series({"mean": -row["mean"], "low": -row["high"], "high": -row["low"]}))


def _packs(value: float) -> str:
    digits = 0 if float(value).is_integer() else 1
    return f"{number(value, digits)} pack{'' if value == 1 else 's'}"


def _worth(priced: Takeoff, currency: str) -> str:
    if "money" not in overrun_units(priced):
        return " (no pack_price in the records, so no money)"
    money = (overrun_packs(priced) * priced.told("pack_price")).sum()
    return f", about {own_money(number(abs(money), 0), currency)}"
