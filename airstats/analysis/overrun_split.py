"""Used against estimated, split into causes that add up exactly."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.special import ndtri

from airstats.base.errors import AirstatsError
from airstats.base.name_matching import places_of
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.model.allowances import INTERVAL, Allowances
from airstats.model.likelihood import agreement
from airstats.model.posterior import FORMS, Belief, FormDesign, Predictive, predictive
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray
Causes = Mapping[str, Sequence[str]]


class Cause(NamedTuple):
    """A cause in words, and the names under which it is told: its own where none is given."""

    words: str
    main: str = ""
    net: str = ""
    material: str = ""


CAUSES = {
    "already_priced": Cause("what the prices held", net="laps_and_waste", material="not_counted"),
    "reveals": Cause("reveals"),
    "laps": Cause("laps", net="laps_and_waste", material="not_counted"),
    "waste": Cause("waste", net="laps_and_waste", material="waste"),
    "crew": Cause("crews", material="waste"),
    "count_rounding": Cause(
        "whole-roll counts", main="whole_rolls", net="whole_rolls", material="whole_packs"
    ),
    "price_rounding": Cause(
        "whole-roll prices", main="whole_rolls", net="whole_rolls", material="whole_packs"
    ),
    "unexplained": Cause("unexplained", material="unexplained"),
}
"""Every cause, in the order of the pictures. "reveals" are those of all cuts; no material has any.

What the price held is set against laps and waste in `net`: all three grow with the surface.
"""
GROUPS = {
    "whole_rolls": "whole-roll rounding",
    "laps_and_waste": "laps and waste beyond the price",
}
"""What readers call causes that are told as one."""


def joined(level: str, names: Sequence[str] = tuple(CAUSES)) -> Causes:
    """Return the causes joined as their field `level` says."""
    found: dict[str, tuple[str, ...]] = {}
    for name in names:
        told = getattr(CAUSES[name], level) or name
        found[told] = (*found.get(told, ()), name)
    return found


MAIN = joined("main")
"""The causes as an owner reads them: all reveals as one, rounding of price and count as one."""
NET = joined("net")
SHORT_WORDS = {name: GROUPS.get(name) or CAUSES[name].words for name in {**MAIN, **NET}}
"""Causes of the overrun, as a sentence or a picture names them."""
PLURAL = (SHORT_WORDS["reveals"], SHORT_WORDS["laps_and_waste"])
"""Of these, those that take a verb in the plural."""
UNITS = ("rolls", "packs", "m2", "money")
ROUNDING_STEPS = (1.0, 0.5, 0.25)
"""Prices that are all multiples of one of these, in rolls, are taken as rounded up to it."""


@dataclass(frozen=True)
class _Part:
    """What g candidates say of one cause in each of n jobs, in m².

    `mean` (g, n); `slope` (g or 1, n, P), how the mean follows the parameters; `use` and
    `rounding`, how often the open use within the count, and the price's rounding, are part of it;
    `at` (g or 1, n or 1, K or 1), how it follows the quantities that may be unmeasured.
    """

    mean: Array
    slope: Array
    use: float = 0.0
    rounding: float = 0.0
    at: Array = field(default_factory=lambda: np.zeros((1, 1, 1)))

    def __add__(self, other: _Part) -> _Part:
        return _Part(
            self.mean + other.mean,
            self.slope + other.slope,
            self.use + other.use,
            self.rounding + other.rounding,
            self.at + other.at,
        )

    def own(self, told: Predictive, worth: Array, likely: Likely) -> tuple[Array, Array]:
        """Return what the counts say of unmeasured quantities, and each job's own variance."""
        doubt, open_use = told.jobs.doubt, likely.variance
        if doubt is None:
            return np.zeros_like(self.mean), self.use**2 * open_use
        at = np.broadcast_to(self.at, (*self.at.shape[:2], worth.shape[1]))
        reach = np.einsum("nkl,gl->gnk", doubt.covariance, worth)
        pull = (at * reach).sum(axis=2) / likely.job_sd**2
        spread = ((at[..., None, :] @ doubt.covariance)[..., 0, :] * at).sum(axis=2)
        left = np.maximum(spread - (pull * likely.job_sd) ** 2, 0)
        return pull * (likely.use - likely.expected), (self.use + pull) ** 2 * open_use + left


