"""Every cell of the four notebooks on invented firms that keep much or little of their jobs.

`python -m tests.benchmark.every_analysis --firms 300 --first 1` executes the code of the notebooks
as they stand, in this process; what fails, or warns, is told with its firm. With `--draw` pictures
are drawn to the last pixel, with `--command 10` the first ten firms go through `airstats quarter`.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import io
import json
import os
import sys
import tempfile
import traceback
import warnings
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd

import airstats
from airstats.__main__ import main as airstats_command
from airstats.base.run_settings import RunSettings
from airstats.documents.run_notebooks import NOTEBOOKS, notebooks_folder
from airstats.reports import desk, recording_text
from airstats.reports.display import STRICT, Picture
from airstats.reports.shared_work import worked_out
from tests.benchmark.worlds import Firm, World, invent_firm
from tests.invented import with_use

KINDS = (
    "usual", "one quarter", "one job", "identical jobs", "zero overrun", "one cut", "lined only",
    "no openings", "none counted", "in summary", "usual",
)  # fmt: skip
"""What kind of firm it is; one firm after the other, so that each kind comes up."""
OPTIONS = (
    "crew", "work_type", "roll_price", "exclude", "mark", "sides", "counted", "rolls", "lap_mm",
    "perimeter_m", "sealant_m", "pretaped_share", "corner_method", "a crew with one job",
    "materials", "material estimates", "material prices", "a quarter without jobs",
    "takeoff", "previous", "firms", "keep", "codes", "depth_error_mm", "an earlier quarter",
    "gross errors", "whole rolls",
)  # fmt: skip
"""What a firm has or has not: columns, tables, and what the call asks for."""
STEPS = {"opened": 1.0, "half": 0.5, "quarter": 0.25, "exact": 0.25}
MATERIALS = ("joint tape", "frame tape", "corner pieces", "sealant")
WORDS = {
    "counted": ["opened", "half", "quarter", "exact"],
    "work_type": ["new house", "loft"],
    "corner_method": ["pieces", "folded", "two_tapes"],
}
NUMBERS = {
    "roll_price": (80.0, 200.0), "perimeter_m": (20.0, 60.0), "sealant_m": (5.0, 40.0),
    "pretaped_share": (0.0, 0.1), "lap_mm": (80.0, 150.0),
}  # fmt: skip


@dataclass(frozen=True)
class Invented:
    """A firm as drawn: its kind, how many jobs, and which options it has."""

    seed: int
    kind: str
    jobs: int
    has: frozenset[str]

    def rng(self) -> np.random.Generator:
        """Return the firm's own source of chance."""
        return np.random.default_rng([self.seed, 11])


def invent(seed: int, most: int = 96) -> Invented:
    """Draw a firm of 3 to `most` jobs; one job where its kind says so."""
    rng = np.random.default_rng([seed, 10])
    kind = KINDS[seed % len(KINDS)]
    jobs = 1 if kind == "one job" else int(np.exp(rng.uniform(np.log(3), np.log(most + 1))))
    return Invented(seed, kind, jobs, frozenset(o for o in OPTIONS if rng.random() < 0.5))


# --- Its files ------------------------------------------------------------------------------------


def save(firm: Invented, folder: Path) -> Path:
    """Write the firm's records, its takeoff beside them, and return where the records are."""
    quarters = 1 if firm.kind == "one quarter" else min(firm.jobs, 5)
    counted = "opened" if "whole rolls" in firm.has else "quarter"
    gross = 0.1 if "gross errors" in firm.has else 0.0
    summary = firm.kind == "in summary"
    world = World(
        "", firm.jobs, quarters, counted, gross_share=gross, summary_only=summary, to_price=3
    )
    drawn = invent_firm(world, firm.seed)
    tables = _finished(firm, drawn)
    _write(folder / "records", tables)
    if "takeoff" in firm.has:
        _write(folder / "records_takeoff", _to_price(firm, drawn))
    return folder / "records"


