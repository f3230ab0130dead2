import shlex
from datetime import date
from types import SimpleNamespace

import pytest

from airstats.__main__ import _parser
from airstats.base.errors import AirstatsError
from airstats.base.firm import Firm
from airstats.documents.provenance import about_line, command_of, day_of_run, made_from


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The firm's folder, where the command is run, with records of one job."""
    firm = tmp_path / "firm's own"
    (firm / "past jobs").mkdir(parents=True)
    (firm / "past jobs" / "jobs.csv").write_text("job_id,surface_m2\nA,100\n", encoding="utf-8")
    monkeypatch.chdir(firm)
    return firm


def asked_by(command):
    program, *arguments = shlex.split(command)
    assert program == "airstats"
    return _parser().parse_args(arguments)


def parameters(folder, **more):
    common = {"records": str(folder / "past jobs"), "quarter": "2026Q3", "previous": ""}
    return common | {"dates": "ask", "set_aside_bad_rows": False, "codes": False} | more


def test_the_command_works_where_it_was_run_with_flags_and_the_decision(folder):
    costs = {"takeoff": str(folder / "next" / "jobs.xlsx"), "leftover_cost": 61.123456}
    asked = asked_by(command_of([parameters(folder), costs], folder / "out"))
    assert (asked.records, asked.takeoff, asked.out) == ("past jobs", "next/jobs.xlsx", "out")
    assert (asked.quarter, asked.previous, asked.dates) == ("2026Q3", "", "ask")
    assert (asked.leftover_cost, asked.short_cost) == (61.123456, 0.0)
    assert (asked.set_aside_bad_rows, asked.codes) == (False, False)
    more = {"set_aside_bad_rows": True, "dates": "day-first"}
    decision = {"decision": "keep", "decision_reason": "a new crew's start", "decided_by": "AB"}
    asked = asked_by(command_of([parameters(folder, **more), decision], folder / "out"))
    assert asked.set_aside_bad_rows
    assert asked.dates == "day-first"
    assert (asked.decision, asked.decided_by) == ("keep", "AB")
    assert asked.decision_reason == "a new crew's start"


def test_a_report_says_whose_it_is_who_gets_it_and_at_which_costs(folder):
    told = Firm(name="Firm <Fir>", readers={"evidence": "the owner"}, short_cost=300)
    desk = SimpleNamespace(firm=told, records=None, to_price=None)
    given = parameters(folder, leftover_cost=0.0, short_cost=0.0)
    made = made_from("evidence", given, desk)
    assert (made["firm's name"], made["for"]) == ("Firm <Fir>", "the owner")
    assert (made["leftover_cost"], made["short_cost"]) == ("60", "300")
    made = made_from("price_jobs", given | {"leftover_cost": 75.0}, desk)
    assert "for" not in made
    assert made["leftover_cost"] == "75"
    assert "firm's name" not in made_from("evidence", given, replace_firm(desk))


def replace_firm(desk):
    return SimpleNamespace(**{**vars(desk), "firm": desk.firm.without_names()})


def test_folders_elsewhere_are_private(folder):
    given = parameters(folder, previous=str(folder.parent / "old" / "2026Q2.json"))
    command = command_of([given], folder.parent / "out")
    assert str(folder.parent) not in command
    asked = asked_by(command)
    assert (asked.previous, asked.out) == ("FOLDER/2026Q2.json", "FOLDER/out")


def test_with_codes_the_command_names_nothing(folder):
    given = parameters(folder, codes=True, decision="keep", decision_reason="Anna was ill")
    command = command_of([given], folder / "out of Anna")
    assert "Anna" not in command
    assert "past" not in command
    assert asked_by(command).codes


def test_the_takeoff_beside_the_records_is_named(folder):
    (folder / "past jobs_takeoff").mkdir()
    command = command_of([parameters(folder, takeoff="beside")], folder / "out")
    assert asked_by(command).takeoff == "past jobs_takeoff"


def test_what_went_in_holds_names_digests_and_versions_but_no_folder(folder):
    made = made_from("evidence", parameters(folder))
    assert made["records"] == "past jobs"
    assert made["previous"] == "(none)"
    assert made["records' digest"].startswith("sha256:")
    assert "typst" in made["versions"]
    assert str(folder.parent) not in str(made)


def test_a_page_says_whose_it_is_of_which_quarter_and_day(monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1795651200")
    assert day_of_run() == date(2026, 11, 26)
    desk = SimpleNamespace(firm=Firm(name="Fir & Co"), quarter="2026Q3")
    assert about_line(desk, day_of_run()) == "Fir & Co · 2026Q3 · 26 November 2026"
    coded = SimpleNamespace(firm=desk.firm.without_names(), quarter="2026Q3")
    assert about_line(coded, day_of_run()) == "2026Q3 · 26 November 2026"
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    assert day_of_run() == date.today()


@pytest.mark.parametrize("given", ["today", "1e9", "9" * 30])
def test_a_day_that_is_none_is_refused(monkeypatch, given):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", given)
    with pytest.raises(AirstatsError, match=f"SOURCE_DATE_EPOCH={given} is no day"):
        day_of_run()
