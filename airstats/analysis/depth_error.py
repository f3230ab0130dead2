"""What roughly measured reveal depths do to the reveal factors."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS
from airstats.takeoff.sheet_quantities import Takeoff

ROUGH_MM = 20.0
"""Error of a depth taken with a folding rule at one place, mm (sd): common practice, no source."""


def depth_reliability(jobs: Takeoff, depth_error_mm: float = ROUGH_MM) -> pd.DataFrame:
    """Return the share of a reveal factor that stays visible when depths are measured roughly.

    Parameters
    ----------
    jobs : Takeoff
        n finished jobs; those whose openings or depths are unknown have no depth to be rough.
    depth_error_mm : float
        Standard deviation of the measuring error of a depth, mm; common to a job's openings of
        one cut.

    Returns
    -------
    DataFrame
        One row a cut that the jobs hold: `cut, jobs, depth_mm` (mean), `depth_sd_mm` (between
        jobs), `kept`: from 0 (nothing can be seen) to 1 (no harm).

    Notes
    -----
    Attenuation: kept = V/(V + E). V is the variance of the true reveal area that the laid area
    and the other cuts do not already foretell, E that of the error, the mean of (reveal length ×
    depth error)². Where lengths are alike this is var(d)/(var(d) + e²) for depth d and error e
    (Fuller 1987, Measurement Error Models, section 1.1; with other columns: Carroll, Ruppert,
    Stefanski & Crainiceanu 2006, Measurement Error in Nonlinear Models, section 3.3). What is
    seen holds true and error together, V + E.
    """
    jobs = jobs.where(jobs.unmeasured == "")
    names = [f"reveal_{cut}_m2" for cut in CUTS]
    held = [name for name in names if jobs.table[name].gt(0).any()] if len(jobs) else []
    rows = []
    for name in held:
        cut = name.removeprefix("reveal_").removesuffix("_m2")
        others = jobs.columns(["laid_m2", *(other for other in held if other != name)])
        area, length = jobs.columns([name, f"reveal_length_{cut}_m"]).T
        depth = 1000 * area[length > 0] / length[length > 0]
        error = float(np.mean((length * depth_error_mm / 1000) ** 2))
        left = area - others @ np.linalg.lstsq(others, area, rcond=None)[0]
        seen = float(np.mean(left**2))
        rows.append(
            {
                "cut": cut,
                "jobs": len(depth),
                "depth_mm": depth.mean(),
                "depth_sd_mm": depth.std(),
                "kept": max(1 - error / seen, 0.0) if seen > 0 else 0.0,
            }
        )
    return pd.DataFrame(rows, columns=["cut", "jobs", "depth_mm", "depth_sd_mm", "kept"])
