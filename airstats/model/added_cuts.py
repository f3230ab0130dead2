"""An allowances file that knows other cuts than the registry: a cut added since enters anew."""

from __future__ import annotations

from typing import Any

import numpy as np

from airstats.catalog.cut_patterns import CUTS, reused_cuts
from airstats.model.posterior import FORMS, allowance_names, starting_belief

Content = dict[str, Any]


def cuts_added(content: Content) -> tuple[str, ...]:
    """Return the cuts that are known now and were not when the file was written."""
    held = _cuts(content)
    return tuple(cut for cut in CUTS if cut not in held)


def cut_fault(content: Content) -> str:
    """Say which cut of the file is not known now, or is believed otherwise; "" where none is."""
    reused = [name.removeprefix("reuse.") for name in content["reuse"]]
    for cut in _cuts(content):
        if cut not in CUTS:
            return f'it holds allowances for the cut "{cut}", which is not known here'
        if (cut in reused) != (cut in reused_cuts()):
            return f'its cut "{cut}" {"has" if cut in reused else "lacks"} a re-use share'
    return ""


def with_every_cut(content: Content) -> Content:
    """Return a file's content in the order of `CUTS`, a cut added since with its starting belief.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a number is missing or cannot be.
    """
    held = _cuts(content)
    if held == list(CUTS):
        return content
    grown = content | {"prior": _prior(content["prior"], content)}
    for name in {"candidates", "material_candidates"} & set(content):
        grown[name] = [_row(row, held) for row in content[name]]
    if "material_chains" in content:
        grown["material_chains"] = {
            name: chain | {"prior": _prior(chain["prior"], content)}
            for name, chain in content["material_chains"].items()
        }
    return grown


def _cuts(content: Content) -> list[str]:
    return [name.removeprefix("reveal.") for name in content["parameter_order"][1:]]


def _prior(prior: Content, content: Content) -> Content:
    """The starting belief of the file, with that of the cuts added since."""
    reused = [name.removeprefix("reuse.") for name in content["reuse"]]
    usual = starting_belief().prior
    factors = {
        name: dict(zip(CUTS, getattr(usual, name), strict=True))
        | dict(zip(_cuts(content), prior[name], strict=True))
        for name in {"reveal_factors", "wide_factors"} & set(prior)
    }
    shares = dict(zip(reused, prior["reuse_shares"], strict=True))
    return prior | {
        **{name: list(map(list, of_cut.values())) for name, of_cut in factors.items()},
        "reuse_shares": [
            shares.get(k, list(cut.reuse_share[:2])) for k, cut in CUTS.items() if cut.reuse_share
        ],
    }


def _row(row: Content, held: list[str]) -> Content:
    """One candidate with a place for every cut."""
    start, form = starting_belief(), FORMS.index(row["form"])
    first = int(np.flatnonzero(start.form == form)[0])
    crews = range(1 + len(held), len(row["mean"]))
    known = {"waste": 0} | {f"reveal.{cut}": place for place, cut in enumerate(held, start=1)}
    old = [known.get(name, -1) for name in allowance_names()] + list(crews)
    here = np.flatnonzero(np.array(old) >= 0)
    there = np.array(old)[here]
    mean, covariance = np.zeros(len(old)), np.zeros((len(old), len(old)))
    mean[: start.shared] = start.mean[first]
    covariance[: start.shared, : start.shared] = start.covariance[first]
    mean[here] = np.array(row["mean"], dtype=float)[there]
    covariance[np.ix_(here, here)] = _whole(row)[np.ix_(there, there)]
    lower = np.tril_indices(len(old))
    return row | {"mean": mean.tolist(), "covariance": covariance[lower].tolist()}


def _whole(row: Content) -> np.ndarray:
    """The covariance of a row, of which the file holds the lower triangle."""
    size = len(row["mean"])
    lower = np.tril_indices(size)
    whole = np.zeros((size, size))
    whole[lower] = row["covariance"]
    whole.T[lower] = row["covariance"]
    return whole
