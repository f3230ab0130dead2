"""airstats: what airtightness sheet jobs really take, and how many rolls to order next."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOME = {
    "AirstatsError": "base",
    "AllowancesError": "base",
    "RecordsError": "base",
    "Firm": "base",
    "Records": "records",
    "check_records": "records",
    "read_firm": "records",
    "read_records": "records",
    "take_off": "takeoff",
    "Allowances": "model",
    "calibrate": "model",
    "calibrate_many": "model",
    "load_allowances": "model",
    "material_table": "model",
    "buying_list": "pricing",
    "price": "pricing",
    "price_materials": "pricing",
    "split_overrun": "analysis",
    "backtest": "backtests",
}
__all__ = [
    "AirstatsError",
    "Allowances",
    "AllowancesError",
    "Firm",
    "Records",
    "RecordsError",
    "__version__",
    "backtest",
    "buying_list",
    "calibrate",
    "calibrate_many",
    "check_records",
    "load_allowances",
    "material_table",
    "price",
    "price_materials",
    "read_firm",
    "read_records",
    "split_overrun",
    "take_off",
]

if TYPE_CHECKING:
    from airstats.analysis import split_overrun
    from airstats.backtests import backtest
    from airstats.base import AirstatsError, AllowancesError, Firm, RecordsError
    from airstats.model import (
        Allowances,
        calibrate,
        calibrate_many,
        load_allowances,
        material_table,
    )
    from airstats.pricing import buying_list, price, price_materials
    from airstats.records import Records, check_records, read_firm, read_records
    from airstats.takeoff import take_off


def __getattr__(name: str) -> Any:
    # Loading on first use keeps `airstats --help` quick.
    if name in _HOME:
        return getattr(import_module(f"airstats.{_HOME[name]}"), name)
    raise AttributeError(f"module airstats has no attribute {name!r}")
