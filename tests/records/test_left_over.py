"""What was left on the rolls: read, checked against the roll and the count, and said."""

import pandas as pd
import pytest

from airstats.base.errors import RecordsError
from airstats.records.reading import check_records, read_records
from tests.tables import write_csv

JOBS = pd.DataFrame(
    {
        "job_id": ["A", "B", "C"], "finished_on": ["2026-01-31", "2026-02-01", "2026-03-01"],
        "surface_m2": [260.0, 300.0, 250.0], "estimated_rolls": [4, 5, 4], "used_rolls": [5, 6, 5],
        "counted": [None, "opened", "half"], "left_m": [21.5, None, None],
        "Left diameter (cm)": [None, 14, None], "brought_m": [None, 12, None],
        "full_diameter_mm": [None, 170, None], "core_mm": [None, 80, None],
    }
).astype(object)  # fmt: skip


def source(tmp_path, **columns):
    return write_csv(tmp_path / "firm", JOBS.assign(**columns))


def test_left_and_brought_are_read_in_their_units(tmp_path):
    records = read_records(source(tmp_path))
    jobs = records.jobs
    assert jobs["left_m"].iloc[0] == 21.5
    assert jobs["left_diameter_mm"].iloc[1] == 140.0
    assert jobs["brought_m"].iloc[1] == 12.0
    assert jobs["left_m"].isna().tolist() == [False, True, True]
    assert not [
        note for note in records.notes if "rolls taken as usual" in note or "brought_m" in note
    ]


def test_what_is_taken_for_granted_is_said(tmp_path):
    folder = write_csv(tmp_path / "firm", JOBS.assign(core_mm=None).drop(columns="brought_m"))
    notes = " ".join(read_records(folder).notes)
    assert "rolls taken as usual, 170 mm across with 50 m on a core of 80 mm" in notes
    assert "is blank: 1 job. Measure three full rolls" in notes
    assert "no column brought_m: read as if nothing had come from the store (2 jobs" in notes


def test_a_small_job_may_be_done_from_the_store_alone(tmp_path):
    used = {"used_rolls": [0, 6, 5], "left_m": [4, None, None], "surface_m2": [20.0, 300, 250]}
    assert not check_records(source(tmp_path, **used, brought_m=[30, 12, None]))
    (fault,) = check_records(source(tmp_path, **used | {"left_m": None}, brought_m=None))
    assert "must be above 0" in str(fault)


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"left_m": [250, None, None]}, "left_m, value .*leaves nothing used of the 250 m"),
        ({"left_m": [-1, None, None]}, "must not be below 0; write the length in metres"),
        ({"left_m": [None, 10, None]}, "says that some 29 m are left, and left_m says otherwise"),
        ({"left_m": [None, None, 10]}, 'column counted, value "half": stands beside what was lef'),
        ({"Left diameter (cm)": [None, 18, None]}, "is more than a full roll's 170 mm; correct"),
        ({"Left diameter (cm)": [19, 14, None], "left_m": None},
         "is more than the 170 mm of a usual full roll; correct it, or measure a full roll"),
        ({"Left diameter (cm)": [None, 7, None]}, "is less than the core's 80 mm; .*write 0 in le"),
        ({"Left diameter (cm)": [None, 140, None]}, "looks like millimetres; write centim"),
        ({"full_diameter_mm": [None, 17, None]},
         "write millimetres, 170 if it is in centimetres"),
        ({"full_diameter_mm": [None, 82, None], "Left diameter (cm)": [None, 8.1, None]},
         "does not fit core_mm and roll_length_m: the sheet would be 0.0051 mm thick"),
        ({"full_diameter_mm": [None, 80, None]}, "does not fit core_mm and roll_length_m"),
        ({"full_diameter_mm": [None, None, 80], "Left diameter (cm)": None, "left_m": None},
         "does not fit core_mm and roll_length_m"),
        ({"core_mm": [None, 8, None]},
         "write millimetres, 80 if it is in centimetres"),
        ({"brought_m": [None, 9000, None]}, "is too long for what part-rolls hold"),
    ],
)  # fmt: skip
def test_fault_says_place_value_and_remedy(tmp_path, columns, message):
    folder = source(tmp_path, **columns)
    (fault,) = check_records(folder)
    with pytest.raises(RecordsError, match=message):
        read_records(folder)
    assert fault.row is not None
    assert fault.value
