"""What finer records would save, in money: what not knowing the allowances costs a year's orders.

A count of whole rolls leaves each use open by a roll, so the allowances stay uncertain, and orders
are now a roll more, now a roll less than the best that somebody who knew them would give. What that
costs, and how much less it costs after a year of finer records, is foretold from what is believed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from airstats.base.firm import LEFTOVER_COST, SHORT_COST
from airstats.base.quarters import quarter_number
from airstats.catalog.wound_roll import CORE_MM, GAUGE_SD_MM, metres_left_sd, usual_full_mm
from airstats.model.allowances import Allowances
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import Belief, admit_crews, joined, predictive, update_each, widen
from airstats.pricing.newsvendor import critical_share, expected_cost, packs_for_share
from airstats.takeoff.measured_use import MEASURED
from airstats.takeoff.sheet_quantities import HALF_WIDTH_PACKS, Takeoff
from airstats.takeoff.usual_openings import quantity_names

Array = np.ndarray

DRAWS = 100
"""Draws of what a year of records may tell; the error of their mean is told with it."""
SEED = 20240
"""One seed, so that the same records always give the same figures."""
MIDDLE_OF_YEAR, TO_THE_NEXT = 2, 4
"""Quarters from now to the middle of the year of recording, and on to that of the year after."""
AT_A_TIME = 65536
"""So many jobs times candidates are learnt from at once."""
LEFT_OUT = 0.05
"""The lightest candidates, up to this weight together, hardly change what is foretold; leaving them
out saves time."""
WHOLE = 0.5
"""Half-width of a count of opened rolls, in rolls."""
NOW = "as now"
OPENINGS = "openings measured"
"""Asked only where some jobs of the last year have openings or depths that nobody measured."""


@dataclass(frozen=True)
class Way:
    """A way to record: how the use is counted (None: as the firm does), and what it takes.

    `years` is how many years' jobs are recorded, `minutes` the time that it takes a job more than
    today, `words` what is done, as after "if". With `openings` those of all jobs are measured
    before they are ordered for: then the minutes are for a job that would come without.
    """

    words: str
    counted: str | None = None
    minutes: float = 0.0
    years: int = 1
    openings: bool = False


WAYS = {
    NOW: Way("the jobs of a year are counted as they are now"),
    "half rolls": Way("the last roll is judged to the nearest half", "half", 0.1),
    "quarter rolls": Way("the last roll is judged to the nearest quarter", "quarter", 0.1),
    "last roll measured": Way("what is left on the last roll is measured", MEASURED, 0.25),
    "two years' jobs": Way("the jobs of two years are counted as they are now", years=2),
    OPENINGS: Way("openings and reveals are measured that now are not", minutes=15, openings=True),
}
"""Minutes are common practice, no source: a look; a tape measure across a roll, and a line more; a
walk round the house with a tape measure."""


def value_of_recording(
    now: Allowances,
    jobs: Takeoff,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    draws: int = DRAWS,
) -> pd.DataFrame:
    """Return what not knowing costs a year's orders, and how much less after each way to record.

    Parameters
    ----------
    now : Allowances
        What is known.
    jobs : Takeoff
        The n finished jobs; those of their last year stand for each year to come.
    leftover_cost, short_cost : float
        Money for each roll left over and for each roll short.
    draws : int
        How many possible truths are gone through.

    Returns
    -------
    DataFrame
        One row a way of `WAYS`, of `OPENINGS` only where it applies: `way`, `cost` (money that
        rolls left over and rolls short of the orders of the year after cost, expected),
        `not_known` (of it, what somebody who knew the allowances would save), `saving` (less than
        where the firm counts as now), `saving_low, saving_high` (90 % interval: the draws are
        few), `worst, best` (what nine in ten possible truths save), `minutes` (of work a year),
        `jobs` (recorded until then).

    Notes
    -----
    Expected value of sample information (Raiffa & Schlaifer 1961, Applied Statistical Decision
    Theory, chapters 4 and 5): a truth is drawn from the belief, the jobs of a year are drawn from
    the truth, counted in each way and learnt from, and the year after is ordered for with what is
    then believed. An order's cost is that under the truth. All ways count the same draws.
    """
    year = _last_year(jobs)
    belief = _worth_keeping(widen(admit_crews(now.belief, year.crews), MIDDLE_OF_YEAR))
    unmeasured = int((year.unmeasured != "").sum())
    ways = {name: way for name, way in WAYS.items() if unmeasured or not way.openings}
    year, rng = year.reckoned(belief.habits), np.random.default_rng(SEED)
    truths = [_draw(belief, year, rng) for _ in range(draws)]
    costs = leftover_cost, short_cost
    # As many at a time as the processor's own memory holds.
    many = max(AT_A_TIME // (len(year) * len(belief.form)), 1)
    drawn = [
        _costs_of_ways(ways, belief, year, truths[first : first + many], costs)
        for first in range(0, draws, many)
    ]
    return _table(np.concatenate(drawn), ways, len(year), unmeasured)


def most_open(now: Allowances, jobs: Takeoff) -> pd.Series:
    """Return how far the sheet of each unmeasured job is open for that, m² (sd), the most first.

    Parameters
    ----------
    now : Allowances
        What is known.
    jobs : Takeoff
        n jobs, of which some are unmeasured.

    Returns
    -------
    Series
        By job_id; none for jobs whose openings and depths are measured.
    """
    asked = jobs.where(jobs.unmeasured != "").reckoned(now.belief.habits)
    if not len(asked):
        return pd.Series(dtype=float)
    variance = now.belief.weight @ np.broadcast_to(
        predictive(now.belief, asked).from_openings, (len(now.belief.form), len(asked))
    )
    sd = pd.Series(np.sqrt(variance), index=asked.table["job_id"])
    return sd.sort_values(ascending=False, kind="stable")


class _Truth(NamedTuple):
    """A drawn truth: the n jobs of a year with every opening measured, and what each will use.

    `used` holds (years, n) uses as they may come, m².
    """

    year: Takeoff
    use: Mixture
    used: Array
    gauge: Array


def _last_year(jobs: Takeoff) -> Takeoff:
    number = jobs.table["quarter"].map(quarter_number)
    return jobs.where(number > number.max() - 4)


def _worth_keeping(belief: Belief) -> Belief:
    rising = np.argsort(belief.weight, kind="stable")
    heavy = rising[np.cumsum(belief.weight[rising]) > LEFT_OUT]
    kept = belief.pick(np.sort(heavy))
    return replace(kept, weight=kept.weight / kept.weight.sum())


def _draw(belief: Belief, year: Takeoff, rng: np.random.Generator) -> _Truth:
    """Draw a truth, and years of records under it, some of them grossly wrong."""
    place = rng.choice(len(belief.form), p=belief.weight)
    truth = belief.pick(np.array([place]))
    year = _measured(year, rng)
    foretold = predictive(truth, year)
    allowances = rng.multivariate_normal(truth.mean[0], truth.covariance[0], method="eigh")
    mean = foretold.forms[0].columns @ allowances + foretold.forms[0].certain
    sd = foretold.job_sd
    shape = max(way.years for way in WAYS.values()), len(year)
    gross = rng.random(shape) < belief.gross_share
    spread = np.hypot(sd, gross * belief.prior.gross_packs * year.pack)
    used = np.maximum(mean + spread * rng.standard_normal(shape), 0)
    return _Truth(year, Mixture(np.ones(1), mean[None], sd), used, rng.uniform(-1, 1, shape))


def _measured(year: Takeoff, rng: np.random.Generator) -> Takeoff:
    """Return the jobs with openings drawn where they are not measured, so that all are known."""
    if year.doubt is None:
        return year
    value, vector = np.linalg.eigh(year.doubt.covariance)
    root = vector * np.sqrt(np.maximum(value, 0))[:, None, :]
    steps = rng.standard_normal(value.shape)
    names = ["laid_m2", *quantity_names()[1:]]
    drawn = np.maximum(year.columns(names) + np.einsum("nij,nj->ni", root, steps), 0)
    known = dict(zip(names, drawn.T, strict=True)) | {"unmeasured": "", "depth_mm": np.nan}
    return replace(year, table=year.table.assign(**known), doubt=None)


def _costs_of_ways(
    ways: dict[str, Way],
    belief: Belief,
    year: Takeoff,
    truths: list[_Truth],
    costs: tuple[float, float],
) -> Array:
    """The (draws, ways, 2) costs after each way to record, and the parts that are for not knowing.

    What a year's records teach is worked out once for all ways that count alike.
    """

    def cost(truth: _Truth, believed: Mixture) -> float:
        order = packs_for_share(believed, year.pack, critical_share(*costs))
        return float(expected_cost(truth.use, year.pack, order, *costs).sum())

    least = np.array([cost(truth, truth.use) for truth in truths])
    learnt: dict[tuple[str | None, int], list[Belief]] = {}
    found = []
    for way in ways.values():
        if way.openings:
            # Each truth has openings of its own.
            uses = [_foretold(way, belief, one.year, [one], {})[0] for one in truths]
        else:
            uses = _foretold(way, belief, year, truths, learnt)
        came = np.array([cost(*both) for both in zip(truths, uses, strict=True)])
        found.append(np.column_stack([came, came - least]))
    return np.stack(found, axis=1)


def _foretold(
    way: Way,
    belief: Belief,
    year: Takeoff,
    truths: list[_Truth],
    learnt: dict[tuple[str | None, int], list[Belief]],
) -> list[Mixture]:
    """What is foretold of the year after, once the records under each truth are learnt from.

    `learnt` holds what ways before this one taught, by how they count and the year, and is added
    to.
    """
    beliefs = [belief] * len(truths)
    used, gauge = (np.array([getattr(t, at) for t in truths]) for at in ("used", "gauge"))
    for turn in range(way.years):
        if (way.counted, turn) not in learnt:
            counts = _counts(year, used[:, turn], gauge[:, turn], way.counted)
            learnt[way.counted, turn] = update_each(beliefs, year, counts)[0]
        beliefs = learnt[way.counted, turn]
    every, places = joined(beliefs)
    use = predictive(widen(every, TO_THE_NEXT), year).use()
    return [Mixture(use.weight[place], use.means[place], use.sds[place]) for place in places]


def counted_as(year: Takeoff, used: Array, gauge: Array, how: str | None) -> Takeoff:
    """Return jobs with their uses as the records would hold them.

    Parameters
    ----------
    year : Takeoff
        n jobs.
    used, gauge : (n,) arrays
        What they use, m²; how far each measurement errs, from -1 to 1 of its half-width.
    how : str, optional
        A key of `HALF_WIDTH_PACKS`, or "measured"; None: as each job is counted now.
    """
    ends = _counts(year, used, gauge, how).T
    names = ("used_low_m2", "used_high_m2")
    return replace(year, table=year.table.assign(**dict(zip(names, ends, strict=True))))


def _counts(year: Takeoff, used: Array, gauge: Array, how: str | None) -> Array:
    """The (..., n, 2) ends of (..., n) uses as `counted_as` counts them, m²."""
    packs = used / year.pack
    measured = _half_width(year, packs)
    kind = year.table["counted"]
    now = kind.map(HALF_WIDTH_PACKS).fillna(WHOLE).to_numpy(dtype=float)
    now = np.where(kind == MEASURED, measured, now)
    half = now if how is None else np.minimum(now, HALF_WIDTH_PACKS.get(how, measured))
    rounded = np.where(half == WHOLE, np.ceil(packs) - half, np.rint(packs / (2 * half)) * 2 * half)
    middle = np.where(half == measured, packs + gauge * half, rounded)
    ends = (np.maximum(middle + side, 0) * year.pack for side in (-half, half))
    return np.stack(list(ends), axis=-1)


def _half_width(year: Takeoff, packs: Array) -> Array:
    """How far, in rolls, the use may lie either side if the last roll's diameter is measured.

    A full roll and a core are taken as measured once.
    """
    length = year.table["roll_length_m"].to_numpy(dtype=float)
    core = np.full(len(length), CORE_MM)
    full = usual_full_mm(length, core)
    left = np.ceil(packs) - packs
    diameter = np.sqrt(core**2 + left * (full**2 - core**2))
    gauge = np.full(len(length), GAUGE_SD_MM)
    return np.asarray(
        np.sqrt(3) * metres_left_sd(diameter, full, core, length, (gauge, gauge)) / length
    )


def _table(drawn: Array, ways: dict[str, Way], jobs: int, unmeasured: int) -> pd.DataFrame:
    """One row a way from (draws, ways, 2) costs."""
    costs, not_known = drawn.mean(axis=0).T
    saved = drawn[:, [0], 1] - drawn[:, :, 1]
    mean, error = saved.mean(axis=0), 1.645 * saved.std(axis=0, ddof=1) / np.sqrt(len(saved))
    worst, best = np.quantile(saved, [0.05, 0.95], axis=0)
    return pd.DataFrame(
        {
            "way": list(ways),
            "cost": costs,
            "not_known": not_known,
            "saving": mean,
            "saving_low": mean - error,
            "saving_high": mean + error,
            "worst": worst,
            "best": best,
            "minutes": [
                way.minutes * (unmeasured if way.openings else jobs) for way in ways.values()
            ],
            "jobs": [way.years * jobs for way in ways.values()],
        }
    )
