"""How messy books of invented firms are read: rightly without a question, asked, misread.

Run `python -m tests.benchmark.messy_books --books 16` from the top of the checkout.
"""

import argparse
import tempfile
import time
from collections import Counter
from dataclasses import replace
from math import isclose
from pathlib import Path

from airstats.intake.book import records_of_book
from airstats.intake.understand import understand
from airstats.intake.words import OPEN
from airstats.takeoff.sheet_quantities import take_off
from tests.messy_books import STYLES, WORDS, messy_book

RIGHT, ASKED, MISREAD, LOST = "right", "asked", "misread", "lost"
CUT_WORDS = {
    word.casefold(): cut
    for words in WORDS.values()
    for cut in ("diagonal", "centre", "lined")
    for word in words[cut]
}


def judged(book, understood, read, is_answered=False):
    """Return job name to (how it came, what is wrong) for every job of a book."""
    jobs, use, openings = read
    asked = set(understood.waiting) | {job for q in understood.questions for job in q.jobs}
    found = {}
    for job in book.jobs:
        if any(name == job.name or name.startswith(f"{job.name} (") for name in asked):
            found[job.name] = ASKED, ""
        elif job.name not in jobs:
            left_out = job.gone or (is_answered and "struck" in job.unclear)
            found[job.name] = (RIGHT, "") if left_out else (LOST, "")
        else:
            true = replace(job, unclear=frozenset()) if is_answered else job
            own = openings.get(job.name, [])
            wrong = misread(true, jobs[job.name], use[job.name], own)
            found[job.name] = (MISREAD, wrong) if wrong else (RIGHT, "")
    strange = set(jobs) - {job.name for job in book.jobs}
    return found | {f"{name} (no job)": (MISREAD, "a job that is none") for name in strange}


def read_jobs(understood):
    """Return each job's row of the records and of the takeoff, and its openings, by its name."""
    if understood.jobs.empty:
        return {}, {}, {}
    records = records_of_book(understood)
    jobs = records.jobs.set_index("job_id").to_dict("index")
    use = take_off(records).table.set_index("job_id").to_dict("index")
    told = ["job_id", "count", "width_mm", "height_mm", "reveal_mm", "cut_pattern"]
    openings = {}
    for name, *opening in records.openings[told].itertuples(index=False):
        openings.setdefault(name, []).append(tuple(opening))
    return jobs, use, openings


def misread(job, row, use, openings):
    """Say what of a read job is not as the book has it; "" where all is."""
    if job.unclear:
        return f"{', '.join(sorted(job.unclear))}: not asked"
    wrong = []
    if row["quarter"] != job.quarter:
        wrong.append(f"quarter {row['quarter']} for {job.quarter}")
    if abs(row["surface_m2"] / job.surface_m2 - 1) > 0.006:
        wrong.append(f"surface {row['surface_m2']} for {job.surface_m2}")
    if not isclose(row["estimated_rolls"], job.estimated, abs_tol=0.01):
        wrong.append(f"estimated {row['estimated_rolls']} for {job.estimated}")
    low, high = use["used_low_m2"] / use["roll_m2"], use["used_high_m2"] / use["roll_m2"]
    if not all_close([low, high], [max(job.low, 0), job.high], 0.01):
        wrong.append(f"used {low:g} to {high:g} for {job.low:g} to {job.high:g}")
    if job.price is not None and row["roll_price"] != job.price:
        wrong.append(f"price {row['roll_price']} for {job.price}")
    if job.crew.casefold() not in str(row["crew"]).casefold():
        wrong.append(f"crew {row['crew']} for {job.crew}")
    return "; ".join(wrong + wrong_openings(job, row, openings))


def wrong_openings(job, row, openings):
    """Say what is wrong with the openings of a read job."""
    if job.holes is None:
        return ["openings where the book has none"] if row["openings_known"] else []
    if not row["openings_known"]:
        return ["openings lost"]
    came = sorted(openings)
    true = sorted((h.count, h.width_mm, h.height_mm, h.reveal_mm, h.cut) for h in job.holes)
    alike = len(came) == len(true) and all(
        c[4] == t[4] and all_close(c[:4], t[:4], 0.6) for c, t in zip(came, true, strict=True)
    )
    return [] if alike else [f"openings {came} for {true}"]


