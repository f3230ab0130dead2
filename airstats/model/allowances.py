"""The allowances: the object that a quarter hands to the next, and its file."""

from __future__ import annotations

import json
import platform
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from airstats.base.atomic_files import own_digest, readable_json, rounded, sha256, write_whole
from airstats.base.errors import AllowancesError
from airstats.catalog.materials import MATERIALS, SHEET
from airstats.model.added_cuts import cut_fault, cuts_added, with_every_cut
from airstats.model.normal_mixture import Mixture
from airstats.model.posterior import FORMS, Belief, allowance_names, starting_belief
from airstats.model.posterior_file import (
    belief_of,
    belief_rest,
    belief_rows,
    check_history,
    check_pack,
    habits_of,
    habits_rest,
    is_texts,
)
from airstats.model.prior import Prior, material_prior
from airstats.records.reading import CODED

FORMAT = "airstats-allowances/2"
OLDER = ("airstats-allowances/1",)
"""Formats that are read too: what they lack is as it is believed before any job."""
INTERVAL = 0.9
"""Share that every low to high holds."""
_WAY_OUT = "take the file as airstats wrote it, or calibrate that quarter again."
REACH = 1.6449
"""Standard deviations either way that hold the same share of a normal distribution."""


@dataclass(frozen=True)
class Pack:
    """What of a material was bought last: what a pack holds, in the unit, and its price if known.

    `driver` is what is counted of it, in the same unit.
    """

    content: float
    unit: str
    driver: str
    price: float | None = None


