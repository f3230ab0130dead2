"""Small invented firms whose overrun has one known cause."""

import numpy as np
import pandas as pd

from airstats.cut_patterns import CUTS
from airstats.records import Records

CREWS = ["Alder", "Birch", "Cedar", "Damson"]


def invent(
    jobs=48, factor=0.5, reveal_mm=350.0, crew_extra=0.0, priced_reveals=False, price=150.0, seed=3
):
    """Records of jobs whose price holds laps and 5 % waste, and reveals only if asked.

    `factor` m² of sheet a m² of reveal are used; the crew Damson wastes `crew_extra` m² a m² laid
    more. Counts are exact.
    """
    rng = np.random.default_rng(seed)
    surface = rng.uniform(180, 420, jobs).round(1)
    count = rng.integers(8, 20, jobs)
    crew = np.array(CREWS)[np.arange(jobs) % 4]
    laid = surface * 1.5 / 1.4
    reveal = count * 2 * (1.2 + 1.4) * reveal_mm / 1000
    sheet = laid * 1.05 + factor * reveal * priced_reveals
    extra = factor * reveal * (not priced_reveals) + crew_extra * laid * (crew == "Damson")
    used = sheet + extra + rng.normal(0, 6, jobs)
    quarter = np.arange(jobs) * 4 // jobs
    ids = [f"J{n:03d}" for n in range(jobs)]
    table = pd.DataFrame(
        {
            "job_id": ids,
            "finished_on": pd.to_datetime([f"2025-{3 * q + 2:02d}-15" for q in quarter]),
            "surface_m2": surface,
            "estimated_rolls": (sheet / 75).round(2),
            "used_rolls": (used / 75).round(2),
            "counted": "exact",
            "roll_width_m": 1.5,
            "roll_length_m": 50.0,
            "lap_mm": 100.0,
            "crew": crew,
            "work_type": "new house",
            "roll_price": price,
            "exclude": "",
            "quarter": [f"2025Q{q + 1}" for q in quarter],
            "finished": True,
        }
    )
    openings = pd.DataFrame(
        {
            "job_id": ids,
            "mark": "W1",
            "count": count,
            "width_mm": 1200.0,
            "height_mm": 1400.0,
            "reveal_mm": reveal_mm,
            "sides": 4,
            "cut_pattern": np.where(np.arange(jobs) % 2, "centre", "diagonal"),
            "from_summary": False,
        }
    )
    return Records(table, openings, pd.DataFrame(), (), "invented", "sha256:invented", ())


def random_openings(count, seed, cuts=CUTS):
    """Openings of any size, depth and cut."""
    pick = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "width_mm": pick.uniform(120, 3000, count),
            "height_mm": pick.uniform(120, 3000, count),
            "reveal_mm": pick.uniform(10, 600, count),
            "sides": pick.choice([3, 4], count),
            "cut_pattern": pick.choice(list(cuts), count),
        }
    )
