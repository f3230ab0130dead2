"""What is believed before the first job is counted, number by number, with the reason for each.

The numbers come from the geometry of ordinary openings and from common practice (no published
source unless one is named). They are wide on purpose: some twenty jobs outweigh them. What is
believed of a cut stands in its entry in `cut_patterns`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from airstats.catalog.cut_patterns import CUTS
from airstats.catalog.materials import MATERIALS

WASTE = (0.08, 0.05)
"""Mean and sd of waste, m² a m² laid. Budgets allow 5-10 %, sites show up to 15-30 % (Soibelman,
Formoso & Franchi 1994); 1-10 % of bought material leaves as waste (Bossink & Brouwers 1996)."""

WIDE_WEIGHT, WIDE_WASTE, WIDE_CROSSING = 0.3, (0.12, 0.10), (0.90, 0.60)
"""Beside every candidate stands a companion that gives way sooner, for firms unlike most: how
likely it is, and what it believes of waste and of reveals cut across the opening: nearly all from
fresh sheet, but as little as the geometry leaves bare or half as much again are not strange. Waste
is widened with the reveals, for each would else pass for the other. Other reveals: half a sd more,
and twice as wide."""

SPREAD_CENTRE, SPREAD_LOG_SD = 0.040, 0.6
"""Job-to-job spread, m² a m² laid: a job of 300 m² commonly departs by some 12 m²; a factor of
1.8 either way is one sd."""
SPREAD_NODES = tuple(round(0.011 * 2 ** (step / 2), 5) for step in range(9))

CREW_SD_WEIGHTS = {0.003: 0.25, 0.015: 0.30, 0.03: 0.30, 0.06: 0.15}
"""How much crews differ in waste (sd, m² a m² laid) and how likely each is: from alike to one
crew in six wasting six points more than the firm."""

DRIFT_WEIGHTS = {0.0: 0.45, 0.006: 0.25, 0.015: 0.20, 0.03: 0.10}
"""How far waste wanders in a quarter (sd, m² a m² laid) and how likely each is: in two firms of
three hardly at all."""
TREND, TREND_WEIGHT = 0.015, 0.25
"""How far waste rises or falls every quarter where it has a trend, m² a m² laid; how likely one
is, up or down."""
DRIFT_OF_FACTORS = 2.0
"""A reveal factor or share wanders twice as far as waste does, in its own unit."""

FLOOR_M2 = 4.0
"""Spread that even the smallest job has: ends of rolls and pieces too short to use."""

GROSS_SHARE, GROSS_JOBS = 0.04, 50.0
"""Share of records that are grossly wrong (a roll stolen, carried to the next job, mistyped), and
the number of jobs that this guess is worth; the records then teach the firm's own share."""
GROSS_ROLLS = 1.5
"""Standard deviation of a gross error, in rolls: one to three rolls either way."""


def _reveal_factors() -> tuple[tuple[float, float], ...]:
    return tuple(cut.reveal_factor[:2] for cut in CUTS.values())


def _reuse_shares() -> tuple[tuple[float, float], ...]:
    return tuple(cut.reuse_share[:2] for cut in CUTS.values() if cut.reuse_share)


def _wide_factors() -> tuple[tuple[float, float], ...]:
    cuts = ((cut.crosses, *cut.reveal_factor[:2]) for cut in CUTS.values())
    return tuple(
        WIDE_CROSSING if over else (round(mean + sd / 2, 6), 2 * sd) for over, mean, sd in cuts
    )


@dataclass(frozen=True)
class Prior:
    """The starting belief; replace a number to test how much it matters.

    `reveal_factors` and `wide_factors` in the order of `CUTS`, `reuse_shares` in that of
    `reused_cuts`; what begins with `wide` is the companions'; `floor` in
    the product's unit, `gross_packs` in its packs (rolls).
    """

    waste: tuple[float, float] = WASTE
    reveal_factors: tuple[tuple[float, float], ...] = field(default_factory=_reveal_factors)
    reuse_shares: tuple[tuple[float, float], ...] = field(default_factory=_reuse_shares)
    wide_weight: float = WIDE_WEIGHT
    wide_waste: tuple[float, float] = WIDE_WASTE
    wide_factors: tuple[tuple[float, float], ...] = field(default_factory=_wide_factors)
    spread_nodes: tuple[float, ...] = SPREAD_NODES
    spread_centre: float = SPREAD_CENTRE
    spread_log_sd: float = SPREAD_LOG_SD
    crew_sd_weights: tuple[tuple[float, float], ...] = tuple(CREW_SD_WEIGHTS.items())
    drift_weights: tuple[tuple[float, float], ...] = tuple(DRIFT_WEIGHTS.items())
    trend: float = TREND
    trend_weight: float = TREND_WEIGHT
    reuse_weight: float = 0.5
    floor: float = FLOOR_M2
    gross_share: float = GROSS_SHARE
    gross_jobs: float = GROSS_JOBS
    gross_packs: float = GROSS_ROLLS


MATERIAL_SPREADS = tuple(2 ** (step / 2) for step in range(-3, 4))
"""Candidates for a material's spread, as multiples of its middle: from a third to three times."""
MATERIAL_CREW_SD_WEIGHTS = ((0.003, 0.35), (0.02, 0.35), (0.05, 0.30))
"""How much crews differ (sd, a share of what is counted) and how likely each is: assumptions."""
MATERIAL_DRIFT_WEIGHTS = ((0.0, 0.5), (0.008, 0.3), (0.025, 0.2))
"""How far an allowance wanders in a quarter (sd) and how likely each is: assumptions."""


def material_prior(name: str) -> Prior:
    """Return the starting belief for a material, amounts in its unit; wide as it stands."""
    material = MATERIALS[name]
    return Prior(
        waste=material.allowance,
        spread_nodes=tuple(round(material.spread * step, 6) for step in MATERIAL_SPREADS),
        spread_centre=material.spread,
        crew_sd_weights=MATERIAL_CREW_SD_WEIGHTS,
        drift_weights=MATERIAL_DRIFT_WEIGHTS,
        wide_weight=0.0,
        trend_weight=0.0,
        floor=material.floor,
        gross_packs=material.gross_packs,
    )
