"""What a notebook that ran with codes keeps of its making: no path, no name, no free text."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

from nbformat import NotebookNode

from airstats.base.errors import AirstatsError
from airstats.model.allowances import load_allowances

_SHOWN = ("quarter", "dates", "decision")
"""Texts among the parameters that hold no name."""


def masked(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parameters to show: with codes, their own names in place of paths and texts."""
    if not parameters.get("codes"):
        return dict(parameters)
    return {
        name: name.upper() if isinstance(value, str) and value and name not in _SHOWN else value
        for name, value in parameters.items()
    }


def kept_notebook(notebook: NotebookNode, parameters: Mapping[str, Any]) -> NotebookNode:
    """Return an executed notebook to keep, which works everything out itself when it is run again.

    The saved desk is gone by then. With codes paths, texts and warnings go too: warnings name the
    folder that the program stands in.
    """
    notebook = deepcopy(notebook)
    shown, coded = masked(parameters), bool(parameters.get("codes"))
    about = {} if coded else notebook.metadata.get("papermill", {})
    notebook.metadata["papermill"] = {**about, "parameters": shown}
    for cell in notebook.cells:
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell.source = "\n".join(f"{name} = {value!r}" for name, value in shown.items())
        if coded and cell.cell_type == "code":
            cell.outputs = [out for out in cell.outputs if out.output_type != "stream"]
    return notebook


def refuse_named_folder(folder: Path) -> None:
    """Refuse to write reports with codes where a run without codes left its files.

    Raises
    ------
    AirstatsError
        If the folder holds allowances with names: what is left there would undo the codes.
    """
    kept = folder / "allowances.json"
    if kept.exists() and not load_allowances(kept).coded:
        raise AirstatsError(
            f"{folder} holds the reports of a run without codes, and some of its files would stay:"
            " give another folder with --out."
        )
