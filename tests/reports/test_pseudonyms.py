import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from airstats.base.errors import AllowancesError
from airstats.model.allowances import load_allowances
from airstats.model.quarterly_update import calibrate
from airstats.reports.pseudonyms import code_names, coded_allowances, coded_records, coded_sources
from tests.invented import CREWS, invent, keep

MARKER = "Zyxwv"


def marked(jobs=24, seed=3):
    """Invented records in which every name and free text bears a marker."""
    records = invent(jobs=jobs, seed=seed)
    shuffled = np.random.default_rng(seed).permutation(jobs)
    houses = [f"{MARKER} house {n:02d}" for n in shuffled]
    names = dict(zip(records.jobs["job_id"], houses, strict=True))
    table = records.jobs.assign(
        job_id=records.jobs["job_id"].map(names),
        crew=MARKER + " " + records.jobs["crew"],
        work_type=f"{MARKER} kind",
        exclude=np.where(np.arange(jobs) == 3, f"lent to {MARKER}", ""),
        client=f"{MARKER} family",
    )
    openings = records.openings.assign(
        job_id=records.openings["job_id"].map(names), mark=f"{MARKER} room", note=MARKER
    )
    aside = pd.DataFrame({"table": ["jobs"], "row": [9], "reason": [MARKER], "job_id": [MARKER]})
    return replace(
        records, jobs=table, openings=openings, set_aside=aside, source=MARKER, notes=(MARKER,)
    )


def text_of(records):
    parts = [records.jobs, records.openings, records.materials, records.set_aside]
    held = "".join(part.to_csv() for part in parts)
    return held + records.source + records.digest + str(records.notes) + str(records.faults)


@pytest.fixture(scope="module")
def coded():
    return coded_sources(marked())[0]


def test_openings_stay_with_their_job(coded):
    before = marked()
    codes = code_names(before)
    held = before.openings.set_index("job_id")["count"]
    shown = coded.openings.set_index("job_id")["count"]
    assert {codes.of("job_id", name): n for name, n in held.items()} == shown.to_dict()


def test_names_go_and_numbers_stay(coded):
    assert MARKER in text_of(marked())
    assert MARKER not in text_of(coded)
    assert "client" not in coded.jobs
    assert "note" not in coded.openings
    assert sorted(coded.jobs["surface_m2"]) == sorted(marked().jobs["surface_m2"])
    assert coded.jobs["roll_price"].eq(150).all()
    assert coded.jobs["exclude"].to_list().count("excluded") == 1
    assert coded.set_aside.to_dict("list") == {"table": ["jobs"], "row": [9], "reason": ["faulty"]}
    # Codes follow the day of finishing, and rows follow the codes.
    assert coded.jobs["job_id"].to_list() == [f"J{n:03d}" for n in range(1, 25)]
    assert coded.jobs["finished_on"].is_monotonic_increasing


def test_codes_follow_the_quarter_where_no_day_is_told():
    records = invent(jobs=24)
    blank = replace(records, jobs=records.jobs.iloc[::-1].assign(finished_on=pd.NaT))
    coded = coded_records(blank, code_names(blank)).jobs
    assert coded["quarter"].is_monotonic_increasing


def test_within_a_day_neither_names_nor_rows_set_the_order():
    before = marked()
    codes = code_names(before)
    same_day = before.jobs[before.jobs["quarter"].eq("2025Q1")]["job_id"]
    by_code = sorted(same_day, key=lambda name: codes.of("job_id", name))
    assert by_code != sorted(same_day)
    assert by_code != list(same_day)
    turned = replace(before, jobs=before.jobs.iloc[::-1].reset_index(drop=True))
    assert code_names(turned).by_column["job_id"] == codes.by_column["job_id"]


