"""Jobs whose openings are not known, or how deep: expected quantities, and how far they may lie.

What is not measured is missing data: it stands in with its mean, and its spread is carried along.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS, stopped_cuts
from airstats.takeoff.opening_quantities import quantities_by_cut
from airstats.takeoff.usual_openings import SUMMED, Habits, house_columns, quantity_names

Array = np.ndarray

OPENINGS, DEPTHS = "openings", "depths"
"""What of a job may be unmeasured, as its column `unmeasured` says; "" where all is known."""
WHOLE = 1e9
"""A job's openings are added up in whole parts of this, a m² or a m: a thousandth of a mm²."""
_SIZED = ["count", "width_mm", "height_mm", "sides", "cut_pattern"]
LEAST_DEPTH_MM = 10.0
AT_A_TIME = 1 << 16
"""Openings; more at several depths would take much memory."""
_STEPS, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
"""Depths at which the geometry is asked, in sd from the mean, and the weight of each."""


@dataclass(frozen=True)
class Doubt:
    """How the quantities of n jobs may depart from those expected.

    The K quantities are the laid sheet and, for each cut, those of `SUMMED`, m².

    Attributes
    ----------
    covariance : (n, K, K) of each job, m⁴
    shared : (n, K, F), the part of it that jobs have in common: what F standard steps move
    """

    covariance: Array
    shared: Array

    def where(self, keep: Array) -> Doubt:
        """Return the doubt of some of the jobs."""
        return Doubt(self.covariance[keep], self.shared[keep])


