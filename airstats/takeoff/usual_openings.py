"""What is usual of a firm's openings: of use where nobody knows those of a job, or how deep.

The starting belief comes from ordinary houses, worked out by the geometry; the jobs whose openings
are known then move it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS, stopped_cuts
from airstats.takeoff.opening_quantities import opening_quantities

Array = np.ndarray

SUMMED = ("reveal", "needed", "fillable")
"""What is added up over a job's openings of one cut."""

SURFACE_M2 = 250.0
"""Surface of the ordinary one-off house that the starting belief is of (common practice)."""
OPENING_MM = (1230.0, 1480.0)
"""Its openings: a window between a bathroom's and a garden door's (common practice)."""
COUNTS = (11, 18, 25)
"""How many openings it has, each as likely: 18 of 350 mm have 34 m² of reveal, and 30 to 40 m² are
usual in a one-off house (common practice, no source); 25 and 11 are a sd of a third."""
DEPTHS_MM = (230.0, 350.0, 470.0)
"""How deep they are, each as likely: walls of 300 to 550 mm, the window set at a third."""
STOPPED_SHARES = (0.1, 0.2, 0.3)
"""Share of the openings at which the sheet stops, each as likely: doors and large panes."""
MAIN_SHARE = 0.75
"""Share of the others that a job cuts its one usual way; any way is as likely."""

OPENINGS_JOBS, SLOPE_JOBS = 3.0, 0.5
"""How many jobs the starting means are worth; and how many houses twice the size the belief is
worth that openings grow with the surface. Few, since firms differ and each knows its own."""
SPREAD_JOBS = 6.0
"""How many jobs the starting spread between jobs is worth."""
DEPTH_MM, DEPTH_SD_MM = 350.0, 100.0
"""Mean depth of a job and its sd between jobs, as of `DEPTHS_MM`; worth as many jobs."""
LEAST_DEPTH_SD_MM = 10.0
"""However rough the measuring, walls differ by as much."""


@dataclass(frozen=True)
class Habit:
    """What is believed of K quantities of a job that follow p columns: a mean and a spread.

    Attributes
    ----------
    mean : (p, K)
    precision : (p, p), how many jobs the mean is worth
    covariance : (K, K), between jobs
    jobs : how many jobs the covariance is worth
    """

    mean: Array
    precision: Array
    covariance: Array
    jobs: float

    def learnt(self, x: Array, y: Array, error: float = 0.0, least: float = 0.0) -> Habit:
        """Return the belief moved by n jobs.

        Parameters
        ----------
        x, y : (n, p) and (n, K) arrays
            What they follow, and the quantities.
        error : float
            Variance that measuring adds to every quantity.
        least : float
            The variance between jobs is at least this.

        Notes
        -----
        Multivariate regression with its conjugate belief, matrix normal and inverse Wishart
        (Rossi, Allenby & McCulloch 2005, Bayesian Statistics and Marketing, section 2.8).
        """
        if not len(x):
            return self
        precision = self.precision + x.T @ x
        mean = np.linalg.solve(precision, self.precision @ self.mean + x.T @ y)
        off, moved = y - x @ mean, mean - self.mean
        squares = off.T @ off + moved.T @ self.precision @ moved - len(x) * error
        jobs = self.jobs + len(x)
        covariance = (self.jobs * self.covariance + squares) / jobs
        place = np.arange(len(covariance))
        covariance[place, place] = np.maximum(covariance[place, place], least)
        return Habit(mean, precision, covariance, jobs)

    def root(self) -> Array:
        """Return a (p, p) matrix: times its transpose it is how unsure the mean is, in jobs."""
        return np.linalg.cholesky(np.linalg.inv(self.precision))


