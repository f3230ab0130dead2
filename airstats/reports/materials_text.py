"""What each reader is told of the materials besides the sheet: sections that may be absent.

A section is what a notebook shows one after the other, its heading first; for a firm that keeps no
records of other materials it is empty, heading and all.
"""

from __future__ import annotations

import pandas as pd

from airstats.analysis.material_jobs import material_comparison
from airstats.base.number_text import each, listed, percent
from airstats.catalog.materials import SHEET, pack_word, plural
from airstats.pricing.newsvendor import left_out, price_materials
from airstats.pricing.purchases import buying_list
from airstats.reports.buying_text import headline, remarks
from airstats.reports.column_headings import PACKS
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.update_text import comparison


def update_section(desk: Desk) -> Section:
    """Return each material's last and new value with a verdict."""
    now = desk.now
    if not now.materials:
        return ()
    table = material_comparison(desk.records, desk.before, now)
    verdicts = table.groupby("verdict", sort=False)["allowance"].agg(list)
    said = "; ".join(f"{verdict}: {listed(names)}" for verdict, names in verdicts.items())
    look = [
        f"{name} of {row.job_id} ({percent(row.probability)})"
        for name in now.materials
        for row in each(desk.suspects(name))
    ]
    doubt = (
        f" Look at {listed(look)}: in brackets the chance that the record is wrong." if look else ""
    )
    return (
        Words(f"## The other materials\n\n**{said[:1].upper()}{said[1:]}.**{doubt}"),
        comparison(table, "Used above what is counted, %; ± holds 90 %", desk.before is None),
    )


def price_section(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Return the packs for each job, and one buying list for all of them.

    Parameters
    ----------
    desk : Desk
        Its jobs to price, or those of its quarter, are priced.
    leftover_cost, short_cost : float
        As for `price_materials`.
    """
    now = desk.now
    jobs = desk.ahead()
    bought = buying_list(jobs, now, leftover_cost, short_cost, firm=desk.firm)
    if bought["material"].eq(SHEET).all():
        return ()
    told = remarks(bought, left_out(jobs, now, desk.firm))
    alone = price_materials(jobs, now, leftover_cost, short_cost, firm=desk.firm)
    return (
        Words(
            "## Everything to buy, tape and corners too\n\n"
            f"**{headline(bought, jobs.jobs['job_id'].tolist())}** {' '.join(told)}"
        ),
        show_table(
            together_and_alone(bought, alone),
            "To buy, for all jobs together and for each if it is supplied by itself:"
            f" {_in_packs(bought)}; chances and costs stand in the buying list",
            name="packs",
        ),
    )


def together_and_alone(bought: pd.DataFrame, alone: pd.DataFrame) -> pd.DataFrame:
    """Return the packs of each material, for all jobs together and below it for each by itself.

    Parameters
    ----------
    bought : DataFrame
        From `buying_list`.
    alone : DataFrame
        From `price_materials`.
    """
    single = alone.assign(order_packs=alone["buy_packs"])
    both = pd.concat([bought.assign(job_id="all"), single], ignore_index=True)
    table = both.pivot_table("order_packs", "job_id", "material", "sum", sort=False)
    return table.add_prefix(PACKS).reset_index()


def _in_packs(bought: pd.DataFrame) -> str:
    """Return "sheet in rolls of 75 m², joint tape in packs of 25 m"."""
    said = []
    for material, rows in bought.groupby("material", sort=False):
        sizes = listed([f"{size:g}" for size in rows["pack"]])
        unit = plural(rows["unit"].iloc[0])
        said.append(f"{material} in {pack_word(str(material))}s of {sizes} {unit}")
    return listed(said)
