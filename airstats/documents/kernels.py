"""The kernels that notebooks run in: copies from a nursery, or else processes of their own.

Either way a run that is stopped leaves none behind.
"""

from __future__ import annotations

import asyncio
import os
import signal
import socket
from collections.abc import Collection
from concurrent.futures import Future
from time import sleep
from typing import Any
from uuid import uuid4
from weakref import WeakSet

from jupyter_client.connect import KernelConnectionInfo
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning.local_provisioner import LocalProvisioner

from airstats.documents.nursery import Nursery

_MADE: WeakSet[Kernel] = WeakSet()
_EACH_S = 0.05
_LAUNCHER = "ipykernel_launcher"
_GONE = 1
"""How a copy ended is not told: it stands for any way."""


class Kernel(AsyncKernelManager):
    """A kernel that can be ended from any thread."""

    nursery: Nursery | None = None

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        if self.nursery:
            self.kernel_id = str(uuid4())
            about = {"kernel_id": self.kernel_id, "kernel_spec": self.kernel_spec}
            self.provisioner = Copied(parent=self, **about)
            self.provisioner.nursery = self.nursery
        _MADE.add(self)

    def end(self) -> None:
        """End the process at once, if it has been started."""
        process = getattr(self.provisioner, "process", None)
        if process is not None:
            process.kill()


def kernels_of(nursery: Nursery | None) -> type[Kernel]:
    """Return what makes kernels from a nursery; without one, as processes of their own."""
    return type("KernelOfARun", (Kernel,), {"nursery": nursery})


class Copied(LocalProvisioner):
    """Starts a kernel as a copy from the nursery, or, where that fails, as usual."""

    nursery: Nursery

    async def launch_kernel(self, cmd: list[str], **given: Any) -> KernelConnectionInfo:
        """Launch a kernel with a command."""
        copy = await self._copy(cmd, given["cwd"])
        if copy is None:
            return await super().launch_kernel(cmd, **given)
        self.process = copy  # type: ignore[assignment]
        self.pid = self.pgid = copy.pid
        return self.connection_info

    async def _copy(self, cmd: list[str], folder: str) -> _Copy | None:
        if _LAUNCHER not in cmd:
            return None
        try:
            line = self.nursery.ask(cmd[cmd.index(_LAUNCHER) + 1 :], folder)
            line.setblocking(False)
            told = await asyncio.get_running_loop().sock_recv(line, 64)
        except OSError:
            return None
        return _Copy(int(told), line) if told else None


class _Copy:
    """A kernel copied from a nursery, as `subprocess.Popen` would have it."""

    stdin = stdout = stderr = None

    def __init__(self, pid: int, line: socket.socket) -> None:
        self.pid, self._line = pid, line

    def poll(self) -> int | None:
        try:
            return None if self._line.recv(1) else _GONE
        except BlockingIOError:
            return None
        except OSError:
            return _GONE

    def wait(self) -> int:
        while self.poll() is None:
            sleep(_EACH_S)
        self._line.close()
        return _GONE

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


def end_kernels(runs: Collection[Future[Any]]) -> None:
    """End every kernel until the runs that use them have given up."""
    while not all(run.done() for run in runs):
        sleep(_EACH_S)
        for kernel in list(_MADE):
            kernel.end()
