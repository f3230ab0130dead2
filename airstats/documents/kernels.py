"""The kernels that notebooks run in, so that a run that is stopped leaves none behind."""

from __future__ import annotations

from collections.abc import Collection
from concurrent.futures import Future
from time import sleep
from typing import Any
from weakref import WeakSet

from jupyter_client.manager import AsyncKernelManager

_MADE: WeakSet[Kernel] = WeakSet()
_EACH_S = 0.05


class Kernel(AsyncKernelManager):
    """A kernel that can be ended from any thread."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        _MADE.add(self)

    def end(self) -> None:
        """End the process at once, if it has been started."""
        process = getattr(self.provisioner, "process", None)
        if process is not None:
            process.kill()


def end_kernels(runs: Collection[Future[Any]]) -> None:
    """End every kernel until the runs that use them have given up."""
    while not all(run.done() for run in runs):
        sleep(_EACH_S)
        for kernel in list(_MADE):
            kernel.end()
