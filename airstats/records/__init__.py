"""From a firm's files to clean tables.

Takes a folder, a workbook or Parquet files as a firm keeps them; gives `Records`: checked tables in
the units of the contract, the rows set aside with their reasons, and notes on all that was assumed.
"""

from __future__ import annotations

from airstats.records.firm_file import read_firm
from airstats.records.reading import Records, check_records, read_records

__all__ = ["Records", "check_records", "read_firm", "read_records"]
