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
import time
from contextlib import redirect_stdout
from functools import partial
from pathlib import Path

import nbformat
import pytest

from airstats.__main__ import main
from airstats.base.atomic_files import held, write_whole
from airstats.base.errors import AirstatsError
from airstats.base.result_folder import (
    MAKING,
    SET_ASIDE,
    UNFINISHED,
    WRITTEN,
    made_together,
    write_together,
)
from airstats.documents.run_notebooks import run_quarter_notebooks
from airstats.model.allowances import load_allowances
from airstats.records.source import source_digest
from tests.benchmark.kills import (
    changes,
    due_at,
    kill_at,
    left_over,
    quietly,
    words_of,
)
from tests.documents.test_run_notebooks import write_notebook
from tests.forks import Fork
from tests.invented import invent, save, start

FIRST, SECOND, START = "2025Q1", "2025Q2", "start.json"
KILLS = 8
SAMPLE = Path(__file__).parents[2] / "reports" / "2026Q3"


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """Records, and beside them what their chain begins with."""
    folder = tmp_path_factory.mktemp("firm")
    start(folder / START)
    return save(folder / "records", invent(jobs=12, quarters=2))


@pytest.fixture(scope="module")
def first_file(source, tmp_path_factory):
    file = tmp_path_factory.mktemp("first") / "files" / "a.json"
    assert calibrate(source, FIRST, file) == 0
    return file


@pytest.fixture
def old(first_file, tmp_path):
    """An allowances file of an earlier run, and its bytes."""
    folder = shutil.copytree(first_file.parent, tmp_path / "files")
    return folder / first_file.name, first_file.read_bytes()


def calibrating(source, quarter, file):
    """Return the words of a command, which goes on from what lies beside the records."""
    return words_of("calibrate", source, quarter, file, "--previous", source.with_name(START))


def calibrate(source, quarter, file):
    return main(calibrating(source, quarter, file))


def in_a_process(work):
    """Do some work in a copy of this process, and return its status."""
    return Fork(work).wait()


def test_a_killed_calibration_leaves_the_old_file_or_the_new_one(source, tmp_path):
    files = {quarter: tmp_path / f"{quarter}.json" for quarter in (FIRST, SECOND)}
    for quarter, file in files.items():
        assert calibrate(source, quarter, file) == 0
    whole = {file.read_bytes() for file in files.values()}
    out = tmp_path / "files" / "a.json"
    assert calibrate(source, FIRST, out) == 0
    chance, killed = random.Random(7), 0
    begun = time.perf_counter()
    assert in_a_process(lambda: quietly(calibrating(source, FIRST, out))) == 0
    whole_s = time.perf_counter() - begun
    for turn in range(KILLS):
        due = due_at(turn, whole_s, changes(out.parent, ".*"), chance)
        words = calibrating(source, SECOND if turn % 4 < 2 else FIRST, out)
        killed += kill_at(Fork(partial(quietly, words)), due)
        assert out.read_bytes() in whole
        load_allowances(out)
    assert killed >= KILLS / 2
    assert calibrate(source, SECOND, out) == 0
    assert out.read_bytes() == files[SECOND].read_bytes()
    assert not left_over(out.parent)


@pytest.mark.parametrize("moment", ["fsync", "replace"])
def test_killed_while_writing(tmp_path, moment):
    file = tmp_path / "a.json"
    write_whole(file, "old")

    def write():
        setattr(os, moment, lambda *_: os.kill(os.getpid(), signal.SIGKILL))
        write_whole(file, "new" * 1000)

    assert in_a_process(write) == -signal.SIGKILL
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
    with made_together(folder, ours=OURS, last="allowances.json", of_failure=OURS[0]) as notes:
        for name in names:
            (folder / MAKING / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / MAKING / name).write_text(text)
    return notes


def names_in(folder):
    """The names of the files in a folder, but for the list of them."""
    files = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    return set(files) - {WRITTEN}


@pytest.mark.parametrize("moves", range(3))
def test_killed_between_two_moves_a_note_says_that_files_do_not_belong_together(tmp_path, moves):
    folder, names = tmp_path / "r", ["a.html", "allowances.json", "b.html"]
    make(folder, names)
    moved, replace = [], os.replace

    def count(source, target):
        if MAKING in str(source):
            if len(moved) == moves:
                os.kill(os.getpid(), signal.SIGKILL)
            moved.append(target)
        replace(source, target)

    def make_again():
        os.replace = count
        make(folder, names, "new")

    assert in_a_process(make_again) == -signal.SIGKILL
    assert [(folder / name).read_text() for name in names].count("new") == moves
    assert (folder / "allowances.json").read_text() == "old"
    assert "do not belong together" in (folder / UNFINISHED).read_text()
    make(folder, names, "newer")
    assert names_in(folder) == set(names)
    assert {(folder / name).read_text() for name in names} == {"newer"}


