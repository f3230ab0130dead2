"""Numbers are written with the digits that are known of them."""

import numpy as np
import pandas as pd
import pytest

from airstats.base.known_digits import by_sd, of_chances, rounded


@pytest.mark.parametrize(
    ("value", "sd", "known"),
    [(412.3712, 21.0, 412), (412.3712, 4.5, 412.4), (1234.5, 130, 1230), (0.0613, 0.02, 0.061),
     (8.6111, 0.0, 8.6111)],
)  # fmt: skip
def test_an_amount_keeps_the_second_digit_of_its_sd(value, sd, known):
    assert by_sd(np.array([value]), np.array([sd])) == [known]


@pytest.mark.parametrize(
    ("chance", "known"),
    [(0.1634, 0.16), (0.0057, 0.006), (0.00072, 0.0007), (0.000001, 0.0), (0.9963, 0.996),
     (0.5, 0.5), (0.999999, 1.0)],
)  # fmt: skip
def test_a_chance_is_told_to_the_per_cent_or_the_first_digit_of_what_is_small(chance, known):
    assert of_chances(np.array([chance])) == [known]


def test_a_table_of_orders_keeps_what_is_known_exactly():
    orders = pd.DataFrame(
        {
            "job_id": ["A"], "expected_m2": [245.959696], "low_m2": [232.088778],
            "high_m2": [259.826338], "order_rolls": [4], "chance_short": [0.1633742],
            "expected_left_over_rolls": [0.0288261], "from_stock_m": [21.25],
            "expected_left_on_last_m": [15.1955], "sheet_cost": [560.8812], "cost_a_m2": [2.67340],
            "all_in_percent": [17.2353],
        }
    )  # fmt: skip
    done = rounded(orders)
    assert list(done) == list(orders)
    assert done.iloc[0].tolist() == [
        "A", 246.0, 232.0, 260.0, 4, 0.16, 0.03, 21.2, 15.0, 560.88, 2.67, 17.2,
    ]  # fmt: skip
    assert orders["sheet_cost"][0] == 560.8812
    others = rounded(
        pd.DataFrame({"pack": [8.6], "expected": [71.04], "low": [60.01], "high": [82.2]})
    )
    assert others.iloc[0].tolist() == [8.6, 71.0, 60.0, 82.2]
