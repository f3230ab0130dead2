from dataclasses import replace

import pandas as pd

from airstats import words_firms
from airstats.desk import lay_out
from airstats.firms import firm_spread, firm_table
from tests.evidence_desks import WORLDS, desks
from tests.invented import invent


def test_firms_alike_and_firms_apart():
    alike = {
        "own": desks()["reveals"].jobs,
        "twin": lay_out(invent(**WORLDS["reveals"], seed=4)).jobs,
    }
    apart = {"own": desks()["reveals"].jobs, "other": desks()["crew"].jobs}
    said = []
    for firms in (alike, apart):
        said.append(words_firms.firm_words(firm_spread(firm_table(firms)), firms).text)
    assert "The 2 firms do not differ by more than chance" in said[0]
    assert "The 2 firms differ in" in said[1]
    assert "not enough to tell: reveal.lined" in said[1]
    alone = {"own": alike["own"]}
    assert "No other firm's records" in words_firms.firm_words(pd.DataFrame(), alone).text


def test_what_is_noted_of_a_firm_is_said():
    jobs = desks()["reveals"].jobs
    firms = {"own": jobs, "other": replace(jobs, notes=("other: columns not read: hue.",))}
    said = words_firms.firm_words(firm_spread(firm_table(firms)), firms).text
    assert said.endswith("\n\nNote: other: columns not read: hue.")
