"""Is the engine's posterior that of its own model? Ranks of drawn truths, and importance sampling.

Run `nice -n 15 python -m tests.benchmark.simulation_based --seeds 400 --workers 1` from the top of
the checkout; `--write` keeps what was found.

A truth is drawn from the starting belief, jobs of whole rolls from the truth, gross errors among
them; the rank of the truth among draws of the posterior must be even (Talts, Betancourt, Simpson,
Vehtari & Gelman 2018). Ten firms' posteriors are then set beside importance sampling from the
model itself: draws of the engine's posterior with Student's tails, weighed by prior times
likelihood over the density that they were drawn from (Robert & Casella 2004, section 3.3).
"""

from dataclasses import replace

import numpy as np
from scipy.special import logsumexp
from scipy.stats import binom, multivariate_normal, multivariate_t

from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import COLUMNS, predictive, starting_belief, update
from airstats.pricing.newsvendor import packs_for_share
from airstats.takeoff.sheet_quantities import Takeoff, take_off
from tests.benchmark import runs
from tests.benchmark.worlds import ROLL_M2, World, invent_firm

JOBS, DRAWS, BINS = 24, 99, 10
"""Jobs a firm; draws of the posterior, so that a rank is 0 to 99; bars of a histogram."""
TAILS, SAMPLES, COMPARED = 5, 20_000, 10


def without_crews(seed):
    """Return the quantities of a firm's jobs, to be counted anew, and of jobs to come."""
    firm = invent_firm(World("simulated", jobs=JOBS, quarters=1), seed)
    return [Takeoff(take_off(part).table.assign(crew="")) for part in (firm.records, firm.takeoff)]


def one_truth(belief, rng):
    """Draw one truth from a belief: its candidate, and the allowances with no doubt left."""
    truth = belief.pick(rng.choice(len(belief.weight), 1, p=belief.weight))
    drawn = rng.multivariate_normal(truth.mean[0], truth.covariance[0])[None]
    return replace(truth, weight=np.ones(1), mean=drawn, covariance=0 * truth.covariance)


def counted(truth, jobs, rng):
    """Return the jobs with whole rolls counted under a truth, some of them grossly wrong."""
    told = predictive(truth, jobs)
    gross = rng.random(len(jobs)) < truth.gross_share
    sd = np.hypot(told.job_sd[0], gross * truth.prior.gross_packs * jobs.pack)
    rolls = np.ceil((told.mean[0] + sd * rng.standard_normal(len(jobs))) / ROLL_M2)
    ends = {"used_low_m2": (rolls - 1) * ROLL_M2, "used_high_m2": rolls * ROLL_M2}
    return Takeoff(jobs.table.assign(**ends))


def ranked(truth, belief, ahead):
    """Return what is ranked, by name, of each candidate: (G,) or (G, 1) arrays."""
    mean = predictive(belief, ahead).mean
    return {"waste": belief.mean[:, 0], "lined": belief.mean[:, 3], "spread": belief.spread,
            "sheet of the jobs to come": mean.sum(axis=1)}  # fmt: skip


def one_firm(seed):
    """Return the rank, 0 to DRAWS, of each truth among draws of the posterior."""
    rng = np.random.default_rng([seed, 11])
    jobs, ahead = without_crews(seed)
    start = starting_belief()
    truth = one_truth(start, rng)
    posterior = update(start, counted(truth, jobs, rng))
    drawn = joined([one_truth(posterior, rng) for _ in range(DRAWS)])
    true, found = ranked(truth, truth, ahead), ranked(truth, drawn, ahead)
    # Equal values, as those of the spread's candidates, are put in order by lot.
    return {name: int((values < true[name]).sum() + rng.integers((values == true[name]).sum() + 1))
            for name, values in found.items()}  # fmt: skip


def joined(truths):
    """Return one belief that holds many truths, each as a candidate."""
    parts = {n: np.concatenate([getattr(truth, n) for truth in truths]) for n in COLUMNS}
    return replace(truths[0], **parts)


