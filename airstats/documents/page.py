"""What stands on a report's page, block by block, from a notebook or from what it shows."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from nbformat import NotebookNode

from airstats.reports.display import Words, unpacked


@dataclass(frozen=True)
class Grid:
    """A table as text: caption, headings, rows of cells, and which columns are numbers."""

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[bool, ...]


@dataclass(frozen=True)
class Image:
    """A picture as files: PNG, SVG and its numbers as CSV ("" if there are none)."""

    name: str
    alt: str
    png: bytes
    svg: str
    csv: str


@dataclass(frozen=True)
class Plain:
    """Any other output, as plain text."""

    text: str


Block = Words | Grid | Image | Plain


@dataclass(frozen=True)
class Page:
    """A report before it is HTML or PDF.

    Attributes
    ----------
    title : its heading
    blocks : words, tables and pictures in their order
    made : what went in: parameters, digests, versions
    command : the command that makes it again
    """

    title: str
    blocks: tuple[Block, ...]
    made: Mapping[str, str]
    command: str


def notebook_page(notebook: NotebookNode, made: Mapping[str, str], command: str) -> Page:
    """Return the page of an executed notebook: its texts and outputs in order, without code.

    Parameters
    ----------
    notebook : NotebookNode
        Executed.
    made : mapping
        What went in, by its name: see `made_from`.
    command : str
        The command that makes the page again.
    """
    return Page(_title(notebook), tuple(_blocks(notebook)), made, command)


def made_grid(page: Page) -> Grid:
    """Return the table of what went into a page."""
    return Grid("What went in", ("item", "value"), tuple(page.made.items()), (False, False))


def images(page: Page) -> list[Image]:
    """Return the pictures of a page."""
    return [part for part in page.blocks if isinstance(part, Image)]


def _blocks(notebook: NotebookNode) -> Iterator[Block]:
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            first, _, rest = cell.source.partition("\n")
            yield Words(rest.strip() if first.startswith("# ") else cell.source)
        for output in cell.get("outputs", []):
            # A stream has none: it is not for the reader.
            if "data" in output:
                yield _block(output.data, output.metadata)


def _block(data: Mapping[str, Any], metadata: Mapping[str, Any]) -> Block:
    if "image/png" in data:
        return _image(data, metadata.get("image/png", {}))
    if "rows" in metadata.get("text/html", {}):
        return _grid(metadata["text/html"])
    if "text/markdown" in data:
        return Words(data["text/markdown"])
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
    )


def _title(notebook: NotebookNode) -> str:
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and cell.source.startswith("# "):
            return str(cell.source.splitlines()[0].removeprefix("# "))
    return "Report"
