"""From a firm's records to the quantities of each job: laid sheet, reveals, rolls as areas."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from airstats.catalog.cut_patterns import CUTS, stopped_cuts
from airstats.catalog.materials import SHEET
from airstats.geometry.cutting_rules import Practice
from airstats.records.reading import Records
from airstats.takeoff.measured_use import with_measured
from airstats.takeoff.opening_quantities import opening_quantities

HALF_WIDTH_PACKS = {"half": 0.25, "quarter": 0.125, "exact": 0.005}
"""How far, in packs, the true use may lie either side of a count that is not whole rolls."""

SUMMED = ("reveal", "needed", "fillable")
"""What is added up over a job's openings of one cut."""

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

WHOLE = 1e9
"""A job's openings are added up in whole parts of this, a m² or a m: a thousandth of a mm²."""


@dataclass(frozen=True)
class Takeoff:
    """The quantities of one product for n jobs, ready for calibration or pricing.

    `table` holds one row a job: see `take_off` for the sheet, `material_takeoff` for another
    product, whose columns bear the names of `SHEET_COLUMNS`. `notes` is what is to be said of the
    data.
    """

    table: pd.DataFrame
    product: str = SHEET
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.table)

    @property
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
        return self.columns([column])[:, 0]

    def columns(self, names: list[str]) -> np.ndarray:
        """Return the named columns as an (n, len(names)) array."""
        return np.column_stack([self.table[name].to_numpy(dtype=float) for name in names])

    def by_cut(self, quantity: str, unit: str = "m2") -> np.ndarray:
        """Return a quantity such as "reveal" or "needed" as (n, cuts); only sheet has any."""
        if self.product != SHEET:
            return np.zeros((len(self), len(CUTS)))
        return self.columns([f"{quantity}_{cut}_{unit}" for cut in CUTS])

    def where(self, keep: pd.Series | np.ndarray) -> Takeoff:
        """Return the jobs for which `keep` is true, or whose places it lists."""
        return replace(self, table=self.table.iloc[np.asarray(keep)].reset_index(drop=True))


def take_off(records: Records, practice: Practice = Practice()) -> Takeoff:
    """Work out each job's quantities from its surface, laps and openings.

    Parameters
    ----------
    records : Records
        Checked records or a takeoff of n jobs.
    practice : Practice
        How pieces are cut and turned at the openings.

    Returns
    -------
    Takeoff
        n rows with the records' columns and `roll_m2`, `opening_m2`, `lined_opening_m2`,
        `net_surface_m2` (surface less openings where the sheet stops), `laid_m2`, `lap_m2`, and for
        each cut `reveal_CUT_m2`, `needed_CUT_m2` (fresh sheet if no off-cut is used again),
        `fillable_CUT_m2` (the part of it that off-cuts can supply), `reveal_length_CUT_m`;
        `used_low_m2`, `used_high_m2` where the job is finished; where the last roll was measured,
        `used_rolls` and `counted` are by that.

    Notes
    -----
    laid area = (surface - lined openings) * roll width / (roll width - lap): a course covers its
    own width less one lap.
    """
    jobs = records.jobs.reset_index(drop=True)
    table = jobs.assign(roll_m2=jobs["roll_width_m"] * jobs["roll_length_m"])
    sums = _opening_sums(jobs, records.openings, practice)
    table = table.drop(columns=sums.columns, errors="ignore").join(sums)
    net = table["surface_m2"] - table["lined_opening_m2"]
    lap_m = table["lap_mm"] / 1000
    laid = net * table["roll_width_m"] / (table["roll_width_m"] - lap_m)
    table = table.assign(net_surface_m2=net, laid_m2=laid, lap_m2=laid - net)
    low, high = used_interval(table["used_rolls"], table["counted"])
    ends = {"used_low_m2": low * table["roll_m2"], "used_high_m2": high * table["roll_m2"]}
    return Takeoff(with_measured(table.assign(**ends)))


def by_quantity(jobs: Takeoff, extra_sd_m2: np.ndarray) -> np.ndarray:
    """Return the places of n finished jobs in an order that only their quantities set.

    Sums over the jobs then round alike however rows and names stand.
    """
    quantities = [jobs.by_cut(name) for name in SUMMED]
    quantities.append(np.column_stack([jobs.interval, jobs.pack, jobs.amount]))
    return np.lexsort((jobs.crews, extra_sd_m2, *np.hstack(quantities).T))


def used_interval(used: pd.Series, counted: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Return the least and most packs that a count can stand for, by how it was counted."""
    half_width = counted.map(HALF_WIDTH_PACKS).astype(float)
    opened = counted.eq("opened")
    low = (used - half_width).mask(opened, used - 1)
    return low.clip(lower=0), (used + half_width).mask(opened, used)


def _opening_sums(jobs: pd.DataFrame, openings: pd.DataFrame, practice: Practice) -> pd.DataFrame:
    """Add up the openings of each job, by cut: one row a job, in the order of `jobs`."""
    row = pd.Index(jobs["job_id"]).get_indexer(openings["job_id"])
    count = openings["count"].to_numpy(dtype=float)
    widths = jobs["roll_width_m"].to_numpy(dtype=float)[row] if len(row) else 1.5
    one = opening_quantities(openings, practice, widths)
    cut = openings["cut_pattern"].to_numpy(dtype=str)

    def total(values: np.ndarray, chosen: np.ndarray | slice = slice(None)) -> np.ndarray:
        # Whole numbers add up to the same in any order of the rows.
        amounts = np.rint((values * count)[chosen] * WHOLE)
        return np.bincount(row[chosen], weights=amounts, minlength=len(jobs)) / WHOLE

    opening_m2 = one["opening_m2"].to_numpy()
    length_m = one["reveal_m2"].to_numpy() / (openings["reveal_mm"].to_numpy(dtype=float) / 1000)
    sums = {
        "opening_count": total(np.ones(len(count))),
        "opening_m2": total(opening_m2),
        "lined_opening_m2": total(opening_m2, np.isin(cut, stopped_cuts())),
    }
    for name in CUTS:
        chosen = cut == name
        for quantity in SUMMED:
            amounts = one[f"{quantity}_m2"].to_numpy()
            sums[f"{quantity}_{name}_m2"] = total(amounts, chosen)
        sums[f"reveal_length_{name}_m"] = total(length_m, chosen)
    return pd.DataFrame(sums, index=jobs.index)
