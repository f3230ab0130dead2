import numpy as np
import pytest

from airstats.looking_back import RULES, backtest, pinball
from airstats.errors import RecordsError
from tests.benchmark.worlds import World, invent_firm


@pytest.fixture(scope="module")
def looked_back():
    return backtest(invent_firm(World("plain"), 4).records)


def test_pinball_against_a_reference_library():
    # Reference values of a public machine-learning library's pinball loss, as documented there:
    # y 1, 2, 3 foretold 0, 2, 3 gives 0.0333 at 0.1 and 0.3 at 0.9.
    came, foretold = np.array([1.0, 2, 3]), np.array([0.0, 2, 3])
    assert pinball(0.1, foretold, came).mean() == pytest.approx(0.033333, abs=1e-6)
    assert pinball(0.9, foretold, came).mean() == pytest.approx(0.3)


def test_every_rule_is_scored_on_the_same_jobs(looked_back):
    assert list(looked_back.summary["rule"]) == list(RULES)
    assert looked_back.summary["jobs"].nunique() == 1
    assert len(looked_back.jobs) == 36


def test_costs_follow_from_the_rolls(looked_back):
    jobs = looked_back.jobs
    for rule in RULES:
        gap = jobs[f"{rule}_rolls"] - jobs["needed_rolls"]
        cost = np.where(gap > 0, 60 * gap, -240 * gap)
        np.testing.assert_allclose(jobs[f"{rule}_cost"], cost)


def test_allowances_cost_less_than_a_flat_share():
    firms = [invent_firm(World("plain"), seed) for seed in range(4, 9)]
    tables = [backtest(firm.records).summary.set_index("rule")["mean_cost"] for firm in firms]
    cost = sum(tables)
    assert cost["airstats"] < 0.5 * cost["flat"]


def test_later_records_do_not_change_what_was_foretold():
    records = invent_firm(World("plain"), 4).records
    cut = records.jobs["quarter"] < "2023Q4"
    early = type(records)(**{**vars(records), "jobs": records.jobs[cut]})
    ids = early.jobs["job_id"]
    openings = records.openings[records.openings["job_id"].isin(ids)]
    early = type(records)(**{**vars(early), "openings": openings})
    whole = backtest(records).jobs.set_index("job_id")["expected_m2"]
    part = backtest(early).jobs.set_index("job_id")["expected_m2"]
    np.testing.assert_allclose(part, whole.loc[part.index])


def test_one_quarter_is_too_little():
    records = invent_firm(World("one", jobs=12, quarters=1), 1).records
    with pytest.raises(RecordsError, match="two quarters or more"):
        backtest(records)
