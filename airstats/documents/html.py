"""From a page to HTML: no code, no script, nothing fetched from outside."""

from __future__ import annotations

import base64
from collections.abc import Callable
from typing import Any

import mistune

from airstats.documents.page import Block, Grid, Image, Page, Pair, Plain, is_appendix, made_grid
from airstats.documents.page_templates import page_template
from airstats.reports.display import Words

TEMPLATE = "report.html.j2"
NARROW = 39
"""Characters of a table's row that a telephone shows; a wider one scrolls, and says so."""
CELL = 15
"""Characters of a cell before a telephone breaks it into lines."""


def html_of(page: Page) -> str:
    """Return a page as one self-contained HTML file."""
    renderer = _Words(escape=True)
    markdown = mistune.create_markdown(renderer=renderer)
    blocks = [_shown(part, markdown, page) for part in page.blocks]
    return page_template(TEMPLATE).render(
        title=page.title,
        about=page.about,
        full_title=page.full_title,
        blocks=blocks,
        contents=renderer.contents,
        made=_table(made_grid(page), page),
        command=page.command,
    )


class _Words(mistune.HTMLRenderer):
    """Markdown as HTML, with an id on each heading so that the contents can lead to it.

    Names from the records stand in the sentences: they must not turn into tags, links or
    requests, so HTML is escaped, and links and pictures stay words.
    """

    def __init__(self, escape: bool) -> None:
        super().__init__(escape=escape)
        self.contents: list[tuple[str, str]] = []

    def heading(self, text: str, level: int, **attrs: Any) -> str:
        self.contents.append((f"part-{len(self.contents) + 1}", text))
        name = f"h{max(level, 2)}"
        kind = ' class="appendix"' if is_appendix(text, level) else ""
        return f'<{name} id="{self.contents[-1][0]}"{kind}>{text}</{name}>\n'

    def link(self, text: str, url: str, title: str | None = None) -> str:
        return f"{text} ({mistune.escape(url)})"

    image = link


def _shown(part: Block, markdown: Callable[[str], Any], page: Page) -> dict[str, Any]:
    """What the template needs of a block."""
    if isinstance(part, Pair):
        sides = [_shown(side, markdown, page) for side in (part.left, part.right)]
        return {"kind": "pair", "sides": sides}
    if isinstance(part, Words):
        return {"kind": "words", "content": markdown(part.text)}
    if isinstance(part, Image):
        return _picture(part, page)
    if isinstance(part, Plain):
        return {"kind": "plain", "text": part.text}
    return _table(part, page)


def _picture(part: Image, page: Page) -> dict[str, Any]:
    png, csv = (base64.b64encode(b).decode("ascii") for b in (part.png, part.csv.encode()))
    shown = {"png": png, "csv": csv, "file": page.file_of(part), "half": part.is_half}
    return {"kind": "picture", "alt": part.alt, "name": part.name, **shown}


def _word(heading: str) -> int:
    return max(map(len, heading.split()), default=0)


def _table(grid: Grid, page: Page) -> dict[str, Any]:
    rows = [list(zip(row, grid.numbers, strict=True)) for row in grid.rows]
    headings = list(zip(grid.headings, grid.numbers, strict=True))
    # A character parts the columns; long cells are broken into lines, and headings at each word.
    columns = zip(grid.headings, *grid.rows, strict=True)
    widths = [[_word(head), *(min(len(c), CELL) for c in cells)] for head, *cells in columns]
    across = sum(1 + max(width) for width in widths)
    return {
        "kind": "table",
        "caption": grid.caption,
        "headings": headings,
        "rows": rows,
        "scrolls": across > NARROW,
        "all_rows": grid.all_rows,
        "csv": base64.b64encode(grid.csv.encode()).decode("ascii"),
        "file": page.file_of(grid),
    }
