from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import airstats
from airstats.base.firm import Firm
from airstats.catalog.materials import MATERIALS
from airstats.model.allowances import unchanged
from airstats.pricing.newsvendor import left_out, price
from airstats.takeoff.per_material import material_quantities
from airstats.takeoff.sheet_quantities import take_off
from tests.invented import change, firm, naming

COLUMNS = [
    "job_id", "material", "unit", "pack", "expected", "low", "high", "packs_p50", "packs_p80",
    "packs_p95", "order_packs", "chance_short", "expected_left_over_packs", "from_stock_packs",
    "buy_packs", "unmeasured", "width_if_measured", "jobs_counted",
]  # fmt: skip
LEARNT = {"sheet", "frame tape", "corner pieces"}
BARE = firm(6, seed=8)
AHEAD = naming(BARE, "joint tape")


@pytest.fixture(scope="module")
def known():
    return airstats.calibrate(firm(24, frame_tape=0.25, corner_pieces=0.10))


@pytest.fixture(scope="module")
def orders(known):
    return airstats.price_materials(AHEAD, known)


def test_one_row_a_job_and_material_the_sheet_first(orders):
    assert list(orders) == COLUMNS
    names = ["sheet", "joint tape", "frame tape", "corner pieces"]
    assert orders["material"].tolist() == names * 6
    assert orders["job_id"].tolist() == [job for job in AHEAD.jobs["job_id"] for _ in names]


def test_sheet_is_priced_as_without_the_others(orders, known):
    names = {"expected": "expected_m2", "low": "low_m2", "order_packs": "order_rolls",
             "chance_short": "chance_short"}  # fmt: skip
    sheet = orders[orders["material"] == "sheet"].reset_index(drop=True)[list(names)]
    alone = price(AHEAD, known)[list(names.values())]
    assert (sheet.to_numpy() == alone.to_numpy()).all()


def test_amounts_follow_what_was_learnt(orders, known):
    jobs = take_off(AHEAD)
    counted = material_quantities(jobs, AHEAD.openings)["frame_tape_m"].to_numpy()
    tape = orders[orders["material"] == "frame tape"]
    learnt = airstats.material_table(known).loc["frame tape", "mean"]
    # Crews differ, each by a point or so.
    assert tape["expected"].to_numpy() / counted == pytest.approx(1 + learnt, abs=0.03)
    assert learnt > MATERIALS["frame tape"].allowance[0] + 0.05
    assert ((tape["low"] < tape["expected"]) & (tape["expected"] < tape["high"])).all()
    assert tape["jobs_counted"].eq(24).all()


def test_material_without_records_is_priced_from_the_prior_and_old_ones_drift_on(orders, known):
    joint = orders[orders["material"] == "joint tape"]
    assert joint["jobs_counted"].eq(0).all()
    # The belief itself spreads by 0.15 and the jobs by 0.10: no job is sure within a fifth.
    assert ((joint["high"] - joint["low"]) / joint["expected"] > 0.3).all()
    older = replace(known, quarter="2027Q4")
    now, later = (
        airstats.price_materials(AHEAD, a).query("material == 'frame tape'") for a in (known, older)
    )
    assert later["expected"].tolist() == pytest.approx(now["expected"].tolist())
    assert ((later["high"] - later["low"]) > (now["high"] - now["low"])).all()


def test_order_covers_the_share_that_the_costs_ask_for(known):
    for short, most in ((60.0, 0.5), (240.0, 0.2), (1140.0, 0.05)):
        orders = airstats.price_materials(AHEAD, known, 60.0, short)
        assert orders["chance_short"].max() <= most + 1e-9
    with pytest.raises(airstats.AirstatsError, match="short cost is 0: give a number above 0"):
        airstats.price_materials(AHEAD, known, 60.0, 0.0)


def test_each_job_has_its_own_packs_and_a_row_for_what_it_needs(known):
    rows = pd.DataFrame({"job_id": ["J000"], "material": ["frame tape"], "pack": [50.0]})
    own = rows.reindex(columns=firm(2, frame_tape=0.1).materials.columns)
    orders = airstats.price_materials(replace(AHEAD, materials=own), known)
    tape = orders[orders["material"] == "frame tape"].set_index("job_id")
    assert tape.loc["J000", "pack"] == 50
    assert tape.loc["J001", "pack"] == 25
    assert tape.loc["J000", "order_packs"] < tape.loc["J001", "order_packs"]
    columns = {"corner_method": ["folded"] + ["pieces"] * 5, "sealant_m": [7.0] + [np.nan] * 5}
    named = naming(BARE, "joint tape", "sealant")
    orders = airstats.price_materials(change(named, **columns), known)
    rows = orders.groupby("job_id")["material"].agg(set)
    assert rows["J000"] == {"sheet", "joint tape", "frame tape", "sealant"}
    assert rows["J001"] == {"sheet", "joint tape", "frame tape", "corner pieces"}


def test_a_material_that_is_neither_learnt_nor_named_is_left_out_and_told_of(known):
    """Joint tape can be counted, but the firm keeps no record of it; of sealant nothing is told."""
    assert set(airstats.price_materials(BARE, known)["material"]) == LEARNT
    assert set(airstats.buying_list(BARE, known)["material"]) == LEARNT
    assert left_out(BARE, known) == ["joint tape"]
    assert left_out(AHEAD, known) == []
    bare = replace(known, materials={})
    assert set(airstats.price_materials(BARE, bare)["material"]) == {"sheet"}
    assert left_out(BARE, bare) == ["joint tape", "frame tape", "corner pieces"]


def test_what_the_firm_knows_the_price_of_it_uses(known):
    pays = Firm(unit_prices={"joint tape": 0.8})
    orders = airstats.price_materials(BARE, known, firm=pays)
    assert set(orders["material"]) == {*LEARNT, "joint tape"}
    assert (orders.loc[orders["material"].eq("joint tape"), "jobs_counted"] == 0).all()
    bought = airstats.buying_list(BARE, known, firm=pays).set_index("material")
    assert bought.loc["joint tape", "pack_price"] == 0.8 * MATERIALS["joint tape"].pack
    assert left_out(BARE, known, pays) == []


def test_a_pack_of_five_holds_the_corners_of_an_opening_and_one_more():
    one = replace(
        AHEAD,
        jobs=AHEAD.jobs.iloc[:1].assign(pretaped_share=0.0),
        openings=AHEAD.openings.iloc[:1].assign(count=5),
    )
    orders = airstats.price_materials(naming(one, "corner pieces"), unchanged("2026Q1"))
    pieces = orders[orders["material"] == "corner pieces"].iloc[0]
    # Twenty corners fill four packs; one in twenty spoilt makes it five.
    assert pieces["expected"] == pytest.approx(21.0)
    assert pieces["pack"] == 5
    assert pieces["packs_p50"] == 5
