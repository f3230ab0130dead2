"""The quantities of a job, of the sheet and of other materials alike.

Takes records; gives a `Takeoff`: one row a job with laid area, reveals by cut and the interval that
its count stands for, and what drives each other material.
"""

from __future__ import annotations

from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.sheet_quantities import Takeoff, take_off

__all__ = ["Takeoff", "opening_quantities", "take_off"]
