"""A belief as it stands in a file: one row of plain numbers a candidate."""

from __future__ import annotations

from dataclasses import asdict, fields, replace
from typing import Any

import numpy as np

from airstats.base.quarters import quarter_number
from airstats.model.posterior import FORMS, Belief, allowance_names, starting_belief
from airstats.model.prior import TREND, WIDE_WASTE, Prior
from airstats.takeoff.usual_openings import (
    SURFACE_M2,
    Habit,
    Habits,
    quantity_names,
    starting_habits,
)

_MOST = 1e6
"""No number of a belief, in m², m or shares of them, comes near it."""
_IN_FILE = {"floor": "floor_m2", "gross_packs": "gross_rolls"}
"""What the file calls numbers of the prior, after the first product."""
_ADDED = {"wide_weight": 0.0, "wide_waste": WIDE_WASTE, "trend": TREND, "trend_weight": 0.0}
"""What stands for numbers of the prior that older files lack: neither companions nor a trend."""
_DEAREST = 1e10
"""Above the dearest pack."""


def belief_rows(belief: Belief) -> list[dict[str, Any]]:
    """Return one row a candidate; of the symmetric covariance the lower triangle."""
    lower = np.tril_indices(belief.mean.shape[1])
    return [
        {
            "form": FORMS[belief.form[g]],
            "spread": belief.spread[g],
            "crew_sd": belief.crew_sd[g],
            "drift": belief.drift[g],
            "trend": belief.trend[g],
            "weight": belief.weight[g],
            "mean": belief.mean[g],
            "covariance": belief.covariance[g][lower],
        }
        for g in range(len(belief.form))
    ]


def belief_rest(belief: Belief) -> dict[str, Any]:
    """Return what the candidates have in common: records seen and the starting belief."""
    return {
        "gross_records": {"seen": belief.seen, "likely_wrong": belief.wrong},
        "prior": {_IN_FILE.get(k, k): v for k, v in asdict(belief.prior).items()},
    }


def belief_of(rows: list[dict[str, Any]], crews: tuple[str, ...], rest: dict[str, Any]) -> Belief:
    """Return the belief that `belief_rows` and `belief_rest` wrote.

    Parameters
    ----------
    rows : list of dict
        One a candidate.
    crews : tuple of str
        In the order of the parameters.
    rest : dict
        What the candidates have in common.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a number is missing or cannot be.
    """
    size = len(allowance_names()) + len(crews)
    lower = np.tril_indices(size)
    covariance = np.zeros((len(rows), size, size))
    triangles = np.array([row["covariance"] for row in rows], dtype=float)
    covariance[:, lower[0], lower[1]] = triangles
    covariance[:, lower[1], lower[0]] = triangles
    np.linalg.cholesky(covariance)
    told = _ADDED | {"wide_factors": Prior().wide_factors} | rest["prior"]
    weight = np.array([row["weight"] for row in rows], dtype=float)
    belief = Belief(
        form=np.array([FORMS.index(row["form"]) for row in rows]),
        spread=np.array([row["spread"] for row in rows], dtype=float),
        crew_sd=np.array([row["crew_sd"] for row in rows], dtype=float),
        drift=np.array([row["drift"] for row in rows], dtype=float),
        trend=np.array([row.get("trend", 0.0) for row in rows], dtype=float),
        weight=weight / weight.sum(),
        mean=np.array([row["mean"] for row in rows], dtype=float).reshape(len(rows), size),
        covariance=covariance,
        crews=crews,
        seen=float(rest["gross_records"]["seen"]),
        wrong=float(rest["gross_records"]["likely_wrong"]),
        prior=Prior(**{f.name: _tuples(told[_IN_FILE.get(f.name, f.name)]) for f in fields(Prior)}),
    )
    _refuse_impossible(belief)
    return belief


def habits_rest(habits: Habits) -> dict[str, Any]:
    """Return what is usual of a firm's openings as plain numbers, each quantity by its name."""
    return {
        "quantities": quantity_names(),
        "surface_m2": SURFACE_M2,
        "depth_error_mm": habits.depth_error_mm,
        "openings": asdict(habits.openings),
        "depth_mm": asdict(habits.depth),
    }


def habits_of(told: dict[str, Any]) -> Habits:
    """Return the habits that `habits_rest` wrote; a cut added since enters as it starts.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a number is missing or cannot be.
    """
    start = starting_habits()
    names = quantity_names()
    place = [names.index(name) for name in told["quantities"]]
    openings = _habit(told["openings"], start.openings.mean[:, place].shape)
    depth = _habit(told["depth_mm"], start.depth.mean.shape)
    mean, covariance = start.openings.mean.copy(), start.openings.covariance.copy()
    mean[:, place] = openings.mean
    # What is new goes along with nothing that the firm's own jobs taught.
    covariance[place], covariance[:, place] = 0.0, 0.0
    covariance[np.ix_(place, place)] = openings.covariance
    error = told["depth_error_mm"]
    if not is_number(error) or error < 0 or told["surface_m2"] != SURFACE_M2:
        raise ValueError("a number of usual_openings cannot be")
    return Habits(replace(openings, mean=mean, covariance=covariance), depth, float(error))


