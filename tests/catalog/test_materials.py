import pytest

from airstats.catalog.materials import MATERIALS, SHEET, plural
from airstats.model.prior import material_prior


def test_a_cartridge_gives_its_volume_and_short_units_have_no_plural():
    # 310 ml are 310,000 mm³; a bead of 6 x 6 mm takes 36 mm³ a mm.
    assert MATERIALS["sealant"].pack == pytest.approx(310_000 / 36 / 1000, abs=0.05)
    assert [plural(unit) for unit in ("m", "m²", "piece")] == ["m", "m²", "pieces"]


@pytest.mark.parametrize("name", MATERIALS)
def test_every_material_says_what_it_needs_and_why_and_its_prior_holds_it(name):
    material, prior = MATERIALS[name], material_prior(name)
    assert name != SHEET
    assert name == name.casefold()
    assert min(material.pack, material.spread, material.floor, material.allowance[1]) > 0
    assert len(material.reason) > 40
    assert (prior.waste, prior.floor) == (material.allowance, material.floor)
    assert prior.gross_packs == material.gross_packs
    assert prior.spread_nodes[0] < material.spread < prior.spread_nodes[-1]
    assert material.spread in prior.spread_nodes
