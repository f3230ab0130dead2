"""The table of values from outside, by subject; `external_checks` says what becomes of it."""

from __future__ import annotations

from tests.external_checks import DATASET, HANDBOOK, LIBRARY, MEMORY, PRACTICE, Check

NORRIS = "NIST StRD, Norris (published value seen)"
TWICE = "value from memory, reproduced by two implementations"
SURVREG = "R 4.2, survival 3.5-3 `survreg`"
GELMAN = "worked example in the manner of Gelman et al., Bayesian Data Analysis (seen)"
DYESTUFF = f"Davies & Goldsmith 1972, lme4 Dyestuff ({TWICE})"
HACHEMEISTER = "Hachemeister 1975, Bühlmann-Straub"
SNYDER = "Snyder & Shen, Fundamentals of Supply Chain Theory, example 4.3 (seen)"
EWMA = "NIST/SEMATECH e-Handbook 6.3.2.4 (seen)"
RDSAP = "UK RdSAP 2012, table S4, with a national laboratory's window of 1.23 × 1.48 m (both seen)"
REGRESSION = "reference/test_regression_values.py"
UPDATES = "reference/test_updates.py"
CREWS = "reference/test_crews.py"
CENSORED = "reference/test_interval_normal.py"
ORDER = "reference/test_order_quantity.py"

REGRESSIONS = {
    "norris.line": Check(
        "coefficients, residual sd and R² of a straight line", NORRIS, DATASET, REGRESSION,
        (-0.262323073774029, 1.00211681802045, 0.884796396144373, 0.999993745883712), 1e-9, True,
    ),
    "cars.hc3": Check(
        "HC3 standard error of a slope", f"R cars, dist on speed ({TWICE})", MEMORY, REGRESSION,
        (0.42753722,), 1e-7, True,
    ),
    "stackloss.leverage": Check(
        "leverage, rows 21 and 17", f"stackloss ({TWICE})", MEMORY, REGRESSION,
        (0.28453, 0.41212), 1e-5,
    ),
    "stackloss.influence": Check(
        "Cook's distance and studentised residual, row 21", f"stackloss ({TWICE})", MEMORY,
        REGRESSION, (0.69200, -3.33049), 1e-5,
    ),
    "kacker.between": Check(
        "sd between nine laboratories, DerSimonian & Laird",
        "Kacker 2004, Metrologia 41, table 1, as held in statsmodels' tests", HANDBOOK,
        "test_firms.py", (0.5359,), 1e-3,
    ),
}  # fmt: skip

UPDATING = {
    "normal.one": Check(
        "mean and variance after one observation", GELMAN, HANDBOOK, UPDATES, (102.8, 48.0), 1e-6,
        True,
    ),
    "normal.five": Check(
        "mean and variance after five observations", GELMAN, HANDBOOK, UPDATES, (99.41, 14.118),
        5e-3,
    ),
    "berger.score": Check(
        "mean and variance of a test score", "Berger 1985 (value from memory, computed twice)",
        MEMORY, UPDATES, (110.385, 69.231), 5e-4,
    ),
    "cars.conjugate": Check(
        "conjugate regression, σ 15.38, prior N((0, 3), diag(100, 1))", f"R cars ({TWICE})",
        MEMORY, UPDATES, (-11.074047, 3.544023), 1e-5,
    ),
    "norris.update": Check(
        "coefficients of a straight line by updating", NORRIS, DATASET, UPDATES,
        (-0.262323073774029, 1.00211681802045), 1e-7,
    ),
    "norris.errors": Check(
        "their standard errors", NORRIS, DATASET, UPDATES,
        (0.232818234301152, 0.000429796848199937), 1e-6, True,
    ),
    "nile.level": Check(
        "filtered level of the Nile, every year",
        "statsmodels, exact diffuse start; variances of Durbin & Koopman (seen)", DATASET,
        UPDATES, (), 1e-5, True,
    ),
    "nile.variance": Check(
        "its variance, every year",
        "statsmodels, exact diffuse start; variances of Durbin & Koopman (seen)", DATASET,
        UPDATES, (), 1e-5, True,
    ),
    "nile.gain": Check(
        "log-likelihood ratio of two drifts", "statsmodels, exact diffuse start", DATASET,
        UPDATES, (), 1e-4,
    ),
    "ewma.steady": Check(
        "steady updating as an exponential average", EWMA, HANDBOOK, UPDATES,
        (50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
         50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99), 0.0101,
    ),
    "ewma.limits": Check(
        "limits of the exponential average", EWMA, HANDBOOK, "test_watch.py", (52.5884, 47.4115),
        6e-4,
    ),
    "dyestuff.effects": Check(
        "effects of six groups, given the variances", DYESTUFF, MEMORY, CREWS,
        (-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529), 2e-5,
    ),
    "dyestuff.shrink": Check(
        "shrink factor of every group", DYESTUFF, MEMORY, CREWS, (0.7825267,) * 6, 1e-5,
    ),
    "sleepstudy.line": Check(
        "coefficients with a random intercept", "Bates et al. 2015, sleepstudy (published seen)",
        DATASET, CREWS, (251.40510, 10.46729), 2e-5,
    ),
    "sleepstudy.errors": Check(
        "their standard errors (REML variances)", "Bates et al. 2015, sleepstudy (published seen)",
        DATASET, CREWS, (9.7467, 0.8042), 5e-5,
    ),
    "hachemeister.mean": Check(
        "collective mean", f"{HACHEMEISTER} (published seen)", DATASET, CREWS, (1683.713,), 1e-2,
    ),
    "hachemeister.premiums": Check(
        "premiums of five states", f"{HACHEMEISTER} ({TWICE})", MEMORY, CREWS,
        (2055.165, 1523.706, 1793.444, 1442.967, 1603.285), 1e-2,
    ),
    "hachemeister.factors": Check(
        "credibility factors", f"{HACHEMEISTER} ({TWICE})", MEMORY, CREWS,
        (0.98474, 0.92764, 0.89848, 0.72791, 0.95879), 1e-4,
    ),
}  # fmt: skip

