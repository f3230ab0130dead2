import numpy as np
import pandas as pd

from airstats.analysis.jobs_needed import jobs_a_quarter, jobs_to_halve
from airstats.reports import information_text
from tests.invented import texts


def test_jobs_to_halve_follow_the_firm():
    def say(desk):
        table = jobs_to_halve(desk.now, desk.jobs)
        return information_text.halving_words(table, jobs_a_quarter(desk.jobs))

    found = texts(say)
    assert found["reveals"].startswith("At 24.0 jobs a quarter")
    assert found["small"].startswith("At 3.0 jobs a quarter")
    never = found["reveals"].split("; not ")[1].split(":")[0]
    assert "reveal.lined" in never  # the jobs hold no lined opening


def test_out_of_reach_is_said_in_words_and_table():
    table = pd.DataFrame(
        {"allowance": ["waste", "reveal.centre"], "sd": [0.02, 0.1], "unit": "m²",
         "jobs_still": [np.inf, 100.0], "sd_still": [0.015, 0.01], "quarters_drift": np.inf,
         "jobs_drift": np.inf, "sd_drift": [0.018, 0.08]}
    )  # fmt: skip
    said = information_text.halving_words(table, 10.0).text
    assert "reveal.centre 100 jobs (2.5 years); not waste" in said
    assert "none is ever halved" in said
    assert "waste settles at ± 0.018 (sd), now ± 0.020" in said
    shown = information_text.halving_table(table)
    assert shown.frame["jobs_drift"].to_list() == ["out of reach"] * 2
    reached = information_text.halving_words(table.assign(jobs_drift=[np.inf, 150.0]), 10.0).text
    assert "With the drift as learnt: reveal.centre 150 jobs; waste never." in reached
