"""Calibrate many firms at once: on all cores of this machine, or on a cluster."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pandas as pd

from airstats.base.errors import AirstatsError
from airstats.model.allowances import Allowances
from airstats.model.quarterly_update import calibrate
from airstats.records.reading import Records, read_records

Source = str | Path | Records


@dataclass(frozen=True)
class ManyFirms:
    """Each firm's allowances by its name, and of the firms that have none the reason."""

    allowances: dict[str, Allowances]
    faults: dict[str, str]

    def table(self) -> pd.DataFrame:
        """Return one row an allowance and firm: `firm, allowance, mean, sd, low, high, unit, jobs`.

        low and high hold 90 %.
        """
        parts = [
            known.table().rename_axis("allowance").reset_index().assign(jobs=len(known.job_ids))
            for known in self.allowances.values()
        ]
        if not parts:
            return pd.DataFrame(columns=["firm", "allowance"])
        named = pd.concat(parts, keys=list(self.allowances), names=["firm", None])
        return named.reset_index("firm").reset_index(drop=True)


def calibrate_many(
    sources: Mapping[str, Source] | Iterable[Source],
    workers: int | None = None,
    client: Any = None,
    *,
    quarter: str | None = None,
    set_aside_bad_rows: bool = False,
    dates: str = "ask",
) -> ManyFirms:
    """Calibrate each of k firms by itself, many at a time.

    Parameters
    ----------
    sources : mapping or iterable
        A firm's name to its records, as a path or read already; or the paths alone, which then
        are the names.
    workers : int, optional
        Processes on this machine; by default one a core; 1: no other process is started.
    client : distributed.Client, optional
        A Dask cluster to work on instead; its workers must be able to read the paths. Needs
        `pip install 'airstats[cluster]'`.
    quarter : str, optional
        As for `calibrate`.
    set_aside_bad_rows, dates
        As for `read_records`.

    Returns
    -------
    ManyFirms
        In the order of the sources. The allowances are the same, byte for byte, as those of
        `calibrate`, wherever they are worked out. A firm that cannot be calibrated is in `faults`.

    Raises
    ------
    AirstatsError
        If two sources have one name.

    Notes
    -----
    In a script, call it below `if __name__ == "__main__":`, for every process loads the script.
    """
    named = _named(sources)
    work = partial(_one, quarter=quarter, set_aside_bad_rows=set_aside_bad_rows, dates=dates)
    if client is not None:
        done = _gathered(partial(client.submit, work, pure=False), named)
    elif workers == 1 or len(named) < 2:
        done = {name: work(source) for name, source in named.items()}
    else:
        # A process that starts afresh carries along no threads and no open files.
        with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
            done = _gathered(partial(pool.submit, work), named)
    known = {name: result for name, result in done.items() if isinstance(result, Allowances)}
    return ManyFirms(known, {name: str(done[name]) for name in done if name not in known})


def _named(sources: Mapping[str, Source] | Iterable[Source]) -> dict[str, Source]:
    if isinstance(sources, Mapping):
        return dict(sources)
    named: dict[str, Source] = {}
    for source in sources:
        name = source.source if isinstance(source, Records) else str(source)
        if name in named:
            raise AirstatsError(
                f"{name}: two sources have this name; give a dict of the firms' names instead."
            )
        named[name] = source
    return named


def _gathered(
    submit: Callable[[Source], Any], named: dict[str, Source]
) -> dict[str, Allowances | str]:
    """Hand out all the work, then wait for it; of work that was lost, tell why."""
    futures = {name: submit(source) for name, source in named.items()}
    return {
        name: f"the work was lost: {error}" if (error := future.exception()) else future.result()
        for name, future in futures.items()
    }


def _one(source: Source, quarter: str | None, set_aside_bad_rows: bool, dates: str) -> Any:
    """Return a firm's allowances, or why there are none."""
    try:
        if not isinstance(source, Records):
            source = read_records(source, set_aside_bad_rows, dates)
        return calibrate(source, quarter=quarter)
    except (AirstatsError, OSError) as error:
        return str(error)
