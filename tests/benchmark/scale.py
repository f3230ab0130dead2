"""How time and memory of each verb grow with the records, up to 50,000 jobs and a million openings.

Run `python -m tests.benchmark.scale --plot scale.png` from the top of the checkout.
"""

import argparse
import io
import json
import resource
import subprocess
import sys
import tempfile
import time
from contextlib import redirect_stdout
from pathlib import Path

import numpy as np
import pandas as pd

SIZES = (400, 2_000, 10_000, 50_000)
ROWS_A_JOB = 20
QUARTERS = 8
VERBS = ("check", "calibrate", "price", "backtest")
BUDGETS = {"cpu_s": 5.0, "peak_gb": 1.5}
"""For `calibrate` at the largest size: reading, checking and writing counted, start-up not."""


def write_source(folder: Path, jobs: int) -> None:
    """Write an invented firm's records, and the same jobs again as a takeoff."""
    from tests.benchmark.calibration_speed import many

    records = many(jobs, ROWS_A_JOB, QUARTERS)
    own = records.jobs.drop(columns=["quarter", "finished"])
    for name, table in (
        ("records", own),
        ("takeoff", own.drop(columns=["finished_on", "estimated_rolls", "used_rolls"])),
    ):
        (folder / name).mkdir(parents=True)
        table.to_csv(folder / name / "jobs.csv", index=False)
        records.openings.to_csv(folder / name / "openings.csv", index=False)


def arguments(verb: str, folder: Path) -> list[str]:
    """Return the command line of one verb."""
    known = str(folder / "a.json")
    return {
        "check": ["check", str(folder / "records")],
        "calibrate": ["calibrate", str(folder / "records"), "--out", known],
        "price": [
            *("price", str(folder / "takeoff"), "--allowances", known),
            *("--out", str(folder / "orders.csv")),
        ],
        "backtest": ["backtest", str(folder / "records"), "--out", str(folder / "backtest")],
    }[verb]


def measure_here(verb: str, folder: Path) -> dict[str, float]:
    """Run one verb in this process, imports beforehand; return times and the peak of memory.

    `seconds` by the clock, `cpu_s` of the processor, `peak_gb` in GB.
    """
    from airstats import looking_back, pricing, quarterly, records  # noqa: F401
    from airstats.__main__ import main

    start, worked = time.perf_counter(), time.process_time()
    with redirect_stdout(io.StringIO()):
        status = main(arguments(verb, folder))
    taken = {"seconds": time.perf_counter() - start, "cpu_s": time.process_time() - worked}
    assert status == 0, f"{verb} failed"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return taken | {"peak_gb": peak}


def measure(verb: str, folder: Path) -> dict[str, float]:
    """Run one verb in a process of its own."""
    call = [sys.executable, "-m", "tests.benchmark.scale", "--one", verb, str(folder)]
    return json.loads(subprocess.run(call, check=True, capture_output=True, text=True).stdout)


def growth(table: pd.DataFrame) -> pd.DataFrame:
    """Return each verb's exponent of processor time in jobs: of all sizes, and of the last step.

    Notes
    -----
    Least squares of log time on log jobs; 1 is growth in proportion.
    """
    rows = []
    for verb, part in table.groupby("verb", sort=False):
        jobs, seconds = np.log(part["jobs"].to_numpy()), np.log(part["cpu_s"].to_numpy())
        fit = np.polyfit(jobs, seconds, 1)[0]
        last = np.diff(seconds)[-1] / np.diff(jobs)[-1]
        rows.append({"verb": verb, "all sizes": fit, "last step": last})
    return pd.DataFrame(rows)


def plot(table: pd.DataFrame, file: Path) -> None:
    """Draw time and memory over the number of jobs, both scales logarithmic."""
    import matplotlib.pyplot as plt

    figure, panels = plt.subplots(1, 2, figsize=(10, 4.2), layout="constrained")
    for panel, column, title in zip(
        panels, ("cpu_s", "peak_gb"), ("Processor time, s", "Peak memory, GB"), strict=True
    ):
        styles = zip(("o-", "s--", "^-.", "D:"), ("C0", "C1", "0.3", "C4"), strict=True)
        for (verb, part), (style, colour) in zip(
            table.groupby("verb", sort=False), styles, strict=True
        ):
            panel.loglog(part["jobs"], part[column], style, color=colour, label=verb)
        limit = BUDGETS[column]
        panel.axhline(limit, color="0.6", linewidth=1)
        panel.annotate(
            f"budget of calibrate: {limit:g}", (SIZES[0], limit), va="bottom", color="0.3"
        )
        panel.set(xlabel=f"jobs ({ROWS_A_JOB} rows of openings each)", title=title)
        panel.legend(frameon=False)
    figure.savefig(file, dpi=120)


def main() -> None:
    """Print time, memory and growth; say whether the budgets hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plot", type=Path, help="the picture to write (PNG)")
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(measure_here(asked.one[0], Path(asked.one[1]))))
        return
    rows = []
    with tempfile.TemporaryDirectory() as place:
        for jobs in SIZES:
            folder = Path(place) / str(jobs)
            write_source(folder, jobs)
            rows += [{"verb": verb, "jobs": jobs, **measure(verb, folder)} for verb in VERBS]
    table = pd.DataFrame(rows)
    table["verb"] = pd.Categorical(table["verb"], VERBS)
    table = table.sort_values(["verb", "jobs"], ignore_index=True)
    table["verb"] = table["verb"].astype(str)
    print(table.assign(openings=table["jobs"] * ROWS_A_JOB).round(2).to_string(index=False))
    print("\nprocessor time grows as jobs to the power of:")
    print(growth(table).round(2).to_string(index=False))
    largest = table[(table["verb"] == "calibrate") & (table["jobs"] == max(SIZES))].iloc[0]
    for name, limit in BUDGETS.items():
        verdict = "holds" if largest[name] < limit else "DOES NOT HOLD"
        print(f"budget of calibrate, {name} < {limit:g}: {largest[name]:.2f}, {verdict}")
    if asked.plot:
        plot(table, asked.plot)


if __name__ == "__main__":
    main()
