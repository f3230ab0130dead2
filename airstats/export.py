"""From an executed notebook to one HTML page: no code, no script, nothing fetched from outside."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import mistune
from jinja2 import Environment, FileSystemLoader, Template
from nbformat import NotebookNode

TEMPLATE = "report.html.j2"
_CAPTION = re.compile(r"<caption>(.*?)</caption>", re.DOTALL)


def report_html(notebook: NotebookNode, made: dict[str, str], command: str) -> str:
    """Return the page of an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode
        With its outputs; code is left out, texts and outputs stay in their order.
    made : dict
        What the page states about its making: parameters, digest, versions.
    command : str
        The command that makes it again.
    """
    blocks = [_own_names(block, place) for place, block in enumerate(_blocks(notebook))]
    return _template().render(title=_title(notebook), blocks=blocks, made=made, command=command)


def picture_tables(notebook: NotebookNode) -> dict[str, str]:
    """Return the numbers of each picture as CSV text, by the picture's name."""
    abouts = [output.metadata.get("image/png", {}) for output in _outputs(notebook)]
    return {about["name"]: about["csv"] for about in abouts if "csv" in about}


def picture_files(notebook: NotebookNode) -> dict[str, bytes]:
    """Return each picture as the bytes of a PNG file, by the picture's name."""
    pictures = [output for output in _outputs(notebook) if "image/png" in output.data]
    return {
        output.metadata.get("image/png", {}).get("name", "picture"): base64.b64decode(
            output.data["image/png"]
        )
        for output in pictures
    }


def _outputs(notebook: NotebookNode) -> list[NotebookNode]:
    return [output for cell in notebook.cells for output in _shown(cell)]


def _shown(cell: NotebookNode) -> list[NotebookNode]:
    """The outputs of a cell that a reader sees: not its streams."""
    return [output for output in cell.get("outputs", []) if "data" in output]


def _blocks(notebook: NotebookNode) -> Iterator[dict[str, Any]]:
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            yield {"kind": "words", "content": _words(cell.source)}
        yield from map(_output, _shown(cell))


def _output(output: NotebookNode) -> dict[str, Any]:
    data = output.data
    if "image/png" in data:
        about = output.metadata.get("image/png", {})
        return {
            "kind": "picture",
            "content": data["image/png"].replace("\n", ""),
            "alt": about.get("alt", data.get("text/plain", "")),
            "name": about.get("name", "picture"),
            "csv": base64.b64encode(about.get("csv", "").encode()).decode("ascii"),
        }
    if "text/html" in data:
        return {"kind": "table", "content": data["text/html"]}
    if "text/markdown" in data:
        return {"kind": "words", "content": _words(data["text/markdown"])}
    return {"kind": "text", "content": data.get("text/plain", "")}


def _own_names(block: dict[str, Any], place: int) -> dict[str, Any]:
    """A table under its caption as label, its ids made different from other tables'."""
    if block["kind"] != "table":
        return block
    content = str(block["content"])
    caption = _CAPTION.search(content)
    label = caption[1] if caption else "Table"
    return block | {"content": content.replace("T_table", f"T_{place}"), "label": label}


def _words(text: str) -> str:
    return str(_markdown()(text))


def _title(notebook: NotebookNode) -> str:
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and cell.source.startswith("# "):
            return str(cell.source.splitlines()[0].removeprefix("# "))
    return "Report"


@cache
def _markdown() -> Any:
    # Names from the records stand in the sentences: they must not turn into tags.
    return mistune.create_markdown(escape=True)


@cache
def _template() -> Template:
    folder = FileSystemLoader(Path(__file__).parent)
    return Environment(loader=folder, trim_blocks=True, lstrip_blocks=True).get_template(TEMPLATE)