COUNTS = {
    "cars.slope": Check(
        "interval-censored normal, coefficients, σ, log-likelihood", f"R cars in tens, {SURVREG}",
        DATASET, CENSORED, (-16.570811, 3.946408, 15.379595, -93.324316), 2e-6,
    ),
    "cars.mean": Check(
        "the same, mean only", f"R cars in tens, {SURVREG}", DATASET, CENSORED,
        (44.20069, 25.74965, -118.550476), 1e-5,
    ),
    "cars.open": Check(
        "the same, the last bin without an end", f"R cars in tens, {SURVREG}", DATASET, CENSORED,
        (-18.392876, 4.100260, 16.236918, -90.979663), 2e-6,
    ),
    "tobin.left": Check(
        "left-censored normal, coefficients and σ", f"Tobin 1958, {SURVREG}", DATASET, CENSORED,
        (15.144866, -0.129059, -0.045542, 5.572540), 2e-4,
    ),
    "pinball": Check(
        "pinball loss at .1 and .9", "documentation of a public machine-learning library",
        MEMORY, "test_looking_back.py", (0.033333, 0.3), 1e-6,
    ),
    "binomial": Check(
        "5 and 95 % points of binomial (100, ½), as shares", "printed tables", MEMORY,
        "test_diagnostics.py", (0.42, 0.58), 1e-9,
    ),
    "ewma.averages": Check(
        "exponential average of the drift watch", EWMA, HANDBOOK, "test_watch.py",
        (50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
         50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99), 0.0051,
    ),
}  # fmt: skip

GEOMETRY = {
    f"bare.{cut}": Check(
        f"bare after folding, 2,000 openings of any size, {told}, m²",
        "outlines folded and cut by shapely", LIBRARY, "test_openings.py", (), 1e-9,
    )
    for cut, told in (
        ("diagonal", "cut corner to corner"), ("centre.upright", "slit upright"),
        ("centre.level", "slit level"), ("lined", "lined with strips"),
    )
} | {
    "triangle.fits": Check(
        "infill pieces, of 3,000, that fit in a trimmed tip",
        "Post 1993, Geometriae Dedicata 45: 18 inequalities (published formula seen)", HANDBOOK,
        "test_offcuts.py", (), 0.0,
    ),
}  # fmt: skip

CHANCES = {
    "interval.probability": Check(
        "chance of a counted interval", "density integrated by scipy's quadrature", LIBRARY,
        "test_likelihood.py", (), 1e-9, True,
    ),
    "normal.quantiles": Check(
        "quantiles of the need, one normal", "scipy.stats.norm", LIBRARY, "test_mixture.py", (),
        1e-10,
    ),
    "use.mean": Check(
        "likely use of a job whose rolls were counted whole, m²", "scipy.stats.truncnorm",
        LIBRARY, "test_overrun.py", (), 1e-6, True,
    ),
    "ewma.run": Check(
        "jobs until chance alone crosses a limit, weight 0.2, 3 sd", "Lucas & Saccucci 1990",
        MEMORY, "test_watch.py", (560.0,), 0.12, True,
    ),
}  # fmt: skip

