from functools import cache

import numpy as np
import pytest

from airstats.pricing.newsvendor import priced
from airstats.reports import price_charts
from airstats.reports.price_text import order_of
from tests.invented import desk_of
from tests.pages import assert_drawn, words_on


@cache
def ordered(jobs):
    """The order for the first jobs of a firm; nobody may change it."""
    desk = desk_of(jobs=12)
    return order_of(priced(desk.jobs.where(np.arange(jobs)), desk.now, 60, 240))


def chances(order):
    return price_charts.roll_chances(order.chances, order.jobs, order.totals, order.pooled)


def costs(order):
    return price_charts.order_costs(order.costs, order.jobs, order.totals, order.pooled, "EUR")


@pytest.mark.parametrize(("jobs", "panels"), [(1, 1), (2, 3), (10, 11), (12, 11)])
@pytest.mark.parametrize("draw", [chances, costs])
def test_all_jobs_together_and_the_ten_largest_have_a_panel(draw, jobs, panels):
    order = ordered(jobs)
    picture = draw(order)
    titles = [axes.get_title(loc="left") for axes in picture.figure.axes]
    assert len(titles) == panels
    if jobs > 1:
        assert titles[0] == f"All from one store: order {order.pooled['pooled_rolls'].iloc[0]}"
    shown = order.jobs.nlargest(10, "order_rolls")["order_rolls"].min()
    assert min(int(title.split()[-1]) for title in titles) >= shown
    assert (f"The 10 largest of {jobs} jobs." in picture.alt) == (jobs > 10)
    assert set(order.jobs["job_id"]) <= set(picture.data["job_id"])
    assert_drawn(picture)


@pytest.mark.parametrize("draw", [costs, chances])
def test_the_same_order_gives_the_same_picture(draw):
    order = ordered(3)
    assert draw(order).svg() == draw(order).svg()


def test_the_least_cost_is_marked_and_what_a_roll_more_or_less_adds_is_written():
    order = ordered(3)
    picture = costs(order)
    for axes, row in zip(picture.figure.axes[1:], order.jobs.itertuples(), strict=True):
        line, least = axes.lines[:2]
        assert least.get_xdata()[0] == row.order_rolls
        assert least.get_ydata()[0] == min(line.get_ydata()) == pytest.approx(row.cost_order)
        written = [text.get_text() for text in axes.texts]
        assert written[:2] == [
            f"+{row.cost_fewer - row.cost_order:.0f}", f"+{row.cost_more - row.cost_order:.0f}"
        ]  # fmt: skip
    pooled = order.pooled.iloc[0]
    assert f"{pooled['pooled_cost']:.0f}" in words_on(picture.figure)
    assert "expected cost in EUR" in picture.figure._supxlabel.get_text()


def test_bars_beyond_the_order_are_hatched():
    order = ordered(3)
    axes = chances(order).figure.axes[0]
    hatched = [bar.get_x() + bar.get_width() / 2 for bar in axes.patches if bar.get_hatch()]
    assert min(hatched) == pytest.approx(order.pooled["pooled_rolls"].iloc[0] + 1)


def test_no_words_of_a_panel_touch_those_of_another():
    figure = chances(ordered(12)).figure
    figure.draw_without_rendering()
    boxes = [axes._left_title.get_window_extent() for axes in figure.axes]
    for place, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[place + 1 :])
