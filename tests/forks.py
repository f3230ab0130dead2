"""Processes that tests begin: copies of theirs, or of one that has but the libraries loaded."""

import multiprocessing
import os
import socket
import sys
from contextlib import contextmanager

from airstats.documents import nursery

OF_THIS = multiprocessing.get_context("fork")
FORKS = multiprocessing.get_context("forkserver")
# Nothing of the project itself that draws or tells: whether a run loads it is what tests ask.
FORKS.set_forkserver_preload(
    [__name__, "IPython", "ipywidgets", "jinja2", "mistune", "openpyxl", "pandas", "papermill",
     "pytest", "scipy.optimize", "scipy.stats", "seaborn", "typst"]
)  # fmt: skip


class Fork:
    """Work done in a copy of this process; to watch and kill as `Popen`."""

    def __init__(self, work, *given, start=OF_THIS):
        self.process = start.Process(target=work, args=given)
        self.process.start()
        self.pid = self.process.pid

    def poll(self):
        """Return the status once the work is over."""
        return self.process.exitcode

    def kill(self):
        """End the work at once."""
        self.process.kill()

    def wait(self, within_s=None):
        """Return the status at the end; None if it does not come in time."""
        self.process.join(within_s)
        return self.poll()


class Copy(Fork):
    """A text that runs as `python -c` would run it; what it says goes into files of a folder."""

    def __init__(self, code, folder):
        self.said = [folder / name for name in ("said.out", "said.err")]
        super().__init__(_run, code, folder, *self.said, start=FORKS)

    def end(self, within_s=120):
        """Wait for the end; return the status, and what was said to either stream."""
        return self.wait(within_s), *(path.read_text(encoding="utf-8") for path in self.said)


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
