"""Results that belong together: made out of sight, then moved into their folder together."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from airstats.errors import AirstatsError
from airstats.files import held, write_whole

MAKING = ".making"
"""The hidden folder, inside the results' own, that a run works in."""
UNFINISHED = "UNFINISHED.txt"
"""Stands in a folder while its results are being changed, and stays if the run dies then."""

_NOTE = """The files in this folder are of two runs: airstats is putting new ones in their place.
If this note is still here after a minute, that run was cut off.
Each file is whole, but they do not belong together. Run the same command again.
"""


@contextmanager
def made_together(
    folder: Path, ours: Sequence[str], last: str, of_failure: str = ""
) -> Iterator[Path]:
    """Yield an empty hidden folder to make results in; if all goes well, move them to `folder`.

    Parameters
    ----------
    folder : Path
        Where the results go. While they are being made, what stands there stays as it is.
    ours : sequence of str
        Patterns of what a run can make: what an earlier run made, and this one did not, is taken
        away, for it would not belong to the rest.
    last : str
        Name of the file that is moved in after all others.
    of_failure : str
        Pattern of files to move in if the work fails, and only then.

    Raises
    ------
    AirstatsError
        If another run is making results for the folder.
    """
    was_there = folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    making = folder / MAKING
    try:
        with _alone(folder):
            shutil.rmtree(making, ignore_errors=True)
            making.mkdir()
            try:
                yield making
                _move_in(making, folder, ours, last)
            except Exception:
                _move_failures(making, folder, of_failure)
                raise
            finally:
                shutil.rmtree(making, ignore_errors=True)
    finally:
        if not was_there and not any(folder.iterdir()):
            folder.rmdir()


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    try:
        with held(folder):
            yield
    except BlockingIOError:
        raise AirstatsError(
            f"{folder}: another run of airstats is writing there. Wait for its end, then try again."
        ) from None


def _move_in(making: Path, folder: Path, ours: Sequence[str], last: str) -> None:
    """Put the new in the old one's place; a note says so, for this is not done in one step."""
    made = [path.relative_to(making) for path in making.rglob("*") if path.is_file()]
    there = {path.relative_to(folder) for pattern in ours for path in folder.glob(pattern)}
    note = folder / UNFINISHED
    write_whole(note, _NOTE)
    for path in there - set(made):
        (folder / path).unlink()
    for path in sorted(made, key=lambda path: (path == Path(last), path)):
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        os.replace(making / path, folder / path)
    note.unlink()


def _move_failures(making: Path, folder: Path, of_failure: str) -> None:
    for path in making.glob(of_failure) if of_failure else ():
        os.replace(path, folder / path.name)
