"""The starting belief number by number, the candidates, and what other beliefs would give."""

from dataclasses import astuple, replace

import numpy as np
import pytest

from airstats.analysis.allowance_changes import (
    belief_table,
    compare_allowances,
    other_priors,
    prior_sensitivity,
)
from airstats.model.allowances import unchanged
from airstats.model.posterior import update, with_depth_error
from airstats.model.prior import Prior
from airstats.model.quarterly_update import run_through
from airstats.pricing.newsvendor import predict


def test_every_number_stands_before_any_job_and_now(desk):
    table = belief_table(desk.now).set_index("quantity")
    first = unchanged(desk.now.quarter, desk.now.belief.prior).table()
    now = desk.now.table()
    for name in now.index:
        row = table.loc[name]
        start = [first["mean"][name], first["low"][name]]
        assert [row["start"], row["start_low"]] == pytest.approx(start)
        assert [row["mean"], row["high"]] == pytest.approx([now["mean"][name], now["high"][name]])
        learnt = 1 - (now["sd"][name] / first["sd"][name]) ** 2
        assert row["learnt"] == pytest.approx(max(learnt, 0))
    spread = desk.now.spread()
    assert table.loc["spread", "mean"] == pytest.approx(spread["spread"])
    assert table.loc["crews differ, sd", "mean"] == pytest.approx(spread["crew_sd"])
    drift = sum(value * chance for value, chance in desk.now.belief.prior.drift_weights)
    trendless = 1 - desk.now.belief.prior.trend_weight
    assert table.loc["drift a quarter, sd", "start"] == pytest.approx(drift * trendless)
    assert (table["start_low"] <= table["start_high"]).all()
    assert table["learnt"].between(0, 1).all()


def test_other_beliefs_differ_from_the_documented_one_in_what_they_say():
    tried = other_priors()
    usual = tried.pop("as documented")
    assert usual == Prior()
    changes = {
        "waste 12 % (sd 10 %)": {"waste": (0.12, 0.10)},
        "reveal factors twice as wide": {
            "reveal_factors": tuple((mean, 2 * sd) for mean, sd in usual.reveal_factors)
        },
        "flat factors only (99 %)": {"reuse_weight": 0.01},
        "one record in a thousand wrong": {"gross_share": 0.001},
    }
    assert tried == {name: replace(usual, **change) for name, change in changes.items()}
    assert len({astuple(prior) for prior in tried.values()}) == len(tried)


def test_sensitivity_fits_all_jobs_at_once_under_each_belief(desk):
    table = prior_sensitivity(desk.jobs, desk.quarter)
    first = desk.jobs.table["quarter"].iloc[0]
    for row, (name, prior) in zip(table.to_dict("records"), other_priors().items(), strict=True):
        known = run_through(desk.jobs, [desk.quarter], unchanged(first, prior))
        assert row.pop("prior") == name
        rolls = float((predict(desk.jobs, known, 0).mean() / desk.jobs.pack).sum())
        assert row.pop("rolls") == pytest.approx(rolls, rel=1e-12)
        assert row == pytest.approx(known.table()["mean"].to_dict())
    assert np.ptp(table["waste"]) > 0
    used = desk.jobs.table["used_rolls"].sum()
    assert table["rolls"].to_numpy() == pytest.approx(used, rel=0.03)


def test_the_quarter_alone_takes_rough_depths_as_rough(desk):
    own = desk.jobs.where(desk.jobs.table["job_id"].isin(desk.now.new_jobs))
    start = unchanged(desk.quarter).belief
    found = []
    for error_mm in (0.0, 80.0):
        now = replace(desk.now, belief=with_depth_error(desk.now.belief, error_mm))
        found.append(compare_allowances(desk.jobs, desk.before, now)["alone_sd"].to_numpy())
        alone = update(with_depth_error(start, error_mm), own)
        expected = replace(desk.now, belief=alone).table()
        assert found[-1] == pytest.approx(expected["sd"].to_numpy())
    assert np.abs(found[0] - found[1]).max() > 1e-5
