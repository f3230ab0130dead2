"""Accept a quarter's new allowances, or keep the old ones: what then stands, and what waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from airstats.base.errors import AllowancesError
from airstats.base.run_settings import DECISIONS
from airstats.model.allowances import Allowances
from airstats.model.quarterly_update import carried_forward, of_the_run

ACCEPT, KEEP = DECISIONS


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
        accept: the proposed values stand. keep: the values before stand, those of the other
        materials too, made less certain by the drift since; the quarter's jobs are not counted
        and wait for the next accept, where they count as late jobs.
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
        carried_forward(before, proposed.quarter, drift),
        records=proposed.records,
        previous=proposed.previous,
        decision=noted | {"waiting": list(proposed.new_jobs)},
    )


def decided_steps(
    steps: Sequence[Allowances],
    previous: Allowances | None,
    decision: tuple[str, str, str],
    drift: float | None = None,
) -> Allowances:
    """Return what stands after an update step by step, and a decision on its last step.

    Parameters
    ----------
    steps : sequence of Allowances
        The allowances after each quarter since `previous`, of `calibrate_through`.
    previous : Allowances or None
        As it was given to the calibration.
    decision : (decision, reason, by)
        As for `decide`; keep keeps the values of the quarter before the last one.
    drift : float, optional
        As it was given to the calibration, m² a m² laid.

    Raises
    ------
    AllowancesError
        As `decide`.
    """
    *earlier, last = steps
    if decision[0] == KEEP:
        before = of_the_run(earlier) if earlier else previous
        return decide(before, last, *decision, drift=drift)
    return decide(previous, of_the_run([*earlier, last]), *decision)


def check_decision(decision: str, reason: str = "", by: str = "") -> None:
    """Refuse a decision that is not complete, as `decide` does, before any work is done.

    Parameters
    ----------
    decision, reason, by
        As for `decide`.
    """
    if decision not in DECISIONS:
        raise AllowancesError(f'decision "{decision}" is not understood: write accept or keep.')
    named = {"the reason (decision_reason)": reason, "the initials (decided_by)": by}
    missing = [name for name, text in named.items() if not text.strip()]
    if decision == KEEP and missing:
        raise AllowancesError(
            f"decision keep: {' and '.join(missing)} must be given, so that the next quarter"
            " knows why its jobs waited."
        )


def waiting_jobs(allowances: Allowances) -> list[str]:
    """Return the jobs that wait for the next accept."""
    return list(allowances.decision.get("waiting", ()))
