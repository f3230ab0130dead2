"""Kernels are copies of one process that has loaded all; nothing of them outlives the run."""

import os
import sys
import time
from contextlib import nullcontext
from unittest import mock

import nbformat
import pytest

from airstats.__main__ import main
from airstats.base.errors import AirstatsError
from airstats.cli import quarter_run
from airstats.documents import nursery, run_notebooks
from airstats.documents.nursery import kernel_nursery
from tests.documents.test_run_notebooks import write_notebook
from tests.forks import Copy
from tests.invented import invent, save

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="no copies on this system")
RUN = """
import sys
from pathlib import Path
from airstats.documents.nursery import kernel_nursery
folder = Path(sys.argv[1])
with kernel_nursery() as nursery:
    from airstats.documents.run_notebooks import run_quarter_notebooks
    more = {"progress": False, "notebooks": folder, "nursery": nursery}
    run_quarter_notebooks({"works": {}}, folder / "out", **more)
"""
TELL = "import os, sys; print(os.getppid(), 'airstats.reports.owner_text' in sys.modules)"


def run(folder, before="", script=RUN):
    return Copy(f"{before}\n{script}", folder)


def told(folder):
    cells = nbformat.read(folder / "out" / "works.ipynb", as_version=4).cells
    return cells[-1].outputs[0].text.split()


def is_alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@LINUX
@pytest.mark.parametrize("before", ["", "import io, sys\nsys.stdout = sys.stderr = io.StringIO()"])
def test_a_kernel_has_all_loaded_at_its_start_and_nothing_is_warned_of(tmp_path, before):
    """Also where the run has put something else in the place of its output, as commands do."""
    write_notebook(tmp_path, "works", TELL)
    process = run(tmp_path, before)
    assert process.end() == (0, "", "")
    parent, loaded = told(tmp_path)
    assert loaded == "True"
    assert int(parent) != process.pid
    assert not is_alive(int(parent))


@LINUX
@pytest.mark.parametrize("at_work", ["time.sleep(99)", "re.fullmatch('(a*)*b', 'a' * 40)"])
def test_no_kernel_outlives_a_run_that_is_killed(tmp_path, at_work):
    """Neither one that sleeps, nor one that lets no other thread of its own work."""
    pids = tmp_path / "pids"
    tell = f"open({str(pids)!r}, 'w').write(f'{{os.getpid()}} {{os.getppid()}} ')"
    write_notebook(tmp_path, "works", f"import os, re, time\n{tell}\n{at_work}")
    assert_gone_once_killed(run(tmp_path), pids)


def assert_gone_once_killed(process, pids):
    """The processes that wrote their numbers end soon after the run is killed."""
    while not pids.exists() or not pids.read_text().endswith(" "):
        assert process.poll() is None
        time.sleep(0.05)
    process.kill()
    for pid in map(int, pids.read_text().split()):
        for _ in range(100):
            if not is_alive(pid):
                break
            time.sleep(0.05)
        assert not is_alive(pid)


LAID = """
import sys
from pathlib import Path
from airstats.documents.nursery import kernel_nursery
from airstats.reports import recording_text
recording_text.DRAWS = 4
folder = Path(sys.argv[1])
with kernel_nursery() as nursery:
    from airstats.documents.run_notebooks import run_quarter_notebooks, saved_desk
    from airstats.reports.desk import open_desk
    desk = open_desk(folder / "records")
    with saved_desk(desk, folder, nursery) as saved:
        more = {"progress": False, "notebooks": folder, "nursery": nursery, "saved": saved}
        run_quarter_notebooks({"works": {}}, folder / "out", desk=desk, **more)
"""
OPEN = """
from airstats.reports.desk import load_desk
desk = load_desk(saved_desk)
print(desk.quarter, desk.back_test is not None, desk.recording is not None)
"""


def laid(folder, before=""):
    own = invent(jobs=12, quarters=2)
    save(folder / "records", own)
    write_notebook(folder, "works", OPEN, parameters='saved_desk: str = ""  # d')
    assert run(folder, before, LAID).end() == (0, "", "")
    return own.jobs["quarter"].max()


def test_what_takes_long_is_on_the_desk_that_a_kernel_opens(tmp_path):
    assert laid(tmp_path) == told(tmp_path)[0]
    assert told(tmp_path)[1:] == ["True", "True"]


def test_where_no_process_is_copied_it_is_worked_out_before(tmp_path):
    elsewhere = "from types import SimpleNamespace\nfrom airstats.documents import nursery\n"
    elsewhere += "nursery.sys = SimpleNamespace(platform='darwin')\n"
    assert laid(tmp_path, elsewhere) == told(tmp_path)[0]
    assert told(tmp_path)[1:] == ["True", "True"]


@LINUX
def test_where_laying_a_desk_ready_fails_kernels_open_the_saved_one(tmp_path):
    broken = "from airstats.reports import shared_work\nshared_work.worked_out = None\n"
    assert laid(tmp_path, broken) == told(tmp_path)[0]
    assert told(tmp_path)[1:] == ["False", "False"]


@LINUX
def test_a_run_that_fails_does_not_wait_for_work_on_its_desk(tmp_path):
    slow = "from airstats.reports import shared_work\nimport time\n"
    slow += "shared_work.worked_out = lambda _: time.sleep(99)\n"
    script = slow + LAID.replace("more = ", "sys.exit('no')\n        more = ")
    save(tmp_path / "records", invent(jobs=12, quarters=2))
    assert run(tmp_path, script=script).end(within_s=60) == (1, "", "no\n")
    assert {path.name for path in tmp_path.iterdir()} == {"records", "said.out", "said.err"}


@LINUX
def test_no_work_on_a_desk_outlives_a_run_that_is_killed(tmp_path):
    pids = tmp_path / "pids"
    slow = "from airstats.reports import shared_work\nimport os, time\ndef work(_):\n"
    slow += f"    open({str(pids)!r}, 'w').write(f'{{os.getpid()}} ')\n"
    slow += "    while True: pass\nshared_work.worked_out = work\n"
    save(tmp_path / "records", invent(jobs=12, quarters=2))
    write_notebook(tmp_path, "works", OPEN, parameters='saved_desk: str = ""  # d')
    process = run(tmp_path, slow, LAID)
    assert_gone_once_killed(process, pids)


def test_where_copying_fails_kernels_start_as_usual(tmp_path):
    write_notebook(tmp_path, "works", TELL)
    process = run(tmp_path, "from airstats.documents import nursery\nnursery.LOADED = ['absent']")
    assert process.end() == (0, "", "")
    assert told(tmp_path) == [str(process.pid), "False"]


def test_where_a_process_must_not_be_copied_it_is_not(monkeypatch):
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("copied"))
    with kernel_nursery() as none:
        assert none is None


def test_a_quarter_runs_its_notebooks_in_copies(tmp_path, monkeypatch):
    ours, run = mock.Mock(), mock.Mock(side_effect=AirstatsError("far enough"))
    monkeypatch.setattr(nursery, "kernel_nursery", lambda: nullcontext(ours))
    monkeypatch.setattr(run_notebooks, "run_quarter", run)
    monkeypatch.setattr(quarter_run, "_files_of_a_quarter", lambda *_: ("", {}))
    own = invent(jobs=3)
    records, last = save(tmp_path / "records", own), own.jobs["quarter"].max()
    call = ["quarter", str(records), "--quarter", last, "--out", str(tmp_path / "out")]
    assert main(call) == 1
    assert run.call_args.kwargs["nursery"] is ours
    assert ours.lay_ready.call_args.args == (run.call_args.kwargs["saved"],)
