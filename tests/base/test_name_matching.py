"""Spellings of one name are one name: within a source, and from one file to the next."""

import unicodedata
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airstats import calibrate, check_records, price, read_records
from airstats.base.name_matching import name_key, places_of
from airstats.reports.pseudonyms import coded_sources
from tests.invented import firm, save

COMPOSED, DECOMPOSED = "Café Süd", unicodedata.normalize("NFD", "Café Süd")
SPELLINGS = [COMPOSED, DECOMPOSED, COMPOSED.upper(), f" {DECOMPOSED.lower()}\u00a0",
             f"{COMPOSED}\u200f", "Ca\u00adfé Süd"]  # fmt: skip


@pytest.mark.parametrize("name", SPELLINGS)
def test_spellings_of_one_name(name):
    assert name_key(name) == name_key(COMPOSED)


@pytest.mark.parametrize(
    ("one", "other"),
    [("A1", "А1"), ("A1", "A2"), ("Cafe Süd", COMPOSED), ("m2", "m²"), ("A 1", "A1"), ("0", "O")],
)
def test_look_alikes_are_other_names(one, other):
    assert name_key(one) != name_key(other)


@settings(max_examples=300, derandomize=True, database=None, deadline=None)
@given(st.text(max_size=12))
def test_a_key_does_not_hang_on_the_normal_form(name):
    keys = {name_key(unicodedata.normalize(form, name)) for form in ("NFC", "NFD")}
    assert keys == {name_key(name)}
    assert name_key(name_key(name)) == name_key(name)


def test_places_of_names():
    names = np.array([DECOMPOSED, "", "north", "West"])
    assert places_of(names, ["North", COMPOSED]).tolist() == [1, -1, 0, -1]
    assert places_of(np.array([], dtype=str), []).tolist() == []


def write(folder, **lines):
    for name, text in lines.items():
        (folder / f"{name}.csv").write_text("\n".join(text), encoding="utf-8")


@pytest.mark.parametrize("other", SPELLINGS)
def test_openings_find_their_job_in_any_spelling_and_a_job_stands_once(tmp_path, other):
    rows = ["job_id,count,width_mm,height_mm,reveal_mm,cut_pattern"]
    rows += [f"{other},1,1200,1400,300,lined"]
    write(tmp_path, jobs=["job_id,surface_m2", f"{COMPOSED},150"], openings=rows)
    assert read_records(tmp_path).openings["job_id"].tolist() == [COMPOSED]
    write(tmp_path, jobs=["job_id,surface_m2", f"{COMPOSED},150", f"{other},160"])
    (fault,) = check_records(tmp_path)
    assert "the same job_id stands in row 2" in str(fault)


def test_a_crew_in_two_spellings_is_one(tmp_path):
    rows = [f"1,150,{COMPOSED}", f"2,160,{DECOMPOSED.upper()}"]
    write(tmp_path, jobs=["job_id,surface_m2,crew", *rows])
    assert read_records(tmp_path).jobs["crew"].tolist() == [COMPOSED, COMPOSED]


@pytest.mark.parametrize("name", ["\u200b", "\u00ad\u200d", "\u2060"])
def test_a_name_of_nothing_that_shows_is_no_name(tmp_path, name):
    write(tmp_path, jobs=["job_id,surface_m2", f"{name},150"])
    (fault,) = check_records(tmp_path)
    assert "holds signs that cannot be seen" in str(fault)


def respelled(records, spell):
    """The same records with other spellings of jobs and crews."""
    jobs = records.jobs.assign(**{n: records.jobs[n].map(spell) for n in ("job_id", "crew")})
    openings = records.openings.assign(job_id=records.openings["job_id"].map(spell))
    return replace(records, jobs=jobs, openings=openings)


@pytest.fixture(scope="module")
def twice(tmp_path_factory):
    """One firm in two spellings."""
    folder = tmp_path_factory.mktemp("twice")
    spells = (
        lambda name: f"{name} é",
        lambda name: unicodedata.normalize("NFD", f"{name} é").lower(),
    )
    return [
        read_records(save(folder / str(place), respelled(firm(jobs=16), spell)))
        for place, spell in enumerate(spells)
    ]


def test_a_job_counted_under_one_spelling_is_not_counted_under_another(twice):
    one, other = twice
    first = calibrate(one)
    again = calibrate(other, first)
    assert (again.new_jobs, again.job_ids) == ((), first.job_ids)


def test_a_crew_met_in_another_spelling_is_no_new_crew(twice):
    one, other = twice
    first = calibrate(one, quarter="2025Q1")
    straight, respelt = (calibrate(records, first, "2025Q2") for records in twice)
    assert respelt.belief.crews == straight.belief.crews == first.belief.crews
    assert respelt.crew_jobs == straight.crew_jobs
    pd.testing.assert_frame_equal(respelt.table(), straight.table(), check_exact=True)
    orders = [price(records, first).drop(columns="job_id") for records in (one, other)]
    pd.testing.assert_frame_equal(*orders, check_exact=True)


def test_codes_are_the_same_for_every_spelling(twice):
    one, other = twice
    first = calibrate(one, quarter="2025Q1")
    coded, previous, _ = coded_sources(other, first)
    assert set(previous.job_ids) <= set(coded.jobs["job_id"])
    assert set(previous.belief.crews) == set(coded.jobs["crew"])
