"""The starting belief number by number, the candidates, and what other beliefs would give."""

from dataclasses import astuple, replace

import numpy as np
import pytest

from airstats.analysis.allowance_changes import (
    candidate_table,
    compare_allowances,
    other_priors,
    prior_sensitivity,
    prior_table,
)
from airstats.model.allowances import unchanged
from airstats.model.posterior import update, with_depth_error
from airstats.model.prior import Prior
from airstats.model.quarterly_update import run_through
from airstats.pricing.newsvendor import predict


def test_the_starting_belief_is_shown_number_by_number():
    prior = Prior(
        waste=(0.09, 0.04),
        crew_sd_weights=((0.01, 0.25), (0.02, 0.75)),
        drift_weights=((0.0, 1.0),),
        spread_centre=0.05,
        spread_log_sd=0.0,
        gross_share=0.03,
    )
    table = prior_table(prior)
    assert list(table) == ["quantity", "prior", "unit", "reason"]
    assert table["reason"].ne("").all()
    shown = table.set_index("quantity")[["prior", "unit"]]
    practice = {
        "waste": ("0.09 ± 0.04", "m² a m² laid"),
        "reveal.lined": ("1.1 ± 0.2", "m² of sheet a m² of reveal"),
        "reuse.centre": ("0.5 ± 0.3", "share of usable off-cuts"),
        "job-to-job spread": ("0.05, a factor 1.0 either way", "m² a m² laid"),
        "difference between crews, sd": ("0.01 (25 %), 0.02 (75 %)", "m² a m² laid"),
        "drift of waste a quarter, sd": ("0 (100 %)", "m² a m² laid"),
        "re-use of off-cuts as form": ("50 %", "chance"),
        "spread of the smallest job": ("4", "m²"),
        "records grossly wrong": ("3 %", "of records"),
        "size of a gross error, sd": ("1.5", "rolls"),
    }
    assert {name: tuple(shown.loc[name]) for name in practice} == practice
    assert prior_table().equals(prior_table(Prior()))


def test_each_kind_of_candidate_is_shown_with_all_its_weight(desk):
    belief = desk.now.belief
    table = candidate_table(desk.now)
    assert list(table) == ["candidate", "value", "weight"]
    assert table.index.tolist() == list(range(len(table)))
    assert table.groupby("candidate")["weight"].sum().to_numpy() == pytest.approx(1)
    kinds = {
        "spread, m² a m² laid": belief.spread,
        "sd between crews, m² a m² laid": belief.crew_sd,
        "drift a quarter, m² a m² laid": belief.drift,
        "trend a quarter, m² a m² laid": belief.trend,
    }
    assert set(table["candidate"]) == {*kinds, "form of the reveals"}
    for kind, values in kinds.items():
        rows = table[table["candidate"].eq(kind)]
        mean = (rows["value"].astype(float) * rows["weight"]).sum()
        assert mean == pytest.approx(float(belief.weight @ values), abs=5e-4)


def test_other_beliefs_differ_from_the_documented_one_in_what_they_say():
    tried = other_priors()
    usual = tried.pop("as documented")
    assert usual == Prior()
    changes = {
        "waste 0.12 ± 0.10": {"waste": (0.12, 0.10)},
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
