"""From allowances to orders: the predictive distribution and the order of least cost."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airstats.base.errors import AirstatsError
from airstats.base.firm import LEFTOVER_COST, SHORT_COST, Firm
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import FORMS, predictive, widen
from airstats.model.prior import DRIFT_OF_FACTORS
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import (
    critical_share,
    expected_cost,
    expected_left_over,
    packs_for_share,
    predict,
    price,
)
from airstats.takeoff.sheet_quantities import Takeoff, take_off
from tests.benchmark.worlds import World, invent_firm

FIRM = invent_firm(World("small", jobs=24, quarters=2), 6)
AHEAD = take_off(FIRM.takeoff)
ROLL_M2 = AHEAD.columns(["roll_m2"])[:, 0]
COLUMNS = [
    "job_id", "expected_m2", "low_m2", "high_m2", "rolls_p50", "rolls_p80", "rolls_p95",
    "order_rolls", "chance_short", "expected_left_over_rolls", "from_stock_rolls", "buy_rolls",
    "unmeasured", "width_if_measured_m2", "from_stock_m", "expected_left_on_last_m", "sheet_cost",
    "cost_a_m2", "all_in_percent",
]  # fmt: skip

needs = st.lists(
    st.tuples(st.floats(0.05, 1), st.floats(50, 900), st.floats(2, 120)), min_size=1, max_size=5
).map(lambda parts: mixture(*np.array(parts).T))
costs = st.floats(1, 1000)
ONE_ROLL = np.array([75.0])


@cache
def learnt():
    """What the records teach."""
    return calibrate(FIRM.records)


def mixture(weight, means, sds):
    return Mixture(weight / weight.sum(), means[:, None], sds[:, None])


def test_the_contract_of_the_table():
    orders = price(FIRM.takeoff, learnt(), firm=Firm(roll_price=150))
    assert list(orders.columns) == COLUMNS
    assert list(orders["job_id"]) == list(FIRM.takeoff.jobs["job_id"])
    rolls = [name for name in COLUMNS if name.startswith(("rolls_", "order_"))]
    assert all(pd.api.types.is_integer_dtype(orders[name]) for name in rolls)
    numbers = orders[COLUMNS].drop(columns=["job_id", "unmeasured"])
    assert np.isfinite(numbers.to_numpy(dtype=float)).all()
    pd.testing.assert_frame_equal(price(FIRM.takeoff, learnt()), price(AHEAD, learnt()))


def test_the_numbers_are_those_of_the_distribution():
    orders, use = price(FIRM.takeoff, learnt()), predict(AHEAD, learnt())
    inside = use.below(orders["high_m2"].to_numpy()) - use.below(orders["low_m2"].to_numpy())
    assert inside == pytest.approx(np.full(len(orders), 0.8), abs=1e-9)
    assert orders["expected_m2"].to_numpy() == pytest.approx(use.mean())
    for name, share in (("rolls_p50", 0.50), ("rolls_p80", 0.80), ("rolls_p95", 0.95)):
        rolls = orders[name].to_numpy()
        assert (use.below(rolls * ROLL_M2) >= share - 1e-9).all()
        assert (use.below((rolls - 1) * ROLL_M2) < share).all()
    ordered = orders["order_rolls"].to_numpy()
    assert orders["chance_short"].to_numpy() == pytest.approx(1 - use.below(ordered * ROLL_M2))


def test_standing_costs_cover_four_needs_in_five():
    """60 a roll left over, 240 a roll short: the contract's numbers."""
    assert (LEFTOVER_COST, SHORT_COST) == (60.0, 240.0)
    orders = price(FIRM.takeoff, learnt())
    assert orders["order_rolls"].equals(orders["rolls_p80"])


def test_rolls_where_the_need_ends_at_a_whole_roll_or_has_two_heaps():
    """Half the needs lie below three rolls: three. All but none lie just above them: four."""
    at_three = mixture(np.ones(1), np.array([225.0]), np.array([10.0]))
    just_above = mixture(np.ones(1), np.array([225 + 4e-8]), np.array([1e-8]))
    assert packs_for_share(at_three, ONE_ROLL, 0.5) == [3]
    assert packs_for_share(just_above, ONE_ROLL, 0.5) == [4]
    # Nine needs in ten take two rolls, one in ten forty: the 95 % point is among the latter.
    heaps = mixture(np.array([0.9, 0.1]), np.array([140.0, 2990.0]), np.array([2.0, 2.0]))
    assert [packs_for_share(heaps, ONE_ROLL, share)[0] for share in (0.85, 0.95)] == [2, 40]
    none = mixture(np.array([0.9, 0.1]), np.array([-20.0, 2990.0]), np.array([2.0, 2.0]))
    assert packs_for_share(none, ONE_ROLL, 0.85) == [0]


def test_every_job_counts_its_own_rolls_left_over():
    use, order = predict(AHEAD, learnt()), np.arange(len(AHEAD)) % 7
    together = expected_left_over(use, ROLL_M2, order)
    for job, rolls in enumerate(order):
        alone = Mixture(use.weight, use.means[:, [job]], use.sds[:, [job]])
        left = expected_left_over(alone, ROLL_M2[[job]], np.array([rolls]))
        assert together[job] == pytest.approx(left[0])


