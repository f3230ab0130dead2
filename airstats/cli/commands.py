"""What each verb does but the quarter's. Imports wait until a verb needs them."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from airstats.cli.fault_list import list_faults
from airstats.cli.shared import (
    firm_asked,
    list_to_buy,
    print_allowances,
    print_lines,
    print_set_aside,
    print_written,
    read,
    set_aside,
    stock_lines,
)

if TYPE_CHECKING:
    import pandas as pd


def blank(asked: argparse.Namespace) -> None:
    """Write an empty workbook, or an empty file of the firm, to type into."""
    from airstats.base.result_folder import write_together
    from airstats.documents.blank_workbook import blank_workbook
    from airstats.records.firm_file import blank_firm

    out = Path(asked.out)
    of_firm = out.suffix.lower() == ".toml"
    notes = write_together({out: blank_firm() if of_firm else blank_workbook(asked.to_price)})
    print_lines(tuple(notes))
    print(f"written: {out}")
    use = f"name it with --firm {out}" if of_firm else f"call: airstats check {out}"
    print(f"Type into it, save it, and {use}")


def check(asked: argparse.Namespace) -> None:
    """List every fault of the records, or of the chain that an allowances file ends."""
    from airstats.base.errors import RecordsError
    from airstats.records.faults import told
    from airstats.records.reading import faults_or_records

    if Path(asked.records).suffix.lower() == ".json":
        if asked.out:
            asked.misused("--out lists the faults of records, not those of an allowances file")
        _check_chain(asked.records)
        return
    if asked.words:
        if asked.out:
            asked.misused("--out lists the faults of records; of a book, `airstats intake` does")
        _check_book(asked)
        return
    faults, records = faults_or_records(asked.records, dates=asked.dates)
    listed = list_faults(Path(asked.records), faults, Path(asked.out)) if asked.out else ()
    if records is None:
        said = told(faults, Path(asked.records).resolve().name, asked.records)
        raise RecordsError("\n".join([said, *listed]))
    finished = int(records.jobs["finished"].sum())
    print(
        f"{records.source}: no fault in {len(records.jobs)} jobs ({finished} finished) and"
        f" {len(records.openings)} rows of openings."
    )
    print_lines(records.remarks)
    print("\n".join(listed), end="\n" if listed else "")


def _check_book(asked: argparse.Namespace) -> None:
    """Tell of a firm's own book what is read and what waits."""
    from airstats.base.errors import RecordsError
    from airstats.intake.questions import by_kind
    from airstats.intake.understand import headline, understand

    understood = understand(asked.records, asked.words)
    asking = by_kind(understood.questions)
    if asking:
        raise RecordsError("\n".join([headline(understood), *asking]))
    print(headline(understood))
    print_lines(tuple(map(str, understood.told)) + understood.totals + understood.words.gone())


def _check_chain(path: str) -> None:
    from airstats.base.errors import AllowancesError
    from airstats.model.chain_audit import check_chain

    found = check_chain(path)
    print("\n".join(found.lines()))
    if found.faults:
        count = len(found.faults)
        heading = f"{count} fault{'s' * (count > 1)} in the chain:"
        raise AllowancesError("\n".join([heading, *found.faults]))
    print_lines(found.notes)


def calibrate(asked: argparse.Namespace) -> None:
    """Update the allowances and save them."""
    from airstats.base.result_folder import write_together
    from airstats.model.allowances import load_allowances
    from airstats.model.decisions import check_decision, decided_steps
    from airstats.model.quarterly_update import calibrate_through
    from airstats.model.unmet import not_counted

    decision = (asked.decision, asked.decision_reason, asked.decided_by)
    check_decision(*decision)
    records = read(asked)
    previous = load_allowances(asked.previous) if asked.previous else None
    asked_for = (records, asked.quarter or None, previous, asked.depth_error_mm)
    steps = calibrate_through(*asked_for, drift=asked.drift)
    now = decided_steps(list(steps), previous, decision, asked.drift)
    out = Path(asked.out)
    notes = write_together({out: now.to_text(), **set_aside(records, out.parent)})
    print_set_aside(records, out.parent)
    print_allowances(now, previous)
    known = previous.notes if previous else ()
    print_lines((*known, *not_counted(records, now), *notes))
    print(f"written: {out}")


