"""The command line: a thin skin over the functions."""

from __future__ import annotations

import argparse
import io
import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stdout, suppress
from pathlib import Path
from typing import Any

from airstats import __version__
from airstats.base.errors import AirstatsError
from airstats.base.run_settings import SETTINGS
from airstats.cli import book_intake, commands, quarter_run

DONE, DATA_WILL_NOT_DO, STOPPED = 0, 1, 130
"""Exit statuses; argparse itself leaves with 2 where the command was called wrongly."""
_STOPPED = "stopped by Ctrl-C: no file is half-written. Run the command again for its results."
_Verbs = argparse._SubParsersAction


def main(arguments: list[str] | None = None) -> int:
    """Run one verb; return the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A path may hold what the terminal cannot show.
            stream.reconfigure(errors="backslashreplace")
    try:
        with _stopped_once():
            return _run(_parser().parse_args(arguments))
    except KeyboardInterrupt:
        print(_STOPPED, file=sys.stderr)
        return STOPPED


@contextmanager
def _stopped_once() -> Iterator[None]:
    """Let Ctrl-C stop the run, and no second one cut its tidying short."""

    def stop(*_: object) -> None:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        raise KeyboardInterrupt

    try:
        usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
        if usual:
            signal.signal(signal.SIGINT, stop)
    except ValueError:  # Only the main thread hears signals.
        usual = False
    try:
        yield
    finally:
        if usual:
            signal.signal(signal.SIGINT, signal.default_int_handler)


@contextmanager
def _said_at_the_end() -> Iterator[None]:
    """Keep what is printed until all is written: a listener that goes away must not stop a run."""
    said = io.StringIO()
    try:
        with redirect_stdout(said):
            yield
    except BaseException:
        with suppress(OSError):
            print(said.getvalue(), end="", flush=True)
        raise
    print(said.getvalue(), end="", flush=True)


def _run(asked: argparse.Namespace) -> int:
    try:
        with _said_at_the_end():
            if getattr(asked, "out", None):
                from airstats.cli.overwrite_guard import spare_what_is_there

                spare_what_is_there(asked)
            asked.run(asked)
    except AirstatsError as error:
        print(error, file=sys.stderr)
        return DATA_WILL_NOT_DO
    except BrokenPipeError:
        # The reader of our output has gone (such as `| head`): nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        place = error.filename or "the output"
        print(f"{place}: cannot be read or written ({error.strerror}).", file=sys.stderr)
        return DATA_WILL_NOT_DO
    return DONE


def _quarter_text(text: str) -> str:
    from airstats.base.quarters import quarter_number

    if text == SETTINGS["quarter"].default:
        return text
    try:
        quarter_number(text)
    except AirstatsError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return text


def _positive(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not 0 < number < float("inf"):
        raise argparse.ArgumentTypeError(f'"{text}" is not a number above 0.')
    return number


def _ending(*fit: str) -> Callable[[str], str]:
    """Check that a path to write has one of these endings; "" is for a folder."""
    a_folder = fit == ("",)
    remedy = (
        "a folder is written" if a_folder else f"a file is written that ends in {' or '.join(fit)}"
    )

    def fitting(text: str) -> str:
        from airstats.cli.overwrite_guard import FILES

        ending = Path(text).suffix.lower()
        if ending in fit or (a_folder and ending not in FILES):
            return text
        raise argparse.ArgumentTypeError(f'"{text}" does not fit: {remedy}.')

    return fitting


def _not_negative(text: str) -> float:
    return 0.0 if text.strip() in {"0", "0.0"} else _positive(text)


_CHECKED: dict[str, Callable[[str], Any]] = {
    "quarter": _quarter_text,
    "depth_error_mm": _not_negative,
    "leftover_cost": _not_negative,
    "short_cost": _not_negative,
}
"""How the text of an option is read, where any text will not do."""
_COSTS = ("firm", "leftover_cost", "short_cost")
_DECISION = ("decision", "decision_reason", "decided_by")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="airstats", description=__doc__)
    parser.description = "Reads finished airtightness-sheet jobs and prices the next ones."
    parser.add_argument("--version", action="version", version=f"airstats {__version__}")
    known = parser.add_subparsers(title="verbs", metavar="VERB", required=True)
    verbs = (_add_blank, _add_intake, _add_check, _add_calibrate, _add_price, _add_backtest)
    for add in (*verbs, _add_quarter):
        add(known)
    return parser


def _verb(
    known: _Verbs,
    run: object,
    summary: str,
    example: str,
    source: str = "records",
    options: tuple[str, ...] = ("dates", "words"),
) -> argparse.ArgumentParser:
    name = run.__name__  # type: ignore[attr-defined]
    verb = known.add_parser(
        name, help=summary, description=summary, epilog=f"example: airstats {name} {example}"
    )
    verb.set_defaults(run=run)
    verb.add_argument("records", metavar=source.upper(), help=_SOURCES[source])
    _options(verb, *options)
    return verb


_TABLES = "jobs.csv and openings.csv (or .parquet) in a folder, or one .xlsx"
_SOURCES = {
    "records": f"{SETTINGS['records'].metadata['help']}: {_TABLES}",
    "takeoff": f"the jobs to price: {_TABLES}",
    "book": "the firm's own book: a workbook, a CSV file, or a folder of them",
}


def _options(verb: argparse.ArgumentParser, *names: str, required: tuple[str, ...] = ()) -> None:
    """Add the options for the settings of these names; options and settings read alike."""
    for name in names:
        setting = SETTINGS[name]
        told, choices = setting.metadata["help"], setting.metadata["choices"]
        option = f"--{name.replace('_', '-')}"
        if isinstance(setting.default, bool):
            verb.add_argument(option, action="store_true", help=told)
            continue
        told += f" (default: {setting.default})" if setting.default != "" else ""
        verb.add_argument(
            option,
            type=_CHECKED.get(name, str),
            default=setting.default,
            choices=choices or None,
            required=name in required,
            help=told,
        )


def _add_intake(known: _Verbs) -> None:
    verb = _verb(
        known,
        book_intake.intake,
        "read a book that a firm keeps in its own way, and say what has to be asked",
        "jobs_2026.xlsx --out ours, then: airstats quarter jobs_2026.xlsx --words ours/words.toml"
        " --quarter 2026Q3 --out reports/2026Q3",
        source="book",
        options=("words",),
    )
    verb.add_argument("--out", type=_ending(""), required=True, help="the folder to write to")


def _add_blank(known: _Verbs) -> None:
    about = "write an empty workbook to type records into, with lists and limits in its cells; or"
    about += " with the ending .toml a file for what the firm says of its prices and times"
    example = "example: airstats blank my_records.xlsx, or: airstats blank firm.toml"
    verb = known.add_parser("blank", help=about, description=about, epilog=example)
    verb.set_defaults(run=commands.blank)
    verb.add_argument(
        "out",
        metavar="FILE",
        type=_ending(".xlsx", ".toml"),
        help="the workbook to write (.xlsx), or the firm's file (.toml)",
    )
    verb.add_argument(
        "--takeoff", dest="to_price", action="store_true", help="for jobs still to be priced"
    )


def _add_check(known: _Verbs) -> None:
    verb = _verb(
        known,
        commands.check,
        "tell the faults of the records by kind, or follow an allowances file back its chain",
        "data/demo, or: airstats check reports/2026Q3/allowances.json",
    )
    verb.add_argument(
        "--out",
        type=_ending(""),
        metavar="FOLDER",
        help="also write every fault of the records there (faults.csv), and of a workbook a copy"
        " with the faulty cells coloured and explained (marked.xlsx)",
    )
    verb.set_defaults(misused=verb.error)


def _add_calibrate(known: _Verbs) -> None:
    verb = _verb(
        known,
        commands.calibrate,
        "update the allowances with finished jobs",
        "data/demo --quarter 2026Q3 --previous 2026Q2.json --out 2026Q3.json",
    )
    verb.add_argument(
        "--out", type=_ending(".json"), required=True, help="the allowances file to write (JSON)"
    )
    verb.add_argument(
        "--drift",
        type=_not_negative,
        help="how far waste wanders in a quarter, m² a m² laid (default: learnt)",
    )
    _options(verb, "quarter", "previous", "depth_error_mm", *_DECISION, "set_aside_bad_rows")


def _add_price(known: _Verbs) -> None:
    verb = _verb(
        known,
        commands.price,
        "price the jobs of a takeoff",
        "data/demo_takeoff --allowances 2026Q3.json --out orders.csv",
        source="takeoff",
    )
    verb.add_argument("--allowances", required=True, help="the allowances file to price with")
    verb.add_argument(
        "--out", type=_ending(".csv"), required=True, help="the table of orders to write (CSV)"
    )
    verb.add_argument(
        "--materials", action="store_true", help="price the other materials too, a row each"
    )
    verb.add_argument(
        "--buying-list",
        type=_ending(""),
        metavar="FOLDER",
        help="also write one buying list for all jobs together (CSV, XLSX, page to print)",
    )
    _options(verb, *_COSTS, "set_aside_bad_rows")


def _add_backtest(known: _Verbs) -> None:
    verb = _verb(
        known,
        commands.backtest,
        "price every quarter from those before it and compare",
        "data/demo --out backtest",
    )
    verb.add_argument("--out", type=_ending(""), required=True, help="the folder to write to")
    verb.add_argument(
        "--truth",
        metavar="FILE",
        help="where the truth is known: a CSV of job_id, mean_m2 and sd_m2, for comparison",
    )
    _options(verb, *_COSTS, "set_aside_bad_rows")


def _add_quarter(known: _Verbs) -> None:
    verb = _verb(
        known,
        quarter_run.quarter,
        "check, calibrate, price, and write the reports of a quarter",
        "data/demo --quarter 2026Q3 --takeoff data/demo_takeoff --out reports/2026Q3",
    )
    verb.add_argument("--out", type=_ending(""), required=True, help="the folder to write to")
    known_already = ("records", "dates", "words")
    _options(verb, *(name for name in SETTINGS if name not in known_already), required=("quarter",))
    verb.add_argument(
        "--codes-key",
        type=_ending(".csv"),
        metavar="FILE",
        help="--codes, and write which code is which name (CSV)",
    )


if __name__ == "__main__":
    sys.exit(main())
