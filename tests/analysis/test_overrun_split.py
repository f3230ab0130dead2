from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import truncnorm

from airstats.analysis.overrun_split import (
    CAUSES,
    MAIN,
    NET,
    SHORT_WORDS,
    Cause,
    each_cause,
    joined,
    likely_use,
    overrun_table,
    price_rounding,
    split_overrun,
    usual_crews,
)
from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.model.posterior import predictive
from airstats.model.quarterly_update import calibrate, finished_jobs
from airstats.takeoff.sheet_quantities import Takeoff
from tests.benchmark.worlds import World, invent_firm
from tests.external_checks import agree
from tests.invented import CREW_WORLD, invent


@pytest.fixture(scope="module")
def firm():
    made = invent_firm(World("plain"), 3)
    jobs = finished_jobs(made.records)
    priced = jobs.table.assign(roll_price=150.0 + np.arange(len(jobs)) % 3)
    return Takeoff(priced), calibrate(made.records)


def test_every_cause_is_told_once_in_every_view_and_has_its_words():
    for view in (MAIN, NET):
        members = [member for members in view.values() for member in members]
        assert sorted(members) == sorted(CAUSES)
        assert all(SHORT_WORDS[name] for name in view)


def test_a_cause_is_told_by_its_own_name_or_with_others(monkeypatch):
    monkeypatch.setitem(CAUSES, "invented", Cause("an invented cause", net="laps_and_waste"))
    assert joined("main", list(CAUSES)) == {**MAIN, "invented": ("invented",)}
    net = {**NET, "laps_and_waste": (*NET["laps_and_waste"], "invented")}
    assert joined("net", list(CAUSES)) == net
    assert each_cause()["invented"] == ("invented",)


@pytest.mark.parametrize("usual", [(), ("Alder", "Birch")])
@pytest.mark.parametrize("causes", [each_cause(), MAIN, NET])
@pytest.mark.parametrize("unit", ["rolls", "m2", "money"])
@pytest.mark.parametrize("by", ["job_id", "crew", "quarter"])
def test_causes_add_up_to_used_minus_estimated(firm, by, unit, causes, usual):
    jobs, learnt = firm
    split = split_overrun(jobs, learnt, by, unit, causes, usual)
    told = overrun_table(jobs)[f"overrun_{unit}"].groupby(jobs.table[by]).sum()
    summed = split.groupby("group")["mean"].sum()
    np.testing.assert_allclose(summed.loc[told.index], told, atol=1e-9)


def test_jobs_stay_in_their_order_and_other_groups_are_sorted_and_add_up(firm):
    jobs, learnt = firm
    turned = Takeoff(jobs.table.iloc[::-1].reset_index(drop=True))
    by_job = split_overrun(turned, learnt, "job_id")["group"].drop_duplicates()
    assert list(by_job) == list(turned.table["job_id"])
    by_crew = split_overrun(turned, learnt, "crew")
    assert list(by_crew["group"].drop_duplicates()) == sorted(set(turned.crews))
    whole = split_overrun(jobs, learnt).set_index("cause")["mean"]
    parts = by_crew.groupby("cause")["mean"].sum()
    np.testing.assert_allclose(parts.loc[list(each_cause())], whole, atol=1e-9)


def test_reveals_together_are_the_sum_of_the_cuts_and_surer_than_apart(firm):
    split = split_overrun(*firm).set_index("cause")
    cuts = split.loc[[cause for cause in each_cause() if cause.startswith("reveal.")]]
    together = split_overrun(*firm, causes=MAIN).set_index("cause").loc["reveals"]
    assert together["mean"] == pytest.approx(cuts["mean"].sum(), abs=1e-9)
    assert together["sd"] <= cuts["sd"].sum()


def counted_between(jobs, low_m2, width_m2):
    return Takeoff(jobs.table.assign(used_low_m2=low_m2, used_high_m2=low_m2 + width_m2))


@pytest.mark.parametrize(("above_m2", "width_m2"), [(0, 75), (0, 1e-6), (5000, 2), (-5000, 2)])
def test_likely_use_lies_in_its_counted_interval(firm, above_m2, width_m2):
    """Whole rolls, an exact count, and counts that no job of this size could have."""
    jobs, learnt = firm
    counted = counted_between(jobs, jobs.table["laid_m2"] + above_m2, width_m2)
    low, high = counted.columns(["used_low_m2", "used_high_m2"]).T
    _, use, variance, _ = likely_use(predictive(learnt.belief, counted))
    assert ((low <= use) & (use <= high)).all()
    assert (variance >= 0).all()
    assert (variance <= (high - low) ** 2 / 12 * (1 + 1e-9)).all()


def test_likely_use_far_above_what_was_expected(firm):
    # Reference: scipy.stats.truncnorm, its lower end 20 sd up.
    jobs, learnt = firm
    one = learnt.belief.pick([0])
    told = predictive(one, jobs)
    expected, sd = told.mean[0], told.job_sd[0]
    counted = counted_between(jobs, expected + 20 * sd, 75.0)
    _, use, variance, _ = likely_use(predictive(one, counted))
    cut_off = truncnorm(20, 20 + 75 / sd, expected, sd)
    np.testing.assert_allclose(use[0], cut_off.mean(), rtol=1e-6)
    np.testing.assert_allclose(variance[0], cut_off.var(), rtol=1e-3)


