"""From counted jobs to allowances.

Takes quantities of finished jobs and the allowances of an earlier quarter; gives `Allowances`: the
weighted candidates, what a person reads of them, and the file that hands them to the next quarter.
"""

from __future__ import annotations

from airstats.model.allowances import Allowances, load_allowances, material_table
from airstats.model.many_firms import calibrate_many
from airstats.model.quarterly_update import calibrate

__all__ = ["Allowances", "calibrate", "calibrate_many", "load_allowances", "material_table"]
