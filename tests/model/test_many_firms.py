"""Many firms at once: the same allowances wherever they are worked out; faults named, not fatal."""

import pandas as pd
import pytest

import airstats
from airstats.base.errors import AirstatsError
from airstats.model.many_firms import calibrate_many
from tests.invented import invent, save


@pytest.fixture(scope="module")
def firms(tmp_path_factory):
    """Three firms' folders, and one whose records will not do."""
    folder = tmp_path_factory.mktemp("firms")
    places = {
        name: save(folder / name, invent(jobs=8, factor=factor, seed=seed))
        for seed, (name, factor) in enumerate({"north": 0.3, "south": 0.6, "west": 0.9}.items())
    }
    places["east"] = save(folder / "east", invent(jobs=8))
    openings = places["east"] / "openings.csv"
    openings.write_text(openings.read_text().replace("350.0", "-350"))
    return places


@pytest.fixture(scope="module")
def one_by_one(firms):
    good = [name for name in firms if name != "east"]
    return {n: airstats.calibrate(airstats.read_records(firms[n])).to_text() for n in good}


@pytest.fixture(scope="module")
def here(firms):
    return airstats.calibrate_many(firms, workers=1)


def texts(result):
    return {name: known.to_text() for name, known in result.allowances.items()}


def test_the_same_bytes_on_one_process_and_on_two(firms, here, one_by_one):
    for result in (here, airstats.calibrate_many(firms, workers=2)):
        assert texts(result) == one_by_one
        assert list(result.faults) == ["east"]
        assert "openings.csv, column reveal_mm, 8 times, first:\n  row 2" in result.faults["east"]


def test_the_same_bytes_on_a_dask_cluster(firms, one_by_one):
    distributed = pytest.importorskip(
        "distributed", reason="dask is not installed: pip install 'airstats[cluster]'"
    )
    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=2, dashboard_address=None) as one,
        distributed.Client(one) as client,
    ):
        result = calibrate_many(firms, client=client)
        assert len(client.scheduler_info()["workers"]) == 1
    assert texts(result) == one_by_one
    assert list(result.faults) == ["east"]


def test_paths_and_records_have_their_own_names(firms, one_by_one):
    result = calibrate_many([firms["north"], firms["east"]], workers=1)
    assert list(result.allowances) == [str(firms["north"])]
    assert list(result.faults) == [str(firms["east"])]
    records = airstats.read_records(firms["south"])
    assert texts(calibrate_many([records])) == {"south": one_by_one["south"]}
    with pytest.raises(AirstatsError, match="south: two sources have this name; give a dict"):
        calibrate_many([records, records])


def test_missing_folders_and_lost_work_are_faults_of_that_firm_alone(firms, tmp_path, monkeypatch):
    result = calibrate_many({"gone": tmp_path / "gone", "north": firms["north"]}, workers=1)
    assert list(result.allowances) == ["north"]
    assert "There is no file or folder" in result.faults["gone"]

    class Lost:
        def exception(self):
            return MemoryError("the worker ran out")

    class Client:
        def submit(self, work, source, pure):
            return Lost()

    result = calibrate_many({"north": firms["north"]}, client=Client())
    assert result.faults == {"north": "the work was lost: the worker ran out"}
    assert result.allowances == {}
    assert result.table().empty


def test_one_quarter_and_rows_set_aside(firms):
    result = calibrate_many(firms, workers=1, quarter="2025Q2")
    assert {known.quarter for known in result.allowances.values()} == {"2025Q2"}
    assert {len(known.job_ids) for known in result.allowances.values()} == {4}
    late = airstats.calibrate_many(firms, workers=1, quarter="2026Q1")
    assert "2026Q1: the records hold no finished job of this quarter" in late.faults["north"]
    one_bad = firms["west"].with_name("one bad")
    records = invent(jobs=8)
    records.openings.loc[2, "reveal_mm"] = -5
    save(one_bad, records)
    assert calibrate_many([one_bad]).faults
    (known,) = calibrate_many([one_bad], set_aside_bad_rows=True).allowances.values()
    assert len(known.job_ids) == 7


def test_the_table_has_a_row_an_allowance_and_firm(here):
    table = here.table()
    assert list(table.columns) == ["firm", "allowance", "mean", "sd", "low", "high", "unit", "jobs"]
    assert list(table["firm"].drop_duplicates()) == ["north", "south", "west"]
    own = table[table["firm"] == "west"].set_index("allowance")["mean"]
    known = here.allowances["west"].table()["mean"]
    pd.testing.assert_series_equal(own, known, check_names=False)