def _finished(firm: Invented, drawn: Firm) -> dict[str, pd.DataFrame]:
    rng = firm.rng()
    jobs = _columns(firm, drawn.records.jobs.drop(columns=["quarter", "finished"]), rng)
    jobs = _as_kind(firm, jobs)
    if "a quarter without jobs" in firm.has:
        late = jobs["finished_on"] > jobs["finished_on"].min()
        jobs["finished_on"] += pd.to_timedelta(late * 183, unit="D")
    if "exclude" in firm.has and len(jobs) > 3:
        jobs["exclude"] = np.where(np.arange(len(jobs)) % 7 == 3, "rolls were stolen", "")
    tables = {"jobs": jobs, "openings": _openings(firm, drawn.records.openings, rng)}
    if "materials" in firm.has:
        tables["materials"] = _materials(firm, drawn, rng)
    return _in_summary(tables) if firm.kind == "in summary" else tables


def _to_price(firm: Invented, drawn: Firm) -> dict[str, pd.DataFrame]:
    gone = ["quarter", "finished", "finished_on", "estimated_rolls", "used_rolls", "counted"]
    jobs = _columns(firm, drawn.takeoff.jobs.drop(columns=gone), firm.rng())
    jobs = jobs.drop(columns="counted", errors="ignore")
    tables = {"jobs": jobs, "openings": _openings(firm, drawn.takeoff.openings, firm.rng())}
    return _in_summary(tables) if firm.kind == "in summary" else tables


def _columns(firm: Invented, jobs: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Add the columns that the firm keeps, and take out those that it does not."""
    jobs = jobs.drop(columns=["exclude", "lap_mm"]).reset_index(drop=True)
    for name in firm.has & WORDS.keys():
        jobs[name] = rng.choice(WORDS[name], len(jobs))
    for name in firm.has & NUMBERS.keys():
        jobs[name] = rng.uniform(*NUMBERS[name], len(jobs)).round(2)
    if "counted" in firm.has and "used_rolls" in jobs:
        step = jobs["counted"].map(STEPS)
        jobs["used_rolls"] = np.ceil(jobs["used_rolls"] / step) * step
    if "rolls" in firm.has:
        jobs["roll_length_m"] = rng.choice([25.0, 50.0], len(jobs))
    if "a crew with one job" in firm.has:
        jobs.loc[0, "crew"] = "Elm"
    return jobs if "crew" in firm.has else jobs.drop(columns="crew")


def _as_kind(firm: Invented, jobs: pd.DataFrame) -> pd.DataFrame:
    if firm.kind == "zero overrun":
        return jobs.assign(estimated_rolls=jobs["used_rolls"])
    if firm.kind == "identical jobs":
        same = jobs.columns.difference(["job_id", "finished_on"])
        return jobs.assign(**{name: jobs[name].iloc[0] for name in same})
    if firm.kind == "none counted":
        return jobs.assign(opening_count=0)
    return jobs


def _openings(firm: Invented, openings: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    if firm.kind in ("no openings", "none counted"):
        return openings.head(0)
    if firm.kind == "identical jobs":
        first = openings[openings["job_id"].eq(openings["job_id"].iloc[0])]
        ids = openings[["job_id"]].drop_duplicates()
        openings = ids.merge(first.drop(columns="job_id"), how="cross")
    if firm.kind in ("one cut", "lined only"):
        cut = "lined" if firm.kind == "lined only" else rng.choice(["diagonal", "centre"])
        openings = openings.assign(cut_pattern=cut)
    if "mark" in firm.has:
        openings = openings.assign(mark=[f"W{n % 9}" for n in range(len(openings))])
    return openings if "sides" in firm.has else openings.drop(columns="sides")


def _materials(firm: Invented, drawn: Firm, rng: np.random.Generator) -> pd.DataFrame:
    names = [name for name in MATERIALS if name != "sealant" or "sealant_m" in firm.has]
    records = drawn.records
    if "sealant_m" in firm.has:
        extra = rng.uniform(*NUMBERS["sealant_m"], len(records.jobs))
        records = replace(records, jobs=records.jobs.assign(sealant_m=extra))
    kept = [name for name in names if rng.random() < 0.7] or names[:1]
    table = pd.concat([with_use(records, name, 0.2) for name in kept], ignore_index=True)
    if "material estimates" in firm.has:
        table["estimated"] = np.ceil(table["used"] * rng.uniform(0.7, 1.2, len(table)))
    return table if "material prices" in firm.has else table.drop(columns="pack_price")


def _in_summary(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The openings as columns of the jobs."""
    named = {"count": "opening_count", "width_mm": "opening_width_mm"}
    named["height_mm"] = "opening_height_mm"
    columns = ["job_id", *named, "reveal_mm", "cut_pattern"]
    openings = tables["openings"][columns].rename(columns=named).drop_duplicates("job_id")
    rest = {name: table for name, table in tables.items() if name != "openings"}
    return rest | {"jobs": tables["jobs"].merge(openings, on="job_id", how="left")}


def _write(folder: Path, tables: dict[str, pd.DataFrame]) -> None:
    folder.mkdir(parents=True)
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False)


