"""One process that has loaded what a run's notebooks need; each kernel is a copy of it.

A kernel of its own takes a second or two to load its libraries; a copy takes a twentieth. When the
run ends or is killed, the nursery ends all its copies and then itself.
"""

from __future__ import annotations

import gc
import os
import signal
import socket
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

LOADED = (
    "airstats.reports.evidence_appendix",
    "airstats.reports.evidence_text",
    "airstats.reports.materials_evidence_text",
    "airstats.reports.materials_owner_text",
    "airstats.reports.materials_text",
    "airstats.reports.owner_text",
    "airstats.reports.price_text",
    "airstats.reports.prior_text",
    "airstats.reports.shared_work",
    "airstats.reports.update_text",
    "airstats.reports.form",
    "matplotlib.backends.backend_agg",
    "matplotlib.backends.backend_svg",
    "ipykernel.kernelapp",
    "ipykernel.ipkernel",
)
"""What the notebooks load, and what runs and draws them."""
_PARTED = "\0"
_NO_KERNEL = ""
"""In the place of a kernel's folder: the word is a desk."""
_MOST_BYTES = 65536
_LOOKED_AFTER_S = 0.5
"""How often a nursery at work looks whether its run still is."""


class Nursery:
    """Gives copies of the process that it stands for."""

    def __init__(self, line: socket.socket) -> None:
        self._line = line

    def ask(self, words: Sequence[str], folder: str) -> socket.socket:
        """Ask for a kernel with these arguments, at work in a folder.

        Returns
        -------
        socket
            Tells the kernel's process id once it is ready, and ends when the kernel does.

        Raises
        ------
        OSError
            If the nursery is no more.
        """
        ours, its = socket.socketpair()
        with its:
            asked = _PARTED.join([folder, *words]).encode()
            socket.send_fds(self._line, [asked], [its.fileno()])
        return ours

    def lay_ready(self, desk: Path) -> None:
        """Have a saved desk opened, and what takes long worked out on it, for all later copies.

        It goes on while this returns; a kernel that is asked for meanwhile waits for it.
        """
        with suppress(OSError):
            self.ask([str(desk)], _NO_KERNEL).close()


@contextmanager
def kernel_nursery() -> Iterator[Nursery | None]:
    """Begin a nursery and end it after use; None where a process must not be copied.

    Notes
    -----
    A copy of a process that has several threads may wait for ever for one that it has not; and
    Apple's libraries refuse to work in a copy. There kernels are started as usual.
    """
    if sys.platform != "linux" or threading.active_count() > 1:
        yield None
        return
    ours, its = socket.socketpair()
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if not child:
        ours.close()
        _serve(its)
    its.close()
    try:
        yield Nursery(ours)
    finally:
        ours.close()
        # It may still be at work for nobody.
        os.kill(child, signal.SIGTERM)
        os.waitpid(child, 0)


def _serve(line: socket.socket) -> NoReturn:
    """Load all, then copy this process for whoever asks, until the line is closed."""
    kernels = []
    try:
        # A key at the terminal, meant for the run, must not end kernels before it does.
        os.setsid()
        signal.signal(signal.SIGTERM, _end)
        # The command may have put others in their place, which hold no file.
        sys.stdout, sys.stderr = sys.__stdout__, sys.__stderr__
        # No debugger: nobody is there to use it, and loading it warns.
        sys.modules["debugpy"] = None  # type: ignore[assignment]
        for name in LOADED:
            import_module(name)
        _make_a_table()
        # What is never counted as rubbish is never written to, and stays one copy for all.
        gc.collect()
        gc.freeze()
        while True:
            words, lent, *_ = socket.recv_fds(line, _MOST_BYTES, 1)
            if not words:
                break
            folder, *more = words.decode().split(_PARTED)
            with socket.socket(fileno=lent[0]) as its:
                if folder == _NO_KERNEL:
                    _lay_ready(*more)
                elif not (kernel := os.fork()):
                    line.close()
                    _be_kernel(its, folder, *more)
                else:
                    kernels.append(kernel)
    finally:
        for kernel in kernels:
            os.kill(kernel, signal.SIGKILL)
            os.waitpid(kernel, 0)
        os._exit(0)


def _make_a_table() -> None:
    """Have the templates of tables compiled, which every kernel would do anew."""
    from pandas import DataFrame

    from airstats.reports.display import Table

    Table(DataFrame({"job_id": [""]}), "")._repr_html_()


def _end(*_: object) -> NoReturn:
    raise SystemExit


def _lay_ready(path: str) -> None:
    from airstats.reports.desk import lay_ready, load_desk
    from airstats.reports.shared_work import worked_out

    run = os.getppid()
    # A run that is killed closes the line, which nobody hears who is at work.
    signal.signal(signal.SIGALRM, lambda *_: os.getppid() == run or _end())
    signal.setitimer(signal.ITIMER_REAL, _LOOKED_AFTER_S, _LOOKED_AFTER_S)
    # Whatever fails, fails again in each kernel, which can say so.
    with suppress(Exception):
        if desk := load_desk(path):
            lay_ready(path, worked_out(desk))
    signal.setitimer(signal.ITIMER_REAL, 0)


def _be_kernel(line: socket.socket, folder: str, *words: str) -> NoReturn:
    """Become a kernel, say so when it is ready, and run until it is told to end."""
    try:
        from ipykernel.kernelapp import IPKernelApp

        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        os.setsid()
        os.chdir(folder)
        app: Any = IPKernelApp.instance()
        # It ends when the nursery does; and nobody will ask what was typed.
        parent = f"--IPKernelApp.parent_handle={os.getppid()}"
        app.initialize([*words, parent, "--HistoryManager.enabled=False"])
        line.send(str(os.getpid()).encode())
        app.start()
    finally:
        os._exit(0)
