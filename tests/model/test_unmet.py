from dataclasses import replace

import pytest

from airstats.model.quarterly_update import calibrate
from airstats.model.unmet import not_counted, unmet
from airstats.reports import shared_text
from airstats.reports.desk import lay_out
from airstats.reports.price_text import takeoff_words
from tests.invented import invent

NOTED = ("jobs.csv: columns not read: hue.",)


@pytest.fixture(scope="module")
def records():
    return invent(jobs=16)


@pytest.fixture(scope="module")
def known(records):
    return calibrate(records, quarter="2025Q2", previous=calibrate(records, quarter="2025Q2"))


def strangers(records):
    """Jobs to price: two of crews never met, one of none, one counted before in other capitals."""
    crews, ids = ["Elm", "elder", "", "ALDER", "Elm"], ["x1", "x2", "x3", "x4", "j001"]
    return replace(records, jobs=records.jobs.head(5).assign(crew=crews, job_id=ids))


def test_crews_never_met_and_jobs_counted_already_are_named(records, known):
    source = records.source
    assert unmet(strangers(records), known) == (
        f"{source}: crews that the allowances never met, priced as a middling crew: Elm (x1, j001),"
        " elder (x2).",
        f"{source}: jobs that the allowances counted as finished, priced once more: j001.",
    )
    assert unmet(replace(records, jobs=records.jobs.iloc[12:]), known) == ()


def test_jobs_outside_the_quarters_of_the_allowances_are_counted(records, known):
    middle = replace(records, jobs=records.jobs[records.jobs["quarter"].eq("2025Q2")])
    now = replace(known, first_quarter="2025Q2")
    assert not_counted(records, now) == (
        f"{records.source}: 4 jobs finished before 2025Q2, where the allowances begin: not used.",
        f"{records.source}: 8 jobs finished after 2025Q2: not used.",
    )
    assert not_counted(middle, now) == ()


def test_the_pages_say_what_is_to_be_noted_of_the_data(records):
    desk = lay_out(replace(records, notes=NOTED))
    note = f"\n\nNote: {records.source}: {NOTED[0]}"
    assert shared_text.data_words(desk).text.endswith(note)
    assert takeoff_words(desk).text.endswith(note)
    priced = takeoff_words(replace(desk, to_price=strangers(desk.records))).text
    assert priced.count(note) == 2
    assert "\n\nNote: " + unmet(strangers(records), desk.now)[0] in priced
