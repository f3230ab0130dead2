"""A belief as it stands in a file: one row of plain numbers a candidate."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Any

import numpy as np

from airstats.calibration import ALLOWANCES, FORMS, Belief
from airstats.prior import Prior


def belief_rows(belief: Belief) -> list[dict[str, Any]]:
    """Return one row a candidate; of the symmetric covariance the lower triangle."""
    lower = np.tril_indices(belief.mean.shape[1])
    return [
        {
            "form": FORMS[belief.form[g]],
            "spread": belief.spread[g],
            "crew_sd": belief.crew_sd[g],
            "drift": belief.drift[g],
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
        "prior": asdict(belief.prior),
    }


def belief_of(rows: list[dict[str, Any]], crews: tuple[str, ...], rest: dict[str, Any]) -> Belief:
    """Return the belief that `belief_rows` and `belief_rest` wrote.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a number is missing or cannot be.
    """
    size = len(ALLOWANCES) + len(crews)
    lower = np.tril_indices(size)
    covariance = np.zeros((len(rows), size, size))
    triangles = np.array([row["covariance"] for row in rows], dtype=float)
    covariance[:, lower[0], lower[1]] = triangles
    covariance[:, lower[1], lower[0]] = triangles
    np.linalg.cholesky(covariance)
    weight = np.array([row["weight"] for row in rows], dtype=float)
    return Belief(
        form=np.array([FORMS.index(row["form"]) for row in rows]),
        spread=np.array([row["spread"] for row in rows], dtype=float),
        crew_sd=np.array([row["crew_sd"] for row in rows], dtype=float),
        drift=np.array([row["drift"] for row in rows], dtype=float),
        weight=weight / weight.sum(),
        mean=np.array([row["mean"] for row in rows], dtype=float).reshape(len(rows), size),
        covariance=covariance,
        crews=crews,
        seen=float(rest["gross_records"]["seen"]),
        wrong=float(rest["gross_records"]["likely_wrong"]),
        prior=Prior(**{f.name: _tuples(rest["prior"][f.name]) for f in fields(Prior)}),
    )


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value
