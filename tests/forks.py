"""Processes that tests begin: copies of one that has the libraries loaded, to watch and to kill."""

import multiprocessing
import os
import signal
import socket
import sys
from contextlib import contextmanager

from airstats.documents import nursery

FORKS = multiprocessing.get_context("forkserver")
# Nothing of the project itself that draws or tells: whether a run loads it is what tests ask.
FORKS.set_forkserver_preload(
    [__name__, "IPython", "ipywidgets", "jinja2", "mistune", "openpyxl", "pandas", "papermill",
     "pytest", "scipy.optimize", "scipy.stats", "seaborn", "typst"]
)  # fmt: skip


class Copy:
    """A text that runs as `python -c` would run it; what it says goes into files of a folder."""

    def __init__(self, code, folder):
        self.said = [folder / name for name in ("said.out", "said.err")]
        self.process = FORKS.Process(target=_run, args=(code, folder, *self.said))
        self.process.start()
        self.pid = self.process.pid

    def poll(self):
        """Return the status once the run is over."""
        return self.process.exitcode

    def kill(self):
        """End the run at once."""
        os.kill(self.pid, signal.SIGKILL)

    def end(self, within_s=120):
        """Wait for the end; return the status, and what was said to either stream."""
        self.process.join(within_s)
        return self.poll(), *(path.read_text(encoding="utf-8") for path in self.said)


def _run(code, folder, *said):
    for number, path in enumerate(said, start=1):
        with open(path, "wb") as file:
            os.dup2(file.fileno(), number)
    sys.argv = ["-c", str(folder)]
    exec(compile(code, "<string>", "exec"), {"__name__": "__main__"})


@contextmanager
def shared_nursery():
    """Yield a nursery that was not copied from this process, so that threads here do not matter."""
    if sys.platform != "linux":
        yield None
        return
    ours, its = socket.socketpair()
    process = FORKS.Process(target=_serve, args=(its,))
    process.start()
    its.close()
    try:
        yield nursery.Nursery(ours)
    finally:
        ours.close()
        process.join()


def _serve(line):
    from airstats.reports import recording_text

    recording_text.DRAWS = 4
    nursery._serve(line)
