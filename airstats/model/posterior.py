"""The model: candidates for what sheet a job takes, and how counted jobs re-weigh them.

Nobody knows beforehand how far jobs spread, how much crews differ, how fast allowances drift, nor
whether a flat factor or the geometry of the off-cuts foretells the reveals better. So a table of
candidates is kept, each one combination of these. Under each the allowances are fitted; each is
weighed by how well it foretold the counts. What the firm reads is the weighted average.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, partial
from itertools import product
from threading import RLock
from typing import Any, NamedTuple

import numpy as np
from threadpoolctl import ThreadpoolController

from airstats.base.name_matching import name_key, places_of
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.model.likelihood import Agreement, agreement
from airstats.model.newton import Height, climb
from airstats.model.normal_mixture import Mixture
from airstats.model.prior import DRIFT_OF_FACTORS, Prior
from airstats.takeoff.sheet_quantities import Takeoff, by_quantity
from airstats.takeoff.usual_openings import Habits, starting_habits

Array = np.ndarray

FORMS = ("factor", "reuse")
"""The two means: a flat factor on reveal area, or needed sheet less a share of usable off-cuts."""

JOBS_AT_A_TIME = 4096
"""More jobs than this move the belief in turns: by then it is as good as normal."""
NEGLIGIBLE = 1e-4
_ONE_AT_A_TIME = RLock()


COLUMNS = ("form", "spread", "crew_sd", "drift", "trend", "weight", "mean", "covariance")
"""What a belief holds for each candidate."""


@dataclass(frozen=True)
class Belief:
    """G candidates, each with a normal belief over P parameters (the allowances, then crews).

    Attributes
    ----------
    form : (G,) index into FORMS
    spread, crew_sd, drift, trend : (G,) m² a m² laid; the last two a quarter
    weight : (G,) adds up to 1
    mean : (G, P); covariance : (G, P, P)
    crews : names of the crews, whose departures are the last parameters
    seen, wrong : jobs seen, and how many of them are likely grossly wrong
    habits : what is usual of the firm's openings, for jobs whose own are not measured
    """

    form: Array
    spread: Array
    crew_sd: Array
    drift: Array
    trend: Array
    weight: Array
    mean: Array
    covariance: Array
    crews: tuple[str, ...]
    prior: Prior
    seen: float = 0.0
    wrong: float = 0.0
    habits: Habits = field(default_factory=starting_habits)

    @property
    def shared(self) -> int:
        """How many parameters all crews share: waste, and one for each cut."""
        return self.mean.shape[1] - len(self.crews)

    @property
    def gross_share(self) -> float:
        """Share of the records that are grossly wrong: the prior's guess and what was seen."""
        weight = self.prior.gross_jobs
        return (self.prior.gross_share * weight + self.wrong) / (weight + self.seen)

    def pick(self, chosen: Array) -> Belief:
        """Return the chosen candidates, weights as they are."""
        return replace(self, **{name: getattr(self, name)[chosen] for name in COLUMNS})


class Fit(NamedTuple):
    """Posterior of the candidates of one form: (g, P), (g, P, P) and (g,) log evidence."""

    mean: Array
    covariance: Array
    log_evidence: Array


def allowance_names(form: str = "factor") -> tuple[str, ...]:
    """Return the names of the shared parameters of a form: waste, then one for each cut."""
    reused = reused_cuts() if form == "reuse" else []
    return ("waste", *(f"{'reuse' if cut in reused else 'reveal'}.{cut}" for cut in CUTS))


def starting_belief(prior: Prior | None = None) -> Belief:
    """Return the belief before any job, without crews, drift or trend."""
    prior = prior or Prior()
    starts = _starts(prior)
    grid = list(product(range(len(starts)), prior.spread_nodes, prior.crew_sd_weights))
    spread = np.array([node for _, node, _ in grid])
    crew_sd, crew_weight = np.array([crew for _, _, crew in grid]).T
    place = np.array([start for start, _, _ in grid])
    form, chance, slots = (np.array(part)[place] for part in zip(*starts, strict=True))
    z = np.log(spread / prior.spread_centre) / prior.spread_log_sd
    weight = np.exp(-0.5 * z**2) * crew_weight * chance
    return Belief(
        form=form,
        spread=spread,
        crew_sd=crew_sd,
        drift=np.zeros(len(grid)),
        trend=np.zeros(len(grid)),
        weight=weight / weight.sum(),
        mean=slots[..., 0],
        covariance=np.eye(slots.shape[1]) * slots[..., 1][:, :, None] ** 2,
        crews=(),
        prior=prior,
    )


