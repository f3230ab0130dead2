import numpy as np
import pandas as pd
import pytest

from airstats.base.number_text import (
    between,
    give_or_take,
    number,
    percent,
    signed,
    that_add_up,
)


@pytest.mark.parametrize(
    ("said", "is_said"),
    [
        (number(-0.04), "0.0"),
        (number(-8590.4, 0), "−8,590"),
        (percent(-0.0004, 1), "0.0 %"),
        (signed(1.23), "+1.2"),
        (signed(-1.23, 2), "−1.23"),
        (signed(0.04), "0.0"),
        (signed(-0.04), "0.0"),
        (between(0.2, 0.7, digits=2), "0.20 to 0.70"),
        (between(-1, 12, "rolls"), "−1.0 to 12 rolls"),
    ],
)
def test_numbers_have_one_minus_and_nothing_has_none(said, is_said):
    assert said == is_said


@pytest.mark.parametrize(
    ("ends", "digits", "is_said"),
    [
        ((0.45, 0.20, 0.70), 2, "0.45 ± 0.25 m²"),
        ((19.0, 15.0, 23.0), None, "19 ± 4 m²"),
        ((1.0, 1.0, 1.0), None, "1.0 m²"),
        ((0.45, 0.449, 0.451), 2, "0.45 m²"),
    ],
)
def test_an_interval_is_half_of_what_low_and_high_hold(ends, digits, is_said):
    row = pd.Series(ends, ["mean", "low", "high"])
    assert give_or_take(row, "m²", digits) == is_said


@pytest.mark.parametrize("digits", [0, 1])
def test_rounded_parts_add_up_to_the_rounded_sum_and_the_loosest_takes_the_rest(digits):
    parts = [-52.4, 42.3, 35.4, 33.3, -0.66, -4.16, 0.88]
    rounded = that_add_up(parts, digits, 4)
    assert rounded.sum() == pytest.approx(round(sum(parts), digits))
    moved = rounded - [round(part, digits) for part in parts]
    assert np.flatnonzero(moved.round(6)).tolist() == [4]
    shared = that_add_up(parts, digits)
    assert shared.sum() == pytest.approx(rounded.sum())
    assert abs(shared - parts).max() < 10.0**-digits
    assert that_add_up([1.0, -2.0, 0.0], digits, 0).tolist() == [1, -2, 0]
