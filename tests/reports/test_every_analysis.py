"""No analysis fails on sound records, whatever a firm keeps: each cell of the four notebooks."""

import pytest

from tests.benchmark.every_analysis import KINDS, OPTIONS, every_analysis, invent

FIRMS = [invent(seed, most=8) for seed, kind in enumerate(KINDS) if kind != "usual"]
"""One of each kind but the usual one: `test_desk` goes through the notebooks of two such firms."""


def test_these_firms_keep_and_lack_every_option():
    assert {firm.kind for firm in FIRMS} == set(KINDS) - {"usual"}
    for option in OPTIONS:
        assert {option in firm.has for firm in FIRMS} == {True, False}, option


@pytest.mark.parametrize("firm", FIRMS, ids=lambda firm: f"{firm.seed}: {firm.kind}")
def test_no_analysis_fails(firm, tmp_path, coarse):
    assert every_analysis(firm, tmp_path) == []
