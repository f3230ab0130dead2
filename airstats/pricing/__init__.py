"""From allowances to what to order, buy and cut.

Takes jobs to price, allowances and costs; gives the distribution of each need, the order of least
expected cost, for one job or several, the buying list, and the cut that costs least.
"""

from __future__ import annotations

from airstats.pricing.newsvendor import price, price_materials
from airstats.pricing.purchases import buying_list

__all__ = ["buying_list", "price", "price_materials"]
