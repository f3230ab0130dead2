"""What several readers ask for and takes long: worked out once a run, it rides on the desk."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

from airstats.pricing.order_costs import costs_of
from airstats.reports.desk import Desk
from airstats.reports.evidence_text import back_tested
from airstats.reports.recording_text import worth
from airstats.reports.update_text import watched


def worked_out(desk: Desk) -> Desk:
    """Return the desk with its back-test, its watch and with what finer records would save.

    What fails here fails again at its place on a page, and is told there; nothing else is lost.
    """
    with suppress(Exception):
        desk = replace(desk, back_test=back_tested(desk, *costs_of(desk.firm)))
    with suppress(Exception):
        desk = replace(desk, watch=watched(desk))
    with suppress(Exception):
        desk = replace(desk, recording=worth(desk))
    return desk
