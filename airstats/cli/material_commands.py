"""What the command line says of materials besides the sheet. Imports wait until they are needed."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from airstats.model.allowances import Allowances
    from airstats.records.reading import Records


def print_material_allowances(now: Allowances) -> None:
    """Print each material's allowance; nothing for a firm that keeps none."""
    from airstats.model.allowances import material_table

    for name, row in material_table(now).iterrows():
        print(
            f"  {name:16s} {row['mean']:.3f} ± {row['sd']:.3f} {row['unit']}"
            f" (90 %: {row['low']:.3f} to {row['high']:.3f}), {row['jobs_used']} jobs"
        )
    for name, known in now.materials.items():
        for job, chance in known.suspects.items():
            print(
                f"look at {name} of job {job}: its record is wrong with probability"
                f" {100 * chance:.0f} %"
            )


def print_packs(orders: pd.DataFrame) -> None:
    """Print the orders of the sheet and the other materials."""
    from airstats.base.number_text import each, percent
    from airstats.catalog.materials import plural

    for row in each(orders):
        unit = plural(str(row.unit))
        prior = "; priced from the starting belief, no records yet" if not row.jobs_counted else ""
        print(
            f"{row.job_id}, {row.material}: order {row.order_packs} packs of {row.pack:g}"
            f" {unit}; {row.expected:.0f} {unit} (80 %: {row.low:.0f} to {row.high:.0f}"
            f" {unit}); chance of being short {percent(row.chance_short, 1)}; on average"
            f" {row.expected_left_over_packs:.1f} packs left over{prior}"
        )


def list_to_buy(
    asked: argparse.Namespace,
    takeoff: Records,
    known: Allowances,
    caution: str,
    folder: Path,
) -> tuple[str, dict[Path, str | bytes]]:
    """Return the headline of the buying list of all jobs together, and its files in a folder."""
    from airstats.documents.purchase_files import buying_files
    from airstats.pricing.newsvendor import left_out
    from airstats.pricing.purchases import buying_list
    from airstats.reports.buying_text import headline, not_priced, unlearnt

    bought = buying_list(takeoff, known, asked.leftover_cost, asked.short_cost)
    jobs = takeoff.jobs["job_id"].tolist()
    rest = not_priced(left_out(takeoff, known))
    said = " ".join(filter(None, [headline(bought, jobs), unlearnt(bought), rest]))
    files = buying_files(bought, jobs, known.quarter, caution)
    return said, {folder / name: content for name, content in files.items()}
