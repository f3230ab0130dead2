"""Run the notebooks with papermill, two at a time, and export them as reports."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbformat
import papermill
from nbclient import NotebookClient
from nbformat import NotebookNode
from papermill.engines import NBClientEngine, papermill_engines
from papermill.exceptions import PapermillExecutionError
from tqdm import tqdm
from traitlets.config import Config

from airstats.base.atomic_files import write_whole
from airstats.base.errors import AirstatsError
from airstats.base.number_text import shown
from airstats.base.run_settings import SAVED_DESK, RunSettings
from airstats.documents.html import html_of
from airstats.documents.kernels import Kernel, end_kernels, kernels_of
from airstats.documents.nursery import Nursery
from airstats.documents.page import Page, images, long_tables, notebook_page, parts
from airstats.documents.pdf import pdf_of
from airstats.documents.provenance import Parameters, about_line, command_of, day_of_run, made_from
from airstats.documents.redaction import kept_notebook
from airstats.reports.desk import Desk
from airstats.reports.display import NOT_WORKED_OUT, STRICT, Words

NOTEBOOKS = ("evidence", "price_jobs", "why_jobs_run_over", "update_allowances")
"""The slowest first, so that the others run beside it."""
KERNEL = "python3"
AT_A_TIME = 2
TIMEOUT_S = 600
PAGES = ("html", "pdf")


def run_quarter(
    settings: RunSettings,
    desk: Desk,
    out_dir: str | Path,
    home: Path | None = None,
    nursery: Nursery | None = None,
    saved: Path | None = None,
) -> list[Path]:
    """Run the four notebooks for a quarter and write the reports.

    Parameters
    ----------
    settings : RunSettings
        What the run was asked for; each notebook gets those that its parameters name. With codes,
        no path, no name and no free text is kept in any file.
    desk : Desk
        The desk that was laid out by them, before any decision: the notebooks open it.
    out_dir, home, nursery, saved
        As for `run_quarter_notebooks`.

    Returns
    -------
    list of Path
        The HTML reports. The same as PDF, the executed notebooks, and each picture as PNG and
        SVG with its numbers as CSV under `data/`, stand beside them.

    Raises
    ------
    AirstatsError
        As `run_quarter_notebooks`.
    """
    given, folder = settings.from_anywhere(), notebooks_folder()
    wanted = {name: given.known_to(_parameters(folder / f"{name}.ipynb")) for name in NOTEBOOKS}
    more: dict[str, Any] = {"desk": desk, "nursery": nursery, "saved": saved}
    return run_quarter_notebooks(wanted, out_dir, home=home, **more)


def run_quarter_notebooks(
    parameters_by_notebook: Mapping[str, Parameters],
    out_dir: str | Path,
    progress: bool = True,
    notebooks: Path | None = None,
    home: Path | None = None,
    desk: Desk | None = None,
    nursery: Nursery | None = None,
    saved: Path | None = None,
) -> list[Path]:
    """Execute notebooks, two at a time, and export each as a self-contained HTML page.

    Parameters
    ----------
    parameters_by_notebook : mapping
        Name of a notebook (without ending) to its parameters, plain JSON values.
    out_dir : path
        Gets NAME.html, NAME.pdf, NAME.ipynb, data/NAME-PICTURE.png, .svg and .csv, and
        data/NAME-TABLE.csv of each table that a page does not show whole.
    progress : bool
        Whether to show a bar on standard error.
    notebooks : Path, optional
        The folder of the notebooks; by default the project's own.
    home : Path, optional
        The folder that the reports will be moved to, if not `out_dir`: the command that a report
        states names it.
    desk : Desk, optional
        What the notebooks would work out from the parameters.
    nursery : Nursery, optional
        Where kernels are copied; without one each is a process of its own.
    saved : Path, optional
        Where the desk is saved already, for each notebook to open: see `saved_desk`.

    Raises
    ------
    AirstatsError
        If a parameter or the day is not known, a path holds no text, or a notebook fails:
        then its half-run copy stands as NAME.failed.ipynb, and it has no page.
    """
    folder, out, day = notebooks or notebooks_folder(), Path(out_dir), day_of_run()
    for name, parameters in parameters_by_notebook.items():
        _refuse_no_text([folder, home or out, *parameters.values()])
        _refuse_unknown(folder / f"{name}.ipynb", parameters)
    out.mkdir(parents=True, exist_ok=True)
    faults, missing, command = [], [], command_of(parameters_by_notebook.values(), home or out)
    with ExitStack() as stack, ThreadPoolExecutor(AT_A_TIME) as pool:
        if desk and not saved:
            saved = stack.enter_context(saved_desk(desk, out, nursery))
        run = _Run(out, command, desk, saved, about_line(desk, day), kernels_of(nursery))
        jobs = {
            pool.submit(_run_one, folder / f"{name}.ipynb", dict(parameters), run): name
            for name, parameters in parameters_by_notebook.items()
        }
        done = as_completed(jobs)
        try:
            for job in tqdm(done, "notebooks", len(jobs), file=sys.stderr, disable=not progress):
                if isinstance(error := job.exception(), AirstatsError):
                    faults.append(str(error))
                elif error:
                    raise error
                else:
                    missing += job.result()
        except KeyboardInterrupt:
            pool.shutdown(wait=False, cancel_futures=True)
            end_kernels(jobs)
            raise
    if faults:
        raise AirstatsError("\n".join(sorted(faults)))
    print(*sorted(missing), sep="\n", end="\n" * bool(missing), file=sys.stderr)
    return [out / f"{name}.html" for name in parameters_by_notebook]


@contextmanager
def saved_desk(desk: Desk, out: Path, nursery: Nursery | None) -> Iterator[Path]:
    """Save a desk for the notebooks of a run, below its folder, until they are done.

    What several of them need and takes long is worked out once: in the nursery, while this process
    goes on, or else here.

    Parameters
    ----------
    desk : Desk
        What the notebooks start from.
    out : Path
        The folder of the run.
    nursery : Nursery or None
        The process that the kernels are copied from; None where they start by themselves.
    """
    with _workplace(out) as place:
        path = place.resolve() / "desk.json"
        if nursery:
            desk.save(path)
            nursery.lay_ready(path)
        else:
            # It loads much that this process can do without.
            from airstats.reports.shared_work import worked_out

            worked_out(desk).save(path)
        yield path


def notebooks_folder() -> Path:
    """Return the folder of the notebooks: in the installed package, or in the checkout.

    Raises
    ------
    AirstatsError
        If there is none.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "notebooks", package.parent / "notebooks"):
        if all((folder / f"{name}.ipynb").is_file() for name in NOTEBOOKS):
            return folder
    raise AirstatsError("the notebooks of airstats are not there: install the package again.")