def _habit(told: dict[str, Any], shape: tuple[int, ...]) -> Habit:
    mean, precision, covariance = (
        np.array(told[name], dtype=float) for name in ("mean", "precision", "covariance")
    )
    numbers = np.concatenate([mean.ravel(), precision.ravel(), covariance.ravel()])
    shapes = [array.shape for array in (mean, precision, covariance)]
    fits = shapes == [shape, (shape[0],) * 2, (shape[1],) * 2] and is_number(told["jobs"])
    if not fits or not (np.abs(numbers) < _MOST).all() or not 0 < told["jobs"] < _MOST:
        raise ValueError("a number of usual_openings cannot be")
    np.linalg.cholesky(precision)
    if np.linalg.eigvalsh(covariance).min() < -1e-6 * np.trace(covariance):
        raise ValueError("a covariance of usual_openings cannot be")
    return Habit(mean, precision, covariance, float(told["jobs"]))


def check_history(part: dict[str, Any], crew_jobs: dict[str, Any]) -> None:
    """Refuse quarters, names and counts of jobs, and suspects that airstats never writes.

    Raises
    ------
    KeyError, ValueError
        If one is missing or cannot be.
    """
    if quarter_number(part["first_quarter"]) > quarter_number(part["quarter"]):
        raise ValueError("the first quarter comes after the last")
    for name in ("job_ids", "new_jobs", "late_jobs"):
        if not is_texts(part[name]):
            raise ValueError(f"{name} is not a list of texts")
    if not all(is_number(n) and n >= 0 and n % 1 == 0 for n in crew_jobs.values()):
        raise ValueError("the jobs of a crew are no count")
    suspects = part["suspects"]
    if not isinstance(suspects, dict) or not all(map(_is_share, suspects.values())):
        raise ValueError("suspects does not give a probability for each job")


def check_pack(name: str, shown: dict[str, Any]) -> None:
    """Refuse numbers and texts of a material that airstats never writes.

    Raises
    ------
    KeyError, ValueError
        If one is missing or cannot be.
    """
    price = shown["pack_price"]
    numbers = [shown[key] for key in ("mean", "sd", "low", "high", "pack", "jobs_used")]
    numbers += [] if price is None else [price]
    if not all(is_number(value, _DEAREST) for value in numbers) or shown["pack"] <= 0:
        raise ValueError(f"a number of {name} cannot be")
    if not is_texts([shown[key] for key in ("unit", "driver", "pack_unit")]):
        raise ValueError(f"a text of {name} is none")


def _refuse_impossible(belief: Belief) -> None:
    _refuse_numbers(belief)
    usual = Prior()
    for name, value in asdict(belief.prior).items():
        if not _is_like(value, getattr(usual, name)):
            raise ValueError(f"{name} of prior cannot be")
    # What was believed at the start is compared with later, so that it must be possible too.
    with np.errstate(all="ignore"):
        _refuse_numbers(starting_belief(belief.prior))


def _refuse_numbers(belief: Belief) -> None:
    numbers = (belief.weight, belief.mean, belief.covariance, belief.seen, belief.wrong)
    spreads = (belief.spread, belief.crew_sd, belief.drift, belief.trend)
    if not all((np.abs(part) < _MOST).all() for part in numbers + spreads):
        raise ValueError("a number of a candidate cannot be")
    if (belief.weight < 0).any() or not 0 <= belief.wrong <= belief.seen:
        raise ValueError("a weight or a count of records cannot be")
    if (belief.spread <= 0).any() or (belief.crew_sd < 0).any() or (belief.drift < 0).any():
        raise ValueError("a spread below nought")


def is_texts(value: Any) -> bool:
    """Tell whether a value of a file is a list of texts."""
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def is_number(value: Any, most: float = _MOST) -> bool:
    """Tell whether a value of a file is a number nearer to nought than `most`."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < most


def _is_like(value: Any, usual: Any) -> bool:
    """Tell whether a value of the prior is made as usual: a number, or rows of numbers."""
    if not isinstance(usual, tuple):
        return is_number(value) and value >= 0
    return isinstance(value, tuple) and len(value) > 0 and all(_is_like(v, usual[0]) for v in value)


def _is_share(value: Any) -> bool:
    return is_number(value) and 0 <= value <= 1


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value
