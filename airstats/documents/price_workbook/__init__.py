"""The price sheet: a quote on one printed page for each job, with live formulas and their values.

Takes allowances, costs, the jobs of a takeoff and what the firm says of itself; gives a workbook
whose numbers are those of `airstats price`.
"""

from __future__ import annotations