def _starts(prior: Prior) -> list[tuple[int, float, Array]]:
    """Form, chance, and (shared, 2) means and sds; of each form the usual start and the wide."""
    shares = dict(zip(reused_cuts(), prior.reuse_shares, strict=True))
    likely = (1 - prior.reuse_weight, prior.reuse_weight)
    widths = (
        (1 - prior.wide_weight, prior.waste, prior.reveal_factors),
        (prior.wide_weight, prior.wide_waste, prior.wide_factors),
    )
    starts = []
    for form, (chance, waste, factors) in product(range(len(FORMS)), widths):
        cuts = dict(zip(CUTS, factors, strict=True)) | (shares if FORMS[form] == "reuse" else {})
        starts.append((form, likely[form] * chance, np.array([waste, *cuts.values()])))
    return [start for start in starts if start[1]]


def admit_crews(belief: Belief, names: Array) -> Belief:
    """Add crews not met before: the firm's mean, with the spread between crews."""
    strange = np.sort(names[(places_of(names, belief.crews) < 0) & (names != "")])
    first = {name_key(name): name for name in strange[::-1].tolist()}
    new = tuple(sorted(first.values()))
    if not new:
        return belief
    before, after = belief.mean.shape[1], belief.mean.shape[1] + len(new)
    mean = np.zeros((len(belief.form), after))
    mean[:, :before] = belief.mean
    covariance = np.zeros((len(belief.form), after, after))
    covariance[:, :before, :before] = belief.covariance
    place = np.arange(before, after)
    covariance[:, place, place] = belief.crew_sd[:, None] ** 2
    return replace(belief, mean=mean, covariance=covariance, crews=belief.crews + new)


def branch_over_drift(belief: Belief) -> Belief:
    """Copy every candidate once for each drift and trend: none is favoured for a quarter."""
    prior = belief.prior
    still = [(drift, 0.0, share * (1 - prior.trend_weight)) for drift, share in prior.drift_weights]
    trends = [(0.0, trend, prior.trend_weight / 2) for trend in (-prior.trend, prior.trend)]
    ways = [way for way in still + trends if way[-1]]
    copies = belief.pick(np.tile(np.arange(len(belief.form)), len(ways)))
    drift, trend, share = (np.repeat(column, len(belief.form)) for column in np.array(ways).T)
    return replace(copies, drift=drift, trend=trend, weight=copies.weight * share)


def with_depth_error(belief: Belief, depth_error_mm: float) -> Belief:
    """Return the belief of a firm that measures its reveal depths with this error, mm (sd)."""
    habits = replace(belief.habits, depth_error_mm=depth_error_mm)
    return replace(belief, habits=habits)


def widen(belief: Belief, quarters: int) -> Belief:
    """Let the allowances wander for some quarters, and waste follow its trend, down to nothing.

    A random walk, so variances add.
    """
    scale = np.array([1.0, *[DRIFT_OF_FACTORS] * (belief.shared - 1)])
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    place = np.arange(belief.shared)
    mean[:, 0] += np.maximum(quarters * belief.trend, np.minimum(-mean[:, 0], 0.0))
    covariance[:, place, place] += quarters * (belief.drift[:, None] * scale) ** 2
    return replace(belief, mean=mean, covariance=covariance)


def update(belief: Belief, jobs: Takeoff) -> Belief:
    """Move every candidate by what the counted jobs tell, and weigh the candidates anew.

    Parameters
    ----------
    belief : Belief
        What was believed before these jobs.
    jobs : Takeoff
        n finished jobs with `used_low_m2` and `used_high_m2`.

    Notes
    -----
    First the jobs whose openings are measured teach what is usual of them. A job with quantities x
    that are not measured then has the mean θ·E[x] and the variance θ·Cov[x]·θ besides, at the
    candidate's θ before these jobs: missing covariates, at random, by normal approximation. That
    the same unknown habits stand behind all such jobs is left out here, not in pooled orders.

    For each candidate the posterior mode is found by Newton steps with exact derivatives, and
    its covariance is the inverse curvature there (Laplace). The evidence of a candidate is the
    Laplace integral of likelihood times prior (Tierney & Kadane 1986).
    """
    return update_and_judge(belief, jobs)[0]


def update_and_judge(belief: Belief, jobs: Takeoff) -> tuple[Belief, Array]:
    """Return what `update` does, and the (n,) probability that each record is grossly wrong.

    Parameters
    ----------
    belief, jobs
        As for `update`.
    """
    (moved,), wrong = update_each([belief], jobs, jobs.interval[None])
    return moved, wrong[0]


