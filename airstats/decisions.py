"""Accept a quarter's new allowances, or keep the old ones: what then stands, and what waits."""

from __future__ import annotations

from dataclasses import replace

from airstats.allowances import Allowances
from airstats.calibration import widen
from airstats.chain import with_drift
from airstats.desk import Desk
from airstats.errors import AllowancesError
from airstats.quarters import quarters_between

ACCEPT, KEEP = "accept", "keep"
DECISIONS = (ACCEPT, KEEP)


def decide(
    before: Allowances | None,
    proposed: Allowances,
    decision: str = ACCEPT,
    reason: str = "",
    by: str = "",
    drift: float | None = None,
) -> Allowances:
    """Return the allowances that stand after a person has decided on the proposed ones.

    Parameters
    ----------
    before, proposed : Allowances
        Those before the quarter (None: there are none) and those that its jobs propose.
    decision : {"accept", "keep"}
        accept: the proposed values stand. keep: the values before stand, made less certain by
        the drift since; the quarter's jobs are not counted and wait for the next accept, where
        they count as late jobs.
    reason, by : str
        Why, and the initials of who decided; keep needs both.
    drift : float, optional
        As it was given to the calibration, m² a m² laid.

    Raises
    ------
    AllowancesError
        If the decision is not known, or keep has nothing to keep, no reason or no initials.
    """
    check_decision(decision, reason, by)
    noted = {"decision": decision, "reason": reason.strip(), "by": by.strip()}
    if decision == ACCEPT:
        return replace(proposed, decision={key: text for key, text in noted.items() if text})
    if before is None:
        raise AllowancesError(
            f"decision keep: there are no values before {proposed.quarter} to keep. Give the"
            " allowances file of an earlier quarter as previous, or accept."
        )
    return replace(
        _carried_forward(before, proposed.quarter, drift),
        records=proposed.records,
        previous=proposed.previous,
        decision=noted | {"waiting": ", ".join(proposed.new_jobs)},
    )


def check_decision(decision: str, reason: str = "", by: str = "") -> None:
    """Refuse a decision that is not complete, as `decide` does, before any work is done."""
    if decision not in DECISIONS:
        raise AllowancesError(f'decision "{decision}" is not understood: write accept or keep.')
    named = {"the reason (decision_reason)": reason, "the initials (decided_by)": by}
    missing = [name for name, text in named.items() if not text.strip()]
    if decision == KEEP and missing:
        raise AllowancesError(
            f"decision keep: {' and '.join(missing)} must be given, so that the next quarter"
            " knows why its jobs waited."
        )


def after_decision(desk: Desk, decision: str, reason: str = "", by: str = "") -> Desk:
    """Return the desk as it stands after the decision: its last allowances are those that stand."""
    decided = decide(desk.before, desk.now, decision, reason, by)
    return replace(desk, chain=(*desk.chain[:-1], decided))


def waiting_jobs(allowances: Allowances) -> list[str]:
    """Return the jobs that wait for the next accept."""
    return [job for job in allowances.decision.get("waiting", "").split(", ") if job]


def _carried_forward(before: Allowances, quarter: str, drift: float | None) -> Allowances:
    belief = before.belief
    if drift is not None:
        belief = with_drift(belief, drift)
    belief = widen(belief, quarters_between(before.quarter, quarter))
    return replace(
        before,
        quarter=quarter,
        belief=belief,
        new_jobs=(),
        late_jobs=(),
        suspects={},
        file_digest="",
    )
