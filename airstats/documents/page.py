"""What stands on a report's page, block by block, from a notebook or from what it shows."""

from __future__ import annotations

import base64
import re
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from nbformat import NotebookNode

from airstats.reports.display import BESIDE, Words, unpacked
from airstats.reports.house_style import FULL, HALF

_SIZE = re.compile(r'<svg [^>]*viewBox="0 0 ([\d.]+) ([\d.]+)"', re.DOTALL)
"""The size of a picture, in points."""
_UNPARTED = re.compile(r"(?<=\d) (?=[±%])|(?<=±) (?=\d)")
"""Between a number, its ± and its per cent sign no line ends."""


@dataclass(frozen=True)
class Grid:
    """A table as text.

    Attributes
    ----------
    caption, headings, rows : what is shown, cell by cell
    numbers : which columns are numbers
    name : that of the file with all rows
    all_rows : how many rows there are, shown or not
    csv : all rows as CSV; "" if all are shown
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[bool, ...]
    name: str = "table"
    all_rows: int = 0
    csv: str = ""


@dataclass(frozen=True)
class Image:
    """A picture as files: PNG, SVG and its numbers as CSV ("" if there are none)."""

    name: str
    alt: str
    png: bytes
    svg: str
    csv: str

    @property
    def is_half(self) -> bool:
        """Whether it is drawn for half the width of the text."""
        return self.size_in[0] < (HALF + FULL) / 2

    @property
    def size_in(self) -> tuple[float, float]:
        """Width and height at which it was drawn, inches."""
        if size := _SIZE.search(self.svg):
            return float(size[1]) / 72, float(size[2]) / 72
        wide, high = struct.unpack(">2I", self.png[16:24])
        return FULL, FULL * high / wide


@dataclass(frozen=True)
class Plain:
    """Any other output, as plain text."""

    text: str


Part = Words | Grid | Image | Plain


@dataclass(frozen=True)
class Pair:
    """Two parts side by side."""

    left: Part
    right: Part


Block = Part | Pair


@dataclass(frozen=True)
class Page:
    """A report before it is HTML or PDF.

    Attributes
    ----------
    title : its heading
    blocks : words, tables and pictures in their order
    made : what went in: parameters, digests, versions
    command : the command that makes it again
    about : whose it is, of which quarter and day
    """

    title: str
    blocks: tuple[Block, ...]
    made: Mapping[str, str]
    command: str
    about: str = ""

    @property
    def full_title(self) -> str:
        """The title with whose page it is, of which quarter and day."""
        return " · ".join(filter(None, [self.title, self.about]))

    def file_of(self, part: Image | Grid, ending: str = "csv") -> str:
        """Return the file that holds a picture, or the numbers of it or of a table."""
        return f"data/{self.made.get('notebook', 'report')}-{part.name}.{ending}"


def notebook_page(
    notebook: NotebookNode, made: Mapping[str, str], command: str, about: str = ""
) -> Page:
    """Return the page of an executed notebook: its texts and outputs in order, without code.

    Parameters
    ----------
    notebook : NotebookNode
        Executed.
    made : mapping
        What went in, by its name: see `made_from`.
    command : str
        The command that makes the page again.
    about : str
        Whose it is, of which quarter and day.
    """
    return Page(_title(notebook), tuple(_blocks(notebook)), made, command, about)


def made_grid(page: Page) -> Grid:
    """Return the table of what went into a page."""
    return Grid("What went in", ("item", "value"), tuple(page.made.items()), (False, False))


def parts(page: Page) -> list[Part]:
    """Return all parts of a page, those side by side one after the other."""
    pairs = [(b.left, b.right) if isinstance(b, Pair) else (b,) for b in page.blocks]
    return [part for pair in pairs for part in pair]


def is_appendix(heading: str, level: int) -> bool:
    """Whether an appendix begins with a heading."""
    return level <= 2 and heading.strip() == "Appendix"


def images(page: Page) -> list[Image]:
    """Return the pictures of a page."""
    return [part for part in parts(page) if isinstance(part, Image)]


def long_tables(page: Page) -> list[Grid]:
    """Return the tables of a page that show but their first rows."""
    return [part for part in parts(page) if isinstance(part, Grid) and part.csv]


def _blocks(notebook: NotebookNode) -> Iterator[Block]:
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            first, _, rest = cell.source.partition("\n")
            yield Words(rest.strip() if first.startswith("# ") else cell.source)
        # A stream has no data: it is not for the reader.
        shown = (output for output in cell.get("outputs", []) if "data" in output)
        for output in shown:
            part = _part(output.data, output.metadata)
            if output.metadata.get(BESIDE) == "left":
                beside = next(shown)
                yield Pair(part, _part(beside.data, beside.metadata))
            else:
                yield part


def _part(data: Mapping[str, Any], metadata: Mapping[str, Any]) -> Part:
    if "image/png" in data:
        return _image(data, metadata.get("image/png", {}))
    if "rows" in metadata.get("text/html", {}):
        return _grid(metadata["text/html"])
    if "text/markdown" in data:
        return Words(_UNPARTED.sub("\N{NO-BREAK SPACE}", data["text/markdown"]))
    return Plain(data.get("text/plain", ""))


def _image(data: Mapping[str, Any], about: Mapping[str, Any]) -> Image:
    return Image(
        name=about.get("name", "picture"),
        alt=about.get("alt", data.get("text/plain", "picture")),
        png=base64.b64decode(data["image/png"]),
        svg=unpacked(about["svg"]) if "svg" in about else "",
        csv=about.get("csv", ""),
    )


def _grid(about: Mapping[str, Any]) -> Grid:
    return Grid(
        caption=about["caption"],
        headings=tuple(about["headings"]),
        rows=tuple(map(tuple, about["rows"])),
        numbers=tuple(about["numbers"]),
        # A notebook that an older airstats ran shows its tables whole.
        name=about.get("name", "table"),
        all_rows=about.get("all_rows", 0),
        csv=about.get("csv", ""),
    )


def _title(notebook: NotebookNode) -> str:
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and cell.source.startswith("# "):
            return str(cell.source.splitlines()[0].removeprefix("# "))
    return "Report"
