"""What the trade has: cuts, materials, units, ways to close a corner.

Takes nothing; gives tables with one entry each, which all other rooms go by. A new cut, material
or corner method is one entry here.
"""

from __future__ import annotations

from airstats.catalog.corner_methods import CORNER_METHODS
from airstats.catalog.cut_patterns import CUTS, CutPattern
from airstats.catalog.materials import MATERIALS

__all__ = ["CORNER_METHODS", "CUTS", "MATERIALS", "CutPattern"]
