"""The first sentences of the estimator's two pages, held to the truth of five firms."""

import re

import numpy as np
import pytest
from scipy.special import ndtri

from airstats.model.decisions import decide
from airstats.pricing.newsvendor import priced
from airstats.reports import price_text, update_text
from tests.invented import ROLL
from tests.reports.five_firms import FIRMS, LUCK_M2, WASTE, five_desk

CASES = 20_000
OTHER_CREWS = 0.75
"""What a wasteful crew of four departs from the firm by, of what it departs from the others by."""


def update_of(name):
    desk = five_desk(name)
    return " ".join(part.text for part in update_text.headline(desk, decide(desk.before, desk.now)))


def interval(said, pattern):
    middle, half = map(float, re.search(pattern, said).groups())
    return middle - half, middle + half


def holds(said, pattern, truth):
    low, high = interval(said, pattern)
    return low <= truth <= high


@pytest.mark.parametrize("name", FIRMS)
def test_the_update_accepts_and_its_values_hold_the_truth(name):
    said, world = update_of(name), FIRMS[name]
    few = name == "three jobs only"
    start = "accept. The new values are common practice, moved as far as your first 3 jobs can tell"
    assert (start if few else "accept the new values. 12 new jobs moved no allowance") in said
    crews = 100 * world.get("crew_extra", 0.0) / 4
    assert holds(said, r"For waste add ([\d.]+) ± ([\d.]+) %", 100 * WASTE + crews)
    for cut in ("corner to corner", "slit"):
        assert holds(said, rf"([\d.]+) ± ([\d.]+) m² {cut}", world.get("factor", 0.5))
    assert "lined is common practice, for no job of yours tells of it" in said


@pytest.mark.parametrize("name", FIRMS)
def test_a_crew_is_named_where_one_wastes(name):
    said = update_of(name)
    if name != "a crew wastes":
        assert "No crew surely differs from the firm." in said
        return
    truth = 100 * FIRMS[name]["crew_extra"] * OTHER_CREWS
    assert holds(said, r"Crew Damson takes ([\d.]+) ± ([\d.]+) % of the laid sheet more", truth)


@pytest.mark.parametrize("name", FIRMS)
def test_the_order_costs_hardly_more_than_that_of_one_who_knows_the_truth(name):
    desk = five_desk(name)
    order = price_text.order_of(priced(desk.takeoff, desk.now))
    said = price_text.headline(desk, order).text
    rolls, jobs = map(int, re.match(r"\*\*Order (\d+) rolls for (\d+) jobs", said).groups())
    assert jobs == len(desk.takeoff)
    needed = _needed(desk, FIRMS[name])
    costs = [_cost(n, needed) for n in range(rolls - 5, rolls + 6)]
    assert costs[5] - min(costs) < 60
    fewer, more = map(
        int, re.search(r"fewer would cost (\d+) more, .* (\d+) more\.", said).groups()
    )
    assert min(fewer, more) > 0


def _needed(desk, world):
    """Rolls that the jobs truly open together, case by case."""
    table = desk.takeoff.table
    reveal = table["reveal_diagonal_m2"] + table["reveal_centre_m2"]
    waste = WASTE + world.get("crew_extra", 0.0) * table["crew"].eq("Damson")
    mean = (table["laid_m2"] * (1 + waste) + world.get("factor", 0.5) * reveal).to_numpy()
    luck = ndtri(np.random.default_rng(7).permuted(
        np.tile((np.arange(CASES) + 0.5) / CASES, (len(mean), 1)), axis=1
    ))  # fmt: skip
    return np.ceil((mean[:, None] + LUCK_M2 * luck) / ROLL).sum(axis=0)


def _cost(rolls, needed):
    gap = rolls - needed
    return float(np.mean(60 * np.clip(gap, 0, None) - 240 * np.clip(gap, None, 0)))
