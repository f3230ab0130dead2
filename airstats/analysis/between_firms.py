"""Several firms' allowances side by side, each learnt from its own jobs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from statsmodels.stats.meta_analysis import combine_effects

from airstats.analysis.sensitivity import fit_at_once
from airstats.model.allowances import REACH
from airstats.model.prior import Prior
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

TELLS = 0.95
"""Jobs that leave more than this share of an allowance's uncertainty do not tell of it."""
DIFFER = 0.05
"""Firms differ where chance would set them so far apart in fewer than one case of twenty."""


def firm_table(firms: Mapping[str, Takeoff]) -> pd.DataFrame:
    """Calibrate each of k firms by itself, from the same starting belief.

    Parameters
    ----------
    firms : mapping
        Name of a firm to its finished jobs.

    Returns
    -------
    DataFrame
        One row an allowance and firm: `allowance, firm, jobs, mean, sd, low, high` (90 %), `unit`,
        and what the firm's own jobs say without the starting belief: `own, own_sd` (NaN where
        they tell next to nothing).

    Notes
    -----
    All jobs of a firm at once, without drift. From the companions' belief alone with flat
    factors, one normal N(m₀, s₀²) that becomes N(m, s²), the jobs themselves say
    own = (m/s² - m₀/s₀²) / (1/s² - 1/s₀²), own_sd² = 1 / (1/s² - 1/s₀²): otherwise every firm
    would bring the same starting belief again, and look alike. The whole starting belief is a
    mixture, which cannot be taken out so. Each allowance by itself, which is near enough.
    """
    parts = [_one_firm(name, jobs) for name, jobs in firms.items()]
    table = pd.concat(parts, ignore_index=True)
    order = pd.Categorical(table["allowance"], list(dict.fromkeys(table["allowance"])))
    return table.assign(allowance=order).sort_values("allowance", ignore_index=True, kind="stable")


def firm_spread(table: pd.DataFrame) -> pd.DataFrame:
    """Return for each allowance whether the firms are alike, from `firm_table`.

    `allowance, firms` (that tell of it), `mean, low, high` (90 %, of a firm's mean), `between_sd`,
    `chance` (of firms so far apart if all were the same), `verdict`, `unit`.

    Notes
    -----
    Random effects: own_i ~ N(mean, own_sd_i² + τ²), τ² by DerSimonian & Laird 1986 and not below
    zero; `chance` is that of Cochran's Q, chi-squared with one degree of freedom fewer than firms.
    """
    groups = table.groupby("allowance", observed=True, sort=False)
    return pd.DataFrame([{"allowance": str(name), **_spread(part)} for name, part in groups])


def between_firms(effect: Array, sd: Array) -> dict[str, float]:
    """Return `mean, mean_sd, between_sd, chance` of k effects with their standard errors."""
    # The library lets the variance between go below zero: then there is none.
    with np.errstate(invalid="ignore"):
        result = combine_effects(effect, sd**2, method_re="dl")
    alike = result.tau2 <= 0
    return {
        "mean": float(result.mean_effect_fe if alike else result.mean_effect_re),
        "mean_sd": float(result.sd_eff_w_fe if alike else result.sd_eff_w_re),
        "between_sd": float(np.sqrt(max(result.tau2, 0.0))),
        "chance": float(result.test_homogeneity().pvalue),
    }


def _one_firm(name: str, jobs: Takeoff) -> pd.DataFrame:
    table = fit_at_once(jobs).table().rename_axis("allowance").reset_index()
    start = _one_normal()
    before = np.array([start.waste, *start.reveal_factors])
    after = fit_at_once(jobs, start).table().reset_index()
    gained = 1 / after["sd"] ** 2 - 1 / before[:, 1] ** 2
    tells = after["sd"] < TELLS * before[:, 1]
    pull = after["mean"] / after["sd"] ** 2 - before[:, 0] / before[:, 1] ** 2
    safe = gained.where(tells)
    return table.assign(firm=name, jobs=len(jobs), own=pull / safe, own_sd=1 / np.sqrt(safe))


def _one_normal() -> Prior:
    """The companions' belief alone, with flat factors: wide, and of one piece."""
    usual = Prior(wide_weight=0.0, reuse_weight=1e-9)
    return replace(usual, waste=usual.wide_waste, reveal_factors=usual.wide_factors)


def _spread(part: pd.DataFrame) -> dict[str, object]:
    told = part.dropna(subset=["own"])
    unit = part["unit"].iloc[0]
    if len(told) < 2:
        return {"firms": len(told), "verdict": "not enough to tell", "unit": unit}
    found = between_firms(told["own"].to_numpy(), told["own_sd"].to_numpy())
    reach = REACH * found["mean_sd"]
    return {
        "firms": len(told),
        "mean": found["mean"],
        "low": found["mean"] - reach,
        "high": found["mean"] + reach,
        "between_sd": found["between_sd"],
        "chance": found["chance"],
        "verdict": "differ" if found["chance"] < DIFFER else "alike within chance",
        "unit": unit,
    }
