"""The picture of tape and corners: a bar a cause, each named with its number."""

import numpy as np
import pandas as pd
import pytest

from airstats.analysis.material_jobs import MATERIAL_CAUSE_WORDS
from airstats.reports.materials_charts import material_causes

MEANS = [30.0, -10.0, 38.0, 1.0, 1.0]


@pytest.fixture
def table():
    own = pd.DataFrame({"cause": list(MATERIAL_CAUSE_WORDS), "mean_packs": MEANS})
    own = own.assign(low_packs=own["mean_packs"] - 4, high_packs=own["mean_packs"] + 4)
    parts = [own.assign(material=name) for name in ("frame tape", "sealant")]
    return pd.concat(parts, ignore_index=True)


def test_each_material_has_a_panel_and_each_cause_a_bar(table):
    figure = material_causes(table).figure
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["frame tape", "sealant"]
    for axes in figure.axes:
        assert [bar.get_width() for bar in axes.patches] == MEANS
        assert len({bar.get_facecolor() for bar in axes.patches}) == 3
        assert [text.get_text() for text in axes.texts][:2] == ["30 ± 4", "−10 ± 4"]


def test_the_words_hold_every_number_and_change_with_the_table(table):
    alt = material_causes(table).alt
    assert "Frame tape: used less priced 30 ± 4, needed by the openings less priced −10 ± 4" in alt
    assert "Sealant: " in alt
    assert material_causes(table.assign(mean_packs=2.0)).alt != alt


def test_one_job_has_no_whisker_on_the_whole(table):
    first = table["cause"].eq("overrun")
    bare = table.assign(low_packs=table["low_packs"].where(~first, np.nan),
                        high_packs=table["high_packs"].where(~first, np.nan))  # fmt: skip
    picture = material_causes(bare)
    assert picture.png()
    assert "used less priced 30, " in picture.alt
