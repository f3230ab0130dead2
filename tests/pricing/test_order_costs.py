"""What a roll left over and a roll short cost, from what an estimator knows."""

from pathlib import Path

import pytest

from airstats.base.errors import AirstatsError
from airstats.base.firm import ASSUMED, Firm
from airstats.pricing.cut_prices import STANDARD_COSTS, CutCosts, cut_costs
from airstats.pricing.order_costs import costs_of
from airstats.records.firm_file import read_firm

LEFT = {"bring_back": 10, "shelf_months": 4, "shelf_percent": 2, "spoilt_percent": 12}
SHORT = {"delivery": 80, "idle_fitters": 3, "idle_hours": 0.5, "margin_hour": 20}


def test_parts_make_the_costs_as_by_hand():
    firm = Firm(roll_price=200, labour_hour=40, **LEFT, **SHORT)
    # 10 + 200 x (4 x 2 + 12) / 100; 80 + 3 x 0.5 x (40 + 20)
    assert costs_of(firm) == pytest.approx((50, 170))


def test_a_whole_cost_or_an_option_wins_over_the_parts():
    assert costs_of(Firm(leftover_cost=70)) == (70, 240)
    assert costs_of(Firm(**SHORT).but(leftover_cost=0, short_cost=300)) == (60, 300)
    assert costs_of(ASSUMED) == (60, 240)


def test_the_demo_firm_comes_to_what_is_assumed():
    demo = Path(__file__).parents[2] / "data" / "demo_firm.toml"
    assert costs_of(read_firm(demo)) == pytest.approx((60, 240))


def test_parts_that_come_to_nothing_are_refused():
    with pytest.raises(AirstatsError, match="leftover_cost comes to 0 from its parts"):
        costs_of(Firm(roll_price=100, shelf_months=3))


def test_cuts_are_compared_at_the_firms_prices_and_times():
    assert cut_costs(ASSUMED) == STANDARD_COSTS
    firm = Firm(labour_hour=50, tape_price_m=1.5, minutes_piece=3, minutes_flap=1)
    told = {"labour_hour": 50, "tape_price_m": 1.5, "minutes_piece": 3, "minutes_flap": 1}
    assert cut_costs(firm) == CutCosts(**told)
    assert cut_costs(Firm(roll_price=225)).sheet_price_m2 == 3
