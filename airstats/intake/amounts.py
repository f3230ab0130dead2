"""Lengths, areas, money, shares and plain numbers, with their units and signs in the cell."""

from __future__ import annotations

from airstats.intake.readings import ColumnFacts, Reading


def read_amount(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read an amount in the unit of the contract's column that `facts` names."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return (Reading(float(cell)),)
    try:
        return (Reading(float(str(cell))),)
    except ValueError:
        return ()
