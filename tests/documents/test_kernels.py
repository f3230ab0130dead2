"""Kernels are copies of one process that has loaded all; nothing of them outlives the run."""

import os
import signal
import subprocess
import sys
import time
from contextlib import nullcontext
from unittest import mock

import nbformat
import pytest

from airstats.__main__ import main
from airstats.base.errors import AirstatsError
from airstats.documents import nursery, run_notebooks
from airstats.documents.nursery import kernel_nursery
from tests.documents.test_run_notebooks import write_notebook
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


def run(folder, before=""):
    call = [sys.executable, "-c", before + RUN, str(folder)]
    return subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


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
    assert process.communicate(timeout=120) == ("", "")
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
    process = run(tmp_path)
    while not pids.exists() or not pids.read_text().endswith(" "):
        assert process.poll() is None
        time.sleep(0.05)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    for pid in map(int, pids.read_text().split()):
        for _ in range(100):
            if not is_alive(pid):
                break
            time.sleep(0.05)
        assert not is_alive(pid)


def test_where_copying_fails_kernels_start_as_usual(tmp_path):
    write_notebook(tmp_path, "works", TELL)
    process = run(tmp_path, "from airstats.documents import nursery\nnursery.LOADED = ['absent']")
    assert process.communicate(timeout=120) == ("", "")
    assert told(tmp_path) == [str(process.pid), "False"]


def test_where_a_process_must_not_be_copied_it_is_not(monkeypatch):
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("copied"))
    with kernel_nursery() as none:
        assert none is None


def test_a_quarter_runs_its_notebooks_in_copies(tmp_path, monkeypatch):
    ours, run = object(), mock.Mock(side_effect=AirstatsError("far enough"))
    monkeypatch.setattr(nursery, "kernel_nursery", lambda: nullcontext(ours))
    monkeypatch.setattr(run_notebooks, "run_quarter", run)
    own = invent(jobs=3)
    records, last = save(tmp_path / "records", own), own.jobs["quarter"].max()
    call = ["quarter", str(records), "--quarter", last, "--out", str(tmp_path / "out")]
    assert main(call) == 1
    assert run.call_args.kwargs["nursery"] is ours
