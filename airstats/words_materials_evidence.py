"""What the doubting reader is told of the materials besides the sheet."""

from __future__ import annotations

import pandas as pd

from airstats.desk import Desk
from airstats.evidence import material_regression
from airstats.material_calibration import material_table
from airstats.material_jobs import material_jobs
from airstats.materials import MATERIALS
from airstats.phrases import listed
from airstats.screen import Words, show_table
from airstats.words_materials import Section, materials_now


def evidence_section(desk: Desk) -> Section:
    """Return driver, starting belief, allowance and a plain regression of each material."""
    now = materials_now(desk)
    if not now.materials:
        return ()
    rows = []
    for one in material_jobs(desk.records, now):
        material, learnt = MATERIALS[one.name], material_table(now).loc[one.name]
        plain = material_regression(one.jobs)
        told = {
            "material": one.name,
            "driver": material.driver,
            "jobs": len(one.jobs),
            "prior": f"{material.allowance[0]:g} ± {material.allowance[1]:g}",
            "reason": material.reason,
        }
        columns = ("mean", "sd", "low", "high", "unit")
        rows.append(told | {name: learnt[name] for name in columns} | plain)
    table = pd.DataFrame(rows)
    inside = table["plain"].between(table["low"], table["high"])
    agree = listed(table.loc[inside, "material"].tolist()) or "none"
    return (
        Words(
            "## The other materials\n\nEach is calibrated like the sheet against its own driver"
            " (tape metres, corners), counted from the openings and the courses: used = driver ×"
            " (1 + allowance + crew), with the same interval likelihood and carry-forward. A plain"
            " regression of the middle of the count on the driver, without intercept and with HC3"
            f" errors, stands beside it; it lies inside the 90 % interval for {agree}."
        ),
        show_table(
            table,
            "Each material's allowance, a share of its driver",
            "material driver jobs prior mean sd low high plain plain_sd unit",
        ),
        show_table(table, "Why the starting beliefs are what they are", "material prior reason"),
    )
