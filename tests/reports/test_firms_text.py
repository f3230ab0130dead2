from dataclasses import replace

import pandas as pd

from airstats.analysis.between_firms import firm_spread, firm_table
from airstats.reports import firms_text
from tests.invented import WORLDS, desk_of


def test_firms_alike_and_firms_apart():
    own, twin, other = (
        desk_of(**world).jobs
        for world in (WORLDS["reveals"], WORLDS["reveals"] | {"seed": 4}, WORLDS["crew"])
    )
    alike, apart = ({"own": own, "other": jobs} for jobs in (twin, other))
    said = firms_text.firm_words(firm_spread(firm_table(alike)), alike).text
    assert "The 2 firms do not differ by more than chance" in said
    said = firms_text.firm_words(firm_spread(firm_table(apart)), apart).text
    assert "The 2 firms differ in" in said
    assert "not enough to tell: reveal.lined" in said
    alone = firms_text.firm_words(pd.DataFrame(), {"own": own}).text
    assert "No other firm's records" in alone


def test_what_is_noted_of_a_firm_is_said():
    jobs = desk_of(**WORLDS["reveals"]).jobs
    firms = {"own": jobs, "other": replace(jobs, notes=("other: columns not read: hue.",))}
    said = firms_text.firm_words(firm_spread(firm_table(firms)), firms).text
    assert said.endswith("\n\nNote: other: columns not read: hue.")
