"""The live spreadsheet: the geometry and the model as formulas.

Takes allowances and costs; gives a workbook whose numbers are those of `airstats price`.
"""

from __future__ import annotations
