"""airstats: what airtightness sheet jobs really take, and how many rolls to order next."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOME = {
    "AirstatsError": "errors",
    "AllowancesError": "errors",
    "RecordsError": "errors",
    "Records": "records",
    "check_records": "records",
    "read_records": "records",
    "Allowances": "allowances",
    "load_allowances": "allowances",
    "calibrate": "quarterly",
    "calibrate_many": "many_firms",
    "price": "pricing",
    "price_materials": "material_pricing",
    "buying_list": "buying",
    "material_table": "material_calibration",
    "backtest": "looking_back",
}
__all__ = [
    "AirstatsError",
    "Allowances",
    "AllowancesError",
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
    "read_records",
]

if TYPE_CHECKING:
    from airstats.allowances import Allowances, load_allowances
    from airstats.buying import buying_list
    from airstats.errors import AirstatsError, AllowancesError, RecordsError
    from airstats.looking_back import backtest
    from airstats.many_firms import calibrate_many
    from airstats.material_calibration import material_table
    from airstats.material_pricing import price_materials
    from airstats.pricing import price
    from airstats.quarterly import calibrate
    from airstats.records import Records, check_records, read_records


def __getattr__(name: str) -> Any:
    # Loading on first use keeps `airstats --help` quick.
    if name in _HOME:
        return getattr(import_module(f"airstats.{_HOME[name]}"), name)
    raise AttributeError(f"module airstats has no attribute {name!r}")
