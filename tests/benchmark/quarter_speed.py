"""How long `airstats quarter` takes beside four notebooks that only load what ours load.

`python -m tests.benchmark.quarter_speed --times 5` runs the demo's quarter and that floor in turn:
four notebooks by papermill, two at a time, each with the imports of one of ours and nothing else,
and a page of each. It prints seconds by the clock and of the processor, the ratios of the best of
each, and the most memory that all processes of a run together held (pages that several share
counted once: PSS, Linux only).
"""

from __future__ import annotations

import argparse
import ast
import os
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat
import pandas as pd
from nbformat.v4 import new_code_cell, new_notebook

from airstats.documents.run_notebooks import AT_A_TIME, KERNEL, NOTEBOOKS, notebooks_folder

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "demo"
EACH_S = 0.2


def imports_of(name: str) -> str:
    """Return the imports of a notebook, one a line."""
    cells = nbformat.read(notebooks_folder() / f"{name}.ipynb", as_version=4).cells
    code = (ast.parse(cell.source).body for cell in cells if cell.cell_type == "code")
    found = [
        part for body in code for part in body if isinstance(part, ast.Import | ast.ImportFrom)
    ]
    return "\n".join(map(ast.unparse, found))


def floor(folder: Path) -> None:
    """Run the notebooks that only import, and export a page of each."""
    import papermill

    from airstats.documents.html import html_of
    from airstats.documents.page import notebook_page

    def one(name: str) -> None:
        source, done = folder / f"{name}.ipynb", folder / f"{name}.done.ipynb"
        nbformat.write(new_notebook(cells=[new_code_cell(imports_of(name))]), source)
        run = papermill.execute_notebook(source, done, kernel_name=KERNEL, progress_bar=False)
        (folder / f"{name}.html").write_text(html_of(notebook_page(run, {}, "")), encoding="utf-8")

    with ThreadPoolExecutor(AT_A_TIME) as pool:
        list(pool.map(one, NOTEBOOKS))


def measured(call: list[str]) -> dict[str, float]:
    """Run a command and return what it took: clock, processor (s) and memory (MiB)."""
    start, peak = time.perf_counter(), [0.0]
    run = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(EACH_S):
            peak[0] = max(peak[0], sum(map(pss_mib, tree(run.pid))))

    watcher = threading.Thread(target=watch)
    watcher.start()
    _, status, used = os.wait4(run.pid, 0)
    clock = time.perf_counter() - start
    ended.set()
    watcher.join()
    run.returncode = os.waitstatus_to_exitcode(status)
    assert run.returncode == 0, call
    return {"clock_s": clock, "processor_s": used.ru_utime + used.ru_stime, "memory_mib": peak[0]}


def tree(root: int) -> list[int]:
    """Return a process and all that it, and those, began."""
    parents = {}
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents[int(place.parent.name)] = int(place.read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
    found = [root]
    for one in found:
        found += [child for child, parent in parents.items() if parent == one]
    return found


def pss_mib(process: int) -> float:
    """Return the memory of a process, what it shares with others counted in part; 0 once gone."""
    try:
        lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) / 1024 for line in lines if line.startswith("Pss:"))


def main() -> None:
    """Print every run and the ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--floor", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.floor:
        floor(asked.floor)
        return
    rows = []
    for _ in range(asked.times):
        with tempfile.TemporaryDirectory() as out:
            takeoff = f"{DEMO}_takeoff"
            quarter = ["quarter", DEMO, "--quarter", "2026Q3", "--takeoff", takeoff, "--out", out]
            calls = {"quarter": ["airstats", *quarter], "floor": [__spec__.name, "--floor", out]}
            for name, call in calls.items():
                rows.append({"run": name, **measured([sys.executable, "-m", *map(str, call)])})
                print(pd.Series(rows[-1]).to_frame().T.to_string(header=len(rows) == 1), flush=True)
    best = pd.DataFrame(rows).groupby("run").min()
    print("ratio of the best:", (best.loc["quarter"] / best.loc["floor"]).round(2).to_dict())


if __name__ == "__main__":
    main()
