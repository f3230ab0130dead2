"""From a firm's records to the quantities of each job: laid sheet, reveals, rolls as areas."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import SHEET
from airstats.records.reading import Records
from airstats.takeoff.measured_use import with_measured
from airstats.takeoff.unmeasured import (
    DEPTHS,
    OPENINGS,
    Doubt,
    add_laid,
    mean_depth_mm,
    opening_sums,
    reckoned,
)
from airstats.takeoff.usual_openings import SUMMED, Habits, quantity_names, starting_habits

HALF_WIDTH_PACKS = {"half": 0.25, "quarter": 0.125, "exact": 0.005}
"""How far, in packs, the true use may lie either side of a count that is not whole rolls."""

SHEET_COLUMNS = {
    "amount": "laid_m2",
    "face": "surface_m2",
    "bare": "net_surface_m2",
    "pack": "roll_m2",
    "pack_price": "roll_price",
    "low": "used_low_m2",
    "high": "used_high_m2",
    "estimated": "estimated_rolls",
    "used": "used_rolls",
}
"""What is counted of every product: its name, and the column of it for the sheet."""


@dataclass(frozen=True)
class Takeoff:
    """The quantities of one product for n jobs, ready for calibration or pricing.

    `table` holds one row a job: see `take_off` for the sheet, `material_takeoff` for another
    product, whose columns bear the names of `SHEET_COLUMNS`. `notes` is what is to be said of the
    data; `openings` the records' own; `habits` what is usual of the firm's openings, which stands
    in the table where a job's own are not measured; `doubt` how far those may depart, or None.
    """

    table: pd.DataFrame
    product: str = SHEET
    notes: tuple[str, ...] = ()
    openings: pd.DataFrame = field(default_factory=pd.DataFrame)
    habits: Habits = field(default_factory=starting_habits)
    doubt: Doubt | None = None

    def __len__(self) -> int:
        return len(self.table)

    @cached_property
    def crews(self) -> np.ndarray:
        """The (n,) names of the crews, "" where none is named."""
        return self.table["crew"].to_numpy(dtype=str)

    @property
    def amount(self) -> np.ndarray:
        """The (n,) counted quantities, in the product's unit: laid sheet, metres of joint."""
        return self.told("amount")

    @property
    def pack(self) -> np.ndarray:
        """The (n,) contents of a pack, in the product's unit: of a roll for the sheet."""
        return self.told("pack")

    @property
    def interval(self) -> np.ndarray:
        """The (n, 2) ends of what was used by the count, in the product's unit."""
        return np.column_stack([self.told("low"), self.told("high")])

    def told(self, name: str) -> np.ndarray:
        """Return the (n,) numbers of one of `SHEET_COLUMNS`; "used" and "estimated" in packs."""
        column = SHEET_COLUMNS[name] if self.product == SHEET else name
        if name == "pack_price" and column not in self.table:
            return np.full(len(self), np.nan)
        return self._column(column).copy()

    def columns(self, names: list[str]) -> np.ndarray:
        """Return the named columns as an (n, len(names)) array."""
        return np.column_stack([self._column(name) for name in names])

    def _column(self, name: str) -> np.ndarray:
        if name not in self._read:
            self._read[name] = self.table[name].to_numpy(dtype=float)
        return self._read[name]

    @cached_property
    def _read(self) -> dict[str, np.ndarray]:
        """The columns that were asked for: a table takes far longer to give one."""
        return {}

    def by_cut(self, quantity: str, unit: str = "m2") -> np.ndarray:
        """Return a quantity such as "reveal" or "needed" as (n, cuts); only sheet has any."""
        if self.product != SHEET:
            return np.zeros((len(self), len(CUTS)))
        return self.columns([f"{quantity}_{cut}_{unit}" for cut in CUTS])

    def where(self, keep: pd.Series | np.ndarray) -> Takeoff:
        """Return the jobs for which `keep` is true, or whose places it lists."""
        places = np.asarray(keep)
        table = self.table.iloc[places].reset_index(drop=True)
        return replace(self, table=table, doubt=self.doubt and self.doubt.where(places))

    @property
    def unmeasured(self) -> np.ndarray:
        """The (n,) words for what nobody knows of each job: "openings", "depths" or ""."""
        if "unmeasured" not in self.table:
            return np.full(len(self), "")
        return self.table["unmeasured"].to_numpy(dtype=str)

    def known(self, column: str) -> np.ndarray:
        """Return the (n,) numbers of a column, nothing for a job whose openings are unknown."""
        return np.where(self.unmeasured == OPENINGS, 0.0, self._column(column))

    def reckoned(self, habits: Habits) -> Takeoff:
        """Return the jobs with what is usual of the firm's openings where they are not measured."""
        if habits is self.habits or "unmeasured" not in self.table:
            return self
        found = reckoned(self.table, self.openings, habits, self.habits.depth_error_mm > 0)
        return replace(self, table=found[0], doubt=found[1], habits=habits)

    def teach(self, habits: Habits, order: np.ndarray) -> Habits:
        """Return the habits after those of the jobs whose openings are known.

        Parameters
        ----------
        habits : Habits
            As believed before.
        order : (n,) array
            Places of the jobs, in the order in which they are added up.
        """
        known = order[self.unmeasured[order] == ""]
        if "unmeasured" not in self.table or not len(known):
            return habits
        jobs = self.where(known).reckoned(habits)
        surface_m2, depth_mm, *quantities = jobs.columns(
            ["surface_m2", "depth_mm", *quantity_names()]
        ).T
        return habits.learnt(surface_m2, np.column_stack(quantities), depth_mm)


