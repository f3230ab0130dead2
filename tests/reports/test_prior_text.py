import pytest

from airstats.analysis.prior_predictive import prior_check
from airstats.reports import prior_text
from airstats.reports.desk import lay_out
from tests.invented import desk_of, invent, used_more
from tests.pages import assert_drawn


@pytest.mark.parametrize(
    ("records", "told"),
    [
        (invent(factor=0.6, seed=4), "these 48 jobs"),
        (used_more(invent(), 1.5), "differs from the starting belief"),
        (invent(factor=0.3), "much as the starting belief"),
    ],
)
def test_the_words_judge_the_firm(records, told):
    assert told in prior_text.prior_words(prior_check(lay_out(records).jobs)).text


def test_without_a_job_an_ordinary_one_is_foretold():
    said = prior_text.prior_words(prior_check()).text
    assert said.startswith("No job has been seen. Of an ordinary job (250 m², 12 openings of 1.23")


def test_the_picture_sets_what_jobs_showed_beside_what_was_expected():
    (both,) = prior_text.section(desk_of())
    words, seen = both.left, both.right
    assert words.text.startswith("Before any job was seen")
    assert_drawn(seen)
    assert len(seen.figure.axes[0].containers) == 2
    bare = prior_text.prior_prediction(prior_check())
    assert len(bare.figure.axes[0].containers) == 1
    assert "The jobs showed" in seen.alt
    assert "The jobs showed" not in bare.alt
