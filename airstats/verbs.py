"""What each verb of the command line does. Imports wait until a verb needs them."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from airstats import verbs_materials

if TYPE_CHECKING:
    import pandas as pd

    from airstats.allowances import Allowances
    from airstats.records import Records

CAUTION = (
    "airstats counts material; it does not design the airtight layer. For ventilation, combustion"
    " air, moisture and safe working follow local codes and licensed practice."
)

_FAILED = "*.failed.ipynb"
_OF_A_QUARTER = (_FAILED, "orders.csv", "buying_list.*", "set_aside.csv", "data/*-*.*")


def check(asked: argparse.Namespace) -> None:
    """List every fault of the records, or of the chain that an allowances file ends."""
    from airstats.errors import RecordsError
    from airstats.records import check_records, read_records

    if Path(asked.records).suffix.lower() == ".json":
        _check_chain(asked.records)
        return
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


def _check_chain(path: str) -> None:
    from airstats.chain_check import check_chain
    from airstats.errors import AllowancesError

    found = check_chain(path)
    print("\n".join(found.lines()))
    if found.faults:
        count = len(found.faults)
        heading = f"{count} fault{'s' * (count > 1)} in the chain:"
        raise AllowancesError("\n".join([heading, *found.faults]))
    _print_lines(found.notes)


def calibrate(asked: argparse.Namespace) -> None:
    """Update the allowances and save them."""
    from airstats.allowances import load_allowances
    from airstats.decisions import check_decision, decided_update

    decision = (asked.decision, asked.decision_reason, asked.decided_by)
    check_decision(*decision)
    records = _read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    now = decided_update(
        records, asked.quarter, previous, decision, asked.depth_error_mm, asked.drift
    )
    _write_set_aside(records, Path(asked.out).parent)
    now.save(asked.out)
    _print_allowances(now, previous)
    _print_lines(records.notes)
    print(f"written: {asked.out}")


def price(asked: argparse.Namespace) -> None:
    """Price the jobs of a takeoff."""
    from airstats.allowances import load_allowances
    from airstats.defused import csv_of
    from airstats.files import write_whole
    from airstats.pricing import price as work_out

    takeoff = _read(asked)
    known = load_allowances(asked.allowances)
    if asked.materials:
        orders = verbs_materials.price_all(asked, takeoff, known)
    else:
        orders = work_out(takeoff, known, asked.leftover_cost, asked.short_cost)
        _print_orders(orders)
    write_whole(Path(asked.out), csv_of(orders))
    _write_set_aside(takeoff, Path(asked.out).parent)
    written = [Path(asked.out)]
    if asked.buying_list:
        written += verbs_materials.write_list(asked, takeoff, known, CAUTION, asked.buying_list)
    for path in written:
        print(f"written: {path}")
    print(CAUTION)


def _print_orders(orders: pd.DataFrame) -> None:
    from airstats.phrases import each, percent

    for row in each(orders):
        print(
            f"{row.job_id}: order {row.order_rolls} rolls; sheet {row.expected_m2:.0f} m²"
            f" (80 %: {row.low_m2:.0f} to {row.high_m2:.0f} m²); chance of being short"
            f" {percent(row.chance_short, 1)}; on average {row.expected_left_over_rolls:.1f} rolls"
            " left over"
        )


def backtest(asked: argparse.Namespace) -> None:
    """Price every quarter from those before it."""
    from airstats.defused import csv_of
    from airstats.files import write_whole
    from airstats.looking_back import WORDS_OF_RULES, read_truth
    from airstats.looking_back import backtest as look_back

    records = _read(asked)
    truth = read_truth(asked.truth) if asked.truth else None
    result = look_back(records, asked.leftover_cost, asked.short_cost, truth)
    folder = Path(asked.out)
    for name, table in (("backtest_jobs", result.jobs), ("backtest_summary", result.summary)):
        write_whole(folder / f"{name}.csv", csv_of(table))
    _write_set_aside(records, folder)
    for row in result.summary.itertuples():
        print(
            f"{WORDS_OF_RULES[str(row.rule)]}: {row.jobs:.0f} jobs,"
            f" {row.mean_cost:.0f} money a job, {row.jobs_short:.0f} jobs short by"
            f" {row.rolls_short:.0f} rolls, {row.rolls_left_over:.0f} rolls left over"
        )
    print(f"80 % intervals held {100 * result.held_80:.0f} % of the uses; written: {folder}")


def quarter(asked: argparse.Namespace) -> None:
    """Do the main job: check, calibrate, price, run the notebooks, export the reports."""
    from airstats.allowances import load_allowances
    from airstats.decisions import check_decision, decided_update
    from airstats.defused import csv_of
    from airstats.files import write_whole
    from airstats.pricing import price as work_out
    from airstats.verbs_materials import write_list

    decision = (asked.decision, asked.decision_reason, asked.decided_by)
    check_decision(*decision)
    records = _read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    takeoff = _read(asked, asked.takeoff) if asked.takeoff else None
    codes = bool(asked.codes or asked.codes_key)
    if codes:
        records, previous, takeoff = _coded(asked, records, previous, takeoff)
        decision = (asked.decision, *("not shown" if text else "" for text in decision[1:]))
    now = decided_update(records, asked.quarter, previous, decision, asked.depth_error_mm)
    orders = work_out(takeoff, now, asked.leftover_cost, asked.short_cost) if takeoff else None
    from airstats.staging import made_together

    folder = Path(asked.out)
    with made_together(folder, _OF_A_QUARTER, "allowances.json", _FAILED) as making:
        reports = _make_reports(asked, making, decision, codes)
        reports += _write_card_and_sheet(now, making, asked.leftover_cost, asked.short_cost)
        if orders is not None:
            write_whole(making / "orders.csv", csv_of(orders))
        if takeoff is not None:
            reports += write_list(asked, takeoff, now, CAUTION, making, bool(now.materials))
        _write_set_aside(records, making, folder)
        now.save(making / "allowances.json")
    _print_allowances(now, previous)
    for report in reports:
        print(f"written: {folder / report.relative_to(making)}")
    print(CAUTION)


def _make_reports(
    asked: argparse.Namespace, making: Path, decision: tuple[str, str, str], codes: bool
) -> list[Path]:
    from airstats.workbook import run_quarter

    return run_quarter(
        asked.records,
        asked.quarter,
        making,
        previous=asked.previous,
        takeoff=asked.takeoff,
        leftover_cost=asked.leftover_cost,
        short_cost=asked.short_cost,
        set_aside_bad_rows=asked.set_aside_bad_rows,
        dates=asked.dates,
        decision=decision,
        codes=codes,
        firms=asked.firms,
        depth_error_mm=asked.depth_error_mm,
        home=Path(asked.out),
    )


def _coded(
    asked: argparse.Namespace,
    records: Records,
    previous: Allowances | None,
    takeoff: Records | None,
) -> tuple[Records, Allowances | None, Records | None]:
    """The sources with codes for names; the key goes to its file only if one is named."""
    from airstats.codes import code_names, coded_sources
    from airstats.defused import csv_of
    from airstats.files import write_whole
    from airstats.masking import refuse_named_folder

    refuse_named_folder(Path(asked.out))
    if asked.codes_key:
        key = code_names(records, previous, takeoff).key()
        write_whole(Path(asked.codes_key), csv_of(key))
        print(f"written: {asked.codes_key}, which undoes the codes: do not hand it over")
    print("allowances.json will hold codes: for the next quarter keep that of a run without them")
    return coded_sources(records, previous, takeoff)


def _read(asked: argparse.Namespace, path: str | None = None) -> Records:
    from airstats.records import read_records

    return read_records(path or asked.records, asked.set_aside_bad_rows, asked.dates)


def _write_card_and_sheet(
    now: Allowances, folder: Path, leftover_cost: float, short_cost: float
) -> list[Path]:
    """What an estimator prices with away from here: a card to print, and a live spreadsheet."""
    from airstats.card import allowance_card
    from airstats.files import write_whole
    from airstats.price_sheet import price_sheet

    card, sheet = folder / "allowance_card.html", folder / "price_sheet.xlsx"
    write_whole(card, allowance_card(now, leftover_cost, short_cost))
    write_whole(sheet, price_sheet(now, leftover_cost, short_cost))
    return [card, sheet]


def _write_set_aside(records: Records, folder: Path, home: Path | None = None) -> None:
    """Write the rows left out to a folder, whose files will be moved to `home` if that is given."""
    if records.set_aside.empty:
        return
    from airstats.defused import harmless, plain_csv
    from airstats.files import write_whole

    # The rows' own cells stay as they are, even those that a spreadsheet would run.
    aside = records.set_aside.assign(reason=records.set_aside["reason"].map(harmless))
    write_whole(folder / "set_aside.csv", plain_csv(aside))
    print(
        f"{len(records.set_aside)} rows set aside, unchanged and with reasons:"
        f" {(home or folder) / 'set_aside.csv'}"
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
    verbs_materials.print_material_allowances(now)
    if previous is not None:
        print(f"jobs counted in {previous.quarter} or before are not counted again")
    if now.late_jobs:
        print(f"late jobs of earlier quarters, used now: {', '.join(now.late_jobs)}")
    if now.decision.get("decision") == "keep":
        waiting = "; ".join(now.decision["waiting"]) or "none"
        print(f"kept: the previous values stand; waiting jobs: {waiting}")
    for job, probability in now.suspects.items():
        print(f"look at job {job}: its record is wrong with probability {100 * probability:.0f} %")


def _print_lines(lines: tuple[str, ...]) -> None:
    for line in lines:
        print(f"note: {line}")