@dataclass(frozen=True)
class Allowances:
    """What is believed of a product after a quarter, and which jobs taught it.

    Attributes
    ----------
    quarter, first_quarter : the last and the first quarter of the chain
    job_ids : every job counted in the chain; `new_jobs` those of this update, of which
        `late_jobs` finished in an earlier quarter
    crew_jobs : jobs counted for each crew
    suspects : job_id to the probability that its record is grossly wrong, for the new jobs
    records, previous : digests of what this was made from
    decision : what a person decided on this update, with reason and initials; after keep the
        list `waiting` of the jobs that are not counted
    file_digest : digest of the file this was read from, empty if it was not read
    product, pack : the sheet, whose rolls stand in the jobs; or a material and its pack
    materials : the same of each other material; see them at once with `material_table`
    added_cuts : cuts that were not known when the file that this follows from was written
    """

    quarter: str
    first_quarter: str
    belief: Belief
    job_ids: tuple[str, ...] = ()
    new_jobs: tuple[str, ...] = ()
    late_jobs: tuple[str, ...] = ()
    crew_jobs: dict[str, int] = field(default_factory=dict)
    suspects: dict[str, float] = field(default_factory=dict)
    records: str = ""
    previous: str = ""
    decision: dict[str, Any] = field(default_factory=dict)
    file_digest: str = ""
    product: str = SHEET
    pack: Pack | None = None
    materials: dict[str, Allowances] = field(default_factory=dict)
    added_cuts: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader should know of the file that this follows from."""
        told = [
            f'The cut "{cut}" is new since the last allowances file: it enters with its starting'
            " belief."
            for cut in self.added_cuts
        ]
        prior = self.belief.prior
        if self.product == SHEET and not (prior.wide_weight and prior.trend_weight):
            told.append(
                "This chain began with a belief that gives way slowly to reveals or waste far from"
                " the usual, and knows no trend of waste; calibrated anew from the records, without"
                " an earlier file, it begins with today's."
            )
        return tuple(told)

    @property
    def coded(self) -> bool:
        """Whether codes stand in place of names."""
        return self.records.startswith(CODED)

    @property
    def unit(self) -> str:
        """The unit in which the product is counted."""
        return self.pack.unit if self.pack else "m²"

    def table(self) -> pd.DataFrame:
        """Return the allowances: index the name; `mean, sd, low, high, unit`.

        low and high hold 90 %. Waste is averaged over all candidates, the reveal factors over
        those that use a flat factor.
        """
        flat = _form_rows(self.belief, "factor")
        waste = _summary(self.belief, (0,), ("waste",))
        return pd.concat([waste, _summary(flat, range(1, flat.shared), allowance_names()[1:])])

    def reuse_table(self) -> pd.DataFrame:
        """Return the shares of usable off-cuts that are used, as `table` does."""
        names = allowance_names("reuse")
        places = [place for place, name in enumerate(names) if name.startswith("reuse.")]
        shown = tuple(names[place] for place in places)
        return _summary(_form_rows(self.belief, "reuse"), places, shown)

    def covariance(self) -> np.ndarray:
        """Return the covariance of the allowances under flat factors."""
        flat = _form_rows(self.belief, "factor")
        weight, mean = flat.weight, flat.mean[:, : flat.shared]
        away = mean - weight @ mean
        within = np.einsum("g,gij->ij", weight, flat.covariance[:, : flat.shared, : flat.shared])
        return within + np.einsum("g,gi,gj->ij", weight, away, away)

    def crew_table(self) -> pd.DataFrame:
        """Return each crew's departure from the firm's waste: `mean, sd, low, high, jobs`."""
        crews = self.belief.crews
        table = _summary(self.belief, range(self.belief.shared, self.belief.mean.shape[1]), crews)
        table = table.assign(unit=unit_of("waste"))
        return table.assign(jobs=[self.crew_jobs.get(crew, 0) for crew in crews])

    def spread(self) -> dict[str, float]:
        """Return what the job-to-job spread is made of: floor in m², the rest a m² laid.

        `trend` is what a quarter adds to waste, with jobs or without.
        """
        belief = self.belief
        made = {"floor_m2": belief.prior.floor}
        for name in ("spread", "crew_sd", "drift", "trend"):
            values = getattr(belief, name)
            mean = float(belief.weight @ values)
            made[name] = mean
            made[f"{name}_sd"] = float(np.sqrt(belief.weight @ (values - mean) ** 2))
        return made | {"gross_share": belief.gross_share}

    def form_weights(self) -> dict[str, float]:
        """Return how likely each form of the reveals is: flat factor, or re-use of off-cuts."""
        weight = self.belief.weight
        return {name: float(weight[self.belief.form == i].sum()) for i, name in enumerate(FORMS)}

    def save(self, path: str | Path) -> None:
        """Write the file, whole or not at all."""
        write_whole(Path(path), self.to_text())

    def to_text(self) -> str:
        """Return the file's text: JSON, a person can read it."""
        content = rounded(self._as_dict())
        return readable_json(content | {"digest": own_digest(content)})

    def digest(self) -> str:
        """Return the digest by which the next quarter's file names this one."""
        return self.file_digest or sha256(self.to_text().encode())

    def _as_dict(self) -> dict[str, Any]:
        belief = self.belief
        rest = belief_rest(belief)
        crews = self.crew_table()
        return {
            "format": FORMAT,
            "quarter": self.quarter,
            "first_quarter": self.first_quarter,
            "jobs_used": len(self.job_ids),
            "interval": INTERVAL,
            "allowances": self.table().to_dict("index"),
            "reuse": self.reuse_table().to_dict("index"),
            "form_weights": self.form_weights(),
            "parameter_order": list(allowance_names()),
            "covariance": self.covariance(),
            "spread": self.spread(),
            "crews": crews.to_dict("index"),
            **_shown_part(self),
            "new_jobs": list(self.new_jobs),
            "late_jobs": list(self.late_jobs),
            "suspects": self.suspects,
            "decision": self.decision,
            "previous": self.previous,
            "records": self.records,
            "versions": versions(),
            "gross_records": rest["gross_records"],
            "job_ids": list(self.job_ids),
            "prior": rest["prior"],
            "usual_openings": habits_rest(belief.habits),
            "candidates": belief_rows(belief),
            **_stored_part(self.materials),
        }


