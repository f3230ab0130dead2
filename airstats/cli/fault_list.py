"""Every fault of a source in files: a list to work through, and a copy with the cells marked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from airstats.records.faults import Fault

FAULTS, MARKED = "faults.csv", "marked.xlsx"


def list_faults(source: Path, faults: Sequence[Fault], folder: Path) -> list[str]:
    """Write the list of faults, and of a workbook a copy with the faulty cells marked.

    Parameters
    ----------
    source : Path
        What was checked.
    faults : sequence of Fault
        All of it; the list is written for none too, and an older copy goes.
    folder : Path
        Where the files go.

    Returns
    -------
    list of str
        Lines that say what was written, or why not.
    """
    from airstats.base.atomic_files import write_whole
    from airstats.base.errors import RecordsError
    from airstats.base.formula_guard import csv_of
    from airstats.base.result_folder import MAKING, WAIT_S, made_together
    from airstats.records.faults import fault_table

    files: dict[str, str | bytes] = {FAULTS: csv_of(fault_table(faults))}
    said = []
    try:
        if any(fault.cell for fault in faults):
            files[MARKED] = _marked(source, faults)
    except RecordsError as error:
        said = [f"note: no copy with marks: {error}"]
    with made_together(folder, ours=(FAULTS, MARKED), wait_s=WAIT_S) as notes:
        for name, content in files.items():
            write_whole(folder / MAKING / name, content)
    return [*said, *(f"note: {n}" for n in notes), *(f"written: {folder / n}" for n in files)]


def _marked(source: Path, faults: Sequence[Fault]) -> bytes:
    from airstats.documents.marked_workbook import Mark, marked_copy
    from airstats.records.faults import kind_table

    marks = [Mark(*fault.cell, fault.why) for fault in faults if fault.cell]
    title = f"Faults of {source.name}: mend them there, not in this copy"
    return marked_copy(source, marks, kind_table(faults), title)