def test_no_jobs_and_a_job_of_next_to_nothing():
    none = AHEAD.where(np.zeros(len(AHEAD), dtype=bool))
    orders = price(none, learnt())
    assert list(orders.columns) == COLUMNS
    assert len(orders) == 0
    table = AHEAD.table.head(1).assign(
        **{name: 0.0 for name in AHEAD.table if name.endswith("_m2") and name != "roll_m2"}
    )
    row = price(Takeoff(table), learnt()).iloc[0]
    assert (row["low_m2"], row["order_rolls"]) == (0.0, 1)


def test_the_farther_ahead_the_less_sure():
    priced = [price(FIRM.takeoff, learnt(), quarters_ahead=quarters) for quarters in (0, 1, 4)]
    widths = [orders["high_m2"] - orders["low_m2"] for orders in priced]
    assert (widths[0] < widths[1]).all()
    assert (widths[1] < widths[2]).all()
    use = predict(AHEAD, learnt(), 4)
    assert priced[2]["high_m2"].to_numpy() == pytest.approx(use.quantile(0.9))
    further = 3 * learnt().spread()["trend"] * AHEAD.columns(["laid_m2"])[:, 0]
    straight = predict(AHEAD, learnt()).mean() + further
    assert use.mean() == pytest.approx(straight, rel=1e-3)
    assert (use.mean() >= straight).all()  # Waste that falls stops at nothing.
    with pytest.raises(AirstatsError, match="quarters_ahead is -1: give 0 or more"):
        price(FIRM.takeoff, learnt(), quarters_ahead=-1)


def test_prediction_against_sampling():
    """Draw candidates, parameters and jobs as the model says, and compare moments and quantiles."""
    rng, n = np.random.default_rng(2), 200_000
    belief, job = learnt().belief, AHEAD.table.iloc[0]
    drawn = rng.choice(len(belief.form), n, p=belief.weight)
    use = np.empty(n)
    for g in np.unique(drawn):
        at = drawn == g
        wander = belief.drift[g] * np.array([1.0, *[DRIFT_OF_FACTORS] * 3])
        p = rng.multivariate_normal(belief.mean[g], belief.covariance[g], at.sum())
        p[:, :4] += wander * rng.standard_normal((at.sum(), 4))
        p[:, 0] += belief.trend[g]
        crew = p[:, 4 + belief.crews.index(job["crew"])]
        crossing = {
            "factor": p[:, 1] * job["reveal_diagonal_m2"] + p[:, 2] * job["reveal_centre_m2"],
            "reuse": job["needed_diagonal_m2"] - p[:, 1] * job["fillable_diagonal_m2"]
            + job["needed_centre_m2"] - p[:, 2] * job["fillable_centre_m2"],
        }[FORMS[belief.form[g]]]  # fmt: skip
        mean = job["laid_m2"] * (1 + p[:, 0] + crew) + crossing + p[:, 3] * job["reveal_lined_m2"]
        sd = np.hypot(belief.prior.floor, belief.spread[g] * job["laid_m2"])
        use[at] = mean + sd * rng.standard_normal(at.sum())
    told = predict(AHEAD, learnt())
    assert told.mean()[0] == pytest.approx(use.mean(), abs=0.01 * use.std())
    assert told.sd()[0] == pytest.approx(use.std(), rel=0.01)
    for share in (0.1, 0.5, 0.9):
        assert told.quantile(share)[0] == pytest.approx(
            np.quantile(use, share), abs=0.015 * use.std()
        )


def test_a_crew_not_met_before_adds_its_own_doubt():
    """Under each candidate: variance of the allowances, of a job, and of a crew unknown."""
    belief = widen(learnt().belief, 1)
    stranger = Takeoff(AHEAD.table.assign(crew="Zelkova"))
    laid = AHEAD.columns(["laid_m2"])[:, 0]
    crew = (belief.crew_sd[:, None] * laid) ** 2
    assert (crew > 0).all()
    still = np.zeros_like(belief.covariance)
    sure = replace(
        learnt(), belief=replace(learnt().belief, covariance=still, drift=0 * belief.drift)
    )
    variance = predict(stranger, sure).sds ** 2
    assert variance == pytest.approx(predictive(belief, AHEAD).job_sd ** 2 + crew)
    nameless = Takeoff(AHEAD.table.assign(crew=""))
    assert predict(nameless, learnt()).sd() == pytest.approx(predict(stranger, learnt()).sd())


def test_a_firm_that_names_no_crews_has_no_doubt_between_them():
    jobs = FIRM.records.jobs.assign(crew="")
    known = calibrate(replace(FIRM.records, jobs=jobs))
    nameless = Takeoff(AHEAD.table.assign(crew=""))
    belief = known.belief
    sure = replace(belief, covariance=0 * belief.covariance, drift=0 * belief.drift)
    sds = predict(nameless, replace(known, belief=sure)).sds
    assert sds == pytest.approx(predictive(belief, AHEAD).job_sd)