# --- Its call -------------------------------------------------------------------------------------


def parameters(firm: Invented, records: Path) -> dict[str, Any]:
    """Return what the notebooks are called with."""
    found = _quarters(records)
    early = "an earlier quarter" in firm.has and len(found) > 1
    quarter = found[-2] if early else found[-1]
    before = [q for q in found if q < quarter]
    asked: dict[str, Any] = {"records": str(records), "quarter": quarter if early else ""}
    if "previous" in firm.has and before:
        asked["previous"] = str(_previous(records, before[0]))
    if "takeoff" in firm.has:
        asked["takeoff"] = str(records.with_name("records_takeoff"))
    if "firms" in firm.has:
        asked["firms"] = str(save(invent(firm.seed + 1, 12), records.parent / "other"))
    if "keep" in firm.has and before:
        asked |= {"decision": "keep", "decision_reason": "a new crew", "decided_by": "N. N."}
    if "depth_error_mm" in firm.has:
        asked["depth_error_mm"] = 20.0
    return asked | {"codes": "codes" in firm.has}


def _quarters(records: Path) -> list[str]:
    """Return the quarters with a job to learn from, in order."""
    jobs = airstats.read_records(records).jobs
    return sorted(set(jobs.loc[jobs["exclude"].eq(""), "quarter"]))


def _previous(records: Path, quarter: str) -> Path:
    file = records.with_name("previous.json")
    airstats.calibrate(airstats.read_records(records), quarter=quarter).save(file)
    return file


# --- Its notebooks --------------------------------------------------------------------------------


def run_notebook(name: str, asked: dict[str, Any]) -> Iterator[str]:
    """Execute a notebook's code, cell after cell; yield what failed."""
    space: dict[str, Any] = {}
    for place, cell in enumerate(_code(name)):
        try:
            repr(_execute("".join(cell["source"]), space))
        except Exception as error:
            last = traceback.extract_tb(error.__traceback__)[-1]
            where = f"{Path(last.filename).name}:{last.lineno}"
            yield f"{name}, code cell {place + 1}: {type(error).__name__}: {error} ({where})"
            if "desk" not in space:
                return
        if "parameters" in cell["metadata"].get("tags", []):
            given = {"firm": ""} | asked
            space |= {key: value for key, value in given.items() if key in space}


@cache
def _code(name: str) -> list[dict[str, Any]]:
    file = notebooks_folder() / f"{name}.ipynb"
    cells = json.loads(file.read_text(encoding="utf-8"))["cells"]
    return [cell for cell in cells if cell["cell_type"] == "code"]


def _execute(source: str, space: dict[str, Any]) -> Any:
    """Run a cell and return the value of its last line, as Jupyter does."""
    tree = ast.parse(source)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "<cell>", "exec"), space)
    return eval(compile(ast.Expression(last.value), "<cell>", "eval"), space) if last else None