def test_likely_use_is_the_mean_of_a_cut_off_normal(firm):
    jobs, learnt = firm
    # One candidate of twenty: the library takes long for each use.
    some = learnt.belief.pick(np.arange(0, len(learnt.belief.form), 20))
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T
    expected, use, variance, sd = likely_use(predictive(some, jobs))
    a, b = (low - expected) / sd, (high - expected) / sd
    near = (a < 6) & (b > -6)
    cut_off = truncnorm(a[near], b[near], expected[near], sd[near])
    agree("use.mean", use[near], cut_off.mean())
    np.testing.assert_allclose(variance[near], cut_off.var(), rtol=1e-4, atol=1e-3)


def test_more_reveal_use_is_put_down_to_reveals():
    shallow = invent_firm(World("flat", mechanism="flat"), 5).records
    deeper = shallow.openings.assign(reveal_mm=shallow.openings["reveal_mm"] * 2)
    twice = replace(shallow, openings=deeper)
    learnt = calibrate(shallow)
    before, after = (
        split_overrun(finished_jobs(records), learnt, causes=MAIN).set_index("cause")["mean"]
        for records in (shallow, twice)
    )
    assert after["reveals"] > 1.5 * before["reveals"]


def test_an_unknown_unit_is_refused_and_without_prices_there_is_no_money(firm):
    with pytest.raises(AirstatsError, match="use rolls, packs, m2 or money"):
        split_overrun(*firm, unit="feet")
    table = overrun_table(Takeoff(firm[0].table.drop(columns="roll_price")))
    assert table["overrun_money"].isna().all()
    assert table["overrun_rolls"].notna().all()


def drawn_parts(jobs, learnt, usual=(), draws=3000):
    """Every cause in rolls for all jobs, drawn: allowances, use within its count, rounding."""
    rng, belief = np.random.default_rng(8), learnt.belief
    table, floor = jobs.table, belief.prior.floor
    low, high = jobs.columns(["used_low_m2", "used_high_m2"]).T
    used, priced, roll, surface, laid = jobs.columns(
        ["used_rolls", "estimated_rolls", "roll_m2", "net_surface_m2", "laid_m2"]
    ).T
    reveal, needed, fillable = (
        table[[f"{name}_{cut}_m2" for cut in CUTS]].to_numpy()
        for name in ("reveal", "needed", "fillable")
    )
    names, crew = np.unique(jobs.crews, return_inverse=True)
    assert tuple(names) == belief.crews
    reused = [list(CUTS).index(cut) for cut in reused_cuts()]
    fitted, spread = [], []
    for g in rng.choice(len(belief.form), draws, p=belief.weight):
        allowances = rng.multivariate_normal(belief.mean[g], belief.covariance[g])
        waste, factors, effect = (
            allowances[0],
            allowances[1 : 1 + len(CUTS)],
            allowances[1 + len(CUTS) :],
        )
        sheet = factors * reveal
        if belief.form[g]:
            sheet[:, reused] = (needed - factors * fillable)[:, reused]
        common = effect[np.isin(names, usual)].mean() if usual else 0.0
        fitted.append([*sheet.T, (waste + common) * laid, (effect[crew] - common) * laid])
        spread.append(np.hypot(floor, belief.spread[g] * laid))
    fitted, sd = np.array(fitted), np.array(spread)
    expected = laid + fitted.sum(axis=1)
    cut_off = truncnorm((low - expected) / sd, (high - expected) / sd, expected, sd)
    use = cut_off.rvs(random_state=rng)
    rounded = rng.uniform(0, price_rounding(jobs), use.shape)
    parts = {cause: fitted[:, place] for place, cause in enumerate(FITTED)} | {
        "reveals": fitted[:, : len(CUTS)].sum(axis=1),
        "already_priced": surface - priced * roll + rounded,
        "laps": laid - surface + 0 * use,
        "count_rounding": used * roll - use,
        "price_rounding": -rounded,
        "unexplained": use - expected,
    }
    return {cause: (part / roll).sum(axis=1) for cause, part in parts.items()}


FITTED = (*(f"reveal.{cut}" for cut in CUTS), "waste", "crew")


@pytest.fixture(scope="module", params=[(), ("Alder", "Birch")])
def drawn(firm, request):
    """Usual crews, and every cause as drawn against them."""
    return request.param, drawn_parts(*firm, request.param)


