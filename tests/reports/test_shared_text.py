import re

import pandas as pd
import pytest

from airstats.base.errors import RecordsError
from airstats.base.number_text import (
    chance,
    counted,
    give_or_take,
    in_percent,
    listed,
    number,
    roughly,
)
from airstats.reports import shared_text
from airstats.reports.desk import lay_out
from tests.invented import desk_of, invent


def test_suspects_are_named_with_their_probability(nothing):
    records = invent(priced_reveals=True)
    records.jobs.loc[5, "used_rolls"] += 3
    said = shared_text.suspect_words(lay_out(records)).text
    assert re.search(r"Look at J005 \(2025Q1, (over )?\d+ %\); in brackets the chance", said)
    assert shared_text.suspect_words(nothing).text.startswith("No record looks wrong")


def test_later_jobs_are_counted_and_a_quarter_before_the_first_is_refused():
    early = desk_of("2025Q2")
    assert len(early.jobs) == 24
    assert "24 later jobs not looked at" in shared_text.data_words(early).text
    one = shared_text.data_words(lay_out(invent(jobs=3), "2025Q1")).text
    assert "1 job of 2025Q1 from invented is used; 2 later jobs not looked at. Digest" in one
    all_used = shared_text.data_words(lay_out(invent(jobs=3, quarters=1))).text
    assert "are used; none is excluded or set aside. Digest" in all_used
    with pytest.raises(RecordsError, match="no job was finished up to 2024Q4; the first is of"):
        lay_out(invent(jobs=12), "2024Q4")


def test_numbers_are_written_alike():
    assert [number(v) for v in (19.4, 1.26, -0.04, -1234.5)] == ["19", "1.3", "0.0", "−1,234"]
    assert give_or_take(pd.Series({"mean": 19.2, "low": 15.2, "high": 23.2}), "rolls") == (
        "19 ± 4 rolls"
    )
    assert give_or_take(pd.Series({"mean": 0.46, "low": 0.1, "high": 0.9})) == "0.5 ± 0.4"
    assert give_or_take(pd.Series({"mean": 35.8, "low": 35.8, "high": 35.8}), "rolls") == "36 rolls"
    shares = pd.Series({"mean": 0.06, "low": 0.03, "high": 0.09})
    assert in_percent(shares) == "6.0 ± 3.0 %"
    assert [chance(share) for share in (0.594, 0.999)] == ["59 %", "over 99 %"]
    assert [roughly(v) for v in (9164, -1234, 31.2, 9.96, 0.456, 0)] == [
        *("9,200", "−1,200", "31", "10", "0.46", "0"),
    ]
    assert (counted(1, "job"), counted(1200, "job")) == ("1 job", "1,200 jobs")
    assert [listed(list(s)) for s in ("", "a", "ab", "abc")] == ["", "a", "a and b", "a, b and c"]
