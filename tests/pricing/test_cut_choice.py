"""Costs of the three cuts, the recommendation and the break-even map."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.cutting_rules import Practice
from airstats.pricing.cut_choice import (
    bands_at,
    break_even_map,
    cheapest_cut,
    cut_amounts,
    cut_costs,
    turning_prices,
)
from airstats.pricing.cut_prices import AMOUNTS, CutCosts, CutTerms
from airstats.takeoff.opening_quantities import Opening, opening_pieces, opening_quantities
from tests.invented import KNOWN_CUTS, random_openings

FREE = CutCosts(**dict.fromkeys(CutCosts.__dataclass_fields__, 0.0))
SHEET_ONLY = replace(FREE, sheet_price_m2=2.0)
WHOLE = Practice(slit="upright", halves=False)


def openings(**changes):
    rows = {
        "job_id": ["a", "a", "b"],
        "count": [2, 1, 3],
        "width_mm": [1230, 1010, 2400],
        "height_mm": [1480, 2130, 1200],
        "reveal_mm": [400, 350, 150],
        "sides": [4, 3, 4],
        "cut_pattern": ["diagonal", "lined", "centre"],
    }
    return pd.DataFrame(rows | changes)


def test_sheet_counts_what_is_laid_across_the_opening_with_its_laps():
    # 1230 × 1480 at 400 mm, worked by hand: nothing fits, so all loose pieces are fresh.
    table = cut_costs(openings().iloc[:1], CutTerms(SHEET_ONLY, WHOLE)).iloc[0]
    laid = 1.23 * 1.48 * 1.5 / 1.4
    k, ratio = 0.42, 1.48 / 1.23 + 1.23 / 1.48
    assert table["diagonal_sheet_m2"] == pytest.approx(laid + 2 * k**2 * ratio)
    assert table["centre_sheet_m2"] == pytest.approx(laid + 2 * 1.27 * 0.42)
    assert table["lined_sheet_m2"] == pytest.approx(2 * (1.48 + 1.27) * 0.42)
    for cut in CUTS:
        assert table[f"{cut}_cost"] == pytest.approx(2 * table[f"{cut}_sheet_m2"])


def test_each_price_and_time_enters_once():
    frame = openings().iloc[:1]
    plain = opening_quantities(frame.assign(cut_pattern="diagonal"), WHOLE).iloc[0]
    expected = {
        "tape_price_m": plain["joint_m"],
        "minutes_piece": 4.0,
        "minutes_joint_m": plain["joint_m"],
        "minutes_flap": 4.0,
        "minutes_stroke": 2.0,
    }
    for name, amount in expected.items():
        terms = CutTerms(replace(FREE, **{"labour_hour": 60.0, name: 1.0}), WHOLE)
        cost = cut_costs(frame, terms)["diagonal_cost"].iloc[0]
        assert cost == pytest.approx(amount), name


def test_the_assumed_prices_are_those_that_are_stated():
    """As `CutCosts` states them: 150 a roll of 75 m², 27 a roll of 30 m of tape, 60 m an hour, …"""
    table = cut_costs(openings())
    for cut in CUTS:
        sheet, joint, pieces, flaps, strokes = (table[f"{cut}_{name}"] for name in AMOUNTS)
        minutes = 2.5 * pieces + 60 / 60 * joint + 0.75 * flaps + 0.5 * strokes
        cost = 150 / 75 * sheet + 27 / 30 * joint + 45 / 60 * minutes
        np.testing.assert_allclose(table[f"{cut}_cost"], cost)


def test_a_roll_is_a_metre_and_a_half_with_a_lap_of_a_tenth_unless_told():
    told = cut_costs(openings(roll_width_m=[1.5] * 3, lap_mm=[100.0] * 3))
    pd.testing.assert_frame_equal(cut_costs(openings()), told)
    for lap in (-1.0, 1500.0):
        with pytest.raises(AirstatsError, match=f"lap_mm: {lap:g} mm will not do"):
            cut_costs(openings(lap_mm=[lap] * 3))


def test_the_way_of_the_recommended_cut_comes_with_it():
    # Dear strokes keep lining out; with three sides the other two have as many.
    costs = replace(SHEET_ONLY, minutes_stroke=100.0, labour_hour=60.0)
    table = cheapest_cut(random_openings(200, seed=8).assign(sides=3), CutTerms(costs))
    assert {"diagonal", "centre"} == set(table["recommended_cut"])
    assert set(table["halves"]) == {True, False}
    assert {"upright", "level"} <= set(table["slit"])
    for row in table.itertuples():
        assert row.slit == getattr(row, f"{row.recommended_cut}_slit")
        assert row.halves == getattr(row, f"{row.recommended_cut}_halves")


def test_reuse_share_moves_the_sheet_between_needed_and_fresh():
    frame = openings(reveal_mm=[150, 150, 150])
    areas = opening_quantities(frame.assign(cut_pattern="diagonal"), WHOLE)
    assert (areas["fillable_m2"] > 0).all()
    sheet = [
        cut_costs(frame, CutTerms(SHEET_ONLY, WHOLE, share))["diagonal_sheet_m2"]
        for share in (0, 0.5, 1)
    ]
    np.testing.assert_allclose(sheet[0] - sheet[2], areas["fillable_m2"])
    np.testing.assert_allclose(sheet[1], (sheet[0] + sheet[2]) / 2)


def test_the_recommended_cut_is_the_cheapest_or_the_same_and_the_saving_follows():
    frame = random_openings(500, seed=6)
    table = cheapest_cut(frame, CutTerms(CutCosts(sheet_price_m2=6, labour_hour=15)))
    prices = table[[f"{cut}_cost" for cut in CUTS]]
    np.testing.assert_allclose(table["cost_recommended"], prices.min(axis=1))
    for row in table.itertuples():
        assert row.cost_as_cut == getattr(row, f"{row.cut_pattern}_cost")
        assert row.cost_recommended == getattr(row, f"{row.recommended_cut}_cost")
    np.testing.assert_allclose(table["saving"], table["cost_as_cut"] - table["cost_recommended"])
    assert (table["saving"] >= 0).all()
    assert (table["saving"][table["recommended_cut"] == table["cut_pattern"]] == 0).all()
    assert set(table["recommended_cut"]) >= set(KNOWN_CUTS)
    table = cheapest_cut(openings(), CutTerms(FREE))
    assert table["recommended_cut"].tolist() == openings()["cut_pattern"].tolist()


def test_a_cut_is_priced_in_its_cheapest_way():
    frame = random_openings(400, seed=8)
    from_halves = []
    for costs in (CutCosts(), replace(FREE, sheet_price_m2=1.0)):
        table = cut_costs(frame, CutTerms(costs))
        ways = [
            cut_costs(frame, CutTerms(costs, Practice(slit=slit, halves=halves)))["centre_cost"]
            for slit in ("upright", "level")
            for halves in (False, True)
        ]
        np.testing.assert_allclose(table["centre_cost"], np.min(ways, axis=0))
        from_halves.append(table["centre_halves"].mean())
    # Where sheet alone costs, halves pay; at ordinary prices joint and handling nearly always
    # cost more than the sheet that they save.
    assert from_halves[0] < 0.03
    assert from_halves[1] > 0.1
    assert set(table["centre_slit"]) == {"upright", "level"}


def test_every_cut_is_charged_for_the_sheet_that_it_lays_and_for_no_other():
    # Without a reveal nothing is left but the sheet across the opening, with its laps.
    frame = openings(reveal_mm=[0, 0, 0])
    area = frame["width_mm"] * frame["height_mm"] / 1e6
    table = cut_costs(frame)
    for cut in ("diagonal", "centre"):
        np.testing.assert_allclose(table[f"{cut}_sheet_m2"], area * 1.5 / 1.4)
    assert (table["lined_sheet_m2"] == 0).all()
    narrow = cut_costs(frame.assign(roll_width_m=1.0, lap_mm=200.0))
    np.testing.assert_allclose(narrow["centre_sheet_m2"], area * 1.0 / 0.8)


@pytest.mark.parametrize("sides", [3, 4])
@pytest.mark.parametrize("cut", KNOWN_CUTS)
def test_strokes_and_flaps_are_those_of_the_drawing(cut, sides):
    pieces = opening_pieces(Opening(1200, 2100, 200, sides, cut, Practice(slit="upright")))
    assert CUTS[cut].strokes[sides] == len(pieces.cut_lines)
    assert CUTS[cut].flaps[sides] == len(pieces.flaps)


@pytest.mark.parametrize("sides", [3, 4])
def test_a_level_slit_folds_the_leaves_of_its_drawing(sides):
    terms = CutTerms(practice=Practice(slit="level", halves=False))
    frame = openings(sides=[sides] * 3)
    folded = cut_amounts(frame, terms)["centre"][0][:, AMOUNTS.index("flaps")]
    pieces = opening_pieces(Opening(1200, 2100, 200, sides, "centre", Practice(slit="level")))
    assert (folded == len(pieces.flaps)).all()
    assert CUTS["centre"].ways["level"].flaps[sides] == len(pieces.flaps)
    assert len(pieces.cut_lines) == CUTS["centre"].strokes[sides]


def test_amounts_times_prices_are_the_cost():
    frame, terms = openings(), CutTerms(practice=WHOLE)
    costs = cut_costs(frame, terms)
    for cut, ways in cut_amounts(frame, terms).items():
        assert len(ways) == 1
        np.testing.assert_allclose(ways[0] @ terms.costs.prices(), costs[f"{cut}_cost"])
        np.testing.assert_allclose(ways[0], costs[[f"{cut}_{name}" for name in AMOUNTS]])


def test_errors_say_what_to_do():
    with pytest.raises(AirstatsError, match=r"labour_hour: -5 will not do. Give 0 or more"):
        CutCosts(labour_hour=-5)
    with pytest.raises(AirstatsError, match=r"reuse_share: 1.2 will not do. Give a share"):
        CutTerms(reuse_share=1.2)
    with pytest.raises(AirstatsError, match="cut_pattern: 'zigzag' is not known"):
        cheapest_cut(openings(cut_pattern=["lined", "zigzag", "lined"]))


def kinds():
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
    assert set(grid["cheapest_cut"]) >= set(KNOWN_CUTS)
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


def one_cut_for_all(frame, terms=None):
    costs, count = cut_costs(frame, terms or CutTerms()), frame.get("count", 1)
    return {cut: float((costs[f"{cut}_cost"] * count).sum()) for cut in CUTS}


@pytest.mark.parametrize("frame", [kinds(), kinds().drop(columns="count")])
def test_what_another_cut_costs_more_is_added_up_over_the_units(frame):
    totals = one_cut_for_all(frame)
    for row in turning_prices(frame).itertuples():
        assert row.cheapest_cut == min(totals, key=totals.get)
        assert row.extra_cost == pytest.approx(totals[row.other_cut] - min(totals.values()))


@pytest.mark.parametrize("labour", [8.0, 45.0])
def test_at_a_turning_price_both_cuts_cost_the_same(labour):
    terms = CutTerms(CutCosts(labour_hour=labour))
    turns = turning_prices(kinds(), terms)
    assert len(turns) == (len(CUTS) - 1) * len(CutCosts.__dataclass_fields__)
    assert (turns["extra_cost"] > 0).all()
    known = turns.dropna()
    assert not known.empty
    for row in known.itertuples():
        there = replace(terms.costs, **{row.price: row.turns_at})
        totals = one_cut_for_all(kinds(), replace(terms, costs=there))
        assert totals[row.other_cut] == pytest.approx(totals[row.cheapest_cut])
        assert 0 <= row.turns_at <= 10 * row.now


@pytest.mark.parametrize(("stroke", "flap", "turns_at"), [(19, 1, 9.5), (21, 1, np.nan)])
def test_a_turn_counts_up_to_ten_times_the_price_of_today(stroke, flap, turns_at):
    # By hand: corner to corner 4 flaps and 2 strokes, the slit 2 and 3. Level at 2 flaps = 1
    # stroke. Reveals of nothing, so that no piece, joint or sheet of theirs counts.
    costs = replace(FREE, minutes_flap=flap, minutes_stroke=stroke, labour_hour=60.0)
    frame = kinds().assign(reveal_mm=1e-6, sides=4)
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
    frame = kinds().assign(reveal_mm=1e-6, sides=4)
    turns = turning_prices(frame, CutTerms(costs)).set_index(["other_cut", "price"])["turns_at"]
    assert np.isnan(turns["diagonal", "minutes_stroke"])
    assert np.isnan(turns["diagonal", "sheet_price_m2"])


def test_a_map_of_impossible_sizes_is_refused():
    with pytest.raises(AirstatsError, match=r"width_over_height: 0 will not do. Give more than 0"):
        break_even_map(width_over_height=0)
    with pytest.raises(AirstatsError, match=r"areas_m2: -1.0 will not do"):
        break_even_map(areas_m2=[-1, 2])
