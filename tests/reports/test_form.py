"""The form: live where a person can type, still where nobody can, and the same numbers in both."""

import sys
from functools import cache

import pytest

from airstats.base.errors import AirstatsError
from airstats.model.quarterly_update import calibrate
from airstats.pricing.newsvendor import price
from airstats.reports.form import FIELDS, LIVE, WIDGET, answer, as_typed, price_form, widget
from airstats.takeoff.typed_job import OneJob, one_job
from tests.invented import invent

START = {name: getattr(OneJob(), name, None) for name in FIELDS} | {
    "leftover_cost": 60.0, "short_cost": 240.0, "cut_pattern": "centre", "crew": "",
}  # fmt: skip


@cache
def learnt():
    """An invented firm's allowances."""
    return calibrate(invent(jobs=24))


@pytest.fixture
def nobody_types(monkeypatch):
    monkeypatch.delenv(LIVE, raising=False)


@pytest.fixture
def boxes(nobody_types):
    shown = widget(price_form(learnt()))
    return {box.description: box for box in shown.children[0].children}, shown.children[1]


def test_the_answer_is_that_of_price():
    job = OneJob(surface_m2=350, cut_pattern="diagonal", crew="Birch")
    row = price(one_job(job), learnt(), 20, 300).iloc[0]
    said = answer(job, learnt(), 20, 300)
    assert said.words.text.startswith(f"**Order {row['order_rolls']} rolls.**")
    assert f"{row['low_m2']:.0f} to {row['high_m2']:.0f} m²" in said.words.text
    assert said.picture.data["probability"].sum() == pytest.approx(1, abs=0.02)


def test_where_nobody_types_the_cell_shows_the_starting_numbers(nobody_types, monkeypatch):
    data, _ = price_form(learnt())._repr_mimebundle_()
    assert set(data) == {"text/plain", "text/markdown"}
    assert "surface of 200 m² with 12 openings of 1200 × 1400 mm" in data["text/markdown"]
    assert "reveals of 350 mm, slit:" in data["text/markdown"]
    assert answer(OneJob(), learnt()).words.text in data["text/markdown"]
    # Without the widgets a report shows the same.
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    assert data == price_form(learnt())._repr_mimebundle_()[0]


def test_where_a_person_types_the_cell_holds_the_live_form_too(monkeypatch):
    monkeypatch.setenv(LIVE, "price_jobs.ipynb")
    data, _ = price_form(learnt())._repr_mimebundle_()
    assert set(data) == {"text/plain", "text/markdown", WIDGET}
    assert data[WIDGET]["model_id"]


def test_the_answer_moves_with_what_is_typed_within_units_and_limits(boxes):
    typed, result = boxes
    before = result.value
    typed["Surface, m²"].value = 900.0
    row = price(one_job(OneJob(surface_m2=900.0)), learnt()).iloc[0]
    assert result.value != before
    assert f"Order {row['order_rolls']} rolls." in result.value
    typed["Crew"].value = "Damson"
    typed["Cut"].value = "lined"
    job = OneJob(surface_m2=900.0, crew="Damson", cut_pattern="lined")
    assert f"Order {price(one_job(job), learnt()).iloc[0]['order_rolls']} rolls." in result.value
    assert 'alt="Chance of each number of rolls' in result.value
    typed, _ = boxes
    assert {label for label, *_ in FIELDS.values()} < set(typed)
    assert all(unit in " ".join(typed) for unit in ("m²", "mm", "count", "money"))
    typed["Reveal, mm"].value = 99_999
    assert typed["Reveal, mm"].value == 1500


def test_what_will_not_do_is_said_in_place_of_an_answer():
    said = as_typed(learnt(), START | {"surface_m2": 10.0, "cut_pattern": "lined"})
    assert 'role="alert"' in said
    assert "larger than the surface (10 m²)" in said
    with pytest.raises(AirstatsError, match="look at the surface, or at count and size"):
        answer(OneJob(surface_m2=10, cut_pattern="lined"), learnt())
