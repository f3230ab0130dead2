import pytest

from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import MATERIALS
from airstats.catalog.reader_names import reader_name


@pytest.mark.parametrize(
    ("code", "name"),
    [
        ("waste", "waste"),
        ("reveal.diagonal", "corner to corner"),
        ("reuse.centre", "off-cuts used, slit"),
        ("reveal_diagonal_m2", "reveals corner to corner, m²"),
        ("reveal.gone", "gone"),
        ("frame_tape_m", "frame tape, m"),
    ],
)
def test_readers_see_no_code(code, name):
    assert reader_name(code) == name


def test_every_cut_and_material_has_a_name_without_signs_of_code():
    for name in (*CUTS, *MATERIALS, *(each.driver for each in MATERIALS.values())):
        assert not set("_.") & set(reader_name(name))
