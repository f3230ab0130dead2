"""A roll of sheet as it lies: the metres left on it, by its outer diameter.

The numbers of a roll are common practice, no source. They serve where a firm gives none of its own.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

Array = np.ndarray

CORE_MM, CORE_SD_MM = 80.0, 6.0
"""Outside of the core: a tube of 76 mm inside with a thin wall, or a thicker one."""
FULL_MM, FULL_M = 170.0, 50.0
"""A full roll of the usual sheet, across, and the metres on it."""
SHEET_MM = np.pi * (FULL_MM**2 - CORE_MM**2) / (4000 * FULL_M)
"""Thickness of such a sheet with the air between its turns, 0.35 mm."""
SHEET_SD_MM = 0.08
"""So much do the firms' sheets differ: most lie from 0.2 to 0.5 mm."""
GAUGE_MM = 5.0
"""A diameter taken with a tape measure is right within this, either way."""
GAUGE_SD_MM = GAUGE_MM / np.sqrt(3)
METRES_SD = 1.0
"""Standard deviation of metres that were measured out or paced."""
SHARED = 4.0
"""How many times the error of a usual roll counts: all jobs of a firm share it, so it does not
average out. As if each of sixteen jobs had an error of its own with the same mean."""


def usual_full_mm(length_m: Array | float, core_mm: Array | float = CORE_MM) -> Array:
    """Return the outer diameter of a full roll of the usual sheet.

    Parameters
    ----------
    length_m, core_mm : arrays or floats
        Metres on the roll; outside of its core.
    """
    return np.asarray(np.sqrt(np.square(core_mm) + 4000 * SHEET_MM / np.pi * length_m))


def sheet_mm(full_mm: Array, core_mm: Array, length_m: Array) -> Array:
    """Return the thickness of the sheet on a roll, with the air between its turns, mm.

    Parameters
    ----------
    full_mm, core_mm, length_m : arrays
        Outer diameter of the full roll, outside of its core, metres on it.
    """
    return np.asarray(np.pi * (np.square(full_mm) - np.square(core_mm)) / (4000 * length_m))


def metres_left(
    diameter_mm: Array | float,
    full_mm: Array | float,
    core_mm: Array | float,
    length_m: Array | float,
) -> Array:
    """Return the metres on a begun roll, by its outer diameter.

    Parameters
    ----------
    diameter_mm : array or float
        Outer diameter; what is above a full roll's or below the core's counts as either.
    full_mm, core_mm, length_m : arrays or floats
        As for `sheet_mm`.

    Notes
    -----
    length × thickness = area of the wound ring, π (D² - core²) / 4, so that the length left is
    length × (D² - core²) / (full² - core²) whatever the thickness.
    """
    ring = np.square(np.clip(diameter_mm, core_mm, full_mm)) - np.square(core_mm)
    return np.asarray(length_m * ring / (np.square(full_mm) - np.square(core_mm)))


def metres_left_sd(
    diameter_mm: Array, full_mm: Array, core_mm: Array, length_m: Array, sds_mm: tuple[Array, Array]
) -> Array:
    """Return the standard deviation of `metres_left`, from those of what was measured.

    Parameters
    ----------
    diameter_mm, full_mm, core_mm, length_m : arrays
        As for `metres_left`.
    sds_mm : tuple of arrays
        Standard deviations of the full diameter and of the core; the gauge's is `GAUGE_SD_MM`.

    Notes
    -----
    First order: with s = left / length, d left / dD = 2 D length / ring, d left / d full =
    -2 full s length / ring, d left / d core = -2 core (1 - s) length / ring.
    """
    share = metres_left(diameter_mm, full_mm, core_mm, length_m) / length_m
    a_mm = 2 * length_m / (np.square(full_mm) - np.square(core_mm))
    parts = (
        diameter_mm * GAUGE_SD_MM,
        full_mm * share * sds_mm[0],
        core_mm * (1 - share) * sds_mm[1],
    )
    return np.asarray(a_mm * np.sqrt(sum(np.square(part) for part in parts)))


def left_by_diameter(table: pd.DataFrame) -> tuple[Array, Array]:
    """Return the metres left by the diameter of the last roll, and their sd; nan without one.

    What the firm measured itself is right within the gauge; a usual roll's numbers are less so,
    and their error counts `SHARED` times.

    Parameters
    ----------
    table : DataFrame
        n rows of `left_diameter_mm, full_diameter_mm, core_mm, roll_length_m`, nan for unknown.
    """
    diameter, length = (table[n].to_numpy(float) for n in ("left_diameter_mm", "roll_length_m"))
    full, core = roll_numbers(table)
    own = table[["full_diameter_mm", "core_mm"]].notna().to_numpy()
    usual_full_sd = SHARED * 2000 * length * SHEET_SD_MM / (np.pi * full)
    full_sd = np.where(own[:, 0], GAUGE_SD_MM, usual_full_sd)
    core_sd = np.where(own[:, 1], GAUGE_SD_MM, SHARED * CORE_SD_MM)
    left = metres_left(diameter, full, core, length)
    return left, metres_left_sd(diameter, full, core, length, (full_sd, core_sd))


def roll_numbers(table: pd.DataFrame) -> tuple[Array, Array]:
    """Return the full diameter and the core of n rolls, mm: the firm's own, else the usual.

    nan for a full roll no wider than its core.
    """
    core = table["core_mm"].fillna(CORE_MM).to_numpy(float)
    usual = usual_full_mm(table["roll_length_m"].to_numpy(float), core)
    own = table["full_diameter_mm"].to_numpy(float)
    full = np.where(np.isnan(own), usual, own)
    return np.where(full > core, full, np.nan), core


def diameter_table(
    full_mm: float | None = None,
    core_mm: float = CORE_MM,
    length_m: float = 50.0,
    step_mm: float = 10.0,
) -> pd.DataFrame:
    """Return `diameter_mm, left_m` from the core to the full roll, for people with a tape measure.

    Parameters
    ----------
    full_mm : float, optional
        Outer diameter of a full roll; by default that of the usual sheet.
    core_mm, length_m : float
        Outside of the core; metres on the full roll.
    step_mm : float
        Between two rows; the last row is the full roll.
    """
    full = float(usual_full_mm(length_m, core_mm)) if full_mm is None else full_mm
    first = step_mm * (np.floor(core_mm / step_mm) + 1)
    diameters = np.append(np.arange(first, full - 0.5, step_mm), full)
    left = metres_left(diameters, full, core_mm, length_m)
    return pd.DataFrame({"diameter_mm": diameters, "left_m": left})