def add_laid(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table of jobs with the sheet that lies on the surface, and its laps."""
    net = (table["surface_m2"] - table["lined_opening_m2"]).to_numpy(dtype=float)
    laid = net * _lap_factor(table)
    return table.assign(net_surface_m2=net, laid_m2=laid, lap_m2=laid - net)


def opening_sums(jobs: pd.DataFrame, openings: pd.DataFrame, depth_mm: Array) -> pd.DataFrame:
    """Add up the openings of each job, by cut: one row a job, in the order of `jobs`.

    Parameters
    ----------
    jobs, openings : DataFrame
        n jobs, and m kinds of opening of these jobs or others.
    depth_mm : (m,) array
        Depths to take instead of those written.
    """
    row = job_places(jobs, openings)
    own = row >= 0
    sums = _sums_at(jobs, openings[own], row[own], depth_mm[None, own])
    return pd.DataFrame({name: sum_of[0] for name, sum_of in sums.items()}, index=jobs.index)


def _sums_at(
    jobs: pd.DataFrame, openings: pd.DataFrame, row: Array, depths_mm: Array
) -> dict[str, Array]:
    """Add up openings of jobs that stand in `row` (m,), at (s, m) depths: (s, n) each."""
    times, n = len(depths_mm), len(jobs)
    openings = openings[_SIZED].iloc[np.tile(np.arange(len(row)), times)]
    openings = openings.assign(reveal_mm=depths_mm.ravel())
    count = openings["count"].to_numpy(dtype=float)
    widths = np.tile(jobs["roll_width_m"].to_numpy(dtype=float)[row], times) if len(row) else 1.5
    row = np.add.outer(n * np.arange(times), row).ravel()

    def total(values: Array, rows: Array | slice = slice(None)) -> Array:
        # Whole numbers add up to the same in any order of the rows.
        amounts = np.rint(values * count[rows] * WHOLE)
        return np.bincount(row[rows], weights=amounts, minlength=times * n)

    sums = {"opening_count": total(np.ones(len(count)))}
    sums |= {name: np.zeros(times * n) for name in ("opening_m2", "lined_opening_m2")}
    for cut, rows, one in quantities_by_cut(openings, roll_width_m=widths):
        opening = total(one["opening_m2"], rows)
        sums["opening_m2"] += opening
        sums["lined_opening_m2"] += opening * (cut in stopped_cuts())
        for quantity in SUMMED:
            sums[f"{quantity}_{cut}_m2"] = total(one[f"{quantity}_m2"], rows)
        depth_m = depths_mm.ravel()[rows] / 1000
        sums[f"reveal_length_{cut}_m"] = total(one["reveal_m2"] / depth_m, rows)
    return {name: amount.reshape(times, n) / WHOLE for name, amount in sums.items()}


def job_places(jobs: pd.DataFrame, openings: pd.DataFrame) -> Array:
    """Return the (m,) places in `jobs` of the jobs that openings are of, -1 for another's."""
    codes, ids = pd.factorize(openings["job_id"])
    return np.asarray(pd.Index(jobs["job_id"]).get_indexer(ids)[codes])


def mean_depth_mm(sums: pd.DataFrame) -> Array:
    """Return the (n,) mean depths of the openings in the sums, by length; nan where none are."""
    reveal, length = (
        sums[[f"{name}_{cut}_{unit}" for cut in CUTS]].to_numpy(dtype=float).sum(axis=1)
        for name, unit in (("reveal", "m2"), ("reveal_length", "m"))
    )
    return 1000 * np.divide(reveal, length, out=np.full(len(sums), np.nan), where=length > 0)


def reckoned(
    table: pd.DataFrame, openings: pd.DataFrame, habits: Habits, drawn: bool = False
) -> tuple[pd.DataFrame, Doubt | None]:
    """Return the table of n jobs with expected quantities where they are not measured, and doubt.

    Parameters
    ----------
    table : DataFrame
        From `take_off`.
    openings : DataFrame
        The records' openings.
    habits : Habits
        What is usual of the firm's openings.
    drawn : bool
        Whether measured depths were drawn to other habits, so that they are to be taken anew.

    Notes
    -----
    A measured depth is drawn to the firm's usual one by its reliability (regression calibration:
    Carroll, Ruppert, Stefanski & Crainiceanu 2006, Measurement Error in Nonlinear Models, ch. 4),
    an unknown one is the usual one; both then vary by a normal step that is common to a job's
    openings, whose effect the geometry gives at five depths (Gauss-Hermite).
    """
    unmeasured = table["unmeasured"].to_numpy(dtype=str)
    nobody = unmeasured == OPENINGS
    measured = (unmeasured == "") & table["depth_mm"].notna().to_numpy()
    rough = (unmeasured == DEPTHS) | (measured & (drawn or habits.depth_error_mm > 0))
    if not (nobody | rough).any():
        return table, None
    names = quantity_names()
    mean = table[names].to_numpy(dtype=float, copy=True)
    covariance = np.zeros((len(table), len(names), len(names)))
    shared = np.zeros((len(table), len(names), 2 * len(names) + 1))
    if nobody.any():
        found = _usual_openings(table.loc[nobody, "surface_m2"].to_numpy(dtype=float), habits)
        mean[nobody], covariance[nobody], shared[nobody, :, :-1] = found
    if rough.any():
        told = ["job_id", "roll_width_m", "depth_mm", "unmeasured"]
        found = _usual_depth(table.loc[rough, told], openings, habits)
        mean[rough], covariance[rough], shared[rough, :, -1] = found
    # More of the surface left open is so much less laid.
    turned = np.ones((len(table), len(names)))
    turned[:, 0] = -_lap_factor(table)
    doubt = Doubt(covariance * turned[:, :, None] * turned[:, None, :], shared * turned[:, :, None])
    return add_laid(table.assign(**dict(zip(names, mean.T, strict=True)))), doubt


def _usual_openings(surface_m2: Array, habits: Habits) -> tuple[Array, Array, Array]:
    """Mean (n, K), covariance and shared part (n, K, 2K) of jobs whose openings nobody knows."""
    known = habits.openings
    size, columns = house_columns(surface_m2)
    scaled = columns * np.sqrt(size)[:, None]
    value, vector = np.linalg.eigh(known.covariance)
    root = vector * np.sqrt(np.maximum(value, 0))
    # What nobody knows of the firm's mean moves all such jobs alike.
    shared = np.einsum("nf,kl->nkfl", scaled @ known.root(), root)
    shared = shared.reshape(len(size), len(root), -1)
    covariance = size[:, None, None] * known.covariance + shared @ shared.swapaxes(1, 2)
    return np.maximum(scaled @ known.mean, 0), covariance, shared


def _usual_depth(
    table: pd.DataFrame, openings: pd.DataFrame, habits: Habits
) -> tuple[Array, Array, Array]:
    """Mean (n, K), covariance and shared part (n, K) of jobs whose depths are not known well."""
    row = job_places(table, openings)
    openings, row = openings[row >= 0], row[row >= 0]
    written = openings["reveal_mm"].to_numpy(dtype=float)
    blank = np.isnan(written)
    drawn = (1 - habits.reliability) * (habits.usual_depth_mm - table["depth_mm"]).fillna(0.0)
    centre = np.where(blank, habits.usual_depth_mm, written + drawn.to_numpy()[row])
    unsure = np.hypot(habits.depth_sd_mm, habits.mean_depth_sd_mm)
    step = np.where(blank, unsure, np.sqrt(habits.reliability) * habits.depth_error_mm)
    weight = _WEIGHTS / _WEIGHTS.sum()
    at = np.maximum(centre + _STEPS[:, None] * step, LEAST_DEPTH_MM)
    parts = np.array_split(at, min(len(at), 1 + at.size // AT_A_TIME))
    found = [_sums_at(table, openings, row, part) for part in parts]
    sums = np.stack([np.concatenate([f[name] for f in found]) for name in quantity_names()], -1)
    mean = np.einsum("s,snk->nk", weight, sums)
    off = sums - mean
    covariance = np.einsum("s,snk,snl->nkl", weight, off, off)
    by_step = np.einsum("s,snk->nk", weight * _STEPS, sums)
    common = np.where(table["unmeasured"] == DEPTHS, habits.mean_depth_sd_mm / unsure, 0.0)
    return mean, covariance, by_step * common[:, None]


def _lap_factor(table: pd.DataFrame) -> Array:
    """The (n,) laid sheet a m² of surface that it covers."""
    width, lap = (table[name].to_numpy(dtype=float) for name in ("roll_width_m", "lap_mm"))
    return np.asarray(width / (width - lap / 1000))
