import numpy as np
import pytest

from tests import external_checks
from tests.external_checks import KINDS, PAGE, all_checks, listed
from tests.for_each import for_each


def test_the_page_lists_every_check():
    assert list(listed()) == list(all_checks())
    text = PAGE.read_text(encoding="utf-8")
    assert all(kind in text for kind in KINDS)
    assert {check.kind for check in all_checks().values()} == set(KINDS)


@for_each(all_checks())
def test_a_test_holds_each_value(name):
    source = (external_checks.ROOT / "tests" / all_checks()[name].test).read_text(encoding="utf-8")
    # Names of a family are put together in the test: bare.{cut}.
    assert f'agree("{name}"' in source or f'f"{name.split(".")[0]}.{{' in source


@for_each(name for name, check in all_checks().items() if check.published)
def test_no_value_passes_more_than_one_per_cent_off(name):
    check = all_checks()[name]
    values = np.array(check.published)
    # Practice states a range, not a number.
    widest = 0.15 if check.kind.startswith("common practice") else 0.01
    assert (check.reach(values) <= widest * np.abs(values)).all()


def test_a_wrong_value_and_a_page_out_of_date_are_told(monkeypatch):
    with pytest.raises(AssertionError, match=r"felt\.roll: .* is not"):
        external_checks.agree("felt.roll", 431.9)
    with pytest.raises(AssertionError, match="2 values for 1"):
        external_checks.agree("felt.roll", [432.0, 432.0])
    monkeypatch.setattr(external_checks, "listed", lambda: {"felt.roll": ["430"]})
    with pytest.raises(AssertionError, match=r"README\.md says \[430"):
        external_checks.agree("felt.roll", 432.0)


def test_a_row_reads_back_as_it_was_written(monkeypatch, tmp_path):
    ours = np.array([1.5, 49.9999999])
    monkeypatch.setattr(external_checks, "all_checks", lambda: {"roll": all_checks()["felt.roll"]})
    monkeypatch.setattr(external_checks, "FOUND", {"roll": (ours, np.array([1.5, 50.0]))})
    monkeypatch.setattr(external_checks, "PAGE", tmp_path / "page.md")
    external_checks.PAGE.write_text(external_checks.page(), encoding="utf-8")
    assert external_checks.listed() == {"roll": ["1.5", "49.9999999"]}
