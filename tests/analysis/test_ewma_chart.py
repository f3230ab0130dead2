import numpy as np
import pytest
from scipy.stats import norm

from airstats.analysis.ewma_chart import (
    ALL_JOBS,
    CHANCE_EXACT,
    REACH,
    WEIGHT,
    crossings,
    drift_watch,
    ewma,
    ewma_sd,
)
from airstats.reports.desk import lay_out
from airstats.takeoff.sheet_quantities import Takeoff
from tests.external_checks import agree
from tests.invented import counted_whole, desk_of, invent, used_more

# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4 "EWMA Control Charts": weight
# 0.3, target 50, s = 2.0539, k = 3. The data, the averages to two decimals and the limits are as
# the page prints them, taken from copies of its table; the page itself was not opened.
NIST_DATA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip


def independent(size):
    return [np.eye(1)] * size


def drifted(crew="", share=0.06, from_quarter=3):
    """Records in which, from a quarter on, a crew (or all) uses more a m² of surface."""
    records = invent(jobs=96, seed=8)
    late = records.jobs["quarter"].ge(f"2025Q{from_quarter}")
    who = records.jobs["crew"].eq(crew) if crew else late
    return used_more(records, records.jobs["surface_m2"] * share / 75 * (late & who))


def test_averages_and_limits_are_those_of_the_handbook():
    agree("ewma.averages", ewma(NIST_DATA, 0.3, 50.0))
    reach = 3 * 2.0539 * ewma_sd(independent(20), 0.3)
    # The page rounds 0.3/1.7 and its root to four digits.
    agree("ewma.limits", [50 + reach[-1], 50 - reach[-1]])
    exact = np.sqrt(0.3 / 1.7 * (1 - 0.7 ** (2 * np.arange(1, 21))))
    assert ewma_sd(independent(20), 0.3) == pytest.approx(exact)


def test_limits_know_that_jobs_of_a_quarter_share_an_error():
    rng = np.random.default_rng(2)
    blocks = [np.full((n, n), 0.6) + 0.4 * np.eye(n) for n in (3, 5, 4)]
    draws = np.hstack([rng.multivariate_normal(np.zeros(len(b)), b, 20_000) for b in blocks])
    seen = np.std([ewma(row) for row in draws[:4000]], axis=0)
    assert ewma_sd(blocks) == pytest.approx(seen, rel=0.04)


def mean_run(limits):
    """Mean number of independent scores until their average crosses limits, the last held for ever.

    The integral equation of the run, by Gauss-Legendre quadrature, backwards from the last limit.
    """
    at, width = np.polynomial.legendre.leggauss(60)
    newest, kept = ewma(np.ones(1))[0], ewma(np.zeros(1), start=1.0)[0]

    def stay(limit, before):
        density = norm.pdf(limit * at, kept * before * at[:, None], newest)
        return density * width * limit

    ahead = np.linalg.solve(np.eye(len(at)) - stay(limits[-1], limits[-1]), np.ones(len(at)))
    for limit, before in zip(limits[::-1], [*limits[-2::-1], 0.0], strict=True):
        ahead = 1 + stay(limit, before) @ ahead
    return ahead[0]


def test_chance_crosses_as_seldom_as_stated():
    # Lucas & Saccucci (1990), weight 0.2, limits of 3 settled sd: 559.9; value from memory.
    limits = REACH * ewma_sd(independent(200))
    agree("ewma.run", mean_run(limits[-1:]))
    assert mean_run(limits) == pytest.approx(CHANCE_EXACT, rel=0.01)


@pytest.mark.parametrize("whole", [False, True])
def test_scores_have_no_bias_and_the_spread_that_the_limits_take(whole):
    scores, sds = [], []
    for seed in range(20, 28):
        records = invent(jobs=48, seed=seed)
        desk = lay_out(counted_whole(records) if whole else records)
        line = drift_watch(desk.jobs, desk.chain).query("line == 'all jobs'")
        last = line[line["quarter"].ne("2025Q1")]
        scores.append(last["ewma"].iloc[-1] / (last["limit"].iloc[-1] / REACH))
        sds.append(line["outside"].any())
    assert abs(np.mean(scores)) < 3 / np.sqrt(len(scores))
    assert 0.4 < np.std(scores) < 1.6
    assert np.mean(sds) <= 0.25


