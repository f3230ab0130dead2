"""What every room may use: errors, quarters, names, whole files, numbers in words.

Takes plain values and paths; gives the errors that a user may meet, quarters as numbers, the rule
for two spellings of one name, files written whole or not at all, and text that no spreadsheet runs.
"""

from __future__ import annotations

from airstats.base.errors import AirstatsError, AllowancesError, RecordsError
from airstats.base.firm import Firm

__all__ = ["AirstatsError", "AllowancesError", "Firm", "RecordsError"]
