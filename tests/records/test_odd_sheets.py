"""Sheets as real desks make them: each is read rightly, refused in place, or named in a remark."""

import pytest

from tests.records.odd_sheets import ODD, judge


@pytest.mark.parametrize("name", ODD)
def test_nothing_odd_is_misread_in_silence(name):
    outcome, said = judge(name)
    assert outcome != "misread", said
