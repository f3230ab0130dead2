"""Time and memory of a million openings, beside a plain row-by-row version on a sample.

Run it from the folder of the project:  python -m tests.benchmark.openings_speed
The row-by-row version is checked against the package before anything is printed.
"""

import argparse
import math
import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import pandas as pd

from airstats.openings import opening_quantities
from airstats.practice import Practice
from tests.invented import random_openings

RETURN_MM = 20.0
OFFCUT_MM = 100.0
PLAIN = Practice(slit="upright", halves=False)


def fresh_of_one(w: float, h: float, d: float, sides: int, cut: str) -> float:
    """Fresh sheet of one opening in m², slit upright, whole pieces only, roll 1.5 m."""
    levels = 2 if sides == 4 else 1
    k = d + RETURN_MM
    level_piece = (w + 2 * RETURN_MM) * k
    if cut == "lined":
        return (2 * h * k + levels * level_piece) / 1e6
    if cut == "centre":
        strip = w / 2 - d
        fits = strip >= max(k, OFFCUT_MM) and h >= max(w + 2 * RETURN_MM, OFFCUT_MM)
        extra = 2 * h * (d - w / 2 + RETURN_MM) if d > w / 2 else 0.0
        return ((0.0 if fits else levels * level_piece) + extra) / 1e6
    return fresh_of_diagonal(w, h, d, sides) / 1e6


def fresh_of_diagonal(w: float, h: float, d: float, sides: int) -> float:
    k, slope = d + RETURN_MM, math.hypot(w, h)
    jamb_part = part_area(k, h / w, (h + RETURN_MM) / 2)
    corner = jamb_part + part_area(k, w / h, (w + RETURN_MM) / 2)
    level, upright = max(1 - 2 * d / h, 0.0), max(1 - 2 * d / w, 0.0)
    foot = level if sides == 4 else 1.0
    tips = [(w * foot, h * foot / 2), (w * level, h * level / 2)]
    tips += [(h * upright, w * upright / 2)] * 2
    corners, ends = (4, 0) if sides == 4 else (2, 2)
    free = [2] * 4
    for place, tip in enumerate(tips):
        taken, free[place] = take(tip, k * slope**2 / (w * h), corners, free[place])
        corners -= taken
    for place, tip in enumerate(tips):
        taken, free[place] = take(tip, k * slope / w, ends, free[place])
        ends -= taken
    return corners * corner + ends * jamb_part


def part_area(k: float, run: float, widest: float) -> float:
    sloping = min(k, widest / run)
    return run * sloping**2 / 2 + widest * (k - sloping)


def take(tip: tuple[float, float], hypotenuse: float, wanted: int, free: int) -> tuple[int, int]:
    base, height = tip
    side = math.hypot(base / 2, height)
    if min(base, height) < OFFCUT_MM or wanted == 0 or free == 0:
        return 0, free
    if hypotenuse <= side:
        taken = min(wanted, free)
        return taken, free - taken
    if free == 2 and hypotenuse <= min(base, 2 * side**2 / base):
        return 1, 0
    return 0, free


def row_by_row(openings: pd.DataFrame) -> list[float]:
    return [fresh_of_one(*row) for row in openings.itertuples(index=False, name=None)]


def measured(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds of the best of three runs, and peak megabytes of one more run."""
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return min(seconds), peak


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--openings", type=int, default=1_000_000)
    parser.add_argument("--sample", type=int, default=20_000)
    chosen = parser.parse_args()
    many, sample = (random_openings(number, seed=1) for number in (chosen.openings, chosen.sample))
    np.testing.assert_allclose(
        row_by_row(sample), opening_quantities(sample, PLAIN)["fresh_m2"], rtol=0, atol=1e-9
    )
    print(f"{'':34}{'openings':>10}{'seconds':>10}{'µs each':>10}{'peak MB':>10}")
    for name, frame, work in (
        ("arrays, better slit, two parts", many, lambda: opening_quantities(many)),
        ("arrays, slit upright, whole", many, lambda: opening_quantities(many, PLAIN)),
        ("arrays, slit upright, whole", sample, lambda: opening_quantities(sample, PLAIN)),
        ("row by row, fresh sheet alone", sample, lambda: row_by_row(sample)),
    ):
        seconds, peak = measured(work)
        each = seconds / len(frame) * 1e6
        print(f"{name:34}{len(frame):>10}{seconds:>10.3f}{each:>10.2f}{peak:>10.1f}")


if __name__ == "__main__":
    main()