def laid_out(asked: Mapping[str, Any]) -> desk.Desk:
    """Return the desk of a call, as the command lays it out for the four notebooks."""
    call = RunSettings(**asked)
    given = (call.previous, call.takeoff, call.set_aside_bad_rows, call.dates, call.firms)
    sources = desk.read_sources(call.records, *given, call.firm, call.words)
    sources = sources.coded() if call.codes else sources
    return worked_out(sources.desk(call.quarter, call.depth_error_mm))


@contextlib.contextmanager
def laid_ready(asked: Mapping[str, Any]) -> Iterator[None]:
    """Let the notebooks of a call open one desk, as they do in a run."""
    with mock.patch.object(desk, "load_desk", return_value=laid_out(asked)):
        yield


def every_analysis(firm: Invented, folder: Path, draw: bool = False) -> list[str]:
    """Return what failed in the four notebooks of a firm; `draw` its pictures too."""
    with contextlib.ExitStack() as held:
        held.enter_context(mock.patch.dict(os.environ, {STRICT: "1"}))
        held.enter_context(mock.patch("IPython.display.display"))
        if not draw:
            # Nine tenths of the time go into pixels; the parts of a picture are made all the same.
            held.enter_context(
                mock.patch.object(Picture, "_repr_mimebundle_", return_value=({}, {}))
            )
        # A hundred possible truths take seconds and tell nothing more of what may fail.
        held.enter_context(mock.patch.object(recording_text, "DRAWS", 4))
        held.enter_context(warnings.catch_warnings())
        warnings.simplefilter("error")
        asked = parameters(firm, save(firm, folder))
        held.enter_context(laid_ready(asked))
        return [fault for name in NOTEBOOKS for fault in run_notebook(name, asked)]


def by_command(firm: Invented, folder: Path) -> list[str]:
    """Return what `airstats quarter` says on standard error where it does not do it."""
    asked = parameters(firm, save(firm, folder)) | {"out": str(folder / "out")}
    asked["quarter"] = asked["quarter"] or _quarters(asked["records"])[-1]
    words = ["quarter", asked.pop("records"), *(["--codes"] if asked.pop("codes") else [])]
    for name, value in asked.items():
        words += ["--" + name.replace("_", "-"), str(value)]
    said = io.StringIO()
    with contextlib.redirect_stderr(said), contextlib.redirect_stdout(io.StringIO()):
        status = airstats_command(words)
    return [said.getvalue()] if status else []


def judge(seed: int, draw: bool = False, command: bool = False) -> list[str]:
    """Return what failed for the firm of a seed, each with the firm."""
    firm = invent(seed)
    with tempfile.TemporaryDirectory() as place:
        try:
            if command:
                found = by_command(firm, Path(place))
            else:
                found = every_analysis(firm, Path(place), draw)
        except Exception as error:
            found = [f"before the notebooks: {type(error).__name__}: {error}"]
    return [f"firm {seed} ({firm.kind}, {firm.jobs} jobs): {fault}" for fault in found]


def main() -> None:
    """Go through the firms and tell each failure, and how many there were."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--firms", type=int, default=300)
    parser.add_argument("--first", type=int, default=1, help="the first seed")
    parser.add_argument("--command", type=int, default=0, help="so many by the command as well")
    parser.add_argument("--draw", action="store_true", help="the pictures' bytes as well")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.firms)
    with ProcessPoolExecutor(asked.workers) as pool:
        found = _told(pool.map(partial(judge, draw=asked.draw), seeds))
    stopped = _told(judge(seed, command=True) for seed in seeds[: asked.command])
    print(
        f"{asked.firms} firms, of which {found} failed; by the command {asked.command}: {stopped}"
    )
    sys.exit(bool(found or stopped))


def _told(faults: Iterable[list[str]]) -> int:
    """Print faults as they come, and return how many firms had any."""
    firms = 0
    for one in faults:
        firms += bool(one)
        print("\n".join(one), end="\n" if one else "", flush=True)
    return firms


if __name__ == "__main__":
    main()
