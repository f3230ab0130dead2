"""Sentences on the regressions that stand beside the calibration."""

from __future__ import annotations

import pandas as pd

from airstats.analysis.regressions import Influence, Regression, terms
from airstats.base.number_text import counted, each, listed, number
from airstats.model.posterior import allowance_names
from airstats.reports.display import Words

NAMED = 5
"""So many jobs are named in a sentence; the others stand in the table."""


def regression_words(fit: Regression) -> Words:
    """Say what a plain regression sees, or why there is none."""
    if fit.reason and fit.table.empty:
        return Words(f"Not fitted: {fit.reason}.".replace("..", "."))
    slopes = fit.table[fit.table["term"].ne("intercept")]
    clear = slopes[slopes["p"] < 0.05]
    said = [
        f"{r.term} {number(r.coefficient, 2)} {r.unit} ({number(r.low95, 2)} to"
        f" {number(r.high95, 2)})"
        for r in each(clear)
    ]
    found = (
        f"clearly different from nothing (95 %): {listed(said)}" if said else "no slope is clear"
    )
    left = (
        f" Left out, as fewer than two jobs hold it: {listed(list(fit.left_out))}."
        if fit.left_out
        else ""
    )
    return Words(
        f"{counted(fit.jobs, 'job')}, R² {fit.r_squared:.2f}, residual spread {fit.sd_m2:.0f} m²;"
        f" {found}.{left}"
    )


def agreement_words(beyond: Regression, allowances: pd.DataFrame) -> Words:
    """Say whether a plain regression, with no starting belief, contradicts the allowances."""
    if beyond.table.empty:
        return Words(f"Nothing to compare with: {beyond.reason}.")
    compared = dict(zip(terms(), allowance_names(), strict=True))
    ends = beyond.table.set_index("term")[["low95", "high95"]].rename(index=compared)
    both = ends.join(allowances["mean"], how="inner")
    apart = both.index[~both["mean"].between(both["low95"], both["high95"])].tolist()
    start = (
        "No allowance lies outside the 95 % interval of its slope"
        if not apart
        else f"{listed(apart)} {'lies' if len(apart) == 1 else 'lie'} outside the 95 % interval of"
        f" {'its slope' if len(apart) == 1 else 'their slopes'}"
    )
    return Words(
        f"{start} ({len(both)} compared). The regression knows no starting belief and has an"
        " intercept, which the calibration has not; its intervals are wide, so that agreement is a"
        " weak proof."
    )


def influence_words(influence: Influence, slopes: pd.DataFrame) -> Words:
    """Name the jobs that the plain regression leans on, and what its slopes are without them."""
    if influence.points.empty:
        return Words("No regression was fitted, so no job can stand out in it.")
    out = influence.standing_out
    jobs = counted(len(influence.points), "job")
    if out.empty:
        start = f"No job of {jobs} stands out (Cook's distance above {influence.cooks_limit:.3f})."
    else:
        named = [f"{row.job_id} ({row.cooks:.2f}, {row.why})" for row in each(out.head(NAMED))]
        more = f" and {len(out) - NAMED} more" if len(out) > NAMED else ""
        start = (
            f"{len(out)} of {jobs} {'stands' if len(out) == 1 else 'stand'} out"
            f" (Cook's distance above {influence.cooks_limit:.3f}): {', '.join(named)}{more}."
        )
    return Words(f"{start} {_slopes_moved(slopes)}")


def _slopes_moved(slopes: pd.DataFrame) -> str:
    rows = slopes[slopes["term"].ne("intercept")].dropna(subset=["change"])
    if rows.empty:
        return "Without them too few jobs are left for the slopes."
    most = rows.iloc[int(rows["change"].abs().to_numpy().argmax())]
    turned = rows[rows["coefficient"] * rows["without"] < 0]["term"].tolist()
    sign = (
        f"{listed(turned)} change{'s' if len(turned) == 1 else ''} sign"
        if turned
        else ("no slope changes its sign")
    )
    return (
        f"Without the three most influential the slope that moves most is {most['term']}, from"
        f" {number(most['coefficient'], 2)} to {number(most['without'], 2)} {most['unit']}"
        f" ({number(abs(most['change']), 1)} standard errors); {sign}."
    )
