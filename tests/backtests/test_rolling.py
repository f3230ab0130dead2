from functools import cache

import numpy as np
import pandas as pd
import pytest

from airstats.backtests.rolling import (
    PERCENTS,
    RULES,
    backtest,
    cheapest_share,
    pinball,
    read_truth,
)
from airstats.base.errors import RecordsError
from airstats.model.quarterly_update import finished_jobs
from tests.benchmark.worlds import World, invent_firm
from tests.external_checks import agree
from tests.invented import keep


@pytest.fixture(scope="module")
def plain():
    return invent_firm(World("plain"), 4)


@pytest.fixture(scope="module")
def looked_back(plain):
    return backtest(plain.records)


def test_pinball_against_a_reference_library():
    # The documented values of a public machine-learning library, from memory: 1, 2, 3 came.
    came, foretold = np.array([1.0, 2, 3]), np.array([[0.0, 2, 3], [1, 2, 4]])
    agree("pinball", [pinball(share, foretold, came).mean(axis=1) for share in (0.1, 0.9)])


def test_every_rule_is_scored_on_the_same_jobs_by_its_rolls(looked_back):
    assert list(looked_back.summary["rule"]) == list(RULES)
    assert set(looked_back.summary["jobs"]) == {36}
    assert len(looked_back.jobs) == 36
    jobs = looked_back.jobs
    for rule in RULES:
        gap = jobs[f"{rule}_rolls"] - jobs["needed_rolls"]
        cost = np.where(gap > 0, 60 * gap, -240 * gap)
        np.testing.assert_allclose(jobs[f"{rule}_cost"], cost)


def test_allowances_cost_less_than_a_flat_share():
    cost = sum(told_truth(seed).summary.set_index("rule")["mean_cost"] for seed in range(4, 9))
    assert cost["airstats"] < 0.5 * cost["flat"]


def test_the_cheapest_flat_share_is_found(plain):
    """Jobs of 300 m² that need 6 rolls of 75 m² each: 25 to 50 % order just that."""
    jobs = finished_jobs(plain.records)
    alike = type(jobs)(jobs.table.assign(surface_m2=300.0, used_rolls=6.0, roll_m2=75.0))
    # The smallest share of least cost: 5 rolls hold up to 25 %.
    assert cheapest_share(alike, 60, 240) == pytest.approx(0.26)
    mixed = type(jobs)(alike.table.assign(used_rolls=np.where(np.arange(48) % 3, 5.0, 6.0)))
    assert cheapest_share(mixed, 60, 240) == pytest.approx(0.26)
    assert cheapest_share(mixed, 240, 60) == pytest.approx(0.01)


def test_later_records_do_not_change_what_was_foretold(plain, looked_back):
    records = plain.records
    cut = records.jobs["quarter"] < "2023Q4"
    early = keep(records, cut)
    whole = looked_back.jobs.set_index("job_id")["expected_m2"]
    part = backtest(early).jobs.set_index("job_id")["expected_m2"]
    np.testing.assert_allclose(part, whole.loc[part.index])


def test_one_quarter_is_too_little():
    records = invent_firm(World("one", jobs=12, quarters=1), 1).records
    with pytest.raises(RecordsError, match="two quarters or more"):
        backtest(records)


def truth_of(firm):
    jobs = firm.records.jobs["job_id"]
    return pd.DataFrame({"job_id": jobs, "mean_m2": firm.past_mean_m2, "sd_m2": firm.past_sd_m2})


@cache
def told_truth(seed):
    """The back-test of an invented firm by one who knows its truth; nobody may change it."""
    firm = invent_firm(World("plain"), seed)
    return backtest(firm.records, truth=truth_of(firm))


def test_the_oracle_foretells_better_than_least_squares_and_changes_nothing_else(looked_back):
    """By the pinball losses: the costs of 200 jobs lie too much with luck to be compared."""
    with_truth = [told_truth(seed) for seed in range(4, 10)]
    assert list(with_truth[0].summary["rule"]) == [*RULES, "oracle"]
    jobs = pd.concat([one.jobs for one in with_truth])
    losses = {
        rule: jobs[[f"{rule}pinball_p{percent}" for percent in PERCENTS]].to_numpy().mean()
        for rule in ("oracle_", "least_squares_")
    }
    assert losses["oracle_"] < losses["least_squares_"]
    plain = looked_back.jobs
    pd.testing.assert_frame_equal(plain, with_truth[0].jobs[plain.columns])


def test_one_who_knows_each_use_orders_just_that(plain):
    middle = (plain.records.jobs["used_rolls"] - 0.5) * 75
    found = backtest(plain.records, truth=truth_of(plain).assign(mean_m2=middle, sd_m2=1e-6))
    assert found.summary.set_index("rule").loc["oracle", "mean_cost"] == 0


def test_a_truth_that_lacks_a_job_or_a_column_is_refused(plain):
    truth = truth_of(plain)
    with pytest.raises(RecordsError, match=r"truth: job .* has no mean_m2"):
        backtest(plain.records, truth=truth.iloc[:-1])
    with pytest.raises(RecordsError, match="truth: the column sd_m2 is missing"):
        backtest(plain.records, truth=truth[["job_id", "mean_m2"]])


def test_a_file_of_the_truth(tmp_path):
    path = tmp_path / "truth.csv"
    path.write_text("job_id,mean_m2,sd_m2\n007,300.5,12\n", encoding="utf-8")
    assert read_truth(path).iloc[0].tolist() == ["007", 300.5, 12.0]
    path.write_text("job_id,mean_m2,sd_m2\n007,many,12\n", encoding="utf-8")
    with pytest.raises(RecordsError, match=r"truth\.csv: cannot be read as a table of job_id"):
        read_truth(path)