def update_each(
    beliefs: Sequence[Belief], jobs: Takeoff, counts: Array
) -> tuple[list[Belief], Array]:
    """Move D beliefs, each by its own counts of the same jobs, at once.

    Parameters
    ----------
    beliefs : sequence of Belief
        Of one prior, the same crews and the same habits.
    jobs : Takeoff
        n finished jobs.
    counts : (D, n, 2) array
        The ends of what was used by each count, m².

    Returns
    -------
    list of Belief, (D, n) array
        What `update_and_judge` does of each.
    """
    moved, wrong = list(beliefs), np.empty(counts.shape[:2])
    if not len(jobs):
        return moved, wrong
    # On several threads the library adds up in another order, so the last digits would differ.
    with _ONE_AT_A_TIME, _libraries().limit(limits=1, user_api="blas"):
        order = by_quantity(jobs)
        habits = jobs.teach(moved[0].habits, order)
        moved = [replace(belief, habits=habits) for belief in moved]
        jobs = jobs.reckoned(habits)
        for part in _turns(order):
            moved, wrong[:, part] = _update_at_once(moved, jobs.where(part), counts[:, part])
    return moved, wrong


@cache
def _libraries() -> ThreadpoolController:
    return ThreadpoolController()


def _turns(order: Array) -> list[Array]:
    """Places of the jobs that move the belief at once; every turn takes small and large jobs."""
    turns = -(-len(order) // JOBS_AT_A_TIME)
    return [order[turn::turns] for turn in range(turns)]


def _update_at_once(
    beliefs: list[Belief], jobs: Takeoff, counts: Array
) -> tuple[list[Belief], Array]:
    beliefs = [admit_crews(belief, jobs.crews) for belief in beliefs]
    shares = np.array([belief.gross_share for belief in beliefs])
    every, places = joined(beliefs)
    mean, covariance = every.mean.copy(), every.covariance.copy()
    log_weight = np.log(every.weight)
    told = predictive(every, jobs)
    counted = _counted(told, places, shares, counts)
    for form in told.forms:
        chosen = form.chosen
        own = counted._replace(**{name: getattr(counted, name)[chosen] for name in _EACH})
        fit = _fit(every.pick(chosen), form, own, jobs.pack)
        mean[chosen], covariance[chosen] = fit.mean, fit.covariance
        log_weight[chosen] += fit.log_evidence
    moved = replace(every, mean=mean, covariance=covariance)
    kept = [_weighed(moved.pick(place), log_weight[place]) for place in places]
    wrong = _gross_probabilities(kept, jobs, shares, counts)
    seen = [
        replace(now, seen=old.seen + len(jobs), wrong=old.wrong + float(likely.sum()))
        for now, old, likely in zip(kept, beliefs, wrong, strict=True)
    ]
    return seen, wrong


def _gross_probabilities(
    beliefs: list[Belief], jobs: Takeoff, shares: Array, counts: Array
) -> Array:
    """The (D, n) probability that each record is grossly wrong, by the belief of its counts."""
    every, places = joined(beliefs)
    told = predictive(every, jobs)
    wrong = _counted(told, places, shares, counts).agreement(told.mean, np.arange(len(told.mean)))
    parts = zip(beliefs, places, strict=True)
    return np.array([np.clip(b.weight @ wrong.wrong[place], 0, 1) for b, place in parts])


def joined(beliefs: Sequence[Belief]) -> tuple[Belief, list[Array]]:
    """Return the candidates of beliefs one after the other, and the places of those of each."""
    ends = np.cumsum([len(belief.form) for belief in beliefs])
    if len(beliefs) == 1:
        return beliefs[0], [np.arange(ends[0])]
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(belief, name) for belief in beliefs]) for name in COLUMNS
    }
    return replace(beliefs[0], **columns), np.split(np.arange(ends[-1]), ends[:-1])


def design(jobs: Takeoff, form: int, crews: tuple[str, ...]) -> tuple[Array, Array]:
    """Return the (n, P) columns that the parameters multiply and the (n,) sheet that is certain.

    Parameters
    ----------
    jobs : Takeoff
        n jobs.
    form : int
        Place in `FORMS`.
    crews : tuple of str
        Those of the belief; P is 1 + cuts + crews.
    """
    amount = jobs.amount[:, None]
    named = (places_of(jobs.crews, crews)[:, None] == np.arange(len(crews))) * amount
    reveals, certain = jobs.by_cut("reveal"), jobs.amount
    if FORMS[form] == "reuse":
        reused = np.isin(list(CUTS), reused_cuts())
        reveals[:, reused] = -jobs.by_cut("fillable")[:, reused]
        certain += jobs.by_cut("needed")[:, reused].sum(axis=1)
    return np.hstack([amount, reveals, named]), certain


