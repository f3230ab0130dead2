"""Pictures of the openings: what they show, and that they change with the data."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PathCollection
from matplotlib.colors import to_rgb

from airstats.catalog.cut_patterns import CUTS
from airstats.pricing.cut_prices import CutCosts, CutTerms
from airstats.pricing.firm_cuts import cut_map, cut_terms, opening_plan
from airstats.records.reading import read_records
from airstats.reports import cuts_charts
from airstats.reports.house_style import ACCENT
from tests.invented import desk_of
from tests.pages import assert_drawn, words_on
from tests.text_on_pictures import text_faults

# Nothing costs but the flaps, so that the cut without any is cheapest everywhere.
FLAPS_ONLY = CutTerms(CutCosts(0, 0, 0, 0, 1, 0, 60))


@pytest.fixture(scope="module")
def records():
    return desk_of(jobs=12).records


@pytest.fixture(scope="module")
def terms(records):
    return cut_terms(records, desk_of(jobs=12).now)


@pytest.fixture(scope="module")
def plan(records, terms):
    return opening_plan(records, terms)


@pytest.fixture(scope="module")
def pictures(records, terms, plan):
    made = [
        cuts_charts.opening(plan.iloc[0]),
        *cuts_charts.cut_sheets(plan),
        cuts_charts.cut_map(cut_map(records, terms), records.openings),
    ]
    return {picture.name: picture for picture in made}


def test_every_picture_has_words_and_numbers_and_is_not_blank(pictures):
    assert sorted(pictures) == ["cut_map", "cut_sheet", "opening"]
    for picture in pictures.values():
        assert_drawn(picture)


def test_an_opening_is_drawn_as_recommended_or_as_asked(plan):
    row = plan.iloc[0]
    assert row["recommended_cut"] == "centre"
    assert f"slit {row['slit']}" in cuts_charts.opening(row).alt
    assert "lined" in cuts_charts.opening(row, "lined").alt
    assert "in two parts" not in cuts_charts.opening(row).alt
    square = row.copy()
    square[["width_mm", "height_mm", "reveal_mm", "halves"]] = 1200.0, 1200.0, 200.0, True
    assert "in two parts" in cuts_charts.opening(square).alt


def test_the_map_names_each_part_and_draws_its_break_even(records, terms):
    grid = cut_map(records, terms)
    figure = cuts_charts.cut_map(grid, records.openings).figure
    texts = [text.replace("\n", " ") for text in words_on(figure)]
    for name in ("slit", "corner to corner", "lined"):
        assert name in texts
    heavy = [c for c in figure.axes[0].collections if 2.6 in np.ravel(c.get_linewidth())]
    assert len(heavy) == 3
    share = (grid["cheapest_cut"] == "centre").mean()
    assert f"slit in {100 * share:.0f} %" in cuts_charts.describe_cut_map(grid)


def test_the_map_shows_the_firms_openings_and_no_break_even_where_one_cut_leads(records, terms):
    grid = cut_map(records, FLAPS_ONLY)
    assert set(grid["cheapest_cut"]) == {"lined"}
    figure = cuts_charts.cut_map(grid, records.openings).figure
    assert "lined" in words_on(figure)
    assert not [c for c in figure.axes[0].collections if 2.6 in np.ravel(c.get_linewidth())]
    grid = cut_map(records, terms)
    axes = cuts_charts.cut_map(grid, records.openings).figure.axes[0]
    assert dots_on(axes) == [[pytest.approx(1.7), 350]]
    bare = cuts_charts.cut_map(grid, records.openings.iloc[:0]).figure.axes[0]
    assert dots_on(bare) == []


def dots_on(axes):
    dots = [part for part in axes.collections if isinstance(part, PathCollection)]
    return [place for part in dots for place in part.get_offsets().tolist()]


def test_parts_of_the_map_differ_in_grey_and_by_hatch():
    # Rec. 709 luma, the usual conversion to grey (value from memory).
    greys = [np.dot(to_rgb(cut.tone), [0.2126, 0.7152, 0.0722]) for cut in CUTS.values()]
    assert np.diff(np.sort(greys)).min() > 0.1
    assert len({cut.hatch for cut in CUTS.values()}) == len(CUTS)


def test_the_cut_sheet_draws_every_kind_with_its_size(plan, pictures):
    figure = pictures["cut_sheet"].figure
    assert len([axes for axes in figure.axes if axes.patches]) == len(plan) == 12
    assert figure.texts[0].get_text().splitlines() == [
        "J000 W1 *", f"{plan['count'].iloc[0]}×, 350 deep", "1200 × 1400"
    ]  # fmt: skip
    # The paper itself has no accent: what is to be cut otherwise than noted bears it, and a star.
    other = plan["recommended_cut"].ne(plan["cut_pattern"]).tolist()
    assert set(other) == {True, False}
    assert [" *\n" in text.get_text() for text in figure.texts] == other
    assert [text.get_color() == ACCENT for text in figure.texts] == other
    assert "brick and *: to be cut otherwise than noted" in figure.legends[0].get_title().get_text()
    same = cuts_charts.cut_sheets(plan[~pd.Series(other, plan.index)])[0].figure
    assert "*" not in same.legends[0].get_title().get_text()
    key = [text.get_text() for text in figure.legends[0].get_texts()]
    assert {"Cut in the sheet", "Flap, folded into the reveal"} < set(key)
    assert "Infill from fresh sheet" not in key
    assert pictures["cut_sheet"].data["pieces"].str.contains("mm").any()
    many = cuts_charts.cut_sheets(plan.sample(50, replace=True, random_state=1))
    assert [len(picture.data) for picture in many] == [42, 8]
    assert [picture.name for picture in many] == ["cut_sheet", "cut_sheet_2"]
    assert "43 to 50 of 50 kinds." in many[1].alt
    figure = many[0].figure
    figure.draw_without_rendering()
    boxes = [text.get_window_extent() for text in figure.texts]
    assert not any(a.overlaps(b) for n, a in enumerate(boxes) for b in boxes[n + 1 :])
    drawn = [axes.get_window_extent() for axes in figure.axes]
    assert not any(words.overlaps(box) for words in boxes for box in drawn)


def test_no_line_and_no_dot_runs_through_a_figure_of_the_map():
    records = read_records(Path(__file__).parents[2] / "data" / "demo")
    for price in (2.19, 3.0):
        terms = CutTerms(CutCosts(sheet_price_m2=price), reuse_share=0.47)
        picture = cuts_charts.cut_map(cut_map(records, terms), records.openings)
        assert text_faults(picture.svg()) == []
