"""The order of least cost against textbook newsvendor examples."""

import numpy as np
from scipy.stats import norm

from airstats.model.normal_mixture import Mixture
from airstats.pricing.newsvendor import critical_share, expected_cost, packs_for_share
from tests.external_checks import agree


def normal(mean, sd):
    return Mixture(np.ones(1), np.array([[float(mean)]]), np.array([[float(sd)]]))


def test_quantity_and_cost_of_a_normal_need():
    """Snyder & Shen, example 4.3: holding .18, penalty .70, N(50, 8); published values seen."""
    share = critical_share(leftover_cost=0.18, short_cost=0.70)
    agree("newsvendor.quantity", normal(50, 8).quantile(share))
    # The same example: cost 1.997605. Rolls of 0.01 stand in for a continuous quantity.
    roll = np.array([0.01])
    need = normal(50, 8)
    order = packs_for_share(need, roll, critical_share(0.18, 0.70))
    cost = expected_cost(need, roll, order, 0.18 * 0.01, 0.70 * 0.01)
    agree("newsvendor.cost", cost)


def test_news_stand():
    """Nahmias's news-stand: N(11.73, 4.74), under .50, over .15; from memory.

    The book reads z = .74 from its table, hence 15.24, and rounds to the nearest copy, 15; the
    quantity is 15.2201. A job's need is rounded up to whole rolls, so 16 is the least number that
    covers the wanted share, and it costs less than 15.
    """
    share = critical_share(leftover_cost=0.15, short_cost=0.50)
    agree("newsstand.share", share)
    need, roll = normal(11.73, 4.74), np.ones(1)
    agree("newsstand.quantity", need.quantile(share), norm.ppf(0.50 / 0.65, 11.73, 4.74))
    assert packs_for_share(need, roll, share) == [16]
    cost = [expected_cost(need, roll, np.array([n]), 0.15, 0.50)[0] for n in (15, 16, 17)]
    assert np.argmin(cost) == 1


def test_discrete_need():
    """Need of 15, 16, 17 or 18 with probabilities .4, .2, .3, .1, both costs 1: order 16.

    Costs 1.1, .9, 1.1, 1.9; computed by two implementations. A need of n whole rolls is a narrow
    normal just below n.
    """
    rolls = np.array([15.0, 16.0, 17.0, 18.0])
    need = Mixture(np.array([0.4, 0.2, 0.3, 0.1]), rolls[:, None] - 0.5, np.full((4, 1), 1e-3))
    one = np.ones(1)
    assert packs_for_share(need, one, critical_share(1.0, 1.0)) == [16]
    cost = [expected_cost(need, one, np.array([n]), 1.0, 1.0)[0] for n in (15, 16, 17, 18)]
    agree("discrete.cost", cost)
