"""Costs of the three cuts, the recommendation and the break-even map."""

import numpy as np
import pandas as pd
import pytest

from airstats.cut_choice import (
    CutCosts,
    break_even_map,
    cheapest_cut,
    cut_costs,
    job_savings,
)
from airstats.errors import AirstatsError
from airstats.openings import CUTS, Practice, opening_quantities

SHEET_ONLY = CutCosts(2.0, 0, 0, 0, 0, 0)


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
    table = cut_costs(openings().iloc[:1], SHEET_ONLY, roll_width_m=1.5, lap_mm=100).iloc[0]
    laid = 1.23 * 1.48 * 1.5 / 1.4
    k, ratio = 0.42, 1.48 / 1.23 + 1.23 / 1.48
    assert table["diagonal_sheet_m2"] == pytest.approx(laid + 2 * k**2 * ratio)
    assert table["centre_sheet_m2"] == pytest.approx(laid + 2 * 1.27 * 0.42)
    assert table["lined_sheet_m2"] == pytest.approx(2 * (1.48 + 1.27) * 0.42)
    for cut in CUTS:
        assert table[f"{cut}_cost"] == pytest.approx(2 * table[f"{cut}_sheet_m2"])


def test_each_price_and_time_enters_once():
    frame = openings().iloc[:1]
    plain = opening_quantities(frame.assign(cut_pattern="diagonal")).iloc[0]
    expected = {
        "tape_price_m": plain["joint_m"],
        "minutes_piece": 4.0,
        "minutes_joint_m": plain["joint_m"],
        "minutes_flap": 4.0,
    }
    for name, amount in expected.items():
        prices = dict.fromkeys(CutCosts.__dataclass_fields__, 0.0) | {"labour_hour": 60.0}
        cost = cut_costs(frame, CutCosts(**(prices | {name: 1.0})))["diagonal_cost"].iloc[0]
        assert cost == pytest.approx(amount), name


def test_reuse_share_moves_the_sheet_between_needed_and_fresh():
    frame = openings(reveal_mm=[150, 150, 150])
    areas = opening_quantities(frame.assign(cut_pattern="diagonal"))
    assert (areas["fillable_m2"] > 0).all()
    sheet = [
        cut_costs(frame, SHEET_ONLY, reuse_share=share)["diagonal_sheet_m2"]
        for share in (0, 0.5, 1)
    ]
    np.testing.assert_allclose(sheet[0] - sheet[2], areas["fillable_m2"])
    np.testing.assert_allclose(sheet[1], (sheet[0] + sheet[2]) / 2)


def test_the_recommended_cut_is_the_cheapest_and_the_saving_follows():
    pick = np.random.default_rng(6)
    frame = pd.DataFrame(
        {
            "width_mm": pick.uniform(400, 2500, 500),
            "height_mm": pick.uniform(400, 2500, 500),
            "reveal_mm": pick.uniform(50, 600, 500),
            "sides": pick.choice([3, 4], 500),
            "cut_pattern": pick.choice(CUTS, 500),
        }
    )
    costs = CutCosts(sheet_price_m2=6, labour_hour=15)
    table = cheapest_cut(frame, costs)
    prices = table[[f"{cut}_cost" for cut in CUTS]]
    np.testing.assert_allclose(table["cost_recommended"], prices.min(axis=1))
    for row in table.itertuples():
        assert row.cost_as_cut == getattr(row, f"{row.cut_pattern}_cost")
        assert row.cost_recommended == getattr(row, f"{row.recommended_cut}_cost")
    np.testing.assert_allclose(table["saving"], table["cost_as_cut"] - table["cost_recommended"])
    assert (table["saving"] >= 0).all()
    assert (table["saving"][table["recommended_cut"] == table["cut_pattern"]] == 0).all()
    assert set(table["recommended_cut"]) == set(CUTS)


def test_a_cut_that_costs_the_same_is_not_changed():
    free = CutCosts(0, 0, 0, 0, 0, 0)
    table = cheapest_cut(openings(), free)
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
    assert jobs["cut_otherwise"].tolist() == [changed[0] + changed[1], changed[2]]
    alone = job_savings(frame.drop(columns="count"))
    assert alone["openings"].tolist() == [2, 1]


def test_break_even_map_keeps_the_area_and_agrees_with_cut_costs():
    grid = break_even_map(opening_m2=2.0, aspects=[0.5, 1.0, 2.0], reveals_mm=[100, 400])
    assert len(grid) == 6
    np.testing.assert_allclose(grid["width_mm"] * grid["height_mm"], 2e6)
    np.testing.assert_allclose(grid["width_mm"] / grid["height_mm"], grid["width_over_height"])
    table = cut_costs(grid.assign(sides=4))
    np.testing.assert_allclose(
        grid["difference"], table["diagonal_cost"] - table["centre_cost"], atol=1e-12
    )


def test_break_even_lies_where_algebra_puts_it():
    # Sheet alone, no returns, nothing reused: 2 d² (r + 1/r) against 2 d W, with r = W/H.
    # They are equal at d = W / (r + 1/r), just under half the width here.
    grid = break_even_map(
        aspects=[0.8],
        reveals_mm=np.arange(300, 601, 1.0),
        costs=SHEET_ONLY,
        practice=Practice(return_mm=0),
        reuse_share=0.0,
    )
    limit = grid["width_mm"].iloc[0] / (0.8 + 1 / 0.8)
    assert (grid["difference"][grid["reveal_mm"] < limit] < 0).all()
    assert (grid["difference"][grid["reveal_mm"] > limit] > 0).all()
    assert grid["reveal_mm"].min() < limit < grid["reveal_mm"].max()


def test_errors_say_what_to_do():
    with pytest.raises(AirstatsError, match=r"labour_hour: -5 will not do. Give 0 or more"):
        CutCosts(labour_hour=-5)
    with pytest.raises(AirstatsError, match=r"reuse_share: 1.2 will not do. Give a share"):
        cut_costs(openings(), reuse_share=1.2)
    with pytest.raises(AirstatsError, match=r"lap_mm: 1500 mm will not do"):
        cut_costs(openings(), lap_mm=1500)
    with pytest.raises(AirstatsError, match="cut_pattern: 'zigzag' is not known"):
        cheapest_cut(openings(cut_pattern=["lined", "zigzag", "lined"]))
    with pytest.raises(AirstatsError, match="cut_b: 'zigzag' is not known"):
        break_even_map(cut_b="zigzag")
    with pytest.raises(AirstatsError, match="opening_m2: 0 will not do"):
        break_even_map(opening_m2=0)
