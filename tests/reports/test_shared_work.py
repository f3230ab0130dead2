"""What several readers ask for is worked out once, and what fails costs nothing else."""

from dataclasses import replace

import pytest

from airstats.model.decisions import ACCEPT
from airstats.reports import evidence_text, recording_text, shared_work, update_text
from airstats.reports.desk import after_decision
from airstats.reports.shared_work import worked_out
from tests.invented import desk_of


def fail(*_):
    raise ZeroDivisionError


@pytest.fixture
def short(monkeypatch):
    monkeypatch.setattr(shared_work, "worth", lambda desk: desk.jobs.table)


def test_what_fails_costs_the_run_nothing_else(monkeypatch):
    monkeypatch.setattr(recording_text, "value_of_recording", fail)
    desk = worked_out(desk_of())
    assert desk.recording is None
    assert desk.back_test is not None
    with pytest.raises(ZeroDivisionError):
        recording_text.sentence(desk)


@pytest.mark.parametrize(
    ("where", "name", "part"),
    [(evidence_text, "backtest", "back_test"), (update_text, "drift_watch", "watch")],
)
def test_a_part_that_fails_leaves_the_rest(short, monkeypatch, where, name, part):
    monkeypatch.setattr(where, name, fail)
    desk = worked_out(replace(desk_of()))
    assert getattr(desk, part) is None
    assert desk.recording is not None


def test_other_costs_are_worked_out_anew(short):
    desk = worked_out(desk_of())
    same, other = desk.at(short_cost=0), desk.at(short_cost=500)
    assert same.recording is desk.recording
    assert same.back_test is desk.back_test
    assert other.recording is None
    assert other.back_test is None


def test_the_watch_is_worked_out_once_and_anew_after_a_decision(short, monkeypatch):
    desk = worked_out(desk_of())
    monkeypatch.setattr(update_text, "drift_watch", fail)
    assert update_text.watched(replace(desk)) is desk.watch
    decided = after_decision(desk, ACCEPT)
    with pytest.raises(ZeroDivisionError):
        update_text.watched(decided)
