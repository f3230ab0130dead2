"""What the starting belief alone expects of the overrun, beside what the firm's jobs showed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS, stopped_cuts
from airstats.model.allowances import unchanged
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import admit_crews, predictive, starting_belief
from airstats.model.prior import Prior
from airstats.pricing.newsvendor import expected_left_over, predict
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

SURFACE_M2, OPENINGS, FLAT_RATE = 250.0, 12, 0.10
ORDINARY_OPENING = {"width_mm": 1230.0, "height_mm": 1480.0, "reveal_mm": 350.0, "sides": 4}
"""An ordinary house job, priced as laid sheet and a flat ten per cent in whole rolls: common
practice, no source."""
TAIL = 0.001
"""Bars with a smaller share than this at either end are added to the last one."""


@dataclass(frozen=True)
class PriorCheck:
    """The overrun of a job before any was seen.

    Attributes
    ----------
    table : one row a whole number of rolls: `overrun_rolls, expected_share`, and, where jobs were
        given, `shown_share, jobs`; the end bars hold all that lies beyond
    expected, low, high : mean overrun of a job that was expected, and its 90 % interval, rolls
    shown : mean overrun that the jobs showed, rolls; None without jobs
    jobs : how many
    """

    table: pd.DataFrame
    expected: float
    low: float
    high: float
    shown: float | None
    jobs: int


def prior_check(jobs: Takeoff | None = None, prior: Prior | None = None) -> PriorCheck:
    """Foretell the overrun of a job from the starting belief alone.

    Parameters
    ----------
    jobs : Takeoff, optional
        n finished jobs; without any, ordinary jobs, one for each cut, stand for them.
    prior : Prior, optional
        The starting belief; without it the documented one.

    Notes
    -----
    The prior predictive distribution (Box 1980; Gelman et al. 2013, Bayesian Data Analysis, 3rd
    ed., section 6.3) of what would be written down: used rolls as they are counted, less the
    priced ones, put to the nearest whole roll, averaged over the jobs. The interval is that of
    the mean of all the jobs: they share the allowances. Grossly wrong records are no part of it.
    """
    prior = prior or Prior()
    seen = jobs if jobs is not None and len(jobs) else None
    of = seen or ordinary_jobs()
    use = predict(of, unchanged("2000Q1", prior), 0)
    over = of.told("used") - of.told("estimated")
    mean = _mean_overrun(of, prior, _rounding_up(of, use))
    table = _bars(of, use, over if seen else np.empty(0))
    low, high = (float(mean.quantile(share)[0]) for share in (0.05, 0.95))
    shown = float(over.mean()) if seen else None
    return PriorCheck(table, float(mean.mean()[0]), low, high, shown, len(seen) if seen else 0)


def ordinary_jobs() -> Takeoff:
    """Return ordinary finished jobs, alike but for their cut; 1.5 × 50 m rolls, opened."""
    cuts = np.array(list(CUTS))
    openings = pd.DataFrame([ORDINARY_OPENING | {"cut_pattern": cut} for cut in CUTS])
    one = opening_quantities(openings)
    table = pd.DataFrame({"job_id": [f"ordinary, {cut}" for cut in CUTS], "crew": ""})
    table = table.assign(roll_m2=75.0, counted="opened", quarter="2000Q1")
    stopped = np.isin(cuts, stopped_cuts()) * one["opening_m2"].to_numpy() * OPENINGS
    laid = (SURFACE_M2 - stopped) * 1.5 / 1.4
    priced = np.ceil(laid * (1 + FLAT_RATE) / 75.0)
    for cut in CUTS:
        for quantity in ("reveal", "needed", "fillable"):
            amount = one[f"{quantity}_m2"].to_numpy() * OPENINGS
            table[f"{quantity}_{cut}_m2"] = np.where(cuts == cut, amount, 0.0)
    return Takeoff(
        table.assign(
            laid_m2=laid,
            estimated_rolls=priced,
            used_rolls=priced,
            used_low_m2=(priced - 1) * 75.0,
            used_high_m2=priced * 75.0,
        )
    )


def _rounding_up(jobs: Takeoff, use: Mixture) -> Array:
    """What counting is expected to add to each use, rolls: opened rolls count whole."""
    roll = jobs.pack
    most = np.ceil(use.quantile(1 - 1e-9) / roll).astype(int)
    opened = most - expected_left_over(use, roll, most)
    return np.where(jobs.table["counted"].eq("opened"), opened - use.mean() / roll, 0.0)


def _bars(jobs: Takeoff, use: Mixture, shown: Array) -> pd.DataFrame:
    """Shares of the jobs by overrun to the nearest roll, expected and shown."""
    roll = jobs.pack
    priced = jobs.told("estimated")
    whole = jobs.table["counted"].eq("opened").to_numpy()
    reach = np.ceil(np.abs(use.quantile(1 - TAIL) / roll - priced).max()) + 2
    reach = int(max(reach, np.ceil(np.abs(shown).max(initial=0))))
    values = np.arange(-reach, reach + 1)
    below = []
    for value in values:
        top = priced + value + 0.5
        # Opened rolls count whole: so many are written down while the use is below the last one.
        below.append(use.below(np.where(whole, np.floor(top), top) * roll).mean())
    share = np.diff([0.0, *below[:-1], 1.0])
    table = pd.DataFrame({"overrun_rolls": values, "expected_share": share})
    if len(shown):
        jobs_at = (np.floor(shown + 0.5)[:, None] == values).sum(axis=0)
        table = table.assign(shown_share=jobs_at / len(shown), jobs=jobs_at)
    return _without_empty_ends(table)


def _without_empty_ends(table: pd.DataFrame) -> pd.DataFrame:
    held = np.flatnonzero(table.filter(like="_share").max(axis=1) >= TAIL)
    first, last = held.min(), held.max()
    share = table["expected_share"].to_numpy(dtype=float)
    kept = share[first : last + 1].copy()
    kept[0] += share[:first].sum()
    kept[-1] += share[last + 1 :].sum()
    return table.iloc[first : last + 1].reset_index(drop=True).assign(expected_share=kept)


def _mean_overrun(jobs: Takeoff, prior: Prior, rounding: Array) -> Mixture:
    """The mean overrun of all the jobs, rolls; `rounding` is what counting adds to a use."""
    belief = admit_crews(starting_belief(prior), jobs.crews)
    roll, size = jobs.pack, len(jobs)
    priced = jobs.told("estimated")
    told = predictive(belief, jobs)
    means = (told.mean / roll + rounding - priced).mean(axis=1)
    total = ((told.job_sd / roll / size) ** 2).sum(axis=1)
    for _, chosen, columns, _ in told.forms:
        along = (columns / roll[:, None]).mean(axis=0)
        total[chosen] += np.einsum("i,gij,j->g", along, belief.covariance[chosen], along)
    return Mixture(belief.weight, means[:, None], np.sqrt(total)[:, None])