ORDERS = {
    "newsvendor.quantity": Check(
        "quantity for a normal need", SNYDER, HANDBOOK, ORDER, (56.603956,), 1e-6,
    ),
    "newsvendor.cost": Check("its cost", SNYDER, HANDBOOK, ORDER, (1.997605,), 0.007),
    "newsstand.share": Check(
        "critical share", "Nahmias (value from memory, computed twice)", MEMORY, ORDER, (0.7692,),
        5e-5,
    ),
    "newsstand.quantity": Check(
        "quantity of a news-stand", "Nahmias (value from memory, computed twice)", MEMORY, ORDER,
        (15.22,), 0.02,
    ),
    "discrete.cost": Check(
        "costs of 15 to 18 for a discrete need", "computed by two implementations", MEMORY, ORDER,
        (1.1, 0.9, 1.1, 1.9), 1e-6,
    ),
    "pooled.quantity": Check(
        "one order for four jobs",
        "documentation of a public inventory library; model of Snyder & Shen 4.3.2", HANDBOOK,
        "test_pooling.py", (132.8155,), 0.2,
    ),
    "pooled.cost": Check(
        "its cost", "documentation of a public inventory library; model of Snyder & Shen 4.3.2",
        HANDBOOK, "test_pooling.py", (35.09967,), 0.02, True,
    ),
    "eppen.root": Check(
        "cost of pooling nine alike jobs, share of single", "Eppen 1979: one over the root of nine",
        MEMORY, "test_pooling.py", (1 / 3,), 0.03, True,
    ),
}  # fmt: skip

SHEET = {
    "roll.net": Check(
        "net cover of a roll 1.5 × 50 m with laps of 50, 100, 150 mm, m²",
        "arithmetic of the trade, by two implementations", PRACTICE, "test_takeoff.py",
        (72.5, 70.0, 67.5), 1e-9, True,
    ),
    "lap.default": Check(
        "lap where none is given, mm",
        "National Building Code of Canada 9.25.3.3: lapped 100 mm at least (seen)", HANDBOOK,
        "test_records.py", (100.0,), 0.0,
    ),
    "roll.default": Check(
        "roll where none is given: width, length, m", "the common roll", PRACTICE,
        "test_records.py", (1.5, 50.0), 0.0,
    ),
    "waste.start": Check(
        "waste believed before the first job, share",
        "Bossink & Brouwers 1996: 1 to 10 % of what is bought leaves as waste (seen)", HANDBOOK,
        "test_prior_check.py", (0.055,), 0.045,
    ),
    "demo.reveals": Check(
        "reveals of an invented firm's middle job, m²", "30 to 40 m² in a typical one-off house",
        PRACTICE, "test_demo.py", (35.0,), 5.0,
    ),
    "felt.roll": Check(
        "roll of 36 in × 144 ft, ft²", "handbooks of building felt (published value seen)",
        HANDBOOK, "test_takeoff.py", (432.0,), 1e-6, True,
    ),
    "felt.laid": Check(
        "laid for 408 ft² with a 2 in lap, ft²", "the same roll (408 computed twice)", HANDBOOK,
        "test_takeoff.py", (432.0,), 1e-6, True,
    ),
    "rdsap.reveals": Check(
        "reveal area of a house of 150 m² at .40 and .50 m, m²", RDSAP, HANDBOOK,
        "test_openings.py", (29.98, 37.48), 0.005,
    ),
    "house.share": Check(
        "reveals of a typical house, in rolls of 75 m²", "20 to 25 openings", PRACTICE,
        "test_openings.py", (0.5,), 0.06,
    ),
    "frame.tape": Check(
        "tape on the window frame, mm", "the board hides it", PRACTICE, "test_materials.py",
        (12.5,), 0.0,
    ),
    "corner.pack": Check(
        "corner pieces a pack; share taped beforehand", "the trade", PRACTICE,
        "test_materials.py", (5.0, 0.02), 0.0,
    ),
    "corner.tapes": Check(
        "overlap of two tapes in a corner, least and most, mm", "the trade", PRACTICE,
        "test_corner_methods.py", (6.0, 8.0), 0.0,
    ),
    "corner.count": Check(
        "corner pieces for three windows and a door", "four an opening, two a door", PRACTICE,
        "test_material_quantities.py", (14.0,), 0.0,
    ),
}  # fmt: skip

CHECKS: dict[str, Check] = SHEET | GEOMETRY | COUNTS | CHANCES | UPDATING | ORDERS | REGRESSIONS
