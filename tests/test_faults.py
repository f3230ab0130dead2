"""Runs that are cut off, disks that are full, two runs at once: nothing lost, nothing half."""

import errno
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import nbformat
import pytest

from airstats.__main__ import main
from airstats.allowances import load_allowances
from airstats.errors import AirstatsError
from airstats.files import held, write_whole
from airstats.staging import MAKING, UNFINISHED, made_together
from airstats.workbook import run_quarter_notebooks
from tests.benchmark.kills import changes, command, due_at, kill_when, left_over, write_source
from tests.test_workbook import write_notebook

FIRST, SECOND = "2025Q1", "2025Q2"
KILLS = 8


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    return write_source(tmp_path_factory.mktemp("firm") / "records")


@pytest.fixture
def old(source, tmp_path):
    """An allowances file of an earlier run, and its bytes."""
    file = tmp_path / "files" / "a.json"
    assert calibrate(source, FIRST, file) == 0
    return file, file.read_bytes()


def calibrate(source, quarter, file):
    return main(["calibrate", str(source), "--quarter", quarter, "--out", str(file)])


def in_a_process(code):
    """Run some lines in a process of their own."""
    call = [sys.executable, "-c", textwrap.dedent(code)]
    return subprocess.run(call, capture_output=True, text=True, check=False)


def test_a_killed_calibration_leaves_the_old_file_or_the_new_one(source, tmp_path):
    files = {quarter: tmp_path / f"{quarter}.json" for quarter in (FIRST, SECOND)}
    for quarter, file in files.items():
        assert calibrate(source, quarter, file) == 0
    whole = {file.read_bytes() for file in files.values()}
    out = tmp_path / "files" / "a.json"
    assert calibrate(source, FIRST, out) == 0
    chance, killed = random.Random(7), 0
    for turn in range(KILLS):
        call = command("calibrate", source, SECOND if turn % 4 < 2 else FIRST, out)
        killed += kill_when(call, due_at(turn, 1.5, changes(out.parent, ".*"), chance))
        assert out.read_bytes() in whole
        load_allowances(out)
    assert killed >= KILLS / 2
    assert calibrate(source, SECOND, out) == 0
    assert out.read_bytes() == files[SECOND].read_bytes()
    assert not left_over(out.parent)


@pytest.mark.parametrize("moment", ["fsync", "chmod", "replace"])
def test_killed_while_writing(tmp_path, moment):
    file = tmp_path / "a.json"
    write_whole(file, "old")
    run = in_a_process(f"""
        import os, signal
        from pathlib import Path
        from airstats.files import write_whole
        os.{moment} = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
        write_whole(Path({str(file)!r}), "new" * 1000)
    """)
    assert run.returncode == -signal.SIGKILL
    assert file.read_text() == "old"
    assert len(left_over(tmp_path)) == 1
    write_whole(file, "newer")
    assert file.read_text() == "newer"
    assert not left_over(tmp_path)


def test_what_another_run_is_writing_now_is_left_alone(tmp_path):
    part = tmp_path / ".a.json.x1.part"
    part.write_text("half")
    with held(part):
        write_whole(tmp_path / "a.json", "mine")
        assert part.read_text() == "half"
    write_whole(tmp_path / "a.json", "mine")
    assert not part.exists()


OURS = ("*.failed.ipynb", "data/*-*.csv")


def make(folder, names, text="old"):
    with made_together(folder, OURS, "allowances.json", "*.failed.ipynb") as making:
        for name in names:
            (making / name).parent.mkdir(exist_ok=True)
            (making / name).write_text(text)


@pytest.mark.parametrize("moves", range(3))
def test_killed_between_two_moves_a_note_says_that_files_do_not_belong_together(tmp_path, moves):
    folder, names = tmp_path / "r", ["a.html", "allowances.json", "b.html"]
    make(folder, names)
    run = in_a_process(f"""
        import os, signal
        from pathlib import Path
        from airstats.staging import made_together
        moved, replace = [], os.replace
        def count(source, target):
            if "making" in str(source):
                if len(moved) == {moves}:
                    os.kill(os.getpid(), signal.SIGKILL)
                moved.append(target)
            replace(source, target)
        os.replace = count
        with made_together(Path({str(folder)!r}), (), "allowances.json") as making:
            for name in {names!r}:
                (making / name).write_text("new")
    """)
    assert run.returncode == -signal.SIGKILL
    assert [(folder / name).read_text() for name in names].count("new") == moves
    assert (folder / "allowances.json").read_text() == "old"
    assert "do not belong together" in (folder / UNFINISHED).read_text()
    make(folder, names, "newer")
    assert {path.name for path in folder.iterdir()} == set(names)
    assert {(folder / name).read_text() for name in names} == {"newer"}


