"""One order for several jobs: against convolution, a published example and Eppen's square root."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from airstats.base.errors import AirstatsError
from airstats.model.allowances import unchanged
from airstats.model.posterior import design, predictive, widen
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import expected_cost, predict, price, priced
from airstats.pricing.order_costs import roll_chances
from airstats.pricing.pooled_order import (
    DRAWS,
    POOLED_COLUMNS,
    cost_of,
    drawn_packs,
    least_packs,
    pooled_costs,
    pooled_orders,
)
from airstats.takeoff.sheet_quantities import Takeoff, take_off
from tests.external_checks import agree
from tests.invented import invent

RECORDS = invent(jobs=12, seed=5)
JOBS = take_off(RECORDS)
COSTS = (60.0, 240.0)


@cache
def learnt():
    """What the records teach."""
    return calibrate(RECORDS)


def sure(allowances):
    """The same allowances, known exactly: nothing is left that the jobs could share."""
    belief = allowances.belief
    tiny = np.eye(belief.mean.shape[1]) * 1e-18
    covariance = np.broadcast_to(tiny, belief.covariance.shape)
    certain = replace(belief, covariance=covariance, drift=0 * belief.drift)
    best = certain.pick(np.array([belief.weight.argmax()]))
    return replace(allowances, belief=replace(best, weight=np.ones(1)))


def equal_jobs(count, laid_m2=300.0, roll_m2=0.5):
    """Jobs without openings, all alike, with rolls so small that rounding does not matter."""
    row = JOBS.table.iloc[[0]].copy()
    for name in row.columns[row.columns.str.contains("reveal_|needed_|fillable_")]:
        row[name] = 0.0
    row = row.assign(laid_m2=laid_m2, roll_m2=roll_m2, crew="")
    return Takeoff(pd.concat([row] * count, ignore_index=True))


def only_spread(mean_m2, sd_m2, laid_m2):
    """Allowances under which a job without openings uses normal(mean, sd), nothing shared."""
    start = sure(unchanged("2026Q1"))
    mean = start.belief.mean.copy()
    mean[:, 0] = mean_m2 / laid_m2 - 1
    spread = np.array([np.sqrt(sd_m2**2 - start.belief.prior.floor**2) / laid_m2])
    return replace(start, belief=replace(start.belief, mean=mean, spread=spread))


def test_independent_jobs_are_the_convolution_of_their_single_distributions():
    known = sure(learnt())
    jobs = JOBS.where(np.arange(5))
    total = np.ones(1)
    for _, part in roll_chances(priced(jobs, known), negligible=0).groupby("job_id", sort=False):
        own = np.zeros(part["rolls"].max() + 1)
        own[part["rolls"]] = part["probability"]
        total = np.convolve(total, own)
    drawn = pooled_costs(priced(jobs, known)).set_index("rolls")["probability"]
    far = np.abs(drawn.reindex(range(len(total)), fill_value=0) - total).max()
    # Four standard errors of the largest chance that 50,000 draws can miss by.
    assert far < 4 * 0.5 / np.sqrt(DRAWS)
    assert drawn.sum() == pytest.approx(1)


def test_each_job_by_itself_is_distributed_as_when_priced_alone():
    rolls, use = drawn_packs(JOBS, learnt()), predict(JOBS, learnt())
    roll_m2 = JOBS.columns(["roll_m2"])[:, 0]
    for n in range(2, 9):
        assert (rolls <= n).mean(axis=0) == pytest.approx(use.below(n * roll_m2), abs=0.009)


def test_a_crew_not_met_before_is_as_uncertain_as_when_priced_alone():
    crews = ["Fir", "Fir", "", "", "Alder", "Fir"] * 2
    jobs = Takeoff(JOBS.table.assign(crew=crews, roll_m2=1.0))
    rolls, use = drawn_packs(jobs, learnt()), predict(jobs, learnt())
    assert rolls.std(axis=0) == pytest.approx(use.sd(), rel=0.02)
    apart = np.corrcoef(rolls.T)
    assert apart[0, 1] > apart[0, 2] + 0.02


def test_shared_doubt_widens_the_sum_by_the_law_of_total_variance():
    jobs = Takeoff(JOBS.table.assign(roll_m2=1.0))
    belief = widen(learnt().belief, 1)
    means, within = np.empty((2, len(belief.form)))
    for g, form in enumerate(belief.form):
        columns, certain = design(jobs, int(form), belief.crews)
        total = columns.sum(axis=0)
        means[g] = belief.mean[g] @ total + certain.sum()
        within[g] = total @ belief.covariance[g] @ total
    within += (predictive(belief, jobs).job_sd ** 2).sum(axis=1)
    between = belief.weight @ (means - belief.weight @ means) ** 2
    expected = np.sqrt(belief.weight @ within + between)
    assert drawn_packs(jobs, learnt()).sum(axis=1).std() == pytest.approx(expected, rel=0.015)
    assert expected > 1.15 * np.sqrt((predict(jobs, learnt()).sd() ** 2).sum())


def test_a_published_newsvendor_example():
    # Left over 2, short 18, need normal(120, 10²): order 132.8155, cost 35.09967 (documentation of
    # the library stockpyl 1.0, first example; model of Snyder & Shen, Fundamentals of Supply Chain
    # Theory, 2nd ed., 4.3.2). Here the need is the sum of four jobs of normal(30, 5²).
    known, unit = only_spread(30, 5, 100.0), 0.05
    jobs = equal_jobs(4, 100.0, roll_m2=unit)
    total = drawn_packs(jobs, known, quarters_ahead=0).sum(axis=1)
    order = least_packs(total, 18 / 20)
    # A roll is 0.05 of the example's units, and each job rounds up by half a roll on average.
    agree("pooled.quantity", (order - 4 * 0.5) * unit)
    agree("pooled.cost", cost_of(total, order, 2 * unit, 18 * unit))


def test_pooling_n_independent_alike_jobs_divides_the_cost_by_the_root_of_n():
    # Eppen, Effects of centralization on expected costs in a multi-location newsboy problem,
    # Management Science 25 (1979): n independent equal needs, pooled cost = single / sqrt(n).
    table = pooled_orders(priced(equal_jobs(9), only_spread(300, 15, 300.0), *COSTS))
    ratio = table.loc[0, "pooled_cost"] / table.loc[0, "single_cost"]
    agree("eppen.root", ratio)


@pytest.mark.parametrize("costs", [COSTS, (60.0, 2400.0)])
def test_the_pooled_order_costs_least_and_is_set_beside_the_single_ones(costs):
    row = pooled_orders(priced(JOBS, learnt(), *costs)).iloc[0]
    total = drawn_packs(JOBS, learnt()).sum(axis=1)
    every = {n: cost_of(total, n, *costs) for n in range(total.min(), total.max() + 1)}
    assert every[row["pooled_rolls"]] == min(every.values()) == pytest.approx(row["pooled_cost"])
    orders = price(JOBS, learnt(), *costs)["order_rolls"].to_numpy()
    alone = expected_cost(predict(JOBS, learnt()), JOBS.table["roll_m2"].to_numpy(), orders, *costs)
    assert row["single_rolls"] == orders.sum()
    assert row["single_cost"] == pytest.approx(alone.sum())
    assert row["saved_rolls"] == row["single_rolls"] - row["pooled_rolls"] > 0
    assert row["saved_cost"] == row["single_cost"] - row["pooled_cost"] > 0


def test_the_row_of_the_store_is_that_of_the_draws():
    row = pooled_orders(priced(JOBS, learnt(), *COSTS)).iloc[0]
    total = np.sort(drawn_packs(JOBS, learnt(), quarters_ahead=1).sum(axis=1))
    assert len(total) == DRAWS
    assert row["from_rolls"] == total[DRAWS // 10 - 1]
    assert row["to_rolls"] == total[DRAWS * 9 // 10 - 1] <= row["single_rolls"]
    assert row["chance_short"] == (total > row["pooled_rolls"]).mean() <= 0.2
    chances = pooled_costs(priced(JOBS, learnt(), *COSTS))
    assert (chances["roll_size"] == row["roll_size"]).all()
    assert chances["probability"].sum() == pytest.approx(1)
    assert chances["rolls"] @ chances["probability"] == pytest.approx(total.mean())
    costs = chances.set_index("rolls")["cost"]
    assert costs.idxmin() == row["pooled_rolls"]
    assert costs.min() == pytest.approx(row["pooled_cost"])
    one_more = row["pooled_rolls"] + 1
    assert costs[one_more] == pytest.approx(cost_of(total, one_more, *COSTS))


def test_one_job_pooled_is_its_single_order():
    for place in range(4):
        jobs = JOBS.where(np.array([place]))
        row = pooled_orders(priced(jobs, learnt(), *COSTS)).iloc[0]
        assert row["pooled_rolls"] == price(jobs, learnt(), *COSTS)["order_rolls"].iloc[0]
        assert row["saved_cost"] == pytest.approx(0, abs=2)


def test_rolls_of_different_sizes_are_not_pooled():
    widths = np.where(np.arange(len(JOBS)) < 5, 1.5, 3.0)
    jobs = Takeoff(JOBS.table.assign(roll_width_m=widths, roll_m2=widths * 50))
    table = pooled_orders(priced(jobs, learnt(), *COSTS))
    assert table["roll_size"].tolist() == ["1.5\u00a0×\u00a050\u00a0m", "3\u00a0×\u00a050\u00a0m"]
    assert table["jobs"].tolist() == [5, 7]
    chances = pooled_costs(priced(jobs, learnt()))
    assert list(chances.index) == list(range(len(chances)))
    assert chances["roll_size"].unique().tolist() == table["roll_size"].tolist()
    assert chances.groupby("roll_size")["probability"].sum().tolist() == pytest.approx([1, 1])


def test_no_jobs_no_order():
    nothing = JOBS.where(np.zeros(len(JOBS), bool))
    told = priced(nothing, learnt(), *COSTS)
    orders, chances = pooled_orders(told), pooled_costs(told)
    assert orders.empty
    assert chances.empty
    assert list(orders) == list(POOLED_COLUMNS)
    assert list(chances) == ["roll_size", "rolls", "probability", "cost"]
    with pytest.raises(AirstatsError, match="short cost is 0: give a number above 0"):
        pooled_orders(priced(JOBS, learnt(), 60, 0))


def test_least_packs_and_their_cost_by_hand():
    """3 or 5 rolls opened, 4 ordered: one left over (60) as often as one short (240)."""
    assert cost_of(np.array([3, 5]), 4, *COSTS) == 150
    total = np.array([4, 2, 1, 3])
    assert [least_packs(total, share) for share in (0.25, 0.5, 0.51, 0.9)] == [1, 2, 3, 4]


def test_few_draws_are_as_many_as_asked_for_and_the_same_on_every_run():
    """So few that many a candidate has one draw or none."""
    assert drawn_packs(JOBS, learnt(), draws=40).shape == (40, len(JOBS))
    assert (drawn_packs(JOBS, learnt()) == drawn_packs(JOBS, learnt())).all()


def test_each_candidate_has_its_share_of_the_draws():
    """Weights .52, .26, .22 of ten draws are 5.2, 2.6, 2.2: five, three and two."""
    start = only_spread(350, 5, 300.0)
    belief = start.belief.pick(np.zeros(3, dtype=int))
    mean = belief.mean.copy()
    mean[:, 0] += [0.0, 1.0, 2.0]
    belief = replace(belief, mean=mean, weight=np.array([0.52, 0.26, 0.22]))
    rolls = drawn_packs(equal_jobs(1, roll_m2=100.0), replace(start, belief=belief), draws=10)
    # 350, 650 or 950 m², give or take 5: 4, 7 or 10 rolls of 100 m².
    assert sorted(rolls[:, 0]) == [4] * 5 + [7] * 3 + [10] * 2


def test_names_say_nothing_before_crews_are_known_and_no_job_opens_less_than_nothing():
    start = unchanged("2026Q1")
    named, nameless = (
        drawn_packs(Takeoff(equal_jobs(2).table.assign(crew=crew)), start) for crew in ("Fir", "")
    )
    assert (named == nameless).all()
    rolls = drawn_packs(equal_jobs(2, laid_m2=1.0), unchanged("2026Q1"))
    assert rolls.min() == 0
