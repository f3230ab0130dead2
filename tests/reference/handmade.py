"""Textbook problems put in the shape that `airstats.model.posterior.update` takes.

The sheet of a job is laid area x (1 + waste + crew effect) + lined reveal x factor. With a laid
area of 1 the waste is an intercept, the lined factor a slope and the crew effect a group
effect. The laid area itself is certain; it is added to the response so that it cancels.
"""

import numpy as np
import pandas as pd

from airstats.model.posterior import Belief
from airstats.model.prior import Prior
from airstats.takeoff.sheet_quantities import Takeoff

NARROW = 1e-3
"""Half the width of a near-exact count, in standard deviations. Its effect is of the order 1e-7."""

SMOOTH_M2 = 2000.0
"""Roll area of the textbook problems: it only smooths the first climb."""


def jobs_table(
    low_m2: np.ndarray,
    high_m2: np.ndarray,
    laid_m2: np.ndarray | float = 1.0,
    reveals: dict[str, np.ndarray] | None = None,
    crew: np.ndarray | str = "",
    roll_m2: float = SMOOTH_M2,
) -> Takeoff:
    """Return a takeoff of n jobs; `low_m2`, `high_m2` count the sheet beyond the laid area."""
    n = len(np.atleast_1d(low_m2))
    columns: dict[str, object] = {
        "job_id": [f"J{row:03d}" for row in range(n)],
        "crew": np.broadcast_to(np.asarray(crew, dtype=str), n),
        "laid_m2": np.broadcast_to(np.asarray(laid_m2, dtype=float), n),
        "roll_m2": roll_m2,
    }
    for cut in ("diagonal", "centre", "lined"):
        columns |= {f"{what}_{cut}_m2": 0.0 for what in ("reveal", "needed", "fillable")}
    columns |= {f"reveal_{cut}_m2": amount for cut, amount in (reveals or {}).items()}
    columns |= {"used_low_m2": low_m2 + laid_m2, "used_high_m2": high_m2 + laid_m2}
    return Takeoff(pd.DataFrame(columns, index=range(n)))


def near_exact(
    response: np.ndarray, sd: float, slope_on: np.ndarray | None = None, crew: np.ndarray | str = ""
) -> Takeoff:
    """Return jobs whose use is known almost exactly: a normal likelihood."""
    response = np.atleast_1d(np.asarray(response, dtype=float))
    half = NARROW * sd
    reveals = {} if slope_on is None else {"lined": np.asarray(slope_on, dtype=float)}
    return jobs_table(response - half, response + half, 1.0, reveals, crew)


def known_spread(
    sd: float,
    intercept: tuple[float, float] = (0.0, 1e5),
    slope: tuple[float, float] = (0.0, 1e5),
    group_sd: float = 1.0,
) -> Prior:
    """Return a prior with one spread, no gross errors, and (mean, sd) for the two parameters."""
    tiny = 1e-9
    return Prior(
        waste=intercept,
        reveal_factors=((0.0, 1.0), (0.0, 1.0), slope),
        reuse_shares=((0.0, 1.0), (0.0, 1.0)),
        spread_nodes=(tiny,),
        spread_centre=tiny,
        crew_sd_weights=((group_sd, 1.0),),
        drift_weights=((0.0, 1.0),),
        wide_weight=0.0,
        trend_weight=0.0,
        reuse_weight=0.5,
        floor=sd,
        gross_share=0.0,
    )


def first(belief: Belief, place: int) -> tuple[float, float]:
    """Return mean and variance of one parameter under the first candidate."""
    return float(belief.mean[0, place]), float(belief.covariance[0, place, place])


INTERCEPT, SLOPE, GROUPS = 0, 3, slice(4, None)
"""Places of the parameters of a textbook problem among the model's."""