def refresh_notebooks() -> list[Path]:
    """Execute the notebooks in place with their defaults, as they are kept with the project."""
    paths = [notebooks_folder() / f"{name}.ipynb" for name in NOTEBOOKS]
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        list(pool.map(_refresh, paths))
    return paths


def _refresh(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    where = {"metadata": {"path": str(path.parent)}}
    # Times and versions would make every refresh look like a change.
    NotebookClient(
        notebook, kernel_name=KERNEL, resources=where, record_timing=False, timeout=TIMEOUT_S
    ).execute(env=os.environ | {STRICT: "1"})
    notebook.metadata.get("language_info", {}).pop("version", None)
    text = nbformat.writes(notebook)  # type: ignore[no-untyped-call]
    write_whole(path, text + "\n")


@dataclass(frozen=True)
class _Run:
    """What the notebooks of a run share: results, command, desk, its place, whose, the kernels."""

    out: Path
    command: str
    desk: Desk | None
    saved: Path | None
    about: str
    kernels: type[Kernel]


def _run_one(source: Path, parameters: dict[str, Any], run: _Run) -> list[str]:
    """Run and export a notebook; return what it could not work out."""
    name, out = source.stem, run.out
    with _workplace(out) as place:
        running = place / source.name
        opened = {SAVED_DESK: str(run.saved)} if run.saved else {}
        try:
            _execute(source, running, parameters | opened, run.kernels)
        except (PapermillExecutionError, RuntimeError, TimeoutError, KeyError) as error:
            for ending in PAGES:
                (out / f"{name}.{ending}").unlink(missing_ok=True)
            coded = bool(parameters.get("codes"))
            if running.exists() and not coded:
                _keep(running, parameters, out / f"{name}.failed.ipynb")
            raise AirstatsError(_fault(name, error, kept=not coded)) from error
        notebook = _keep(running, parameters, out / source.name)
    (out / f"{name}.failed.ipynb").unlink(missing_ok=True)
    page = notebook_page(notebook, made_from(name, parameters, run.desk), run.command, run.about)
    _write(name, page, out)
    said = [part.text for part in parts(page) if isinstance(part, Words)]
    return [f"{name}: {text}" for text in said if text.startswith(NOT_WORKED_OUT)]


def _keep(running: Path, parameters: Parameters, target: Path) -> NotebookNode:
    """Move an executed notebook into its place, without what is not to be kept."""
    notebook = nbformat.read(running, as_version=4)  # type: ignore[no-untyped-call]
    notebook = kept_notebook(notebook, parameters)
    nbformat.write(notebook, running)  # type: ignore[no-untyped-call]
    os.replace(running, target)
    return notebook


def _write(name: str, page: Page, out: Path) -> None:
    """Write a page, its pictures and the tables that it does not show whole."""
    for picture in images(page):
        kinds: dict[str, str | bytes] = {"png": picture.png, "svg": picture.svg, "csv": picture.csv}
        for ending, content in kinds.items():
            if content:
                write_whole(out / page.file_of(picture, ending), content)
    for table in long_tables(page):
        write_whole(out / page.file_of(table), table.csv)
    write_whole(out / f"{name}.pdf", pdf_of(page))
    write_whole(out / f"{name}.html", html_of(page))


class _SavedAtTheEnd(NBClientEngine):  # type: ignore[misc]
    """Runs a notebook as papermill does, but saves it once: at its end, or where it broke off."""

    NAME = "saved at the end"

    @classmethod
    def execute_managed_notebook(
        cls, nb_man: Any, kernel_name: str, half_run: Path, **more: Any
    ) -> None:
        try:
            super().execute_managed_notebook(nb_man, kernel_name, **more)
        except BaseException:
            nbformat.write(nb_man.nb, half_run)  # type: ignore[no-untyped-call]
            raise


papermill_engines.register(_SavedAtTheEnd.NAME, _SavedAtTheEnd)


def _execute(source: Path, target: Path, parameters: dict[str, Any], kernels: type[Kernel]) -> None:
    # Elsewhere the files by which kernels are reached would pile up if runs are killed.
    reached_by = str(target.with_name("kernel.json").resolve())
    papermill.execute_notebook(
        _verbatim(source),
        _verbatim(target),
        parameters=parameters,
        engine_name=_SavedAtTheEnd.NAME,
        half_run=target,
        request_save_on_cell_execute=False,
        kernel_name=KERNEL,
        progress_bar=False,
        execution_timeout=TIMEOUT_S,
        # papermill's own `cwd` would move this whole process, and its other thread, elsewhere.
        resources={"metadata": {"path": str(source.parent)}},
        shutdown_kernel="immediate",
        kernel_manager_class=kernels,
        extra_arguments=["--IPKernelApp.log_level=40"],
        config=Config(KernelManager={"connection_file": reached_by}),
    )


@contextmanager
def _workplace(out: Path) -> Iterator[Path]:
    """A folder for half-run notebooks, on the same disk, so that moving them is one step."""
    with tempfile.TemporaryDirectory(dir=out, prefix=".running-") as place:
        yield Path(place)


def _refuse_unknown(path: Path, parameters: Parameters) -> None:
    if not path.is_file():
        raise AirstatsError(f"there is no notebook {path.stem}: use one of {', '.join(NOTEBOOKS)}.")
    known = _parameters(path)
    for name in parameters:
        if name not in known:
            raise AirstatsError(
                f"{path.stem} has no parameter {name}: use one of {', '.join(known)}."
            )


def _parameters(notebook: Path) -> list[str]:
    """The names in a notebook's cell of parameters."""
    return list(papermill.inspect_notebook(_verbatim(notebook)))


def _refuse_no_text(values: Iterable[Any]) -> None:
    """Refuse a path with a byte that is not UTF-8: no notebook or page could hold it."""
    for text in map(str, values):
        if text.encode("utf-8", "replace").decode() != text:
            raise AirstatsError(
                f"{shown(text)}: the path holds a byte that is no text (UTF-8), so that no report"
                " can name it. Rename that file or folder."
            )


def _verbatim(path: Path) -> str:
    """A path for papermill, which fills in what stands in braces."""
    return str(path).replace("{", "{{").replace("}", "}}")


def _fault(name: str, error: BaseException, kept: bool) -> str:
    if isinstance(error, PapermillExecutionError):
        reason = f"{error.ename}: {error.evalue}"
        place = f"cell {error.exec_count}"
    else:
        reason, place = f"{type(error).__name__}: {error}", "kernel"
    reason = "; ".join(line.strip() for line in reason.splitlines() if line.strip())
    copy = f"half-run copy: {name}.failed.ipynb" if kept else "with codes no half-run copy is kept"
    return f"{name}, {place}: {reason} ({copy})"
