"""From a page to a tagged PDF: A4, with words, tables and pictures that can be read aloud."""

from __future__ import annotations

import base64
import json
import struct
from collections.abc import Iterable, Mapping
from pathlib import Path
from textwrap import wrap
from typing import Any

import mistune
import typst

from airstats.documents.page import Block, Grid, Image, Page, Pair, Plain, images, is_appendix
from airstats.reports.display import Words, in_own_signs, typeset

TEMPLATE = Path(__file__).with_name("templates") / "report.typ"
STANDARD = "ua-1"
"""PDF/UA-1, the standard of accessible PDF: the typesetter refuses what does not meet it."""
ACROSS = 180
"""Characters that fit side by side on an upright page; a wider table gets a page on its side."""
WRAPPED = 36
"""Characters of a cell before it is broken into lines."""
HEADING = 14
"""Characters of a heading before it is broken into lines."""
MOST_LEADING = 900
"""Characters of the words before a picture that stay with it."""
PICTURE_MM = (180.0, 220.0)
"""What a picture may fill of an A4 page: width, height."""


def pdf_of(page: Page) -> bytes:
    """Return a page as tagged PDF (PDF/UA-1), the same bytes on every run.

    Notes
    -----
    All content reaches the typesetter as JSON or as a picture file, never as source text: no
    name in the records can turn into a command.
    """
    names = {part: f"picture-{place}.svg" for place, part in enumerate(images(page))}
    content = {
        "title": page.title,
        "about": page.about,
        "blocks": _in_steps(_kept_together([_shown(part, page, names) for part in page.blocks])),
        "made": [f"{item}: {value}" for item, value in page.made.items()],
        "digest": page.made.get("records' digest", ""),
        "command": page.command,
    }
    template, text = TEMPLATE.read_text(encoding="utf-8"), json.dumps(content, ensure_ascii=False)
    pictures = {name: _svg(part) for part, name in names.items()}
    files = {"main.typ": template, "page.json": text, **pictures}
    try:
        return typeset(files, pdf_standards=STANDARD)
    except typst.TypstError:
        # A name with a sign that no typeface has would cost the firm its report: such a page is
        # tagged all the same, but it does not claim the standard.
        return typeset(files, pdf_standards=None)


def _shown(part: Block, page: Page, names: Mapping[Image, str]) -> dict[str, Any]:
    """What the template needs of a block."""
    if isinstance(part, Pair):
        sides = [_shown(side, page, names) for side in (part.left, part.right)]
        return {"kind": "pair", "sides": sides}
    if isinstance(part, Words):
        parts = mistune.create_markdown(renderer=None)(part.text)
        return {"kind": "words", "parts": parts, "length": len(part.text)}
    if isinstance(part, Image):
        size = {"width_mm": _width_mm(part), "alt": part.alt}
        return {"kind": "picture", "file": names[part], **size}
    if isinstance(part, Plain):
        return {"kind": "plain", "text": part.text}
    return _table(part, page)


def _kept_together(blocks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The blocks with a mark on words that lead to a picture or table, from their heading on."""
    leads, length = False, 0
    for shown in reversed(blocks):
        if shown["kind"] != "words":
            leads, length = shown["kind"] in ("picture", "table", "pair"), 0
            continue
        length += shown["length"]
        shown["introduces"] = leads and bool(shown["parts"]) and length < MOST_LEADING
        leads &= not any(part["type"] == "heading" for part in shown["parts"])
    return blocks


def _in_steps(blocks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The blocks with heading levels that never skip one, and marks where an appendix begins."""
    last = 1
    for part in (part for shown in blocks for part in shown.get("parts", [])):
        if part["type"] == "heading":
            text = "".join(child.get("raw", "") for child in part["children"])
            part["appendix"] = is_appendix(text, part["attrs"]["level"])
            last = min(max(part["attrs"]["level"], 2), last + 1)
            part["attrs"]["level"] = last
    return blocks


def _table(grid: Grid, page: Page) -> dict[str, Any]:
    cells = [_longest(column) for column in zip(*grid.rows, strict=True)] or [0] * len(grid.numbers)
    # Each number stays beside its per cent sign.
    whole = [heading.replace(" %", "\N{NO-BREAK SPACE}%") for heading in grid.headings]
    headings = [wrap(h, max(length, HEADING)) for h, length in zip(whole, cells, strict=True)]
    longest = [max(length, _longest(lines)) for length, lines in zip(cells, headings, strict=True)]
    # Two characters part the columns.
    across = sum(2 + min(length, WRAPPED) for length in longest)
    return {
        "kind": "table",
        "caption": grid.caption,
        "headings": headings,
        "rows": grid.rows,
        "numbers": grid.numbers,
        "wide": across > ACROSS,
        "longest": longest,
        "more": f"All {grid.all_rows} rows: {page.file_of(grid)}" if grid.csv else "",
    }


def _longest(texts: Iterable[str]) -> int:
    return max(map(len, texts), default=0)


def _svg(picture: Image) -> str:
    """The picture as SVG; one that came as PNG alone is put inside."""
    if picture.svg:
        return in_own_signs(picture.svg)
    wide, high = struct.unpack(">2I", picture.png[16:24])
    content = base64.b64encode(picture.png).decode("ascii")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}">'
        f'<image width="{wide}" height="{high}" href="data:image/png;base64,{content}"/></svg>'
    )


def _width_mm(picture: Image) -> float:
    """The width at which it was drawn, or less if it would not fit on a page."""
    (wide, high), (most, highest) = picture.size_in, PICTURE_MM
    return min(wide * 25.4, most, highest * wide / high)
