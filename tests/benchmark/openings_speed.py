"""Time and memory of a million openings.

Run `python -m tests.benchmark.openings_speed` from the top of the checkout.
"""

import argparse
import tracemalloc

from airstats.geometry.cutting_rules import Practice
from airstats.takeoff.opening_quantities import opening_quantities
from tests.benchmark.runs import best_of
from tests.invented import PLAIN, random_openings


def peak_mb(work):
    """Return the peak memory of one run, megabytes."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return peak


def main():
    """Print one row a way of cutting."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--openings", type=int, default=1_000_000)
    openings = random_openings(parser.parse_args().openings, seed=1)
    print(f"{'':34}{'openings':>10}{'seconds':>10}{'µs each':>10}{'peak MB':>10}")
    for name, practice in (("better slit, two parts", Practice()), ("slit upright, whole", PLAIN)):
        seconds = best_of(3, opening_quantities, openings, practice)
        peak, each = peak_mb(lambda: opening_quantities(openings, practice)), 1e6 / len(openings)  # noqa: B023
        print(f"{name:34}{len(openings):>10}{seconds:>10.3f}{seconds * each:>10.2f}{peak:>10.1f}")


if __name__ == "__main__":
    main()
