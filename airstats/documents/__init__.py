"""Files that leave the house: pages, PDF, spreadsheets, the card for the wall.

Takes notebooks, allowances and orders; gives whole files. What runs notebooks or sets
type is loaded by module, for most commands need none of it.
"""

from __future__ import annotations

import airstats.documents.grammar  # noqa: F401