def unchanged(quarter: str, prior: Prior | None = None, product: str = SHEET) -> Allowances:
    """Return the allowances of a product before any job: the prior.

    Parameters
    ----------
    quarter : str
        That the prior is to stand for, like "2026Q3".
    prior : Prior, optional
        By default the product's own.
    product : str
        The sheet or a material of `MATERIALS`.
    """
    if product == SHEET:
        return Allowances(quarter, quarter, starting_belief(prior or Prior()))
    # Where there are no reveals both forms of them say the same.
    belief = _form_rows(starting_belief(prior or material_prior(product)), "factor")
    return Allowances(quarter, quarter, belief, product=product, pack=usual_pack(product))


def usual_pack(product: str) -> Pack:
    """Return a material's pack where no record tells of one."""
    material = MATERIALS[product]
    return Pack(material.pack, material.unit, material.driver)


def material_table(allowances: Allowances) -> pd.DataFrame:
    """Return what is known of each material, index the name.

    Columns `mean, sd, low, high, unit, driver, pack, pack_unit, pack_price, jobs_used`; low and
    high hold 90 %.
    """
    shown = {name: _shown(known) for name, known in allowances.materials.items()}
    return pd.DataFrame.from_dict(shown, orient="index")


def load_allowances(path: str | Path) -> Allowances:
    """Read an allowances file.

    Raises
    ------
    AllowancesError
        If the file is missing, damaged, edited or of another format, or knows a cut that is not
        known here.
    """
    path = Path(path)
    written, content = _read(path)
    _refuse_edited(path, content)
    try:
        if fault := cut_fault(content):
            raise AllowancesError(
                f"{path}: {fault}; give that cut the entry in `cut_patterns` that it had, or"
                " calibrate again from the records."
            )
        loaded = _from_dict(with_every_cut(content))
        return replace(loaded, file_digest=sha256(written), added_cuts=cuts_added(content))
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        reason = f"{error} is missing" if isinstance(error, KeyError) else error
        raise AllowancesError(f"{path}: damaged ({reason}); {_WAY_OUT}") from None


