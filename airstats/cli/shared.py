"""What several verbs of the command line do: read, tell, list what to buy."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from airstats.base.caution import CAUTION
from airstats.base.number_text import between, counted, number

if TYPE_CHECKING:
    import pandas as pd

    from airstats.base.firm import Firm
    from airstats.model.allowances import Allowances
    from airstats.records.reading import Records

STOCK_AFTERWARDS = "stock_afterwards.csv"
"""Likely stock once the jobs of a buying list are done; its rows go into the next takeoff."""


def read(asked: argparse.Namespace) -> Records:
    """Read and check the source of a verb, and tell its remarks."""
    from airstats.intake.any_records import read_any

    records = read_any(asked.records, asked.words, asked.set_aside_bad_rows, asked.dates)
    print_lines(records.remarks)
    return records


def firm_asked(asked: argparse.Namespace) -> Firm:
    """Return the firm as its file tells of it; the options of a verb win."""
    from airstats.records.firm_file import read_firm

    return at_options(asked, read_firm(asked.firm))


def at_options(asked: argparse.Namespace, firm: Firm) -> Firm:
    """Return the firm with the costs that the options name."""
    return firm.but(leftover_cost=asked.leftover_cost, short_cost=asked.short_cost)


def set_aside(records: Records, folder: Path) -> dict[Path, str | bytes]:
    """Return the file of the rows left out, if there are any."""
    from airstats.base.formula_guard import harmless, plain_csv
    from airstats.base.result_folder import SET_ASIDE

    if records.set_aside.empty:
        return {}
    # The rows' own cells stay as they are, even those that a spreadsheet would run.
    aside = records.set_aside.assign(reason=records.set_aside["reason"].map(harmless))
    return {folder / SET_ASIDE: plain_csv(aside)}


def list_to_buy(
    firm: Firm,
    takeoff: Records,
    known: Allowances,
    folder: Path,
) -> tuple[str, dict[Path, str | bytes]]:
    """Return the headline of the buying list of all jobs together, and its files in a folder.

    Parameters
    ----------
    firm : Firm
        Of it what a roll left over and a roll short cost.
    takeoff : Records
        The jobs to buy for.
    known : Allowances
        What the finished jobs taught.
    folder : Path
        Where the files are to be; it is not written to.
    """
    from airstats.base.formula_guard import csv_of
    from airstats.documents.purchase_files import buying_files
    from airstats.pricing.newsvendor import left_out, priced
    from airstats.pricing.order_costs import costs_of
    from airstats.pricing.pooled_order import shelf_afterwards
    from airstats.pricing.purchases import buying_list
    from airstats.reports.buying_text import headline, remarks
    from airstats.takeoff.sheet_quantities import take_off

    bought = buying_list(takeoff, known, *costs_of(firm), firm=firm)
    jobs = takeoff.jobs["job_id"].tolist()
    rest = left_out(takeoff, known, firm)
    said = " ".join([headline(bought, jobs), *remarks(bought, rest)])
    files = buying_files(bought, jobs, known.quarter, rest, stock_lines(takeoff, known, firm))
    asked = (*costs_of(firm), 1, takeoff.stock, firm.unusable_end_m)
    files[STOCK_AFTERWARDS] = csv_of(shelf_afterwards(priced(take_off(takeoff), known, *asked)))
    return said, {folder / name: content for name, content in files.items()}


def stock_lines(takeoff: Records, known: Allowances, firm: Firm) -> tuple[str, ...]:
    """Say which job takes what from the shelf beside whole rolls, and what does not serve.

    Parameters
    ----------
    takeoff, known, firm
        As for `list_to_buy`.
    """
    from airstats.pricing.newsvendor import priced
    from airstats.pricing.stock import stock_words
    from airstats.takeoff.sheet_quantities import take_off

    if takeoff.stock.empty:
        return ()
    jobs = take_off(takeoff)
    foretold = priced(jobs, known, stock=takeoff.stock, end_m=firm.unusable_end_m)
    return tuple(stock_words(foretold.shelf, jobs))


def print_set_aside(records: Records, folder: Path) -> None:
    """Say how many rows are set aside, and where they are; nothing for none."""
    from airstats.base.result_folder import SET_ASIDE

    if rows := len(records.set_aside):
        print(f"{counted(rows, 'row')} set aside, unchanged and with reasons: {folder / SET_ASIDE}")


def print_written(files: Iterable[Path], notes: list[str], said: str) -> None:
    """Print what there is to say, and every file written.

    Parameters
    ----------
    files : iterable of Path
        As they are to be named.
    notes : list of str
        Remarks on the run.
    said : str
        What comes first; may be empty.
    """
    if said:
        print(said)
    print_lines(tuple(notes))
    for path in files:
        print(f"written: {path}")
    print(CAUTION)


def print_allowances(now: Allowances, previous: Allowances | None) -> None:
    """Print the allowances of a quarter, and the jobs that want a look."""
    print(
        f"allowances of {now.quarter}: {counted(len(now.new_jobs), 'job')} new,"
        f" {len(now.job_ids)} in the chain"
    )
    for name, row in now.table().iterrows():
        print(_allowance_line(str(name), row))
    _print_materials(now)
    if previous is not None:
        print(f"jobs counted in {previous.quarter} or before are not counted again")
    if now.late_jobs:
        print(f"late jobs of earlier quarters, used now: {', '.join(now.late_jobs)}")
    if now.decision.get("decision") == "keep":
        waiting = "; ".join(now.decision["waiting"]) or "none"
        print(f"kept: the previous values stand; waiting jobs: {waiting}")
    for job, probability in now.suspects.items():
        print(f"look at job {job}: its record is wrong with probability {100 * probability:.0f} %")


def _allowance_line(name: str, row: pd.Series) -> str:
    """An allowance by the name that readers know, with its 90 % interval."""
    from airstats.catalog.reader_names import reader_name

    interval = between(row["low"], row["high"], digits=3)
    known = f"{number(row['mean'], 3)} {row['unit']} (90 %: {interval})"
    return f"  {reader_name(name):16s} {known}"


def _print_materials(now: Allowances) -> None:
    from airstats.model.allowances import material_table

    for name, row in material_table(now).iterrows():
        print(f"{_allowance_line(str(name), row)}, {counted(row['jobs_used'], 'job')}")
    for name, known in now.materials.items():
        for job, chance in known.suspects.items():
            print(
                f"look at {name} of job {job}: its record is wrong with probability"
                f" {100 * chance:.0f} %"
            )


def print_lines(lines: tuple[str, ...]) -> None:
    """Print each line as a note."""
    for line in lines:
        print(f"note: {line}")
