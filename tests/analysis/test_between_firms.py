import numpy as np
import pytest

from airstats.analysis.between_firms import between_firms, firm_spread, firm_table
from airstats.analysis.sensitivity import fit_at_once
from airstats.model.prior import Prior
from airstats.model.quarterly_update import finished_jobs
from tests.external_checks import agree
from tests.invented import invent


@pytest.fixture(scope="module")
def table():
    kinds = {"low": 0.3, "high": 1.0, "lower": 0.3}
    firms = {
        name: finished_jobs(invent(factor=factor, seed=seed))
        for seed, (name, factor) in enumerate(kinds.items())
    }
    return firm_table(firms)


def test_random_effects_of_nine_laboratories():
    # Kacker 2004 (Metrologia 41), table 1 on page 135: DerSimonian-Laird sd 0.5359, as quoted in
    # the tests of statsmodels (stats/tests/test_meta.py), which holds it to 1e-3 as well.
    effect = np.array([61.00, 61.40, 62.21, 62.30, 62.34, 62.60, 62.70, 62.84, 65.90])
    variance = np.array([0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225])
    found = between_firms(effect, np.sqrt(variance))
    agree("kacker.between", found["between_sd"])


def test_random_effects_follow_their_formula_and_are_never_less_than_none():
    effect, variance = np.array([0.1, 0.3, 0.8]), np.array([0.01, 0.02, 0.04])
    w = 1 / variance
    q = (w * (effect - (w * effect).sum() / w.sum()) ** 2).sum()
    tau2 = (q - 2) / (w.sum() - (w**2).sum() / w.sum())
    again = 1 / (variance + tau2)
    found = between_firms(effect, np.sqrt(variance))
    assert found["between_sd"] ** 2 == pytest.approx(tau2)
    assert found["mean"] == pytest.approx((again * effect).sum() / again.sum())
    assert found["mean_sd"] == pytest.approx(again.sum() ** -0.5)
    # Chi-squared with 2 degrees of freedom: P(> q) = exp(-q/2).
    assert found["chance"] == pytest.approx(np.exp(-q / 2))
    found = between_firms(np.array([0.30, 0.31]), np.array([0.1, 0.1]))
    assert found["between_sd"] == 0
    assert found["mean"] == pytest.approx(0.305)
    assert found["mean_sd"] == pytest.approx(0.1 / np.sqrt(2))


def test_each_firm_is_calibrated_by_itself_from_the_starting_belief(table):
    alone = firm_table({"high": finished_jobs(invent(factor=1.0, seed=1))})
    together = table[table["firm"].eq("high")]
    assert together["mean"].to_list() == pytest.approx(alone["mean"].to_list())
    assert len(table) == 12


@pytest.mark.parametrize(("firm", "factor", "seed"), [("low", 0.3, 0), ("high", 1.0, 1)])
def test_what_the_jobs_alone_say_is_what_they_say_from_hardly_any_belief(table, firm, factor, seed):
    flat = Prior(
        wide_weight=0.0, waste=(0.1, 1.0), reveal_factors=((0.7, 3.0),) * 3, reuse_weight=1e-9
    )
    alone = fit_at_once(finished_jobs(invent(factor=factor, seed=seed)), flat).table()
    rows = table[table["firm"].eq(firm)].set_index("allowance")
    for name in ("waste", "reveal.centre", "reveal.diagonal"):
        assert rows.loc[name, "own_sd"] == pytest.approx(alone.loc[name, "sd"], rel=0.1)
        away = rows.loc[name, "own"] - alone.loc[name, "mean"]
        # Each allowance by itself: what two have in common is not taken out.
        assert abs(away) < 0.35 * alone.loc[name, "sd"]


def test_firms_that_cut_otherwise_differ_in_reveals_alone(table):
    spread = firm_spread(table).set_index("allowance")
    assert spread["verdict"].to_dict() == {
        "waste": "alike within chance", "reveal.centre": "differ", "reveal.diagonal": "differ",
        "reveal.lined": "not enough to tell",
    }  # fmt: skip
    assert spread.loc["reveal.centre", "between_sd"] == pytest.approx(0.4, abs=0.2)
    # No job has a lined opening.
    assert table[table["allowance"].eq("reveal.lined")]["own"].isna().all()
    alone = firm_spread(table[table["firm"].eq("low")])
    assert set(alone["verdict"]) == {"not enough to tell"}
