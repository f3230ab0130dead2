"""Every value from outside that the tests are held to, and the page that lists them.

A test calls `agree("name", ours)`: it looks the published value up in `external_values.csv`, holds
ours to it and to what `tests/README.md` says of it. `python -m tests.external_checks` runs those
tests and writes the page anew.
"""

import csv
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

PAGE = Path(__file__).with_name("README.md")
TABLE = Path(__file__).with_name("external_values.csv")
ROOT = Path(__file__).parents[1]

KINDS = {
    "published value seen": "the figure is typed from what was seen in print",
    "published value quoted in a software test": "the figure was seen there, not in print",
    "value from memory, reproduced by two implementations": "the figure was not looked up; two"
    " programs other than ours compute it",
    "computed by a reference library": "another program computes the same, in the same run or once;"
    " R, once, runs anew where it is installed",
    "product of two published values": "both factors were seen in print, the product was not",
    "common practice, no source": "what the trade does; nobody published it",
}
NUMBER = re.compile(r"-?\d[\d.e+-]*")
SHOWN = 4
"""So many values of a list stand in the page."""


@dataclass(frozen=True)
class Check:
    """One quantity with its value from outside.

    Attributes
    ----------
    quantity, source : what it is, and where the value stands
    kind : one of `KINDS`
    published : the values; empty where another library computes them in the test
    within : how far ours may lie off; a share of the value if `relative`
    test : the file that holds ours to it
    """

    quantity: str
    source: str
    kind: str
    test: str
    published: tuple[float, ...]
    within: float
    relative: bool = False

    def reach(self, theirs: np.ndarray) -> np.ndarray:
        """Return how far each value may lie off."""
        return self.within * (np.abs(theirs) if self.relative else np.ones_like(theirs))


RENEWING = False
"""Whether the page is being written anew, so that what it said before does not bind."""

FOUND: dict[str, tuple[np.ndarray, np.ndarray]] = {}
"""Name of a check to ours and theirs, as this run of the tests found them."""


def agree(name: str, ours: object, theirs: object = None) -> None:
    """Hold our values to those from outside, and to what the page says that ours are.

    `theirs` only where another library computes them in the test.
    """
    check = all_checks()[name]
    mine = np.atleast_1d(np.asarray(ours, dtype=float)).ravel()
    given = check.published if theirs is None else theirs
    outside = np.atleast_1d(np.asarray(given, dtype=float)).ravel()
    assert mine.shape == outside.shape, f"{name}: {len(mine)} values for {len(outside)}"
    off = np.abs(mine - outside)
    assert (off <= check.reach(outside)).all(), f"{name}: {mine} is not {outside}"
    FOUND[name] = (mine, outside)
    if not RENEWING:
        said = np.array([float(value) for value in listed().get(name, [])])
        shown = mine[:SHOWN]
        near = np.maximum(check.reach(outside)[:SHOWN], 1e-5 * np.abs(shown))
        held = said.shape == shown.shape and (np.abs(said - shown) <= near).all()
        assert held, f"{name}: {PAGE.name} says {said}; run python -m tests.external_checks"


@cache
def all_checks() -> dict[str, Check]:
    """Return the table, name to check."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {row.pop("name"): _check(**row) for row in csv.DictReader(file)}


def _check(published: str, within: str, relative: str, **told: str) -> Check:
    values = tuple(map(float, published.split()))
    return Check(**told, published=values, within=float(within), relative=relative == "yes")


def listed() -> dict[str, list[str]]:
    """Return what the page says that ours are, name to the values shown."""
    rows = PAGE.read_text(encoding="utf-8").splitlines() if PAGE.exists() else []
    cells = [[cell.strip() for cell in row.strip("|").split(" | ")] for row in rows if "| `" in row]
    return {cell[0].strip("| `"): NUMBER.findall(cell[4].split("…")[0]) for cell in cells}


def page() -> str:
    """Return the page, from the table and from what the tests found."""
    checks = all_checks()
    lines = [
        "# Checks against values from outside",
        "",
        "Every value that others published or that other programs compute, and ours beside it."
        " Written by `python -m tests.external_checks`, which runs the tests named in the last"
        " column; each of those tests holds ours to the value, and to this page.",
        "",
        *(f"- *{kind}*: {told}." for kind, told in KINDS.items()),
        "",
        f"A list of values stands with its first {SHOWN}; the difference is the largest of all.",
        "",
        "| check | quantity | source | value from outside | ours | difference | may differ by"
        " | kind | test |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    return "\n".join([*lines, *(_row(name, check) for name, check in checks.items()), ""])


def _row(name: str, check: Check) -> str:
    ours, theirs = FOUND[name]
    off = np.abs(ours - theirs).max()
    allowed = f"{check.within:g}{' of it' if check.relative else ''}"
    return (
        f"| `{name}` | {check.quantity} | {check.source} | {_values(theirs)} | {_values(ours)}"
        f" | {off:.1g} | {allowed} | {check.kind} | {check.test} |"
    )


def _values(values: np.ndarray) -> str:
    shown = ", ".join(f"{value:.9g}" for value in values[:SHOWN])
    return shown + (f" … of {len(values)}" if len(values) > SHOWN else "")


def main() -> None:
    """Run the tests that hold the values, then write the page."""
    import pytest

    from tests import external_checks as table

    table.RENEWING = True
    files = sorted({str(ROOT / "tests" / check.test) for check in all_checks().values()})
    failed = pytest.main(["-q", "-p", "no:cacheprovider", *files])
    if failed:
        raise SystemExit(int(failed))
    PAGE.write_text(table.page(), encoding="utf-8")
    print(f"written: {PAGE}")


if __name__ == "__main__":
    main()
