"""Invented firms whose truth is known: jobs, openings, what they really used and why.

The sheet at an opening is decided piece by piece: every bare piece is cut from fresh sheet, unless
chance has a fitting off-cut used for it. The model under test knows none of this.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from airstats.records.reading import Records

ROLL_M2 = 75.0
LAP_SHARE = 1.5 / 1.4
RETURN_M = 0.02
CREWS = np.array(["Alder", "Birch", "Cedar", "Damson"])


@dataclass(frozen=True)
class World:
    """One kind of firm. Lengths in mm, shares a m² laid, `drift` in waste a quarter.

    `wander` is the sd of waste's random steps from quarter to quarter. `truth` sets some of the
    truth by name; the rest is drawn.
    """

    name: str
    jobs: int = 48
    quarters: int = 4
    counted: str = "opened"
    mechanism: str = "pieces"
    gross_share: float = 0.0
    crew_sd: float = 0.015
    depth_noise_mm: float = 0.0
    drift: float = 0.0
    summary_only: bool = False
    to_price: int = 30
    wander: float = 0.0
    truth: dict[str, object] = field(default_factory=dict)


WORLDS = (
    World("plain"),
    World("plain, flat factors", mechanism="flat"),
    World("12 jobs", jobs=12, quarters=1),
    World("24 jobs", jobs=24, quarters=2),
    World("96 jobs", jobs=96, quarters=8),
    World("quarter-roll counts", counted="quarter"),
    World("6 % gross errors", gross_share=0.06),
    World("strong crews", crew_sd=0.05),
    World("depths noisy by 30 mm", depth_noise_mm=30.0),
    World("drift of 1.5 points a quarter", drift=0.015),
    World("summary only", summary_only=True),
)


@dataclass(frozen=True)
class Truth:
    """What the firm never sees: the parameters, drawn anew for every seed."""

    waste: float
    reuse: dict[str, float]
    factors: dict[str, float]
    spread: float
    floor_m2: float
    crews: dict[str, float]


@dataclass(frozen=True)
class Firm:
    """Records of the finished jobs, jobs to price, and the truth about both.

    `mean_m2` and `sd_m2` are what an oracle knows of each job to price; `used_m2` is its luck;
    `last_waste` is the firm's waste in the last quarter of its records.
    """

    records: Records
    takeoff: Records
    truth: Truth
    mean_m2: np.ndarray
    sd_m2: np.ndarray
    used_m2: np.ndarray
    gross: np.ndarray
    past_mean_m2: np.ndarray
    past_sd_m2: np.ndarray
    last_waste: float


def invent_firm(world: World, seed: int) -> Firm:
    """Draw a firm, its past jobs and its next jobs."""
    rng = np.random.default_rng([seed, 7])
    truth = _draw_truth(rng, world)
    total = world.jobs + world.to_price
    jobs, openings = _draw_jobs(rng, total)
    quarter = np.minimum(np.arange(total) * world.quarters // world.jobs, world.quarters)
    crew = rng.choice(CREWS, total)
    laid = (jobs["surface_m2"] - _lined_area(jobs, openings)).to_numpy() * LAP_SHARE
    reveals, reveal_variance = _reveal_sheet(openings, truth, world, total)
    steps = _steps(seed, world)
    waste = truth.waste + steps[quarter] + np.array([truth.crews[c] for c in crew])
    mean = laid * (1 + waste) + reveals
    own_sd = np.hypot(truth.floor_m2, truth.spread * laid)
    luck = _reveal_luck(rng, openings, truth, world, total)
    used = mean + luck + own_sd * rng.standard_normal(total)
    counted = _count(used / ROLL_M2, world.counted)
    gross = (rng.random(total) < world.gross_share) & (np.arange(total) < world.jobs)
    slip = rng.integers(1, 4, total) * rng.choice([-1, 1], total, p=[0.3, 0.7])
    counted = np.where(gross, np.maximum(counted + slip, 1), counted)
    month = 3 * (quarter % 4) + 2
    jobs = jobs.assign(
        crew=crew,
        quarter=[f"{2023 + q // 4}Q{q % 4 + 1}" for q in quarter],
        finished_on=pd.to_datetime(
            [f"{2023 + q // 4}-{m:02d}-15" for q, m in zip(quarter, month, strict=True)]
        ),
        estimated_rolls=np.ceil(jobs["surface_m2"] * 1.10 / ROLL_M2),
        used_rolls=counted,
        counted=world.counted,
        finished=np.arange(total) < world.jobs,
    )
    noise = rng.normal(0, world.depth_noise_mm, total) if world.depth_noise_mm else np.zeros(total)
    seen = openings.assign(
        reveal_mm=np.maximum(openings["reveal_mm"] + noise[openings["job"]], 30.0)
    )
    if world.summary_only:
        seen = _summarise(seen)
    past = jobs["finished"].to_numpy()
    return Firm(
        _records(jobs[past], seen),
        _records(jobs[~past], seen),
        truth,
        mean[~past],
        np.sqrt(own_sd**2 + reveal_variance)[~past],
        used[~past],
        gross[past],
        mean[past],
        np.sqrt(own_sd**2 + reveal_variance)[past],
        truth.waste + steps[world.quarters - 1],
    )


def _draw_truth(rng: np.random.Generator, world: World) -> Truth:
    truth = Truth(
        waste=float(np.clip(rng.normal(0.08, 0.05), 0.0, 0.25)),
        reuse={cut: float(rng.uniform(0, 1)) for cut in ("diagonal", "centre")},
        factors={
            "diagonal": float(np.clip(rng.normal(0.3, 0.25), 0.0, 1.2)),
            "centre": float(np.clip(rng.normal(0.3, 0.25), 0.0, 1.2)),
            "lined": float(rng.normal(1.1, 0.2)),
        },
        spread=float(0.045 * np.exp(rng.normal(0, 0.35))),
        floor_m2=float(rng.uniform(2, 6)),
        crews={str(c): float(rng.normal(0, world.crew_sd)) for c in CREWS},
    )
    return replace(truth, **world.truth)


def _steps(seed: int, world: World) -> np.ndarray:
    """How far waste lies from where it began, in every quarter."""
    walk = np.random.default_rng([seed, 8]).normal(0, world.wander, world.quarters)
    return np.concatenate([[0], np.cumsum(walk + world.drift)])


def _draw_jobs(rng: np.random.Generator, total: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    surface = np.clip(rng.lognormal(np.log(260), 0.35, total), 110, 700).round(1)
    kinds = rng.integers(3, 9, total)
    job = np.repeat(np.arange(total), kinds)
    rows = len(job)
    large = rng.random(rows) < 0.15
    usual = rng.choice(["diagonal", "centre"], total, p=[0.55, 0.45])
    other = rng.random(rows) < 0.2
    swapped = np.where(usual[job] == "diagonal", "centre", "diagonal")
    cut = np.where(large, "lined", np.where(other, swapped, usual[job]))

    def sizes(of_large, of_others):
        drawn = [rng.uniform(*span, rows) for span in (of_large, of_others)]
        return np.where(large, *drawn).round(-1)

    openings = pd.DataFrame(
        {
            "job": job,
            "count": np.where(large, 1, rng.integers(1, 5, rows)),
            "width_mm": sizes((1800, 3200), (600, 1800)),
            "height_mm": sizes((2000, 2300), (600, 1700)),
            "reveal_mm": rng.uniform(150, 450, total).round(-1)[job],
            "sides": np.where(large & (rng.random(rows) < 0.5), 3, 4),
            "cut_pattern": cut,
        }
    )
    area = openings["count"] * openings["width_mm"] * openings["height_mm"] / 1e6
    needed = area.groupby(openings["job"]).sum().reindex(range(total), fill_value=0).to_numpy()
    jobs = pd.DataFrame(
        {
            "job_id": [f"J{n:05d}" for n in range(total)],
            "surface_m2": np.maximum(surface, (needed * 3).round(1)),
        }
    )
    return jobs, openings


def _lined_area(jobs: pd.DataFrame, openings: pd.DataFrame) -> pd.Series:
    lined = openings[openings["cut_pattern"] == "lined"]
    area = lined["count"] * lined["width_mm"] * lined["height_mm"] / 1e6
    return area.groupby(lined["job"]).sum().reindex(jobs.index, fill_value=0.0)


def _pieces(openings, truth):
    """Bare pieces of each row: how many, m² each, and the chance that an off-cut serves."""
    w, h, d = (openings[name] / 1000 for name in ("width_mm", "height_mm", "reveal_mm"))
    t = RETURN_M
    which = [openings["cut_pattern"] == cut for cut in ("diagonal", "centre")]
    corner = 0.5 * (d + t) ** 2 * (w / h + h / w)
    area = np.select(which, [corner, (d + 2 * t) * (w + 2 * t)], 0)
    fits = np.select(which, [np.minimum(w, h) / 2 > 1.6 * d, w / 2 > 2 * d + t])
    share = np.select(which, [truth.reuse["diagonal"], truth.reuse["centre"]], 0.0)
    number = np.select(which, [4, 2], 0) * openings["count"]
    return pd.DataFrame({"number": number, "m2": area, "chance": np.where(fits, share, 0.0)})


def _reveal_area(openings: pd.DataFrame) -> pd.Series:
    w, h = openings["width_mm"] / 1000, openings["height_mm"] / 1000
    around = 2 * h + w * np.where(openings["sides"] == 4, 2, 1)
    return openings["count"] * around * openings["reveal_mm"] / 1000


def _reveal_sheet(
    openings: pd.DataFrame, truth: Truth, world: World, total: int
) -> tuple[np.ndarray, np.ndarray]:
    """Expected sheet at each job's openings and the variance that chance adds."""
    flat = _reveal_area(openings) * openings["cut_pattern"].map(truth.factors)
    if world.mechanism == "flat":
        return _by_job(flat, openings, total), np.zeros(total)
    piece = _pieces(openings, truth)
    sheet = piece["number"] * piece["m2"] * (1 - piece["chance"])
    lined = openings["cut_pattern"] == "lined"
    variance = piece["number"] * piece["m2"] ** 2 * piece["chance"] * (1 - piece["chance"])
    return _by_job(sheet.where(~lined, flat), openings, total), _by_job(variance, openings, total)


