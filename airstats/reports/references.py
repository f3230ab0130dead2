"""The published sources of every page, in full; pages cite them by their numbers."""

from __future__ import annotations

SOURCES = {
    "regression diagnostics": "Belsley, D. A.; Kuh, E.; Welsch, R. E. (1980). Regression"
    " Diagnostics. Wiley.",
    "waste, Netherlands": "Bossink, B. A. G.; Brouwers, H. J. H. (1996). Construction waste:"
    " quantification and source evaluation. Journal of Construction Engineering and Management"
    " 122, 55–60.",
    "prior predictive": "Box, G. E. P. (1980). Sampling and Bayes' inference in scientific"
    " modelling and robustness. Journal of the Royal Statistical Society A 143, 383–430.",
    "clusters": "Cameron, A. C.; Miller, D. L. (2015). A practitioner's guide to cluster-robust"
    " inference. Journal of Human Resources 50, 317–372.",
    "measurement error": "Carroll, R. J.; Ruppert, D.; Stefanski, L. A.; Crainiceanu, C. M. (2006)."
    " Measurement Error in Nonlinear Models, 2nd ed. Chapman & Hall/CRC.",
    "deletion": "Cook, R. D.; Weisberg, S. (1982). Residuals and Influence in Regression. Chapman"
    " and Hall.",
    "open counts": "Czado, C.; Gneiting, T.; Held, L. (2009). Predictive model assessment for count"
    " data. Biometrics 65, 1254–1261.",
    "between firms": "DerSimonian, R.; Laird, N. (1986). Meta-analysis in clinical trials."
    " Controlled Clinical Trials 7, 177–188.",
    "pooling": "Eppen, G. D. (1979). Effects of centralization on expected costs in a"
    " multi-location newsboy problem. Management Science 25, 498–501.",
    "attenuation": "Fuller, W. A. (1987). Measurement Error Models. Wiley.",
    "Bayesian data analysis": "Gelman, A.; Carlin, J. B.; Stern, H. S.; Dunson, D. B.; Vehtari, A.;"
    " Rubin, D. B. (2013). Bayesian Data Analysis, 3rd ed. Chapman & Hall/CRC.",
    "grouped residual": "Gourieroux, C.; Monfort, A.; Renault, E.; Trognon, A. (1987). Generalised"
    " residuals. Journal of Econometrics 34, 5–32.",
    "pinball": "Koenker, R.; Bassett, G. (1978). Regression quantiles. Econometrica 46, 33–50.",
    "moving average": "Lucas, J. M.; Saccucci, M. S. (1990). Exponentially weighted moving average"
    " control schemes: properties and enhancements. Technometrics 32, 1–12.",
    "robust errors": "MacKinnon, J. G.; White, H. (1985). Some heteroskedasticity-consistent"
    " covariance matrix estimators with improved finite sample properties. Journal of Econometrics"
    " 29, 305–325.",
    "lap": "National Building Code of Canada (2020), 9.25.3.3: joints of sheet sealed, or lapped by"
    " 100 mm or more and clamped.",
    "handbook": "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: EWMA control charts.",
    "one step": "Pregibon, D. (1981). Logistic regression diagnostics. Annals of Statistics 9,"
    " 705–724.",
    "sample information": "Raiffa, H.; Schlaifer, R. (1961). Applied Statistical Decision Theory."
    " Harvard University.",
    "usual openings": "Rossi, P. E.; Allenby, G. M.; McCulloch, R. (2005). Bayesian Statistics and"
    " Marketing. Wiley.",
    "least-cost order": "Snyder, L. V.; Shen, Z.-J. M. (2019). Fundamentals of Supply Chain Theory,"
    " 2nd ed. Wiley.",
    "waste, Brazil": "Soibelman, L.; Formoso, C. T.; Franchi, C. C. (1994). A study on the waste of"
    " materials in the building industry in Brazil. First conference of CIB TG 16, Tampa.",
    "simulated ranks": "Talts, S.; Betancourt, M.; Simpson, D.; Vehtari, A.; Gelman, A. (2018)."
    " Validating Bayesian inference algorithms with simulation-based calibration."
    " arXiv:1804.06788.",
    "normal at the top": "Tierney, L.; Kadane, J. B. (1986). Accurate approximations for posterior"
    " moments and marginal densities. Journal of the American Statistical Association 81, 82–86.",
    "contamination": "Tukey, J. W. (1960). A survey of sampling from contaminated distributions. In"
    " Contributions to Probability and Statistics. Stanford University Press.",
}
"""What each serves, and the source; in the order of their authors."""


def cite(*serving: str) -> str:
    """Return "[3, 7]" for the sources that serve this."""
    names = list(SOURCES)
    return f"[{', '.join(str(names.index(one) + 1) for one in serving)}]"


def listed_sources() -> str:
    """Return all sources as a numbered list."""
    return "\n".join(f"{place}. {text}" for place, text in enumerate(SOURCES.values(), start=1))
