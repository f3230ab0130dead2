"""Results that belong together: made out of sight, then moved into their folders together.

A folder of results holds a list of what airstats wrote there. A run replaces, or takes away, only
what stands on that list and is still as it was written.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from itertools import count
from pathlib import Path

from airstats.base.atomic_files import held, write_whole
from airstats.base.errors import AirstatsError
from airstats.base.number_text import listing

MAKING = ".airstats-making"
"""The hidden folder, inside the results' own, that a run works in."""
UNFINISHED = "UNFINISHED.txt"
"""Stands in a folder while its results are being changed, and stays if the run dies then."""
WRITTEN = "written_by_airstats.txt"
"""The list: digest and name of each file, as `sha256sum --check` reads them."""
SET_ASIDE = "set_aside.csv"
"""Rows left out. An older file of this name is never replaced: it is kept under a number."""
WAIT_S = 10.0
"""How long a quick run waits for another in the same folder, s."""

_NOTE = """The files in this folder are of two runs: airstats is putting new ones in their place.
If this note is still here after a minute, that run was cut off.
Each file is whole, but they do not belong together. Run the same command again.
"""
_HEAD = "# Files that airstats wrote here, and may replace as long as nobody changes them:"
_Listed = Mapping[str, set[str]]


@contextmanager
def made_together(
    folder: Path,
    *others: Path,
    ours: Sequence[str] = (SET_ASIDE,),
    last: str = "",
    sure: Sequence[str] = (),
    of_failure: str = "",
    wait_s: float = 0.0,
    carried: Sequence[str] = (),
) -> Iterator[list[str]]:
    """Make files in the hidden folder `MAKING` of each folder; if all goes well, move them in.

    Parameters
    ----------
    folder, *others : Path
        Where the results go. While they are being made, what stands there stays as it is.
    ours : sequence of str
        Patterns of what a run can make in `folder`: what an earlier run made, and this one did
        not, is taken away, for it would not belong to the rest.
    last : str
        Name of the file that is moved in after all others.
    sure : sequence of str
        Names in `folder` that will be made, or needed if the work fails: refused at once if a
        person's file has one of them.
    of_failure : str
        Pattern of files to move in if the work fails, and only then.
    wait_s : float
        How long to wait for another run in a folder, s.
    carried : sequence of str
        Names in `folder` of files that were read and whose content goes on in the new ones: a
        person may have changed them.

    Yields
    ------
    list of str
        Empty; once all stands in its place, what there is to say of older files.

    Raises
    ------
    AirstatsError
        If another run is making results there, or a result would take the place of a file that
        airstats did not write or that was changed since. Then nothing is changed.
    """
    folders = list({path.resolve(): path for path in (folder, *others)}.values())
    notes: list[str] = []
    with _said_plainly(), ExitStack() as stack:
        for place in sorted(folders):
            stack.enter_context(_workplace(place, of_failure, wait_s))
        _refuse_foreign(folder, sure)
        yield notes
        made = {place: _made(place) for place in folders}
        for place, names in made.items():
            kept = carried if place == folder else ()
            _refuse_foreign(place, [name for name in [*names, UNFINISHED] if name not in kept])
        _move_all_in(made, ours, last, notes)


def write_together(contents: Mapping[Path, str | bytes]) -> list[str]:
    """Write files, all or none, the first one last; return what there is to say of older ones.

    Raises
    ------
    AirstatsError
        As `made_together`.
    """
    first = next(iter(contents))
    places = dict.fromkeys(path.parent for path in contents)
    with made_together(*places, last=first.name, wait_s=WAIT_S) as notes:
        for path, content in contents.items():
            write_whole(path.parent / MAKING / path.name, content)
    return notes


@contextmanager
def _said_plainly() -> Iterator[None]:
    """Name the file that was asked for, not its hidden place; a silent listener is no success."""
    try:
        yield
    except BrokenPipeError:
        raise AirstatsError("Nobody reads the messages any more: nothing was written.") from None
    except OSError as error:
        if isinstance(error.filename, str):
            error.filename = str(Path(*(p for p in Path(error.filename).parts if p != MAKING)))
        raise


@contextmanager
def _workplace(folder: Path, of_failure: str, wait_s: float) -> Iterator[None]:
    was_there = folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    making = folder / MAKING
    try:
        with ExitStack() as stack:
            try:
                stack.enter_context(held(folder, wait_s))
            except BlockingIOError:
                raise AirstatsError(
                    f"{folder}: another run of airstats is writing there. Wait for its end, then"
                    " try again."
                ) from None
            stack.callback(shutil.rmtree, making, ignore_errors=True)
            shutil.rmtree(making, ignore_errors=True)
            making.mkdir()
            try:
                yield
            except Exception:
                _move_failures(folder, of_failure)
                raise
    finally:
        if not was_there and not any(folder.iterdir()):
            folder.rmdir()


def own_results(folder: Path) -> set[str]:
    """Return the names of the files in a folder that stand as airstats wrote them, and its list."""
    listed = _listed(folder)
    ours = {name for name in listed if _is_ours(folder, name, listed)}
    return ours and {*ours, WRITTEN}


def _made(folder: Path) -> list[str]:
    making = folder / MAKING
    return [path.relative_to(making).as_posix() for path in making.rglob("*") if path.is_file()]


