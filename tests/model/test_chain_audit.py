"""An allowances file followed back through its chain: what is whole, and where it breaks."""

import json
import os
import shutil

import pytest

from airstats.__main__ import main
from airstats.base.atomic_files import own_digest, sha256, write_whole
from airstats.base.errors import AllowancesError
from airstats.base.result_folder import UNFINISHED
from airstats.model.chain_audit import check_chain
from airstats.model.decisions import decide
from airstats.model.quarterly_update import calibrate
from tests.invented import FEW, firm, invent

RECORDS = invent(jobs=24)
QUARTERS = ("2025Q1", "2025Q2", "2025Q3", "2025Q4")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Four quarters, a folder each, as `airstats quarter` leaves them."""
    folder = tmp_path_factory.mktemp("reports")
    previous = None
    for quarter in QUARTERS:
        file = folder / quarter / "allowances.json"
        calibrate(RECORDS, previous, quarter, prior=FEW).save(file)
        previous = file
    return folder


@pytest.fixture
def reports(made, tmp_path):
    return shutil.copytree(made, tmp_path / "reports")


def of(reports, place):
    """The allowances file of a quarter: 0 the first, -1 the last."""
    return reports / QUARTERS[place] / "allowances.json"


def content(file):
    return json.loads(file.read_text(encoding="utf-8"))


def edit(file, forged=True, **changes):
    """Change a file by hand, and forge its digest or not."""
    whole = content(file) | changes
    if forged:
        whole["digest"] = own_digest(whole)
    file.write_text(json.dumps(whole, ensure_ascii=False, indent=1), encoding="utf-8")


def faults(file):
    return "\n".join(check_chain(file).faults)


def rename_previous(file, before):
    """Make a file name another as the one it was made from."""
    edit(file, previous=sha256(before.read_bytes()))


def test_a_whole_chain_is_said_to_be_whole(reports, capsys):
    assert main(["check", str(of(reports, -1))]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    assert [line.split(": ")[1] for line in lines[:4]] == [
        f"{quarter}, 6 jobs new, {6 * n} counted" for n, quarter in enumerate(QUARTERS, 1)
    ]
    assert lines[4] == "The chain is whole: 4 files, 24 jobs, none counted twice."
    assert lines[5].startswith("note: no later file vouches for")


def test_files_in_one_folder_under_any_name(reports, tmp_path):
    for number in range(4):
        shutil.move(of(reports, number), tmp_path / f"old {number}.json")
    (tmp_path / "notes.json").write_text("{}")
    os.mkfifo(tmp_path / "pipe.json")
    found = check_chain(tmp_path / "old 3.json")
    assert (len(found.links), found.faults) == (4, ())


def test_the_first_file_alone_and_a_path_from_within_the_folder(reports, monkeypatch):
    found = check_chain(of(reports, 0))
    assert found.lines()[-1] == "The chain is whole: one file, 6 jobs, none counted twice."
    monkeypatch.chdir(of(reports, -1).parent)
    assert len(check_chain("allowances.json").links) == 4


def test_quarters_kept_or_skipped_belong_to_the_chain(reports):
    before, proposed = (calibrate(RECORDS, of(reports, 2), quarter) for quarter in QUARTERS[2:])
    decide(before, proposed, "keep", "looks odd", "AB").save(of(reports, -1))
    found = check_chain(of(reports, -1))
    assert (len(found.links), found.faults) == (4, ())
    # One run that catches up: its new jobs are those of its last quarter.
    calibrate(RECORDS, of(reports, 0)).save(of(reports, -1))
    assert not faults(of(reports, -1))


def test_a_missing_file_is_told(reports, capsys):
    of(reports, 1).unlink()
    assert main(["check", str(of(reports, -1))]) == 1
    err = capsys.readouterr().err
    missing = content(of(reports, 2))["previous"][:19]
    assert f"{of(reports, 2)}: the file it was made from is not here ({missing}…): missing" in err
    assert "Put it beside" in err


@pytest.mark.parametrize("changes", [{"suspects": {"J001": 0.9}}, {"decision": {"by": "XY"}}])
def test_an_edited_file_is_named_and_the_rest_followed(reports, changes):
    edit(of(reports, 1), **changes)
    found = check_chain(of(reports, -1))
    assert len(found.links) == 4
    assert len(found.faults) == 1
    assert f"{QUARTERS[1]}/allowances.json: not as it was when" in found.faults[0]
    assert "calibrate 2025Q3 again" in found.faults[0]


@pytest.mark.parametrize(
    "part", ["covariance", "spread", "crews", "reuse", "form_weights", "allowances"]
)
def test_a_figure_edited_in_the_last_file_shows(reports, part):
    def shift(value):
        if isinstance(value, dict):
            return {key: shift(item) for key, item in value.items()}
        if isinstance(value, list):
            return [shift(item) for item in value]
        return value + 0.001 if isinstance(value, float) else value

    last = of(reports, -1)
    edit(last, forged=False, **{part: shift(content(last)[part])})
    found = check_chain(last)
    assert f"{last}: edited by hand: what it holds is not" in found.faults[0]
    assert len(found.links) == 4


def test_a_job_counted_again_or_struck_off(reports):
    """The same jobs calibrated again on top of the file that counted them, by trickery."""
    last = content(of(reports, -1))
    again = content(of(reports, 2))["new_jobs"][:1]
    ids = last["job_ids"] + again
    edit(of(reports, -1), job_ids=ids, jobs_used=len(ids), new_jobs=last["new_jobs"] + again)
    assert f"counted twice: {again[0]}." in faults(of(reports, -1))
    assert f"counts again what {of(reports, 2)} counted" in faults(of(reports, -1))
    edit(of(reports, -1), **last | {"job_ids": last["job_ids"][1:], "jobs_used": 23})
    (fault,) = check_chain(of(reports, -1)).faults
    assert "no longer holds jobs that" in fault
    assert last["job_ids"][0] in fault


def test_files_made_from_later_ones_end_somewhere(reports):
    first, second = of(reports, 0), of(reports, 1)
    rename_previous(first, second)
    found = check_chain(second)
    assert found.faults
    assert len(found.links) <= 4
    edit(second, previous="")
    rename_previous(first, second)
    assert "is of 2025Q1, but was made from a file of 2025Q2" in faults(first)


def test_a_material_counted_twice(tmp_path):
    records, files = firm(joint_tape=0.1), [tmp_path / f"{n}.json" for n in (1, 2)]
    for previous, quarter, file in zip((None, files[0]), QUARTERS, files, strict=False):
        calibrate(records, previous, quarter, prior=FEW).save(file)
    assert not faults(files[1])
    old, new = (content(file)["material_chains"] for file in files)
    new["joint tape"]["new_jobs"] += old["joint tape"]["new_jobs"][:1]
    edit(files[1], material_chains=new)
    assert "joint tape: counts again what" in faults(files[1])


@pytest.mark.parametrize("key", ["new_jobs", "quarter", "job_ids", "previous"])
@pytest.mark.parametrize("value", [5, None, {}, "x"])
def test_nonsense_in_a_file_is_told_in_words(reports, key, value, capsys):
    edit(of(reports, 2), **{key: value})
    rename_previous(of(reports, -1), of(reports, 2))
    assert main(["check", str(of(reports, -1))]) == 1
    assert str(of(reports, 2)) in capsys.readouterr().err


def test_a_cut_off_run_is_noted_and_records_are_still_checked(reports, tmp_path, capsys):
    write_whole(of(reports, 1).with_name(UNFINISHED), "note")
    assert "a run was cut off here" in "\n".join(check_chain(of(reports, -1)).notes)
    assert main(["check", str(tmp_path / "none")]) == 1
    assert "There is no file or folder" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "message"),
    [(None, "there is no such file"), ("{", "not a JSON text"), ("{}", 'format is "None"')],
)
def test_what_is_no_allowances_file_is_refused(tmp_path, text, message):
    file = tmp_path / "a.json"
    if text is not None:
        file.write_text(text)
    with pytest.raises(AllowancesError, match=message):
        check_chain(file)
