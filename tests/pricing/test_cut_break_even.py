"""Where another cut becomes the cheapest: on the map, and by price or time."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.cutting_rules import Practice
from airstats.pricing.cut_break_even import (
    bands_at,
    break_even_map,
    one_cut_for_all,
    turning_prices,
)
from airstats.pricing.cut_choice import cut_costs
from airstats.pricing.cut_prices import CutCosts, CutTerms

FREE = CutCosts(**dict.fromkeys(CutCosts.__dataclass_fields__, 0.0))


def openings():
    return pd.DataFrame(
        {
            "width_mm": [1230, 1010, 2400],
            "height_mm": [1480, 2130, 1200],
            "reveal_mm": [300, 350, 150],
            "sides": [4, 3, 4],
            "count": [7, 1, 2],
        }
    )


def test_the_map_keeps_the_shape_and_agrees_with_the_costs():
    grid = break_even_map(width_over_height=0.8, areas_m2=[0.5, 2, 8], reveals_mm=[100, 400])
    assert len(grid) == 6
    np.testing.assert_allclose(grid["width_mm"] * grid["height_mm"], grid["opening_m2"] * 1e6)
    np.testing.assert_allclose(grid["width_mm"] / grid["height_mm"], 0.8)
    names = [f"{cut}_cost" for cut in CUTS]
    costs = cut_costs(grid.assign(sides=4))[names]
    pd.testing.assert_frame_equal(grid[names], costs)
    for row in grid.itertuples():
        ordered = sorted((getattr(row, f"{cut}_cost"), cut) for cut in CUTS)
        assert row.cheapest_cut == ordered[0][1]
        assert row.margin == pytest.approx(ordered[1][0] - ordered[0][0])


def test_break_even_lies_where_algebra_puts_it():
    # Sheet alone, no returns, nothing re-used. Corner to corner needs 2 d² (r + 1/r), the upright
    # slit 2 d W, with r = W/H. They are equal at d = W / (r + 1/r).
    terms = CutTerms(
        replace(FREE, sheet_price_m2=2.0), Practice(0, slit="upright", halves=False), 0.0
    )
    grid = break_even_map(terms, 0.8, [1.82], np.arange(300, 601, 1.0))
    limit = grid["width_mm"].iloc[0] / (0.8 + 1 / 0.8)
    ahead = grid["diagonal_cost"] < grid["centre_cost"]
    assert (ahead == (grid["reveal_mm"] < limit)).all()
    assert grid["reveal_mm"].min() < limit < grid["reveal_mm"].max()


def test_lining_pays_for_large_openings_as_algebra_says():
    # Sheet and joints at one price each, no returns, a square of side a and depth d: lined saves
    # a² with laps less 2ad of jamb, and tapes 2a more than the slit. Level at a = 1.4/1.5 (2d + 2)
    # with both prices 1.
    terms = CutTerms(
        replace(FREE, sheet_price_m2=1.0, tape_price_m=1.0),
        Practice(0, slit="upright", halves=False),
        0.0,
    )
    side = 1.4 / 1.5 * (2 * 0.2 + 2)
    grid = break_even_map(terms, 1.0, np.array([0.99, 1.01]) * side**2, [200.0])
    gain = grid["centre_cost"] - grid["lined_cost"]
    assert gain[0] < 0 < gain[1]


def test_with_the_standard_prices_each_cut_has_its_place():
    # An outcome of the assumptions in CutCosts, not a law: small windows are slit, large ones cut
    # corner to corner, and only over very large ones does the sheet saved pay for lining.
    grid = break_even_map()
    assert set(grid["cheapest_cut"]) == set(CUTS)
    assert bands_at(grid, 200)["cheapest_cut"].tolist() == ["centre", "diagonal", "lined"]


def test_bands_follow_one_another_and_cover_the_map():
    grid = break_even_map(reveals_mm=[100.0, 200.0])
    bands = bands_at(grid, 180)
    assert (bands["reveal_mm"] == 200).all()
    np.testing.assert_array_equal(bands["from_m2"][1:], bands["to_m2"][:-1])
    assert (bands["from_m2"].iloc[0], bands["to_m2"].iloc[-1]) == pytest.approx((0.3, 12))
    row = grid[grid["reveal_mm"] == 200]
    for band in bands.itertuples():
        inside = row["opening_m2"].between(band.from_m2, band.to_m2)
        assert (row.loc[inside, "cheapest_cut"] == band.cheapest_cut).all()


def test_sizes_are_even_as_ratios_and_bands_end_half_way_between_them():
    grid = break_even_map(reveals_mm=[200.0])
    ratio = grid["opening_m2"].to_numpy()[1:] / grid["opening_m2"].to_numpy()[:-1]
    np.testing.assert_allclose(ratio, 40 ** (1 / 80))
    made = pd.DataFrame(
        {"reveal_mm": 100.0, "opening_m2": [1.0, 4.0], "cheapest_cut": ["centre", "lined"]}
    )
    bands = bands_at(made, 100.0)
    assert bands[["from_m2", "to_m2"]].to_numpy().tolist() == [[1, 2], [2, 4]]


def test_one_cut_for_all_adds_up_the_units():
    totals = one_cut_for_all(openings())
    costs = cut_costs(openings())
    for cut in CUTS:
        expected = float((costs[f"{cut}_cost"] * openings()["count"]).sum())
        assert totals[cut] == pytest.approx(expected)
    assert totals.is_monotonic_increasing
    assert (one_cut_for_all(openings().drop(columns="count")) < totals).all()


@pytest.mark.parametrize("labour", [8.0, 45.0])
def test_at_a_turning_price_both_cuts_cost_the_same(labour):
    terms = CutTerms(CutCosts(labour_hour=labour))
    turns = turning_prices(openings(), terms)
    assert len(turns) == 2 * len(CutCosts.__dataclass_fields__)
    assert (turns["extra_cost"] > 0).all()
    known = turns.dropna()
    assert not known.empty
    for row in known.itertuples():
        there = replace(terms.costs, **{row.price: row.turns_at})
        totals = one_cut_for_all(openings(), replace(terms, costs=there))
        assert totals[row.other_cut] == pytest.approx(totals[row.cheapest_cut])
        assert 0 <= row.turns_at <= 10 * row.now


@pytest.mark.parametrize(("stroke", "flap", "turns_at"), [(19, 1, 9.5), (21, 1, np.nan)])
def test_a_turn_counts_up_to_ten_times_the_price_of_today(stroke, flap, turns_at):
    # By hand: corner to corner 4 flaps and 2 strokes, the slit 2 and 3. Level at 2 flaps = 1
    # stroke. Reveals of nothing, so that no piece, joint or sheet of theirs counts.
    costs = replace(FREE, minutes_flap=flap, minutes_stroke=stroke, labour_hour=60.0)
    frame = openings().assign(reveal_mm=1e-6, sides=4)
    turns = turning_prices(frame, CutTerms(costs)).set_index(["other_cut", "price"])["turns_at"]
    assert turns["centre", "minutes_flap"] == pytest.approx(turns_at, nan_ok=True)
    assert turns["centre", "minutes_stroke"] == pytest.approx(2.0)


@pytest.mark.parametrize("tape", [7.2, 20.0])
def test_of_two_turns_the_nearer_one_is_named(tape):
    """The slit has two ways, so cheap tape and dear tape both bring it level."""
    frame = pd.DataFrame(
        {"width_mm": [1770], "height_mm": [1640], "reveal_mm": [460], "sides": [4]}
    )
    terms = CutTerms(replace(FREE, sheet_price_m2=4.0, tape_price_m=tape))

    def behind(price):
        costs = cut_costs(frame, replace(terms, costs=replace(terms.costs, tape_price_m=price)))
        return float((costs["centre_cost"] - costs["diagonal_cost"]).iloc[0])

    ends = [brentq(behind, 0.1, 2.0), brentq(behind, 10.0, 40.0)]
    nearer = ends[0] if tape < 10 else ends[1]
    turns = turning_prices(frame, terms).set_index(["other_cut", "price"])["turns_at"]
    assert turns["centre", "tape_price_m"] == pytest.approx(nearer)


def test_a_price_that_cannot_turn_it_is_not_named():
    # Both cuts across the opening lay the same sheet; with nothing but flaps to pay for, dearer
    # sheet never makes four flaps as cheap as two.
    costs = replace(FREE, minutes_flap=1.0, labour_hour=60.0)
    frame = openings().assign(reveal_mm=1e-6, sides=4)
    turns = turning_prices(frame, CutTerms(costs)).set_index(["other_cut", "price"])["turns_at"]
    assert np.isnan(turns["diagonal", "minutes_stroke"])
    assert np.isnan(turns["diagonal", "sheet_price_m2"])


def test_errors_say_what_to_do():
    with pytest.raises(AirstatsError, match=r"width_over_height: 0 will not do. Give more than 0"):
        break_even_map(width_over_height=0)
    with pytest.raises(AirstatsError, match=r"areas_m2: -1.0 will not do"):
        break_even_map(areas_m2=[-1, 2])
