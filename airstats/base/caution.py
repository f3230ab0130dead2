"""What every report, page and command says of the limits of its numbers."""

from __future__ import annotations

CAUTION = (
    "We count material; we do not design the airtight layer. Knives, ladders and heights ask for"
    " the care of the trade. For ventilation, combustion air and moisture follow local codes and"
    " licensed practice."
)