def _refuse_foreign(folder: Path, names: Iterable[str]) -> None:
    listed = _listed(folder)
    foreign = [name for name in names if not _is_free(folder, name, listed)]
    if foreign:
        raise AirstatsError(
            f"{folder}: a result would take the place of {listing(foreign)}, which airstats did"
            f" not write or which was changed since (what it wrote stands in {WRITTEN} there)."
            " Nothing was written: move it away, or give the result another place."
        )


def _is_free(folder: Path, name: str, listed: _Listed) -> bool:
    """Tell whether no file has the name, an empty one, or one that airstats wrote."""
    path = folder / name
    if path.parent.exists() and not path.parent.is_dir():
        return False
    # As `touch` or a program that reserves a name leaves it: there is nothing to lose.
    is_empty = path.is_file() and not path.is_symlink() and path.stat().st_size == 0
    return not os.path.lexists(path) or is_empty or _is_ours(folder, name, listed)


def _is_ours(folder: Path, name: str, listed: _Listed) -> bool:
    path = folder / name
    # A link, a device or a pipe is never ours, and must not be opened to see.
    return path.is_file() and not path.is_symlink() and _digest(path) in listed.get(name, ())


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _listed(folder: Path) -> dict[str, set[str]]:
    """The digests that each file written here may have: two while it is being replaced."""
    listed = {UNFINISHED: {hashlib.sha256(_NOTE.encode()).hexdigest()}}
    path = folder / WRITTEN
    if not os.path.lexists(path):
        return listed
    head, *lines = os.fsdecode(path.read_bytes()).split("\n") if path.is_file() else [""]
    if head != _HEAD:
        raise AirstatsError(f"{path} is not the list that airstats keeps there: move it away.")
    for digest, _, name in (line.partition("  ") for line in lines if line):
        listed.setdefault(name, set()).add(digest)
    return listed


def _list_also(folder: Path, names: list[str]) -> None:
    """List what is going to be moved in, beside what stands there: a killed run leaves either."""
    listed = _listed(folder)
    for name in names:
        listed.setdefault(name, set()).add(_digest(folder / MAKING / name))
    _write_list(folder, listed)


def _list_only(folder: Path, names: list[str]) -> None:
    """List what has been moved in, and of the older files those that are still there."""
    listed = {n: digests for n, digests in _listed(folder).items() if (folder / n).exists()}
    _write_list(folder, listed | {name: {_digest(folder / name)} for name in names})


def _write_list(folder: Path, listed: _Listed) -> None:
    rows = [(name, digest) for name in listed for digest in listed[name] if name != UNFINISHED]
    lines = [f"{digest}  {name}\n" for name, digest in sorted(rows)]
    write_whole(folder / WRITTEN, os.fsencode("".join([f"{_HEAD}\n", *lines])))


def _move_all_in(
    made: Mapping[Path, list[str]], ours: Sequence[str], last: str, notes: list[str]
) -> None:
    """Put the new in the old one's place; a note says so, for this is not done in one step."""
    first, listed = next(iter(made)), _listed(next(iter(made)))
    there = [path for p in ours for path in first.glob(p) if path.is_file()]
    older = {path.relative_to(first).as_posix() for path in there} - set(made[first])
    stale = {name for name in older if _is_ours(first, name, listed)}
    for folder, names in made.items():
        _list_also(folder, names)
    with _marked_unfinished(made if sum(map(len, made.values())) + len(stale) > 1 else ()):
        notes += _keep_rows(first, listed)
        _unlink(first / name for name in stale - {SET_ASIDE})
        for folder, names in made.items():
            _move_in(folder, names, last)
    if older - stale:
        left = listing(sorted(older - stale))
        notes.append(f"{first}: not of this run, and left as it stands: {left}")


@contextmanager
def _marked_unfinished(folders: Iterable[Path]) -> Iterator[None]:
    notes = [folder / UNFINISHED for folder in folders]
    try:
        for note in notes:
            write_whole(note, _NOTE)
    except OSError:
        # Nothing has been moved yet.
        _unlink(notes)
        raise
    yield
    _unlink(notes)


def _unlink(paths: Iterable[Path]) -> None:
    for path in paths:
        path.unlink(missing_ok=True)


def _move_in(folder: Path, names: list[str], last: str = "") -> None:
    for name in sorted(names, key=lambda name: (name == last, name)):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        os.replace(folder / MAKING / name, folder / name)
    # On a full disk the longer list stands, which will do as well.
    with suppress(OSError):
        _list_only(folder, names)


def _keep_rows(folder: Path, listed: _Listed) -> list[str]:
    """Keep older rows set aside under a number, unless the new ones are the same."""
    old, new = folder / SET_ASIDE, folder / MAKING / SET_ASIDE
    if not _is_ours(folder, SET_ASIDE, listed):
        return []
    same = {_digest(old)}
    if new.exists() and _digest(new) in same:
        return []
    numbered = (old.with_stem(f"{old.stem}-{number}") for number in count(1))
    kept = next(
        path
        for path in numbered
        if not os.path.lexists(path) or _is_ours(folder, path.name, {path.name: same})
    )
    os.replace(old, kept)
    return [f"{old} of an earlier run is kept as {kept.name}"]


def _move_failures(folder: Path, of_failure: str) -> None:
    found = [path.name for path in (folder / MAKING).glob(of_failure)] if of_failure else []
    # What went wrong before must be told, not this.
    with suppress(OSError, AirstatsError):
        names = [name for name in found if _is_free(folder, name, _listed(folder))]
        if names:
            _list_also(folder, names)
            _move_in(folder, names)