def all_close(came, true, within):
    """Whether numbers are those of the truth, to within so much."""
    return all(isclose(c, t, abs_tol=within) for c, t in zip(came, true, strict=True))


def answered(book, understood):
    """Answer every open line of the words as the person would who kept the book."""
    words = understood.words
    unclear = {job.name: job.unclear for job in book.jobs}
    for (section, key), line in words.lines.items():
        if line.value != OPEN:
            continue
        counted = "half" if book.style.counted == "halves" else "opened"
        is_counted = section == "columns" and counted in line.choices
        given = counted if is_counted else answer(section, key, line.choices, unclear)
        words.answers[section, key] = given
    return words


def answer(section, key, choices, unclear):
    """What that person writes behind one line."""
    if section == "words":
        return CUT_WORDS.get(key.casefold(), "not known")
    if section == "crews":
        last = key.casefold().split()[-1]
        return next((choice for choice in choices if choice.casefold() == last), choices[0])
    if choices[:2] == ("lower", "higher") and "range" in unclear.get(key.split(" | ")[0], ()):
        return "lower"
    if "two numbers" in unclear.get(key.split(" | ")[0], ()) and choices:
        return choices[0]
    wanted = {
        "range": "lower", "twice": "the same job", "exclude": "exclude", "struck": "leave out",
    }  # fmt: skip
    if "another job" in choices and not any(
        "twice" in unclear[name] for name in _named(key, unclear)
    ):
        return "another job"
    for word, reply in wanted.items():
        if word in key.casefold() and (not choices or reply in choices):
            return reply
    preferred = ("higher", "the same job", "exclude", "leave out", "count", "for all of them")
    return next((c for c in preferred if c in choices), choices[0] if choices else OPEN)


def _named(key, unclear):
    """Return the jobs whose name a line of the words file begins with."""
    return [name for name in unclear if key.startswith(f"{name},")]


def one_book(seed, jobs=40, style=None):
    """Return the counts of one book before and after the answers, its questions, what is wrong."""
    book = messy_book(seed, jobs, style)
    with tempfile.TemporaryDirectory() as folder:
        path = book.write(Path(folder))
        start = time.perf_counter()
        before = understand(path)
        taken = time.perf_counter() - start
        words = answered(book, before)
        after = understand(path, words) if words.answers else before
    read = read_jobs(before)
    again = read_jobs(after) if words.answers else read
    came, later = judged(book, before, read), judged(book, after, again, True)
    kinds = len({question.kind for question in before.questions})
    return book, came, later, kinds, taken


def main():
    """Print a line a book, what was misread, and the sums."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--books", type=int, default=len(STYLES))
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--jobs", type=int, default=40, help="jobs of a book")
    asked = parser.parse_args()
    total, then = Counter(), Counter()
    for seed in range(asked.first, asked.first + asked.books):
        book, came, after, kinds, taken = one_book(seed, asked.jobs)
        sums, later = (Counter(how for how, _ in found.values()) for found in (came, after))
        total, then = total + sums, then + later
        print(f"{seed:3d} {book.style.name:22s} {dict(sums)}, {kinds} lines of questions,"
              f" answered: {dict(later)}, {taken:.2f} s")  # fmt: skip
        for told, found in (("", came), ("answered, ", after)):
            wrong = [(name, why) for name, (how, why) in found.items() if how in (MISREAD, LOST)]
            for name, why in wrong[:4]:
                print(f"      {told}{name}: {why or 'lost'}")
    for told, sums in (("without an answer", total), ("with the answers", then)):
        share = {how: f"{n} ({n / sum(sums.values()):.1%})" for how, n in sums.items()}
        print(f"{told}: {share}")


if __name__ == "__main__":
    main()