def test_nothing_changes_until_all_is_made_and_a_first_failure_leaves_no_folder(tmp_path):
    make(tmp_path / "r", ["a.html", "allowances.json"])
    with pytest.raises(TypeError, match="data must be str"):
        make(tmp_path / "r", ["a.html"], 3)
    assert (tmp_path / "r" / "a.html").read_text() == "old"
    assert names_in(tmp_path / "r") == {"a.html", "allowances.json"}
    with pytest.raises(AirstatsError, match="no"), made_together(tmp_path / "r2"):
        raise AirstatsError("no")
    assert not (tmp_path / "r2").exists()


def test_what_only_an_earlier_run_made_goes_and_a_persons_own_files_stay(tmp_path):
    folder = tmp_path / "r"
    make(folder, ["a.html", "x.failed.ipynb", "data/a-dots.csv", "data/a-1.csv", "allowances.json"])
    own = ["letter.txt", "data/own.csv", "data/2026-own.csv", "data/a-1.csv", "y.failed.ipynb"]
    for name in own:
        (folder / name).write_text("own")
    notes = make(folder, ["a.html", "data/a-bars.csv", "allowances.json"])
    assert names_in(folder) == {"a.html", "data/a-bars.csv", "allowances.json", *own}
    assert all((folder / name).read_text() == "own" for name in own)
    assert notes == [
        f"{folder}: not of this run, and left as it stands:"
        " data/2026-own.csv, data/a-1.csv, y.failed.ipynb"
    ]


@pytest.mark.parametrize("name", ["a.html", "data", UNFINISHED, WRITTEN])
def test_a_persons_file_is_never_replaced(tmp_path, name):
    (tmp_path / name).write_text("own")
    with pytest.raises(AirstatsError, match=re.escape(name)):
        make(tmp_path, ["a.html", "data/a-dots.csv", "allowances.json"])
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {name: "own"}


def test_nor_is_a_result_that_a_person_changed(tmp_path):
    make(tmp_path, ["a.html", "b.html"])
    (tmp_path / "a.html").write_text("own")
    with pytest.raises(AirstatsError, match=r"a\.html, which airstats did not write or"):
        make(tmp_path, ["a.html", "b.html"], "new")
    assert (tmp_path / "b.html").read_text() == "old"
    (tmp_path / "a.html").rename(tmp_path / "mine.html")
    make(tmp_path, ["a.html", "b.html"], "new")
    assert (tmp_path / "a.html").read_text() == "new"


@pytest.mark.parametrize("kind", ["link", "pipe", "folder"])
def test_what_is_no_ordinary_file_is_never_replaced(tmp_path, kind):
    make(tmp_path, ["a.html"])
    path = (tmp_path / "a.html").rename(tmp_path / "kept.html").parent / "a.html"
    {"link": lambda: path.symlink_to("kept.html"), "pipe": lambda: os.mkfifo(path),
     "folder": path.mkdir}[kind]()  # fmt: skip
    before = path.lstat()
    with pytest.raises(AirstatsError, match=r"would take the place of .*a\.html"):
        make(tmp_path, ["a.html"], "new")
    assert path.lstat().st_ino == before.st_ino


def test_files_in_two_folders_take_their_places_together(tmp_path):
    one, other = tmp_path / "one" / "a.csv", tmp_path / "other" / "b.csv"
    other.parent.mkdir()
    other.write_text("own")
    with pytest.raises(AirstatsError, match=r"b\.csv"):
        write_together({one: "new", other: "new"})
    assert not one.parent.exists()
    other.unlink()
    write_together({one: "new", other: "new"})
    assert one.read_text() == other.read_text() == "new"


def test_the_list_is_one_that_a_common_program_checks(tmp_path):
    make(tmp_path, ["a.html", "data/a-dots.csv"])
    check = ["sha256sum", "--check", "--strict", WRITTEN]
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    done = subprocess.run(check, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "a.html: OK\ndata/a-dots.csv: OK\n")


def test_the_sample_reports_can_be_made_again_in_their_place(tmp_path):
    """The first command of the README writes onto them: each must stand on their list as it is."""
    sample = shutil.copytree(SAMPLE, tmp_path / "r")
    names = names_in(sample)
    make(sample, names, "new")
    assert {(sample / name).read_text() for name in names} == {"new"}