def _read(path: Path) -> tuple[bytes, dict[str, Any]]:
    try:
        written = path.read_bytes()
        content = json.loads(written.decode("utf-8-sig"), parse_constant=_no_number)
    except FileNotFoundError:
        raise AllowancesError(f"{path}: there is no such file; give an allowances file.") from None
    except (OSError, ValueError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or "it is not a JSON text"
        raise AllowancesError(
            f"{path}: cannot be read as an allowances file ({reason}); {_WAY_OUT}"
        ) from None
    found = content.get("format") if isinstance(content, dict) else None
    if found not in (FORMAT, *OLDER):
        raise AllowancesError(
            f'{path}: format is "{found}" where "{FORMAT}" is expected; is this the right file?'
        )
    return written, content


def _refuse_edited(path: Path, content: dict[str, Any]) -> None:
    if "digest" not in content:
        raise AllowancesError(
            f"{path}: has no digest of its numbers, so it was edited, or an older airstats wrote"
            " it; calibrate again from the records."
        )
    if content["digest"] != own_digest(content):
        raise AllowancesError(
            f"{path}: edited by hand: what it holds is not what its digest is of; {_WAY_OUT}"
        )


@cache
def versions() -> dict[str, str]:
    """Return the versions that a result depends on."""
    packages = ("airstats", "numpy", "pandas", "scipy")
    return {"python": platform.python_version()} | {name: version(name) for name in packages}


def _form_rows(belief: Belief, form: str) -> Belief:
    rows = belief.pick(belief.form == FORMS.index(form))
    return replace(rows, weight=rows.weight / rows.weight.sum())


def unit_of(name: str) -> str:
    """Return the unit of an allowance, a re-use share or a crew's departure."""
    kinds = {"reveal": "m² of sheet a m² of reveal", "reuse": "share of usable off-cuts"}
    return kinds.get(name.partition(".")[0] if "." in name else "", "m² a m² laid")


def _summary(belief: Belief, places: Any, names: tuple[str, ...]) -> pd.DataFrame:
    """Mean, sd and the 90 % interval of some parameters, averaged over the candidates."""
    places = list(places)
    sd = np.sqrt(np.diagonal(belief.covariance, axis1=1, axis2=2)[:, places])
    mix = Mixture(belief.weight, belief.mean[:, places], sd)
    tail = (1 - INTERVAL) / 2
    columns = {
        "mean": mix.mean(),
        "sd": mix.sd(),
        "low": mix.quantile(tail) if places else [],
        "high": mix.quantile(1 - tail) if places else [],
        "unit": [unit_of(name) for name in names],
    }
    return pd.DataFrame(columns, index=list(names))


def _shown(known: Allowances) -> dict[str, Any]:
    """What the file says of a material to a person."""
    names, pack = ["mean", "sd", "low", "high"], known.pack
    assert pack is not None
    return {
        **dict(zip(names, known.table()[names].to_numpy(dtype=float)[0].tolist(), strict=True)),
        "unit": f"{pack.unit} a {pack.unit} counted",
        "driver": pack.driver,
        "pack": pack.content,
        "pack_unit": pack.unit,
        "pack_price": pack.price,
        "jobs_used": len(known.job_ids),
    }


def _shown_part(allowances: Allowances) -> dict[str, Any]:
    """The numbers of the materials to read; nothing where there is no other material."""
    shown = {name: _shown(known) for name, known in allowances.materials.items()}
    return {"materials": shown} if shown else {}


def _stored_part(materials: dict[str, Allowances]) -> dict[str, Any]:
    """What the next quarter needs of the materials; the long list of candidates comes last."""
    if not materials:
        return {}
    chains = {
        name: {
            "quarter": known.quarter,
            "first_quarter": known.first_quarter,
            "job_ids": known.job_ids,
            "new_jobs": known.new_jobs,
            "late_jobs": known.late_jobs,
            "crews": {crew: known.crew_jobs.get(crew, 0) for crew in known.belief.crews},
            "suspects": known.suspects,
            **belief_rest(known.belief),
        }
        for name, known in materials.items()
    }
    rows = [
        {"material": name, **row}
        for name, known in materials.items()
        for row in belief_rows(known.belief)
    ]
    return {"material_chains": chains, "material_candidates": rows}


def _materials_of(content: dict[str, Any]) -> dict[str, Allowances]:
    """The materials of a file; none for a file without."""
    materials = {}
    for name, shown in content.get("materials", {}).items():
        chain = content["material_chains"][name]
        rows = [row for row in content["material_candidates"] if row["material"] == name]
        check_pack(name, shown)
        pack = Pack(shown["pack"], shown["pack_unit"], shown["driver"], shown["pack_price"])
        known = _history(chain, rows, dict(chain["crews"]))
        materials[name] = replace(known, product=name, pack=pack)
    return materials


def _history(
    part: dict[str, Any], candidates: list[dict[str, Any]], crew_jobs: dict[str, int]
) -> Allowances:
    """What is believed of a product, and which jobs taught it."""
    check_history(part, crew_jobs)
    return Allowances(
        quarter=part["quarter"],
        first_quarter=part["first_quarter"],
        belief=belief_of(candidates, tuple(crew_jobs), part),
        job_ids=tuple(part["job_ids"]),
        new_jobs=tuple(part["new_jobs"]),
        late_jobs=tuple(part["late_jobs"]),
        crew_jobs=crew_jobs,
        suspects=dict(part["suspects"]),
    )


def _from_dict(content: dict[str, Any]) -> Allowances:
    crew_jobs = {name: row["jobs"] for name, row in content["crews"].items()}
    known = _history(content, content["candidates"], crew_jobs)
    decision = dict(content["decision"])
    waiting = decision.get("waiting", [])
    for name, texts in {
        "records": [content["records"]],
        "previous": [content["previous"]],
        "decision": [text for key, text in decision.items() if key != "waiting"],
        "waiting of decision": waiting,
    }.items():
        if not is_texts(texts):
            raise ValueError(f"{name} is no text")
    told = content["usual_openings"] if content["format"] == FORMAT else None
    return replace(
        known,
        belief=replace(known.belief, habits=habits_of(told)) if told else known.belief,
        records=content["records"],
        previous=content["previous"],
        decision=decision,
        materials=_materials_of(content),
    )


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")
