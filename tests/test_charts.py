import io

import matplotlib.image
import numpy as np
import pandas as pd
import pytest

from airstats import charts, charts_evidence
from airstats.backtest import backtest
from airstats.comparison import crew_comparison
from airstats.cutting import cut_map, cut_terms, opening_plan
from airstats.desk import lay_out
from airstats.evidence import plain_regression, regression_frame
from airstats.orders import order_costs, roll_chances
from airstats.overrun import split_overrun
from airstats.screen import HEADINGS, Table, Words, show_table
from tests.invented import invent


@pytest.fixture(scope="module")
def desk():
    return lay_out(invent())


@pytest.fixture(scope="module")
def pictures(desk):
    orders = order_costs(desk.takeoff, desk.now, 60, 240)
    terms = cut_terms(desk.records, desk.now)
    plan = opening_plan(desk.records, terms)
    made = [
        charts.cascade(split_overrun(desk.jobs, desk.now)),
        charts.crews(crew_comparison(desk.jobs, desk.now)),
        charts.allowance_paths(desk.chain),
        charts.roll_chances(roll_chances(desk.takeoff, desk.now), orders),
        charts.opening(plan.iloc[0]),
        charts.cut_map(cut_map(terms)),
        charts_evidence.residuals(plain_regression(regression_frame(desk.jobs))),
        charts_evidence.backtest_costs(backtest(desk.records)),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers(pictures):
    assert len(pictures) == 8
    for picture in pictures.values():
        assert len(picture.alt) > 30
        assert not picture.data.empty
        data, about = picture._repr_mimebundle_()
        assert about["image/png"]["alt"] == picture.alt
        assert about["image/png"]["csv"].count("\n") == len(picture.data) + 1
        assert data["text/plain"] == f"Picture: {picture.alt}"


def test_a_picture_is_the_same_on_every_run(desk):
    one, other = (charts.cascade(split_overrun(desk.jobs, desk.now)).png() for _ in range(2))
    assert one == other


def test_pictures_are_drawn_wide_enough_and_not_blank(pictures):
    for picture in pictures.values():
        pixels = matplotlib.image.imread(io.BytesIO(picture.png()))
        assert pixels.shape[1] > 800
        assert pixels[:, :, :3].std() > 0.05


def test_colours_differ_in_grey():
    from matplotlib.colors import to_rgb

    weights = np.array([0.2126, 0.7152, 0.0722])
    tones = sorted(weights @ to_rgb(c) for c in (charts.BLUE, charts.GREY, charts.ORANGE))
    assert np.diff(tones).min() > 0.12


def test_cascade_ends_at_the_overrun(desk, pictures):
    over = (desk.jobs.table["used_rolls"] - desk.jobs.table["estimated_rolls"]).sum()
    bar = pictures["causes"].figure.axes[0].patches[-1]
    assert bar.get_width() == pytest.approx(over, abs=0.3)


def test_cascade_names_causes_that_take_and_causes_that_give():
    split = pd.DataFrame(
        {
            "group": "all jobs",
            "cause": ["waste", "already_priced"],
            "mean": [12.0, -20.0],
            "sd": [1.0, 0.0],
            "low": [10.0, -20.0],
            "high": [14.0, -20.0],
        }
    )
    alt = charts.cascade(split).alt
    assert "+12" in alt
    assert "−20" in alt
    assert alt.endswith("together −8.0.")


def test_roll_chances_add_to_one_for_each_job(pictures):
    sums = pictures["rolls"].data.groupby("job_id")["probability"].sum()
    assert sums.to_numpy() == pytest.approx(1, abs=0.02)


def test_many_jobs_are_cut_short_and_said():
    desk = lay_out(invent(jobs=60))
    orders = order_costs(desk.takeoff, desk.now, 60, 240)
    picture = charts.roll_chances(roll_chances(desk.takeoff, desk.now), orders)
    assert f"First 12 of {len(orders)} jobs." in picture.alt
    assert picture.data["job_id"].nunique() == 12


def test_a_table_has_scopes_caption_and_units(desk):
    html = show_table(desk.quarter_jobs().table, "Jobs", "job_id laid_m2")._repr_html_()
    assert html.count('<th scope="col"') == 2
    assert "<caption>Jobs</caption>" in html
    assert "laid, m²" in html


def test_a_table_reads_the_same_on_every_run(desk):
    shown = [show_table(desk.quarter_jobs().table, "Jobs", "job_id crew") for _ in range(2)]
    assert shown[0]._repr_html_() == shown[1]._repr_html_()
    assert "0x" not in repr(shown[0])


def test_missing_cells_are_dashes_and_text_is_escaped():
    frame = pd.DataFrame({"job_id": ["<b>A</b>"], "saving": [np.nan]})
    html = Table(frame, "Jobs")._repr_html_()
    assert "&lt;b&gt;A&lt;/b&gt;" in html
    assert "–" in html


def test_an_empty_table_is_a_sentence():
    shown = show_table(pd.DataFrame({"job_id": []}), "Records that are probably wrong")
    assert isinstance(shown, Words)
    assert shown.text == "Records that are probably wrong: none."


def test_headings_of_money_rolls_and_areas_name_their_unit():
    for name, (heading, _) in HEADINGS.items():
        for unit, word in (("_rolls", "rolls"), ("_mm", "mm"), ("_m2", "m²")):
            if name.endswith(unit):
                assert word in heading, name
