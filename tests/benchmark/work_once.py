"""How often one `airstats quarter` does the same work, in the command and in each notebook.

`python -m tests.benchmark.work_once` runs the demo's quarter with every notebook executed in this
process, and counts the sources parsed, the chains calibrated and the updates. An analysis that
asks what another assumption would give (a back-test, a job left out) rightly updates again.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import pkgutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from functools import wraps
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest import mock

import pandas as pd

import airstats
from airstats.__main__ import main as airstats_command
from airstats.documents import run_notebooks
from airstats.reports.display import Picture
from tests.benchmark.every_analysis import run_notebook

ROOT = Path(__file__).parents[2]
COUNTED = {
    "sources parsed": "airstats.records.source.read_source",
    "allowances files read": "airstats.model.allowances.load_allowances",
    "takeoffs": "airstats.takeoff.sheet_quantities.take_off",
    "chains": "airstats.model.quarterly_update.calibrate_through",
    "updates": "airstats.model.posterior.update_and_judge",
}
COMMAND = "the command"


def count_work(records: Path, quarter: str, takeoff: Path, out: Path) -> pd.DataFrame:
    """Run a quarter and return how often each of `COUNTED` was called, a row a place."""
    found: dict[str, Counter[str]] = {COMMAND: Counter()}
    place = [COMMAND]

    def in_process(source: Path, target: Path, parameters: dict[str, Any], *_: Any) -> None:
        place[0] = source.stem
        found[source.stem] = Counter()
        faults = list(run_notebook(source.stem, parameters))
        assert not faults, faults
        target.write_text(_without_outputs(source), encoding="utf-8")
        place[0] = COMMAND

    with contextlib.ExitStack() as held:
        for name, path in COUNTED.items():
            for patch in _everywhere(path, lambda name=name: found[place[0]].update([name])):
                held.enter_context(patch)
        held.enter_context(mock.patch.object(run_notebooks, "_execute", in_process))
        held.enter_context(mock.patch.object(run_notebooks, "AT_A_TIME", 1))
        held.enter_context(mock.patch("IPython.display.display"))
        # Pixels take most of the time, and no part of what is counted.
        held.enter_context(mock.patch.object(Picture, "_repr_mimebundle_", return_value=({}, {})))
        held.enter_context(contextlib.redirect_stdout(io.StringIO()))
        call = ["quarter", records, "--quarter", quarter, "--takeoff", takeoff, "--out", out]
        assert airstats_command([str(word) for word in call]) == 0
    table = pd.DataFrame.from_dict(found, orient="index").reindex(columns=list(COUNTED))
    return table.fillna(0).astype(int)


def _without_outputs(source: Path) -> str:
    notebook = json.loads(source.read_text(encoding="utf-8"))
    for cell in notebook["cells"]:
        cell |= {"outputs": []} if cell["cell_type"] == "code" else {}
    return json.dumps(notebook)


def _everywhere(path: str, tell: Callable[[], None]) -> Iterator[Any]:
    """Count a function under every name by which a module of airstats has imported it."""
    home, _, own = path.rpartition(".")
    function = getattr(import_module(home), own)

    @wraps(function)
    def counted(*given: Any, **named: Any) -> Any:
        tell()
        return function(*given, **named)

    for module in pkgutil.walk_packages(airstats.__path__, "airstats."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
    for name, module in list(sys.modules.items()):
        if name.startswith("airstats"):
            for word, value in list(vars(module).items()):
                if value is function:
                    yield mock.patch.object(module, word, counted)


def main() -> None:
    """Print the table for the demo."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=Path, default=ROOT / "data" / "demo")
    parser.add_argument("--takeoff", type=Path, default=ROOT / "data" / "demo_takeoff")
    parser.add_argument("--quarter", default="2026Q3")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as out:
        table = count_work(asked.records, asked.quarter, asked.takeoff, Path(out))
    print(pd.concat([table, table.sum().to_frame("in all").T]).to_string())


if __name__ == "__main__":
    main()