@pytest.mark.parametrize("causes", [each_cause(), MAIN, NET])
def test_means_and_sds_are_those_of_drawn_jobs(firm, causes, drawn):
    (jobs, learnt), (usual, drawn) = firm, drawn
    assert (price_rounding(jobs) > 0).all()
    split = split_overrun(jobs, learnt, causes=causes, usual=usual).set_index("cause")
    for cause, members in causes.items():
        part = sum(drawn[member] for member in members)
        mean, sd = split.loc[cause, ["mean", "sd"]]
        assert mean == pytest.approx(part.mean(), abs=4 * part.std() / len(part) ** 0.5 + 1e-9)
        assert sd == pytest.approx(part.std(), rel=0.06, abs=1e-9)


def test_causes_that_rise_together_are_less_sure_as_one(firm):
    jobs, learnt = firm
    belief = learnt.belief
    tied = np.diag(np.full(belief.mean.shape[1], 0.02**2))
    tied[1, 2] = tied[2, 1] = 0.95 * 0.02**2
    learnt = replace(
        learnt, belief=replace(belief, covariance=np.tile(tied, (len(belief.form), 1, 1)))
    )
    drawn = drawn_parts(jobs, learnt)
    causes = {
        "reveals": ("reveal.diagonal", "reveal.centre"),
        "beyond": ("unexplained", "count_rounding"),
    }
    split = split_overrun(jobs, learnt, causes=causes).set_index("cause")
    for cause, members in causes.items():
        together = sum(drawn[member] for member in members)
        assert split.loc[cause, "sd"] == pytest.approx(together.std(), rel=0.06)


def test_spreads_in_rolls_and_money_are_those_in_square_metres(firm):
    """A roll of 75 m² at 150: two of money a m²."""
    jobs, learnt = firm
    alike = Takeoff(jobs.table.assign(roll_price=150.0))
    m2, rolls, money = (
        split_overrun(alike, learnt, "crew", unit)["sd"] for unit in ("m2", "rolls", "money")
    )
    np.testing.assert_allclose(rolls * 75, m2, atol=1e-9)
    np.testing.assert_allclose(money / 2, m2, atol=1e-9)


def test_intervals_hold_nine_of_ten_and_the_whole_is_surer_than_its_parts(firm):
    row = split_overrun(*firm).set_index("cause").loc["waste"]
    # 1.6449: 95 % point of the normal, any printed table.
    assert row["high"] - row["mean"] == pytest.approx(1.6449 * row["sd"], rel=1e-4)
    assert row["mean"] - row["low"] == pytest.approx(1.6449 * row["sd"], rel=1e-4)
    jobs, learnt = firm
    split = split_overrun(
        jobs, learnt, causes=each_cause() | {"all": tuple(each_cause())}
    ).set_index("cause")
    over = overrun_table(jobs)["overrun_rolls"].sum()
    assert split.loc["all", "mean"] == pytest.approx(over, abs=1e-9)
    assert split.loc["all", "sd"] < 1e-6 < split.loc["waste", "sd"]


def test_rounding_up_of_prices_is_known_by_the_way_of_counting_and_lies_in_its_interval(firm):
    jobs = finished_jobs(invent())
    assert (price_rounding(jobs) == 0).all()
    rolls = np.ceil(jobs.table["estimated_rolls"])
    whole = type(jobs)(jobs.table.assign(estimated_rolls=rolls))
    np.testing.assert_allclose(price_rounding(whole), 75.0)
    halves = type(jobs)(jobs.table.assign(estimated_rolls=rolls - 0.5 * (np.arange(len(jobs)) % 2)))
    np.testing.assert_allclose(price_rounding(halves), 37.5)
    quarters = type(jobs)(jobs.table.assign(estimated_rolls=rolls - 0.25 * (rolls.index % 4)))
    np.testing.assert_allclose(price_rounding(quarters), 18.75)
    eighths = type(jobs)(jobs.table.assign(estimated_rolls=rolls - 0.125))
    assert (price_rounding(eighths) == 0).all()

    # A price of the surface and 5 %, rounded up: its own rounding is known here.
    jobs, learnt = firm
    table = jobs.table
    raw = table["net_surface_m2"] * 1.05 / table["roll_m2"]
    priced = type(jobs)(table.assign(estimated_rolls=np.ceil(raw)))
    row = split_overrun(priced, learnt).set_index("cause").loc["price_rounding"]
    assert row["low"] <= -(np.ceil(raw) - raw).sum() <= row["high"]


def test_a_wasteful_crew_is_held_against_the_others():
    # Damson wastes 0.25 m² a m² laid more than the other three.
    records = invent(**CREW_WORLD)
    jobs, learnt = finished_jobs(records), calibrate(records)
    usual = usual_crews(learnt)
    assert usual == ("Alder", "Birch", "Cedar")
    damson = jobs.table["crew"].eq("Damson")
    truth = 0.25 * jobs.table.loc[damson, "laid_m2"].sum() / 75
    split = split_overrun(jobs, learnt, "crew", "rolls", MAIN, usual).set_index(["group", "cause"])
    row = split.loc[("Damson", "crew")]
    assert row["low"] < truth < row["high"]
    assert abs(split.loc[("Alder", "crew"), "mean"]) < 0.05 * truth
    assert usual_crews(calibrate(invent(jobs=12))) == ()