def test_intervals_hold_what_they_say():
    """80 % intervals of jobs to come, over 15 invented firms: 450 jobs, so within 7 points."""
    inside = []
    for seed in range(15):
        firm = invent_firm(World("w", jobs=24, quarters=2), seed)
        orders = price(firm.takeoff, calibrate(firm.records))
        inside.append((orders["low_m2"] <= firm.used_m2) & (firm.used_m2 <= orders["high_m2"]))
    assert np.mean(inside) == pytest.approx(0.80, abs=0.07)


@settings(max_examples=40, deadline=None)
@given(needs, costs, costs)
def test_the_order_costs_least(need, leftover, short):
    """Brute force over every number of rolls."""
    order = packs_for_share(need, ONE_ROLL, critical_share(leftover, short))[0]
    alike = need.where(np.zeros(30, dtype=int))
    cost = expected_cost(alike, np.full(30, ONE_ROLL[0]), np.arange(30), leftover, short)
    assert cost[order] <= min(cost) * (1 + 1e-6) + 1e-6


@settings(max_examples=80, deadline=None)
@given(needs, costs, costs, st.floats(1, 5))
def test_dearer_leftovers_never_raise_the_order(need, leftover, short, times):
    usual, dearer, scarcer = (
        packs_for_share(need, ONE_ROLL, critical_share(*pair))[0]
        for pair in ((leftover, short), (leftover * times, short), (leftover, short * times))
    )
    assert dearer <= usual <= scarcer


@settings(max_examples=60, deadline=None)
@given(needs, st.floats(0.02, 0.98))
def test_rolls_for_a_share_are_the_least(need, share):
    rolls = packs_for_share(need, ONE_ROLL, share)
    assert need.below(rolls * ONE_ROLL)[0] >= share - 1e-9
    assert rolls[0] == 0 or need.below((rolls - 1) * ONE_ROLL)[0] < share


def test_left_over_and_cost_against_sampling():
    """Whole rolls are opened: a need of 3.2 rolls opens four."""
    weight, means, sds = np.array([0.3, 0.7]), np.array([240.0, 330.0]), np.array([40.0, 15.0])
    need = mixture(weight, means, sds)
    rng = np.random.default_rng(3)
    part = rng.choice(2, 400_000, p=weight)
    opened = np.maximum(np.ceil(rng.normal(means[part], sds[part]) / 75), 0)
    for order in (2, 4, 5, 7):
        left = np.maximum(order - opened, 0)
        short = np.maximum(opened - order, 0)
        n = np.array([order])
        assert expected_left_over(need, ONE_ROLL, n)[0] == pytest.approx(left.mean(), abs=0.006)
        cost = expected_cost(need, ONE_ROLL, n, 60.0, 240.0)[0]
        assert cost == pytest.approx((60 * left + 240 * short).mean(), abs=1.5)


def test_orders_follow_the_costs_by_their_ratio_alone():
    few, usual, many = (
        price(FIRM.takeoff, learnt(), leftover, short)["order_rolls"].sum()
        for leftover, short in ((300.0, 60.0), (60.0, 240.0), (5.0, 900.0))
    )
    assert few < usual < many
    pence, pounds = (price(FIRM.takeoff, learnt(), 60 * k, 240 * k) for k in (100.0, 1.0))
    pd.testing.assert_frame_equal(pence, pounds)


def test_smaller_rolls_are_ordered_in_larger_numbers():
    half = Takeoff(AHEAD.table.assign(roll_m2=AHEAD.table["roll_m2"] / 2))
    small, large = price(half, learnt()), price(AHEAD, learnt())
    assert (small["order_rolls"] >= large["order_rolls"]).all()
    assert (small["order_rolls"] <= 2 * large["order_rolls"]).all()
    assert small["expected_m2"].to_numpy() == pytest.approx(large["expected_m2"].to_numpy())


@pytest.mark.parametrize("cost", [0.0, -5.0, float("nan"), float("inf")])
def test_costs_that_will_not_do(cost):
    with pytest.raises(AirstatsError, match=rf"leftover cost is {cost:g}: give a number above 0"):
        price(FIRM.takeoff, learnt(), leftover_cost=cost)
    with pytest.raises(AirstatsError, match=rf"short cost is {cost:g}: give a number above 0"):
        critical_share(60.0, cost)


def test_a_word_is_no_cost():
    with pytest.raises(AirstatsError, match='leftover cost is "dear": give a number above 0'):
        critical_share("dear", 240.0)


def test_a_gross_record_is_no_part_of_a_need_and_the_order_ends_however_dear():
    """The share of grossly wrong records widens no prediction."""
    belief = learnt().belief
    worse = replace(belief, prior=replace(belief.prior, gross_share=0.3, gross_packs=5.0))
    assert predict(AHEAD, replace(learnt(), belief=worse)).sd() == pytest.approx(
        predict(AHEAD, learnt()).sd()
    )
    assert critical_share(1e-9, 1e12) == 1.0
    orders = price(AHEAD, learnt(), 1e-9, 1e12)
    assert (orders["order_rolls"] < 2 * orders["rolls_p95"] + 4).all()
