"""Costs of the three cuts, the recommendation and the break-even map."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.base.errors import AirstatsError
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.cutting_rules import Practice
from airstats.pricing.cut_choice import cheapest_cut, cut_amounts, cut_costs, job_savings
from airstats.pricing.cut_prices import AMOUNTS, CutCosts, CutTerms
from airstats.takeoff.opening_quantities import Opening, opening_pieces, opening_quantities
from tests.invented import random_openings

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
    assert set(table["recommended_cut"]) == set(CUTS)
    table = cheapest_cut(openings(), CutTerms(FREE))
    assert table["recommended_cut"].tolist() == openings()["cut_pattern"].tolist()


def test_job_savings_add_up_the_units_of_each_job():
    frame = openings()
    table, jobs = cheapest_cut(frame), job_savings(frame)
    assert jobs["job_id"].tolist() == ["a", "b"]
    assert jobs["openings"].tolist() == [3, 3]
    assert jobs["saving"].tolist() == pytest.approx(
        [2 * table["saving"][0] + table["saving"][1], 3 * table["saving"][2]]
    )
    changed = (table["recommended_cut"] != table["cut_pattern"]) * frame["count"]
    cost = (table["cost_as_cut"] * frame["count"]).groupby(frame["job_id"]).sum()
    assert jobs["cost_as_cut"].tolist() == pytest.approx(cost.tolist())
    assert jobs["cut_otherwise"].tolist() == [changed[0] + changed[1], changed[2]]
    alone = job_savings(frame.drop(columns="count"))
    assert alone["openings"].tolist() == [2, 1]


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
@pytest.mark.parametrize("cut", CUTS)
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
