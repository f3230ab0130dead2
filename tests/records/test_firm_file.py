"""What a firm says of itself: read whole, or refused by line with the nearest known key."""

import tomllib
from pathlib import Path

import pytest

from airstats.base.errors import AirstatsError
from airstats.base.firm import ASSUMED, FIELDS
from airstats.catalog.materials import MATERIALS
from airstats.documents.run_notebooks import NOTEBOOKS
from airstats.records.firm_file import blank_firm, read_firm

DEMO = Path(__file__).parents[2] / "data" / "demo_firm.toml"


def written(folder, text, encoding="utf-8"):
    path = folder / "firm.toml"
    path.write_text(text, encoding=encoding)
    return path


def test_what_is_not_told_stays_as_assumed(tmp_path):
    firm = read_firm(written(tmp_path, 'currency = "EUR"\nlabour_hour = 52\n'))
    assert (firm.currency, firm.labour_hour) == ("EUR", 52)
    assert firm.but(labour_hour=ASSUMED.labour_hour) == read_firm(
        written(tmp_path, 'currency = "EUR"', "utf-8-sig")
    )
    assert read_firm("") == ASSUMED


def test_prices_of_materials_bear_the_names_of_the_catalog(tmp_path):
    lines = [f"{name.replace(' ', '_')} = {n + 0.5}" for n, name in enumerate(MATERIALS)]
    firm = read_firm(written(tmp_path, "\n".join(["[unit_prices]", *lines])))
    assert firm.unit_prices == {name: n + 0.5 for n, name in enumerate(MATERIALS)}


def test_every_report_can_name_its_reader(tmp_path):
    lines = [f'{name} = "them"' for name in NOTEBOOKS]
    firm = read_firm(written(tmp_path, "\n".join(["[readers]", *lines])))
    assert firm.readers == dict.fromkeys(NOTEBOOKS, "them")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("# note\nroll_pric = 150", "firm.toml, line 2, roll_pric: no such key; roll_price is"),
        ("zzzz = 1", "zzzz: no such key; known are name, currency, roll_price"),
        ("[unit_prices]\njoint_tapes = 1", r"line 2, joint_tapes: no such key in .unit_prices.; j"),
        ("[readers]\n\nroll_price = 150", "line 3, roll_price: it stands below .*above the first"),
        ("readers = 3", r"line 1, readers: it is a table; write \[readers\]"),
        ('roll_price = "150"', 'line 1, roll_price: "150" is no number; .* without quotation'),
        ("labour_hour = true", "labour_hour: .* is no number"),
        ("labour_hour = -1", "labour_hour: -1 will not do; give a number from 0"),
        ("roll_price = 0", "roll_price: 0 will not do; give a number above 0"),
        ("labour_hour = nan", "labour_hour: nan will not do"),
        ("spoilt_percent = 101", "spoilt_percent: 101 will not do; .* from 0 to 100"),
        ("name = 7", "line 1, name: 7 is no text; .* in quotation marks"),
        ('currency = "a long word"', 'currency: "a long word" will not do; .* 8 signs'),
        ('name = "two\\nlines"', "name: .* will not do"),
        ("[unit_prices]\nsealant = -1", "line 2, sealant: -1 will not do"),
        ("[readers]\nevidence = 1", "line 2, evidence: 1 is no text"),
        ("roll_price = 150,00", r"firm.toml: .*line 1.*; write one `key = value` a line"),
        ("delivery = 90", "line 1, delivery: idle_fitters, idle_hours and margin_hour must be"),
        ("short_cost = 200\ndelivery = 90", "line 2, delivery: short_cost is given too; leave out"),
    ],
)  # fmt: skip
def test_what_will_not_do_is_named_by_line_with_a_remedy(tmp_path, text, said):
    with pytest.raises(AirstatsError, match=said):
        read_firm(written(tmp_path, text))


def test_parts_of_nothing_and_parts_without_a_price_are_refused(tmp_path):
    names = ("bring_back", "shelf_months", "shelf_percent", "spoilt_percent")
    with pytest.raises(AirstatsError) as caught:
        read_firm(written(tmp_path, "\n".join(f"{name} = 0" for name in names)))
    assert "all parts of leftover_cost are 0" in str(caught.value)
    assert "roll_price must be given too" in str(caught.value)


def test_every_fault_is_told_at_once(tmp_path):
    with pytest.raises(AirstatsError) as caught:
        read_firm(written(tmp_path, "roll_pric = 1\nlabour_hour = -1\n[reader]\nevidence = 1"))
    assert [line.split(",")[1] for line in str(caught.value).splitlines()] == [
        " line 1", " line 2", " line 3",
    ]  # fmt: skip


def test_no_file_no_text_and_a_huge_one_are_refused(tmp_path):
    with pytest.raises(AirstatsError, match=r"absent\.toml: there is no such file\."):
        read_firm(tmp_path / "absent.toml")
    with pytest.raises(AirstatsError, match="there is no such file"):
        read_firm(tmp_path)
    with pytest.raises(AirstatsError, match="no text in UTF-8"):
        read_firm(written(tmp_path, 'name = "ä"', "latin-1"))
    with pytest.raises(AirstatsError, match="too large"):
        read_firm(written(tmp_path, "#" * 1_000_001))


def test_an_empty_one_says_every_key_and_sets_none(tmp_path):
    text = blank_firm()
    assert read_firm(written(tmp_path, text)) == ASSUMED
    assert all(f"# {name} =" in text or f"# [{name}]" in text for name in FIELDS)
    filled = [line[2:] for line in text.splitlines()[1:] if not line.rstrip().endswith("=")]
    told = tomllib.loads("\n".join(line for line in filled if "=  " not in line))
    assert {name: told[name] for name in ("labour_hour", "name")} == {"labour_hour": 45, "name": ""}


def test_the_demo_says_that_it_is_invented():
    assert "invented" in read_firm(DEMO).name