def test_nothing_changes_in_the_folder_until_all_is_made(tmp_path):
    make(tmp_path / "r", ["a.html", "allowances.json"])
    with pytest.raises(TypeError, match="data must be str"):
        make(tmp_path / "r", ["a.html"], 3)
    assert (tmp_path / "r" / "a.html").read_text() == "old"
    assert {path.name for path in (tmp_path / "r").iterdir()} == {"a.html", "allowances.json"}


def test_what_only_an_earlier_run_made_goes_and_a_persons_own_files_stay(tmp_path):
    folder = tmp_path / "r"
    make(folder, ["a.html", "x.failed.ipynb", "data/a-dots.csv", "allowances.json"])
    (folder / "letter.txt").write_text("own")
    (folder / "data" / "own.csv").write_text("own")
    make(folder, ["a.html", "data/a-bars.csv", "allowances.json"])
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert names == {
        "a.html", "data/a-bars.csv", "data/own.csv", "allowances.json", "letter.txt"
    }  # fmt: skip


def test_a_first_run_that_fails_leaves_no_empty_folder(tmp_path):
    with pytest.raises(AirstatsError, match="no"), made_together(tmp_path / "r", OURS, "a"):
        raise AirstatsError("no")
    assert not (tmp_path / "r").exists()


def quick_reports(text, fails=False):
    """Stand in for the notebooks, which take half a minute."""

    def run(records, quarter, out_dir, **options):
        page = Path(out_dir) / "evidence.html"
        page.write_text(text)
        (Path(out_dir) / "data").mkdir()
        (Path(out_dir) / "data" / f"evidence-{text}.csv").write_text("x\n")
        if fails:
            (Path(out_dir) / "evidence.failed.ipynb").write_text("{}")
            raise AirstatsError("evidence, cell 3: ValueError: no")
        return [page]

    return run


def quarter_run(source, quarter, out):
    return main(["quarter", str(source), "--quarter", quarter, "--out", str(out)])


