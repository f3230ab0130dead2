from dataclasses import replace

import numpy as np
import pytest

from airstats.analysis.sensitivity import (
    AT_ONCE,
    NO_CAUSE,
    PUBLISHED,
    PUT_BACK,
    TO_THE_NEAREST,
    count_in_doubt,
    counted_to_the_nearest,
    fit_at_once,
    laid_wider,
    leave_each_out,
    pull_on_order,
    refit_without,
    try_conclusion,
)
from airstats.catalog.cut_patterns import CUTS
from airstats.model.allowances import unchanged
from airstats.model.posterior import allowance_names
from airstats.model.quarterly_update import calibrate, finished_jobs, run_through
from airstats.pricing.newsvendor import priced
from tests.benchmark.worlds import World, invent_firm
from tests.invented import CREW_WORLD, invent

KINDS = [World("plain", jobs=24, quarters=2), World("gross", jobs=24, quarters=2, gross_share=0.1)]


@pytest.fixture(scope="module")
def reveals():
    return finished_jobs(invent(jobs=96, factor=0.8, reveal_mm=600.0))


def test_all_at_once_is_one_step_and_true_refits_stand_beside_it(reveals):
    once = run_through(reveals, ["2025Q4"], unchanged("2025Q1")).table()["mean"]
    assert fit_at_once(reveals).table()["mean"].to_list() == pytest.approx(once.to_list())
    table = refit_without(reveals, leave_each_out(reveals), 2)
    assert len(table) == 2
    gap = (table["move"] - table["move_refit"]).abs()
    assert (gap <= 0.2 * table["move_refit"].abs() + 1e-3).all()


@pytest.mark.parametrize("world", KINDS, ids=lambda world: world.name)
def test_one_step_is_near_a_true_refit(world):
    jobs = finished_jobs(invent_firm(world, 3).records)
    whole = fit_at_once(jobs)
    influence = leave_each_out(jobs, whole).set_index("job_id")
    sd = whole.table()["sd"].to_numpy()
    tried = [*influence.index[:4], *influence.index[-2:]]
    for job in tried:
        rest = fit_at_once(jobs.where(jobs.table["job_id"].ne(job))).table()["mean"]
        true = (rest - whole.table()["mean"]).to_numpy()
        quick = influence.loc[job, list(allowance_names())].to_numpy(dtype=float)
        assert np.abs(quick - true).max() / sd[np.abs(quick - true).argmax()] < 0.15
    assert (influence["move_sd"].abs().diff().dropna() <= 1e-12).all()


def test_the_pull_on_an_order_is_what_a_true_refit_takes_off(reveals):
    influence = leave_each_out(reveals)
    table = pull_on_order(reveals, reveals, influence)
    assert table["pull_rolls"].abs().is_monotonic_decreasing
    first = table.iloc[0]
    rest = fit_at_once(reveals.where(reveals.table["job_id"].ne(first["job_id"]))).table()["mean"]
    moved = (fit_at_once(reveals).table()["mean"] - rest).to_numpy()
    names = ["laid_m2", *(f"reveal_{cut}_m2" for cut in CUTS)]
    true = float((reveals.columns(names) @ moved / reveals.pack).sum())
    assert first["pull_rolls"] == pytest.approx(true, rel=0.25)
    # Counts are exact here, so the likely use is the middle of the count.
    middle = reveals.interval.mean(axis=1)
    own = table.set_index("job_id").loc[reveals.table["job_id"]]
    over = middle - own["expected_m2"].to_numpy()
    assert (np.sign(over) == np.sign(own["departure_sd"])).all()


def test_without_a_job_that_took_more_less_sheet_is_expected():
    records = invent(jobs=24, factor=0.5)
    moves = []
    for extra in (0.0, 0.15):
        more = records.jobs["used_rolls"] + extra * (records.jobs.index == 5)
        jobs = finished_jobs(replace(records, jobs=records.jobs.assign(used_rolls=more)))
        row = leave_each_out(jobs).set_index("job_id").loc["J005"]
        moves.append(row["waste"] + 0.05 * (row["reveal.diagonal"] + row["reveal.centre"]))
    assert moves[1] < moves[0] - 0.001


def test_reveals_lead_where_they_took_the_sheet(reveals):
    table = try_conclusion(reveals, reveals, leave_each_out(reveals)).set_index("assumption")
    assert table.index[0] == AT_ONCE
    assert table["orders_changed"].iloc[0] == 0
    assert set(table["cause"][[AT_ONCE, "flat factors only"]]) == {"reveals"}
    assert len(table[~table["of_model"]]) <= 10