def worths(mean: Array, form: int) -> Array:
    """Return the (g, K) m² of sheet that a m² of each quantity of a `Doubt` takes.

    Parameters
    ----------
    mean : (g, P) array
        Parameters of candidates of one form.
    form : int
        Place in `FORMS`.
    """
    reused = np.isin(list(CUTS), reused_cuts()) & (FORMS[form] == "reuse")
    factors = mean[:, 1 : 1 + len(CUTS)]
    flat, shares = np.where(reused, 0.0, factors), np.where(reused, -factors, 0.0)
    needed = np.broadcast_to(reused.astype(float), factors.shape)
    return np.hstack([1 + mean[:, :1], flat, needed, shares])


class FormDesign(NamedTuple):
    """One form in play: its candidates, the (n, P) columns and the (n,) sheet that is certain."""

    form: int
    chosen: Array
    columns: Array
    certain: Array


@dataclass(frozen=True)
class Predictive:
    """What each of G candidates foretells of the sheet that n jobs use; see `predictive`."""

    belief: Belief
    jobs: Takeoff

    @cached_property
    def forms(self) -> list[FormDesign]:
        """The design of each form that some candidate has."""
        belief = self.belief
        return [
            FormDesign(int(form), belief.form == form, *design(self.jobs, form, belief.crews))
            for form in np.unique(belief.form)
        ]

    @cached_property
    def mean(self) -> Array:
        """The (G, n) expected uses, m²."""
        mean = np.empty((len(self.belief.form), len(self.jobs)))
        for _, chosen, columns, certain in self.forms:
            mean[chosen] = self.belief.mean[chosen] @ columns.T + certain
        return mean

    @cached_property
    def job_sd(self) -> Array:
        """The (G, n) standard deviations of one job about another, m².

        They hold that between crews where the job's is not known, unless none is.
        """
        belief, crews = self.belief, self.belief.crews
        unknown = (places_of(self.jobs.crews, crews) < 0) & bool(crews)
        of_laid = belief.spread[:, None] ** 2 + belief.crew_sd[:, None] ** 2 * unknown
        return np.sqrt(belief.prior.floor**2 + of_laid * self.jobs.amount**2 + self.from_openings)

    @cached_property
    def worth(self) -> Array:
        """The (G, K) m² of sheet that a m² of each quantity takes; see `worths`."""
        parts = [worths(self.belief.mean[form.chosen], form.form) for form in self.forms]
        worth = np.empty((len(self.belief.form), parts[0].shape[1]))
        for form, part in zip(self.forms, parts, strict=True):
            worth[form.chosen] = part
        return worth

    @cached_property
    def from_openings(self) -> Array | float:
        """The (G, n) variances for openings or depths that are not measured, m⁴."""
        doubt = self.jobs.doubt
        if doubt is None:
            return 0.0
        squares = self.worth[:, :, None] * self.worth[:, None, :]
        return np.maximum(_rows(squares) @ _rows(doubt.covariance).T, 0.0)

    @cached_property
    def from_allowances(self) -> Array:
        """The (G, n) variances for what is not known of the allowances, m⁴."""
        variance = np.empty((len(self.belief.form), len(self.jobs)))
        for _, chosen, columns, _ in self.forms:
            covariance = self.belief.covariance[chosen]
            variance[chosen] = np.einsum("ni,gij,nj->gn", columns, covariance, columns)
        return variance

    def use(self) -> Mixture:
        """Return the distribution of the use of each of the n jobs, m²."""
        sd = np.sqrt(self.job_sd**2 + self.from_allowances)
        return Mixture(self.belief.weight, self.mean, sd)

    def counts(self, gross_share: float | None = None) -> Agreement:
        """Return how each candidate's expected uses, crews as told, agree with the counts."""
        low, high = self.jobs.interval.T
        share = self.belief.gross_share if gross_share is None else gross_share
        gross_sd = np.hypot(self.job_sd, self.belief.prior.gross_packs * self.jobs.pack)
        return agreement(self.mean, self.job_sd, low, high, share, gross_sd)

    def gross_probability(self) -> Array:
        """Return the (n,) probability that each counted job's record is grossly wrong."""
        return np.clip(self.belief.weight @ self.counts().wrong, 0, 1)


