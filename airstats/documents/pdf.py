"""From a page to a tagged PDF: A4, with words, tables and pictures that can be read aloud."""

from __future__ import annotations

import base64
import json
import re
import struct
from collections.abc import Callable, Iterable
from pathlib import Path
from textwrap import wrap
from typing import Any

import matplotlib
import mistune
import typst

from airstats.documents.page import Block, Grid, Image, Page, Plain, made_grid
from airstats.reports.display import Words

TEMPLATE = Path(__file__).with_name("templates") / "report.typ"
STANDARD = "ua-1"
"""PDF/UA-1, the standard of accessible PDF: the typesetter refuses what does not meet it."""
ACROSS = 180
"""Characters that fit side by side on an upright page; a wider table gets a page on its side."""
WRAPPED = 36
"""Characters of a cell before it is broken into lines."""
HEADING = 14
"""Characters of a heading before it is broken into lines."""
PICTURE_MM = (180.0, 220.0)
"""What a picture may fill of an A4 page: width, height."""
_SIZE = re.compile(r'<svg [^>]*viewBox="0 0 ([\d.]+) ([\d.]+)"', re.DOTALL)


def pdf_of(page: Page) -> bytes:
    """Return a page as tagged PDF (PDF/UA-1), the same bytes on every run.

    Notes
    -----
    All content reaches the typesetter as JSON or as a picture file, never as source text: no
    name in the records can turn into a command.
    """
    named = {f"block-{place}.svg": part for place, part in enumerate(page.blocks)}
    pictures = {name: _svg(part) for name, part in named.items() if isinstance(part, Image)}
    content = {
        "title": page.title,
        "blocks": _in_steps([_shown(part, name) for name, part in named.items()]),
        "made": _table(made_grid(page)),
        "quarter": page.made.get("quarter", ""),
        "digest": page.made.get("records' digest", ""),
        "command": page.command,
    }
    template, text = TEMPLATE.read_text(encoding="utf-8"), json.dumps(content, ensure_ascii=False)
    texts = {"main.typ": template, "page.json": text, **pictures}
    files = {name: content.encode("utf-8") for name, content in texts.items()}
    try:
        return _compile(files, STANDARD)
    except typst.TypstError:
        # A name with a sign that no typeface has would cost the firm its report: such a page is
        # tagged all the same, but it does not claim the standard.
        return _compile(files, None)


def _compile(files: dict[str, bytes], standard: str | None) -> bytes:
    # The pictures' own typeface and none of the machine's: the same bytes everywhere.
    fonts = Path(matplotlib.get_data_path(), "fonts", "ttf")
    settings = {"font_paths": [fonts], "ignore_system_fonts": True, "pdf_standards": standard}
    # The package takes several files by name, which its type hints leave out.
    compile_files: Callable[..., bytes] = typst.compile
    return compile_files(files, **settings)


def _shown(part: Block, name: str) -> dict[str, Any]:
    """What the template needs of a block."""
    if isinstance(part, Words):
        parts = mistune.create_markdown(renderer=None)(part.text)
        return {"kind": "words", "parts": parts}
    if isinstance(part, Image):
        return {"kind": "picture", "file": name, "alt": part.alt, "width_mm": _width_mm(part)}
    if isinstance(part, Plain):
        return {"kind": "plain", "text": part.text}
    return _table(part)


def _in_steps(blocks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The blocks with heading levels that never skip one, as the standard asks."""
    last = 1
    for part in (part for shown in blocks for part in shown.get("parts", [])):
        if part["type"] == "heading":
            last = min(max(part["attrs"]["level"], 2), last + 1)
            part["attrs"]["level"] = last
    return blocks


def _table(grid: Grid) -> dict[str, Any]:
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
    }


def _longest(texts: Iterable[str]) -> int:
    return max(map(len, texts), default=0)


def _svg(picture: Image) -> str:
    """The picture as SVG; one that came as PNG alone is put inside."""
    if picture.svg:
        return picture.svg
    wide, high = struct.unpack(">2I", picture.png[16:24])
    content = base64.b64encode(picture.png).decode("ascii")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}">'
        f'<image width="{wide}" height="{high}" href="data:image/png;base64,{content}"/></svg>'
    )


def _width_mm(picture: Image) -> float:
    """The width of a page's text, or less if the picture would be too high."""
    wide, high = PICTURE_MM
    size = _SIZE.search(_svg(picture))
    return min(wide, high * float(size[1]) / float(size[2])) if size else wide