def test_a_crew_leads_by_its_name_and_three_jobs_show_no_cause():
    jobs = finished_jobs(invent(**CREW_WORLD))
    table = try_conclusion(jobs, jobs, leave_each_out(jobs))
    assert table["cause"].iloc[0] == "crew Damson"
    jobs = finished_jobs(invent(jobs=3, factor=0.0, reveal_mm=10.0))
    table = try_conclusion(jobs, jobs, leave_each_out(jobs))
    assert table["cause"].iloc[0] == NO_CAUSE
    assert not table["assumption"].str.startswith("without").any()


def test_laps_laid_wider_take_more_sheet_of_which_less_is_waste(reveals):
    wider = laid_wider(reveals, 20.0)
    # Rolls of 1.5 m laid with laps of 100 mm, and of 120 mm.
    ratio = wider.amount / reveals.amount
    np.testing.assert_allclose(ratio, 1.4 / 1.38)
    lapped = wider.table["lap_m2"] + wider.table["net_surface_m2"]
    np.testing.assert_allclose(lapped, wider.amount)
    table = try_conclusion(reveals, reveals, leave_each_out(reveals)).set_index("assumption")
    tried = table.loc["laps 20 mm wider than noted"]
    assert tried["waste"] < table["waste"].iloc[0] - 0.01


def test_a_dearer_roll_short_orders_more_and_rough_depths_widen(reveals):
    jobs = finished_jobs(invent_firm(KINDS[0], 3).records)
    table = try_conclusion(jobs, jobs, leave_each_out(jobs)).set_index("assumption")
    half, twice = (f"a roll short costs {words} as much" for words in ("half", "twice"))
    orders = table["order_rolls"]
    assert orders[half] < orders[AT_ONCE] < orders[twice]
    table = try_conclusion(reveals, reveals, leave_each_out(reveals)).set_index("assumption")
    rough = table.loc["reveal depths wrong by 20 mm (sd)"]
    assert rough["cause_half"] > table["cause_half"].iloc[0]


def test_a_gross_error_that_counts_in_full_changes_the_order():
    records = invent(jobs=24, factor=0.5)
    records.jobs.loc[[5, 9], "used_rolls"] += 4.0
    jobs = finished_jobs(records)
    table = try_conclusion(jobs, jobs, leave_each_out(jobs)).set_index("assumption")
    assert table.loc["no record grossly wrong", "orders_changed"] > 0


def test_rolls_counted_to_the_nearest_lie_half_a_roll_higher():
    jobs = finished_jobs(invent_firm(KINDS[0], 3).records)
    ends = ["used_low_m2", "used_high_m2"]
    np.testing.assert_allclose(
        counted_to_the_nearest(jobs).columns(ends), jobs.columns(ends) + 37.5
    )
    exact = finished_jobs(invent(jobs=8))
    np.testing.assert_allclose(counted_to_the_nearest(exact).columns(ends), exact.columns(ends))


def test_only_counts_of_which_nothing_is_said_are_doubted_and_all_where_all_are_told():
    jobs = finished_jobs(invent_firm(KINDS[0], 3).records)
    told = np.arange(len(jobs)) < 20

    def doubted(told):
        table = jobs.table.assign(count_told=told)
        return count_in_doubt(replace(jobs, table=table)).to_numpy()

    assert (doubted(told) == ~told).all()
    assert doubted(False).all()
    assert doubted(True).all()


def test_published_allowances_and_jobs_put_back_are_tried_too():
    records = invent_firm(KINDS[0], 3).records
    jobs = finished_jobs(records)
    influence = leave_each_out(jobs)
    tried = try_conclusion(
        jobs, jobs, influence, published=calibrate(records), with_excluded=jobs
    ).set_index("assumption")
    chain = calibrate(records).table()["mean"]["waste"]
    assert tried.loc[PUBLISHED, "waste"] == pytest.approx(chain)
    same = tried.loc[[AT_ONCE, PUT_BACK], "waste"]
    assert same.iloc[0] == pytest.approx(same.iloc[1])
    assert tried.loc[TO_THE_NEAREST, "waste"] > same.iloc[0] + 0.05
    assert (tried["cause_half"].dropna() >= 0).all()


def test_all_at_once_is_set_beside_what_is_published_and_the_rest_beside_it(reveals):
    start = unchanged("2025Q1")
    tried = try_conclusion(reveals, reveals, leave_each_out(reveals), published=start)
    changed = tried.set_index("assumption")["orders_changed"]
    one, other = (
        priced(reveals, known, 60, 240, 0).order_packs for known in (start, fit_at_once(reveals))
    )
    assert changed[PUBLISHED] == 0
    assert changed[AT_ONCE] == (one != other).sum() > 0
    assert changed["without the 3 most influential jobs"] < changed[AT_ONCE]