def test_later_jobs_leave_earlier_codes_as_they_were():
    whole = marked()
    early = keep(whole, whole.jobs["quarter"].lt("2025Q4"))
    before, after = code_names(early).by_column["job_id"], code_names(whole).by_column["job_id"]
    assert before.items() <= after.items()
    assert len(after) > len(before)


def test_a_takeoff_shares_codes_and_adds_its_own():
    past, ahead = marked(), marked(jobs=8, seed=5)
    ahead = replace(ahead, jobs=ahead.jobs.assign(finished=False))
    done, _, to_price = coded_sources(past, None, ahead)
    codes = code_names(past, None, ahead)
    shared = set(past.jobs["job_id"]) & set(ahead.jobs["job_id"])
    assert shared
    assert {codes.of("job_id", name) for name in shared} <= set(done.jobs["job_id"])
    assert MARKER not in text_of(to_price)
    assert to_price.source == "coded takeoff"


def test_codes_change_no_allowance(coded):
    plain, hidden = calibrate(marked()), calibrate(coded)
    pd.testing.assert_frame_equal(plain.table(), hidden.table(), rtol=1e-6)
    assert MARKER not in hidden.to_text()
    assert set(json.loads(hidden.to_text())["crews"]) == {"C1", "C2", "C3", "C4"}


def test_coded_allowances_keep_each_crew_with_its_numbers():
    records = marked()
    known = calibrate(records)
    codes = code_names(records, known)
    hidden = coded_allowances(replace(known, decision={"decision": "accept", "by": MARKER}), codes)
    assert MARKER not in hidden.to_text()
    assert list(hidden.belief.crews) == sorted(hidden.belief.crews)
    for crew in CREWS:
        name = f"{MARKER} {crew}"
        shown = hidden.crew_table().loc[codes.of("crew", name)]
        assert shown["mean"] == pytest.approx(known.crew_table().loc[name]["mean"])
        assert shown["jobs"] == known.crew_table().loc[name]["jobs"]
    assert len(set(hidden.job_ids)) == len(known.job_ids)


def test_a_coded_update_is_the_update_with_names():
    records = marked()
    before = calibrate(keep(records, records.jobs["quarter"].lt("2025Q4")))
    plain = calibrate(records, before, "2025Q4")
    hidden_records, hidden_before, _ = coded_sources(records, before)
    hidden = calibrate(hidden_records, hidden_before, "2025Q4")
    pd.testing.assert_frame_equal(plain.table(), hidden.table(), rtol=1e-6)
    assert len(hidden.new_jobs) == len(plain.new_jobs) == 6


def test_jobs_that_only_the_previous_file_names_get_codes_too():
    records = marked()
    known = calibrate(records)
    later = keep(records, records.jobs["quarter"].eq("2025Q4"))
    codes = code_names(later, known)
    assert set(known.job_ids) <= set(codes.by_column["job_id"])
    assert MARKER not in coded_allowances(known, codes).to_text()


def test_coded_allowances_are_no_start_for_the_next_quarter(tmp_path, coded):
    calibrate(coded).save(tmp_path / "coded.json")
    known = load_allowances(tmp_path / "coded.json")
    with pytest.raises(AllowancesError, match=r"written with codes.*give the file of the same"):
        coded_sources(marked(), known)
    with pytest.raises(AllowancesError, match=r"written with codes.*give the file of the same"):
        calibrate(marked(), known)


def test_the_key_undoes_the_codes_and_what_has_no_name_has_none():
    records = marked()
    codes = code_names(records)
    key = codes.key().query("column == 'job_id'").set_index("code")["name"]
    shown = coded_records(records, codes).jobs["job_id"].map(key)
    assert set(shown) == set(records.jobs["job_id"])
    records = invent(jobs=12)
    nameless = replace(records, jobs=records.jobs.assign(crew=""))
    hidden = coded_sources(replace(nameless, openings=records.openings.assign(mark="summary")))[0]
    assert hidden.jobs["crew"].eq("").all()
    assert hidden.openings["mark"].eq("summary").all()
