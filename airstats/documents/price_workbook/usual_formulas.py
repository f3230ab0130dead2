"""Openings that nobody knows yet, as formulas: what is usual of the firm, and how far off."""

from __future__ import annotations

import numpy as np

from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.documents.price_workbook.geometry_formulas import sums
from airstats.documents.price_workbook.job_sheets import JobSheets
from airstats.model.posterior import Belief, worths
from airstats.takeoff.usual_openings import SURFACE_M2, Habits, quantity_names

LISTED, UNKNOWN = "as listed", "not known"
"""What the cell `openings_are` may say."""
DOUBTS = ("doubt_laps2", "doubt_laps", "doubt_rest")
"""For each candidate: what multiplies the square of the lap factor, the factor, and 1; m⁴."""


def usual_steps(job: JobSheets, habits: Habits) -> None:
    """Name the sums of the job's openings: those listed, or where nobody knows, the usual ones.

    Parameters
    ----------
    job : JobSheets
        With the names `openings_are`, `surface_m2` and, as `listed_NAME`, those of
        `geometry_formulas.sums`.
    habits : Habits
        The firm's.

    Notes
    -----
    As `unmeasured.reckoned`: means grow with the surface; the variance is that between jobs and of
    the means, both a share of `doubt_size`.
    """
    job.step("unknown", f'IF(openings_are="{UNKNOWN}",1,0)')
    job.step("larger", f"N(surface_m2)/{SURFACE_M2:g}-1")
    means = dict(zip(quantity_names(), habits.openings.mean.T.tolist(), strict=True))
    for name in sums():
        start, slope = means[name]
        usual = f"MAX({start!r}+larger*({slope!r}),0)"
        job.step(name, f"IF(unknown=1,{usual},listed_{name})")
    unsure = np.linalg.inv(habits.openings.precision).tolist()
    spread = f"{unsure[0][0]!r}+2*larger*({unsure[0][1]!r})+larger^2*{unsure[1][1]!r}"
    job.step("doubt_size", f"IF(unknown=1,1+larger+{spread},0)")


def doubts(belief: Belief) -> np.ndarray:
    """Return the (G, 3) columns of `DOUBTS`."""
    worth = np.empty((len(belief.form), len(quantity_names())))
    for form in np.unique(belief.form):
        chosen = belief.form == form
        worth[chosen] = worths(belief.mean[chosen], int(form))
    between = belief.habits.openings.covariance
    laid, rest = worth[:, 0], worth[:, 1:]
    return np.column_stack(
        [
            laid**2 * between[0, 0],
            -2 * laid * (rest @ between[0, 1:]),
            np.einsum("gk,kl,gl->g", rest, between[1:, 1:], rest),
        ]
    )


def choices() -> tuple[str, ...]:
    """Return what may be said of the openings: a cut without formulas has no usual sums here."""
    whole = all(CUTS[cut].formulas for cut in reused_cuts())
    return (LISTED, UNKNOWN) if whole else (LISTED,)