def take_off(records: Records) -> Takeoff:
    """Work out each job's quantities from its surface, laps and openings.

    Parameters
    ----------
    records : Records
        Checked records or a takeoff of n jobs.

    Returns
    -------
    Takeoff
        n rows with the records' columns and `roll_m2`, `opening_m2`, `lined_opening_m2`,
        `net_surface_m2` (surface less openings where the sheet stops), `laid_m2`, `lap_m2`, and for
        each cut `reveal_CUT_m2`, `needed_CUT_m2` (fresh sheet if no off-cut is used again),
        `fillable_CUT_m2` (the part of it that off-cuts can supply), `reveal_length_CUT_m`;
        `depth_mm`, the mean depth where all are known; `unmeasured`: "openings" or "depths" of a
        job of which these are unknown and stand here as they are usual in any firm, else "";
        `used_low_m2`, `used_high_m2` where the job is finished; where the last roll was measured,
        `used_rolls` and `counted` are by that.

    Notes
    -----
    laid area = (surface - lined openings) * roll width / (roll width - lap): a course covers its
    own width less one lap.
    """
    jobs, openings = records.jobs.reset_index(drop=True), records.openings
    table = jobs.assign(roll_m2=jobs["roll_width_m"] * jobs["roll_length_m"])
    habits = starting_habits()
    depth = openings["reveal_mm"].fillna(habits.usual_depth_mm).to_numpy(dtype=float)
    sums = opening_sums(jobs, openings, depth)
    unmeasured = _unmeasured(jobs, openings)
    told = ["opening_count", "opening_m2", *(f"reveal_length_{cut}_m" for cut in CUTS)]
    if (unmeasured == OPENINGS).any():
        sums.loc[unmeasured == OPENINGS, told] = np.nan
    sums["depth_mm"] = np.where(unmeasured == "", mean_depth_mm(sums), np.nan)
    table = table.drop(columns=sums.columns, errors="ignore").join(sums)
    low, high = used_interval(table["used_rolls"], table["counted"])
    ends = {"used_low_m2": low * table["roll_m2"], "used_high_m2": high * table["roll_m2"]}
    table = with_measured(add_laid(table).assign(unmeasured=unmeasured, **ends))
    table, doubt = reckoned(table, openings, habits)
    return Takeoff(table, openings=openings, habits=habits, doubt=doubt)


def _unmeasured(jobs: pd.DataFrame, openings: pd.DataFrame) -> np.ndarray:
    """The (n,) words for what nobody knows of each job, as `unmeasured` holds them."""
    known = jobs["openings_known"].to_numpy(dtype=bool) if "openings_known" in jobs else True
    blank = jobs["job_id"].isin(openings.loc[openings["reveal_mm"].isna(), "job_id"])
    return np.where(known, np.where(blank, DEPTHS, ""), OPENINGS)


def by_quantity(jobs: Takeoff) -> np.ndarray:
    """Return the places of n finished jobs in an order that only their quantities set.

    Sums over the jobs then round alike however rows and names stand.
    """
    quantities = [jobs.by_cut(name) for name in SUMMED]
    quantities.append(np.column_stack([jobs.interval, jobs.pack, jobs.amount]))
    return np.lexsort((jobs.crews, jobs.unmeasured, *np.hstack(quantities).T))


def used_interval(used: pd.Series, counted: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Return the least and most packs that a count can stand for, by how it was counted."""
    half_width = counted.map(HALF_WIDTH_PACKS).astype(float)
    opened = counted.eq("opened")
    low = (used - half_width).mask(opened, used - 1)
    return low.clip(lower=0), (used + half_width).mask(opened, used)
