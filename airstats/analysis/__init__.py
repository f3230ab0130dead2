"""Why jobs ran over, and how sure that is.

Takes quantities and allowances; gives tables: the overrun split into causes, what moved and why,
which jobs pull, what drifts, what would change the conclusion. It reads no files and draws nothing.
Regressions need statsmodels, so their modules are loaded by name.
"""

from __future__ import annotations

from airstats.analysis.overrun_split import split_overrun

__all__ = ["split_overrun"]