def split_overrun(
    jobs: Takeoff,
    allowances: Allowances,
    by: str | None = None,
    unit: str = "rolls",
    causes: Causes | None = None,
    usual: Sequence[str] = (),
) -> pd.DataFrame:
    """Split used minus estimated into causes, for the firm or for each group of jobs.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs.
    allowances : Allowances
        What the jobs taught.
    by : str, optional
        A column whose values make the groups, such as "job_id", "crew" or "quarter"; without it
        all jobs are one group, "all jobs".
    unit : {"rolls", "packs", "m2", "money"}
        Of the sheet a pack is a roll.
        For money every job needs the price of its packs.
    causes : mapping, optional
        Name to the members of `each_cause` that it joins, such as `MAIN`; without it each stands
        by itself. Causes joined are often surer than each alone.
    usual : sequence of str
        Crews whose mean waste counts as the usual rate; none: the firm's own rate does.

    Returns
    -------
    DataFrame
        One row a group and cause: `group, cause, mean, sd, low, high` (90 %) in the unit. Where
        every member of `each_cause` is named once, the means of a group add up to used - estimated.

    Notes
    -----
    used - estimated = reveals + laps + waste + crew + (count - likely use) + (likely use -
    expected use) - (estimated - bare surface). Likely use is the mean of the use within its
    counted interval. Of estimated - bare surface a part is the price's own rounding up: of a price
    in whole rolls it is anything from nothing to a roll, evenly (half a roll on average).
    Of a job whose openings or depths are not measured, the parts are those of its quantities as
    its count has them: E[x | use] = E[x] + Cov[x] θ (use - expected use) / variance of the use.
    Variances follow from the covariance of the parameters by first order (delta method).
    """
    causes = causes or each_cause()
    names, order, starts = _groups(jobs, by)
    weight = _per_unit(jobs, unit)
    belief = allowances.belief
    mean = np.empty((len(belief.form), len(names), len(causes)))
    variance = np.empty_like(mean)
    told = predictive(belief, jobs)
    jobs, likely = told.jobs, likely_use(told)
    for form in told.forms:
        chosen = np.flatnonzero(form.chosen)
        picked, use = belief.pick(chosen), Likely(*(part[chosen] for part in likely))
        worth = told.worth[chosen]
        parts = _known(jobs, form, use, worth) | _fitted(picked, jobs, form, usual, worth)
        rounding = price_rounding(jobs)[None, :] ** 2 / 12
        for place, members in enumerate(causes.values()):
            part = sum((parts[member] for member in members[1:]), parts[members[0]])
            x = np.add.reduceat((part.slope * weight[:, None])[:, order], starts, axis=1)
            moved, own = part.own(told, worth, use)
            own = own + part.rounding**2 * rounding
            inside = (part.mean + moved) * weight
            mean[chosen, :, place] = np.add.reduceat(inside[:, order], starts, axis=1)
            variance[chosen, :, place] = _spread(x, picked.covariance) + np.add.reduceat(
                (own * weight**2)[:, order], starts, axis=1
            )
    return _table(names, causes, belief.weight, mean, variance)


def each_cause() -> Causes:
    """Return every cause by itself; "reveals" are all the reveals together."""
    apart = {name: [name] for name in CAUSES} | {"reveals": [f"reveal.{cut}" for cut in CUTS]}
    return {part: (part,) for name in CAUSES for part in apart[name]}


def usual_crews(allowances: Allowances) -> tuple[str, ...]:
    """Return the crews that set the usual rate where others surely waste more than the firm."""
    above = allowances.crew_table()["low"] > 0
    return tuple(above.index[~above]) if above.any() else ()


def overrun_packs(jobs: Takeoff) -> Array:
    """Return the (n,) packs used less those estimated."""
    packs: Array = jobs.told("used") - jobs.told("estimated")
    return packs


def overrun_table(jobs: Takeoff) -> pd.DataFrame:
    """Return the sheet of each job: estimated, used, overrun in rolls, m² and money if priced."""
    rolls = overrun_packs(jobs)
    names = ["job_id", "quarter", "crew", "estimated_rolls", "used_rolls"]
    return jobs.table[names].assign(
        overrun_rolls=rolls,
        overrun_m2=rolls * jobs.pack,
        overrun_money=rolls * jobs.told("pack_price"),
    )


class Likely(NamedTuple):
    """Four (G, n): expected use, mean and variance of the use in its counted interval; job sd."""

    expected: Array
    use: Array
    variance: Array
    job_sd: Array


def likely_use(told: Predictive) -> Likely:
    """Return what the count of each of n jobs says of its use, candidate by candidate, m²."""
    low, high = told.jobs.interval.T
    expected, sd = told.mean, told.job_sd
    fit = agreement(expected, sd, low, high, 0.0, sd)
    mean = np.clip(expected + sd**2 * fit.slope, low, high)
    variance = np.clip(sd**2 * (1 - sd**2 * fit.curvature), 0, (high - low) ** 2 / 12)
    return Likely(expected, mean, variance, sd)


def price_rounding(jobs: Takeoff) -> Array:
    """Return the (n,) most that each price can have been rounded up by, m².

    One step of the prices, a roll or a part of one; nothing where they have no common step.
    """
    packs = jobs.told("estimated")
    steps = [step for step in ROUNDING_STEPS if np.allclose(packs % step, 0)]
    return (steps[0] if steps else 0.0) * jobs.pack


def _per_unit(jobs: Takeoff, unit: str) -> Array:
    """The (n,) numbers that turn m² into the unit."""
    if unit not in UNITS:
        raise AirstatsError(f'unit "{unit}" is not known: use rolls, packs, m2 or money.')
    if unit == "m2":
        return np.ones(len(jobs))
    return jobs.told("pack_price") / jobs.pack if unit == "money" else 1 / jobs.pack


