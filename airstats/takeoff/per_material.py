"""What is counted for the materials besides the sheet: tape metres, corners, sealant, per job."""

from __future__ import annotations

import numpy as np
import pandas as pd

from airstats.catalog.corner_methods import CORNER_METHODS, CORNERS, USUAL_METHOD
from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import MATERIALS, PRETAPED_SHARE
from airstats.records.cell_values import cells_of, read_numbers
from airstats.takeoff.opening_quantities import opening_quantities
from airstats.takeoff.sheet_quantities import Takeoff, used_interval
from airstats.takeoff.unmeasured import OPENINGS, job_places


def material_quantities(jobs: Takeoff, openings: pd.DataFrame) -> pd.DataFrame:
    """Count what drives each material from the geometry of n jobs.

    Parameters
    ----------
    jobs : Takeoff
        n jobs.
    openings : DataFrame
        The records' openings; those of other jobs are passed over.

    Returns
    -------
    DataFrame
        n rows, in the order of the jobs. `course_joint_m` between courses, `butt_joint_m` at the
        ends of rolls, `piece_joint_CUT_m` at loose pieces, `perimeter_m` at floors and abutments
        (0 where it is not given), `joint_m` their sum; `lined_edge_m` round the lined sides of
        the openings, `frame_tape_m` tape to the frames; `corners` to close, `corner_pieces`,
        `corner_minutes`; `sealant_m` (nan where it is not given). What hangs on openings is nan
        where nobody knows them; an unknown depth is the usual one.

    Notes
    -----
    course joints = net surface / (roll width - lap): each course covers its width less one lap.
    butt joints = laid sheet / roll length: every roll ends once, across its width.
    frame tape = lined edge x (1 - share taped beforehand) + corners x extra tape of the method.
    """
    table = jobs.table
    sums = _opening_sums(jobs, openings)
    net_width_m = table["roll_width_m"] - table["lap_mm"] / 1000
    joints = pd.DataFrame(
        {
            "course_joint_m": table["net_surface_m2"] / net_width_m,
            "butt_joint_m": table["laid_m2"] / table["roll_length_m"],
            **{f"piece_joint_{cut}_m": sums[f"piece_joint_{cut}_m"] for cut in CUTS},
            "perimeter_m": _numbers(jobs, "perimeter_m").fillna(0.0),
        }
    )
    method = _column(jobs, "corner_method", USUAL_METHOD).map(CORNER_METHODS)
    open_share = 1 - _numbers(jobs, "pretaped_share").fillna(PRETAPED_SHARE)
    corners = sums["corners"] * open_share
    past_corners_m = corners * method.map(lambda m: m.extra_tape_mm).astype(float) / 1000
    return joints.assign(
        joint_m=joints.sum(axis=1, skipna=False),
        lined_edge_m=sums["lined_edge_m"],
        frame_tape_m=sums["lined_edge_m"] * open_share + past_corners_m,
        corners=corners,
        corner_pieces=corners * method.map(lambda m: m.pieces).astype(float),
        corner_minutes=corners * method.map(lambda m: m.minutes).astype(float),
        sealant_m=_numbers(jobs, "sealant_m"),
    )


def driver_quantity(jobs: Takeoff, quantities: pd.DataFrame, driver: str) -> np.ndarray:
    """Return the (n,) counted quantity of a driver; nan where the records do not tell.

    Parameters
    ----------
    jobs, quantities : Takeoff, DataFrame
        n jobs, and their `material_quantities`.
    driver : str
        A column of `material_quantities`, or a column of numbers of the firm's table of jobs.
    """
    values = quantities[driver] if driver in quantities else _numbers(jobs, driver)
    return values.to_numpy(dtype=float)


def material_takeoff(
    jobs: Takeoff,
    quantities: pd.DataFrame,
    rows: pd.DataFrame,
    name: str,
    pack: float | None = None,
    pack_price: float | None = None,
) -> Takeoff:
    """Return those of n jobs that need a material; none of a material that is not known.

    Parameters
    ----------
    jobs, quantities
        As for `driver_quantity`.
    rows : DataFrame
        The records' table of materials: packs, prices, estimates and counts of jobs.
    name : str
        The material.
    pack, pack_price : float, optional
        What a pack holds, and its price, where the rows do not say.
    """
    own = rows[rows["material"] == name].set_index("job_id").reindex(jobs.table["job_id"])
    numbers = own[["pack", "pack_price", "estimated", "used"]].astype(float)
    material = MATERIALS.get(name)
    packs = numbers["pack"].fillna(pack or (material.pack if material else 1.0))
    ends = used_interval(numbers["used"], own["counted"])
    table = numbers.assign(
        amount=driver_quantity(jobs, quantities, material.driver) if material else np.nan,
        pack=packs,
        pack_price=numbers["pack_price"].fillna(np.nan if pack_price is None else pack_price),
        low=ends[0] * packs,
        high=ends[1] * packs,
    )
    table = table.assign(face=table["amount"], bare=table["amount"]).reset_index(drop=True)
    named = jobs.table[[column for column in _OF_A_JOB if column in jobs.table]]
    return Takeoff(named.join(table), name).where(table["amount"] > 0)


def _opening_sums(jobs: Takeoff, openings: pd.DataFrame) -> pd.DataFrame:
    """Add up joints of pieces, lined edges (m) and corners over each job's openings, if known."""
    place = job_places(jobs.table, openings)
    own, row = openings[place >= 0], place[place >= 0]
    own = own.fillna({"reveal_mm": jobs.habits.usual_depth_mm})
    widths = jobs.table["roll_width_m"].to_numpy(dtype=float)[row] if len(row) else 1.5
    joint_m = opening_quantities(own, roll_width_m=widths)["joint_m"].to_numpy()
    sides = own["sides"].to_numpy(dtype=int)
    width_m, height_m = (own[name].to_numpy(dtype=float) / 1000 for name in SIZES)
    amounts = {
        "lined_edge_m": 2 * height_m + (sides - 2) * width_m,
        "corners": np.where(sides == 4, CORNERS[4], CORNERS[3]),
    }
    for cut in CUTS:
        amounts[f"piece_joint_{cut}_m"] = np.where(own["cut_pattern"] == cut, joint_m, 0.0)
    count = own["count"].to_numpy(dtype=float)
    sums = {
        name: np.bincount(row, weights=amount * count, minlength=len(jobs))
        for name, amount in amounts.items()
    }
    table = pd.DataFrame(sums, index=jobs.table.index)
    table.loc[jobs.unmeasured == OPENINGS] = np.nan
    return table


SIZES = ("width_mm", "height_mm")
_OF_A_JOB = ("job_id", "quarter", "crew")


def _column(jobs: Takeoff, name: str, usual: str) -> pd.Series:
    empty = pd.Series(usual, index=jobs.table.index)
    return jobs.table[name].replace("", usual) if name in jobs.table else empty


def _numbers(jobs: Takeoff, name: str) -> pd.Series:
    """A column of jobs as numbers, whether it was read as such or is one of the firm's own."""
    if name not in jobs.table:
        return pd.Series(np.nan, index=jobs.table.index)
    column = jobs.table[name]
    if pd.api.types.is_numeric_dtype(column):
        return column.astype(float)
    return pd.Series(read_numbers(cells_of(column), frozenset()).result, index=jobs.table.index)
