"""An allowances file followed back through its chain: what is whole, and where it breaks."""

import json
import shutil

import pytest

from airstats.__main__ import main
from airstats.chain import calibrate
from airstats.chain_check import check_chain
from airstats.decisions import decide
from airstats.errors import AllowancesError
from airstats.files import own_digest, sha256, write_whole
from airstats.quarterly import calibrate as calibrate_all
from airstats.staging import UNFINISHED
from tests.invented import invent
from tests.material_firm import firm

RECORDS = invent(jobs=24)
QUARTERS = ("2025Q1", "2025Q2", "2025Q3", "2025Q4")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Four quarters, a folder each, as `airstats quarter` leaves them."""
    folder = tmp_path_factory.mktemp("reports")
    previous = None
    for quarter in QUARTERS:
        file = folder / quarter / "allowances.json"
        calibrate(RECORDS, previous, quarter).save(file)
        previous = file
    return folder


@pytest.fixture
def reports(made, tmp_path):
    return shutil.copytree(made, tmp_path / "reports")


def last(reports):
    return reports / QUARTERS[-1] / "allowances.json"


def edit(file, forged=True, **changes):
    """Change a file by hand, and forge its digest or not."""
    content = json.loads(file.read_text(encoding="utf-8")) | changes
    if forged:
        content["digest"] = own_digest(content)
    file.write_text(json.dumps(content, ensure_ascii=False, indent=1), encoding="utf-8")


def rename_previous(file, before):
    """Make a file name another as the one it was made from."""
    edit(file, previous=sha256(before.read_bytes()))


def test_a_whole_chain_is_said_to_be_whole(reports, capsys):
    assert main(["check", str(last(reports))]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    assert [line.split(": ")[1] for line in lines[:4]] == [
        f"{quarter}, 6 jobs new, {6 * n} counted" for n, quarter in enumerate(QUARTERS, 1)
    ]
    assert lines[4] == "The chain is whole: 4 files, 24 jobs, none counted twice."
    assert lines[5].startswith("note: no later file vouches for")


def test_files_in_one_folder_under_any_name(reports, tmp_path):
    for number, quarter in enumerate(QUARTERS):
        shutil.move(reports / quarter / "allowances.json", tmp_path / f"old {number}.json")
    (tmp_path / "notes.json").write_text("{}")
    found = check_chain(tmp_path / "old 3.json")
    assert (len(found.links), found.faults) == (4, ())


def test_the_first_file_is_a_chain_by_itself(reports):
    found = check_chain(reports / QUARTERS[0] / "allowances.json")
    assert found.lines()[-1] == "The chain is whole: one file, 6 jobs, none counted twice."


def test_a_path_from_within_the_folder(reports, monkeypatch):
    monkeypatch.chdir(last(reports).parent)
    assert len(check_chain("allowances.json").links) == 4


def test_a_kept_quarter_belongs_to_the_chain(reports):
    before = calibrate(RECORDS, reports / QUARTERS[2] / "allowances.json", QUARTERS[2])
    proposed = calibrate(RECORDS, reports / QUARTERS[2] / "allowances.json", QUARTERS[3])
    decide(before, proposed, "keep", "looks odd", "AB").save(last(reports))
    found = check_chain(last(reports))
    assert (len(found.links), found.faults) == (4, ())


def test_a_quarter_that_skipped_some(reports):
    """One run that catches up: its new jobs are those of its last quarter."""
    first = reports / QUARTERS[0] / "allowances.json"
    calibrate(RECORDS, first).save(last(reports))
    assert not check_chain(last(reports)).faults


def test_a_missing_file_is_told(reports, capsys):
    (reports / QUARTERS[1] / "allowances.json").unlink()
    assert main(["check", str(last(reports))]) == 1
    err = capsys.readouterr().err
    third = reports / QUARTERS[2] / "allowances.json"
    missing = json.loads(third.read_text())["previous"][:19]
    assert f"{third}: the file it was made from is not here ({missing}…): missing" in err
    assert "Put it beside" in err


@pytest.mark.parametrize("changes", [{"suspects": {"J001": 0.9}}, {"decision": {"by": "XY"}}])
def test_an_edited_file_is_named_and_the_rest_followed(reports, changes):
    edit(reports / QUARTERS[1] / "allowances.json", **changes)
    found = check_chain(last(reports))
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

    content = json.loads(last(reports).read_text())
    edit(last(reports), forged=False, **{part: shift(content[part])})
    found = check_chain(last(reports))
    assert f"{last(reports)}: edited by hand: what it holds is not" in found.faults[0]
    assert len(found.links) == 4


def test_a_job_counted_again_in_a_later_file(reports):
    """The same jobs calibrated again on top of the file that counted them, by trickery."""
    third = reports / QUARTERS[2] / "allowances.json"
    before = json.loads(third.read_text())
    content = json.loads(last(reports).read_text())
    again = before["new_jobs"][:1]
    ids = content["job_ids"] + again
    edit(last(reports), job_ids=ids, jobs_used=len(ids), new_jobs=content["new_jobs"] + again)
    faults = "\n".join(check_chain(last(reports)).faults)
    assert f"counted twice: {again[0]}." in faults
    assert f"counts again what {third} counted" in faults


def test_a_job_struck_off_could_be_counted_again(reports):
    content = json.loads(last(reports).read_text())
    ids = content["job_ids"][1:]
    edit(last(reports), job_ids=ids, jobs_used=len(ids))
    (fault,) = check_chain(last(reports)).faults
    assert "no longer holds jobs that" in fault
    assert content["job_ids"][0] in fault


def test_a_file_made_from_a_later_one(reports):
    first, second = (reports / quarter / "allowances.json" for quarter in QUARTERS[:2])
    edit(second, previous="")
    rename_previous(first, second)
    faults = "\n".join(check_chain(first).faults)
    assert "is of 2025Q1, but was made from a file of 2025Q2" in faults


def test_two_files_that_name_each_other_end_somewhere(reports):
    first, second = (reports / quarter / "allowances.json" for quarter in QUARTERS[:2])
    rename_previous(first, second)
    found = check_chain(second)
    assert found.faults
    assert len(found.links) <= 4


def test_a_material_counted_twice(tmp_path):
    records = firm(joint_tape=0.1)
    files = [tmp_path / f"{quarter}.json" for quarter in QUARTERS[:2]]
    calibrate_all(records, None, QUARTERS[0]).save(files[0])
    calibrate_all(records, files[0], QUARTERS[1]).save(files[1])
    assert not check_chain(files[1]).faults
    old, new = (json.loads(file.read_text())["material_chains"] for file in files)
    new["joint tape"]["new_jobs"] += old["joint tape"]["new_jobs"][:1]
    edit(files[1], material_chains=new)
    assert "joint tape: counts again what" in "\n".join(check_chain(files[1]).faults)


@pytest.mark.parametrize("key", ["new_jobs", "quarter", "job_ids", "previous"])
@pytest.mark.parametrize("value", [5, None, {}, "x"])
def test_nonsense_in_a_file_is_told_in_words(reports, key, value, capsys):
    third = reports / QUARTERS[2] / "allowances.json"
    edit(third, **{key: value})
    rename_previous(last(reports), third)
    assert main(["check", str(last(reports))]) == 1
    assert str(third) in capsys.readouterr().err


def test_a_note_of_a_cut_off_run_is_passed_on(reports):
    write_whole(reports / QUARTERS[1] / UNFINISHED, "note")
    assert "a run was cut off here" in "\n".join(check_chain(last(reports)).notes)


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


def test_check_of_records_still_works(tmp_path, capsys):
    assert main(["check", str(tmp_path / "none")]) == 1
    assert "There is no file or folder" in capsys.readouterr().err
