"""What reports quote of invented firms: from a file, of this model, written by the benchmarks."""

import json
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from scipy.stats import binom

from airstats.model.prior import Prior
from airstats.reports import evidence_appendix, evidence_charts, invented_firms

WHOLE = json.loads(files("airstats.reports").joinpath(invented_firms.NAME).read_text("utf-8"))
ROWS = [(benchmark, row) for benchmark, rows in WHOLE.items() for row in rows]


@pytest.mark.parametrize(("benchmark", "row"), ROWS)
def test_what_is_quoted_is_of_this_model(benchmark, row):
    told = invented_firms.found(benchmark, row)
    assert told["model"] == invented_firms.fingerprint(), (
        f"the model's numbers changed: python -m tests.benchmark.{benchmark} --write"
    )
    assert told["firms"] >= 10


def test_another_number_of_the_model_is_another_fingerprint(monkeypatch):
    now = invented_firms.fingerprint()
    monkeypatch.setattr(invented_firms, "Prior", lambda: replace(Prior(), wide_weight=0.31))
    assert invented_firms.fingerprint() != now


def test_sentences_quote_the_file(monkeypatch):
    rows = {
        "as others, 48 jobs": {"now: waste_90": 0.91, "now: use_80": 0.81},
        "waste rises, 48 jobs": {"now: waste_90": 0.62, "now: use_80": 0.72},
        "crews differ, 48 jobs": {"now: waste_90": 0.83, "now: use_80": 0.63},
        "reveals 0.8, 24 jobs": {"now: reveal.diagonal": 0.54, "now: reveal.diagonal_90": 0.64},
        "reveals 0.8, 96 jobs": {"now: reveal.diagonal": 0.75, "now: reveal.diagonal_90": 0.85},
    }
    monkeypatch.setattr(evidence_appendix, "found", lambda _, row: rows[row] | {"firms": 17})
    waste = evidence_appendix._intervals_of_waste()
    assert "in 91 % of ordinary firms, 62 % where waste rose by 1.5 points" in waste
    assert "and 83 % where crews differ" in waste
    assert "in 81 %, 72 % and 63 % in turn" in waste
    low, high = binom.interval(0.9, 17, 0.9)
    assert f"(17 firms each, where chance makes {low / 17:.0%}"[:-1] in waste
    assert f"{high / 17:.0%}"[:-1] in waste
    far = evidence_appendix._far_reveals()
    assert "came to 0.54 and 0.75 m² a m²; the 90 % interval held the truth in 64 % and 85 %" in far


def test_ranks_beside_what_chance_allows():
    ranks = WHOLE["simulation_based"]["ranks"]
    table = evidence_appendix.rank_table(ranks)
    assert (table.groupby("quantity")["firms"].sum() == ranks["firms"]).all()
    low, high = binom.interval(0.99, ranks["firms"], 0.1)
    assert (table["low"].iloc[0], table["high"].iloc[0]) == (low, high)
    # One bar in a hundred may lie beyond; with forty bars more than three hardly ever do.
    assert (~table["firms"].between(low, high)).sum() <= 3
    picture = evidence_charts.ranks(table)
    assert f"chance allows {low:.0f} to {high:.0f}" in picture.alt
    assert len(picture.figure.axes) == 4
    bars = [bar.get_height() for bar in picture.figure.axes[0].patches[:10]]
    assert bars == table["firms"].head(10).tolist()


def test_what_is_said_of_ranks_and_of_importance_sampling():
    even = {"firms": 100, "waste": [10] * 9 + [40], "low": 3.0, "high": 18.0}
    apart = {"firms": 10, "shift of waste, sds": 0.031, "sd of waste, times": 0.99,
             "orders changed": 4, "orders": 300}  # fmt: skip
    words = evidence_appendix.simulated_words(even, apart).text
    assert "100 truths" in words
    assert "9 of 10 bars lie within" in words
    assert "on 10 firms, the mean of waste lay 0.03 of its sd away" in words
    assert "4 of 300 orders changed" in words
    assert np.isclose(evidence_appendix.rank_table(even)["low"], 3.0).all()
