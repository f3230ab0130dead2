"""A material is one entry: an invented one goes through every command, section and document."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import airstats
from airstats.__main__ import main
from airstats.backtests.rolling import PACK_RULES, replay, summary_by_rule
from airstats.base.number_text import number
from airstats.catalog.materials import MATERIALS, Material
from airstats.documents.wall_card import allowance_card
from airstats.model.quarterly_update import learnt_materials
from airstats.reports.desk import after_decision, lay_out
from airstats.reports.display import Table, Words
from airstats.reports.materials_evidence_text import evidence_section
from airstats.reports.materials_owner_text import owner_section
from airstats.reports.materials_text import price_section, update_section
from airstats.reports.pseudonyms import coded_sources
from tests.documents.price_workbook.test_workbook import as_written, opened, short_sheet, typed_at
from tests.invented import few_candidates, firm, save

ANCHORS = Material(
    driver="Anchors",
    unit="piece",
    pack=100.0,
    allowance=(0.10, 0.10),
    spread=0.08,
    floor=5.0,
    gross_packs=2.0,
    reason="An invented material, driven by a column that the firm keeps.",
)
TRUE = 0.3
SECTIONS = {
    "owner": owner_section,
    "update": update_section,
    "price": lambda desk: price_section(desk, 60, 240),
    "evidence": evidence_section,
}


@pytest.fixture(scope="module", autouse=True)
def registered():
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(MATERIALS, "anchors", ANCHORS)
        patch.setattr("airstats.model.allowances.Prior", few_candidates)
        yield


@pytest.fixture(scope="module")
def folder(registered, tmp_path_factory):
    """A firm that prices five packs a job and uses more; and one job of 500 anchors to come."""
    place = tmp_path_factory.mktemp("anchors")
    rng, past = np.random.default_rng(4), firm(40)
    count = rng.integers(300, 900, 40)
    rows = pd.DataFrame({"job_id": past.jobs["job_id"], "material": "anchors", "estimated": 5.0})
    rows["used"] = np.ceil(count * (1 + TRUE + rng.normal(0, 0.05, 40)) / 100)
    rows["pack_price"] = 9.5
    save(place / "past", replace(past, jobs=past.jobs.assign(Anchors=count), materials=rows))
    jobs = firm(1, seed=8).jobs.assign(Anchors=500, job_id="N1")
    ahead = replace(firm(1, seed=8), jobs=jobs)
    ahead = replace(ahead, openings=ahead.openings.assign(job_id="N1"))
    save(place / "next", ahead)
    finished = ["finished_on", "estimated_rolls", "used_rolls", "counted"]
    jobs = pd.read_csv(place / "next" / "jobs.csv").drop(columns=finished)
    jobs.to_csv(place / "next" / "jobs.csv", index=False)
    return place


@pytest.fixture(scope="module")
def records(folder):
    return airstats.read_records(folder / "past")


@pytest.fixture(scope="module")
def desk(records, folder):
    return lay_out(records, to_price=airstats.read_records(folder / "next"))


@pytest.fixture(scope="module")
def known(records):
    return airstats.calibrate(records)


def test_the_commands_take_it_from_quarter_to_quarter(folder, tmp_path, capsys):
    past, first, kept, last = str(folder / "past"), *(tmp_path / f"{n}.json" for n in "abc")
    assert main(["check", past]) == 0
    call = ["calibrate", past, "--quarter"]
    assert main([*call, "2025Q2", "--out", str(first)]) == 0
    why = ["--decision", "keep", "--decision-reason", "a look first", "--decided-by", "AB"]
    assert main([*call, "2025Q3", "--previous", str(first), "--out", str(kept), *why]) == 0
    assert main([*call, "2025Q4", "--previous", str(kept), "--out", str(last)]) == 0
    assert "anchors" in capsys.readouterr().out
    assert main(["check", str(last)]) == 0
    counted = [airstats.load_allowances(file).materials["anchors"] for file in (first, kept, last)]
    assert [len(one.job_ids) for one in counted] == [20, 20, 40]
    row = airstats.material_table(airstats.load_allowances(last)).loc["anchors"]
    assert row["low"] < TRUE < row["high"]
    assert row["sd"] < 0.03
    assert row[["unit", "pack", "pack_price"]].tolist() == ["piece a piece counted", 100, 9.5]
    price = ["price", str(folder / "next"), "--allowances", str(last), "--materials"]
    price += ["--out", str(tmp_path / "o.csv"), "--buying-list", str(tmp_path / "list")]
    assert main(price) == 0
    orders = pd.read_csv(tmp_path / "o.csv").set_index("material").loc["anchors"]
    assert orders["expected"] == pytest.approx(500 * (1 + row["mean"]), rel=0.03)
    bought = pd.read_csv(tmp_path / "list" / "buying_list.csv").set_index("material").loc["anchors"]
    assert bought["order_packs"] == orders["order_packs"] in {7, 8}
    assert bought["order_money"] == pytest.approx(9.5 * bought["order_packs"])


def test_its_packs_are_priced_again_and_its_overrun_is_split(records, known):
    (one,) = learnt_materials(records, known)
    assert (one.name, len(one.jobs)) == ("anchors", 40)
    summary = summary_by_rule(replay(one.jobs), PACK_RULES).set_index("rule")
    assert list(summary.index) == list(PACK_RULES)
    assert summary["packs_short"].idxmin() == "airstats"


@pytest.mark.parametrize("name", SECTIONS)
def test_every_section_speaks_of_it(desk, name):
    section = list(SECTIONS[name](desk))
    said = " ".join(part.text for part in section if isinstance(part, Words))
    assert "nchors" in said
    if name == "owner":
        assert "packs over the price" in said
        assert [part for part in section if isinstance(part, Table)]
    kept = after_decision(desk, "keep", "a look first", "AB")
    assert list(SECTIONS[name](kept))


def test_the_card_and_the_price_workbook_hold_it(known):
    mean = airstats.material_table(known).loc["anchors", "mean"]
    card = allowance_card(known)
    assert ">anchors</td>" in card
    assert f"+{number(100 * mean, 1)}" in card
    # The card's job says nothing of anchors, so that its row holds the factor alone.
    assert f"pieces counted × {1 + mean:.2f}" in card
    place = list(MATERIALS).index("anchors") + 1
    book = opened(short_sheet(known))
    assert typed_at(book, f"counted_{place}").value is None
    assert typed_at(book, f"pack_{place}").value == 100
    row = typed_at(book, f"pack_{place}").row
    assert book["quote"][f"A{row}"].value == "▸ anchors, pieces"


def test_the_price_workbook_counts_what_the_takeoff_tells(known, folder):
    ahead = airstats.read_records(folder / "next")
    place = list(MATERIALS).index("anchors") + 1
    content = short_sheet(known, takeoff=ahead)
    cells = as_written(None, {"one": content})["one"]
    named = {n: cells.named(opened(content).defined_names, f"{n}_{place}")
             for n in ("counted", "packs")}  # fmt: skip
    orders = airstats.price_materials(ahead, known).set_index("material")
    assert named == {"counted": 500, "packs": orders.loc["anchors", "order_packs"]}


def test_codes_keep_what_drives_it(records, known):
    coded, before, _ = coded_sources(records, known, None)
    assert before.materials["anchors"].job_ids == tuple(f"J{n:03d}" for n in range(1, 41))
    again = airstats.material_table(airstats.calibrate(coded)).loc["anchors"]
    assert again["mean"] == pytest.approx(airstats.material_table(known).loc["anchors", "mean"])
