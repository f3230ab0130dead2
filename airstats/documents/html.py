"""From a page to HTML: no code, no script, nothing fetched from outside."""

from __future__ import annotations

import base64
from collections.abc import Callable
from typing import Any

import mistune

from airstats.documents.page import Block, Grid, Image, Page, Plain, made_grid
from airstats.documents.page_templates import page_template
from airstats.reports.display import Words

TEMPLATE = "report.html.j2"


def html_of(page: Page) -> str:
    """Return a page as one self-contained HTML file."""
    renderer = _Words(escape=True)
    markdown = mistune.create_markdown(renderer=renderer)
    blocks = [_shown(part, markdown) for part in page.blocks]
    return page_template(TEMPLATE).render(
        title=page.title,
        blocks=blocks,
        contents=renderer.contents,
        made=_table(made_grid(page)),
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
        return f'<h{max(level, 2)} id="{self.contents[-1][0]}">{text}</h{max(level, 2)}>\n'

    def link(self, text: str, url: str, title: str | None = None) -> str:
        return f"{text} ({mistune.escape(url)})"

    image = link


def _shown(part: Block, markdown: Callable[[str], Any]) -> dict[str, Any]:
    """What the template needs of a block."""
    if isinstance(part, Words):
        return {"kind": "words", "content": markdown(part.text)}
    if isinstance(part, Image):
        png, csv = (base64.b64encode(b).decode("ascii") for b in (part.png, part.csv.encode()))
        return {"kind": "picture", "png": png, "csv": csv, "alt": part.alt, "name": part.name}
    if isinstance(part, Plain):
        return {"kind": "plain", "text": part.text}
    return _table(part)


def _table(grid: Grid) -> dict[str, Any]:
    rows = [list(zip(row, grid.numbers, strict=True)) for row in grid.rows]
    headings = list(zip(grid.headings, grid.numbers, strict=True))
    return {"kind": "table", "caption": grid.caption, "headings": headings, "rows": rows}
