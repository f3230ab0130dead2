"""Corners: all lengths are common practice, no source."""

import pytest

from airstats.catalog.corner_methods import CORNER_METHODS, CORNERS, USUAL_METHOD
from airstats.takeoff.per_material import corner_choice


def test_an_opening_has_four_corners_a_door_two_and_only_bought_pieces_cost_pieces():
    assert CORNERS == {4: 4, 3: 2}
    assert {name for name, method in CORNER_METHODS.items() if method.pieces} == {"pieces"}
    assert USUAL_METHOD in CORNER_METHODS


def test_choice_grows_with_the_corners():
    forty, twenty = corner_choice(40), corner_choice(20)
    assert list(forty.index) == list(CORNER_METHODS)
    assert forty.loc["two_tapes", "tape_m"] == pytest.approx(40 * 0.007)
    assert forty.loc["pieces", "pieces"] == 40
    assert forty.loc["folded", "tape_m"] == 0
    assert (forty["minutes"] == 2 * twenty["minutes"]).all()
