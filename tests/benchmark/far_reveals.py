"""Measure what the two forms make of reveals that take far more sheet than is believed at first.

Run `python -m tests.benchmark.far_reveals --seeds 25` from the top of the checkout.
"""

from functools import partial

from airstats.model.posterior import FORMS, design
from airstats.model.quarterly_update import calibrate
from airstats.takeoff.sheet_quantities import take_off
from tests.benchmark import runs
from tests.benchmark.worlds import World, invent_firm

TRUE_FACTOR = 0.8
"""Two sd above the starting belief of 0.30 ± 0.25, and beyond what the geometry leaves bare."""
FACTORS = {"diagonal": TRUE_FACTOR, "centre": TRUE_FACTOR, "lined": 1.1}
CROSSING = slice(1, 3)
"""Places of the two cuts across the opening among the parameters."""


def reveal_sheet(known, jobs, form):
    """Return the sheet a m² of reveal that one form expects at the cuts across the opening."""
    belief, place = known.belief, FORMS.index(form)
    chosen = belief.form == place
    mean = belief.weight[chosen] @ belief.mean[chosen] / belief.weight[chosen].sum()
    columns, certain = design(jobs, place, belief.crews)
    fresh = columns[:, CROSSING] @ mean[CROSSING] + certain - jobs.columns(["laid_m2"])[:, 0]
    area = jobs.columns(["reveal_diagonal_m2", "reveal_centre_m2"]).sum()
    return float(fresh.sum() / area)


def one_firm(world, seed):
    """Calibrate one firm; return what each form says, and whether the interval holds the truth."""
    firm = invent_firm(world, seed)
    known, ahead = calibrate(firm.records), take_off(firm.takeoff)
    row = known.table().loc["reveal.diagonal"]
    return {form: reveal_sheet(known, ahead, form) for form in FORMS} | {
        "reuse_weight": known.form_weights()["reuse"],
        "held_90": float(row["low"] <= TRUE_FACTOR <= row["high"]),
    }


def main():
    """Print one row a number of jobs, averaged over the seeds."""
    asked, rows = runs.asked(__doc__, 25), {}
    for jobs in (12, 24, 48, 96):
        kind = {
            "jobs": jobs,
            "quarters": jobs // 12,
            "mechanism": "flat",
            "truth": {"factors": FACTORS},
        }
        run = partial(one_firm, World("far", **kind))
        rows[f"{jobs} jobs"] = runs.averaged(run, asked.seeds, asked.first)
    print(f"true sheet a m² of reveal: {TRUE_FACTOR}")
    runs.show(rows)


if __name__ == "__main__":
    main()
