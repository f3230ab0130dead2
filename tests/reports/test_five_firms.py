"""The five firms are what their names say: held by their truth, before any page is read."""

from tests.reports.five_firms import FIRMS, five_desk, flat_dearer, truth_of


def test_each_firm_is_what_its_name_says():
    truth = {name: truth_of(name) for name in FIRMS}
    reveals, crew = truth["reveals dominate"], truth["a crew wastes"]
    assert abs(reveals["over"] - reveals["reveals_over"]) < 0.1 * reveals["over"]
    assert abs(crew["over"] - crew["crew"]) < 0.1 * crew["over"]
    assert abs(truth["nothing to find"]["over"]) < 1
    assert truth["nothing to find"]["reveals"] > 10
    assert truth["a flat share is as good"]["reveals_over"] > 10
    assert len(five_desk("three jobs only").jobs) == 3


def test_where_a_flat_share_is_dearer_and_where_as_good():
    assert flat_dearer("reveals dominate") > 5
    assert flat_dearer("a crew wastes") > 5
    assert abs(flat_dearer("a flat share is as good")) < 1