def _reveal_luck(
    rng: np.random.Generator, openings: pd.DataFrame, truth: Truth, world: World, total: int
) -> np.ndarray:
    """What chance added to or took from the expected sheet at the openings."""
    if world.mechanism == "flat":
        return np.zeros(total)
    piece = _pieces(openings, truth)
    served = rng.binomial(piece["number"].to_numpy(), piece["chance"].to_numpy())
    luck = (piece["number"] * piece["chance"] - served) * piece["m2"]
    return _by_job(luck, openings, total)


def _by_job(values: pd.Series, openings: pd.DataFrame, total: int) -> np.ndarray:
    return np.bincount(openings["job"], weights=values, minlength=total)


def _count(rolls: np.ndarray, counted: str) -> np.ndarray:
    if counted == "opened":
        return np.ceil(np.maximum(rolls, 0.01))
    part = {"half": 2, "quarter": 4, "exact": 100}[counted]
    return np.maximum(np.round(rolls * part), 1) / part


def _summarise(openings: pd.DataFrame) -> pd.DataFrame:
    """What a firm without a schedule writes: how many, typical size, usual cut."""
    weighted = openings.loc[openings.index.repeat(openings["count"])]
    group = weighted.groupby("job")
    typical = group[["width_mm", "height_mm", "reveal_mm"]].mean().round(-1)
    cut = group["cut_pattern"].agg(lambda cuts: cuts.mode().iloc[0])
    count = group.size()
    frame = typical.assign(count=count, cut_pattern=cut, sides=4).reset_index()
    return frame[openings.columns]


def _records(jobs: pd.DataFrame, openings: pd.DataFrame) -> Records:
    """Clean tables as the reader would hand them over."""
    ids = jobs["job_id"]
    own = openings[openings["job"].isin(ids.index)]
    table = own.assign(job_id=ids.loc[own["job"]].to_numpy()).drop(columns="job")
    clean = jobs.assign(roll_width_m=1.5, roll_length_m=50.0, lap_mm=100.0, exclude="")
    return Records(
        clean.reset_index(drop=True), table.reset_index(drop=True), pd.DataFrame(), (), "invented",
        "sha256:invented", (),
    )  # fmt: skip


def resize(world: World, jobs: int, quarters: int) -> World:
    """Return the same kind of firm with another number of jobs."""
    return replace(world, name=f"{world.name}, {jobs} jobs", jobs=jobs, quarters=quarters)
