"""What the doubting reader is told of the materials besides the sheet."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.analysis.regressions import material_regression
from airstats.backtests.forecast_checks import short_of
from airstats.backtests.rolling import PACK_RULES, replay, summary_by_rule
from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.number_text import between, capital, chance, counted, each, listed, number
from airstats.catalog.materials import MATERIALS
from airstats.model.allowances import Allowances, material_table
from airstats.model.quarterly_update import Product, learnt_materials
from airstats.reports.desk import Desk
from airstats.reports.display import Section, Words, show_table
from airstats.reports.references import cite


def evidence_section(
    desk: Desk, leftover_cost: float = LEFTOVER_COST, short_cost: float = SHORT_COST
) -> Section:
    """Return what is known of each material, why, and whether its packs were foretold.

    Parameters
    ----------
    desk : Desk
        With its finished jobs.
    leftover_cost, short_cost : float
        As for `replay`.
    """
    now = desk.now
    if not now.materials:
        return ()
    counts = learnt_materials(desk.records, now)
    table = _allowances(counts, now)
    return (
        Words(
            f"### The other materials\n\n{_method()} {_compared(table)}{_wrong(desk)} {_why(table)}"
        ),
        show_table(
            table,
            "Each material's allowance, a share of its driver",
            "material driver jobs prior of_counts of_plain",
        ),
        *_back_tests(counts, leftover_cost, short_cost),
    )


def _method() -> str:
    return (
        "Each is calibrated like the sheet against its own driver (tape metres, corners), counted"
        " from the openings and the courses: used = driver × (1 + allowance + crew), with the same"
        " interval likelihood and carry-forward. What the counting leaves out (a corner folded)"
        " goes into the allowance."
    )


def _allowances(counts: list[Product], now: Allowances) -> pd.DataFrame:
    rows = []
    for one in counts:
        material, known = MATERIALS[one.name], material_table(now).loc[one.name]
        told = {
            "material": one.name,
            "driver": material.driver,
            "jobs": len(one.known.job_ids),
            "prior": f"{material.allowance[0]:g} (sd {material.allowance[1]:g})",
            "reason": material.reason,
        }
        columns = ("mean", "sd", "low", "high", "unit")
        rows.append(told | {name: known[name] for name in columns} | material_regression(one.jobs))
    table = pd.DataFrame(rows)
    for column, ends in (
        ("of_counts", ["mean", "low", "high"]),
        ("of_plain", ["plain", "plain_low", "plain_high"]),
    ):
        table[column] = [_told_share(*row) for row in table[ends].to_numpy()]
    return table


def _told_share(mean: float, low: float, high: float) -> str:
    return f"{number(mean, 3)} ({between(low, high, digits=3)})" if np.isfinite(mean) else ""


def _compared(table: pd.DataFrame) -> str:
    inside = (table["low"] <= table["plain_high"]) & (table["plain_low"] <= table["high"])
    apart = table.loc[~inside & table["plain_low"].notna(), "material"].tolist()
    alike = table.loc[inside, "material"].tolist()
    said = "A plain regression of the middle of the count on the driver, without intercept"
    said += f" {cite('robust errors')}, stands beside it"
    if alike:
        said += f"; the 90 % intervals overlap for {listed(alike)}"
    return said + (f"; they do not for {listed(apart)}." if apart else ".")


def _why(table: pd.DataFrame) -> str:
    """Why the starting beliefs are what they are: all of them our own."""
    reasons = [f"{capital(row.material)}: {row.reason}" for row in each(table)]
    return f"The starting beliefs are our own. {' '.join(reasons)}"


def _wrong(desk: Desk) -> str:
    """The records of these quarters that the calibration holds for likely wrong."""
    named = [
        f"{name} of {row.job_id} ({chance(row.probability)})"
        for name in desk.now.materials
        for row in each(desk.suspects(name))
    ]
    if not named:
        return " No record is likely wrong."
    return f" Likely wrong: {listed(named)}; the model makes it count little."


def _back_tests(counts: list[Product], leftover_cost: float, short_cost: float) -> Section:
    """Sentence and table of the back-test; one sentence where no material allows one."""
    found = {one.name: replay(one.jobs, leftover_cost, short_cost) for one in counts}
    known = {name: table for name, table in found.items() if len(table)}
    if not known:
        return (Words("No back-test of packs: no material has counts in two quarters or more."),)
    summaries = [
        summary_by_rule(table, PACK_RULES).assign(material=name) for name, table in known.items()
    ]
    table = pd.concat(summaries, ignore_index=True)
    none = [name for name in found if name not in known]
    rest = f" {listed(none)}: counts in one quarter only." if none else ""
    return (
        Words(f"{' '.join(_told(name, table) for name, table in known.items())}{rest}"),
        show_table(
            table.assign(rule=table["rule"].map(PACK_RULES)),
            "Packs priced from the quarters before, on the same jobs; the first quarter's are not",
            "material rule jobs jobs_short packs_short packs_left_over",
        ),
    )


def _told(name: str, jobs: pd.DataFrame) -> str:
    short = short_of(jobs["chance_short"], jobs["needed_packs"] > jobs["airstats_packs"])
    judged = {"as foretold": "as chance allows"}.get(
        short["verdict"], f"{short['verdict']} than chance allows"
    )
    return (
        f"{name.capitalize()}, {counted(len(jobs), 'job')}: foretold to run short on"
        f" {number(short['foretold'], 1)} jobs (chance: {short['low']} to {short['high']}),"
        f" {counted(int(short['came']), 'job')} did, {judged}."
    )
