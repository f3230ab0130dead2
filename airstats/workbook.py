"""Run the notebooks with papermill, two at a time, and export them as reports."""

from __future__ import annotations

import os
import platform
import shlex
import sys
import tempfile
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any

import nbformat
import papermill
from nbclient import NotebookClient
from papermill.exceptions import PapermillExecutionError
from tqdm import tqdm

from airstats.desk import takeoff_path
from airstats.errors import AirstatsError
from airstats.export import picture_files, picture_tables, report_html
from airstats.files import write_whole
from airstats.pricing import LEFTOVER_COST, SHORT_COST
from airstats.sources import read_source

NOTEBOOKS = ("evidence", "price_jobs", "why_jobs_run_over", "update_allowances")
"""The slowest first, so that the others run beside it."""
KERNEL = "python3"
AT_A_TIME = 2
TIMEOUT_S = 600
PACKAGES = ("airstats", "numpy", "pandas", "scipy", "statsmodels", "matplotlib", "seaborn")
_PATHS = ("records", "previous", "takeoff")

Parameters = Mapping[str, Any]


def run_quarter(
    records: str | Path,
    quarter: str,
    out_dir: str | Path,
    previous: str | Path | None = None,
    takeoff: str | Path | None = None,
    leftover_cost: float = LEFTOVER_COST,
    short_cost: float = SHORT_COST,
    set_aside_bad_rows: bool = False,
    dates: str = "ask",
    progress: bool = True,
) -> list[Path]:
    """Run the four notebooks for a quarter and write the reports.

    Returns
    -------
    list of Path
        The HTML reports. The executed notebooks, and each picture's numbers as CSV under
        `data/`, stand beside them.

    Raises
    ------
    AirstatsError
        As `run_quarter_notebooks`.
    """
    common = {
        "records": _absolute(records),
        "quarter": quarter,
        "previous": _absolute(previous),
        "set_aside_bad_rows": set_aside_bad_rows,
        "dates": dates,
    }
    costs = {"leftover_cost": leftover_cost, "short_cost": short_cost}
    extra: dict[str, dict[str, Any]] = {
        "price_jobs": {"takeoff": _absolute(takeoff), **costs},
        "evidence": costs,
    }
    wanted = {name: common | extra.get(name, {}) for name in NOTEBOOKS}
    return run_quarter_notebooks(wanted, out_dir, progress)


def run_quarter_notebooks(
    parameters_by_notebook: Mapping[str, Parameters],
    out_dir: str | Path,
    progress: bool = True,
    notebooks: Path | None = None,
) -> list[Path]:
    """Execute notebooks, two at a time, and export each as a self-contained HTML page.

    Parameters
    ----------
    parameters_by_notebook : mapping
        Name of a notebook (without ending) to its parameters, plain JSON values.
    out_dir : path
        Gets NAME.html, NAME.ipynb and data/NAME-PICTURE.csv.
    progress : bool
        Whether to show a bar on standard error.
    notebooks : Path, optional
        The folder of the notebooks; by default the project's own.

    Raises
    ------
    AirstatsError
        If a parameter is not known, or a notebook fails: then its half-run copy stands as
        NAME.failed.ipynb, and it has no page.
    """
    folder, out = notebooks or notebooks_folder(), Path(out_dir)
    for name, parameters in parameters_by_notebook.items():
        _refuse_unknown(folder / f"{name}.ipynb", parameters)
    out.mkdir(parents=True, exist_ok=True)
    faults = []
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        jobs = {
            pool.submit(_run_one, folder / f"{name}.ipynb", dict(parameters), out): name
            for name, parameters in parameters_by_notebook.items()
        }
        done = as_completed(jobs)
        for job in tqdm(done, "notebooks", len(jobs), file=sys.stderr, disable=not progress):
            if isinstance(error := job.exception(), AirstatsError):
                faults.append(str(error))
            elif error:
                raise error
    if faults:
        raise AirstatsError("\n".join(sorted(faults)))
    return [out / f"{name}.html" for name in parameters_by_notebook]


