"""Openings to test with: one, a few, or many of any size."""

import numpy as np
import pandas as pd

from airstats.cut_patterns import CUTS
from airstats.openings import opening_quantities
from airstats.practice import Practice

PLAIN = Practice(slit="upright", halves=False)


def table(rows):
    names = ["width_mm", "height_mm", "reveal_mm", "sides", "cut_pattern"]
    return pd.DataFrame(rows, columns=names)


def one(width, height, reveal, sides=4, cut="diagonal", practice=PLAIN, roll=1.5):
    return opening_quantities(table([(width, height, reveal, sides, cut)]), practice, roll).iloc[0]


def many(count, seed, cuts=CUTS):
    pick = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "width_mm": np.exp(pick.uniform(np.log(80), np.log(6000), count)),
            "height_mm": np.exp(pick.uniform(np.log(80), np.log(4000), count)),
            "reveal_mm": np.exp(pick.uniform(np.log(5), np.log(1400), count)),
            "sides": pick.choice([3, 4], count),
            "cut_pattern": pick.choice(list(cuts), count),
        }
    )
