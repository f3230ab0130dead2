"""The command line: a thin skin over the functions."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from airstats import __version__
from airstats.errors import AirstatsError

if TYPE_CHECKING:
    from airstats.allowances import Allowances
    from airstats.records import Records

DONE, DATA_WILL_NOT_DO, CALLED_WRONGLY = 0, 1, 2
CAUTION = (
    "airstats counts material; it does not design the airtight layer. For ventilation, combustion"
    " air, moisture and safe working follow local codes and licensed practice."
)


def main(arguments: list[str] | None = None) -> int:
    """Run one verb; return the exit status."""
    asked = _parser().parse_args(arguments)
    try:
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


def check(asked: argparse.Namespace) -> None:
    """List every fault of the records."""
    from airstats.errors import RecordsError
    from airstats.records import check_records, read_records

    faults = check_records(asked.records, dates=asked.dates)
    if faults:
        lines = [f"{len(faults)} fault{'s' * (len(faults) > 1)} found:", *map(str, faults)]
        raise RecordsError("\n".join(lines))
    records = read_records(asked.records, dates=asked.dates)
    finished = int(records.jobs["finished"].sum())
    print(
        f"{records.source}: no fault in {len(records.jobs)} jobs ({finished} finished) and"
        f" {len(records.openings)} rows of openings."
    )
    _print_lines(records.notes)


def calibrate(asked: argparse.Namespace) -> None:
    """Update the allowances and save them."""
    from airstats.allowances import load_allowances
    from airstats.chain import calibrate as fit

    records = _read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    now = fit(
        records,
        previous,
        asked.quarter,
        drift=asked.drift,
        depth_error_mm=asked.depth_error_mm,
    )
    now.save(asked.out)
    _write_set_aside(records, Path(asked.out).parent)
    _print_allowances(now, previous)
    _print_lines(records.notes)
    print(f"written: {asked.out}")


def price(asked: argparse.Namespace) -> None:
    """Price the jobs of a takeoff."""
    from airstats.allowances import load_allowances, write_whole
    from airstats.pricing import price as work_out

    takeoff = _read(asked)
    known = load_allowances(asked.allowances)
    orders = work_out(takeoff, known, asked.leftover_cost, asked.short_cost)
    write_whole(Path(asked.out), orders.to_csv(index=False, lineterminator="\n"))
    _write_set_aside(takeoff, Path(asked.out).parent)
    for row in orders.itertuples():
        print(
            f"{row.job_id}: order {row.order_rolls} rolls; sheet {row.expected_m2:.0f} m²"
            f" (80 %: {row.low_m2:.0f} to {row.high_m2:.0f} m²); chance of being short"
            f" {row.chance_short:.1%}; {row.expected_left_over_rolls:.1f} rolls left over likely"
        )
    print(f"written: {asked.out}")
    print(CAUTION)


def backtest(asked: argparse.Namespace) -> None:
    """Price every quarter from those before it."""
    from airstats.allowances import write_whole
    from airstats.backtest import RULES
    from airstats.backtest import backtest as look_back

    records = _read(asked)
    result = look_back(records, asked.leftover_cost, asked.short_cost)
    folder = Path(asked.out)
    for name, table in (("backtest_jobs", result.jobs), ("backtest_summary", result.summary)):
        write_whole(folder / f"{name}.csv", table.to_csv(index=False, lineterminator="\n"))
    _write_set_aside(records, folder)
    for row in result.summary.itertuples():
        print(
            f"{RULES[str(row.rule)]}: {row.jobs:.0f} jobs, {row.mean_cost:.0f} money a job,"
            f" {row.jobs_short:.0f} jobs short by {row.rolls_short:.0f} rolls,"
            f" {row.rolls_left_over:.0f} rolls left over"
        )
    print(f"80 % intervals held {result.held_80:.0%} of the uses; written: {folder}")


def quarter(asked: argparse.Namespace) -> None:
    """Do the main job: check, calibrate, price, run the notebooks, export the reports."""
    from airstats.allowances import load_allowances, write_whole
    from airstats.chain import calibrate_through
    from airstats.pricing import price as work_out

    records = _read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    *_, now = calibrate_through(records, asked.quarter, previous)
    takeoff = _read(asked, asked.takeoff) if asked.takeoff else None
    orders = work_out(takeoff, now, asked.leftover_cost, asked.short_cost) if takeoff else None
    from airstats.workbook import run_quarter

    folder = Path(asked.out)
    reports = run_quarter(
        asked.records,
        asked.quarter,
        folder,
        previous=asked.previous,
        takeoff=asked.takeoff,
        leftover_cost=asked.leftover_cost,
        short_cost=asked.short_cost,
        set_aside_bad_rows=asked.set_aside_bad_rows,
        dates=asked.dates,
    )
    now.save(folder / "allowances.json")
    if orders is not None:
        write_whole(folder / "orders.csv", orders.to_csv(index=False, lineterminator="\n"))
    _write_set_aside(records, folder)
    _print_allowances(now, previous)
    for report in reports:
        print(f"written: {report}")
    print(CAUTION)


def _read(asked: argparse.Namespace, path: str | None = None) -> Records:
    from airstats.records import read_records

    return read_records(path or asked.records, asked.set_aside_bad_rows, asked.dates)


def _write_set_aside(records: Records, folder: Path) -> None:
    if records.set_aside.empty:
        return
    from airstats.allowances import write_whole

    text = records.set_aside.to_csv(index=False, lineterminator="\n")
    write_whole(folder / "set_aside.csv", text)
    print(
        f"{len(records.set_aside)} rows set aside, unchanged and with reasons:"
        f" {folder / 'set_aside.csv'}"
    )


def _print_allowances(now: Allowances, previous: Allowances | None) -> None:
    print(
        f"allowances of {now.quarter}: {len(now.new_jobs)} jobs new,"
        f" {len(now.job_ids)} in the chain"
    )
    for name, row in now.table().iterrows():
        print(
            f"  {name:16s} {row['mean']:.3f} ± {row['sd']:.3f} {row['unit']}"
            f" (90 %: {row['low']:.3f} to {row['high']:.3f})"
        )
    if previous is not None:
        print(f"jobs counted in {previous.quarter} or before are not counted again")
    if now.late_jobs:
        print(f"late jobs of earlier quarters, used now: {', '.join(now.late_jobs)}")
    for job, probability in now.suspects.items():
        print(f"look at job {job}: its record is wrong with probability {probability:.0%}")


def _print_lines(lines: tuple[str, ...]) -> None:
    for line in lines:
        print(f"note: {line}")


def _quarter_text(text: str) -> str:
    from airstats.quarters import quarter_number

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


def _not_negative(text: str) -> float:
    return 0.0 if text.strip() in {"0", "0.0"} else _positive(text)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="airstats", description=__doc__)
    parser.description = "Reads finished airtightness-sheet jobs and prices the next ones."
    parser.add_argument("--version", action="version", version=f"airstats {__version__}")
    verbs = parser.add_subparsers(title="verbs", metavar="VERB", required=True)
    _add_check(verbs)
    _add_calibrate(verbs)
    _add_price(verbs)
    _add_backtest(verbs)
    _add_quarter(verbs)
    return parser


def _verb(
    verbs: argparse._SubParsersAction[argparse.ArgumentParser],
    run: object,
    summary: str,
    example: str,
    source: str = "records",
) -> argparse.ArgumentParser:
    name = run.__name__  # type: ignore[attr-defined]
    verb = verbs.add_parser(
        name, help=summary, description=summary, epilog=f"example: airstats {name} {example}"
    )
    verb.set_defaults(run=run)
    verb.add_argument(
        "records",
        metavar=source.upper(),
        help="a folder with jobs.csv and openings.csv (or .parquet), or one .xlsx workbook",
    )
    verb.add_argument(
        "--dates",
        choices=("ask", "day-first", "month-first"),
        default="ask",
        help="how to read a date like 03/04/2026 (default: ask)",
    )
    return verb


def _set_aside(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--set-aside-bad-rows",
        action="store_true",
        help="go on without faulty rows; they go, unchanged and with reasons, to set_aside.csv",
    )


def _costs(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--leftover-cost", type=_positive, default=60.0, help="money a roll left over (default 60)"
    )
    verb.add_argument(
        "--short-cost", type=_positive, default=240.0, help="money a roll short (default 240)"
    )


def _add_check(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    _verb(verbs, check, "list every fault of the records", "data/demo")


def _add_calibrate(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    verb = _verb(
        verbs,
        calibrate,
        "update the allowances with finished jobs",
        "data/demo --quarter 2026Q3 --previous 2026Q2.json --out 2026Q3.json",
    )
    verb.add_argument("--quarter", type=_quarter_text, help="like 2026Q3; without it: all in turn")
    verb.add_argument("--previous", help="the allowances file of an earlier quarter")
    verb.add_argument("--out", required=True, help="the allowances file to write (JSON)")
    verb.add_argument(
        "--drift",
        type=_not_negative,
        help="how far waste wanders in a quarter, m² a m² laid (default: learnt)",
    )
    verb.add_argument(
        "--depth-error-mm",
        type=_not_negative,
        default=0.0,
        help="measuring error of the reveal depths, mm (sd; default 0)",
    )
    _set_aside(verb)


def _add_price(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    verb = _verb(
        verbs,
        price,
        "price the jobs of a takeoff",
        "data/demo_takeoff --allowances 2026Q3.json --out orders.csv",
        source="takeoff",
    )
    verb.add_argument("--allowances", required=True, help="the allowances file to price with")
    verb.add_argument("--out", required=True, help="the table of orders to write (CSV)")
    _costs(verb)
    _set_aside(verb)


def _add_backtest(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    verb = _verb(
        verbs,
        backtest,
        "price every quarter from those before it and compare",
        "data/demo --out backtest",
    )
    verb.add_argument("--out", required=True, help="the folder to write to")
    _costs(verb)
    _set_aside(verb)


def _add_quarter(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    verb = _verb(
        verbs,
        quarter,
        "check, calibrate, price, and write the reports of a quarter",
        "data/demo --quarter 2026Q3 --takeoff data/demo_takeoff --out reports/2026Q3",
    )
    verb.add_argument("--quarter", type=_quarter_text, required=True, help="like 2026Q3")
    verb.add_argument("--out", required=True, help="the folder to write to")
    verb.add_argument("--previous", help="the allowances file of an earlier quarter")
    verb.add_argument("--takeoff", help="jobs to price; without it the quarter's own jobs")
    _costs(verb)
    _set_aside(verb)


if __name__ == "__main__":
    sys.exit(main())
