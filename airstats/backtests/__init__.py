"""Only what was known then: every quarter priced from those before it.

Takes records and costs; gives what the orders would have cost beside other rules and the firm's
real prices, and whether foretold chances came true.
"""

from __future__ import annotations

from airstats.backtests.rolling import Backtest, backtest

__all__ = ["Backtest", "backtest"]