def _rows(tables: Array) -> Array:
    return tables.reshape(len(tables), -1)


def predictive(belief: Belief, jobs: Takeoff) -> Predictive:
    """Return means and variances of the sheet that n jobs use, candidate by candidate.

    Parameters
    ----------
    belief : Belief
        Widened to the quarter of the jobs.
    jobs : Takeoff
        n jobs; where their openings are not measured they are taken as the belief has it.

    Notes
    -----
    Within a candidate the use is normal: its variance is that of the allowances and of one job
    about another, openings that are not measured among it (see `update`); each is worked out when
    it is first asked for.
    """
    return Predictive(belief, jobs.reckoned(belief.habits))


class _Counted(NamedTuple):
    """What n jobs were counted to use, in each of D ways, as g candidates see it.

    `counts` (D, n, 2) m²; `way` (g,) by which each candidate goes; `gross_share` (g, 1);
    `sd` (g, n) of one job about another, m², `gross_sd` where the record is grossly wrong, for
    which `gross_m2` (n,) comes on top.
    """

    counts: Array
    way: Array
    gross_share: Array
    sd: Array
    gross_sd: Array
    gross_m2: Array

    def agreement(self, expected: Array, of: Array) -> Agreement:
        """How the uses that candidates `of` expect agree with their counts."""
        low, high = np.moveaxis(
            self.counts[self.way[of]] if len(self.counts) > 1 else self.counts, -1, 0
        )
        sd, gross_sd = self.sd[of], self.gross_sd[of]
        return agreement(expected, sd, low, high, self.gross_share[of], gross_sd)

    def blurred(self, blur: Array) -> _Counted:
        """The same counts, each blurred so far, m²."""
        sd = np.hypot(self.sd, blur)
        return self._replace(sd=sd, gross_sd=np.hypot(sd, self.gross_m2))


_EACH = ("way", "gross_share", "sd", "gross_sd")


def _counted(told: Predictive, places: list[Array], shares: Array, counts: Array) -> _Counted:
    """The counts as the candidates of D beliefs, at these places, see them."""
    way = np.repeat(np.arange(len(places)), [len(place) for place in places])
    gross_m2 = told.belief.prior.gross_packs * told.jobs.pack
    gross_sd = np.hypot(told.job_sd, gross_m2)
    return _Counted(counts, way, shares[way, None], told.job_sd, gross_sd, gross_m2)


def _fit(belief: Belief, form: FormDesign, counted: _Counted, pack: Array) -> Fit:
    precision = np.linalg.inv(belief.covariance)
    _, _, columns, certain = form
    squares = (columns[:, :, None] * columns[:, None, :]).reshape(len(columns), -1)

    def height(at: Array, of: Array, counted: _Counted) -> Height:
        counts = counted.agreement(at @ columns.T + certain, of)
        return _height(at - belief.mean[of], precision[of], columns, squares, counts)

    # A first climb on a smoothed surface keeps a small spread from calling every job wrong.
    rough = counted.blurred(0.5 * pack)
    start = climb(belief.mean, partial(height, counted=rough), near=0.1)[0]
    mode, top = climb(start, partial(height, counted=counted), near=1e-13)
    covariance = np.linalg.inv(top.curvature)
    shrink = 0.5 * (np.linalg.slogdet(precision)[1] - np.linalg.slogdet(top.curvature)[1])
    return Fit(mode, covariance, top.value + shrink)


def _height(
    away: Array, precision: Array, columns: Array, squares: Array, counts: Agreement
) -> Height:
    pull = np.einsum("gij,gj->gi", precision, away)
    bends = (np.maximum(counts.curvature, 0), counts.curvature)
    curvature, exact = (precision + (b @ squares).reshape(precision.shape) for b in bends)
    return Height(
        value=counts.log_probability.sum(axis=1) - 0.5 * (away * pull).sum(axis=1),
        slope=counts.slope @ columns - pull,
        curvature=curvature,
        exact=exact,
    )


def _weighed(belief: Belief, log_weight: Array) -> Belief:
    weight = np.exp(log_weight - log_weight.max())
    return _without_negligible(replace(belief, weight=weight / weight.sum()), log_weight)


def _without_negligible(belief: Belief, log_weight: Array) -> Belief:
    """Drop candidates that no longer matter, but keep every form in play."""
    best = np.array([log_weight[belief.form == f].max(initial=-np.inf) for f in range(len(FORMS))])
    kept = belief.pick(log_weight - best[belief.form] > np.log(NEGLIGIBLE))
    return replace(kept, weight=kept.weight / kept.weight.sum())
