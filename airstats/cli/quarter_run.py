"""The main job of a quarter: read once, calibrate once, and make all reports of that one desk."""

from __future__ import annotations

import argparse
import gc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from airstats.base.run_settings import RunSettings
from airstats.cli.shared import (
    at_options,
    list_to_buy,
    print_allowances,
    print_lines,
    print_set_aside,
    print_written,
    set_aside,
    stock_lines,
)

if TYPE_CHECKING:
    from airstats.documents.nursery import Nursery
    from airstats.model.allowances import Allowances
    from airstats.reports.desk import Desk, Sources

_FAILED, _ORDERS = "*.failed.ipynb", "orders.csv"
_OF_A_QUARTER = (
    _FAILED,
    _ORDERS,
    "buying_list.*",
    "stock_afterwards.csv",
    "set_aside.csv",
    "data/*-*.*",
)
_OF_A_NOTEBOOK = (".html", ".pdf", ".ipynb", ".failed.ipynb")
_CARD, _SHEET, _LAST = "allowance_card.html", "price_sheet.xlsx", "allowances.json"
_FOR_THE_OWNER_ALONE = 0o600
_MADE_BEFORE_TIDYING = 100_000
"""Objects; Python's own number costs a twentieth of the run's processor time."""


def quarter(asked: argparse.Namespace) -> None:
    """Do the main job: check, calibrate, price, run the notebooks, export the reports."""
    import airstats.reports.recording_text  # noqa: F401  (what both need is loaded once)
    from airstats.documents.nursery import kernel_nursery

    # The nursery loads what the notebooks need while the records are read and learnt from.
    with _seldom_tidied(), kernel_nursery() as nursery:
        _quarter(asked, nursery)


@contextmanager
def _seldom_tidied() -> Iterator[None]:
    """Look for rubbish seldom, here and in copies: what a run makes lives to its end."""
    usual = gc.get_threshold()
    gc.set_threshold(_MADE_BEFORE_TIDYING)
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _quarter(asked: argparse.Namespace, nursery: Nursery | None) -> None:
    from airstats.model.decisions import check_decision, decided_steps
    from airstats.model.unmet import not_counted, unmet

    asked.codes = bool(asked.codes or asked.codes_key)
    settings = RunSettings.of(asked)
    check_decision(*settings.decided)
    sources = _read_all(settings)
    key = ""
    if settings.codes:
        key, sources = _coded(asked, sources)
        settings = settings.without_free_text()
    records, previous, takeoff = sources.records, sources.previous, sources.to_price
    desk = sources.desk(settings.quarter, settings.depth_error_mm)
    now = decided_steps(desk.chain, previous, settings.decided)
    desk = replace(desk, firm=at_options(asked, desk.firm))
    names, said, notes = _make_quarter(asked, settings, desk, now, key, nursery)
    print_set_aside(records, Path(asked.out))
    print_allowances(now, previous)
    print_lines(not_counted(records, now) + (unmet(takeoff, now) if takeoff else ()))
    print_lines(stock_lines(takeoff, now, desk.firm) if takeoff else ())
    if settings.codes:
        print("allowances.json holds codes: for the next quarter keep that of a run without them")
    if key:
        print(f"written: {asked.codes_key}, which undoes the codes: do not hand it over")
    print_written([Path(asked.out) / name for name in names], notes, said)


def _read_all(settings: RunSettings) -> Sources:
    """Read every source of the run, once, and tell the remarks."""
    from airstats.reports.desk import read_sources

    given = (settings.previous, settings.takeoff, settings.set_aside_bad_rows, settings.dates)
    others = (settings.firms, settings.firm, settings.words)
    sources = read_sources(settings.records, *given, *others)
    for read in filter(None, (sources.records, sources.to_price, *sources.firms)):
        print_lines(read.remarks)
    print_lines(sources.previous.notes if sources.previous else ())
    return sources


def _coded(asked: argparse.Namespace, sources: Sources) -> tuple[str, Sources]:
    """The key, if a file for it is named, and the sources with codes for names."""
    from airstats.base.formula_guard import csv_of
    from airstats.documents.redaction import refuse_named_folder
    from airstats.reports.pseudonyms import code_names

    refuse_named_folder(Path(asked.out))
    codes = code_names(sources.records, sources.previous, sources.to_price)
    return csv_of(codes.key()) if asked.codes_key else "", sources.coded()


def _files_of_a_quarter(now: Allowances, desk: Desk) -> tuple[str, dict[Path, str | bytes]]:
    """What there is to say of the takeoff, and all files but the notebooks' by their name.

    A card to print and a live spreadsheet are what an estimator prices with away from here.
    """
    from airstats.base.formula_guard import csv_of
    from airstats.base.known_digits import rounded
    from airstats.documents.price_workbook.workbook import price_sheet
    from airstats.documents.wall_card import allowance_card
    from airstats.pricing.newsvendor import price
    from airstats.pricing.order_costs import costs_of

    firm, said = desk.firm, ""
    costs = costs_of(firm)
    files: dict[Path, str | bytes] = {
        Path(_CARD): allowance_card(now, *costs, currency=firm.currency),
        Path(_SHEET): price_sheet(now, *costs, desk.to_price, firm),
    }
    if desk.to_price is not None:
        files[Path(_ORDERS)] = csv_of(rounded(price(desk.to_price, now, *costs, firm=firm)))
        said, bought = list_to_buy(firm, desk.to_price, now, Path())
        files |= bought
    return said, files | {Path(_LAST): now.to_text()} | set_aside(desk.records, Path())


def _make_quarter(
    asked: argparse.Namespace,
    settings: RunSettings,
    desk: Desk,
    now: Allowances,
    key: str,
    nursery: Nursery | None,
) -> tuple[list[str], str, list[str]]:
    """Make all files and move them into their place.

    Returns their names, what there is to say of the takeoff, and of older files.
    """
    from airstats.base.atomic_files import write_whole
    from airstats.base.result_folder import MAKING, made_together
    from airstats.documents.run_notebooks import NOTEBOOKS, run_quarter, saved_desk

    folder = Path(asked.out)
    making, key_file = folder / MAKING, Path(asked.codes_key or folder / "none")
    pages = [f"{name}{ending}" for name in NOTEBOOKS for ending in _OF_A_NOTEBOOK]
    with made_together(
        folder,
        key_file.parent,
        ours=_OF_A_QUARTER,
        last=_LAST,
        sure=[*pages, _CARD, _SHEET, _LAST, *([_ORDERS] if desk.to_price else [])],
        of_failure=_FAILED,
    ) as notes:
        with saved_desk(desk, making, nursery) as saved:
            # The nursery works on the desk meanwhile.
            said, files = _files_of_a_quarter(now, desk)
            run_quarter(settings, desk, making, home=folder, nursery=nursery, saved=saved)
        for name, content in files.items():
            write_whole(making / name, content)
        if key:
            write_whole(key_file.parent / MAKING / key_file.name, key, _FOR_THE_OWNER_ALONE)
    return [*(f"{name}.html" for name in NOTEBOOKS), *map(str, files)], said, notes
