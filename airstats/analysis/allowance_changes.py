"""What moved, which crew differs, and how much the starting belief matters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from airstats.analysis.overrun_split import split_overrun
from airstats.base.quarters import quarter_number, quarters_between
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.model.allowances import REACH, Allowances, unchanged, unit_of
from airstats.model.posterior import FORMS, update, widen, with_depth_error
from airstats.model.prior import Prior
from airstats.model.quarterly_update import run_through
from airstats.pricing.newsvendor import predict
from airstats.takeoff.sheet_quantities import Takeoff

LITTLE = 0.95
"""A quarter that leaves more than this share of the standard deviation tells little."""


def compare_allowances(jobs: Takeoff, before: Allowances | None, now: Allowances) -> pd.DataFrame:
    """Set last quarter's allowances beside this quarter's, with a verdict on each.

    Parameters
    ----------
    jobs : Takeoff
        Finished jobs, those that are new in the quarter among them.
    before, now : Allowances
        Before (None: the starting belief) and after the quarter.

    Returns
    -------
    DataFrame
        One row an allowance: `allowance, old, alone, new` (before, widened by the drift since; by
        the new jobs with the starting belief only; after), each with `_sd, _low, _high` (90 %)
        and `_half` (half of that interval); `unit, move, by_chance, learnt, verdict`.

    Notes
    -----
    If the old belief is right, an update moves the mean by a normal amount with variance old sd²
    - new sd². A move that chance exceeds in fewer than one case of ten counts as moved. If it does
    not and the quarter leaves more than 95 % of the sd, there is not enough to tell.
    """
    start = unchanged(now.quarter, now.belief.prior, now.product)
    known = before or start
    old = widen(known.belief, quarters_between(known.quarter, now.quarter))
    new_jobs = jobs.where(jobs.table["job_id"].isin(now.new_jobs))
    first = with_depth_error(start.belief, now.belief.habits.depth_error_mm)
    alone = update(first, new_jobs)
    table = pd.DataFrame({"allowance": now.table().index})
    for name, belief in (("old", old), ("alone", alone), ("new", now.belief)):
        told = replace(now, belief=belief).table()
        table[[name, *(f"{name}_{part}" for part in ("sd", "low", "high"))]] = told[
            ["mean", "sd", "low", "high"]
        ].to_numpy()
        table[f"{name}_half"] = (told["high"] - told["low"]).to_numpy() / 2
    table["unit"] = [unit_of(name) for name in table["allowance"]]
    left = table["new_sd"] / table["old_sd"]
    table["move"] = table["new"] - table["old"]
    table["by_chance"] = REACH * table["old_sd"] * np.sqrt(1 - left.clip(upper=LITTLE) ** 2)
    table["learnt"] = (1 - (table["new_sd"] / start.table()["sd"].to_numpy()) ** 2).clip(lower=0)
    verdict = np.where(left > LITTLE, "not enough to tell", "held")
    return table.assign(
        verdict=np.where(table["move"].abs() > table["by_chance"], "moved", verdict)
    )


def crew_comparison(jobs: Takeoff, allowances: Allowances) -> pd.DataFrame:
    """Return one row a crew: its departure as pooled, and by its own jobs alone.

    `crew, jobs, pooled, pooled_low, pooled_high, raw` as shares of laid sheet; `mean_rolls,
    low_rolls, high_rolls` the rolls that the departure took.
    """
    named = jobs.where(jobs.table["crew"].ne(""))
    pooled = allowances.crew_table()
    renamed = {"mean": "pooled", "low": "pooled_low", "high": "pooled_high"}
    in_rolls = {name: f"{name}_rolls" for name in renamed}
    if not len(named) or pooled.empty:
        return pd.DataFrame(columns=["crew", "jobs", "raw", *renamed.values(), *in_rolls.values()])
    laid = named.table.groupby("crew")["laid_m2"].sum()
    area = split_overrun(named, allowances, by="crew", unit="m2")
    parts = area.pivot_table("mean", "group", "cause", observed=True)
    rolls = split_overrun(named, allowances, by="crew").query("cause == 'crew'").set_index("group")
    table = pooled.rename(columns=renamed).assign(raw=(parts["crew"] + parts["unexplained"]) / laid)
    return (
        table.join(rolls[list(in_rolls)].rename(columns=in_rolls), how="inner")
        .rename_axis("crew")
        .reset_index()
        .sort_values("pooled", ascending=False, ignore_index=True)
    )


def prior_table(prior: Prior | None = None) -> pd.DataFrame:
    """Return the starting belief number by number: `quantity, prior, unit, reason`."""
    prior = prior or Prior()
    practice = "common practice, no source"
    sites = "budgets 5–10 %, sites 15–30 % (Soibelman, Formoso & Franchi 1994)"
    named = [("waste", prior.waste, sites)]
    for cut, pair in zip(CUTS, prior.reveal_factors, strict=True):
        named.append((f"reveal.{cut}", pair, CUTS[cut].reveal_factor.reason))
    for cut, pair in zip(reused_cuts(), prior.reuse_shares, strict=True):
        share = CUTS[cut].reuse_share
        named.append((f"reuse.{cut}", pair, share.reason if share else ""))
    rows = [(name, f"{mean:g} ± {sd:g}", unit_of(name), why) for name, (mean, sd), why in named]
    wide = zip(("waste", *CUTS), (prior.wide_waste, *prior.wide_factors), strict=True)
    companion = ", ".join(f"{name} {mean:g} ± {sd:g}" for name, (mean, sd) in wide)
    companion = f"{100 * prior.wide_weight:.0f} %: {companion}"
    trend = f"{100 * prior.trend_weight:.0f} %: {prior.trend:g} up or down"
    centre = f"{prior.spread_centre:g}, a factor {np.exp(prior.spread_log_sd):.1f} either way"
    crews, drifts = (
        ", ".join(f"{value:g} ({100 * chance:.0f} %)" for value, chance in weighed)
        for weighed in (prior.crew_sd_weights, prior.drift_weights)
    )
    rows += [
        ("job-to-job spread", centre, "m² a m² laid", practice),
        ("difference between crews, sd", crews, "m² a m² laid", practice),
        ("drift of waste a quarter, sd", drifts, "m² a m² laid", practice),
        ("trend of waste a quarter", trend, "m² a m² laid", practice),
        ("wider companion of each", companion, "as above", "firms unlike most"),
        ("re-use of off-cuts as form", f"{100 * prior.reuse_weight:.0f} %", "chance", "even odds"),
        ("spread of the smallest job", f"{prior.floor:g}", "m²", practice),
        ("records grossly wrong", f"{100 * prior.gross_share:.0f} %", "of records", practice),
        ("size of a gross error, sd", f"{prior.gross_packs:g}", "rolls", practice),
    ]
    return pd.DataFrame(rows, columns=["quantity", "prior", "unit", "reason"])


def candidate_table(allowances: Allowances) -> pd.DataFrame:
    """Return how the candidates are weighed: `candidate, value, weight`."""
    belief = allowances.belief
    kinds = {
        "form of the reveals": np.array(FORMS)[belief.form],
        "spread, m² a m² laid": belief.spread,
        "sd between crews, m² a m² laid": belief.crew_sd,
        "drift a quarter, m² a m² laid": belief.drift,
        "trend a quarter, m² a m² laid": belief.trend,
    }
    parts = []
    for kind, values in kinds.items():
        weight = pd.Series(belief.weight).groupby(pd.Series(values)).sum()
        shown = [f"{v:.3f}" if isinstance(v, float) else str(v) for v in weight.index]
        parts.append(pd.DataFrame({"candidate": kind, "value": shown, "weight": weight.to_numpy()}))
    return pd.concat(parts, ignore_index=True)


def other_priors() -> dict[str, Prior]:
    """Return the starting beliefs that the sensitivity table tries."""
    usual = Prior()
    wide = tuple((mean, 2 * sd) for mean, sd in usual.reveal_factors)
    return {
        "as documented": usual,
        "waste 0.12 ± 0.10": replace(usual, waste=(0.12, 0.10)),
        "reveal factors twice as wide": replace(usual, reveal_factors=wide),
        "flat factors only (99 %)": replace(usual, reuse_weight=0.01),
        "one record in a thousand wrong": replace(usual, gross_share=0.001),
    }


def prior_sensitivity(jobs: Takeoff, quarter: str) -> pd.DataFrame:
    """Return the allowances under other starting beliefs: `prior`, the four means, `rolls`.

    All the jobs are fitted at once, without drift. `rolls` is the sheet expected for all the
    jobs, in rolls: what the difference is worth.
    """
    first = min(jobs.table["quarter"], key=quarter_number)
    rows = []
    for name, prior in other_priors().items():
        known = run_through(jobs, [quarter], unchanged(first, prior))
        means = known.table()["mean"].to_dict()
        rolls = float((predict(jobs, known, 0).mean() / jobs.pack).sum())
        rows.append({"prior": name, **means, "rolls": rolls})
    return pd.DataFrame(rows)
