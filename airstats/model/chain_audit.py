"""Follow an allowances file back through those it was made from, and say where that breaks."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from airstats.base.atomic_files import sha256
from airstats.base.errors import AllowancesError
from airstats.base.quarters import quarters_between
from airstats.base.result_folder import UNFINISHED
from airstats.model.allowances import FORMAT, Allowances, load_allowances

LISTED = 5
"""More names than this are counted, not listed."""
_PEEK = 4096


@dataclass(frozen=True)
class Link:
    """One file of a chain: its text as read, and the allowances if they can be used."""

    path: Path
    digest: str
    content: dict[str, Any]
    known: Allowances | None
    fault: str = ""

    @property
    def ids(self) -> tuple[str, ...]:
        """The jobs that the file says were counted."""
        return self._names("job_ids")

    @property
    def new(self) -> tuple[str, ...]:
        """The jobs that the file says were new in it."""
        return self._names("new_jobs")

    @property
    def quarter(self) -> str:
        """The quarter that the file says it is of."""
        return str(self.content.get("quarter"))

    def _names(self, key: str) -> tuple[str, ...]:
        names = self.content.get(key)
        return tuple(map(str, names)) if isinstance(names, list) else ()


@dataclass(frozen=True)
class ChainCheck:
    """What was found: the files, the newest first, and every fault in plain words."""

    links: tuple[Link, ...]
    faults: tuple[str, ...]
    notes: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return one line a file, the oldest first, then whether the chain is whole."""
        links = self.links[::-1]
        told = [f"{link.path}: {_summary(link)}" for link in links]
        if self.faults:
            return told
        count, ids = len(links), len(links[-1].ids)
        files = f"{count} files" if count > 1 else "one file"
        return [*told, f"The chain is whole: {files}, {ids} jobs, none counted twice."]


def check_chain(path: str | Path) -> ChainCheck:
    """Follow `previous` from an allowances file to the first of its chain.

    Parameters
    ----------
    path : path
        The allowances file. Earlier ones are looked for by their digest in the same folder, in
        the one above, and in the folders beside: `reports/2026Q2/allowances.json`.

    Raises
    ------
    AllowancesError
        If the file itself is missing or no allowances file.
    """
    link = _read(Path(path))
    if link.known is None and not link.content:
        raise AllowancesError(link.fault)
    # Of copies the nearest counts.
    beside = {other.digest: other for other in map(_read, reversed([*_files_beside(link.path)]))}
    links, faults = [link], list(_own_faults(link))
    while previous := str(link.content.get("previous") or ""):
        before = beside.get(previous)
        if before is None:
            before = _like_the_previous(link, beside, links)
            faults.append(_broken(link, previous, before))
        if before is None:
            break
        faults += [*_own_faults(before), *_faults_between(before, link)]
        links.append(before)
        link = before
    return ChainCheck(tuple(links), tuple(faults), tuple(_notes(links)))


def _read(path: Path) -> Link:
    try:
        written = path.read_bytes()
        content = json.loads(written)
    except (OSError, ValueError, RecursionError):
        written, content = b"", {}
    digest = sha256(written)
    try:
        return Link(path, digest, content, load_allowances(path))
    except AllowancesError as error:
        usable = isinstance(content, dict) and content.get("format") == FORMAT
        return Link(path, digest, content if usable else {}, None, str(error))


def _files_beside(path: Path) -> Iterator[Path]:
    """Yield the allowances files of the same folder, the one above, and those beside."""
    here = path.parent
    above = here.parent if here.name not in ("", "..") else here / ".."
    for folder, pattern in ((here, "*.json"), (above, "*.json"), (above, "[!.]*/[!.]*.json")):
        for found in sorted(folder.glob(pattern)):
            if not found.name.startswith(".") and _is_ours(found):
                yield found


def _is_ours(path: Path) -> bool:
    # A pipe of that name would never be read to its end.
    if not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            return FORMAT.encode() in file.read(_PEEK)
    except OSError:
        return False


def _own_faults(link: Link) -> Iterator[str]:
    if link.known is None:
        yield link.fault
        return
    twice = [job for job, times in Counter(link.ids).items() if times > 1]
    if twice:
        yield (
            f"{link.path}: counted twice: {_named(twice)}. Calibrate that quarter again from the"
            " file before it."
        )


def _like_the_previous(link: Link, beside: Mapping[str, Link], passed: list[Link]) -> Link | None:
    """The file that has the previous one's jobs though not its digest, if there is one."""
    seen = {other.digest for other in passed}
    alike = (
        other
        for other in beside.values()
        if other.content and other.digest not in seen and other.ids + link.new == link.ids
    )
    return next(alike, None)


def _broken(link: Link, previous: str, alike: Link | None) -> str:
    if alike is None:
        return (
            f"{link.path}: the file it was made from is not here ({previous[:19]}…): missing, or"
            " edited since. Put it beside this one, under any name, and check again."
        )
    return (
        f"{alike.path}: not as it was when {link.path} was made from it: edited, or made again"
        f" since. Bring back the old file ({previous[:19]}…), or calibrate"
        f" {link.quarter} again."
    )


def _faults_between(before: Link, link: Link) -> Iterator[str]:
    """What a file says of its jobs against what the one before it says."""
    again = sorted(set(before.ids) & set(link.new))
    if again:
        yield f"{link.path}: counts again what {before.path} counted: {_named(again)}."
    lost = [job for job in before.ids if job not in set(link.ids)]
    if lost:
        yield (
            f"{link.path}: no longer holds jobs that {before.path} counted, so they could be"
            f" counted again: {_named(lost)}."
        )
    if before.known is not None and link.known is not None:
        yield from _faults_of_known(before, before.known, link, link.known)


def _faults_of_known(
    before: Link, earlier: Allowances, link: Link, later: Allowances
) -> Iterator[str]:
    if quarters_between(earlier.quarter, later.quarter) < 0:
        yield (
            f"{link.path}: is of {later.quarter}, but was made from a file of {earlier.quarter}."
        )
    for name in filter(earlier.materials.get, later.materials):
        old = earlier.materials[name].job_ids
        again = sorted(set(old) & set(later.materials[name].new_jobs))
        if again:
            yield f"{link.path}: {name}: counts again what {before.path} counted: {_named(again)}."


def _notes(links: list[Link]) -> Iterator[str]:
    yield (
        f"no later file vouches for {links[0].path}: it is as airstats wrote it, but whether it"
        " took another's place cannot be seen."
    )
    for link in links:
        if (link.path.parent / UNFINISHED).exists():
            yield f"{link.path.parent}: a run was cut off here; the reports may be of another."


def _summary(link: Link) -> str:
    return f"{link.quarter}, {len(link.new)} jobs new, {len(link.ids)} counted"


def _named(jobs: list[str]) -> str:
    more = f" and {len(jobs) - LISTED} more" if len(jobs) > LISTED else ""
    return ", ".join(jobs[:LISTED]) + more