def compared(seed):
    """Return how far the engine lies from importance sampling on one firm."""
    rng = np.random.default_rng([seed, 12])
    jobs, ahead = without_crews(seed)
    start = starting_belief()
    counts = counted(one_truth(start, rng), jobs, rng)
    posterior = update(start, counts)
    exact, weight = weighed(start, posterior, counts, rng)
    waste, sd = weight @ exact.mean[:, 0], posterior_sd(posterior)
    told, truth = predictive(exact, ahead), replace(exact, weight=weight)
    use = Mixture(truth.weight, told.mean, told.job_sd)
    orders = [packs_for_share(u, ahead.pack, runs.WANTED)
              for u in (use, predictive(posterior, ahead).use())]  # fmt: skip
    exact_sd = np.sqrt(weight @ (exact.mean[:, 0] - waste) ** 2)
    return {
        "effective draws": 1 / (weight**2).sum(),
        "shift of waste, sds": (posterior.weight @ posterior.mean[:, 0] - waste) / exact_sd,
        "sd of waste, times": sd / exact_sd,
        "orders changed of 30": (orders[0] != orders[1]).sum(),
    }


def posterior_sd(belief):
    """Return the sd of waste over all candidates."""
    sds = np.sqrt(belief.covariance[:, :1, 0])
    return float(Mixture(belief.weight, belief.mean[:, :1], sds).sd()[0])


def weighed(start, posterior, counts, rng):
    """Return draws as candidates without doubt, and their weights by the model itself.

    The usual and the wide start of a candidate are two ways to the same truths: they are drawn
    from, and weighed, together.
    """
    kind = start_kinds(posterior)
    drawn, log_weight = [], []
    for own in np.unique(kind, axis=0):
        members = np.flatnonzero((kind == own).all(axis=1))
        weight = posterior.weight[members]
        number = rng.multinomial(round(SAMPLES * weight.sum()), weight / weight.sum())
        if not number.sum():
            continue
        ways = [multivariate_t(posterior.mean[g], posterior.covariance[g], df=TAILS, seed=rng)
                for g in members]  # fmt: skip
        at = np.concatenate(
            [np.atleast_2d(w.rvs(n)) for w, n in zip(ways, number, strict=True) if n]
        )
        many = posterior.pick(np.full(len(at), members[0]))
        many = replace(many, mean=at, covariance=0 * many.covariance)
        likely = predictive(many, counts).counts(start.gross_share).log_probability.sum(axis=1)
        before = [
            np.log(start.weight[g])
            + multivariate_normal(start.mean[g], start.covariance[g]).logpdf(at)
            for g in np.flatnonzero((start_kinds(start) == own).all(axis=1))
        ]
        from_them = [np.log(w) + way.logpdf(at) for w, way in zip(weight, ways, strict=True)]
        drawn.append(many)
        log_weight.append(likely + logsumexp(before, axis=0) - logsumexp(from_them, axis=0))
    log_weight = np.concatenate(log_weight)
    return joined(drawn), np.exp(log_weight - logsumexp(log_weight))


def start_kinds(belief):
    """Return what tells candidates apart but for how widely they started, (G, 3)."""
    return np.column_stack([belief.form, belief.spread, belief.crew_sd])


def histograms(ranks):
    """Return, for each name, how many ranks fall into each bar, and the band of 99 in 100."""
    edges = np.arange(0, DRAWS + 2, (DRAWS + 1) // BINS)
    low, high = binom.interval(0.99, len(ranks), 1 / BINS)
    found = {name: np.histogram(ranks[name], edges)[0].tolist() for name in ranks}
    return found | {"low": float(low), "high": float(high)}


def main():
    """Print histograms of ranks and how far importance sampling lies; with --write keep both."""
    asked = runs.asked(__doc__, 400)
    found = histograms(runs.each_seed(one_firm, asked.seeds, asked.first, asked.workers))
    for name, bars in found.items():
        print(name, bars)
    apart = runs.each_seed(compared, COMPARED, asked.first, asked.workers)
    print(apart.round(3).to_string())
    if asked.write:
        runs.keep("simulation_based", "ranks", asked, found)
        changed = float(apart.pop("orders changed of 30").sum())
        told = {"firms": COMPARED, "orders changed": changed, "orders": 30.0 * COMPARED}
        told |= apart.abs().median().to_dict()
        runs.keep("simulation_based", "importance sampling", asked, told)


if __name__ == "__main__":
    main()
