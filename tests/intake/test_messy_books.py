"""Books of invented firms in many styles: none is misread in silence, and few need many answers."""

from collections import Counter

import pytest

from tests.benchmark.messy_books import ASKED, RIGHT, one_book
from tests.messy_books import STYLES

MOST_LINES = 10
LEAST_SHARE = 0.85


@pytest.fixture(scope="module")
def books():
    return [one_book(seed) for seed in range(len(STYLES))]


def test_no_job_is_misread_or_lost_without_a_question(books):
    wrong = {
        f"{book.style.name}: {job}": why
        for book, came, *_ in books
        for job, (how, why) in came.items()
        if how not in (RIGHT, ASKED)
    }
    assert wrong == {}


def test_most_jobs_are_read_without_a_question(books):
    ways = Counter(how for _, came, *_ in books for how, _ in came.values())
    assert ways[RIGHT] >= LEAST_SHARE * ways.total()


def test_a_book_asks_few_lines_of_questions(books):
    assert {b.style.name: lines for b, _, _, lines, _ in books if lines > MOST_LINES} == {}


def test_all_jobs_are_right_once_the_questions_are_answered(books):
    wrong = {
        f"{book.style.name}: {job}": why or how
        for book, _, after, *_ in books
        for job, (how, why) in after.items()
        if how != RIGHT
    }
    assert wrong == {}


def test_what_can_be_read_two_ways_is_asked(books):
    unclear = [job.name for book, *_ in books for job in book.jobs if job.unclear]
    asked = [job for book, came, *_ in books for job in book.jobs
             if job.unclear and came[job.name][0] == ASKED]  # fmt: skip
    assert len(unclear) > 20
    assert len(asked) == len(unclear)