def notebooks_folder() -> Path:
    """Return the folder of the notebooks: in the installed package, or in the checkout.

    Raises
    ------
    AirstatsError
        If there is none.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "notebooks", package.parent / "notebooks"):
        if all((folder / f"{name}.ipynb").is_file() for name in NOTEBOOKS):
            return folder
    raise AirstatsError("the notebooks of airstats are not there: install the package again.")


def refresh_notebooks(folder: Path | None = None) -> list[Path]:
    """Execute the notebooks in place with their defaults, as they are kept with the project."""
    folder = folder or notebooks_folder()
    paths = [folder / f"{name}.ipynb" for name in NOTEBOOKS]
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        list(pool.map(_refresh, paths))
    return paths


def _refresh(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    where = {"metadata": {"path": str(path.parent)}}
    # Times and versions would make every refresh look like a change.
    NotebookClient(
        notebook, kernel_name=KERNEL, resources=where, record_timing=False, timeout=TIMEOUT_S
    ).execute()
    notebook.metadata.get("language_info", {}).pop("version", None)
    text = nbformat.writes(notebook)  # type: ignore[no-untyped-call]
    write_whole(path, text + "\n")


def _run_one(source: Path, parameters: dict[str, Any], out: Path) -> None:
    name = source.stem
    with _workplace(out) as place:
        running = place / source.name
        try:
            _execute(source, running, parameters)
        except (PapermillExecutionError, RuntimeError, TimeoutError, KeyError) as error:
            (out / f"{name}.html").unlink(missing_ok=True)
            if running.exists():
                os.replace(running, out / f"{name}.failed.ipynb")
            raise AirstatsError(_fault(name, error)) from error
        notebook = nbformat.read(running, as_version=4)  # type: ignore[no-untyped-call]
        os.replace(running, out / source.name)
    (out / f"{name}.failed.ipynb").unlink(missing_ok=True)
    for picture, csv in picture_tables(notebook).items():
        write_whole(out / "data" / f"{name}-{picture}.csv", csv)
    for picture, content in picture_files(notebook).items():
        (out / "data" / f"{name}-{picture}.png").write_bytes(content)
    page = report_html(notebook, _made(name, parameters), _command(parameters, out))
    write_whole(out / f"{name}.html", page)


def _execute(source: Path, target: Path, parameters: dict[str, Any]) -> None:
    papermill.execute_notebook(
        source,
        target,
        parameters=parameters,
        kernel_name=KERNEL,
        progress_bar=False,
        execution_timeout=TIMEOUT_S,
        # papermill's own `cwd` would move this whole process, and its other thread, elsewhere.
        resources={"metadata": {"path": str(source.parent)}},
        shutdown_kernel="immediate",
        extra_arguments=["--IPKernelApp.log_level=40"],
    )


@contextmanager
def _workplace(out: Path) -> Iterator[Path]:
    """A folder for half-run notebooks, on the same disk, so that moving them is one step."""
    with tempfile.TemporaryDirectory(dir=out, prefix=".running-") as place:
        yield Path(place)


def _refuse_unknown(path: Path, parameters: Parameters) -> None:
    if not path.is_file():
        raise AirstatsError(f"there is no notebook {path.stem}: use one of {', '.join(NOTEBOOKS)}.")
    known = papermill.inspect_notebook(path)
    for name in parameters:
        if name not in known:
            raise AirstatsError(
                f"{path.stem} has no parameter {name}: use one of {', '.join(known)}."
            )


def _fault(name: str, error: BaseException) -> str:
    if isinstance(error, PapermillExecutionError):
        reason = f"{error.ename}: {error.evalue}"
        place = f"cell {error.exec_count}"
    else:
        reason, place = f"{type(error).__name__}: {error}", "kernel"
    reason = "; ".join(line.strip() for line in reason.splitlines() if line.strip())
    return f"{name}, {place}: {reason} (half-run copy: {name}.failed.ipynb)"


def _made(name: str, parameters: Parameters) -> dict[str, str]:
    """What a report says of its making; of paths only their names, they are private."""
    shown = {key: _shown(key, value) for key, value in parameters.items()}
    made = {"notebook": name, **shown}
    if parameters.get("records"):
        made["records' digest"] = read_source(parameters["records"]).digest
    takeoff = takeoff_path(parameters.get("records", ""), parameters.get("takeoff", ""))
    if takeoff:
        made["takeoff's digest"] = read_source(takeoff).digest
    versions = [f"{package} {version(package)}" for package in PACKAGES]
    return made | {"versions": ", ".join([f"python {platform.python_version()}", *versions])}


def _command(parameters: Parameters, out: Path) -> str:
    parts = ["airstats", "quarter", _shown("records", parameters.get("records", "RECORDS"))]
    parts += ["--quarter", str(parameters.get("quarter", ""))]
    for name in ("previous", "takeoff", "leftover_cost", "short_cost"):
        if parameters.get(name):
            parts += [f"--{name.replace('_', '-')}", _shown(name, parameters[name])]
    if parameters.get("dates", "ask") != "ask":
        parts += ["--dates", parameters["dates"]]
    parts += ["--set-aside-bad-rows"] if parameters.get("set_aside_bad_rows") else []
    return shlex.join([*parts, "--out", out.resolve().name])


def _shown(name: str, value: Any) -> str:
    if value == "":
        return "(none)"
    if isinstance(value, float):
        return f"{value:g}"
    return Path(value).name if name in _PATHS else str(value)


def _absolute(path: str | Path | None) -> str:
    return str(Path(path).resolve()) if path else ""
