"""What each verb of the command line does. Imports wait until a verb needs them."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from airstats.base.caution import CAUTION
from airstats.cli import material_commands

if TYPE_CHECKING:
    import pandas as pd

    from airstats.model.allowances import Allowances
    from airstats.records.reading import Records

_FAILED = "*.failed.ipynb"
_OF_A_QUARTER = (_FAILED, "orders.csv", "buying_list.*", "set_aside.csv", "data/*-*.*")
_OF_A_NOTEBOOK = (".html", ".pdf", ".ipynb", ".failed.ipynb")
_LAST = "allowances.json"
_FOR_THE_OWNER_ALONE = 0o600


def check(asked: argparse.Namespace) -> None:
    """List every fault of the records, or of the chain that an allowances file ends."""
    from airstats.base.errors import RecordsError
    from airstats.records.reading import check_records, read_records

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
    _print_lines(records.remarks)


def _check_chain(path: str) -> None:
    from airstats.base.errors import AllowancesError
    from airstats.model.chain_audit import check_chain

    found = check_chain(path)
    print("\n".join(found.lines()))
    if found.faults:
        count = len(found.faults)
        heading = f"{count} fault{'s' * (count > 1)} in the chain:"
        raise AllowancesError("\n".join([heading, *found.faults]))
    _print_lines(found.notes)


def calibrate(asked: argparse.Namespace) -> None:
    """Update the allowances and save them."""
    from airstats.base.result_folder import write_together
    from airstats.model.allowances import load_allowances
    from airstats.model.decisions import check_decision, decided_update
    from airstats.model.unmet import not_counted

    decision = (asked.decision, asked.decision_reason, asked.decided_by)
    check_decision(*decision)
    records = _read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    now = decided_update(
        records, asked.quarter, previous, decision, asked.depth_error_mm, asked.drift
    )
    out = Path(asked.out)
    notes = write_together({out: now.to_text(), **_set_aside(records, out.parent)})
    _print_set_aside(records, out.parent)
    _print_allowances(now, previous)
    known = previous.notes if previous else ()
    _print_lines((*known, *not_counted(records, now), *notes))
    print(f"written: {out}")


def price(asked: argparse.Namespace) -> None:
    """Price the jobs of a takeoff."""
    from airstats.base.formula_guard import csv_of
    from airstats.base.result_folder import write_together
    from airstats.model.allowances import load_allowances
    from airstats.model.unmet import unmet
    from airstats.pricing.newsvendor import left_out, price_materials
    from airstats.pricing.newsvendor import price as work_out
    from airstats.reports.buying_text import not_priced

    takeoff = _read(asked)
    known = load_allowances(asked.allowances)
    _print_lines(unmet(takeoff, known))
    costs = (asked.leftover_cost, asked.short_cost)
    orders = (price_materials if asked.materials else work_out)(takeoff, known, *costs)
    out, said = Path(asked.out), ""
    files: dict[Path, str | bytes] = {out: csv_of(orders)}
    if asked.buying_list:
        folder = Path(asked.buying_list)
        said, bought = material_commands.list_to_buy(asked, takeoff, known, CAUTION, folder)
        files |= bought
    notes = write_together(files | _set_aside(takeoff, out.parent))
    (material_commands.print_packs if asked.materials else _print_orders)(orders)
    _print_set_aside(takeoff, out.parent)
    if asked.materials and not said:
        said = not_priced(left_out(takeoff, known))
    _print_written(files, [*known.notes, *notes], said)


def _print_orders(orders: pd.DataFrame) -> None:
    from airstats.base.number_text import each, percent

    for row in each(orders):
        print(
            f"{row.job_id}: order {row.order_rolls} rolls; sheet {row.expected_m2:.0f} m²"
            f" (80 %: {row.low_m2:.0f} to {row.high_m2:.0f} m²); chance of being short"
            f" {percent(row.chance_short, 1)}; on average {row.expected_left_over_rolls:.1f} rolls"
            " left over"
        )


def backtest(asked: argparse.Namespace) -> None:
    """Price every quarter from those before it."""
    from airstats.backtests.rolling import WORDS_OF_RULES, read_truth
    from airstats.backtests.rolling import backtest as look_back
    from airstats.base.formula_guard import csv_of
    from airstats.base.result_folder import write_together

    records = _read(asked)
    truth = read_truth(asked.truth) if asked.truth else None
    result = look_back(records, asked.leftover_cost, asked.short_cost, truth)
    folder = Path(asked.out)
    tables = {"backtest_summary": result.summary, "backtest_jobs": result.jobs}
    files = {folder / f"{name}.csv": csv_of(table) for name, table in tables.items()}
    notes = write_together(files | _set_aside(records, folder))
    _print_set_aside(records, folder)
    _print_lines(tuple(notes))
    for row in result.summary.itertuples():
        print(
            f"{WORDS_OF_RULES[str(row.rule)]}: {row.jobs:.0f} jobs,"
            f" {row.mean_cost:.0f} money a job, {row.jobs_short:.0f} jobs short by"
            f" {row.rolls_short:.0f} rolls, {row.rolls_left_over:.0f} rolls left over"
        )
    print(f"80 % intervals held {100 * result.held_80:.0f} % of the uses; written: {folder}")


def quarter(asked: argparse.Namespace) -> None:
    """Do the main job: check, calibrate, price, run the notebooks, export the reports."""
    from airstats.model.allowances import load_allowances
    from airstats.model.decisions import check_decision, decided_update
    from airstats.model.unmet import not_counted, unmet

    decision = (asked.decision, asked.decision_reason, asked.decided_by)
    check_decision(*decision)
    records = _read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    takeoff = _read(asked, asked.takeoff) if asked.takeoff else None
    for firm in filter(None, map(str.strip, asked.firms.split(";"))):
        _read(asked, firm)
    digests = _digests(asked, records, previous, takeoff)
    _print_lines(previous.notes if previous else ())
    codes, key = bool(asked.codes or asked.codes_key), ""
    if codes:
        key, (records, previous, takeoff) = _coded(asked, records, previous, takeoff)
        decision = (asked.decision, *("not shown" if text else "" for text in decision[1:]))
    now = decided_update(records, asked.quarter, previous, decision, asked.depth_error_mm)
    said, files = _files_of_a_quarter(asked, now, takeoff)
    files |= _set_aside(records, Path())
    notes = _make_quarter(asked, digests, files, key, decision)
    _print_set_aside(records, Path(asked.out))
    _print_allowances(now, previous)
    _print_lines(not_counted(records, now) + (unmet(takeoff, now) if takeoff else ()))
    if codes:
        print("allowances.json holds codes: for the next quarter keep that of a run without them")
    if asked.codes_key:
        print(f"written: {asked.codes_key}, which undoes the codes: do not hand it over")
    written = [*(Path(f"{name}.html") for name in _notebooks()), *files]
    _print_written([Path(asked.out) / name for name in written], notes, said)


def _make_quarter(
    asked: argparse.Namespace,
    digests: dict[str, str],
    files: dict[Path, str | bytes],
    key: str,
    decision: tuple[str, str, str],
) -> list[str]:
    """Run the notebooks and move all into its place; return what there is to say of older files."""
    from airstats.base.atomic_files import write_whole
    from airstats.base.result_folder import MAKING, made_together

    folder = Path(asked.out)
    key_file = Path(asked.codes_key or folder / "none")
    pages = [f"{name}{ending}" for name in _notebooks() for ending in _OF_A_NOTEBOOK]
    with made_together(
        folder,
        key_file.parent,
        ours=_OF_A_QUARTER,
        last=_LAST,
        sure=[*pages, *map(str, files)],
        of_failure=_FAILED,
    ) as notes:
        _make_reports(asked, folder / MAKING, decision)
        for name, content in files.items():
            write_whole(folder / MAKING / name, content)
        if key:
            write_whole(key_file.parent / MAKING / key_file.name, key, _FOR_THE_OWNER_ALONE)
        _refuse_changed(digests)
    return notes


def _notebooks() -> tuple[str, ...]:
    from airstats.documents.run_notebooks import NOTEBOOKS

    return NOTEBOOKS


def _digests(
    asked: argparse.Namespace,
    records: Records,
    previous: Allowances | None,
    takeoff: Records | None,
) -> dict[str, str]:
    """The digest of every path that a quarter reads, as it was read."""
    from airstats.records.source import source_digest

    firms = [path.strip() for path in asked.firms.split(";") if path.strip()]
    digests = {path: source_digest(path) for path in firms}
    digests |= {asked.takeoff: takeoff.digest} if takeoff else {}
    digests |= {asked.previous: previous.digest()} if previous else {}
    return digests | {asked.records: records.digest}


def _refuse_changed(digests: dict[str, str]) -> None:
    """The notebooks read the sources anew: what they show must be what was calibrated."""
    from airstats.base.errors import RecordsError
    from airstats.records.source import source_digest

    changed = [path for path, digest in digests.items() if source_digest(path) != digest]
    if changed:
        raise RecordsError(
            f"{' and '.join(changed)} changed while the reports were made, so they would not agree"
            " with one another. Nothing was written: run the command again."
        )


def _files_of_a_quarter(
    asked: argparse.Namespace, now: Allowances, takeoff: Records | None
) -> tuple[str, dict[Path, str | bytes]]:
    """What there is to say of the takeoff, and all files but the notebooks' by their name.

    A card to print and a live spreadsheet are what an estimator prices with away from here.
    """
    from airstats.base.formula_guard import csv_of
    from airstats.documents.price_workbook.workbook import price_sheet
    from airstats.documents.wall_card import allowance_card
    from airstats.pricing.newsvendor import price as work_out

    costs, said = (asked.leftover_cost, asked.short_cost), ""
    files: dict[Path, str | bytes] = {
        Path("allowance_card.html"): allowance_card(now, *costs),
        Path("price_sheet.xlsx"): price_sheet(now, *costs),
    }
    if takeoff is not None:
        files[Path("orders.csv")] = csv_of(work_out(takeoff, now, *costs))
        said, bought = material_commands.list_to_buy(asked, takeoff, now, CAUTION, Path())
        files |= bought
    return said, files | {Path(_LAST): now.to_text()}


def _make_reports(asked: argparse.Namespace, making: Path, decision: tuple[str, str, str]) -> None:
    from airstats.documents.run_notebooks import run_quarter

    run_quarter(
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
        codes=bool(asked.codes or asked.codes_key),
        firms=asked.firms,
        depth_error_mm=asked.depth_error_mm,
        home=Path(asked.out),
    )


def _coded(
    asked: argparse.Namespace,
    records: Records,
    previous: Allowances | None,
    takeoff: Records | None,
) -> tuple[str, tuple[Records, Allowances | None, Records | None]]:
    """The key, if a file for it is named, and the sources with codes for names."""
    from airstats.base.formula_guard import csv_of
    from airstats.documents.redaction import refuse_named_folder
    from airstats.reports.pseudonyms import code_names, coded_sources

    refuse_named_folder(Path(asked.out))
    sources = (records, previous, takeoff)
    key = csv_of(code_names(*sources).key()) if asked.codes_key else ""
    return key, coded_sources(*sources)


def _read(asked: argparse.Namespace, path: str | None = None) -> Records:
    from airstats.records.reading import read_records

    records = read_records(path or asked.records, asked.set_aside_bad_rows, asked.dates)
    _print_lines(records.remarks)
    return records


def _set_aside(records: Records, folder: Path) -> dict[Path, str | bytes]:
    """The file of the rows left out, if there are any."""
    from airstats.base.formula_guard import harmless, plain_csv
    from airstats.base.result_folder import SET_ASIDE

    if records.set_aside.empty:
        return {}
    # The rows' own cells stay as they are, even those that a spreadsheet would run.
    aside = records.set_aside.assign(reason=records.set_aside["reason"].map(harmless))
    return {folder / SET_ASIDE: plain_csv(aside)}


def _print_set_aside(records: Records, folder: Path) -> None:
    from airstats.base.result_folder import SET_ASIDE

    if rows := len(records.set_aside):
        print(f"{rows} rows set aside, unchanged and with reasons: {folder / SET_ASIDE}")


def _print_written(files: Iterable[Path], notes: list[str], said: str) -> None:
    if said:
        print(said)
    _print_lines(tuple(notes))
    for path in files:
        print(f"written: {path}")
    print(CAUTION)


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
    material_commands.print_material_allowances(now)
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
