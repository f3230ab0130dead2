"""How time and memory of each verb grow with the records, up to 50,000 jobs and a million openings.

Run `python -m tests.benchmark.scale` from the top of the checkout.
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

SIZES = (12_500, 25_000, 50_000)
ROWS_A_JOB = 20
QUARTERS = 8
VERBS = ("check", "calibrate", "price", "backtest")
BUDGETS = {"check": 2.5, "calibrate": 4.0, "price": 4.0, "backtest": 7.0}
"""Seconds of processor at the largest size: reading, checking and writing counted, start-up not."""
PEAK_GB = 0.8
TIMES = 3


def write_source(folder, jobs):
    """Write an invented firm's records, and the same jobs again as a takeoff."""
    from tests.benchmark.calibration_speed import many

    records = many(jobs, ROWS_A_JOB, QUARTERS)
    own = records.jobs.drop(columns=["quarter", "finished"])
    ahead = own.drop(columns=["finished_on", "estimated_rolls", "used_rolls"])
    for name, table in (("records", own), ("takeoff", ahead)):
        (folder / name).mkdir(parents=True)
        table.to_csv(folder / name / "jobs.csv", index=False)
        records.openings.to_csv(folder / name / "openings.csv", index=False)


def arguments(verb, folder):
    """Return the command line of one verb."""
    known, records, takeoff = (str(folder / name) for name in ("a.json", "records", "takeoff"))
    return {
        "check": ["check", records],
        "calibrate": ["calibrate", records, "--out", known],
        "price": ["price", takeoff, "--allowances", known, "--out", str(folder / "orders.csv")],
        "backtest": ["backtest", records, "--out", str(folder / "backtest")],
    }[verb]


def measure_here(verb, folder):
    """Run one verb in this process, imports beforehand; return times and the peak of memory.

    `seconds` by the clock, `cpu_s` of the processor, `peak_gb` in GB.
    """
    from airstats.__main__ import main
    from airstats.records import reading as records  # noqa: F401

    start, worked = time.perf_counter(), time.process_time()
    with redirect_stdout(io.StringIO()):
        status = main(arguments(verb, folder))
    taken = {"seconds": time.perf_counter() - start, "cpu_s": time.process_time() - worked}
    assert status == 0, f"{verb} failed"
    return taken | {"peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20}


def measure(verb, folder):
    """Run one verb in processes of its own, and return the quickest; others may be at work."""
    call = [sys.executable, "-m", "tests.benchmark.scale", "--one", verb, str(folder)]
    runs = [subprocess.run(call, check=True, capture_output=True, text=True) for _ in range(TIMES)]
    return min((json.loads(run.stdout) for run in runs), key=lambda taken: taken["cpu_s"])


def growth(table):
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


def measured():
    """Return one row a verb and size."""
    rows = []
    with tempfile.TemporaryDirectory() as place:
        for jobs in SIZES:
            folder = Path(place) / str(jobs)
            write_source(folder, jobs)
            rows += [{"verb": verb, "jobs": jobs, **measure(verb, folder)} for verb in VERBS]
    return pd.DataFrame(rows).sort_values("verb", key=lambda v: v.map(VERBS.index), kind="stable")


def main():
    """Print time, memory and growth; say whether the budgets hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(measure_here(asked.one[0], Path(asked.one[1]))))
        return
    table = measured()
    print(table.assign(openings=table["jobs"] * ROWS_A_JOB).round(2).to_string(index=False))
    print("\nprocessor time grows as jobs to the power of:")
    print(growth(table).round(2).to_string(index=False))
    largest = table[table["jobs"] == max(SIZES)].set_index("verb")
    for verb, seconds in BUDGETS.items():
        for name, limit in (("cpu_s", seconds), ("peak_gb", PEAK_GB)):
            taken = largest.loc[verb, name]
            verdict = "holds" if taken <= limit else "DOES NOT HOLD"
            print(f"budget of {verb}, {name} at most {limit:g}: {taken:.2f}, {verdict}")


if __name__ == "__main__":
    main()