def first_limit(desk, share=0.0):
    """The first limit where every count leaves this share of the job's sd open."""
    line = drift_watch(desk.jobs, desk.chain).query("line == 'all jobs'")
    sd = desk.jobs.table["job_id"].map(
        dict(zip(line["job_id"], line["beyond_m2"] / line["score"], strict=True))
    )
    use = desk.jobs.table["used_high_m2"]
    counted = desk.jobs.table.assign(used_low_m2=use - share * sd) if share else desk.jobs.table
    return drift_watch(Takeoff(counted), desk.chain)["limit"].iloc[0]


def test_a_count_is_as_good_as_exact_up_to_a_fifth_of_the_sd():
    desk = lay_out(invent(jobs=12, seed=8), "2025Q2")
    exact = first_limit(desk)
    assert first_limit(desk, 0.19) == exact == pytest.approx(REACH * WEIGHT)
    assert first_limit(desk, 0.21) < exact
    # Sheppard: an interval of h sd takes h²/12 from the variance of what is told; the records
    # that are named as wrong, and so never watched, take a few hundredths more.
    for share in (0.5, 0.9):
        told = (first_limit(desk, share) / exact) ** 2
        assert 0.95 * (1 - share**2 / 12) < told < 1 - share**2 / 12


@pytest.mark.parametrize("seed", [3, 4, 6])
def test_a_firm_that_stays_as_it_is_does_not_drift(seed):
    desk = desk_of(jobs=96, seed=seed)
    watch = drift_watch(desk.jobs, desk.chain)
    assert not watch.loc[watch["line"].eq(ALL_JOBS), "outside"].any()
    assert set(watch["line"]) == {ALL_JOBS, "Alder", "Birch", "Cedar", "Damson"}
    assert watch["line"].eq(ALL_JOBS).sum() == 96 - len(desk.suspects())


def test_a_firm_or_a_crew_that_drifts_crosses_the_line_after_the_drift_began():
    desk = lay_out(drifted(), "2025Q3")
    found = crossings(drift_watch(desk.jobs, desk.chain), "2025Q3").set_index("line")
    assert found.loc[ALL_JOBS, "now"]
    assert found.loc[ALL_JOBS, "direction"] == 1
    assert found.loc[ALL_JOBS, "quarter"] == "2025Q3"
    assert found.loc[ALL_JOBS, "beyond_m2"] > 5
    desk = lay_out(drifted("Birch", 0.12), "2025Q3")
    found = crossings(drift_watch(desk.jobs, desk.chain), "2025Q3")
    assert "Birch" in set(found.loc[found["now"], "line"])
    assert not {"Alder", "Cedar", "Damson"} & set(found.loc[found["now"], "line"])


def test_a_drift_that_the_allowances_have_followed_is_past():
    desk = lay_out(drifted(share=0.08, from_quarter=2))
    found = crossings(drift_watch(desk.jobs, desk.chain), "2025Q4").set_index("line")
    assert found.loc[ALL_JOBS, "quarter"] in {"2025Q2", "2025Q3"}
    assert not found.loc[ALL_JOBS, "now"]


def test_a_record_that_is_surely_wrong_is_no_drift():
    records = invent()
    records.jobs.loc[40, "used_rolls"] += 5
    desk = lay_out(records)
    job = records.jobs.loc[40, "job_id"]
    assert job in desk.now.suspects
    watch = drift_watch(desk.jobs, desk.chain)
    assert job not in set(watch["job_id"])
    assert crossings(watch, "2025Q4").empty or not crossings(watch, "2025Q4")["now"].any()


def test_predictions_come_from_before_the_quarter_or_from_the_previous_allowances(desk):
    early = desk_of("2025Q2")
    first = drift_watch(early.jobs, early.chain).query("line == 'all jobs'")
    same = drift_watch(desk.jobs, desk.chain).query("line == 'all jobs'").head(len(first))
    assert same["score"].to_numpy() == pytest.approx(first["score"].to_numpy())
    after = lay_out(desk.records, previous=desk.chain[1])
    line = drift_watch(after.jobs, after.chain, after.previous).query("line == 'all jobs'")
    same = drift_watch(desk.jobs, desk.chain).query("line == 'all jobs'").tail(len(line))
    assert line["score"].to_numpy() == pytest.approx(same["score"].to_numpy(), abs=1e-6)
    watch = drift_watch(desk.jobs, ())
    assert watch.empty
    assert crossings(watch, "2025Q4").empty