def test_rows_once_set_aside_are_kept_under_a_number(tmp_path):
    out, aside = tmp_path / "o.csv", tmp_path / SET_ASIDE
    assert write_together({out: "1", aside: "first"}) == []
    assert write_together({out: "2", aside: "first"}) == []
    (kept,) = write_together({out: "3", aside: "second"})
    assert kept == f"{aside} of an earlier run is kept as set_aside-1.csv"
    (kept,) = write_together({out: "4"})
    assert kept == f"{aside} of an earlier run is kept as set_aside-2.csv"
    write_together({out: "5", aside: "first"})
    write_together({out: "6"})
    texts = {path.name: path.read_text() for path in tmp_path.glob("set_aside*")}
    assert texts == {"set_aside-1.csv": "first", "set_aside-2.csv": "second"}


@pytest.mark.parametrize(("umask", "shown"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_files_are_as_private_as_the_user_wishes(tmp_path, umask, shown):
    before = os.umask(umask)
    try:
        write_together({tmp_path / "a.csv": "new"})
        write_whole(tmp_path / "key.csv", "new", 0o600)
    finally:
        os.umask(before)
    modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()}
    assert modes == {"a.csv": shown, WRITTEN: shown, "key.csv": 0o600}


def quick_reports(text, fails=False, meanwhile=lambda: None):
    """Stand in for the notebooks, which take half a minute."""

    def run(settings, desk, out_dir, **options):
        meanwhile()
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
    # A quarter goes on from the same start.
    return main(["quarter", *calibrating(source, quarter, out)[1:]])


def everything(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    return tmp_path_factory.mktemp("reports") / "out"


@pytest.fixture
def reports(source, made_once, tmp_path, monkeypatch, quick_files):
    """The folder of a whole run of the first quarter."""
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", quick_reports("first"))
    if not made_once.exists():
        assert quarter_run(source, FIRST, made_once) == 0
    return shutil.copytree(made_once, tmp_path / "out")


def test_a_failed_quarter_leaves_the_earlier_results_and_its_half_run_copy(
    source, reports, monkeypatch, capsys
):
    before = everything(reports)
    monkeypatch.setattr(
        "airstats.documents.run_notebooks.run_quarter", quick_reports("second", fails=True)
    )
    assert quarter_run(source, SECOND, reports) == 1
    assert "evidence, cell 3" in capsys.readouterr().err
    after = everything(reports)
    assert after.pop(Path("evidence.failed.ipynb")) == b"{}"
    assert b"evidence.failed.ipynb" in after.pop(Path(WRITTEN))
    before.pop(Path(WRITTEN))
    assert after == before


def test_the_next_quarter_takes_the_place_of_the_failed_one(source, reports, monkeypatch, capsys):
    monkeypatch.setattr(
        "airstats.documents.run_notebooks.run_quarter", quick_reports("second", fails=True)
    )
    assert quarter_run(source, SECOND, reports) == 1
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", quick_reports("second"))
    assert quarter_run(source, SECOND, reports) == 0
    assert names_in(reports) == {
        "allowances.json", "allowance_card.html", "price_sheet.xlsx", "evidence.html",
        "data/evidence-second.csv",
    }  # fmt: skip
    assert load_allowances(reports / "allowances.json").quarter == SECOND


@pytest.mark.usefixtures("quick_files")
def test_records_among_the_reports_stay(source, tmp_path, monkeypatch, capsys):
    """A name like that of a picture's numbers, in the folder that results go to."""
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", quick_reports("first"))
    own = shutil.copytree(source, tmp_path / "firm" / "data" / "2025-jobs.d")
    start(own.with_name(START))
    (tmp_path / "firm" / "orders.csv").write_text("mine")
    (tmp_path / "firm" / "data" / "2024-jobs.xlsx").write_text("mine")
    assert quarter_run(own, FIRST, tmp_path / "firm") == 0
    assert (tmp_path / "firm" / "orders.csv").read_text() == "mine"
    assert (tmp_path / "firm" / "data" / "2024-jobs.xlsx").read_text() == "mine"
    assert everything(own) == everything(source)
    assert "left as it stands: data/2024-jobs.xlsx, orders.csv" in capsys.readouterr().out


def test_two_runs_at_once_in_one_folder(source, reports, capsys):
    before = everything(reports)
    with held(reports):
        assert quarter_run(source, SECOND, reports) == 1
    assert "another run of airstats is writing there" in capsys.readouterr().err
    assert everything(reports) == before
    assert quarter_run(source, SECOND, reports) == 0


def test_two_calibrations_at_once_into_one_file(source, tmp_path):
    out = tmp_path / "a.json"
    words = [calibrating(source, quarter, out) for quarter in (FIRST, SECOND)]
    runs = [Fork(partial(quietly, each)) for each in words]
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
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", quick_reports("second"))
    assert quarter_run(source, SECOND, reports) == 0
    assert (reports / "evidence.html").read_text() == "second"
    assert load_allowances(reports / "allowances.json").quarter == SECOND
    assert not left_over(reports)


@pytest.mark.usefixtures("no_notebooks")
def test_sources_gone_meanwhile_change_no_result(source, first_file, tmp_path, monkeypatch):
    """Reports and allowances are of one reading, whatever becomes of the sources after it."""
    for name in ("records", "firm"):
        shutil.copytree(source, tmp_path / name)
    save(tmp_path / "takeoff", invent(jobs=4))
    shutil.copy(first_file, tmp_path / "before.json")
    read = {name: source_digest(tmp_path / name) for name in ("records", "takeoff", "before.json")}

    def gone(settings, desk, out_dir, **options):
        for name in ("records", "takeoff", "firm"):
            shutil.rmtree(tmp_path / name, ignore_errors=True)
        (tmp_path / "before.json").unlink(missing_ok=True)
        found = (desk.records.digest, desk.to_price.digest, desk.previous.file_digest)
        assert found == tuple(read.values())
        return quick_reports("one")(settings, desk, out_dir)

    call = ["quarter", tmp_path / "records", "--quarter", SECOND, "--takeoff", tmp_path / "takeoff"]
    call += ["--firms", tmp_path / "firm", "--previous", tmp_path / "before.json", "--out"]
    for out, reports in {"calm": quick_reports("one"), "out": gone}.items():
        monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", reports)
        assert main([*map(str, call), str(tmp_path / out)]) == 0
    # The workbook of the buying list tells when it was made, and so the list of what was written.
    out, calm = (
        {p: held for p, held in everything(tmp_path / name).items()
         if p.suffix not in (".xlsx", ".txt")} for name in ("out", "calm")
    )  # fmt: skip
    assert out == calm
    assert load_allowances(tmp_path / "out" / "allowances.json").records == read["records"]


def closed_pipe(words, place):
    """Run a command whose reader has gone before it says anything; return its status."""

    def run():
        reader, writer = os.pipe()
        os.close(reader)
        os.dup2(writer, 1)
        os.chdir(place)
        with open(1, "w", buffering=1, closefd=False) as unread, redirect_stdout(unread):
            sys.exit(main([*map(str, words)]))

    return in_a_process(run)


def test_files_are_written_though_nobody_reads_the_messages(source, old, tmp_path):
    noted = shutil.copytree(source, tmp_path / "noted")
    jobs = (noted / "jobs.csv").read_text().splitlines()
    (noted / "jobs.csv").write_text("\n".join([f"{jobs[0]},odd", *(f"{j},1" for j in jobs[1:])]))
    orders = ["price", noted, "--allowances", old[0], "--out", "o.csv", "--materials"]
    assert closed_pipe([*orders, "--buying-list", "list"], tmp_path) == 0
    assert closed_pipe(["calibrate", source, "--out", "a.json"], tmp_path) == 0
    assert closed_pipe(["backtest", source, "--out", "back"], tmp_path) == 0
    assert {"o.csv", "list/buying_list.html", "a.json", "back/backtest_jobs.csv"} <= names_in(
        tmp_path
    )


@pytest.mark.usefixtures("quick_files")
def test_a_silent_end_of_the_readers_is_no_success(source, tmp_path, monkeypatch, capsys):
    """As with `2>&1 | head -1`, where the bar of progress meets the closed pipe."""

    def gone():
        raise BrokenPipeError(errno.EPIPE, "Broken pipe")

    monkeypatch.setattr(
        "airstats.documents.run_notebooks.run_quarter", quick_reports("one", meanwhile=gone)
    )
    assert quarter_run(source, FIRST, tmp_path / "out") == 1
    assert "nothing was written" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_buying_list_that_fails_leaves_the_older_orders(source, old, tmp_path, monkeypatch):
    """Orders and buying list are of one run."""
    call = ["price", str(source), "--allowances", str(old[0]), "--out", str(tmp_path / "o.csv")]
    call += ["--buying-list", str(tmp_path / "list"), "--short-cost"]
    assert main([*call, "100"]) == 0
    before = everything(tmp_path)

    def full(handle):
        if "buying_list.html" in os.readlink(f"/proc/self/fd/{handle}"):
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert main([*call, "900"]) == 1
    assert everything(tmp_path) == before
    monkeypatch.undo()
    assert main([*call, "900"]) == 0
    after = everything(tmp_path)
    assert {Path("o.csv"), Path("list/buying_list.csv")} <= {
        p for p in after if after[p] != before[p]
    }


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


def test_a_file_that_may_not_grow(source, old, capfd):
    """The system's own limit on the size of a file: the write fails half-way for real."""

    def small():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
        sys.exit(calibrate(source, SECOND, old[0]))

    assert in_a_process(small) == 1
    assert capfd.readouterr().err == f"{old[0]}: cannot be read or written (File too large).\n"
    assert old[0].read_bytes() == old[1]
    assert not left_over(old[0].parent)


@pytest.fixture
def tiny_disk(tmp_path):
    """A disk of 1 MB, of which a test takes most."""
    place = tmp_path / "disk"
    place.mkdir()
    call = ["mount", "-t", "tmpfs", "-o", "size=1000k", "tmpfs", str(place)]
    if shutil.which("mount") is None or subprocess.run(call, capture_output=True).returncode:
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_is_really_full(source, tiny_disk, capsys):
    file = tiny_disk / "a.json"
    assert calibrate(source, FIRST, file) == 0
    old = file.read_bytes()
    free = shutil.disk_usage(tiny_disk).free
    (tiny_disk / "ballast").write_bytes(bytes(free - len(old) // 2))
    assert len(old) > shutil.disk_usage(tiny_disk).free
    assert calibrate(source, SECOND, file) == 1
    assert "No space left on device" in capsys.readouterr().err
    assert file.read_bytes() == old
    assert names_in(tiny_disk) == {"a.json", "ballast"}


@pytest.mark.usefixtures("quick_files")
def test_a_quarter_on_a_full_disk_changes_nothing(source, tiny_disk, monkeypatch, capsys):
    monkeypatch.setattr("airstats.documents.run_notebooks.run_quarter", quick_reports("first"))
    out = tiny_disk / "out"
    out.mkdir()
    (out / "letter.txt").write_text("old")
    (tiny_disk / "ballast").write_bytes(bytes(shutil.disk_usage(tiny_disk).free - 10_000))
    assert quarter_run(source, FIRST, out) == 1
    assert "No space left on device" in capsys.readouterr().err
    assert {path.name: path.read_text() for path in out.iterdir()} == {"letter.txt": "old"}


def test_a_folder_that_may_not_be_written_to(source, capfd):
    """The superuser may write anywhere, so the run goes on as nobody, in an open place."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        place.chmod(0o755)
        records = shutil.copytree(source, place / "records")
        shutil.copy(source.with_name(START), place)
        file = place / "files" / "a.json"
        assert calibrate(records, FIRST, file) == 0
        old = file.read_bytes()
        file.parent.chmod(0o555)
        capfd.readouterr()

        def as_nobody():
            if os.getuid() == 0:
                os.setuid(65534)
            sys.exit(calibrate(records, SECOND, file))

        assert in_a_process(as_nobody) == 1
        file.parent.chmod(0o755)
        refused = f"{file.parent}: cannot be read or written (Permission denied).\n"
        assert capfd.readouterr().err == refused
        assert file.read_bytes() == old
        assert not left_over(file.parent)


def test_a_kernel_that_dies_leaves_no_page(tmp_path):
    making = tmp_path / "out" / MAKING
    write_notebook(tmp_path, "dies", "import os, signal; os.kill(os.getpid(), signal.SIGKILL)")
    with (
        pytest.raises(AirstatsError, match=r"dies, kernel: DeadKernelError: Kernel died"),
        made_together(tmp_path / "out", of_failure="*.failed.ipynb"),
    ):
        run_quarter_notebooks({"dies": {}}, making, progress=False, notebooks=tmp_path)
    assert names_in(tmp_path / "out") == {"dies.failed.ipynb"}
    nbformat.read(tmp_path / "out" / "dies.failed.ipynb", as_version=4)


def test_a_killed_run_leaves_no_connection_file_behind(tmp_path):
    """The files by which kernels are reached stand in the working folder, which is cleared."""
    write_notebook(tmp_path, "tells", "from ipykernel import get_connection_file as f; f()")
    run_quarter_notebooks({"tells": {}}, tmp_path / "out", progress=False, notebooks=tmp_path)
    cells = nbformat.read(tmp_path / "out" / "tells.ipynb", as_version=4).cells
    told = Path(cells[-1].outputs[0]["data"]["text/plain"].strip("'"))
    assert told.parent.parent == (tmp_path / "out").resolve()
    assert told.parent.name.startswith(".")
    assert not left_over(tmp_path / "out")
