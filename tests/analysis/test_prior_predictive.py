import numpy as np
import pytest

from airstats.analysis.prior_predictive import ordinary_jobs, prior_check
from airstats.model.posterior import design, starting_belief
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs
from tests.invented import counted_whole, invent, used_more


def drawn(jobs, draws=1500, seed=1):
    """Overruns (draws, n) in rolls as counted, drawn from the starting belief step by step."""
    rng, belief = np.random.default_rng(seed), starting_belief()
    roll = jobs.columns(["roll_m2"])[:, 0]
    priced = jobs.table["estimated_rolls"].to_numpy()
    chosen = rng.choice(len(belief.form), draws, p=belief.weight)
    columns = [design(jobs, form, ()) for form in (0, 1)]
    names, crew = np.unique(jobs.crews, return_inverse=True)
    over = np.empty((draws, len(jobs)))
    for row, g in enumerate(chosen):
        x, certain = columns[belief.form[g]]
        allowances = rng.multivariate_normal(belief.mean[g], belief.covariance[g])
        effect = rng.normal(0, belief.crew_sd[g], len(names)) * (names != "")
        laid = x[:, 0]
        sd = np.hypot(belief.prior.floor, belief.spread[g] * laid)
        use = certain + x @ allowances + effect[crew] * laid + rng.normal(0, sd)
        used = use / roll
        over[row] = np.where(jobs.table["counted"] == "opened", np.ceil(used), used) - priced
    return over


def test_waste_starts_where_others_found_it_and_shares_add_up(desk):
    # Bossink & Brouwers 1996: 1 to 10 % of what is bought leaves as waste; seen.
    assert 0.01 <= Prior().waste[0] <= 0.10
    check = prior_check(desk.jobs)
    assert check.table[["expected_share", "shown_share"]].sum().to_list() == pytest.approx([1, 1])
    assert check.table["jobs"].sum() == check.jobs == 48


@pytest.mark.parametrize("whole", [False, True])
def test_it_agrees_with_draws_from_the_starting_belief(whole):
    records = invent(jobs=24)
    jobs = finished_jobs(counted_whole(records, "estimated_rolls") if whole else records)
    check, over = prior_check(jobs), drawn(jobs)
    assert check.expected == pytest.approx(over.mean(), abs=0.03)
    ends = np.quantile(over.mean(axis=1), [0.05, 0.95])
    assert [check.low, check.high] == pytest.approx(ends, abs=0.08)
    nearest = np.floor(over + 0.5).ravel()
    inner = check.table.iloc[1:-1]
    seen = [(nearest == value).mean() for value in inner["overrun_rolls"]]
    assert inner["expected_share"].to_numpy() == pytest.approx(seen, abs=0.02)


def test_a_firm_that_wastes_far_more_lies_outside():
    records = invent(factor=0.3)
    like = prior_check(finished_jobs(records))
    assert like.low <= like.shown <= like.high
    other = prior_check(finished_jobs(used_more(records, records.jobs["surface_m2"] * 0.3 / 75)))
    assert other.shown > other.high


def test_without_a_job_ordinary_ones_stand_in():
    check = prior_check()
    assert check.shown is None
    assert check.jobs == 0
    assert "shown_share" not in check.table
    assert check.table["expected_share"].sum() == pytest.approx(1)
    over = drawn(ordinary_jobs())
    assert check.expected == pytest.approx(over.mean(), abs=0.03)
    more = prior_check(prior=Prior(waste=(0.15, 0.05)))
    assert more.expected > check.expected + 0.15
