"""Corners: all lengths are common practice, no source."""

import pytest

from airstats.catalog.corner_methods import CORNER_METHODS, CORNERS, USUAL_METHOD


def test_an_opening_has_four_corners_a_door_two_and_only_bought_pieces_cost_pieces():
    assert CORNERS == {4: 4, 3: 2}
    assert {name for name, method in CORNER_METHODS.items() if method.pieces} == {"pieces"}
    assert USUAL_METHOD in CORNER_METHODS


def test_only_two_tapes_take_more_tape_and_only_a_bought_piece_is_a_piece():
    extra_mm = {name: method.extra_tape_mm for name, method in CORNER_METHODS.items()}
    assert extra_mm == pytest.approx({"folded": 0, "two_tapes": 7, "pieces": 0})
    assert CORNER_METHODS["pieces"].pieces == 1
    assert all(method.minutes > 0 for method in CORNER_METHODS.values())