def price(asked: argparse.Namespace) -> None:
    """Price the jobs of a takeoff."""
    from airstats.base.formula_guard import csv_of
    from airstats.base.known_digits import rounded
    from airstats.base.result_folder import write_together
    from airstats.model.allowances import load_allowances
    from airstats.model.unmet import unmet
    from airstats.pricing.newsvendor import left_out, price_materials
    from airstats.pricing.newsvendor import price as work_out
    from airstats.pricing.order_costs import costs_of
    from airstats.reports.buying_text import not_priced

    takeoff, firm = read(asked), firm_asked(asked)
    known = load_allowances(asked.allowances)
    print_lines(unmet(takeoff, known))
    work = price_materials if asked.materials else work_out
    orders = work(takeoff, known, *costs_of(firm), firm=firm)
    out, said = Path(asked.out), ""
    files: dict[Path, str | bytes] = {out: csv_of(rounded(orders))}
    if asked.buying_list:
        folder = Path(asked.buying_list)
        said, bought = list_to_buy(firm, takeoff, known, folder)
        files |= bought
    notes = write_together(files | set_aside(takeoff, out.parent))
    if asked.materials:
        _print_packs(orders)
    else:
        _print_orders(orders, takeoff.openings)
    print_lines(stock_lines(takeoff, known, firm))
    print_set_aside(takeoff, out.parent)
    if asked.materials and not said:
        said = not_priced(left_out(takeoff, known, firm))
    print_written(files, [*known.notes, *notes], said)


def _print_orders(orders: pd.DataFrame, openings: pd.DataFrame) -> None:
    from airstats.base.number_text import each, listed, number, rolls, small_chance
    from airstats.reports.buying_text import unmeasured_words

    for row in each(orders):
        taken = [rolls(row.from_stock_rolls)] * bool(row.from_stock_rolls)
        taken += [f"{number(row.from_stock_m)} m on begun rolls"] * bool(row.from_stock_m)
        order = f"order {rolls(row.order_rolls)}"
        if taken:
            buy = rolls(row.buy_rolls) if row.buy_rolls else "nothing"
            order = f"buy {buy}, take {listed(taken)} from the shelf"
        unknown = f"; {unmeasured_words(row, openings)}" if row.unmeasured else ""
        print(
            f"{row.job_id}: {order}; sheet"
            f" {row.expected_m2:.0f} m² (80 %: {row.low_m2:.0f} to {row.high_m2:.0f} m²); chance"
            f" of being short {small_chance(row.chance_short)}; on average"
            f" {number(row.expected_left_over_rolls)} rolls stay unopened and"
            f" {row.expected_left_on_last_m:.0f} m remain on the last one opened{unknown}"
        )


def _print_packs(orders: pd.DataFrame) -> None:
    from airstats.base.number_text import counted, each, number, small_chance
    from airstats.catalog.materials import pack_word, plural

    for row in each(orders):
        unit = plural(str(row.unit))
        prior = "; priced from the starting belief, no records yet" if not row.jobs_counted else ""
        prior += f"; its {row.unmeasured} are unknown" if row.unmeasured else ""
        word = pack_word(row.material)
        shelf = f", {row.from_stock_packs} of them from the shelf" * bool(row.from_stock_packs)
        print(
            f"{row.job_id}, {row.material}: order {counted(row.order_packs, word)} of {row.pack:g}"
            f" {unit}{shelf}; {row.expected:.0f} {unit} (80 %: {row.low:.0f} to {row.high:.0f}"
            f" {unit}); chance of being short {small_chance(row.chance_short)}; on average"
            f" {number(row.expected_left_over_packs)} {word}s stay unopened{prior}"
        )


def backtest(asked: argparse.Namespace) -> None:
    """Price every quarter from those before it."""
    from airstats.backtests.rolling import WORDS_OF_RULES, read_truth
    from airstats.backtests.rolling import backtest as look_back
    from airstats.base.formula_guard import csv_of
    from airstats.base.number_text import counted, each, in_currency, number, rolls
    from airstats.base.result_folder import write_together
    from airstats.pricing.order_costs import costs_of

    records, firm = read(asked), firm_asked(asked)
    truth = read_truth(asked.truth) if asked.truth else None
    result = look_back(records, *costs_of(firm), truth)
    folder = Path(asked.out)
    tables = {"backtest_summary": result.summary, "backtest_jobs": result.jobs}
    files = {folder / f"{name}.csv": csv_of(table) for name, table in tables.items()}
    notes = write_together(files | set_aside(records, folder))
    print_set_aside(records, folder)
    print_lines(tuple(notes))
    for row in each(result.summary):
        each_job = in_currency(number(row.mean_cost, 0), firm.currency or "money")
        print(
            f"{WORDS_OF_RULES[str(row.rule)]}: {counted(int(row.jobs), 'job')}, {each_job} a job,"
            f" {counted(int(row.jobs_short), 'job')} short by {rolls(int(row.rolls_short))},"
            f" {rolls(int(row.rolls_left_over))} left over"
        )
    print(f"80 % intervals held {100 * result.held_80:.0f} % of the uses; written: {folder}")