def everything(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def reports(source, tmp_path, monkeypatch):
    """The folder of a whole run of the first quarter."""
    monkeypatch.setattr("airstats.workbook.run_quarter", quick_reports("first"))
    assert quarter_run(source, FIRST, tmp_path / "out") == 0
    return tmp_path / "out"


def test_a_failed_quarter_leaves_the_earlier_results_and_its_half_run_copy(
    source, reports, monkeypatch, capsys
):
    before = everything(reports)
    monkeypatch.setattr("airstats.workbook.run_quarter", quick_reports("second", fails=True))
    assert quarter_run(source, SECOND, reports) == 1
    assert "evidence, cell 3" in capsys.readouterr().err
    after = everything(reports)
    assert after.pop(Path("evidence.failed.ipynb")) == b"{}"
    assert after == before


def test_the_next_quarter_takes_the_place_of_the_failed_one(source, reports, monkeypatch, capsys):
    (reports / "evidence.failed.ipynb").write_text("{}")
    (reports / "orders.csv").write_text("of an earlier run\n")
    monkeypatch.setattr("airstats.workbook.run_quarter", quick_reports("second"))
    assert quarter_run(source, SECOND, reports) == 0
    names = {path.as_posix() for path in everything(reports)}
    assert names == {
        "allowances.json", "allowance_card.html", "price_sheet.xlsx", "evidence.html",
        "data/evidence-second.csv",
    }  # fmt: skip
    assert load_allowances(reports / "allowances.json").quarter == SECOND
    shown = re.findall("written: (.*)", capsys.readouterr().out)
    assert all(Path(path).is_file() for path in shown)


def test_two_runs_at_once_in_one_folder(source, reports, capsys):
    before = everything(reports)
    with held(reports):
        assert quarter_run(source, SECOND, reports) == 1
    assert "another run of airstats is writing there" in capsys.readouterr().err
    assert everything(reports) == before
    assert quarter_run(source, SECOND, reports) == 0


def test_two_calibrations_at_once_into_one_file(source, tmp_path):
    out = tmp_path / "a.json"
    calls = [command("calibrate", source, quarter, out) for quarter in (FIRST, SECOND)]
    runs = [subprocess.Popen(call, stdout=subprocess.DEVNULL) for call in calls]
    assert [run.wait() for run in runs] == [0, 0]
    assert load_allowances(out).quarter in (FIRST, SECOND)
    assert not left_over(tmp_path)


def test_a_clock_that_goes_backwards(source, reports, monkeypatch):
    """Leftovers and results from the future neither hinder a run nor outlive it."""
    tomorrow = 4e9
    (reports / MAKING / "data").mkdir(parents=True)
    (reports / MAKING / "evidence.html").write_text("half")
    for path in [*reports.rglob("*"), reports]:
        os.utime(path, (tomorrow, tomorrow))
    monkeypatch.setattr("airstats.workbook.run_quarter", quick_reports("second"))
    assert quarter_run(source, SECOND, reports) == 0
    assert (reports / "evidence.html").read_text() == "second"
    assert load_allowances(reports / "allowances.json").quarter == SECOND
    assert not left_over(reports)


def test_a_full_disk_keeps_the_old_file_and_says_so(source, old, monkeypatch, capsys):
    def full(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert calibrate(source, SECOND, old[0]) == 1
    assert capsys.readouterr().err == (
        f"{old[0]}: cannot be read or written (No space left on device).\n"
    )
    assert old[0].read_bytes() == old[1]
    assert not left_over(old[0].parent)
    monkeypatch.undo()
    assert calibrate(source, SECOND, old[0]) == 0


def test_a_file_that_may_not_grow(source, old):
    """The system's own limit on the size of a file: the write fails half-way for real."""

    def small():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    call = command("calibrate", source, SECOND, old[0])
    run = subprocess.run(call, preexec_fn=small, capture_output=True, text=True, check=False)
    assert run.returncode == 1
    assert run.stderr == f"{old[0]}: cannot be read or written (File too large).\n"
    assert old[0].read_bytes() == old[1]
    assert not left_over(old[0].parent)


@pytest.fixture
def tiny_disk(tmp_path):
    """A disk of 600 kB: it holds one quarter's allowances, and no second beside them."""
    place = tmp_path / "disk"
    place.mkdir()
    call = ["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", str(place)]
    if shutil.which("mount") is None or subprocess.run(call, capture_output=True).returncode:
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_is_really_full(source, tiny_disk, capsys):
    file = tiny_disk / "a.json"
    assert calibrate(source, FIRST, file) == 0
    old = file.read_bytes()
    (tiny_disk / "ballast").write_bytes(bytes(shutil.disk_usage(tiny_disk).free // 2))
    assert len(old) > shutil.disk_usage(tiny_disk).free
    assert calibrate(source, SECOND, file) == 1
    assert "No space left on device" in capsys.readouterr().err
    assert file.read_bytes() == old
    assert {path.name for path in tiny_disk.iterdir()} == {"a.json", "ballast"}


def test_a_quarter_on_a_full_disk_changes_nothing(source, tiny_disk, monkeypatch, capsys):
    monkeypatch.setattr("airstats.workbook.run_quarter", quick_reports("first"))
    out = tiny_disk / "out"
    out.mkdir()
    (out / "evidence.html").write_text("old")
    (tiny_disk / "ballast").write_bytes(bytes(shutil.disk_usage(tiny_disk).free - 50_000))
    assert quarter_run(source, FIRST, out) == 1
    assert "No space left on device" in capsys.readouterr().err
    assert {path.name: path.read_text() for path in out.iterdir()} == {"evidence.html": "old"}


def test_a_folder_that_may_not_be_written_to(source):
    """The superuser may write anywhere, so the run goes on as nobody, in an open place."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        place.chmod(0o755)
        shutil.copytree(source, place / "records")
        file = place / "files" / "a.json"
        call = ["calibrate", str(place / "records"), "--quarter"]
        assert main([*call, FIRST, "--out", str(file)]) == 0
        old = file.read_bytes()
        file.parent.chmod(0o555)
        run = in_a_process(f"""
            import os, sys
            from airstats.__main__ import main
            main([*{call!r}, {FIRST!r}, "--out", {str(place / "other.json")!r}])
            if os.getuid() == 0:
                os.setuid(65534)
            sys.exit(main([*{call!r}, {SECOND!r}, "--out", {str(file)!r}]))
        """)
        file.parent.chmod(0o755)
        assert run.returncode == 1
        assert run.stderr == f"{file}: cannot be read or written (Permission denied).\n"
        assert file.read_bytes() == old
        assert not left_over(file.parent)


def test_a_kernel_that_dies_leaves_no_page(tmp_path):
    write_notebook(tmp_path, "dies", "import os, signal; os.kill(os.getpid(), signal.SIGKILL)")
    with (
        pytest.raises(AirstatsError, match=r"dies, kernel: DeadKernelError: Kernel died"),
        made_together(tmp_path / "out", OURS, "a", "*.failed.ipynb") as making,
    ):
        run_quarter_notebooks({"dies": {}}, making, progress=False, notebooks=tmp_path)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["dies.failed.ipynb"]
    nbformat.read(tmp_path / "out" / "dies.failed.ipynb", as_version=4)
