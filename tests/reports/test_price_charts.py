from itertools import pairwise

import numpy as np
import pytest

from airstats.pricing.newsvendor import priced
from airstats.pricing.order_costs import order_costs
from airstats.pricing.order_costs import roll_chances as chances_of
from airstats.pricing.pooled_order import pooled_chances as sums_of
from airstats.pricing.pooled_order import pooled_orders
from airstats.reports.price_charts import MOST_ROWS, REACH, from_order, pooled_chances, roll_chances
from tests.invented import desk_of
from tests.pages import assert_drawn


def drawn(desk, jobs):
    takeoff = desk.jobs.where(np.arange(jobs))
    orders = order_costs(priced(takeoff, desk.now, 60, 240))
    return orders, roll_chances(chances_of(priced(takeoff, desk.now)), orders)


@pytest.mark.parametrize(("jobs", "axes"), [(1, 1), (10, 12), (40, 1), (70, 1)])
def test_one_ten_and_forty_jobs_are_drawn_and_worded(desk, jobs, axes):
    orders, picture = drawn(desk, jobs)
    assert len(picture.figure.axes) == axes
    sums = picture.data.groupby("job_id")["probability"].sum()
    assert sums.to_numpy() == pytest.approx(1, abs=0.02)
    assert len(sums) == min(jobs, MOST_ROWS)
    assert f"{orders['job_id'][0]} {orders['order_rolls'][0]} (short" in picture.alt
    assert (f"First {MOST_ROWS} of 70 jobs." in picture.alt) == (jobs == 70)
    assert_drawn(picture)


def test_forty_jobs_are_the_same_on_every_run_without_overlap(desk):
    figure = drawn(desk, 40)[1].figure
    figure.draw_without_rendering()
    labels = [label.get_window_extent() for label in figure.axes[0].get_yticklabels()]
    assert all(label.x0 >= 0 for label in labels)
    assert not any(one.overlaps(other) for one, other in pairwise(labels))
    assert drawn(desk, 14)[1].png() == drawn(desk, 14)[1].png()


def test_chances_of_many_jobs_stand_beside_their_orders(desk):
    takeoff = desk.jobs.where(np.arange(30))
    orders, chances = (
        order_costs(priced(takeoff, desk.now, 60, 240)),
        chances_of(priced(takeoff, desk.now)),
    )
    table = from_order(chances, orders)
    assert list(table.index) == list(orders["job_id"])
    late = table[[step for step in table.columns if step > 0]].sum(axis=1).to_numpy()
    assert late == pytest.approx(orders["chance_short"].to_numpy(), abs=0.011)
    far = chances.assign(rolls=chances["rolls"] + 50)
    assert from_order(far, orders).columns.max() == REACH


def test_the_pooled_picture_marks_both_orders(desk):
    takeoff = desk.jobs.where(np.arange(12))
    pooled = pooled_orders(priced(takeoff, desk.now, 60, 240))
    picture = pooled_chances(sums_of(priced(takeoff, desk.now)), pooled)
    row = pooled.iloc[0]
    assert f"order {row['pooled_rolls']} against {row['single_rolls']} job by job" in picture.alt
    assert picture.data["probability"].sum() == pytest.approx(1, abs=0.01)
    hatched = [bar for bar in picture.figure.axes[0].patches if bar.get_hatch()]
    assert min(bar.get_x() + bar.get_width() / 2 for bar in hatched) > row["pooled_rolls"] - 0.01


@pytest.fixture(scope="module")
def desk():
    return desk_of(jobs=80)