def _groups(jobs: Takeoff, by: str | None) -> tuple[Array, Array, Array]:
    """Names of the groups, the jobs in the order of their groups, and where each group starts."""
    if by is None:
        return np.array(["all jobs"], dtype=object), np.arange(len(jobs)), np.array([0])
    codes, names = pd.factorize(jobs.table[by], sort=by != "job_id")
    order = np.argsort(codes, kind="stable")
    starts = np.searchsorted(codes[order], np.arange(len(names)))
    return np.asarray(names, dtype=object), order, starts


def _known(jobs: Takeoff, form: FormDesign, likely: Likely, worth: Array) -> dict[str, _Part]:
    """The causes that geometry, price and count give; the parameters move only the last two."""
    columns = form.columns
    expected, use, variance, sd = likely
    share = (variance / sd**2)[:, :, None]
    used, estimated, bare = (jobs.told(name) for name in ("used", "estimated", "bare"))
    rounded = price_rounding(jobs) / 2
    every, still = np.zeros_like(expected), np.zeros((1, *columns.shape))
    # The bare surface is a fixed share of what is laid on it.
    at_laid = np.eye(1, worth.shape[1])[None]
    at_bare = (bare / jobs.amount)[None, :, None] * at_laid
    return {
        "laps": _Part(every + jobs.amount - bare, still, at=at_laid - at_bare),
        "already_priced": _Part(
            every + bare - estimated * jobs.pack + rounded, still, rounding=1.0, at=at_bare
        ),
        "price_rounding": _Part(every - rounded, still, rounding=-1.0),
        "count_rounding": _Part(used * jobs.pack - use, -share * columns, use=-1.0),
        "unexplained": _Part(use - expected, (share - 1) * columns, use=1.0, at=-worth[:, None, :]),
    }


def _fitted(
    belief: Belief, jobs: Takeoff, form: FormDesign, usual: Sequence[str], worth: Array
) -> dict[str, _Part]:
    """The causes that parameters multiply: waste, crew and the reveals by cut."""
    columns = form.columns
    place = np.arange(columns.shape[1])
    held = {"waste": place == 0, "crew": place >= belief.shared}
    own = _usual_columns(belief, jobs, usual, columns)
    reveals = {f"reveal.{cut}": place == at for at, cut in enumerate(CUTS, start=1)}
    held |= reveals
    parts = {}
    for cause, chosen in held.items():
        slope = np.where(chosen, columns, 0.0) + own * {"waste": 1, "crew": -1}.get(cause, 0)
        parts[cause] = _Part(belief.mean @ slope.T, slope[None], at=_at(cause, worth))
    if FORMS[form.form] == "reuse":
        for cut in reused_cuts():
            needed = jobs.by_cut("needed")[:, list(CUTS).index(cut)]
            parts[f"reveal.{cut}"] += _Part(needed[None, :], np.zeros((1, *columns.shape)))
    first, *others = (parts[cause] for cause in reveals)
    return parts | {"reveals": sum(others, first)}


def _at(cause: str, worth: Array) -> Array:
    """How a fitted cause follows the quantities that a `Doubt` is of; a crew's part is left out."""
    at = np.zeros_like(worth)
    if cause == "waste":
        at[:, 0] = worth[:, 0] - 1
    elif cause != "crew":
        own = 1 + list(CUTS).index(cause.removeprefix("reveal."))
        at[:, own :: len(CUTS)] = worth[:, own :: len(CUTS)]
    return at[:, None, :]


def _usual_columns(belief: Belief, jobs: Takeoff, usual: Sequence[str], columns: Array) -> Array:
    """The (n, P) columns that move the usual crews' mean from the crews' part to waste."""
    chosen = np.isin(np.array(belief.crews, dtype=str), list(usual))
    moved = np.zeros_like(columns)
    if chosen.any():
        named = (places_of(jobs.crews, belief.crews) >= 0) * columns[:, 0]
        moved[:, belief.shared :] = named[:, None] * chosen / chosen.sum()
    return moved


def _spread(x: Array, covariance: Array) -> Array:
    """Variance of x·parameters: (g or 1, k, P) and (g, P, P) give (g, k)."""
    spread = x @ covariance
    return (spread * np.broadcast_to(x, spread.shape)).sum(axis=2)


def _table(
    names: Array, causes: Causes, weight: Array, mean: Array, variance: Array
) -> pd.DataFrame:
    """Average the candidates' (G, k, causes) means and variances into one row each."""
    average = np.einsum("g,gkc->kc", weight, mean)
    between = np.einsum("g,gkc->kc", weight, (mean - average) ** 2)
    sd = np.sqrt(np.einsum("g,gkc->kc", weight, variance) + between)
    reach = ndtri(0.5 + INTERVAL / 2) * sd
    return pd.DataFrame(
        {
            "group": np.repeat(names, len(causes)),
            "cause": np.tile(np.array(list(causes), dtype=object), len(names)),
            "mean": average.ravel(),
            "sd": sd.ravel(),
            "low": (average - reach).ravel(),
            "high": (average + reach).ravel(),
        }
    )
