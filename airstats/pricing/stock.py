"""Sheet on the shelf: which job takes which begun roll, whole rolls before new ones.

A job first takes the begun rolls that it is given, each less an end that serves no more, then whole
ones of its own size. A roll of its width but of another length serves as a begun one; a roll of
another width does not serve.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from airstats.base.number_text import each, listed, number
from airstats.base.number_text import rolls as rolls_words
from airstats.model.normal_mixture import Mixture
from airstats.takeoff.sheet_quantities import Takeoff

Array = np.ndarray

SIZE = ["roll_width_m", "roll_length_m"]
AT_ONCE = 6
"""Begun rolls of which every way to share them out is weighed."""
LEAST_SAVED = 1e-6
"""Rolls; a begun roll that saves fewer of new ones stays on the shelf."""


@dataclass(frozen=True)
class Shelf:
    """What n jobs of sheet take from the shelf.

    Attributes
    ----------
    begun_m : (n,) metres of the begun rolls that each job is given, without their unusable ends
    begun_m2 : (n,) the same in m²
    whole : (n,) whole rolls there of each job's own size, for all such jobs together
    begun : one row a begun roll, in the columns of the table `stock`, `usable_m`, and `job`: the
        place of the job that it is given to, -1 for none
    idle : rows of the stock that are of a width that no job takes
    """

    begun_m: Array
    begun_m2: Array
    whole: Array
    begun: pd.DataFrame
    idle: pd.DataFrame

    def where(self, places: Array) -> Shelf:
        """Return the part of the jobs at these places."""
        own = (self.begun_m[places], self.begun_m2[places], self.whole[places])
        jobs = pd.Index(places).get_indexer(self.begun["job"])
        begun = self.begun.assign(job=jobs)[self.begun["job"].isin(places)]
        return replace(self, begun_m=own[0], begun_m2=own[1], whole=own[2], begun=begun)


def shelf_for(jobs: Takeoff, use: Mixture, stock: pd.DataFrame, end_m: float) -> Shelf:
    """Share the begun rolls out so that the jobs are expected to open the fewest new ones.

    Parameters
    ----------
    jobs : Takeoff
        n jobs, of sheet.
    use : Mixture
        What each will use, m².
    stock : DataFrame
        The table `stock` of a takeoff.
    end_m : float
        What of a begun roll serves no more, m.

    Notes
    -----
    Up to six begun rolls are shared out in the best of all ways; more, six at a time, the longest
    first.
    """
    sizes = jobs.columns(SIZE)
    own = (stock[SIZE].to_numpy()[:, None] == sizes[None]).all(axis=2)
    serves = np.isin(stock["roll_width_m"], sizes[:, 0])
    begun = _begun(stock[serves], own.any(axis=1)[serves], end_m)
    places = _shared_out(begun, jobs, use)
    taken = places >= 0
    given = np.bincount(places[taken], begun["usable_m"].to_numpy()[taken], len(jobs))
    whole = stock["rolls"].to_numpy(dtype=int) @ own.astype(int)
    begun, idle = begun.assign(job=places), stock[~serves]
    return Shelf(given, given * sizes[:, 0], whole, begun, idle)


def _shared_out(begun: pd.DataFrame, jobs: Takeoff, use: Mixture) -> Array:
    """Return the place of the job that each of k begun rolls goes to, (k,); -1: to none."""
    metres = begun["usable_m"].to_numpy(dtype=float)
    fits = begun["roll_width_m"].to_numpy()[:, None] == jobs.columns(SIZE)[:, 0]
    given, places = np.zeros(len(jobs)), np.full(len(begun), -1)
    for start in range(0, len(begun), AT_ONCE):
        now = np.arange(start, min(start + AT_ONCE, len(begun)))
        places[now] = _best_way(jobs, use, given, metres[now], fits[now])
        taken = now[places[now] >= 0]
        given += np.bincount(places[taken], metres[taken], len(jobs))
    return places


def _best_way(jobs: Takeoff, use: Mixture, given: Array, metres: Array, fits: Array) -> Array:
    """Share k begun rolls out job by job, keeping the best way for every set of rolls used so far.

    A set is a number whose bits say which rolls it holds.
    """
    sets = np.arange(2 ** len(metres))
    holds = (sets[:, None] >> np.arange(len(metres))) & 1 == 1
    best, took = np.where(sets == 0, 0.0, np.inf), np.zeros((len(jobs), len(sets)), dtype=int)
    for job in range(len(jobs)):
        saved = _saved(jobs, use, job, given[job] + holds @ metres)
        before = best.copy()
        for taken in sets[1:][~(holds & ~fits[:, job]).any(axis=1)[1:]]:
            wider = sets[(sets & taken) == taken]
            cost = before[wider ^ taken] - saved[taken]
            better = wider[cost < best[wider] - LEAST_SAVED]
            best[better] = before[better ^ taken] - saved[taken]
            took[job, better] = taken
    used, places = int(best.argmin()), np.full(len(metres), -1)
    for job in reversed(range(len(jobs))):
        places[holds[took[job, used]]] = job
        used ^= int(took[job, used])
    return places


def _saved(jobs: Takeoff, use: Mixture, job: int, metres: Array) -> Array:
    """Return the new rolls that one job saves by each of some lengths against the first."""
    one = use.where(np.full(len(metres), job))
    width = float(jobs.columns(SIZE)[job, 0])
    opened = expected_opened(one, jobs.pack[[job]], metres * width)
    return opened[0] - opened


def _begun(stock: pd.DataFrame, own: Array, end_m: float) -> pd.DataFrame:
    """One row a roll to use up first, with what it has to give: the longest first."""
    cut = stock[stock["left_m"] > 0]
    cut = cut.assign(usable_m=np.maximum(cut["left_m"] - end_m, 0.0))
    other = stock[~own & stock["rolls"].gt(0)]
    other = other.loc[other.index.repeat(other["rolls"])]
    other = other.assign(rolls=1, usable_m=other["roll_length_m"])
    return pd.concat([cut, other]).sort_values(
        "usable_m", ascending=False, kind="stable", ignore_index=True
    )


def expected_opened(use: Mixture, pack: Array, begun: Array | float = 0.0) -> Array:
    """Return the (n,) whole packs that each job is expected to open once the begun are used up.

    Parameters
    ----------
    use : Mixture
        What each of n jobs will use.
    pack : (n,) array
        Contents of a pack, in the same unit.
    begun : (n,) array
        What begun ones have to give, in that unit.
    """
    pack, begun = np.broadcast_arrays(pack, begun)
    opened, going, packs = np.zeros(pack.shape), np.arange(pack.size), 0
    while going.size:
        chance = 1 - use.where(going).below(begun[going] + packs * pack[going])
        opened[going] += chance
        going, packs = going[chance > 1e-9], packs + 1
    return opened


def handed_out(jobs: Takeoff, wanted: Array, whole: Array) -> Array:
    """Return the (n,) whole rolls that each job takes from the shelf, in the order of the jobs.

    Parameters
    ----------
    jobs : Takeoff
        n jobs, of sheet.
    wanted : (n,) array
        Whole rolls that each needs.
    whole : (n,) array
        As `Shelf.whole`.
    """
    taken = np.zeros(len(jobs), dtype=int)
    for _, chosen in roll_sizes(jobs):
        before = np.cumsum(wanted[chosen]) - wanted[chosen]
        taken[chosen] = np.clip(whole[chosen] - before, 0, wanted[chosen])
    return taken


def roll_sizes(jobs: Takeoff) -> Iterator[tuple[str, Array]]:
    """Yield each size of roll in words, and which of the n jobs take it."""
    sizes = jobs.columns(SIZE)
    for width, length in np.unique(sizes, axis=0):
        yield f"{width:g}\u00a0×\u00a0{length:g}\u00a0m", (sizes == (width, length)).all(axis=1)


def stock_words(shelf: Shelf | None, jobs: Takeoff) -> list[str]:
    """Say which job takes which begun roll, and what of the stock does not serve.

    Whole rolls stand in the tables of orders.
    """
    if shelf is None:
        return []
    ids, said = jobs.table["job_id"].tolist(), []
    given = shelf.begun[shelf.begun["job"] >= 0]
    taken = [
        f"{ids[row.job]} takes the {_piece(row)}"
        for row in each(given.sort_values("job", kind="stable"))
    ]
    if taken:
        said.append(
            f"Of the begun rolls on the shelf {listed(taken)}: there they save most new rolls."
        )
    spare = [_piece(row) for row in each(shelf.begun[shelf.begun["job"] < 0])]
    if spare:
        said.append(f"No job gains by the {listed(spare)} on the shelf; left there.")
    for row in each(shelf.idle):
        what = rolls_words(row.rolls) if row.rolls else f"a begun roll of {row.left_m:g} m"
        said.append(f"Not used: {what} of {row.roll_width_m:g} m width, which no job here takes.")
    return said


def _piece(row: pd.Series) -> str:
    what = "whole roll" if row.left_m == 0 else "one"
    return f"{what} of {number(row.left_m or row.roll_length_m)} m"