@dataclass(frozen=True)
class Habits:
    """What is usual of a firm's openings.

    Attributes
    ----------
    openings : of `quantity_names`, in a house of `SURFACE_M2` and by how much larger another is
    depth : of a job's mean depth, mm
    depth_error_mm : sd of the measuring error of a job's depths
    """

    openings: Habit
    depth: Habit
    depth_error_mm: float = 0.0

    def learnt(self, surface_m2: Array, quantities: Array, depth_mm: Array) -> Habits:
        """Return the habits after n jobs whose openings are known.

        Parameters
        ----------
        surface_m2 : (n,) array
            Their surfaces.
        quantities : (n, K) array
            Of `quantity_names`, m².
        depth_mm : (n,) array
            Their mean depths as measured; nan in a job without openings.

        Notes
        -----
        Variances of the quantities grow as the surface does. A measured depth varies by what jobs
        differ and by what measuring errs, and only the first is kept.
        """
        size, columns = house_columns(surface_m2)
        deep = depth_mm[~np.isnan(depth_mm)][:, None]
        return replace(
            self,
            openings=self.openings.learnt(columns, quantities / np.sqrt(size)[:, None]),
            depth=self.depth.learnt(
                np.ones_like(deep), deep, self.depth_error_mm**2, LEAST_DEPTH_SD_MM**2
            ),
        )

    @property
    def usual_depth_mm(self) -> float:
        """The mean depth of the firm's jobs."""
        return float(self.depth.mean[0, 0])

    @property
    def depth_sd_mm(self) -> float:
        """The sd of a job's depth between jobs."""
        return float(np.sqrt(self.depth.covariance[0, 0]))

    @property
    def mean_depth_sd_mm(self) -> float:
        """How unsure the firm's mean depth is (sd)."""
        return self.depth_sd_mm / float(np.sqrt(self.depth.precision[0, 0]))

    @property
    def reliability(self) -> float:
        """Share of the variance of measured depths that is of the depths themselves."""
        own = self.depth_sd_mm**2
        return own / (own + self.depth_error_mm**2)


def house_columns(surface_m2: Array) -> tuple[Array, Array]:
    """Return the (n,) sizes of houses and the (n, 2) columns that their openings follow.

    Both as multiples of the ordinary house; scaled so that all houses vary alike.
    """
    size = np.asarray(surface_m2, dtype=float) / SURFACE_M2
    return size, np.column_stack([np.ones_like(size), size - 1]) / np.sqrt(size)[:, None]


def quantity_names() -> list[str]:
    """Return the quantities of a job's openings, columns of its takeoff."""
    return ["lined_opening_m2", *(f"{name}_{cut}_m2" for name in SUMMED for cut in CUTS)]


def starting_habits() -> Habits:
    """Return what is believed usual before any job."""
    return _starting_habits(tuple(CUTS))


@cache
def _starting_habits(cuts: tuple[str, ...]) -> Habits:
    houses = _ordinary_houses(cuts)
    mean = houses.mean(axis=0)
    return Habits(
        Habit(
            np.array([mean, mean]),
            np.diag([OPENINGS_JOBS, SLOPE_JOBS]),
            np.cov(houses.T, bias=True),
            SPREAD_JOBS,
        ),
        Habit(
            np.array([[DEPTH_MM]]),
            np.array([[OPENINGS_JOBS]]),
            np.array([[DEPTH_SD_MM**2]]),
            SPREAD_JOBS,
        ),
    )


def _ordinary_houses(cuts: tuple[str, ...]) -> Array:
    """The (houses, K) quantities of ordinary houses, each as likely as the next."""
    stopped = np.isin(cuts, stopped_cuts())
    houses = []
    for depth in DEPTHS_MM:
        one = _one_of_each(cuts, depth)
        for count, share, main in product(COUNTS, STOPPED_SHARES, np.flatnonzero(~stopped)):
            others = np.where(stopped, 0.0, (1 - MAIN_SHARE) / max((~stopped).sum() - 1, 1))
            others[main] = MAIN_SHARE
            number = count * ((1 - share) * others / others.sum() + share * stopped / stopped.sum())
            area = (number * stopped * one["opening_m2"]).sum()
            houses.append([area, *(number * one[f"{q}_m2"] for q in SUMMED)])
    return np.array([np.hstack(house) for house in houses])


def _one_of_each(cuts: tuple[str, ...], depth_mm: float) -> pd.DataFrame:
    width, height = OPENING_MM
    openings = pd.DataFrame({"cut_pattern": cuts}).assign(
        width_mm=width, height_mm=height, reveal_mm=depth_mm, sides=4
    )
    return opening_quantities(openings)
